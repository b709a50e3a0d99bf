"""Cameras in closed form from a vanishing point, the foul line and its two corners, one for each focal length."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import LANE_WIDTH_IN

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Poses:
    """Pinhole cameras of strips ``p`` and focal lengths ``f``: rotations ``(p, f, 3, 3)``, places ``(p, f, 3)``, in.

    ``possible`` (p, f) tells which of them stand above the lane and behind the foul line.
    """

    rotation: Array
    place_in: Array
    possible: NDArray[np.bool_]
    f_px: Array
    middle: Array

    def project(self, points: Array) -> Array:
        """Pixels ``(p, f, n, 2)`` of lane points ``(n, 3)``."""
        origin = np.einsum("pfij,pfj->pfi", self.rotation, self.place_in)
        u, v, depth = (self.rotation[:, :, i] @ points.T - origin[:, :, i, None] for i in range(3))
        scale = self.f_px[None, :, None] / np.where(depth > 1.0, depth, np.nan)
        return np.stack([u * scale + self.middle[0], v * scale + self.middle[1]], axis=-1)

    def project_possible(self, points: Array) -> Array:
        """Pixels ``(k, n, 2)`` of lane points ``(n, 3)`` for the k possible cameras alone, strip by strip."""
        rotation, place = self.rotation[self.possible], self.place_in[self.possible]
        seen = rotation @ points.T - rotation @ place[..., None]
        scale = np.broadcast_to(self.f_px, self.possible.shape)[self.possible][:, None]
        scale = scale / np.where(seen[:, 2] > 1.0, seen[:, 2], np.nan)
        pixels = np.empty((*scale.shape, 2))
        for axis in (0, 1):
            np.multiply(seen[:, axis], scale, out=pixels[..., axis])
            pixels[..., axis] += self.middle[axis]
        return pixels

    def ground_x(self, pixels: Array) -> Array:
        """Place ``(p, f, n)`` across the lane, inches, of pixels ``(n, 2)`` on its level; NaN above the horizon."""
        rays = np.empty((len(self.f_px), len(pixels), 3))
        rays[..., :2] = pixels - self.middle
        rays[..., 2] = self.f_px[:, None]
        seen = np.einsum("pfji,fnj->pfni", self.rotation, rays)
        drop = np.where(seen[..., 2] < -1e-9, -seen[..., 2], np.nan)
        return np.asarray(self.place_in[..., None, 0] + seen[..., 0] * self.place_in[..., None, 2] / drop)


def poses_of(point: Array, corners: Array, f_px: Array, size: tuple[float, float]) -> Poses:
    """Cameras that see the lane vanish at a point and the foul line's corners where strips have them.

    The direction of the lane is the ray of the vanishing point; the foul line is the direction in the plane of its two
    corners that stands square on it; height and place follow from the lane's width (pinholes without distortion).

    Parameters
    ----------
    point : array of shape (2,)
        Pixel of the vanishing point in the upright frame.
    corners : array of shape (p, 2, 2)
        Pixels of each strip's left and right corner.
    f_px : array of shape (f,)
        Focal lengths.
    size : (float, float)
        Width and height of the frame.
    """
    middle = np.array([size[0] / 2, size[1] / 2])
    p, f = len(corners), len(f_px)
    along = np.concatenate([np.broadcast_to(point - middle, (f, 2)), f_px[:, None]], axis=1)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    rays = np.empty((p, f, 2, 3))
    rays[..., :2] = (corners - middle)[:, None]
    rays[..., 2] = f_px[None, :, None]
    across = np.cross(np.cross(rays[:, :, 0], rays[:, :, 1]), along[None])
    across *= np.sign(across[..., :1]) / np.maximum(np.linalg.norm(across, axis=-1, keepdims=True), 1e-12)
    along = np.broadcast_to(along[None], across.shape)
    up = np.cross(across, along)
    lane = np.stack([across, along, up], axis=-2)
    seen = np.einsum("pfij,pfkj->pfki", lane, rays)
    drop = np.minimum(seen[..., 2], -1e-9)
    sides = seen[..., 0] / -drop
    span = np.maximum(sides[..., 1] - sides[..., 0], 1e-9)
    height = LANE_WIDTH_IN / span
    x = -sides.mean(axis=-1) * height
    y = -(seen[..., 1] / -drop).mean(axis=-1) * height
    possible = (seen[..., 2].max(axis=-1) < -1e-6) & (span > 1e-6) & (y < 0)
    return Poses(np.swapaxes(lane, -1, -2), np.stack([x, y, height], axis=-1), possible, f_px, middle)


def camera_of(point: Array, left: Array, right: Array, *, f_px: float, size: tuple[int, int]) -> Camera | None:
    """The one camera of :func:`poses_of` for corners ``left`` and ``right`` (2,) and one focal length.

    Returns
    -------
    Camera or None
        None where no camera above the lane and behind the foul line fits.
    """
    poses = poses_of(point, np.array([[left, right]]), np.array([f_px]), size)
    if not poses.possible[0, 0]:
        return None
    x, y, z = (float(v) for v in poses.place_in[0, 0])
    return _posed(poses.rotation[0, 0], (x, y, z), f_px, size)


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
