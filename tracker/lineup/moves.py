"""Moves from a line: which can be played, and where each leads.

Where a ball goes changes smoothly with feet and target. So only every second move is simulated and the others lie
between them on cubic splines, board by board (0.1 to 0.2 board beside
simulating each one, little beside a bowler's scatter: enough to look for the best by).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from calibration.lane import BOARD_COUNT
from tracker.lineup.chances import Choice, Outlook, middles
from tracker.lineup.lines import Line
from tracker.lineup.played import Played

Array = NDArray[np.float64]

FEET_BOARDS, LEAN_BOARDS, TARGET_BOARDS = np.arange(-8.0, 8.1), np.arange(-4.0, 4.1), 7.0
"""Moves that are looked at: with the feet, with the target beside the feet, and how far with the target at most."""
_EVERY = 2
LAUNCH_DEG = (-1.0, 6.0)
LAYDOWN_BOARDS, TARGETS = (4.0, 36.0), (2.0, 30.0)
"""Where a line can be played: boards and headings of usual releases (common practice, no source)."""
Move = tuple[Choice, float, float]


def moves_of(base: Played) -> tuple[Move, ...]:
    """All moves from a line that can be played: the choice, and boards with feet and target."""
    moves = [(float(feet), float(feet + lean)) for feet in FEET_BOARDS for lean in LEAN_BOARDS]
    near = [(feet, target) for feet, target in moves if abs(target) <= TARGET_BOARDS]
    made = [(base.line.moved(feet, target), feet, target) for feet, target in near]
    return tuple((_choice(base, line), feet, target) for line, feet, target in made if playable(line))


def playable(line: Line) -> bool:
    """Whether a line can be thrown: on the approach, at an arrow or near, not across the lane."""
    return (
        LAUNCH_DEG[0] <= line.launch_deg <= LAUNCH_DEG[1]
        and LAYDOWN_BOARDS[0] <= line.laydown_board <= LAYDOWN_BOARDS[1]
        and TARGETS[0] <= line.target_board <= TARGETS[1]
    )


def _choice(base: Played, line: Line) -> Choice:
    return Choice(base.lane, base.ball, base.hand, line)


@dataclass(frozen=True, slots=True, eq=False)
class Led:
    """Where moves ``(c,)`` lead as meant on each draw ``(k,)``: paths ``(c, k, g)`` over ``y_ft``, contact, gutter."""

    y_ft: Array
    board: Array
    contact_board: Array
    entry_angle_deg: Array
    gutter: NDArray[np.bool_]


def led_exactly(now: Outlook, moves: Sequence[Move]) -> Led:
    """Where moves of one lane, ball and hand lead, each simulated."""
    meant = middles(now, [choice for choice, _, _ in moves])
    shape = (len(moves), len(now.posterior))
    board, angle = (v.reshape(shape) for v in (meant.contact_board, meant.entry_angle_deg))
    return Led(meant.y_ft, meant.board.reshape(*shape, -1), board, angle, meant.gutter.reshape(shape))


def led(now: Outlook, base: Played, moves: Sequence[Move]) -> Led:
    """Where moves from a line lead, by those that lie around them."""
    feet, lean = FEET_BOARDS[::_EVERY], LEAN_BOARDS[::_EVERY]
    knots = [_choice(base, base.line.moved(f, f + m)) for f in feet for m in lean]
    meant = middles(now, knots)
    weights = _between(np.array([f for _, f, _ in moves]), np.array([t - f for _, f, t in moves]))
    shape = (len(moves), len(now.posterior))
    values = (meant.board, meant.contact_board, meant.entry_angle_deg, meant.contact_ft)
    board, contact, angle, end = ((weights @ v.reshape(len(knots), -1)).reshape(*shape, -1) for v in values)
    away = (board < 0.5) | (board > BOARD_COUNT + 0.5)
    gutter = np.asarray((away & (meant.y_ft < end)).any(axis=-1))
    return Led(meant.y_ft, board, contact[..., 0], angle[..., 0], gutter)


def _between(feet: Array, lean: Array) -> Array:
    """Weights ``(c, n)`` of the simulated moves in moves ``(c,)``: a spline over the feet times one over the lean."""
    over_feet, over_lean = (
        CubicSpline(knots, np.eye(len(knots)))(at)
        for knots, at in ((FEET_BOARDS[::_EVERY], feet), (LEAN_BOARDS[::_EVERY], lean))
    )
    return np.asarray(over_feet[:, :, None] * over_lean[:, None, :]).reshape(len(feet), -1)
