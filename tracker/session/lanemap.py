"""Friction of an oiled lane over boards and feet: a smooth step from oil to dry, thinner outside, with departures.

Friction is a map of the lane for a ball of grip 1; a ball multiplies it by its own factor. Its logarithm goes from the
oiled boards' level to the dry boards' one over a logistic step; outside a shoulder the oil is thinner (friction higher)
and shorter. The map is the same to the left and to the right of board 20: left- and right-handers share a lane. Because
no real oil has this form, smooth departures on a grid of knots with a prior of their own are added, and the oil may
change from shot to shot: less of it on the front (wear), and its end moved (carry).

Every parameter is a standard normal deviate of its prior, so that a fit's step in any of them is one of the prior's
standard deviations. Sources of the priors are named in ``LANE_PRIORS``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import BOARD_WIDTH_IN, INCHES_PER_FOOT

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Prior:
    """Mean and standard deviation of one parameter's normal prior, and what they stand on."""

    name: str
    mean: float
    sd: float
    source: str


_WIDE = "wide about the usual 0.04 and 0.20 of secondary sources; no measured friction of modern covers was found"
_PRACTICE = "common practice, no source"
LANE_PRIORS = (
    Prior("log_oil", float(np.log(0.04)), 0.40, _WIDE),
    Prior("log_ratio", float(np.log(5.0)), 0.40, _WIDE),
    Prior("end_ft", 40.0, 4.5, "patterns are 33 to 47 ft long: " + _PRACTICE),
    Prior("log_taper_ft", float(np.log(0.9)), 0.6, "own choice: from 10 to 90 % over some 4 ft, within a factor of 2"),
    Prior("buffed", 0.4, 0.4, "oil is buffed thinner toward its end: " + _PRACTICE),
    Prior("contrast", 0.4, 0.4, "oil is heavier inside by ratios of 1 to 10: " + _PRACTICE),
    Prior("shorter_ft", 1.5, 2.0, "oil ends earlier outside: " + _PRACTICE),
    Prior("shoulder", 11.0, 2.5, "house oil is heavy between the second arrows: " + _PRACTICE),
    Prior("wear", 0.0, 0.10, "own choice: friction of oiled boards changes by a tenth in ten shots"),
    Prior("carry_ft", 0.0, 1.0, "own choice: the oil's end moves by a foot in ten shots"),
)
"""Log friction of oiled inside boards; log ratio of dry to that; where one becomes the other inside; log of the scale
of that step; what log friction gains over the last feet before it; log ratio of friction of oiled boards outside to
inside; how much earlier oil ends there; boards from the lane's middle at which inside becomes outside; change of log
friction of oiled boards and of the end over ten shots."""
SHOULDER_BOARDS = 1.5
BUFFED_FT = 14.0
"""Length over which oil thins before its end (own choice)."""
NUMBERS_A_STEP = 10.0

KNOTS_FT = np.array([0.0, 12.0, 20.0, 27.0, 32.0, 36.0, 40.0, 44.0, 48.0, 53.0, 60.0])
KNOTS_BOARDS = np.array([0.0, 6.0, 12.0, 19.0])
DEPARTURE_SD, DEPARTURE_FT, DEPARTURE_BOARDS = 0.12, 7.0, 7.0
"""Departures of log friction and the distances over which they stay alike (own choice)."""

SHAPED = len(LANE_PRIORS)
LANE_SIZE = SHAPED + len(KNOTS_FT) * len(KNOTS_BOARDS)
LOG_MU_RANGE = (float(np.log(0.003)), float(np.log(0.6)))
_MEAN = np.array([p.mean for p in LANE_PRIORS])
_SD = np.array([p.sd for p in LANE_PRIORS])


def alike(places: Array, length: float) -> Array:
    """Root ``(k, k)`` of a squared-exponential correlation over places ``(k,)``."""
    apart = (places[:, None] - places[None, :]) / length
    return np.asarray(np.linalg.cholesky(np.exp(-0.5 * apart**2) + 1e-6 * np.eye(len(places))), dtype=np.float64)


_ROOT = np.kron(alike(KNOTS_FT, DEPARTURE_FT), alike(KNOTS_BOARDS, DEPARTURE_BOARDS)) * DEPARTURE_SD


