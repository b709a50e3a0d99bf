"""The part of the frame in which a ball on this lane can appear, and a view of it in which the ball keeps its size."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import DECK_END_IN, GUTTER_WIDTH_IN, LANE_WIDTH_IN

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

NO_SECOND_MAP: Any = None
RADIUS_CELLS = 6
NEAR_IN = 0.0
SIDE_IN = LANE_WIDTH_IN / 2 + GUTTER_WIDTH_IN + 8.0
COARSE_STEP_IN = 4.0
SURROUND_CELLS = 2 * RADIUS_CELLS
"""Rows kept beyond the deck so that a ball at the pins still has a surround."""
FAR_IN = 2.0 * DECK_END_IN


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle of the upright frame in whole pixels, its corner and size even so that chroma planes fit."""

    left: int
    top: int
    width: int
    height: int


@dataclass(frozen=True)
class LaneRegion:
    """Crop of the frame around one lane and the maps into the ball-sized view.

    In the ball-sized view a ball that rests on the lane has a radius of :data:`RADIUS_CELLS` cells wherever it is:
    columns are lateral positions of the ball's centre, rows are distances spaced by the apparent radius.

    Attributes
    ----------
    camera : Camera
        Camera of the upright frame.
    ball_radius_in : float
        Radius of the ball in inches.
    box : Box
        Crop in the upright frame.
    x_in : ndarray of shape (c,)
        Lateral position of each column's ball centre, inches.
    y_in : ndarray of shape (r,)
        Distance of each row's ball centre, inches, descending (row 0 is the farthest).
    luma_map, chroma_map : ndarray of shape (r, c, 2), float32
        Where each cell lies in the luma and the chroma plane of the crop (array index convention, pixel centres at 0).
    """

    camera: Camera
    ball_radius_in: float
    box: Box
    x_in: Array
    y_in: Array
    luma_map: NDArray[np.float32]
    chroma_map: NDArray[np.float32]

    def row_pitch_in(self, row: int) -> float:
        """Distance in inches between this row of the ball-sized view and the next."""
        other = row + 1 if row + 1 < len(self.y_in) else row - 1
        return float(abs(self.y_in[other] - self.y_in[row]))

    def ball_view(self, plane: Image, *, chroma: bool = False) -> Image:
        """The ball-sized view ``(r, c)`` of one plane of a crop; cells outside the crop repeat its border."""
        return _mapped(plane, self.chroma_map if chroma else self.luma_map, cv2.INTER_LINEAR)

    def under_view(self, plane: Image, *, chroma: bool = False) -> Image:
        """The four pixels ``(2 r, 2 c)`` of one plane of a crop between which each cell of the view is interpolated."""
        return _mapped(plane, self.under_maps[chroma], cv2.INTER_NEAREST)

    def view_of_under(self, under: Image, *, chroma: bool = False) -> Image:
        """The view ``(r, c)`` of a plane of which only :meth:`under_view` is known."""
        return _mapped(under, self.within_maps[chroma], cv2.INTER_LINEAR)

    @cached_property
    def under_maps(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Where the pixels of :meth:`under_view` lie in luma and chroma planes."""
        return _under(self.luma_map), _under(self.chroma_map)

    @cached_property
    def within_maps(self) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        """Where each cell of the view lies among the pixels of :meth:`under_view`, luma and chroma."""
        return _within(self.luma_map), _within(self.chroma_map)


def _mapped(plane: Image, grid: NDArray[np.float32], kind: int) -> Image:
    view: Any = cv2.remap(plane, grid, NO_SECOND_MAP, kind, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(view)


def _under(grid: NDArray[np.float32]) -> NDArray[np.float32]:
    whole = np.floor(grid).repeat(2, axis=0).repeat(2, axis=1)
    whole[:, 1::2, 0] += 1
    whole[1::2, :, 1] += 1
    return whole.astype(np.float32)


def _within(grid: NDArray[np.float32]) -> NDArray[np.float32]:
    part = grid % 1.0
    rows, columns = np.indices(grid.shape[:2])
    return (part + 2 * np.stack([columns, rows], axis=-1)).astype(np.float32)


def apparent_radius_px(camera: Camera, y_in: Array, ball_radius_in: float) -> Array:
    """Apparent radius ``(n,)`` in pixels of a ball in the lane's middle at ``y_in`` ``(n,)``: f R / sqrt(d^2 - R^2)."""
    centre = np.stack([np.zeros_like(y_in), y_in, np.full_like(y_in, ball_radius_in)], axis=-1)
    reach = np.linalg.norm(camera.to_camera(centre), axis=-1)
    return np.asarray(camera.f_px * ball_radius_in / np.sqrt(np.maximum(reach**2 - ball_radius_in**2, 1e-9)))


def _rows(camera: Camera, ball_radius_in: float) -> Array:
    near = max(NEAR_IN, camera.y_in + 48.0)
    y = np.arange(near, FAR_IN, COARSE_STEP_IN)
    v = camera.project(np.stack([np.zeros_like(y), y, np.full_like(y, ball_radius_in)], axis=-1))[:, 1]
    kept = np.isfinite(v)
    if kept.sum() < 3:
        return np.zeros(0)
    y, v = y[kept], v[kept]
    step = np.abs(np.gradient(v)) / (apparent_radius_px(camera, y, ball_radius_in) / RADIUS_CELLS)
    cells = np.concatenate([[0.0], np.cumsum((step[1:] + step[:-1]) / 2)])
    last = min(float(np.interp(DECK_END_IN, y, cells)) + SURROUND_CELLS, float(cells[-1]))
    return np.asarray(np.interp(np.arange(int(last) + 1), cells, y)[::-1])


def _box(pixels: Array, pad_px: Array, camera: Camera) -> Box | None:
    low = np.floor(np.nanmin(pixels - pad_px, axis=(0, 1)))
    high = np.ceil(np.nanmax(pixels + pad_px, axis=(0, 1)))
    left, top = (int(v) // 2 * 2 for v in np.clip(low, 0, [camera.width, camera.height]))
    right, bottom = (int(v) // 2 * 2 for v in np.clip(high, 0, [camera.width, camera.height]))
    if right - left < 16 or bottom - top < 16:
        return None
    return Box(left, top, right - left, bottom - top)


def lane_region(camera: Camera, ball_radius_in: float) -> LaneRegion | None:
    """Region of the frame where a ball on this lane or in its gutters can appear; None if the lane is out of frame."""
    y = _rows(camera, ball_radius_in)
    if len(y) < 2:
        return None
    cell_in = ball_radius_in / RADIUS_CELLS
    x = np.arange(-SIDE_IN, SIDE_IN + cell_in, cell_in)
    grid = np.stack(np.broadcast_arrays(x[None, :], y[:, None], ball_radius_in), axis=-1)
    pixels = camera.project(grid)
    inside = np.abs(x) <= LANE_WIDTH_IN / 2 + GUTTER_WIDTH_IN
    pad = 1.3 * apparent_radius_px(camera, y, ball_radius_in)[:, None, None]
    box = _box(pixels[:, inside], pad, camera)
    if box is None:
        return None
    luma = pixels - np.array([box.left, box.top]) - 0.5
    chroma = (pixels - np.array([box.left, box.top])) / 2 - 0.5
    return LaneRegion(camera, ball_radius_in, box, x, y, luma.astype(np.float32), chroma.astype(np.float32))
