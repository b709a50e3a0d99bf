"""Room for error: how far a shot may miss its target, or its speed, and still come to the pocket."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.lineup.chances import Choice, Next, middles, singles
from tracker.lineup.lines import Line

Array = NDArray[np.float64]

MISSES_BOARDS = np.arange(-3.0, 3.01, 0.25)
MISSES_MPH = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
ENOUGH = 0.8
"""Chance of the window up to which a miss still counts as room."""


@dataclass(frozen=True, slots=True)
class Reach:
    """Room in one direction.

    Attributes
    ----------
    boards : float or None
        Largest miss for which the chance of the window is at least 0.8 all the way from no miss; None where it is lower
        even without a miss.
    likely : float
        Median over the draws of the lane of how far a miss may go, each lane taken as known.
    low, high : float
        Central 90 % of that.
    """

    boards: float | None
    likely: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """Room of a ball on a line.

    Attributes
    ----------
    misses : ndarray of shape (n,)
        Misses at 15 ft in boards, inside positive.
    aside, parallel : ndarray of shape (n,)
        Chance of the window with the laydown unchanged, and with laydown and target missed alike.
    recovery, hold : Reach
        Outward and inward with the laydown unchanged.
    parallel_out, parallel_in : Reach
        The same for parallel misses.
    speed : ndarray of shape (5,)
        Chance with 1 and 0.5 mph less, none, 0.5 and 1 mph more.
    """

    misses: Array
    aside: Array
    parallel: Array
    recovery: Reach
    hold: Reach
    parallel_out: Reach
    parallel_in: Reach
    speed: Array


def room_of(now: Next, choice: Choice) -> Room:
    """Room of a choice: what single shots find beside the map is drawn, the bowler's scatter is not."""
    line = choice.line
    aside = _curve(now, choice, [line.moved(0.0, float(miss)) for miss in MISSES_BOARDS])
    parallel = _curve(now, choice, [line.moved(float(miss), float(miss)) for miss in MISSES_BOARDS])
    fast = [replace(choice, line=replace(line, speed_mph=line.speed_mph + float(more))) for more in MISSES_MPH]
    speed = now.window.holds(singles(now, fast)).reshape(len(fast), -1).mean(axis=1)
    return Room(
        MISSES_BOARDS, aside.chance, parallel.chance,
        recovery=_reach(aside, -1), hold=_reach(aside, 1),
        parallel_out=_reach(parallel, -1), parallel_in=_reach(parallel, 1),
        speed=speed,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class _Curve:
    """Chance ``(n,)`` of the window by miss, and whether each draw of the lane ``(k, n)`` gives it."""

    chance: Array
    each: NDArray[np.bool_]


def _curve(now: Next, choice: Choice, lines: Sequence[Line]) -> _Curve:
    choices = [replace(choice, line=line) for line in lines]
    single, each = (now.window.holds(make(now, choices)).reshape(len(lines), -1) for make in (singles, middles))
    return _Curve(single.mean(axis=1), each.T)


def _reach(curve: _Curve, side: int) -> Reach:
    """Room to one side from the middle of the misses."""
    middle = len(MISSES_BOARDS) // 2
    chance = curve.chance[middle:] if side > 0 else curve.chance[middle::-1]
    each = curve.each[:, middle:] if side > 0 else curve.each[:, middle::-1]
    step = float(MISSES_BOARDS[1] - MISSES_BOARDS[0])
    steps = np.where(each.all(axis=1), each.shape[1], np.argmin(each, axis=1)) - 1.0
    likely = np.maximum(steps, 0.0) * step
    enough = chance >= ENOUGH
    boards = (len(chance) if enough.all() else int(np.argmin(enough))) - 1
    low, middle_value, high = np.percentile(likely, [5, 50, 95])
    return Reach(boards * step if boards >= 0 else None, float(middle_value), float(low), float(high))
