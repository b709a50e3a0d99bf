"""Joint posterior of a whole path: what the pixels leave open, and what camera and ball size add to all frames at once.

The smoother gives each frame's covariance; an angle or an onset needs the covariance between frames too. The same
linear-Gaussian model has a block-tridiagonal precision matrix, from whose Cholesky factor whole paths are drawn (Rue
and Held, Gaussian Markov Random Fields, section 2.4, from memory). Errors of the camera and of the ball's size shift
every frame together: their effect on the path is linear and comes from the same factor.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve_banded, cholesky_banded, solve_banded

from calibration.camera import PARAMETERS, Camera
from tracker.path.motion import SIZE, MotionModel, X, Y, measurement_matrix
from tracker.path.smooth import SmoothPath

Array = NDArray[np.float64]

SHARP_PX, SOFT_ASIDE, SOFT_ALONG = 0.85, 0.5, 1.0
"""Blur of a rim in focus is 0.60 to 0.77 px in clips of 720p and 1080p, 0.96 where it is out by 1 px, 1.3 by 2."""
FEW_BITS, LAG_PX, MOST_LAG_PX = 0.0018, 0.5, 1.0
"""At so few bits a pixel the measured centre lags so far in pixels, with fewer by their square more (own clips)."""
NIS_EXPECTED, NIS_CAP = 2.0, 13.8
"""Mean and 99.9 % point of chi-square with 2 degrees of freedom."""
BANDWIDTH = 2 * SIZE - 1
CAMERA_STEPS = np.array([0.05, 0.05, 0.05, 0.01, 0.01, 0.01, 1.0, 1e-3, 1e-4])
RADIUS_STEP_IN = 0.01


@dataclass(frozen=True, slots=True)
class PathDraws:
    """Paths drawn from the posterior.

    Attributes
    ----------
    t_s : ndarray of shape (n,)
        Container time of the rows.
    mean : ndarray of shape (n, 8)
        Smoothed states.
    draws : ndarray of shape (m, n, 8)
        Equally likely paths around the mean; measurement noise, camera and ball size all vary.
    slip_end_ft : ndarray of shape (1 + m,) or None
        Where slip ends in the mean and in each of them, infinite where it does not; None where no physical ball tells.
    """

    t_s: Array
    mean: Array
    draws: Array
    slip_end_ft: Array | None = None


@dataclass(frozen=True, slots=True)
class CommonErrors:
    """Errors that shift all frames of a clip together.

    Attributes
    ----------
    camera : Camera
        The camera the path was measured with.
    camera_covariance : ndarray of shape (9, 9)
        Covariance of its parameters.
    ball_radius_in, ball_radius_u_in : float
        Radius and its standard uncertainty.
    """

    camera: Camera
    camera_covariance: Array
    ball_radius_in: float
    ball_radius_u_in: float

    @property
    def covariance(self) -> Array:
        """Covariance ``(10, 10)`` of the camera's parameters and the ball's radius."""
        both = np.zeros((len(PARAMETERS) + 1, len(PARAMETERS) + 1))
        both[:-1, :-1], both[-1, -1] = self.camera_covariance, self.ball_radius_u_in**2
        return both


def precision_banded(path: SmoothPath, h: Array, model: MotionModel) -> Array:
    """Lower banded precision ``(16, 8 n)`` of all states given the measurements; ``h`` is ``(n, 2, 8)``."""
    n = len(path.t_s)
    band = np.zeros((BANDWIDTH + 1, n * SIZE))

    def add(block: NDArray[Any], row: int, column: int) -> None:
        for a in range(SIZE):
            for b in range(SIZE):
                r, c = row * SIZE + a, column * SIZE + b
                if r >= c:
                    band[r - c, c] += block[a, b]

    add(np.linalg.inv(path.start_covariance), 0, 0)
    for k in range(n):
        if path.seen[k]:
            add(h[k].T @ np.linalg.solve(path.pixel_covariance[k], h[k]), k, k)
        if k + 1 < n:
            dt = float(path.t_s[k + 1] - path.t_s[k])
            f, q = model.transition(dt), np.linalg.inv(model.noise(dt))
            add(f.T @ q @ f, k, k)
            add(q, k + 1, k + 1)
            add(-q @ f, k + 1, k)
    return band


def shared_shifts(path: SmoothPath, errors: CommonErrors) -> Array:
    """Pixel shifts ``(n, 2, 10)`` for one step of each camera parameter and of the ball's radius."""
    centre = np.column_stack([path.mean[:, X], path.mean[:, Y], np.full(len(path.t_s), errors.ball_radius_in)])
    here = errors.camera.project(centre)
    shifts = []
    for k in range(len(PARAMETERS)):
        moved = errors.camera.vector
        moved[k] += CAMERA_STEPS[k]
        shifts.append((errors.camera.with_vector(moved).project(centre) - here) / CAMERA_STEPS[k])
    higher = centre + np.array([0.0, 0.0, RADIUS_STEP_IN])
    shifts.append((errors.camera.project(higher) - here) / RADIUS_STEP_IN)
    return np.stack(shifts, axis=-1)


