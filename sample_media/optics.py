"""Projection of the renderer: pinhole with two radial terms, its inverse, and the outline of a sphere.

Written apart from the tracker's camera on purpose, so that the two check each other. Pixel centres are at +0.5.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sample_media.spec import CameraSpec

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class View:
    """Camera ready for use: ``eye (3,)`` inches, ``axes (3, 3)`` rows right, down, forward; f, k1, k2, centre in px."""

    eye: Array
    axes: Array
    f_px: float
    k1: float
    k2: float
    centre: Array
    width: int
    height: int

    def depth(self, points: ArrayLike) -> Array:
        """Distance ``(...)`` in inches along the view's axis of points ``(..., 3)``."""
        return np.asarray((np.asarray(points, dtype=np.float64) - self.eye) @ self.axes[2])

    def project(self, points: ArrayLike) -> Array:
        """Pixels ``(..., 2)`` of points ``(..., 3)`` in inches; points nearer than 1 in are kept at 1 in."""
        c = (np.asarray(points, dtype=np.float64) - self.eye) @ self.axes.T
        n = c[..., :2] / np.maximum(c[..., 2:], 1.0)
        r2 = (n * n).sum(axis=-1, keepdims=True)
        return np.asarray(self.centre + self.f_px * n * (1 + r2 * (self.k1 + self.k2 * r2)))

    def rays(self, pixels: ArrayLike) -> Array:
        """Unit directions ``(..., 3)`` in lane axes of pixels ``(..., 2)``; the radial terms undone by fixed point."""
        p = np.asarray(pixels, dtype=np.float64)
        dx, dy = (p[..., 0] - self.centre[0]) / self.f_px, (p[..., 1] - self.centre[1]) / self.f_px
        nx, ny = dx, dy
        for _ in range(5):
            r2 = nx * nx + ny * ny
            factor = 1 / (1 + r2 * (self.k1 + self.k2 * r2))
            nx, ny = dx * factor, dy * factor
        unit = 1 / np.sqrt(1 + nx * nx + ny * ny)
        right, down, forward = self.axes
        out = [unit * (nx * right[i] + ny * down[i] + forward[i]) for i in range(3)]
        return np.stack(out, axis=-1)


def view_of(camera: CameraSpec) -> View:
    """The view of a camera description."""
    yaw, pitch, roll = (math.radians(a) for a in (camera.yaw_deg, camera.pitch_deg, camera.roll_deg))
    turn = np.array([[math.cos(yaw), math.sin(yaw), 0], [-math.sin(yaw), math.cos(yaw), 0], [0, 0, 1.0]])
    forward = np.array([0, math.cos(pitch), -math.sin(pitch)]) @ turn.T
    level = np.array([1.0, 0, 0]) @ turn.T
    down = np.cross(forward, level)
    right = level * math.cos(roll) + down * math.sin(roll)
    axes = np.stack([right, np.cross(forward, right), forward])
    eye = np.array([camera.x_ft, camera.y_ft, camera.z_ft]) * 12
    middle = np.array([camera.width / 2, camera.height / 2])
    return View(
        eye, axes, camera.f_px, camera.k1, k2=camera.k2, centre=middle, width=camera.width, height=camera.height
    )


def sphere_outline(view: View, centre: ArrayLike, radius_in: float, count: int = 96) -> Array:
    """Pixels ``(count, 2)`` of a sphere's visible outline: the circle in which the cone from the eye touches it."""
    c = np.asarray(centre, dtype=np.float64)
    to = c - view.eye
    distance = float(np.linalg.norm(to))
    axis = to / distance
    e1 = np.cross(axis, [0.0, 0.0, 1.0])
    e1 /= np.linalg.norm(e1)
    e2 = np.cross(axis, e1)
    a = np.linspace(0, 2 * math.pi, count, endpoint=False)[:, None]
    ring = c - axis * radius_in**2 / distance
    rim = radius_in * math.sqrt(max(1 - (radius_in / distance) ** 2, 0))
    return view.project(ring + rim * (np.cos(a) * e1 + np.sin(a) * e2))


def area_centroid(polygon: Array) -> Array:
    """Centroid ``(2,)`` of the area of a polygon ``(n, 2)`` (shoelace formula)."""
    x, y = (polygon - polygon[0]).T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    total = 3 * cross.sum()
    cx, cy = (((p + np.roll(p, -1)) * cross).sum() / total for p in (x, y))
    return np.asarray(polygon[0] + np.array([cx, cy]))
