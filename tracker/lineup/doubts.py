"""What the shots cannot tell, and what to throw to find out."""

from __future__ import annotations

from collections.abc import Sequence

from tracker.lineup.decide import Ranking
from tracker.lineup.lines import move_in_words
from tracker.lineup.shots import Remark, ShotFacts, plain
from tracker.results import Quantity

LEAST_SHOTS = 4
STRAIGHT_DEG = 1.2
"""A ball that turns less from 15 ft to the pins tells next to nothing of the oil (own choice)."""
CONTRADICTORY_SHARE = 0.25
HOPELESS = 0.05

STOPS = ("few_shots", "straight_only", "contradictory", "no_way")
"""Doubts after which no ball and line is named."""


def doubts_of(shots: Sequence[ShotFacts], balls: Sequence[str], held_out: int, ranking: Ranking) -> tuple[Remark, ...]:
    """Doubts about a session on one lane by one hand, the gravest first.

    Parameters
    ----------
    shots : sequence of ShotFacts
        Shots that can be used.
    balls : sequence of str
        Balls among them.
    held_out : int
        Shots that no likely lane, ball and release explain.
    ranking : Ranking
        What the model says of the lines; empty where it was not asked.
    """
    found = [
        _few(len(shots)),
        _straight(shots),
        _contradictory(len(shots), held_out),
        _no_way(ranking),
        _one_ball(balls),
    ]
    return tuple(one for one in found if one is not None)


def _few(count: int) -> Remark | None:
    if count >= LEAST_SHOTS:
        return None
    more = LEAST_SHOTS - count
    text = (
        f"{count} usable {'shot' if count == 1 else 'shots'}: too few to choose by; throw {more} more, your smoothest "
        "ball near the second arrow first, then the same shot again"
    )
    return Remark("few_shots", text)


def _straight(shots: Sequence[ShotFacts]) -> Remark | None:
    turns = [one for one in (s.told("turn_deg") for s in shots) if one is not None]
    if not turns or max(turns)[0] >= STRAIGHT_DEG:
        return None
    most, u = max(turns)
    text = (
        f"no ball turned more than {most:.1f} +- {u:.1f} deg: straight balls tell nothing of the oil; throw a ball "
        "that hooks, twice on one line"
    )
    return Remark("straight_only", text, {"turn_deg": Quantity(most, u)})


def _contradictory(count: int, held_out: int) -> Remark | None:
    if not held_out or held_out < CONTRADICTORY_SHARE * (count + held_out):
        return None
    text = (
        f"{held_out} of {count + held_out} shots contradict the others on any likely lane; check balls and lanes in "
        "the sheet, then throw the last good shot twice again"
    )
    return Remark("contradictory", text)


def _no_way(ranking: Ranking) -> Remark | None:
    if not ranking.options or ranking.chance[ranking.tied[0]] >= HOPELESS:
        return None
    best = ranking.tied[0]
    text = (
        f"no ball on a line where shots ran comes into the window in more than {_least(ranking.chance[best])} of "
        f"100; {_to_try(ranking)}, and look again"
    )
    return Remark("no_way", text, {"chance": Quantity(float(ranking.chance[best]), float(ranking.chance_u[best]))})


def _least(chance: float) -> str:
    return f"{100 * chance:.0f}" if chance >= 0.01 else "one"


def _to_try(ranking: Ranking) -> str:
    first = ranking.options[0]
    if not first.unsampled or ranking.chance[0] < HOPELESS:
        return "throw the ball that turns most on a line where nothing was thrown yet"
    move = move_in_words(first.feet, first.target, first.choice.hand)
    ball = plain(first.choice.ball) or "the ball"
    return (
        f"try {ball}, {move} of its last line, target board {first.board_15ft:.1f}, where nothing was thrown yet (a "
        f"guess by the model's form gives it {100 * ranking.chance[0]:.0f})"
    )


def _one_ball(balls: Sequence[str]) -> Remark | None:
    if len(set(balls)) != 1:
        return None
    if not plain(balls[0]):
        text = "no ball is named: all shots are taken for one ball's; note balls in the session sheet and measure again"
        return Remark("no_ball_named", text)
    return Remark("one_ball", f"only {plain(balls[0])} was thrown: nothing is said of other balls")
