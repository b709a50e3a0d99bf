"""Robust least squares behind the solver: unknowns, priors, loss, descent, information."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from calibration import lane
from calibration.camera import Camera
from calibration.observations import NO_SHIFTS, SIDES, Observed, misfits
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

_LINE_SCALE = 2.0
_STEP = 1e-4
_CLOSE, _NEAR = 1e-8, 1e-3
"""Relative steps at which a descent ends, and one with a wide loss that only finds where to begin the other."""
UNIT = np.array([6.0, 12.0, 4.0, 1.0, 1.0, 1.0, 0.05, 0.02, 0.007, 0.4, 0.15, *(1.0 for _ in SIDES)])
"""Size of one unit of the scaled state ``(16,)``: the camera's parameters with log f for f, the chevron, and the common
errors of the lines of :data:`calibration.observations.SIDES` in their standard deviations."""
_PLACE_MEAN = (0.0, -216.0, 72.0, 0.0, 8.0, 0.0)
_PLACE_SD = (72.0, 120.0, 30.0, 25.0, 25.0, ROLL_SD_DEG)


def unpack(state: Array, observed: Observed) -> tuple[Camera, tuple[float, float]]:
    """Camera and chevron (centre, slope in ft) of a scaled state ``(16,)``."""
    v = state * UNIT
    values = [*v[:6], np.exp(np.clip(v[6], -5, 15)), *v[7:9]]
    camera = Camera.from_vector(values, observed.width, observed.height)
    return camera, (float(v[9]), float(v[10]))


def pack(camera: Camera, chevron_ft: tuple[float, float] = CHEVRON_FT) -> Array:
    """Scaled state ``(16,)`` of a camera and a chevron without common errors; inverse of :func:`unpack`."""
    v = camera.vector
    v[6] = np.log(v[6])
    return np.asarray(np.concatenate([v, chevron_ft, NO_SHIFTS]) / UNIT)


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """What is known of the unknowns before any mark: Gaussian in the scaled state ``(16,)``.

    Attributes
    ----------
    mean : array of shape (16,)
    root : array of shape (16, 16)
        ``root @ (state - mean)`` are the residuals in sigmas; ``root.T @ root`` is the information.
    """

    mean: Array
    root: Array


def usual_prior(width: int, height: int) -> Prior:
    """Where phones are held and how lanes are built, for a frame of this size in pixels."""
    usual = np.log(FOCAL_USUAL * max(width, height))
    mean = [*_PLACE_MEAN, usual, 0, 1, *CHEVRON_FT, *NO_SHIFTS]
    sd = [*_PLACE_SD, FOCAL_LOG_SD, K1_SD, lane.LANE_WIDTH_SCALE_SD, lane.ARROW_CENTRE_SD_FT, lane.ARROW_SLOPE_SD_FT]
    sd += [1.0] * len(SIDES)
    return Prior(np.array(mean) / UNIT, np.diag(UNIT / np.array(sd)))


def camera_prior(camera: Camera, covariance: Array) -> Prior:
    """Prior from a camera and the covariance ``(9, 9)`` of its parameters, with the usual one for the chevron."""
    usual = usual_prior(camera.width, camera.height)
    turn = UNIT[:9].copy()
    turn[6] *= camera.f_px
    root = usual.root.copy()
    root[:9, :9] = np.linalg.cholesky(np.linalg.inv(covariance / np.outer(turn, turn))).T
    return Prior(pack(camera), root)


def stacked(observed: Observed, state: Array) -> tuple[Array, Array]:
    """Residuals in sigmas ``(m,)``, mark after mark, and their squared length per mark ``(n,)``."""
    edges, points = misfits(observed, *unpack(state, observed), shifts=state[11:].tolist())
    return np.concatenate([edges, points.ravel()]), np.concatenate([edges**2, np.sum(points**2, axis=1)])


def _scale2(observed: Observed) -> Array:
    """Squared scale ``(n,)`` in sigmas of each mark's Cauchy loss."""
    return np.where(observed.dimensions == 1, _CLICK_SCALE2[1], _CLICK_SCALE2[2])


def weights_of(observed: Observed, squares: Array) -> Array:
    """Cauchy weights ``(n,)`` of marks with these squared misfits."""
    return np.asarray(1.0 / (1.0 + squares / _scale2(observed)))


def _shrink(squares: Array, scale2: Array) -> tuple[Array, Array]:
    """Factors ``(n,)`` that turn misfits of squared length s into ones whose squares are the Cauchy loss; s / scale."""
    ratio = np.maximum(squares / scale2, 1e-12)
    return np.sqrt(np.log1p(ratio) / ratio), ratio


def descend(observed: Observed, prior: Prior, state: Array, widen: float) -> tuple[Array, float]:
    """Least squares of robust misfits and prior from a state; returns the state and its cost."""

    def residuals(x: Array) -> Array:
        values, squares = stacked(observed, x)
        factor = np.repeat(_shrink(squares, widen**2 * _scale2(observed))[0], observed.dimensions)
        return np.concatenate([values * factor, _lenient(prior.root @ (x - prior.mean))])

    def jacobian(x: Array) -> Array:
        marks = _robust_slopes(observed, *stacked(observed, x), slopes=_slopes(observed, x), widen=widen)
        return np.concatenate([marks, _lenient_slopes(prior.root @ (x - prior.mean))[:, None] * prior.root])

    close = _CLOSE if widen == 1.0 else _NEAR
    found = least_squares(residuals, state, jac=jacobian, method="lm", xtol=close, ftol=close, max_nfev=60)
    return np.asarray(found.x), float(found.cost)


