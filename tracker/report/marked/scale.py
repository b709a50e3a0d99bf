"""The scale on the lane: ticks with feet along one edge, board numbers before arrows and pins."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.transforms import IdentityTransform
from numpy.typing import NDArray

from calibration.lane import (
    ARROW_BOARDS,
    GUTTER_EDGE_IN,
    INCHES_PER_FOOT,
    LANE_WIDTH_IN,
    Hand,
    arrow_distance_in,
    x_from_board,
)
from tracker.report.ink import INK, PAPER
from tracker.report.marked.stamp import Stamp, drawn, stamps_in
from tracker.report.marked.view import Side, View
from tracker.report.marked.write import cased_text, text_width

Array = NDArray[np.float64]

LETTERS_SHARE = 0.022
"""Size of letters over the picture's height."""
TICKS_FT = range(0, 61, 5)
TICK_IN = {True: 5.0, False: 2.5}
"""Lengths of the ticks of tens and of fives."""
PIN_ROW_IN = 57.6 * INCHES_PER_FOOT
"""Board numbers before the pins stand here."""
ARROW_GAP_IN = 20.0
"""And so far before the arrows."""
APART = 1.25
"""Words of ticks are written where they are so many letter heights apart."""
ASIDE_PX = 5

_HALF_IN = LANE_WIDTH_IN / 2


def scale_pad(view: View, side: Side) -> int:
    """Even columns that have to be added on a side so that the words of the ticks find room."""
    need = 0.0
    for feet in TICKS_FT[::2]:
        edge = _outside(view, side, feet * INCHES_PER_FOOT) - view.pad[0]
        free = edge if side == "left" else view.out_width - edge
        need = max(need, text_width(_words(feet), _letters(view)) + 2 * ASIDE_PX - free)
    return int(np.ceil(need / 2)) * 2


def scale_stamps(view: View, hand: Hand, side: Side) -> tuple[Stamp, ...]:
    """The scale, with the feet on one side."""

    def draw(figure: Figure) -> None:
        written = np.inf
        for feet in TICKS_FT:
            written = _tick(figure, view, side, feet=feet, written=written)
        boards = np.array(ARROW_BOARDS, dtype=np.float64)
        _boards(figure, view, hand, boards=boards, y_in=arrow_distance_in(boards) - ARROW_GAP_IN)
        _boards(figure, view, hand, boards=boards, y_in=np.full(boards.size, PIN_ROW_IN))

    return stamps_in(drawn(view.full_width, view.out_height, draw))


def _letters(view: View) -> float:
    return LETTERS_SHARE * view.letters


def _words(feet: int) -> str:
    return f"{feet} ft"


def _outside(view: View, side: Side, y_in: float) -> float:
    """Column of the outer edge of a gutter, inside the picture."""
    sign = -1.0 if side == "left" else 1.0
    column = float(view.on_lane(np.array([sign * GUTTER_EDGE_IN]), np.array([y_in]))[0, 0])
    low, high = view.pad[0], view.pad[0] + view.out_width
    return float(np.clip(column if np.isfinite(column) else (low if side == "left" else high), low, high))


def _tick(figure: Figure, view: View, side: Side, *, feet: int, written: float) -> float:
    """Draw one tick, with its words where the last ones, in the row ``written``, leave room; returns that row."""
    sign = -1.0 if side == "left" else 1.0
    y, long = feet * INCHES_PER_FOOT, feet % 10 == 0
    ends = view.on_lane(sign * np.array([_HALF_IN - TICK_IN[long], _HALF_IN]), np.array([y, y]))
    if not np.isfinite(ends).all():
        return written
    for colour, width in ((INK, 3.2), (PAPER, 1.5 if long else 1.1)):
        place = (ends[:, 0], view.out_height - ends[:, 1])
        figure.add_artist(Line2D(*place, color=colour, linewidth=width, alpha=0.85, transform=IdentityTransform()))
    row, size = float(ends[1, 1]), _letters(view)
    if not long or not 0.6 * size < row < view.out_height - 0.6 * size or written - row < APART * size:
        return written
    column = _outside(view, side, y) + sign * ASIDE_PX
    align = "right" if side == "left" else "left"
    figure.add_artist(cased_text(column, view.out_height - row, _words(feet), size=size, align=align))
    return row


def _boards(figure: Figure, view: View, hand: Hand, *, boards: Array, y_in: Array) -> None:
    """Write board numbers, as many of them as have room side by side."""
    places = view.on_lane(x_from_board(boards, hand), y_in)
    if not np.isfinite(places).all():
        return
    size = _letters(view)
    step = abs(float(places[-1, 0] - places[0, 0])) / (len(boards) - 1)
    every = next((n for n in (1, 2, 3) if n * step > 2.0 * size), 0)
    for board, (u, v) in zip(boards, places, strict=True):
        if every and round(board - 20) % (5 * every) == 0:
            figure.add_artist(cased_text(u, view.out_height - v, f"{board:.0f}", size=size, align="center"))
