"""Room for error: how far a shot may miss its target, or its speed, and still come to the pocket."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.lineup.chances import Choice, Outlook, Spread, middles, singles
from tracker.lineup.lines import Line
from tracker.session.simulate import Paths

Array = NDArray[np.float64]

MISSES_BOARDS = np.arange(-4.0, 4.01, 0.5)
MISSES_MPH = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])
ENOUGH = 0.8
"""Chance of the window up to which a miss still counts as room."""
_FINE_BOARDS = np.arange(-4.0, 4.001, 0.05)


@dataclass(frozen=True, slots=True)
class Reach:
    """Room in one kind of miss.

    Attributes
    ----------
    outward, inward : float or None
        Largest miss in boards at 15 ft for which the chance of the window is at least 0.8 all the way from no miss;
        None where it is lower even without a miss.
    width : float
        Boards between the farthest misses that come into the window, each lane of the draws taken as known: median.
    width_low, width_high : float
        Central 90 % of that.
    middle : float
        Where the middle of those misses lies, inside positive: median over the draws.
    none_share : float
        Share of the draws on which no miss comes into the window.
    """

    outward: float | None
    inward: float | None
    width: float
    width_low: float
    width_high: float
    middle: float
    none_share: float


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """Room of a ball on a line.

    Attributes
    ----------
    misses : ndarray of shape (n,)
        Misses at 15 ft in boards, inside positive.
    aside_chance, parallel_chance : ndarray of shape (n,)
        Chance of the window with the laydown unchanged, and with laydown and target missed alike.
    aside, parallel : Reach
    speeds_mph, speed_chance : ndarray of shape (5,)
        Misses of the speed, and the chance with them.
    """

    misses: Array
    aside_chance: Array
    parallel_chance: Array
    aside: Reach
    parallel: Reach
    speeds_mph: Array
    speed_chance: Array


def room_of(now: Outlook, choice: Choice) -> Room:
    """Room of a choice: what single shots find beside the map is drawn, the bowler's scatter is not."""
    line = choice.line
    luck = _luck(now, choice)
    aside_chance, aside = _reach(now, choice, [line.moved(0.0, float(miss)) for miss in MISSES_BOARDS], luck)
    parallel_chance, parallel = _reach(now, choice, [line.moved(float(m), float(m)) for m in MISSES_BOARDS], luck)
    fast = [replace(choice, line=replace(line, speed_mph=line.speed_mph + float(more))) for more in MISSES_MPH]
    speed = _chance(now, middles(now, fast), luck)
    return Room(
        MISSES_BOARDS, aside_chance, parallel_chance, aside, parallel=parallel, speeds_mph=MISSES_MPH,
        speed_chance=speed,
    )  # fmt: skip


def _luck(now: Outlook, choice: Choice) -> Array:
    """Covariance ``(2, 2)`` of contact board and entry angle of single shots that leave the hand as meant."""
    meant, single = middles(now, [choice]), singles(now, [choice])
    off = [single.contact_board - meant.contact_board, single.entry_angle_deg - meant.entry_angle_deg]
    return np.asarray(np.cov(off))


def _chance(now: Outlook, meant: Paths, luck: Array) -> Array:
    """Chance ``(n,)`` of lines with paths as meant; hits of one throw on each draw would scatter by 5 of 100."""
    mean = np.stack([meant.contact_board, meant.entry_angle_deg], axis=-1)
    chance = Spread(mean, np.broadcast_to(luck, (len(mean), 2, 2))).chance(now.window) * ~meant.gutter
    return np.asarray(chance.reshape(-1, len(now.posterior)).mean(axis=1))


def _reach(now: Outlook, choice: Choice, lines: Sequence[Line], luck: Array) -> tuple[Array, Reach]:
    meant = middles(now, [replace(choice, line=line) for line in lines])
    chance = _chance(now, meant, luck)
    middle = len(MISSES_BOARDS) // 2
    width, centre = _runs(_good(now, meant, len(lines)))
    found = width > 0
    low, median, high = np.percentile(width, [5, 50, 95])
    return chance, Reach(
        _promised(chance[middle::-1]),
        _promised(chance[middle:]),
        width=float(median),
        width_low=float(low),
        width_high=float(high),
        middle=float(np.median(centre[found])) if found.any() else float("nan"),
        none_share=float(1.0 - found.mean()),
    )


def _promised(chance: Array) -> float | None:
    """Boards up to which the chance is enough, from no miss on."""
    enough = chance >= ENOUGH
    if not enough[0]:
        return None
    steps = len(chance) - 1 if enough.all() else int(np.argmin(enough)) - 1
    return steps * float(MISSES_BOARDS[1] - MISSES_BOARDS[0])


def _good(now: Outlook, paths: Paths, count: int) -> NDArray[np.bool_]:
    """Whether each fine miss comes into the window on each draw ``(k, f)``; between misses all goes evenly."""
    shape = (count, -1)
    board, angle = (_finer(v.reshape(shape)) for v in (paths.contact_board, paths.entry_angle_deg))
    on_lane = _finer(1.0 - paths.gutter.reshape(shape).astype(np.float64)) > 0.99
    w = now.window
    in_board = (board >= w.low_board) & (board <= w.high_board)
    return np.asarray((in_board & (angle >= w.low_deg) & (angle <= w.high_deg) & on_lane).T)


def _finer(values: Array) -> Array:
    """Values ``(n, k)`` over :data:`MISSES_BOARDS` at :data:`_FINE_BOARDS`."""
    return np.stack([np.interp(_FINE_BOARDS, MISSES_BOARDS, v) for v in values.T], axis=1)


def _runs(good: NDArray[np.bool_]) -> tuple[Array, Array]:
    """Width and middle ``(k,)`` of the run of good misses ``(k, f)`` nearest to no miss; 0, 0 where there is none."""
    width, middle = np.zeros(len(good)), np.zeros(len(good))
    step = float(_FINE_BOARDS[1] - _FINE_BOARDS[0])
    for k, row in enumerate(good):
        at = np.flatnonzero(row)
        if not len(at):
            continue
        nearest = int(at[np.argmin(np.abs(_FINE_BOARDS[at]))])
        out, in_ = np.flatnonzero(~row[:nearest]), np.flatnonzero(~row[nearest:])
        first = int(out[-1]) + 1 if len(out) else 0
        last = nearest + int(in_[0]) - 1 if len(in_) else len(row) - 1
        width[k] = min((last - first + 1) * step, float(_FINE_BOARDS[-1] - _FINE_BOARDS[0]))
        middle[k] = (_FINE_BOARDS[first] + _FINE_BOARDS[last]) / 2
    return width, middle
