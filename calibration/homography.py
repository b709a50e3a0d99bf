"""Closed forms of a plane seen by a pinhole: homography from points, focal length from a homography, sensitivities.

Used for the first guess of the solver and for checks; everything is in double precision and has no lens distortion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

_RANK_TOLERANCE = 1e-7


@dataclass(frozen=True, slots=True)
class FocalEstimate:
    """Focal length from one homography.

    Attributes
    ----------
    f_px : float
        Weighted least squares of the two constraints; NaN where neither gives a positive square.
    sd_px : float
        Standard deviation for the given noise of the homography's pixels; infinite where f is undetermined.
    orthogonality_weight : float
        Share of the orthogonality constraint in the answer, 0 to 1. It goes to 0 for a camera square behind the lane,
        where that constraint reads 0 = 0.
    """

    f_px: float
    sd_px: float
    orthogonality_weight: float


def _normaliser(points: Array) -> Array:
    """Similarity ``(3, 3)`` that moves points ``(n, 2)`` to mean 0 and mean distance sqrt 2."""
    centre = points.mean(axis=0)
    spread = np.mean(np.hypot(*(points - centre).T))
    scale = np.sqrt(2.0) / spread if spread > 0 else 1.0
    return np.array([[scale, 0, -scale * centre[0]], [0, scale, -scale * centre[1]], [0, 0, 1.0]])


def apply_homography(h: ArrayLike, points: ArrayLike) -> Array:
    """Images ``(..., 2)`` of plane points ``(..., 2)`` under the homography ``(3, 3)``."""
    p = np.asarray(points, dtype=np.float64)
    q = np.concatenate([p, np.ones_like(p[..., :1])], axis=-1) @ np.asarray(h, dtype=np.float64).T
    return np.asarray(q[..., :2] / q[..., 2:])


def fit_homography(source: ArrayLike, target: ArrayLike) -> Array | None:
    """Homography from at least four point pairs by the normalised direct linear transform.

    Source: Hartley and Zisserman, Multiple View Geometry, 2nd ed., algorithms 4.1 and 4.2 (from memory).

    Parameters
    ----------
    source, target : array of shape (n, 2)
        Points and their images.

    Returns
    -------
    array of shape (3, 3) or None
        Scaled so that its last element is 1. None where the points do not determine it (three of four on a line).

    Raises
    ------
    ValueError
        If there are fewer than four pairs or the shapes differ.
    """
    a, b = np.asarray(source, dtype=np.float64), np.asarray(target, dtype=np.float64)
    if a.shape != b.shape or a.ndim != 2 or a.shape[1] != 2 or len(a) < 4:
        msg = f"a homography needs two arrays of equal shape (n >= 4, 2), got {a.shape} and {b.shape}"
        raise ValueError(msg)
    ta, tb = _normaliser(a), _normaliser(b)
    p, q = apply_homography(ta, a), apply_homography(tb, b)
    ones, zeros = np.ones((len(p), 1)), np.zeros((len(p), 3))
    ph = np.hstack([p, ones])
    rows = np.vstack([np.hstack([ph, zeros, -q[:, :1] * ph]), np.hstack([zeros, ph, -q[:, 1:] * ph])])
    _, singular, vt = np.linalg.svd(rows, full_matrices=True)
    if singular[7] < _RANK_TOLERANCE * singular[0]:
        return None
    h = np.linalg.inv(tb) @ vt[-1].reshape(3, 3) @ ta
    if abs(h[2, 2]) < 1e-12 * np.abs(h).max():
        return None
    return np.asarray(h / h[2, 2])


def plane_jacobian(h: ArrayLike, points: ArrayLike) -> Array:
    """Jacobian ``(..., 2, 2)`` of the image (u, v) by the plane's (x, y) at points ``(..., 2)``."""
    m = np.asarray(h, dtype=np.float64)
    p = np.asarray(points, dtype=np.float64)
    q = np.concatenate([p, np.ones_like(p[..., :1])], axis=-1) @ m.T
    image = q[..., :2] / q[..., 2:]
    return np.asarray((m[:2, :2] - image[..., :, None] * m[2, :2]) / q[..., 2, None, None])


def point_sigma(h: ArrayLike, points: ArrayLike, sigma_px: float = 1.0) -> Array:
    """Noise ``(..., 2)`` (1 sigma of x and y) of plane points seen with independent noise of u and v, H known."""
    inverse = np.linalg.inv(plane_jacobian(h, points))
    return np.asarray(sigma_px * np.sqrt(np.sum(inverse**2, axis=-1)))


def focal_terms(h: ArrayLike, centre_px: ArrayLike) -> Array:
    """Terms ``(2, 2)`` of the two constraints on f, rows orthogonality and equal norms, as ``f^2 * a = b``.

    With the principal point moved to the origin and columns h1, h2 of the homography: ``a = h31 h32, b = -(h11 h12 +
    h21 h22)`` and ``a = h31^2 - h32^2, b = -(h11^2 + h21^2 - h12^2 - h22^2)``. Source: Zhang 2000, the two constraints
    a view (from memory). The plane's coordinates must have the same unit in x and y.
    """
    cx, cy = np.asarray(centre_px, dtype=np.float64)
    m = np.array([[1.0, 0, -cx], [0, 1.0, -cy], [0, 0, 1.0]]) @ np.asarray(h, dtype=np.float64)
    (p1, p2), (q1, q2), (r1, r2) = m[:, :2]
    return np.array([[r1 * r2, -(p1 * p2 + q1 * q2)], [r1**2 - r2**2, -(p1**2 + q1**2 - p2**2 - q2**2)]])


