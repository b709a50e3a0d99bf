"""What the lane model is told: shots with their paths in short, and balls as the ball sheet knows them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calibration.lane import Hand
from tracker.results import Stations
from tracker.session.sheet import Ball


@dataclass(frozen=True, slots=True)
class Throw:
    """One measured shot.

    Attributes
    ----------
    shot_id : str
    number : int
        Rank among the shots on its lane, failed ones counted, from 1.
    lane, ball, line, intent : str
        From the session sheet; empty where nothing was noted.
    hand : {'right', 'left'}
    stations : Stations
        Path at a few distances, boards from the hand's edge.
    feet : float or None
        Board of the slide foot, as noted.
    """

    shot_id: str
    number: int
    lane: str
    ball: str
    hand: Hand
    stations: Stations
    line: str = ""
    intent: str = ""
    feet: float | None = None


OLDER = "measured by an older version that noted no stations (measure again with --redo)"
TOO_SHORT = "too little of its path is seen"
GONE = "its folder or shot.json is not there (measure that clip again)"
"""Why a measured shot is not part of the model."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A shot that is not part of the model, and why in a word or two."""

    shot_id: str
    why: str


@dataclass(frozen=True, slots=True)
class GripPrior:
    """Normal prior of a ball's log grip factor."""

    mean: float
    sd: float


SURFACE_GRIP = (("polish", -0.10), ("pearl", -0.06), ("plastic", -0.25), ("urethane", 0.0), ("dull", 0.08))
GRIT_FROM, GRIT_SLOPE = 2000.0, -0.05
"""Log grip of covers beside a 2000 grit one, and its change for twice the grit number: common practice, no source."""
RANK_SLOPE = -0.06
GRIP_SD, GRIP_TOLD_SD = 0.18, 0.14
"""Own choice: balls of a bag differ by some 15 %, by somewhat less about what their cover and rank say."""


def grip_prior(name: str, balls: Mapping[str, Ball]) -> GripPrior:
    """Prior of a ball's log grip by what the ball sheet says of it; the sheet's names are case folded.

    A rank counts from the middle of the ranked balls, 1 being the strongest.
    """
    ball = balls.get(name.casefold())
    if ball is None:
        return GripPrior(0.0, GRIP_SD)
    ranks = [b.strength for b in balls.values() if b.strength is not None]
    mean = RANK_SLOPE * (ball.strength - float(np.mean(ranks))) if ball.strength is not None else 0.0
    told = _surface(ball.surface)
    known = told is not None or ball.strength is not None
    return GripPrior(mean + (told or 0.0), GRIP_TOLD_SD if known else GRIP_SD)


def _surface(words: str) -> float | None:
    """Log grip by the words for a cover, None where they say nothing known."""
    text = words.casefold()
    found = [value for word, value in SURFACE_GRIP if word in text]
    numbers = [int(part) for part in text.replace("/", " ").split() if part.isdecimal() and 100 <= int(part) <= 10000]
    if numbers:
        found.append(float(GRIT_SLOPE * np.log2(numbers[-1] / GRIT_FROM)))
    return sum(found) if found else None