def matrix_root(covariance: Array) -> Array:
    """A square root ``(k, k)`` of a covariance, also when it is singular."""
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def draw_paths(
    path: SmoothPath, errors: CommonErrors, model: MotionModel, count: int = 160, *, seed: int = 60
) -> PathDraws:
    """Draw whole paths from the joint posterior.

    Parameters
    ----------
    path : SmoothPath
        The smoothed path; its mean is the centre of the draws.
    errors : CommonErrors
        Camera and ball with their uncertainties.
    model : MotionModel
        The process noise the path was smoothed with.
    count : int
        Number of paths.
    seed : int
        Seed of the generator: the same input gives the same draws.
    """
    n = len(path.t_s)
    h = np.stack([measurement_matrix(errors.camera, state, errors.ball_radius_in) for state in path.mean])
    factor = cholesky_banded(precision_banded(path, h, model), lower=True)
    random = np.random.default_rng(seed)
    noise = random.standard_normal((n * SIZE, count))
    upper = np.zeros_like(factor)
    for d in range(BANDWIDTH + 1):
        upper[BANDWIDTH - d, d:] = factor[d, : factor.shape[1] - d]
    own = solve_banded((0, BANDWIDTH), upper, noise)
    shared = matrix_root(errors.covariance) @ random.standard_normal((len(PARAMETERS) + 1, count))
    shared_pixels = shared_shifts(path, errors)
    gain = np.zeros((n * SIZE, len(PARAMETERS) + 1))
    for k in np.flatnonzero(path.seen):
        gain[k * SIZE : (k + 1) * SIZE] = -h[k].T @ np.linalg.solve(path.pixel_covariance[k], shared_pixels[k])
    common = cho_solve_banded((factor, True), gain) @ shared
    deviations = (own + common).T.reshape(count, n, SIZE)
    return PathDraws(path.t_s, path.mean, path.mean[None] + deviations)


def lag_px(bits_per_pixel: float | None) -> float:
    """How far in pixels what moves may lag behind in a clip of few bits."""
    return 0.0 if not bits_per_pixel else float(min(LAG_PX * (FEW_BITS / bits_per_pixel) ** 2, MOST_LAG_PX))


def widen(
    model: MotionModel, clarity: float, bits_per_pixel: float | None = None, blur_px: float = np.nan
) -> MotionModel:
    """The model with the rim bias that balls of this clarity show: faint and mottled balls wander more.

    Clarity is the rim's contrast in noise sigmas times the square of the share of rays that agree. In a clip of few
    bits the encoder lets what moves lag behind, by half a pixel where it has two thousandths of a bit for a pixel. Out
    of focus the ball's rim runs into what is beside it, which moves it by as much as it is wider than usual.

    The constants are from the scatter of fitted centres on rendered clips.
    """
    faint = 1.0 / max(clarity, 2.0)
    lag = lag_px(bits_per_pixel)
    soft = max(blur_px - SHARP_PX, 0.0) if np.isfinite(blur_px) else 0.0
    bias = np.hypot(np.hypot([0.05 + faint, 0.1 + 2.0 * faint], lag), [SOFT_ASIDE * soft, SOFT_ALONG * soft])
    return replace(model, bias_px=(float(bias[0]), float(bias[1])))


def widen_by_scatter(model: MotionModel, path: SmoothPath) -> MotionModel | None:
    """The model with more rim bias where sights scatter by more than it allows for.

    Innovations of a model that holds have a normalised square of 2 on average; those of mottled balls, whose patches
    pull at the rim in turn, have more. The variance of sights grows by the ratio, once (Birge ratio, as for a mean of
    values that scatter more than their uncertainties say), and what it grows by stays from frame to frame as bias does.
    A single sight counts no more than the 99.9 % point.

    Parameters
    ----------
    model : MotionModel
        The model that the path was smoothed with.
    path : SmoothPath
        Its ``nis`` and ``pixel_covariance`` (px^2) are read.

    Returns
    -------
    MotionModel or None
        None where sights scatter as they say, or nothing was seen.
    """
    if not path.seen.any():
        return None
    excess = float(np.mean(np.minimum(path.nis[path.seen], NIS_CAP))) / NIS_EXPECTED - 1.0
    if not excess > 0.0:
        return None
    own = np.median(np.diagonal(path.pixel_covariance[path.seen], axis1=1, axis2=2), axis=0)
    bias = np.sqrt(np.square(model.bias_px) + excess * (np.square(model.bias_px) + own))
    return replace(model, bias_px=(float(bias[0]), float(bias[1])))
