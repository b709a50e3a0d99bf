"""Balls and lines ranked by their chance of the pocket, and which of them are as good as the best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import x_from_board
from tracker.lineup.chances import Choice, Outlook, Spread, chances, middles, scattered, spread_of
from tracker.lineup.lines import TARGET_FT, Line
from tracker.lineup.played import Played
from tracker.session.sampled import SAMPLED_SHARE, sampled_share
from tracker.session.simulate import Paths

Array = NDArray[np.float64]

FEET_BOARDS, TARGET_BOARDS, LEAN_BOARDS = np.arange(-8.0, 8.1), np.arange(-7.0, 7.1), 4.0
"""Moves that are looked at; feet and target differ by no more than the last."""
LAUNCH_DEG = (-1.0, 6.0)
LAYDOWN_BOARDS, TARGETS = (4.0, 36.0), (2.0, 30.0)
"""Where a line can be played: boards and headings of usual releases (common practice, no source)."""
ROUGH_DRAWS, DRAWS = 96, 128
"""Draws on which lines are looked for, and other ones on which those found are worked out: the best of many by the same
draws would seem better than it is."""
EACH_BALL = 3
"""Lines of each ball that are looked at closely, its last one beside them."""
APART_BOARDS = 1.6
"""How far two lines of a ball lie apart, at laydown or target, to be two ways and not one."""
TIE, TIE_SURE = 0.03, 0.8
"""A way is as good as the best if its chance is lower by less than that, or if it is the better one on over a fifth of
the draws of the lane (own choices)."""
STAY_WORTH = 0.01
"""A move of less than the distance apart has to be worth so much to be told beside staying."""


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
    board_15ft : float
        Where it passes 15 ft, median over the draws: what bowlers call the target.
    sampled : float
        Share of its way, from 15 ft to where balls roll, that measured shots ran over.
    """

    choice: Choice
    base: Played
    feet: float
    target: float
    board_15ft: float
    sampled: float

    @property
    def unsampled(self) -> bool:
        """Whether it runs where too little was thrown to say more than the model's form does."""
        return self.sampled < SAMPLED_SHARE


@dataclass(frozen=True, slots=True, eq=False)
class Ranking:
    """Options by their chance of the window, the best first.

    Attributes
    ----------
    options : tuple of Option
    each : ndarray of shape (k, c)
        Chance on each draw of the lane.
    tied : tuple of int
        Indices of options as good as the best one over sampled boards, that one first; of all where none is.
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
        return float(self.each.max(axis=1).mean() - self.chance.max()) if self.options else 0.0


def last_of_each_ball(played: Sequence[Played]) -> tuple[Played, ...]:
    """The last line of each ball."""
    last: dict[str, Played] = {}
    for one in played:
        last[one.ball] = one
    return tuple(last.values())


def moves_of(base: Played) -> tuple[tuple[Choice, float, float], ...]:
    """All moves from a line that can be played: the choice, and boards with feet and target."""
    moves = [(float(feet), float(target)) for feet in FEET_BOARDS for target in TARGET_BOARDS]
    near = [(feet, target) for feet, target in moves if abs(feet - target) <= LEAN_BOARDS]
    made = [(base.line.moved(feet, target), feet, target) for feet, target in near]
    return tuple(
        (Choice(base.lane, base.ball, base.hand, line), feet, target) for line, feet, target in made if _playable(line)
    )


def _playable(line: Line) -> bool:
    return (
        LAUNCH_DEG[0] <= line.launch_deg <= LAUNCH_DEG[1]
        and LAYDOWN_BOARDS[0] <= line.laydown_board <= LAYDOWN_BOARDS[1]
        and TARGETS[0] <= line.target_board <= TARGETS[1]
    )


def rank(now: Outlook, bases: Sequence[Played]) -> Ranking:
    """The best lines of each ball and its last one, worked out closely and ranked together."""
    count = len(now.posterior)
    rough, close = (now.part(rows) for rows in _halves(count))
    kept = [one for base in bases for one in _of_ball(rough, base)]
    if not kept:
        return Ranking((), np.zeros((0, 0)), ())
    each = chances(close, [o.choice for o in kept])
    order = np.argsort(-each.mean(axis=0), kind="stable")
    options, each = tuple(kept[k] for k in order), each[:, order]
    return Ranking(options, each, _tied(options, each))


def closely(now: Outlook) -> Outlook:
    """The draws on which a ranking's chances are worked out."""
    return now.part(_halves(len(now.posterior))[1])


