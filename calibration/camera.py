"""An immutable pinhole camera over the lane, with one radial term and a lane-width scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

_CLOSE = 1e-10
"""Newton steps double the digits: after one of this size there is nothing left to gain."""

PARAMETERS = ("x_in", "y_in", "z_in", "yaw_deg", "pitch_deg", "roll_deg", "f_px", "k1", "width_scale")


@lru_cache(maxsize=64)
def rotation(yaw_deg: float, pitch_deg: float, roll_deg: float) -> Array:
    """Rotation ``(3, 3)`` whose rows are the camera's right, down and forward axes in the lane frame.

    Yaw positive turns the view to the right (toward +x), pitch positive looks down, roll positive turns the picture's
    right side down; zero angles look straight down-lane (+y). The array is shared between calls and read-only.
    """
    a, p, r = np.radians([yaw_deg, pitch_deg, roll_deg])
    forward = np.array([np.sin(a) * np.cos(p), np.cos(a) * np.cos(p), -np.sin(p)])
    right0 = np.array([np.cos(a), -np.sin(a), 0.0])
    down0 = np.cross(forward, right0)
    right = np.cos(r) * right0 + np.sin(r) * down0
    down = -np.sin(r) * right0 + np.cos(r) * down0
    axes = np.stack([right, down, forward])
    axes.setflags(write=False)
    return axes


@dataclass(frozen=True, slots=True)
class Camera:
    """Pose, focal length, radial distortion and frame size of the camera.

    A lane point ``(x, y, z)`` (inches, x on the nominal 41.5 in lane) becomes ``X = (x * width_scale, y, z)``, camera
    coordinates ``c = R (X - position)``, normalised ``(c0, c1) / c2``, distorted by ``1 + k1 r^2`` and scaled by
    ``f_px`` about the middle of the frame. Pixel coordinates are (u right, v down) with pixel centres at +0.5.

    Attributes
    ----------
    x_in, y_in, z_in : float
        Position in the lane frame, inches; y is negative behind the foul line.
    yaw_deg, pitch_deg, roll_deg : float
        Orientation, see :func:`rotation`.
    f_px : float
        Focal length in pixels of the upright frame.
    k1 : float
        Radial distortion coefficient of the normalised radius squared.
    width_scale : float
        Lane width over 41.5 in; 1 +- 0.012 by the tolerance.
    width, height : int
        Size of the upright frame in pixels.
    """

    x_in: float
    y_in: float
    z_in: float
    yaw_deg: float
    pitch_deg: float
    roll_deg: float
    f_px: float
    k1: float
    width_scale: float
    width: int
    height: int

    @property
    def vector(self) -> Array:
        """The parameters ``(9,)`` in the order of :data:`PARAMETERS`."""
        return np.array([getattr(self, name) for name in PARAMETERS], dtype=np.float64)

    def with_vector(self, values: Sequence[float] | Array) -> Self:
        """Keep the frame and take other parameters, ``(9,)`` in the order of :data:`PARAMETERS`."""
        return self.from_vector(values, self.width, self.height)

    @classmethod
    def from_vector(cls, values: Sequence[float] | Array, width: int, height: int) -> Self:
        """Build a camera from its parameters, ``(9,)`` in the order of :data:`PARAMETERS`, and its frame."""
        x, y, z, yaw, pitch, roll, f, k1, scale = (float(v) for v in values)
        return cls(
            x, y, z, yaw, pitch_deg=pitch, roll_deg=roll, f_px=f, k1=k1, width_scale=scale, width=width, height=height
        )

    @property
    def rotation(self) -> Array:
        """Rotation ``(3, 3)`` from lane to camera axes."""
        return rotation(self.yaw_deg, self.pitch_deg, self.roll_deg)

    @property
    def position(self) -> Array:
        """Position ``(3,)`` in inches."""
        return np.array([self.x_in, self.y_in, self.z_in])

    def to_camera(self, points: ArrayLike) -> Array:
        """Lane points ``(..., 3)`` in camera axes (right, down, forward), inches."""
        p = np.asarray(points, dtype=np.float64) * np.array([self.width_scale, 1.0, 1.0])
        return np.asarray((p - self.position) @ self.rotation.T)

    def project(self, points: ArrayLike) -> Array:
        """Pixels ``(..., 2)`` (u, v) of lane points ``(..., 3)``; NaN where a point is not in front of the camera."""
        return self.project_directions(self.to_camera(points))

    def project_directions(self, directions: ArrayLike) -> Array:
        """Pixels ``(..., 2)`` of directions ``(..., 3)`` in camera axes; NaN where not in front."""
        c = np.asarray(directions, dtype=np.float64)
        depth = np.where(c[..., 2] > 1e-6, c[..., 2], np.nan)
        n = c[..., :2] / depth[..., None]
        r2 = np.sum(n * n, axis=-1, keepdims=True)
        # beyond this radius a negative term would fold the picture back on itself
        n = np.where(1.0 + 3.0 * self.k1 * r2 > 0.0, n, np.nan)
        return np.asarray(n * (1.0 + self.k1 * r2) * self.f_px + np.array([self.width / 2, self.height / 2]))

    def rays(self, pixels: ArrayLike) -> Array:
        """Directions ``(..., 3)`` in the (width-scaled) lane axes of pixels ``(..., 2)``."""
        n = self.undistorted(pixels)
        return np.asarray(np.concatenate([n, np.ones_like(n[..., :1])], axis=-1) @ self.rotation)

    def undistorted(self, pixels: ArrayLike) -> Array:
        """Right and down over forward ``(..., 2)`` of pixels ``(..., 2)``; Newton steps undo the radial term."""
        d = (np.asarray(pixels, dtype=np.float64) - np.array([self.width / 2, self.height / 2])) / self.f_px
        rd = np.hypot(d[..., 0], d[..., 1])
        r = rd.copy()
        for _ in range(8):
            step = (r * (1 + self.k1 * r * r) - rd) / (1 + 3 * self.k1 * r * r)
            r = r - step
            if not np.any(np.abs(step) > _CLOSE):
                break
        return np.asarray(d * np.where(rd > 0, r / np.where(rd > 0, rd, 1.0), 1.0)[..., None])

    def back_project(self, pixels: ArrayLike, z_in: float) -> Array:
        """Lane points ``(..., 2)`` (x, y in inches) where pixels ``(..., 2)`` meet the plane z = ``z_in``.

        NaN above the horizon.
        """
        ray = self.rays(pixels)
        drop = z_in - self.z_in
        with np.errstate(divide="ignore", invalid="ignore"):
            t = drop / ray[..., 2]
        t = np.where(t > 0, t, np.nan)
        x = (self.x_in + t * ray[..., 0]) / self.width_scale
        y = self.y_in + t * ray[..., 1]
        return np.stack([x, y], axis=-1)

    def homography(self, z_in: float = 0.0) -> Array:
        """Plane homography ``(3, 3)`` from lane (x, y, 1) at height z to undistorted pixels, with ``H[2, 2] = 1``."""
        k = np.array([[self.f_px, 0, self.width / 2], [0, self.f_px, self.height / 2], [0, 0, 1.0]])
        rot = self.rotation
        columns = [rot[:, 0] * self.width_scale, rot[:, 1], rot[:, 2] * z_in - rot @ self.position]
        h = k @ np.stack(columns, axis=1)
        return np.asarray(h / h[2, 2])
