"""Straight lines of a picture: segments, the points where lanes can vanish, and lines across the lanes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

WORKING_SIDE_PX = 1280
"""Segments are looked for on a picture of at most this size: longer lines gain nothing from finer pixels."""

_STRETCH_PERCENT = (1.0, 99.0)
_SHORTEST_SHARE = 0.02
_VOTERS = 90
_LEAST_ANGLE_DEG = 4.0
_NEAR_VERTICAL_DEG = 80.0
_AIM_PX = 1.5
_AIM_DEG = 0.35
_ACROSS_DEG = 12.0
_COLLINEAR_PX = 2.5
_COLLINEAR_DEG = 1.5


@dataclass(frozen=True, slots=True)
class Segments:
    """Line segments ``(n, 4)``: (u0, v0, u1, v1) in pixels of the full picture, centres at +0.5; lengths ``(n,)``."""

    ends: Array
    length_px: Array

    @property
    def middle(self) -> Array:
        """Midpoints ``(n, 2)``."""
        return np.asarray((self.ends[:, :2] + self.ends[:, 2:]) / 2)

    @property
    def direction(self) -> Array:
        """Unit directions ``(n, 2)``, downward in the picture."""
        d = self.ends[:, 2:] - self.ends[:, :2]
        d = np.where(d[:, 1:] < 0, -d, d)
        return np.asarray(d / np.maximum(self.length_px[:, None], 1e-9))

    def take(self, which: Any) -> Segments:
        """The chosen segments."""
        return Segments(self.ends[which], self.length_px[which])


def stretched(luma: Image) -> Image:
    """Luma with its own 1st to 99th percentile spread over the whole range, so that dim pictures keep their lines."""
    low, high = np.percentile(luma[::4, ::4], _STRETCH_PERCENT)
    gain = 255.0 / max(float(high - low), 8.0)
    return np.asarray(cv2.convertScaleAbs(np.maximum(luma, np.uint8(low)), alpha=gain, beta=-gain * float(low)))


def find_segments(luma: Image) -> Segments:
    """Line segments at least 2 % of the larger side long, longest first (OpenCV's detector after von Gioi, 2010)."""
    scale = min(1.0, WORKING_SIDE_PX / max(luma.shape))
    small = luma if scale == 1.0 else cv2.resize(luma, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(stretched(np.asarray(small, dtype=np.uint8)))[0]
    ends = np.zeros((0, 4)) if found is None else np.asarray(found, dtype=np.float64).reshape(-1, 4)
    ends = (ends + 0.5) / scale
    length = np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1])
    order = np.argsort(-length, kind="stable")
    order = order[length[order] >= _SHORTEST_SHARE * max(luma.shape)]
    return Segments(ends[order], length[order])


def _misses(segments: Segments, points: Array) -> tuple[Array, Array]:
    """How far ``(p, n)`` a segment's end would be off if it aimed at each point ``(p, 2)``, and the distance."""
    to = segments.middle[None] - points[:, None]
    reach = np.hypot(to[..., 0], to[..., 1])
    d = segments.direction[None]
    sine = np.abs(to[..., 0] * d[..., 1] - to[..., 1] * d[..., 0]) / np.maximum(reach, 1e-9)
    return np.asarray(sine * segments.length_px[None] / 2), np.asarray(sine)


def _aims(segments: Segments, points: Array) -> NDArray[np.bool_]:
    """Which segments ``(p, n)`` run toward each point from below it."""
    miss, sine = _misses(segments, points)
    below = segments.middle[None, :, 1] > points[:, None, 1]
    return np.asarray(below & (miss < _AIM_PX + np.radians(_AIM_DEG) * segments.length_px / 2) & (sine < 0.15))


def vanishing_points(segments: Segments, shape: tuple[int, int], count: int = 3) -> list[Array]:
    """Places where most of the length of the lines below them meets, best first.

    Parameters
    ----------
    segments : Segments
    shape : (int, int)
        Height and width of the picture.
    count : int
        At most so many, well apart from one another.

    Returns
    -------
    list of array (2,)
        Pixels (u, v); may lie outside the frame.
    """
    height, width = shape
    steep = segments.take(np.abs(segments.direction[:, 1]) > np.cos(np.radians(_NEAR_VERTICAL_DEG)))
    points = _crossings(steep.take(slice(0, _VOTERS)))
    u, v = points.T
    points = points[(np.abs(u - width / 2) < width) & (v > -0.8 * height) & (v < 0.75 * height)]
    found: list[Array] = []
    worth = steep.length_px.copy()
    while len(points) and len(found) < count:
        aims = _aims(steep, points)
        votes = aims @ worth
        best = int(np.argmax(votes))
        if aims[best].sum() < 3 or votes[best] <= 0:
            break
        point = _meet(steep.take(aims[best]), points[best])
        point = _meet(steep.take(_aims(steep, point[None])[0]), point)
        if not any(np.hypot(*(point - other)) < 0.02 * width for other in found):
            found.append(point)
        worth = np.where(_aims(steep, point[None])[0] | aims[best], 0.0, worth)
    return found


