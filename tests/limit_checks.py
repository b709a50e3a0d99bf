"""Whether claimed covariances are those of the errors: normalised squares against chi-square bounds.

Normalised innovation squared (NIS) and normalised estimation error squared (NEES) have a mean of as many as their
degrees of freedom where filter and world agree, and the mean of n of them lies between the 2.5 and 97.5 % points of
chi-square with n times the degrees of freedom, over n (Bar-Shalom, Li and Kirubarajan, Estimation with Applications to
Tracking and Navigation, section 5.4, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from limit import View
from limit_shots import Shot, motion_of, place_misses
from numpy.typing import NDArray
from scipy.stats import chi2

from tracker.detection.outline import BallFit
from tracker.detection.watch import Detection, FrameLook
from tracker.path.motion import SIZE, MotionModel, X, Y, predict_pixel
from tracker.path.posterior import PathDraws
from tracker.path.smooth import SmoothPath, _rts, _sweep, _Tracker

Array = NDArray[np.float64]

JERKS = {"jerk_xx": 900.0, "jerk_xy": 200.0, "jerk_yy": 300.0}
START = np.array([2.0, -8.0, 5.0, 30.0, 300.0, -14.0, 0.0, 0.0])
START_SD = np.array([2.0, 6.0, 8.0, 6.0, 10.0, 8.0])
FRAMES = 100
SETTLED_S = 0.8
"""The last pass starts from a state that the same measurements have told: its first innovations are too small. From a
start drawn from the prior around the true state they are as large as the filter says after this time."""


@dataclass(frozen=True, slots=True)
class Squares:
    """Normalised squares with the same degrees of freedom; independent ones for the bounds to hold."""

    values: Array
    dof: int

    @property
    def mean(self) -> float:
        """Their mean."""
        return float(np.mean(self.values))

    @property
    def bounds(self) -> tuple[float, float]:
        """Between which the mean lies in 95 of 100 cases."""
        return chi_square_bounds(len(self.values), self.dof)

    @property
    def inside(self) -> bool:
        """Whether it does."""
        low, high = self.bounds
        return low <= self.mean <= high


def chi_square_bounds(count: int, dof: int) -> tuple[float, float]:
    """Two-sided 95 % bounds of the mean of ``count`` squares of ``dof`` degrees of freedom each."""
    low, high = chi2.ppf([0.025, 0.975], count * dof) / count
    return float(low), float(high)


def squares(misses: Array, covariances: Array) -> Array:
    """Normalised squares ``(n,)`` of misses ``(n, d)`` with covariances ``(n, d, d)``."""
    return np.asarray(np.einsum("ni,ni->n", misses, np.linalg.solve(covariances, misses[..., None])[..., 0]))


def path_nis(path: SmoothPath) -> Array:
    """Innovations' squares of a path's measurements, without those of the first 0.8 s."""
    return path.nis[path.seen & (path.t_s > path.t_s[0] + SETTLED_S)]


def place_squares(path: SmoothPath, shot: Shot, at_ft: Array, draws: PathDraws | None = None) -> Array:
    """NEES ``(k,)`` of the place (x, y) at distances ``(k,)``: of the smoother's path, or of drawn ones."""
    if draws is None:
        misses, spread = place_misses(path, shot), path.covariance[:, [X, Y]][:, :, [X, Y]]
    else:
        misses = place_misses(path, shot) + draws.mean[:, [X, Y]] - path.mean[:, [X, Y]]
        own = draws.draws[:, :, [X, Y]] - draws.draws[:, :, [X, Y]].mean(axis=0)
        spread = np.einsum("mni,mnj->nij", own, own) / (len(own) - 1)
    rows = [int(np.argmin(np.abs(path.mean[:, Y] / 12 - ft))) for ft in at_ft]
    return squares(misses[rows], spread[rows])


def matched(view: View, random: np.random.Generator) -> tuple[Array, Array]:
    """NIS inside the gate and NEES of the smoothed place ``(100,)`` of a ball that moves exactly as the model says."""
    quiet = motion_of(view)
    model = MotionModel(**JERKS, bias_px=quiet.bias_px, bias_time_s=quiet.bias_time_s)
    spread = np.array([*START_SD, *model.bias_px])
    states, looks = [START + spread * random.standard_normal(SIZE)], []
    times = np.cumsum(random.uniform(0.01, 0.025, FRAMES))
    for frame, now in enumerate(times):
        if frame:
            states.append(_moved(model, states[-1], now - times[frame - 1], random))
        pixel = predict_pixel(view.camera, states[-1], view.radius_in) + view.noise_px * random.standard_normal(2)
        fit = BallFit(pixel, np.eye(2) * view.noise_px**2, 0.0, 1.0, 40.0, "disc")
        looks.append(FrameLook(frame, float(now), (Detection(frame, float(now), fit, 0.0, 0.0, 0.9),)))
    tracker = _Tracker(view.camera, view.radius_in, model, (START.copy(), np.diag(spread**2)))
    record = _sweep(tracker, looks, float(times[0]), view.radius_in, until_lost=False)
    means, covariances = _rts(record)
    n = len(means)
    misses = (means - np.array(states)[:n])[:, [X, Y]]
    nis = np.array(record.nis)
    return nis[np.isfinite(nis)], squares(misses, covariances[:, [X, Y]][:, :, [X, Y]])


def _moved(model: MotionModel, state: Array, dt_s: float, random: np.random.Generator) -> Array:
    values, vectors = np.linalg.eigh(model.noise(dt_s))
    kick = vectors @ (np.sqrt(np.maximum(values, 0)) * random.standard_normal(SIZE))
    return np.asarray(model.transition(dt_s) @ state + kick)
