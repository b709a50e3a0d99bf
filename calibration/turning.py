"""How a picture moves when its camera turns, zooms or is carried, and the robust fit of such a move."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import DECK_END_IN

Array = NDArray[np.float64]

TURN = 4
"""Parameters of a turn: yaw, pitch, roll in degrees, log focal length; a carried camera has three more, inches."""
CARRIED = 7
_STEPS = np.array([1e-3, 1e-3, 1e-3, 1e-5, 1e-2, 1e-2, 1e-2])
_CARRIED_SD_IN = 12.0
_CAUCHY = 2.385
"""Scale of the Cauchy weight for 95 % efficiency under normal errors (Holland and Welsch 1977; from memory)."""
_ROUNDS = 14
_FARTHEST = np.array([30.0, 30.0, 30.0, 0.7, 120.0, 120.0, 120.0])
"""A fit that runs off farther than this, far beyond what windows are looked for in, is of windows that are no view."""
_RIDGE = 1e-12
"""What keeps information solvable that windows all in one place or along one line leave open, of its own size."""
_MEDIAN_CHI = 1.18
"""Median length of a standard normal vector in the plane, sqrt(2 ln 2)."""


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """Pixels of a camera with their rays.

    Attributes
    ----------
    camera : Camera
    pixels : array of shape (n, 2)
    rays : array of shape (n, 3)
        Directions in lane axes, 1 along the camera's axis.
    nearness : array of shape (n,)
        Inverse of the depth (1/in) if the pixel shows the floor or the wall above the pins.
    """

    camera: Camera
    pixels: Array
    rays: Array
    nearness: Array


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A fitted move.

    Attributes
    ----------
    move : array of shape (7,)
        Yaw, pitch, roll (deg), log focal length, and the way the camera was carried (in).
    covariance : array of shape (4, 4) or (7, 7)
        Of the fitted parameters, for the scatter that was seen.
    residual : array of shape (n, 2)
        Seen minus predicted motion, pixels.
    weight : array of shape (n,)
        0 to 1.
    """

    move: Array
    covariance: Array
    residual: Array
    weight: Array


def sight(camera: Camera, pixels: Array) -> Sight:
    """Rays of pixels ``(n, 2)`` and how near their points are if they show the floor or the far wall."""
    rays = camera.rays(pixels)
    floor = np.maximum(-rays[:, 2], 0.0) / camera.z_in
    wall = np.maximum(rays[:, 1], 0.0) / (DECK_END_IN - camera.y_in)
    return Sight(camera, pixels, rays, np.maximum(floor, wall))


def moved_camera(camera: Camera, move: Array) -> Camera:
    """The camera after a move ``(7,)`` or its first four; only its turn and zoom."""
    values = camera.vector
    values[3:6] += move[:3]
    values[6] *= float(np.exp(move[3]))
    return camera.with_vector(values)


def moved_pixels(seen: Sight, move: Array) -> Array:
    """Where pixels lie ``(n, 2)`` after a move ``(7,)``; NaN behind the camera."""
    after = moved_camera(seen.camera, move)
    directions = seen.rays - seen.nearness[:, None] * move[4:7]
    return after.project_directions(directions @ after.rotation.T)


def jacobian(seen: Sight, move: Array, free: int) -> Array:
    """Derivatives ``(n, 2, free)`` of :func:`moved_pixels` for the first parameters."""
    columns = []
    for k in range(free):
        step = np.zeros(CARRIED)
        step[k] = _STEPS[k]
        columns.append((moved_pixels(seen, move + step) - moved_pixels(seen, move - step)) / (2 * _STEPS[k]))
    return np.stack(columns, axis=-1)


def fit_move(seen: Sight, target: Array, covariance: Array, *, start: Array, free: int, usable: Array) -> Fit:
    """Move that takes pixels to where they were found, by reweighted least squares with Cauchy weights.

    Windows that do not say enough for a move leave a large covariance, and those that agree on none large residuals.

    Parameters
    ----------
    seen : Sight
        n pixels of the reference.
    target : array of shape (n, 2)
        Where they were found.
    covariance : array of shape (n, 2, 2)
        Of ``target``; large along an edge.
    start : array of shape (7,)
        First guess.
    free : int
        :data:`TURN` or :data:`CARRIED`; the rest of ``start`` is kept.
    usable : array of shape (n,)
        Weight 0 to 1 of each pixel from elsewhere.
    """
    precision = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    prior = np.zeros(free)
    prior[TURN:] = _CARRIED_SD_IN**-2
    move = start.copy()
    move[free:] = 0.0 if free == TURN else move[free:]
    for _ in range(_ROUNDS):
        residual = target - moved_pixels(seen, move)
        slope = jacobian(seen, move, free)
        weight, _ = _weights(residual, precision, usable)
        normal, right = _normal(slope, residual, precision, weight=weight)
        step = np.linalg.solve(_known(normal, prior), right - prior * move[:free])
        if np.any(np.abs(move[:free] + step) > _FARTHEST[:free]):
            break
        move[:free] += step
        if np.max(np.abs(slope @ step)) < 1e-3:
            break
    residual = target - moved_pixels(seen, move)
    slope = jacobian(seen, move, free)
    weight, square = _weights(residual, precision, usable)
    normal, _ = _normal(slope, residual, precision, weight=weight)
    # An edge says one number, a corner two.
    says = (np.linalg.eigvalsh(covariance) < 1.0).sum(axis=1)
    freedom = max(float((weight * says).sum()) - free, 1.0)
    factor = max(float((weight * square).sum()) / freedom, 1.0)
    spread = np.asarray(np.linalg.inv(_known(normal / factor, prior)), dtype=np.float64)
    return Fit(move, spread, residual, weight)


def _weights(residual: Array, precision: Array, usable: Array) -> tuple[Array, Array]:
    """Weights and squared normalised residuals; the scale follows what most windows scatter."""
    square = np.einsum("ni,nij,nj->n", residual, precision, residual)
    square = np.where(np.isfinite(square), square, 1e12)
    good = square[usable > 0]
    scale = max(float(np.sqrt(np.quantile(good, 0.45))) / _MEDIAN_CHI, 1.0) if len(good) else 1.0
    return usable / (1 + square / (_CAUCHY * scale) ** 2), square


def _normal(slope: Array, residual: Array, precision: Array, *, weight: Array) -> tuple[Array, Array]:
    slope, residual = np.nan_to_num(slope), np.nan_to_num(residual)
    weighted = weight[:, None, None] * precision
    carried = weighted @ slope
    return np.einsum("nik,nil->kl", slope, carried), np.einsum("nik,ni->k", carried, residual)


def _known(normal: Array, prior: Array) -> Array:
    """Information ``(k, k)`` of windows and of a prior with the precisions ``(k,)``; never singular."""
    return normal + np.diag(prior + _RIDGE * (1.0 + np.diag(normal)))
