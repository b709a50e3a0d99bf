"""Robust least squares behind the solver: unknowns, priors, loss, descent, information."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from calibration import lane
from calibration.camera import Camera
from calibration.observations import Observed, misfits
from calibration.start import CHEVRON_FT

Array = NDArray[np.float64]

K1_SD = 0.05
ROLL_SD_DEG = 3.0
FOCAL_USUAL = 1.2
"""Usual focal length in larger sides of the frame; its logarithm has the standard deviation below."""
FOCAL_LOG_SD = 0.6

# Cauchy loss: squared scale in sigmas for marks of one and of two equations, and what clean Gaussian clicks then give:
# mean weight, efficiency against plain least squares, mean weighted square (numerical integrals over chi-square, 1 and
# 2 dof).
_CLICK_SCALE2 = {1: 5.7, 2: 7.0}
_MEAN_WEIGHT = {1: 0.8776, 2: 0.8079}
_EFFICIENCY = {1: 0.9501, 2: 0.9542}
_MEAN_WEIGHTED_SQUARE = {1: 0.6978, 2: 1.3449}

_STEP = 1e-4
UNIT = np.array([6.0, 12.0, 4.0, 1.0, 1.0, 1.0, 0.05, 0.02, 0.007, 0.4, 0.15])
"""Size of one unit of the scaled state ``(11,)``: the camera's parameters with log f for f, then the chevron."""
_PLACE_MEAN = (0.0, -216.0, 72.0, 0.0, 8.0, 0.0)
_PLACE_SD = (72.0, 120.0, 30.0, 25.0, 25.0, ROLL_SD_DEG)


def unpack(state: Array, observed: Observed) -> tuple[Camera, tuple[float, float]]:
    """Camera and chevron (centre, slope in ft) of a scaled state ``(11,)``."""
    v = state * UNIT
    values = [*v[:6], np.exp(np.clip(v[6], -5, 15)), *v[7:9]]
    camera = Camera.from_vector(values, observed.width, observed.height)
    return camera, (float(v[9]), float(v[10]))


def pack(camera: Camera, chevron_ft: tuple[float, float] = CHEVRON_FT) -> Array:
    """Scaled state ``(11,)`` of a camera and a chevron; inverse of :func:`unpack`."""
    v = camera.vector
    v[6] = np.log(v[6])
    return np.asarray(np.concatenate([v, chevron_ft]) / UNIT)


def prior(observed: Observed) -> tuple[Array, Array]:
    """Mean and standard deviation ``(11,)`` of the unknowns in the scaled state."""
    usual = np.log(FOCAL_USUAL * max(observed.width, observed.height))
    mean = [*_PLACE_MEAN, usual, 0, 1, *CHEVRON_FT]
    sd = [*_PLACE_SD, FOCAL_LOG_SD, K1_SD, lane.LANE_WIDTH_SCALE_SD, lane.ARROW_CENTRE_SD_FT, lane.ARROW_SLOPE_SD_FT]
    return np.array(mean) / UNIT, np.array(sd) / UNIT


def stacked(observed: Observed, state: Array) -> tuple[Array, Array]:
    """Residuals in sigmas ``(m,)``, mark after mark, and their squared length per mark ``(n,)``."""
    edges, points = misfits(observed, *unpack(state, observed))
    return np.concatenate([edges, points.ravel()]), np.concatenate([edges**2, np.sum(points**2, axis=1)])


def weights_of(observed: Observed, squares: Array) -> Array:
    """Cauchy weights ``(n,)`` of marks with these squared misfits."""
    scale2 = np.where(observed.dimensions == 1, _CLICK_SCALE2[1], _CLICK_SCALE2[2])
    return np.asarray(1.0 / (1.0 + squares / scale2))


def _shrink(observed: Observed, squares: Array, widen: float) -> Array:
    """Factor ``(n,)`` that turns a misfit of squared length s into one whose square is the Cauchy loss of s."""
    scale2 = widen**2 * np.where(observed.dimensions == 1, _CLICK_SCALE2[1], _CLICK_SCALE2[2])
    ratio = np.maximum(squares / scale2, 1e-12)
    return np.asarray(np.sqrt(np.log1p(ratio) / ratio))


def descend(observed: Observed, state: Array, widen: float) -> tuple[Array, float]:
    """Least squares of robust misfits and priors from a state; returns the state and its cost."""
    mean, sd = prior(observed)

    def residuals(x: Array) -> Array:
        values, squares = stacked(observed, x)
        factor = np.repeat(_shrink(observed, squares, widen), observed.dimensions)
        return np.concatenate([values * factor, (x - mean) / sd])

    def jacobian(x: Array) -> Array:
        return _central(residuals, x)

    found = least_squares(residuals, state, jac=jacobian, method="lm", xtol=1e-9, ftol=1e-9, max_nfev=60)
    return np.asarray(found.x), float(found.cost)


def _central(function: Callable[[Array], Array], x: Array) -> Array:
    """Jacobian by central differences."""
    columns = []
    for k in range(len(x)):
        step = np.zeros_like(x)
        step[k] = _STEP
        columns.append((function(x + step) - function(x - step)) / (2 * _STEP))
    return np.stack(columns, axis=1)


def best(observed: Observed, starts: Sequence[Camera]) -> Array:
    """Choose the state of lowest cost over the starts: first with a wide loss, then with the click's own.

    Starts after one whose cost is no higher than clean clicks would give are left out.
    """
    expected = 0.5 * float(observed.dimensions.sum())
    ends: list[tuple[Array, float]] = []
    for camera in starts:
        ends.append(descend(observed, descend(observed, pack(camera), 4.0)[0], 1.0))
        if ends[-1][1] <= expected:
            break
    return min(ends, key=lambda end: end[1])[0]


def information(observed: Observed, state: Array, weights: Array) -> tuple[Array, Array]:
    """Information ``(11, 11)`` of marks and of priors, in the scaled state."""
    jac = _central(lambda x: stacked(observed, x)[0], state)
    single = observed.dimensions == 1
    # A robust fit to clean clicks has weights below 1 on average and loses a little efficiency; both are known
    # constants.
    normal = np.where(single, _EFFICIENCY[1] / _MEAN_WEIGHT[1], _EFFICIENCY[2] / _MEAN_WEIGHT[2])
    w = np.repeat(weights * normal, observed.dimensions)
    return jac.T @ (w[:, None] * jac), np.diag(1.0 / prior(observed)[1] ** 2)


def variance_factor(observed: Observed, squares: Array, marks: Array, priors: Array) -> float:
    """Weighted squares over what clean clicks would give, never below 1."""
    single = observed.dimensions == 1
    expected = np.where(single, _MEAN_WEIGHTED_SQUARE[1], _MEAN_WEIGHTED_SQUARE[2])
    equations = float(observed.dimensions.sum())
    taken = float(np.trace(np.linalg.solve(marks + priors, marks)))
    share = max(equations - taken, 1.0) / equations
    seen = float(np.sum(weights_of(observed, squares) * squares))
    return max(1.0, seen / (float(expected.sum()) * share))