def _step(values: Array) -> Array:
    """Logistic of values, a third of the time of scipy's, which also looks after those beyond 700."""
    return np.asarray(1.0 / (1.0 + np.exp(np.clip(-values, -500.0, 500.0))))


def hats(places: Array, knots: Array) -> Array:
    """Weights ``(n, k)`` of linear interpolation at places ``(n,)`` between knots ``(k,)``."""
    return np.stack([np.interp(places, knots, row) for row in np.eye(len(knots))], axis=-1)


@dataclass(frozen=True, slots=True)
class LaneMaps:
    """Friction maps of one or many lanes; every array begins with the axis of sets ``(m,)``.

    Attributes
    ----------
    shape : ndarray of shape (m, 10)
        Values of :data:`LANE_PRIORS`.
    departures : ndarray of shape (m, 11, 4)
        Departures of log friction at :data:`KNOTS_FT` by :data:`KNOTS_BOARDS` from the lane's middle.
    """

    shape: Array
    departures: Array

    @classmethod
    def from_deviates(cls, deviates: Array) -> LaneMaps:
        """Maps of standard deviates ``(m, LANE_SIZE)`` of their priors."""
        departures = deviates[:, SHAPED:] @ _ROOT.T
        return cls(_MEAN + _SD * deviates[:, :SHAPED], departures.reshape(-1, len(KNOTS_FT), len(KNOTS_BOARDS)))

    def value(self, name: str) -> Array:
        """Values ``(m,)`` of one of :data:`LANE_PRIORS`."""
        return self.shape[:, [p.name for p in LANE_PRIORS].index(name)]

    def __len__(self) -> int:
        return len(self.shape)

    def take(self, rows: NDArray[np.intp]) -> LaneMaps:
        """The maps of some rows, in their order."""
        return LaneMaps(self.shape[rows], self.departures[rows])


@dataclass(frozen=True, slots=True)
class FrictionOverPath:
    """Log friction along paths on a common grid of distances, as a function of the boards they run over.

    What does not depend on boards is computed once; :meth:`log_mu` is then called with better and better paths.
    """

    maps: LaneMaps
    y_ft: Array
    number: Array
    _along: Array

    @classmethod
    def on_grid(cls, maps: LaneMaps, y_in: Array, number: Array) -> FrictionOverPath:
        """Friction of maps ``(m,)`` at distances ``(g,)`` in inches for shots of these numbers ``(m,)``."""
        y_ft = y_in / INCHES_PER_FOOT
        # (b m, k) @ (k, g): one matrix product instead of an interpolation for every set
        columns = maps.departures.transpose(2, 0, 1).reshape(-1, len(KNOTS_FT))
        along = (columns @ hats(y_ft, KNOTS_FT).T).reshape(len(KNOTS_BOARDS), len(maps), len(y_ft))
        return cls(maps, y_ft, number, along)

    def log_mu(self, x_in: Array, more_on_dry: Array | float = 0.0) -> Array:
        """Log friction ``(m, g)`` at places across ``(m, g)``, inches from the lane's middle.

        ``more_on_dry`` ``(m,)`` is what a ball's log friction has beside the map's on boards that are all dry.
        """
        oil, ratio, end, taper, buffed, contrast, shorter, shoulder, wear, carry = (
            column[:, None] for column in self.maps.shape.T
        )
        off = np.abs(x_in) / BOARD_WIDTH_IN
        later = (self.number / NUMBERS_A_STEP)[:, None]
        outside = _step((off - shoulder) / SHOULDER_BOARDS)
        beyond = self.y_ft - (end + carry * later) + shorter * outside
        dry = _step(beyond / np.exp(np.clip(taper, -2.0, 2.5)))
        thinner = np.clip(1.0 + beyond / BUFFED_FT, 0.0, 1.0)
        level = (
            oil
            + (contrast * outside + wear * later + buffed * thinner) * (1 - dry)
            + (ratio + np.reshape(more_on_dry, (-1, 1))) * dry
        )
        return np.asarray(np.clip(level + self._departure(off), *LOG_MU_RANGE))

    def _departure(self, off: Array) -> Array:
        total: Array = self._along[0].copy()
        for k in range(1, len(KNOTS_BOARDS)):
            share = np.clip((off - KNOTS_BOARDS[k - 1]) / (KNOTS_BOARDS[k] - KNOTS_BOARDS[k - 1]), 0.0, 1.0)
            total += share * (self._along[k] - self._along[k - 1])
        return total