def cost_of(observed: Observed, prior: Prior, state: Array) -> float:
    """What :func:`descend` makes small: half of the marks' Cauchy losses and of the prior's squares."""
    scale2 = _scale2(observed)
    marks = np.sum(scale2 * np.log1p(stacked(observed, state)[1] / scale2))
    return 0.5 * float(marks + np.sum(np.square(_lenient(prior.root @ (state - prior.mean)))))


def _lenient(sigmas: Array) -> Array:
    """Prior residuals ``(16,)``, Cauchy on the lines' common errors: now and then a whole edge is another line."""
    bounded = sigmas.copy()
    bounded[11:] = np.sign(sigmas[11:]) * _LINE_SCALE * np.sqrt(np.log1p((sigmas[11:] / _LINE_SCALE) ** 2))
    return bounded


def _lenient_slopes(sigmas: Array) -> Array:
    """Derivatives ``(16,)`` of :func:`_lenient`."""
    ratio = np.abs(sigmas[11:]) / _LINE_SCALE
    slopes = np.ones(len(sigmas))
    slopes[11:] = np.where(ratio > 1e-6, ratio / (1.0 + ratio**2) / np.sqrt(np.maximum(np.log1p(ratio**2), 1e-12)), 1.0)
    return slopes


def _slopes(observed: Observed, state: Array) -> Array:
    """Derivatives ``(m, 16)`` of the residuals by the state: forward differences, the lines' common errors exactly."""
    base = stacked(observed, state)[0]
    slopes = np.zeros((len(base), len(state)))
    for k in range(11 if len(observed.arrows) else 9):
        moved = state.copy()
        moved[k] += _STEP
        slopes[:, k] = (stacked(observed, moved)[0] - base) / _STEP
    edges = np.arange(len(observed.edges))
    slopes[edges, 11 + observed.edge_line] = -observed.edge_common_px / observed.edge_sigma_px * UNIT[11]
    return slopes


def _robust_slopes(observed: Observed, values: Array, squares: Array, *, slopes: Array, widen: float) -> Array:
    """Derivatives ``(m, 16)`` of residuals shrunk to their Cauchy loss, from those of the residuals themselves."""
    scale2 = widen**2 * _scale2(observed)
    shrink, ratio = _shrink(squares, scale2)
    bend = np.where(ratio > 1e-6, (1.0 / (1.0 + ratio) - shrink**2) / ratio, -0.5) / shrink / scale2
    mark = np.repeat(np.arange(len(squares)), observed.dimensions)
    along = np.add.reduceat(values[:, None] * slopes, np.cumsum(observed.dimensions) - observed.dimensions)
    return np.asarray(shrink[mark, None] * slopes + (values * bend[mark])[:, None] * along[mark])


def _central(function: Callable[[Array], Array], x: Array) -> Array:
    """Jacobian by central differences."""
    columns = []
    for k in range(len(x)):
        step = np.zeros_like(x)
        step[k] = _STEP
        columns.append((function(x + step) - function(x - step)) / (2 * _STEP))
    return np.stack(columns, axis=1)


def best(observed: Observed, prior: Prior, starts: Sequence[Camera]) -> Array:
    """Choose the state of lowest cost over the starts: first with a wide loss, then with the click's own.

    Starts after one whose cost is no higher than clean clicks would give are left out.
    """
    expected = 0.5 * float(observed.dimensions.sum())
    ends: list[tuple[Array, float]] = []
    for camera in starts:
        ends.append(descend(observed, prior, descend(observed, prior, pack(camera), 4.0)[0], 1.0))
        if ends[-1][1] <= expected:
            break
    return min(ends, key=lambda end: end[1])[0]


def information(observed: Observed, prior: Prior, state: Array, weights: Array) -> tuple[Array, Array]:
    """Information ``(16, 16)`` of marks and of the prior, in the scaled state."""
    jac = _central(lambda x: stacked(observed, x)[0], state)
    single = observed.dimensions == 1
    # A robust fit to clean clicks has weights below 1 on average and loses a little efficiency; both are known
    # constants.
    normal = np.where(single, _EFFICIENCY[1] / _MEAN_WEIGHT[1], _EFFICIENCY[2] / _MEAN_WEIGHT[2])
    w = np.repeat(weights * normal, observed.dimensions)
    return jac.T @ (w[:, None] * jac), _known(prior, state)


def _known(prior: Prior, state: Array) -> Array:
    """Information ``(16, 16)`` of the prior, less of it for the lines whose common errors turned out large."""
    sigmas = prior.root @ (state - prior.mean)
    weights = np.ones(len(sigmas))
    weights[11:] = 1.0 / (1.0 + (sigmas[11:] / _LINE_SCALE) ** 2)
    return np.asarray(prior.root.T @ (weights[:, None] * prior.root))


def variance_factor(observed: Observed, squares: Array, marks: Array, priors: Array) -> float:
    """Weighted squares over what clean clicks would give, never below 1."""
    single = observed.dimensions == 1
    expected = np.where(single, _MEAN_WEIGHTED_SQUARE[1], _MEAN_WEIGHTED_SQUARE[2])
    equations = float(observed.dimensions.sum())
    taken = float(np.trace(np.linalg.solve(marks + priors, marks)))
    share = max(equations - taken, 1.0) / equations
    seen = float(np.sum(weights_of(observed, squares) * squares))
    return max(1.0, seen / (float(expected.sum()) * share))