def focal_length(h: ArrayLike, centre_px: ArrayLike, covariance: ArrayLike | None = None) -> FocalEstimate:
    """Focal length from a homography: both constraints as one weighted least squares.

    Parameters
    ----------
    h : array of shape (3, 3)
        Plane (x, y, same unit) to pixels.
    centre_px : array of shape (2,)
        Principal point.
    covariance : array of shape (9, 9), optional
        Covariance of the elements of ``h`` (row by row), see :func:`homography_covariance`. Without it
        both constraints weigh as their coefficients do, enough for a first guess, and ``sd_px`` is NaN.

    Returns
    -------
    FocalEstimate
    """
    m = np.asarray(h, dtype=np.float64)
    terms = focal_terms(m, centre_px)
    squares, b = terms[:, 0], terms[:, 1]
    if covariance is None:
        return _focal(_solve_square(squares, b, np.eye(2)), float("nan"), squares, np.eye(2))
    weight: Array = np.eye(2)
    f2 = _solve_square(squares, b, weight)
    if not np.isfinite(f2):
        return FocalEstimate(float("nan"), float("inf"), 0.0)
    for _ in range(4):
        # The noise of both constraints depends on f itself, so the weights are renewed from the last answer.
        noise = _constraint_noise(m, centre_px, np.asarray(covariance, dtype=np.float64), f2)
        weight = np.asarray(np.linalg.pinv(noise, rcond=1e-12))
        f2 = _solve_square(squares, b, weight)
    information = float(squares @ weight @ squares)
    sd_f2 = 1.0 / np.sqrt(information) if information > 0 else float("inf")
    return _focal(f2, sd_f2, squares, weight)


def _solve_square(a: Array, b: Array, weight: Array) -> float:
    """Weighted least squares of ``f2 a = b``."""
    information = float(a @ weight @ a)
    return float(a @ weight @ b) / information if information > 0 else float("nan")


def _focal(f2: float, sd_f2: float, squares: Array, weight: Array) -> FocalEstimate:
    """Turn the estimate of f squared into one of f."""
    information = float(squares @ weight @ squares)
    share = float(weight[0, 0] * squares[0] ** 2) / information if information > 0 else 0.0
    if not f2 > 0:
        return FocalEstimate(float("nan"), float("inf"), share)
    return FocalEstimate(float(np.sqrt(f2)), float(sd_f2 / (2 * np.sqrt(f2))), share)


def _constraint_noise(h: Array, centre_px: ArrayLike, covariance: Array, f2: float) -> Array:
    """Covariance ``(2, 2)`` of the misfits ``f2 a - b`` under the covariance ``(9, 9)`` of h's elements."""
    gradient = np.zeros((2, 9))
    for k in range(9):
        step = np.zeros(9)
        step[k] = 1e-6 * max(abs(h.flat[k]), 1e-9 * float(np.abs(h).max()))
        up, down = (focal_terms(h + sign * step.reshape(3, 3), centre_px) for sign in (1.0, -1.0))
        difference = (up - down) / (2 * step[k])
        gradient[:, k] = f2 * difference[:, 0] - difference[:, 1]
    return np.asarray(gradient @ covariance @ gradient.T)


def homography_covariance(h: ArrayLike, source: ArrayLike, sigma_px: float = 1.0) -> Array:
    """Covariance ``(9, 9)`` of a homography's elements (row by row, last fixed to 1) fitted to exact plane points.

    First order, for independent noise of the images' u and v. Source: Hartley and Zisserman, 2nd ed., chapter 5 (from
    memory).

    Parameters
    ----------
    h : array of shape (3, 3)
        The homography, last element 1.
    source : array of shape (n, 2)
        Plane points, at least four, not degenerate.
    sigma_px : float
        Noise of a coordinate.
    """
    m, p = np.asarray(h, dtype=np.float64), np.asarray(source, dtype=np.float64)
    ph = np.hstack([p, np.ones((len(p), 1))])
    q = ph @ m.T
    image, depth = q[:, :2] / q[:, 2:], q[:, 2:]
    zeros = np.zeros((len(p), 3))
    du = np.hstack([ph / depth, zeros, -image[:, :1] * p / depth])
    dv = np.hstack([zeros, ph / depth, -image[:, 1:] * p / depth])
    jacobian = np.vstack([du, dv])
    scale = np.linalg.norm(jacobian, axis=0)
    inverse = np.linalg.inv((jacobian / scale).T @ (jacobian / scale)) / np.outer(scale, scale)
    full = np.zeros((9, 9))
    full[:8, :8] = sigma_px**2 * inverse
    return full
