"""Everything that is drawn once for a shot: labels in a dark column beside the picture, symbols, and the scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from calibration.lane import INCHES_PER_FOOT, Hand, x_from_board
from tracker.report.ink import FAINT, PAPER
from tracker.report.marked.scale import scale_pad, scale_stamps
from tracker.report.marked.stamp import Stamp, drawn, stamp_of
from tracker.report.marked.told import ToldShot
from tracker.report.marked.view import Side, View
from tracker.report.marked.words import Event, events_of, title_of
from tracker.report.marked.write import marker, text, text_width

Image = NDArray[np.uint8]

VALUE_SHARE, NAME_SHARE, NOTE_SHARE = 0.038, 0.028, 0.021
"""Sizes of letters over the picture's height."""
LINE_STEP = 1.28
MARGIN_SHARE = 0.012
SYMBOL_SHARE = 0.016


@dataclass(frozen=True, slots=True)
class Timed:
    """Drawings that appear at a time of the clip and stay."""

    t_s: float
    stamps: tuple[Stamp, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """What is drawn besides the path.

    Attributes
    ----------
    view : View
        With the columns beside the picture that words take.
    scale : tuple of Stamp
        On every picture.
    timed : tuple of Timed
    """

    view: View
    scale: tuple[Stamp, ...]
    timed: tuple[Timed, ...]


@dataclass(frozen=True, slots=True)
class _Label:
    """Words: a first line, perhaps with a symbol, and lines below it; sizes in pixels."""

    first: str
    lines: tuple[str, ...]
    first_px: float
    lines_px: float
    symbol: str = ""
    colours: tuple[str, str] = (FAINT, PAPER)

    @property
    def indent(self) -> float:
        return 1.3 * self.first_px if self.symbol else 0.0

    @property
    def width(self) -> int:
        widths = [self.indent + text_width(self.first, self.first_px)]
        widths += [text_width(line, self.lines_px) for line in self.lines]
        return int(np.ceil(max(widths))) + 4

    @property
    def height(self) -> int:
        return int(np.ceil(1.35 * self.first_px + LINE_STEP * self.lines_px * len(self.lines)))


def sheet_of(shot: ToldShot, view: View) -> Sheet:
    """Prepare scale, labels and symbols of a shot for its view."""
    events = events_of(shot)[::-1]
    labels = _labels(shot, events, view)
    margin = max(round(MARGIN_SHARE * view.out_height), 2)
    side: Side = "left" if view.room("left") > view.room("right") else "right"
    column = (max(label.width for label in labels) + 3 * margin) // 2 * 2
    narrow = scale_pad(view, "right" if side == "left" else "left")
    view = replace(view, pad=(column, narrow) if side == "left" else (narrow, column))
    left = margin * 3 // 2 + (0 if side == "left" else narrow + view.out_width)
    wanted = [0.0, *(_place(view, event, shot.hand)[1] for event in events)]
    tops = stacked([label.height for label in labels], wanted, margin, view.out_height)
    within = (view.full_width, view.out_height)
    words = [stamp_of(_label_picture(label), left, top, within) for label, top in zip(labels, tops, strict=True)]
    timed = [Timed(-np.inf, _kept(words[:1]))]
    for k, event in enumerate(events, start=1):
        timed.append(Timed(event.t_s, _kept([_symbol(view, event, shot.hand), words[k]])))
    return Sheet(view, scale_stamps(view, shot.hand, "right" if side == "left" else "left"), tuple(timed))


def _labels(shot: ToldShot, events: Sequence[Event], view: View) -> list[_Label]:
    """The title's label and the events' ones."""
    title, notes = title_of(shot)
    first, other, small = (share * view.letters for share in (NAME_SHARE, VALUE_SHARE, NOTE_SHARE))
    return [
        _Label(title, notes, first, small, colours=(PAPER, FAINT)),
        *(_Label(event.name, event.lines, first, other, symbol=event.symbol) for event in events),
    ]


def stacked(heights: Sequence[int], wanted: Sequence[float], gap: int, rows: int) -> list[int]:
    """Upper rows of things one below the other, their middles near the wanted rows, a gap apart and at the ends.

    Parameters
    ----------
    heights : sequence of int
        From the uppermost to the lowest.
    wanted : sequence of float
        Rows of their middles, rising.
    gap : int
    rows : int
        Rows there are.
    """
    tops, limit = [0] * len(heights), rows
    for k in reversed(range(len(heights))):
        limit = tops[k] = min(round(wanted[k] - heights[k] / 2), limit - gap - heights[k])
    floor = 0
    for k, height in enumerate(heights):
        tops[k] = max(tops[k], floor + gap)
        floor = tops[k] + height
    return tops


def _kept(stamps: Sequence[Stamp | None]) -> tuple[Stamp, ...]:
    return tuple(stamp for stamp in stamps if stamp is not None)


def _place(view: View, event: Event, hand: Hand) -> tuple[float, float]:
    """Pixel of an event's place on the lane."""
    x = x_from_board(np.array([event.board]), hand)
    u, v = view.on_lane(x, np.array([event.distance_ft * INCHES_PER_FOOT]))[0]
    return float(u), float(v)


def _label_picture(label: _Label) -> Image:
    def draw(figure: Figure) -> None:
        y = label.height - 1.05 * label.first_px
        if label.symbol:
            figure.add_artist(
                marker(0.4 * label.first_px, y + 0.36 * label.first_px, label.symbol, 0.62 * label.first_px)
            )
        figure.add_artist(text(label.indent, y, label.first, size=label.first_px, colour=label.colours[0]))
        for k, line in enumerate(label.lines, start=1):
            place = y - 0.05 * label.first_px - LINE_STEP * label.lines_px * k + 0.15 * label.lines_px
            figure.add_artist(text(0.0, place, line, size=label.lines_px, colour=label.colours[1]))

    return drawn(label.width, label.height, draw)


def _symbol(view: View, event: Event, hand: Hand) -> Stamp | None:
    """The symbol of an event on the lane."""
    u, v = _place(view, event, hand)
    if not np.isfinite([u, v]).all():
        return None
    size = SYMBOL_SHARE * view.letters
    box = int(np.ceil(size)) + 6
    left, top = int(np.floor(u)) - box // 2, int(np.floor(v)) - box // 2

    def draw(figure: Figure) -> None:
        figure.add_artist(marker(u - left, box - (v - top), event.symbol, size))

    return stamp_of(drawn(box, box, draw), left, top, (view.full_width, view.out_height))