def _crossings(segments: Segments) -> Array:
    """Crossings ``(k, 2)`` of all pairs of lines that differ enough in direction."""
    a, d = segments.middle, segments.direction
    i, j = np.triu_indices(len(a), 1)
    cross = d[i, 0] * d[j, 1] - d[i, 1] * d[j, 0]
    kept = np.abs(cross) > np.sin(np.radians(_LEAST_ANGLE_DEG))
    i, j, cross = i[kept], j[kept], cross[kept]
    gap = a[j] - a[i]
    t = (gap[:, 0] * d[j, 1] - gap[:, 1] * d[j, 0]) / cross
    return np.asarray(a[i] + t[:, None] * d[i])


def _meet(segments: Segments, start: Array) -> Array:
    """Least-squares meeting point of lines, longer ones counting for more; ``start`` where there are too few."""
    if len(segments.length_px) < 2:
        return start
    normal = np.stack([-segments.direction[:, 1], segments.direction[:, 0]], axis=1)
    # a line's direction is known to about 1/length^1.5, so at distance r it passes the point with that times r
    reach = np.hypot(*(segments.middle - start).T)
    weight = segments.length_px**1.5 / np.maximum(reach, segments.length_px / 2)
    offset = np.sum(normal * segments.middle, axis=1)
    rows, values = normal * weight[:, None], offset * weight
    for _ in range(3):
        point = np.linalg.lstsq(rows, values, rcond=None)[0]
        miss = np.abs(normal @ point - offset) * segments.length_px / np.maximum(reach, 1.0)
        robust = weight / (1.0 + (miss / 1.0) ** 2)
        rows, values = normal * robust[:, None], offset * robust
    return np.asarray(point)


@dataclass(frozen=True, slots=True)
class AcrossLine:
    """A line across the lanes: ``v = v_px + slope (u - u_px)``, and the length of the segments on it."""

    u_px: float
    v_px: float
    slope: float
    length_px: float

    def v_at(self, u: float | Array) -> Array:
        """Row at columns ``u``."""
        return np.asarray(self.v_px + self.slope * (np.asarray(u) - self.u_px))


def across_lines(segments: Segments, point: Array, count: int) -> list[AcrossLine]:
    """Nearly level lines below a vanishing point, by the length of picture they cover, longest first."""
    d = segments.direction
    level = np.abs(d[:, 1]) < np.sin(np.radians(_ACROSS_DEG))
    level &= segments.ends[:, [1, 3]].min(axis=1) > point[1]
    left = segments.take(level)
    found: list[AcrossLine] = []
    while len(left.length_px) and len(found) < count:
        on = _collinear(left, 0)
        line = _level_line(left.take(on))
        on = on | _near(left, line)
        found.append(_level_line(left.take(on)))
        left = left.take(~on)
    return sorted(found, key=lambda line: -line.length_px)


def _collinear(segments: Segments, index: int) -> NDArray[np.bool_]:
    d = segments.direction
    along = d[index]
    away = segments.middle - segments.middle[index]
    off = np.abs(away[:, 0] * along[1] - away[:, 1] * along[0])
    turn = np.abs(d[:, 0] * along[1] - d[:, 1] * along[0])
    slack = _COLLINEAR_PX + np.abs(away[:, 0]) * np.radians(_COLLINEAR_DEG) / 2
    return np.asarray((off < slack) & (turn < np.radians(_COLLINEAR_DEG)))


def _near(segments: Segments, line: AcrossLine) -> NDArray[np.bool_]:
    off = np.abs(segments.ends[:, [1, 3]] - line.v_at(segments.ends[:, [0, 2]]))
    return np.asarray(off.max(axis=1) < _COLLINEAR_PX)


def _level_line(segments: Segments) -> AcrossLine:
    """Line through the ends of segments, weighted by length; its length is the stretch of columns they cover."""
    u, v = segments.ends[:, [0, 2]].ravel(), segments.ends[:, [1, 3]].ravel()
    weight = np.repeat(segments.length_px, 2)
    slope, _ = np.polyfit(u, v, 1, w=np.sqrt(weight))
    mean_u = float(np.average(u, weights=weight))
    mean_v = float(np.average(v, weights=weight))
    spans = np.sort(segments.ends[:, [0, 2]], axis=1)
    spans = spans[np.argsort(spans[:, 0], kind="stable")]
    covered, until = 0.0, -np.inf
    for begin, end in spans:
        covered += max(0.0, end - max(begin, until))
        until = max(until, end)
    return AcrossLine(mean_u, mean_v, float(slope), covered)
