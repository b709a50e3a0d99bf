"""Whether a path's clock is true: what friction, which a slowed clip shows too weak, and jumps of the speed say.

Played k times slower, a ball has 1/k of its speed and 1/k^2 of the acceleration that friction gives it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.path.motion import AX, AY, SIZE, VX, VY, MotionModel
from tracker.path.physical import misfit
from tracker.path.posterior import CommonErrors
from tracker.path.smooth import SmoothPath

Array = NDArray[np.float64]

GRAVITY_IN_S2 = 386.1
MOST_FRICTION = 0.36
"""Friction of ball on lane is at most 0.32 by the rules (from memory), and a little is left for what paths round."""
LEAST_KEPT = 0.6
"""A ball without revolutions keeps 0.70 of its speed until it rolls (q = k^2 / (k^2 + R^2) is at most 0.30 for a legal
radius of gyration); only one thrown with backspin would keep less."""
GAINS = 0.08
"""What a wrong camera may make of an even speed over the lane."""
SURE_SIGMA = 3.0
BESIDE_S, LONGEST_GAP_S = 0.35, 0.8
BESIDE_ROWS = 5
STEPS_TO_IN, HIDDEN_S = 55 * 12.0, 0.15
"""Among the pins and their reflections sights step by themselves from look to look; what was not seen for longer and
then steps is no ball that was followed."""
LEAST_STEP_IN, LEAST_STEP_PX, STEP_SIGMA = 10.0, 2.0, 6.0
"""Two looks of a ball at 18 mph, 30 a second, lie 10.6 in apart; less than one look is not missed."""


def quickened(path: SmoothPath, factor: float) -> SmoothPath:
    """The path if its clip played ``factor`` times faster."""
    scale = np.ones(SIZE)
    scale[[VX, VY]], scale[[AX, AY]] = factor, factor**2
    return replace(
        path, t_s=path.t_s / factor, mean=path.mean * scale, covariance=path.covariance * np.outer(scale, scale)
    )


def slowed_odds(path: SmoothPath, errors: CommonErrors, model: MotionModel, factor: float) -> float | None:
    """Natural logarithm of how much likelier a path's clip is slowed by ``factor`` than true.

    Both clocks are given the physical fit, whose priors know how strong friction is. None where one has no fit.
    """
    true = misfit(path, errors, model)
    slow = misfit(quickened(path, factor), errors, replace(model, bias_time_s=model.bias_time_s / factor))
    return None if true is None or slow is None else true - slow


def brakes(path: SmoothPath) -> bool:
    """Whether the ball surely slows more than friction can slow it."""
    rows = slice(0, path.last_seen + 1)
    slows = -path.mean[rows, AY] - SURE_SIGMA * np.sqrt(path.covariance[rows, AY, AY])
    return bool(np.any(slows > MOST_FRICTION * GRAVITY_IN_S2))


def speed_jumps(path: SmoothPath) -> bool:
    """Whether the speed surely changes as no lane changes a ball's: the clip's own speed changes on the way."""
    rows = slice(0, path.last_seen + 1)
    speed, sigma = path.mean[rows, VY], np.sqrt(path.covariance[rows, VY, VY])
    kept = (speed + SURE_SIGMA * sigma) / np.maximum.accumulate(speed - SURE_SIGMA * sigma)
    slowest = np.minimum.accumulate(speed + SURE_SIGMA * sigma)
    gains = speed - SURE_SIGMA * sigma > (1 + GAINS) * slowest
    return bool(brakes(path) or np.any(kept < LEAST_KEPT) or np.any(gains))


def place_jumps(path: SmoothPath, camera: Camera, ball_radius_in: float) -> bool:
    """Whether the ball surely skips a piece of lane from one look to the next: a piece of the clip is cut out.

    Before and after each look a parabola over time with a step between is fitted to the measured distances.
    """
    seen = np.flatnonzero(path.seen)
    places = np.array([camera.back_project(path.pixel[row], ball_radius_in) for row in seen], dtype=np.float64)
    t_s, y_in = path.t_s[seen], places.reshape(-1, 2)[:, 1]
    lower = np.array([camera.back_project(path.pixel[row] + [0.0, 1.0], ball_radius_in) for row in seen])
    least_in = np.maximum(LEAST_STEP_IN, LEAST_STEP_PX * np.abs(lower.reshape(-1, 2)[:, 1] - y_in))
    told = (y_in < STEPS_TO_IN) | (np.diff(t_s, prepend=t_s[0]) > HIDDEN_S)
    return any(
        told[k] and _steps(t_s, y_in, k, float(least_in[k])) for k in range(BESIDE_ROWS, len(seen) - BESIDE_ROWS + 1)
    )


def _steps(t_s: Array, y_in: Array, k: int, least_in: float) -> bool:
    """Whether distances step by ``least_in`` and surely between the looks ``k - 1`` and ``k``."""
    gap_s = t_s[k] - t_s[k - 1]
    if gap_s > LONGEST_GAP_S:
        return False
    near = ((t_s >= t_s[k - 1] - BESIDE_S) & (t_s < t_s[k])) | ((t_s >= t_s[k]) & (t_s <= t_s[k] + BESIDE_S))
    near &= (y_in < STEPS_TO_IN) | (gap_s > HIDDEN_S)
    after = t_s[near] >= t_s[k]
    if min(int(after.sum()), int((~after).sum())) < BESIDE_ROWS or not np.all(np.isfinite(y_in[near])):
        return False
    since = t_s[near] - t_s[k]
    design = np.column_stack([np.ones(len(since)), since, since**2, after])
    normal = design.T @ design
    if np.linalg.cond(normal) > 1e12:
        return False
    found = np.linalg.solve(normal, design.T @ y_in[near])
    left = y_in[near] - design @ found
    sigma = np.sqrt(np.sum(left**2) / max(len(left) - 4, 1) * np.linalg.inv(normal)[3, 3])
    return bool(abs(found[3]) > max(least_in, STEP_SIGMA * sigma))
