"""What the posterior says of the oil: where it ends along the lines thrown, and how much drier it is outside."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.lane import BOARD_WIDTH_IN, INCHES_PER_FOOT, x_from_board
from tracker.results import Quantity
from tracker.session.lanemap import FrictionOverPath, LaneMaps
from tracker.session.posterior import Posterior
from tracker.session.throws import Throw

Array = NDArray[np.float64]

Length = Literal["short", "medium", "long"]
SHORT_FT, LONG_FT = 37.5, 42.5
"""Short oil ends by 37 ft, long oil from 43 ft on: common practice, no source."""
LINE_FT = np.arange(8.0, 60.01, 0.25)
OILED_FT, DRY_FT = (10.0, 25.0), 56.0
CAMERA_END_FT = 0.2
"""Distance on the lane by a usual camera, which errs for all shots of a session alike (the error budget's slip end)."""
MODEL_LEVEL = 0.10
"""How far log friction near the oil's end lies off the fitted form beside the posterior, from simulated lanes: a
shallow rise moves the place of half way by feet, a steep one by inches."""
INSIDE_BOARDS, OUTSIDE_BOARDS = 0.0, 14.0
CONTRAST_FT = (12.0, 25.0)
HAS_SHARE = 0.8
"""Share of the draws that must have a step from oil to dry."""


@dataclass(frozen=True, slots=True)
class OilReading:
    """The oil of one lane.

    Attributes
    ----------
    end_ft : Quantity
        Oil end along the lines thrown: from where on log friction stays above half way between oiled (its mean
        over 10 to 25 ft) and dry (its mean beyond 56 ft); mean over the shots.
    low_ft, high_ft : float
        Central 95 % of it.
    length : {'short', 'medium', 'long'} or None
        The likeliest class; None where there is no end.
    length_share : mapping of str to float
        Probability of each.
    contrast : Quantity
        Friction of oiled boards outside (board 6) over inside (board 20), both at 12 to 25 ft.
    """

    end_ft: Quantity
    low_ft: float
    high_ft: float
    length: Length | None
    length_share: dict[Length, float]
    contrast: Quantity


def lines_of(throws: Sequence[Throw]) -> Array:
    """Places across ``(s, k)`` in inches of the shots at :data:`LINE_FT`, as measured; ends are carried straight on."""
    return np.stack([_line(t) for t in throws])


def _line(throw: Throw) -> Array:
    s = throw.stations
    x = x_from_board(s.board, throw.hand)
    along = np.interp(LINE_FT, s.distance_ft, x)
    slope = (x[-1] - x[-2]) / (s.distance_ft[-1] - s.distance_ft[-2])
    return np.asarray(along + slope * np.maximum(LINE_FT - s.distance_ft[-1], 0.0))


def end_along(log_mu: Array, off: Array | float = 0.0) -> Array:
    """Oil ends ``(m,)`` of log friction ``(m, k)`` at :data:`LINE_FT`; NaN where there is no step.

    ``off`` ``(m,)`` moves the level of half way.
    """
    oiled = log_mu[:, (OILED_FT[0] <= LINE_FT) & (OILED_FT[1] >= LINE_FT)].mean(axis=1)
    dry = log_mu[:, LINE_FT >= DRY_FT].mean(axis=1)
    excess = log_mu - ((oiled + dry) / 2 + off)[:, None]
    over = (excess < 0) & (dry > oiled)[:, None]
    last = np.minimum(len(LINE_FT) - 2 - np.argmax(over[:, -2::-1], axis=1), len(LINE_FT) - 2)
    rows = np.arange(len(last))
    low, high = excess[rows, last], excess[rows, last + 1]
    share = np.clip(-low / np.maximum(high - low, 1e-12), 0.0, 1.0)
    return np.where(over.any(axis=1), LINE_FT[last] + share * (LINE_FT[1] - LINE_FT[0]), np.nan)


def oil_ends(maps: LaneMaps, throws: Sequence[Throw], number: float, off: Array | float = 0.0) -> Array:
    """Oil end ``(m,)`` of every map, mean over the lines thrown, when the lane has had so many shots.

    NaN where no line has a step from oil to dry.
    """
    y_in, later = LINE_FT * INCHES_PER_FOOT, np.full(len(maps), number)
    friction = FrictionOverPath.on_grid(maps, y_in, later)
    along = (friction.log_mu(np.broadcast_to(x, (len(maps), len(x)))) for x in lines_of(throws))
    ends = np.stack([end_along(log_mu, off) for log_mu in along])
    found = np.isfinite(ends)
    total = np.where(found, ends, 0.0).sum(axis=0)
    return np.where(found.any(axis=0), total / np.maximum(found.sum(axis=0), 1), np.nan)


def contrast_of(maps: LaneMaps) -> Array:
    """Log ratio ``(m,)`` of friction outside to inside on the oil."""
    y_in = np.linspace(*CONTRAST_FT, 14) * INCHES_PER_FOOT
    friction = FrictionOverPath.on_grid(maps, y_in, np.zeros(len(maps)))
    inside, outside = (
        friction.log_mu(np.full((len(maps), len(y_in)), boards * BOARD_WIDTH_IN)).mean(axis=1)
        for boards in (INSIDE_BOARDS, OUTSIDE_BOARDS)
    )
    return np.asarray(outside - inside)


def read_oil(posterior: Posterior, lane: str, *, seed: int = 23) -> OilReading:
    """Oil of a lane by its posterior, at the middle of the shots thrown on it."""
    throws = [t for t in posterior.fit.throws if t.lane == lane]
    middle = float(np.mean([t.number for t in throws]))
    maps = posterior.lane(lane)
    level, camera = np.random.default_rng(seed).standard_normal((2, len(maps)))
    ends = oil_ends(maps, throws, middle, MODEL_LEVEL * level) + CAMERA_END_FT * camera
    found = ends[np.isfinite(ends)]
    if len(found) < HAS_SHARE * len(ends):
        return _no_end(maps)
    low, middle, high = np.percentile(found, [2.5, 50.0, 97.5])
    share: dict[Length, float] = {
        "short": float(np.mean(found < SHORT_FT)),
        "medium": float(np.mean((found >= SHORT_FT) & (found < LONG_FT))),
        "long": float(np.mean(found >= LONG_FT)),
    }
    likeliest: Length = max(share, key=lambda k: share[k])
    return OilReading(
        Quantity(float(middle), float(high - low) / 3.92),
        float(low),
        float(high),
        likeliest,
        share,
        _contrast(maps),
    )


def _no_end(maps: LaneMaps) -> OilReading:
    return OilReading(Quantity(missing="not_determined"), np.nan, np.nan, None, {}, _contrast(maps))


def _contrast(maps: LaneMaps) -> Quantity:
    contrast = np.exp(contrast_of(maps))
    return Quantity(float(np.median(contrast)), float(np.std(contrast)))
