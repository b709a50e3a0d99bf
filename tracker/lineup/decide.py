"""Balls and lines ranked by their chance of the pocket, and which of them are as good as the best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.lineup.chances import Choice, Next, chances
from tracker.lineup.lines import Line
from tracker.lineup.played import Played

Array = NDArray[np.float64]

FEET_BOARDS, TARGET_BOARDS, LEAN_BOARDS = np.arange(-6.0, 6.1), np.arange(-5.0, 5.1), 4.0
"""Moves that are looked at; feet and target differ by no more than the last."""
LAUNCH_DEG = (-1.0, 6.0)
LAYDOWN_BOARDS, TARGETS = (4.0, 36.0), (2.0, 30.0)
"""Where a line can be played: boards and headings of usual releases (common practice, no source)."""
COARSE_DRAWS, DRAWS, THROWS = 64, 64, 32
EACH_BALL = 3
"""Lines of each ball that are looked at closely."""
APART_BOARDS = 1.6
"""How far two lines of a ball lie apart, at the target or at 45 ft if straight, to be two ways and not one."""
TIE = 0.03
"""A line is as good as the best if choosing it costs less than this of the chance (own choice)."""


@dataclass(frozen=True, slots=True)
class Option:
    """A ball on a line, with where it comes from.

    Attributes
    ----------
    choice : Choice
    base : Played
        The line of this ball that it is a move from: its last one.
    feet, target : float
        The move in boards, inside positive.
    """

    choice: Choice
    base: Played
    feet: float
    target: float


@dataclass(frozen=True, slots=True, eq=False)
class Ranking:
    """Options by their chance of the window, the best first.

    Attributes
    ----------
    options : tuple of Option
    each : ndarray of shape (k, c)
        Chance on each draw of the lane.
    tied : tuple of int
        Indices of options that are as good as the best, itself included.
    """

    options: tuple[Option, ...]
    each: Array
    tied: tuple[int, ...]

    @property
    def chance(self) -> Array:
        """Chance ``(c,)`` of the window."""
        return np.asarray(self.each.mean(axis=0))

    @property
    def chance_u(self) -> Array:
        """Standard deviation ``(c,)`` of the chance over the draws of the lane: how little the lane is known."""
        return np.asarray(self.each.std(axis=0))

    @property
    def loss(self) -> float:
        """Expected loss of the best one's chance against the best choice if the lane were known."""
        return float(self.each.max(axis=1).mean() - self.chance.max())


def last_of_each_ball(played: Sequence[Played]) -> tuple[Played, ...]:
    """The last line of each ball."""
    last: dict[str, Played] = {}
    for one in played:
        last[one.ball] = one
    return tuple(last.values())


def options_of(base: Played) -> tuple[Option, ...]:
    """All moves from a line that can be played."""
    moves = [(float(feet), float(target)) for feet in FEET_BOARDS for target in TARGET_BOARDS]
    near = [(feet, target) for feet, target in moves if abs(feet - target) <= LEAN_BOARDS]
    made = [(base.line.moved(feet, target), feet, target) for feet, target in near]
    return tuple(
        Option(Choice(base.lane, base.ball, base.hand, line), base, feet, target)
        for line, feet, target in made
        if _playable(line)
    )


def _playable(line: Line) -> bool:
    return (
        LAUNCH_DEG[0] <= line.launch_deg <= LAUNCH_DEG[1]
        and LAYDOWN_BOARDS[0] <= line.laydown_board <= LAYDOWN_BOARDS[1]
        and TARGETS[0] <= line.target_board <= TARGETS[1]
    )


def rank(now: Next, bases: Sequence[Played]) -> Ranking:
    """The best lines of each ball, looked at closely and ranked together.

    Lines a few boards apart are worked out roughly first, by one throw on each of some draws of the lane.
    """
    rough = now.thinned(COARSE_DRAWS)
    kept: list[Option] = []
    for base in bases:
        options = options_of(base)
        if options:
            worth = chances(rough, [o.choice for o in options], 1).mean(axis=0)
            kept += _apart(options, _smoothed(options, worth))
    if not kept:
        return Ranking((), np.zeros((0, 0)), ())
    each = chances(now.thinned(DRAWS), [o.choice for o in kept], THROWS)
    order = np.argsort(-each.mean(axis=0), kind="stable")
    each = each[:, order]
    return Ranking(tuple(kept[k] for k in order), each, _tied(each))


def _smoothed(options: Sequence[Option], worth: Array) -> Array:
    """Chances with those of the neighbouring moves: one throw a draw tells a single line only roughly."""
    moves = np.array([(o.feet, o.target) for o in options])
    apart = np.abs(moves[:, None] - moves[None])
    weight = np.exp(-0.5 * (apart**2).sum(axis=2) / 0.8**2)
    return np.asarray(weight @ worth / weight.sum(axis=1))


def _apart(options: Sequence[Option], worth: Array) -> list[Option]:
    """The best of a ball's options that are different ways to play."""
    kept: list[Option] = []
    for k in np.argsort(-worth, kind="stable"):
        one = options[int(k)]
        if all(_distance(one, other) >= APART_BOARDS for other in kept):
            kept.append(one)
        if len(kept) == EACH_BALL:
            break
    return kept


def _distance(one: Option, other: Option) -> float:
    """How far two lines lie apart, boards: the farther of laydown and target."""
    a, b = one.choice.line, other.choice.line
    return max(abs(a.laydown_board - b.laydown_board), abs(a.target_board - b.target_board))


def _tied(each: Array) -> tuple[int, ...]:
    chance = each.mean(axis=0)
    return tuple(int(k) for k in np.flatnonzero(chance[0] - chance < TIE))
