"""Balls and lines ranked by their chance of the pocket, and which of them are as good as the best."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.lane import x_from_board
from tracker.lineup.chances import THROWS, Arrivals, Choice, Outlook, Spread, arrivals, scattered, spread_of
from tracker.lineup.lines import TARGET_FT
from tracker.lineup.moves import Led, Move, led, moves_of
from tracker.lineup.played import Played
from tracker.session.sampled import SAMPLED_SHARE, sampled_share

Array = NDArray[np.float64]

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
    arrivals : Arrivals
        Where each arrives on each draw of the lane.
    each : ndarray of shape (k, c)
        Chance on each draw.
    tied : tuple of int
        Indices of options as good as the best one over sampled boards, that one first; of all where none is.
    """

    options: tuple[Option, ...]
    arrivals: Arrivals
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
        """Expected loss of the answer's chance against the best choice if the lane were known."""
        return float(self.each.max(axis=1).mean() - self.chance[self.tied[0]]) if self.options else 0.0

    @property
    def open(self) -> tuple[int, ...]:
        """Indices of options that may be the answer: those over sampled boards, all where there is none."""
        return tuple(k for k, o in enumerate(self.options) if not o.unsampled) or tuple(range(len(self.options)))


def last_of_each_ball(played: Sequence[Played]) -> tuple[Played, ...]:
    """The last line of each ball."""
    last: dict[str, Played] = {}
    for one in played:
        last[one.ball] = one
    return tuple(last.values())


def rank(now: Outlook, bases: Sequence[Played], throws: int = THROWS) -> Ranking:
    """The best lines of each ball and its last one, worked out closely by so many throws a draw, ranked together."""
    count = len(now.posterior)
    rough, close = (now.part(rows) for rows in _halves(count))
    kept = [one for base in bases for one in _of_ball(rough, base)]
    if not kept:
        return Ranking((), arrivals(close, []), np.zeros((0, 0)), ())
    found = arrivals(close, [o.choice for o in kept], throws)
    each = found.chance(now.window)
    order = np.argsort(-each.mean(axis=0), kind="stable")
    options, each = tuple(kept[k] for k in order), each[:, order]
    ranked = Ranking(options, found.take(order), each, ())
    return replace(ranked, tied=_tied(ranked))


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
    paths = led(now, base, moves)
    return _apart(seen_options(now, base, moves, paths), _roughly(now, base, paths))


def seen_options(now: Outlook, base: Played, moves: Sequence[Move], paths: Led) -> tuple[Option, ...]:
    """Moves with where they pass 15 ft and how far measured shots ran there, by their paths."""
    at_15 = int(np.argmin(np.abs(paths.y_ft - TARGET_FT)))
    boards = np.median(paths.board[..., at_15], axis=1)
    x_in = x_from_board(paths.board, base.hand).reshape(-1, len(paths.y_ft))
    shares = sampled_share(now.posterior, base.lane, x_in, paths.y_ft).reshape(paths.gutter.shape).mean(axis=1)
    return tuple(
        Option(choice, base, feet, target, board_15ft=float(board), sampled=float(share))
        for (choice, feet, target), board, share in zip(moves, boards, shares, strict=True)
    )


def _roughly(now: Outlook, base: Played, paths: Led) -> Array:
    """Chances ``(c,)`` by where lines lead on each draw, with the last line's scatter."""
    mean = np.stack([paths.contact_board, paths.entry_angle_deg], axis=-1)
    throws = scattered(now, Choice(base.lane, base.ball, base.hand, base.line))
    draws = len(now.posterior)
    around = spread_of(throws, (1, draws, len(throws.contact_board) // draws)).covariance
    chance = Spread(mean, np.broadcast_to(around, (*mean.shape, 2))).chance(now.window)
    return np.asarray((chance * ~paths.gutter).mean(axis=1))


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


def _tied(ranking: Ranking) -> tuple[int, ...]:
    """Options as good as the best one over sampled boards."""
    best, *others = ranking.open
    each = ranking.each
    less = each[:, best].mean() - each.mean(axis=0)
    better = (each > each[:, [best]]).mean(axis=0)
    return (best, *(k for k in others if less[k] < TIE or better[k] > 1.0 - TIE_SURE))
