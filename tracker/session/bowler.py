"""What repeats say of the bowler: scatter of laydown, launch and speed, and where the ball is set down beside the foot.

Shots of one hand, lane and line meant as repeats of each other (intent ``same`` or nothing noted) scatter around their
own middle. Their variance, less that of the measurements, is shrunk to a prior as if that were a few more shots (scaled
inverse chi-square, the conjugate prior of a normal's variance; from memory of textbooks). With few repeats the answer
is mostly the prior, and its interval says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from calibration.lane import Hand
from tracker.results import Quantity
from tracker.session.posterior import Posterior
from tracker.session.throws import Throw

Array = NDArray[np.float64]

SCATTERING = ("board", "launch_deg", "speed_mph")
PRIOR_SCATTER = (0.8, 0.30, 0.25)
"""Standard deviations of laydown board, launch and speed of a practised bowler: common practice, no source."""
PRIOR_REPEATS = 4.0
"""How many repeats that prior is worth (own choice)."""
REPEATING = ("same", "")
FEET_OFFSET, FEET_OFFSET_SD = 6.5, 3.0
"""The slide foot stands 6 to 7 boards beside the ball (one coach's page); it varies from person to person."""
FEET_SD = 1.0
"""How well a noted foot is the foot of that shot, boards (own choice)."""


@dataclass(frozen=True, slots=True)
class Scatter:
    """Standard deviation of one number over repeats, its central 95 %, and on how many free repeats it stands."""

    value: float
    low: float
    high: float
    repeats: int


@dataclass(frozen=True, slots=True)
class BowlerReading:
    """One hand's bowler.

    Attributes
    ----------
    hand : {'right', 'left'}
    scatter : mapping of str to Scatter
        Of laydown board, launch and speed at the release.
    level_rpm, rotation_deg : Quantity
        Spin about the horizontal part of the axis, and axis rotation, as far as paths and priors tell.
    feet_offset : Quantity
        Boards from the ball at the release to the foot, inward positive; of the prior alone where no feet are noted.
    feet_noted : int
        How many shots it stands on.
    """

    hand: Hand
    scatter: dict[str, Scatter]
    level_rpm: Quantity
    rotation_deg: Quantity
    feet_offset: Quantity
    feet_noted: int


def read_bowler(posterior: Posterior, hand: Hand) -> BowlerReading:
    """Scatter, spin and foot of the bowler of one hand."""
    fit = posterior.fit
    rows = [k for k, t in enumerate(fit.throws) if t.hand == hand]
    launches = np.array([posterior.launch_of(k) for k in rows])
    doubt = np.array([posterior.launch_u(k) for k in rows])
    throws = [fit.throws[k] for k in rows]
    groups = _repeats(throws)
    scatter = {
        name: _scatter([(launches[g, k], doubt[g, k]) for g in groups], PRIOR_SCATTER[k])
        for k, name in enumerate(SCATTERING)
    }
    rpm, rotation = posterior.spins(None, hand)
    offset, noted = _feet(throws, launches[:, 0])
    return BowlerReading(hand, scatter, _of(rpm), _of(rotation), offset, noted)


def _of(draws: Array) -> Quantity:
    return Quantity(float(np.mean(draws)), float(np.std(draws)))


def _repeats(throws: Sequence[Throw]) -> list[list[int]]:
    """Rows of shots that were meant as the same: lane, line and feet alike, intent a repeat."""
    groups: dict[tuple[str, str, float | None], list[int]] = {}
    for k, t in enumerate(throws):
        if t.intent in REPEATING and t.line:
            groups.setdefault((t.lane, t.line, t.feet), []).append(k)
    return [g for g in groups.values() if len(g) > 1]


def _scatter(groups: Sequence[tuple[Array, Array]], prior: float) -> Scatter:
    """Posterior of a standard deviation from groups of repeats, each values and their uncertainties ``(n,)``."""
    free = sum(len(values) - 1 for values, _ in groups)
    total = 0.0
    for values, u in groups:
        own = float(np.sum((values - values.mean()) ** 2))
        # errors that a session's shots share drop out of a difference: less than this is taken away at most
        total += max(own - float(np.mean(u**2)) * (len(values) - 1), 0.0)
    freedom = PRIOR_REPEATS + free
    squares = PRIOR_REPEATS * prior**2 + total
    low, high = (float(np.sqrt(squares / chi2.ppf(p, freedom))) for p in (0.975, 0.025))
    return Scatter(float(np.sqrt(squares / freedom)), low, high, free)


def _feet(throws: Sequence[Throw], board: Array) -> tuple[Quantity, int]:
    """Offset from ball to foot: normal prior and noted feet, whose scatter is the bowler's own and the noting's."""
    noted = np.array([t.feet - b for t, b in zip(throws, board, strict=True) if t.feet is not None])
    weight = 1 / FEET_OFFSET_SD**2
    spread = float(np.hypot(FEET_SD, np.std(noted, ddof=1))) if len(noted) > 1 else float(np.hypot(FEET_SD, 0.8))
    more = len(noted) / spread**2
    mean = (FEET_OFFSET * weight + float(np.sum(noted)) / spread**2) / (weight + more)
    return Quantity(mean, float(1 / np.sqrt(weight + more))), len(noted)
