"""First guesses of the camera in closed form: vanishing point, a ladder of focal lengths, position by least squares."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from calibration import lane
from calibration.camera import Camera
from calibration.homography import fit_homography, focal_length
from calibration.observations import Observed, lane_places, misfits

Array = NDArray[np.float64]

CHEVRON_FT = (lane.ARROW_CENTRE_FT, lane.ARROW_SLOPE_FT)
FOCAL_LADDER = (0.5, 0.65, 0.85, 1.1, 1.4, 1.8, 2.4, 3.2)
"""Focal lengths to begin from, in larger sides of the frame: wide phone lens to threefold zoom."""

_HORIZON_SHARES = (0.15, 0.22, 0.3, 0.4)
_ROUGH_SIGMAS = 5.0


def first_guesses(observed: Observed, count: int) -> list[Camera]:
    """Find the ``count`` best of the closed-form cameras, best first by robust misfit; empty when there is none."""
    points = _vanishing_points(observed)
    larger = max(observed.width, observed.height)
    focals = [share * larger for share in FOCAL_LADDER]
    h = _rough_homography(observed)
    if h is not None:
        f = focal_length(h, (observed.width / 2, observed.height / 2)).f_px
        focals += [f] if np.isfinite(f) and 0.3 * larger < f < 5 * larger else []
    cameras = [camera for f, v in itertools.product(focals, points) if (camera := _camera(observed, v, f)) is not None]
    return sorted(cameras, key=lambda camera: _rough_cost(observed, camera))[:count]


def _rough_cost(observed: Observed, camera: Camera) -> float:
    edges, points = misfits(observed, camera, CHEVRON_FT)
    size = np.concatenate([np.abs(edges), np.hypot(points[:, 0], points[:, 1])]) / _ROUGH_SIGMAS
    return float(np.sum(np.sqrt(1.0 + size**2) - 1.0))


def _rough_homography(observed: Observed) -> Array | None:
    """Homography of lane inches to pixels from known points and arrows (at the chevron's usual place)."""
    if len(observed.point_px) < 4:
        return None
    return fit_homography(_nominal(observed)[:, :2], observed.point_px)


def _nominal(observed: Observed) -> Array:
    """Lane places of the points for a camera straight behind the lane: near enough for a first guess."""
    camera = Camera(0, -216, 66, 0, 0, 0, 1.0, 0, 1, width=observed.width, height=observed.height)
    return lane_places(observed, camera, CHEVRON_FT)


def _vanishing_points(observed: Observed) -> list[Array]:
    """Candidates for the pixel where the lane's edges meet."""
    found = []
    lines = [_edge_line(observed, side) for side in (-1.0, 1.0)]
    if lines[0] is not None and lines[1] is not None and abs(lines[0][1] - lines[1][1]) > 1e-3:
        v = (lines[1][0] - lines[0][0]) / (lines[0][1] - lines[1][1])
        found.append(np.array([lines[0][0] + lines[0][1] * v, v]))
    h = _rough_homography(observed)
    if h is not None and abs(h[2, 1]) > 1e-12:
        found.append(h[:2, 1] / h[2, 1])
    top, bottom = (observed.pixels[pick(observed.pixels[:, 1])] for pick in (np.argmin, np.argmax))
    found += [top - share * np.array([0.0, bottom[1] - top[1]]) for share in _HORIZON_SHARES]
    return found


def _edge_line(observed: Observed, sign: float) -> tuple[float, float] | None:
    """Line ``u = a + b v`` through an edge's points and its foul corner: median of slopes, weighted by their length."""
    on_edge = np.sign(observed.edge_x_in) == sign
    half = lane.LANE_WIDTH_IN / 2
    corner = np.abs(observed.point_xyz_in[:, 0] - sign * half) < 1e-6
    pixels = np.concatenate([observed.edge_px[on_edge], observed.point_px[corner]])
    pairs = np.array(list(itertools.combinations(range(len(pixels)), 2)), dtype=np.int64).reshape(-1, 2)
    du, dv = (pixels[pairs[:, 1]] - pixels[pairs[:, 0]]).T
    usable = np.abs(dv) > 10
    if not usable.any():
        return None
    slope = _weighted_median(du[usable] / dv[usable], np.abs(dv[usable]))
    return float(np.median(pixels[:, 0] - slope * pixels[:, 1])), slope


def _weighted_median(values: Array, weights: Array) -> float:
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


def _camera(observed: Observed, vanishing_px: Array, f_px: float) -> Camera | None:
    """Camera without roll or distortion looking along a vanishing point, placed by weighted linear least squares.

    A ray with direction d meets the lane at ``x = P_x - P_z d_x / d_z``, ``y = P_y - P_z d_y / d_z``: linear in the
    position P. Weights 1/range and 1/range^2 turn lane inches into about equal pixels.
    """
    nx, ny = (vanishing_px - np.array([observed.width / 2, observed.height / 2])) / f_px
    yaw, pitch = np.degrees([-np.arcsin(nx / np.sqrt(1 + nx**2 + ny**2)), np.arctan(-ny)])
    view = Camera(0, 0, 0, yaw, pitch, 0, f_px, 0, 1, width=observed.width, height=observed.height)
    ray = view.rays(observed.pixels)
    low = ray[:, 2] < -1e-3
    target = np.concatenate([observed.edge_x_in, _nominal(observed)[:, 0]])
    n = len(observed.edges)
    weight = np.where(low, -ray[:, 2], 0.0)
    ratio = np.where(low[:, None], ray[:, :2] / np.where(low, ray[:, 2], -1.0)[:, None], 0.0)
    zero, one = np.zeros_like(weight), np.ones_like(weight)
    along = weight[n:] ** 2 * np.where(np.arange(len(weight) - n) >= len(observed.points), 0.3, 1.0)
    rows = np.concatenate(
        [
            weight[:, None] * np.stack([one, zero, -ratio[:, 0]], axis=1),
            along[:, None] * np.stack([zero[n:], one[n:], -ratio[n:, 1]], axis=1),
        ]
    )
    right_side = np.concatenate([weight * target, along * _nominal(observed)[:, 1]])
    if np.linalg.matrix_rank(rows) < 3:
        return None
    position = np.linalg.lstsq(rows, right_side, rcond=None)[0]
    if not 12.0 < position[2] < 240.0:
        return None
    return view.with_vector([*position, yaw, pitch, 0, f_px, 0, 1])