def _halves(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Draws to look for lines on, and other ones to work them out on."""
    first = min(ROUGH_DRAWS, count // 3)
    return np.arange(first), np.arange(first, min(first + DRAWS, count))


def _of_ball(now: Outlook, base: Played) -> list[Option]:
    moves = moves_of(base)
    if not moves:
        return []
    meant = middles(now, [choice for choice, _, _ in moves])
    return _apart(seen_options(now, base, moves, meant), _roughly(now, base, meant, len(moves)))


def seen_options(
    now: Outlook, base: Played, moves: Sequence[tuple[Choice, float, float]], meant: Paths
) -> tuple[Option, ...]:
    """Moves with where they pass 15 ft and how far measured shots ran there, by their paths ``meant`` on each draw."""
    shape = (len(moves), len(now.posterior))
    at_15 = int(np.argmin(np.abs(meant.y_ft - TARGET_FT)))
    boards = np.median(meant.board[:, at_15].reshape(shape), axis=1)
    x_in = x_from_board(meant.board, base.hand)
    shares = sampled_share(now.posterior, base.lane, x_in, meant.y_ft).reshape(shape).mean(axis=1)
    return tuple(
        Option(choice, base, feet, target, board_15ft=float(board), sampled=float(share))
        for (choice, feet, target), board, share in zip(moves, boards, shares, strict=True)
    )


def _roughly(now: Outlook, base: Played, meant: Paths, count: int) -> Array:
    """Chances ``(c,)`` by where lines lead on each draw, with the last line's scatter."""
    shape = (count, len(now.posterior))
    mean = np.stack([meant.contact_board.reshape(shape), meant.entry_angle_deg.reshape(shape)], axis=-1)
    last = Choice(base.lane, base.ball, base.hand, base.line)
    throws = scattered(now, last)
    around = spread_of(throws, (1, shape[1], len(throws.contact_board) // shape[1])).covariance
    chance = Spread(mean, np.broadcast_to(around, (*shape, 2, 2))).chance(now.window)
    on_lane = 1.0 - meant.gutter.reshape(shape)
    return np.asarray((chance * on_lane).mean(axis=1))


def _apart(options: Sequence[Option], worth: Array) -> list[Option]:
    """The best of a ball's options that are different ways to play, and staying where it was."""
    stay = next((k for k, o in enumerate(options) if not o.feet and not o.target), None)
    order = [int(k) for k in np.argsort(-worth, kind="stable")]
    if stay is not None and worth[order[0]] - worth[stay] < STAY_WORTH:
        order = [stay, *order]
    kept: list[int] = []
    for k in order:
        if all(_distance(options[k], options[other]) >= APART_BOARDS for other in kept):
            kept.append(k)
        if len(kept) == EACH_BALL:
            break
    if stay is not None and stay not in kept:
        kept.append(stay)
    return [options[k] for k in kept]


def _distance(one: Option, other: Option) -> float:
    """How far two lines lie apart, boards: the farther of laydown and target."""
    a, b = one.choice.line, other.choice.line
    return max(abs(a.laydown_board - b.laydown_board), abs(a.target_board - b.target_board))


def _tied(options: Sequence[Option], each: Array) -> tuple[int, ...]:
    """Options as good as the best one over sampled boards."""
    open_ = [k for k, o in enumerate(options) if not o.unsampled] or list(range(len(options)))
    best = open_[0]
    less = each[:, best].mean() - each.mean(axis=0)
    better = (each > each[:, [best]]).mean(axis=0)
    return (best, *(k for k in open_[1:] if less[k] < TIE or better[k] > 1.0 - TIE_SURE))
