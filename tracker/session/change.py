"""Does the lane change over the shots: oil taken off, oil carried down, or nothing that these shots could show.

The fit lets friction of the oiled boards (wear) and the end of the oil (carry) go on evenly with the shot's rank; both
have priors that let the lane stay as it is. What that does to a shot is told by the same ball on the same line, first
and last: onset, breakpoint, turn. How small a change these shots could have shown follows from the uncertainty that
the measurements alone leave (the posterior's precision less the prior's): 2.8 times that is found four times in five
at the usual two sigma (normal tables: 1.96 + 0.84).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tracker.results import Quantity
from tracker.session.compare import quantity_of
from tracker.session.lanemap import LANE_PRIORS
from tracker.session.posterior import Aim, Posterior, predict

Array = NDArray[np.float64]

Verdict = Literal["oil removed", "oil carried down", "oil removed and carried down", "nothing seen", "cannot tell"]
SURE, SHOWN = 2.0, 2.8
LEAST_SHOTS = 4
CHANGED = ("onset_ft", "breakpoint_ft", "breakpoint_board", "turn_deg", "contact_board")
SD = {p.name: p.sd for p in LANE_PRIORS}


@dataclass(frozen=True, slots=True)
class Trend:
    """Change of one parameter of the lane over ten shots, and the smallest that these shots could have shown."""

    over_ten: Quantity
    smallest_shown: float


@dataclass(frozen=True, slots=True)
class ChangeReading:
    """How a lane changed over its shots.

    Attributes
    ----------
    verdict : str
        What is seen: wear beyond two u is oil removed, the end moved away from the foul line by more than two u is oil
        carried down, moved towards it is oil removed. ``cannot tell`` for fewer than four shots.
    wear : Trend
        Log friction of oiled boards.
    carry_ft : Trend
        Place of the oil's end.
    line : Aim
        Ball and line for which the differences are.
    first, last : int
        Ranks of the shots between which they are.
    differences : mapping of str to Quantity
        Last less first, for :data:`CHANGED`.
    """

    verdict: Verdict
    wear: Trend
    carry_ft: Trend
    line: Aim
    first: int
    last: int
    differences: dict[str, Quantity]


def read_change(posterior: Posterior, line: Aim) -> ChangeReading:
    """Change of the lane that a line is on, shown by that line's ball."""
    numbers = [t.number for t in posterior.fit.throws if t.lane == line.lane]
    first, last = min(numbers), max(numbers)
    maps = posterior.lane(line.lane)
    wear, carry = (_trend(maps.value(name), SD[name], len(numbers)) for name in ("wear", "carry_ft"))
    before, after = (predict(posterior, line, float(n), single=False) for n in (first, last))
    differences = {name: quantity_of(getattr(after, name) - getattr(before, name)) for name in CHANGED}
    verdict = _verdict(wear.over_ten, carry.over_ten) if len(numbers) >= LEAST_SHOTS else "cannot tell"
    return ChangeReading(verdict, wear, carry, line, first, last, differences)


def _trend(draws: Array, prior_sd: float, count: int) -> Trend:
    sd = float(np.std(draws))
    own = 1 / sd**2 - 1 / prior_sd**2
    # draws scatter: a width as large as the prior's within their own noise tells nothing
    shown = SHOWN / np.sqrt(own) if own > 0.1 / prior_sd**2 and count > 1 else np.inf
    return Trend(Quantity(float(np.mean(draws)), sd), float(shown))


def _verdict(wear: Quantity, carry: Quantity) -> Verdict:
    worn, carried = (_sigmas(q) for q in (wear, carry))
    removed, down = worn > SURE or carried < -SURE, carried > SURE
    if removed and down:
        return "oil removed and carried down"
    if removed:
        return "oil removed"
    return "oil carried down" if down else "nothing seen"


def _sigmas(q: Quantity) -> float:
    return 0.0 if q.value is None or not q.u else q.value / q.u
