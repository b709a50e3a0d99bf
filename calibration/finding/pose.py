"""Cameras in closed form from a vanishing point, the foul line and its two corners, one for each focal length."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import LANE_WIDTH_IN

Array = NDArray[np.float64]


def camera_of(point: Array, left: Array, right: Array, *, f_px: float, size: tuple[int, int]) -> Camera | None:
    """The camera that sees the lane vanish at ``point`` and the foul line's corners at ``left`` and ``right``.

    The direction of the lane is the ray of the vanishing point; the foul line is the direction in the plane of its two
    corners that stands square on it; height and place follow from the lane's width (a pinhole without distortion).

    Parameters
    ----------
    point, left, right : array (2,)
        Pixels of the upright frame.
    f_px : float
    size : (int, int)
        Width and height of the frame.

    Returns
    -------
    Camera or None
        None where no camera above the lane and behind the foul line fits.
    """
    middle = np.array([size[0] / 2, size[1] / 2])
    rays = [np.array([*(p - middle), f_px]) for p in (point, left, right)]
    along = rays[0] / np.linalg.norm(rays[0])
    across = np.cross(np.cross(rays[1], rays[2]), along)
    norm = np.linalg.norm(across)
    if norm < 1e-9:
        return None
    across = across / norm * (1.0 if across[0] > 0 else -1.0)
    up = np.cross(across, along)
    lane = np.stack([across, along, up])
    a, b = lane @ rays[1], lane @ rays[2]
    if a[2] >= -1e-6 or b[2] >= -1e-6:
        return None
    span = b[0] / -b[2] - a[0] / -a[2]
    if span <= 1e-6:
        return None
    height = LANE_WIDTH_IN / span
    x = -(a[0] / -a[2] + b[0] / -b[2]) * height / 2
    y = -(a[1] / -a[2] + b[1] / -b[2]) * height / 2
    return _posed(lane.T, (float(x), float(y), float(height)), f_px, size)


def _posed(rotation: Array, place: tuple[float, float, float], f_px: float, size: tuple[int, int]) -> Camera:
    """Camera of a rotation ``(3, 3)`` from lane to camera axes; the angles of :func:`calibration.camera.rotation`."""
    right, _, forward = rotation
    pitch = -np.arcsin(np.clip(forward[2], -1, 1))
    yaw = np.arctan2(forward[0], forward[1])
    level = np.array([np.cos(yaw), -np.sin(yaw), 0.0])
    down = np.cross(forward, level)
    roll = np.arctan2(right @ down, right @ level)
    return Camera(
        *place, float(np.degrees(yaw)), pitch_deg=float(np.degrees(pitch)), roll_deg=float(np.degrees(roll)),
        f_px=f_px, k1=0.0, width_scale=1.0, width=size[0], height=size[1],
    )  # fmt: skip
