"""The lane alone, from a clip's background: everybody and everything that stands in front of it left out.

The background is a median over time, and a bowler who stands still after the release is still in it. So nothing outside
the lane's surface is used; gutters, pins and deck are drawn. On the lane a smooth surface of colour is fitted robustly;
whatever deviates from it over more than a mark's size is taken out with all that could be the same person above it, and
the surface put in its place.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import DECK_END_IN, GUTTER_WIDTH_IN, HEAD_PIN_IN, INCHES_PER_FOOT, LANE_WIDTH_IN, PIN_HEIGHT_IN
from tracker.results import Scene

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]

COLUMN_IN = 0.5
"""Width of one column of the rectified lane."""

MOST_HIDDEN = 0.5
"""With more of the lane than this uncertain, a plain lane is drawn instead."""

PHOTO_END_IN = 54.0 * INCHES_PER_FOOT
"""The picture is used as far as here; beyond, where pins are mirrored in the lane, it is drawn."""

PHOTO_START_IN = 3.0
"""Here the picture begins: the foul line itself is drawn."""

NO_MARKS_IN = 70.0
"""Before the dots (6 to 8 ft) a lane bears no marks: what stands out there is a foot or its shadow."""
MARK_SQ_IN = 45.0
"""Blobs up to this area on the lane may stay: an arrow has at most 8, a down-lane marker 38 square inches."""

PLAIN_LANE: tuple[int, int, int] = (150, 186, 205)

_HALF_LANE_IN = LANE_WIDTH_IN / 2
_HALF_IN = _HALF_LANE_IN + GUTTER_WIDTH_IN
_BODY_IN = 3.0
_START_IN = -1.0
_SPREAD_FLOOR = np.array([3.0, 0.9, 0.9])
_SPREAD_LIMIT = np.array([20.0, 4.0, 4.0])
_STEP_PX = 8
_ROW_KNOTS = 9
_MAX_ROWS = 900


@dataclass(frozen=True, slots=True)
class LanePicture:
    """The lane in the upright frame, cropped to what is shown.

    Attributes
    ----------
    bgr : uint8 array of shape (h, w, 3)
        Picture without anybody in it; beyond the lane's edges their colours go on.
    hidden : bool array of shape (h, w)
        Where the surface stands in for what the clip does not show.
    left, top : int
        Place of the first pixel in the upright frame.
    photo : bool
        False where a plain lane is drawn because too little of the lane is seen.
    """

    bgr: Image
    hidden: Mask
    left: int
    top: int
    photo: bool


@dataclass(frozen=True, slots=True)
class _Grid:
    """Rectified lane: columns across from left to right, rows along as far apart as the picture's rows.

    ``x_in`` has shape (c,), ``y_in`` shape (r,) and falls from the deck's end to the foul line.
    """

    x_in: Array
    y_in: Array


def lane_picture(camera: Camera, scene: Scene | None) -> LanePicture:
    """Draw the lane with nobody in it.

    Parameters
    ----------
    camera : Camera
    scene : Scene or None
        The clip's background; None draws a plain lane.
    """
    grid = _grid(camera)
    crop = _crop(camera)
    columns, rows = _grid_coordinates(camera, grid, crop)
    lane = _strip(camera, _HALF_LANE_IN, crop)
    cleaned = None if scene is None else _cleaned(camera, grid, scene)
    if scene is None or cleaned is None:
        plain = np.full((*lane.shape, 3), PLAIN_LANE, np.uint8)
        return LanePicture(plain, np.zeros_like(lane), crop[0], crop[1], photo=False)
    surface, covered, seen = cleaned
    picture = np.clip(_sampled(surface, columns, rows), 0, 255).astype(np.uint8)
    hidden = lane & (_sampled(covered.astype(np.float64), columns, rows) > 0.02)
    keep = lane & (_sampled(seen.astype(np.float64), columns, rows) > 0.999)
    _paste(picture, scene, crop[:2], keep & ~hidden)
    return LanePicture(picture, hidden & keep, crop[0], crop[1], photo=True)


def _grid(camera: Camera) -> _Grid:
    x = np.arange(-_HALF_LANE_IN + COLUMN_IN / 2, _HALF_LANE_IN, COLUMN_IN)
    y_fine = np.linspace(_START_IN, DECK_END_IN, 3000)
    v_fine = camera.project(np.stack([np.zeros_like(y_fine), y_fine, np.zeros_like(y_fine)], axis=-1))[:, 1]
    falling = np.maximum.accumulate(v_fine[::-1])
    rows = int(np.clip(np.ceil(falling[-1] - falling[0]), 40, _MAX_ROWS))
    return _Grid(x, np.interp(np.linspace(falling[0], falling[-1], rows), falling, y_fine[::-1]))


def _crop(camera: Camera) -> tuple[int, int, int, int]:
    """Left, top, width and height of the picture: lane and gutters from foul line to deck end, pins included."""
    corners = [(s * _HALF_IN, y, 0.0) for s in (-1, 1) for y in (_START_IN, DECK_END_IN)]
    tops = [(s * _HALF_LANE_IN, y, PIN_HEIGHT_IN) for s in (-1, 1) for y in (HEAD_PIN_IN, DECK_END_IN)]
    pixels = camera.project(np.array(corners + tops))
    low, high = np.floor(np.nanmin(pixels, axis=0)) - 6, np.ceil(np.nanmax(pixels, axis=0)) + 6
    low, high = np.maximum(low, (0, 0)), np.minimum(high, (camera.width, camera.height))
    size = np.maximum(high - low, 16)
    return int(low[0]), int(low[1]), int(size[0]), int(size[1])


def _grid_coordinates(
    camera: Camera, grid: _Grid, crop: tuple[int, int, int, int]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Column and row of the rectified lane for every pixel of the crop."""
    left, top, width, height = crop
    u = left + 0.5 + np.arange(0, width + _STEP_PX, _STEP_PX)
    v = top + 0.5 + np.arange(0, height + _STEP_PX, _STEP_PX)
    # Lens and plane bend slowly over the picture, so a coarse lattice serves; along the lane its rows are even.
    ground = camera.back_project(np.stack(np.meshgrid(u, v), axis=-1), 0.0)
    x = np.nan_to_num(ground[..., 0], nan=1e4)
    y = np.nan_to_num(ground[..., 1], nan=1e5)
    column = np.clip((x - grid.x_in[0]) / COLUMN_IN, -1e4, 1e4)
    row = np.interp(y, grid.y_in[::-1], np.arange(grid.y_in.size)[::-1], left=grid.y_in.size + 50.0, right=-50.0)
    where_u = np.arange(width, dtype=np.float32) / _STEP_PX
    where_v = np.arange(height, dtype=np.float32) / _STEP_PX
    maps = np.meshgrid(where_u, where_v)
    columns = cv2.remap(column.astype(np.float32), maps[0], maps[1], cv2.INTER_LINEAR)
    rows = cv2.remap(row.astype(np.float32), maps[0], maps[1], cv2.INTER_LINEAR)
    return np.asarray(columns, dtype=np.float32), np.asarray(rows, dtype=np.float32)


def _strip(camera: Camera, half_in: float, crop: tuple[int, int, int, int]) -> Mask:
    """Pixels of the crop on a strip of the lane's plane around its middle."""
    left, top, width, height = crop
    mask = np.zeros((height, width), np.uint8)
    outline = strip_outline_px(camera, half_in) - np.array([left, top]) - 0.5
    points = np.round(outline * 16).astype(np.int32).reshape(-1, 1, 2)
    cv2.fillPoly(mask, [points], 1, cv2.LINE_8, 4)
    return np.asarray(mask > 0)


def strip_outline_px(camera: Camera, half_in: float) -> Array:
    """Outline in pixels ``(n, 2)`` of the lane's plane within a distance of its middle, foul line to deck end."""
    y = np.linspace(0.0, DECK_END_IN, 40)
    x = np.repeat([-half_in, half_in], y.size)
    outline = camera.project(np.stack([x, np.concatenate([y, y[::-1]]), np.zeros_like(x)], axis=-1))
    return np.asarray(outline[np.isfinite(outline).all(axis=1)])


def _cleaned(camera: Camera, grid: _Grid, scene: Scene) -> tuple[Array, Mask, Mask] | None:
    """Surface ``(r, c, 3)``, what is covered and what the photo shows ``(r, c)``; None if it shows hardly anything."""
    rectified, seen = _rectified(camera, grid, scene)
    seen &= ((grid.y_in > PHOTO_START_IN) & (grid.y_in < PHOTO_END_IN))[:, None]
    if seen.mean() < 1.0 - MOST_HIDDEN:
        return None
    # Luma of a lane varies with the lights mirrored in it, colour hardly: apart, each has its own spread.
    soft = cv2.GaussianBlur(rectified.astype(np.float32), (0, 0), 1.5)
    tones = cv2.cvtColor(soft / np.float32(255), cv2.COLOR_BGR2YCrCb).astype(np.float64) * 255
    surface, deviation, spread = _fitted(tones, seen)
    if (spread > _SPREAD_LIMIT).any():
        return None
    covered = _obstacles(deviation, seen, grid)
    covered |= _above(covered, camera, grid) & seen
    if covered.sum() > MOST_HIDDEN * seen.sum():
        return None
    bgr = cv2.cvtColor(np.clip(surface / 255, 0, 1).astype(np.float32), cv2.COLOR_YCrCb2BGR)
    return bgr.astype(np.float64) * 255, covered, seen


def _rectified(camera: Camera, grid: _Grid, scene: Scene) -> tuple[Array, Mask]:
    """Colours ``(r, c, 3)`` of the rectified lane and where the scene has them."""
    x, y = np.meshgrid(grid.x_in, grid.y_in)
    pixels = camera.project(np.stack([x, y, np.zeros_like(x)], axis=-1)) - 0.5 - np.array([scene.left, scene.top])
    height, width = scene.bgr.shape[:2]
    seen = np.isfinite(pixels).all(axis=-1) & (pixels >= 0).all(axis=-1)
    seen &= (pixels[..., 0] <= width - 1) & (pixels[..., 1] <= height - 1)
    maps = np.nan_to_num(pixels, nan=-1.0).astype(np.float32)
    colours = cv2.remap(scene.bgr, maps[..., 0], maps[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return colours.astype(np.float64), seen


def _fitted(colours: Array, seen: Mask) -> tuple[Array, Array, Array]:
    """Robust smooth surface ``(r, c, 3)``, how many spreads each point is off it ``(r, c)``, and the spreads ``(3,)``.

    Iteratively reweighted least squares with Cauchy weights, on hat functions along the strip and a parabola across.
    """
    rows, columns = seen.shape
    along = _hats(rows, _ROW_KNOTS)
    t = np.linspace(-1, 1, columns)
    across = np.stack([np.ones(columns), t, t * t], axis=1)
    small = colours[::4, ::2]
    basis = np.einsum("ri,cj->rcij", along[::4], across[::2]).reshape(-1, _ROW_KNOTS * 3)
    target = small.reshape(-1, 3)
    valid = seen[::4, ::2].ravel().astype(np.float64)
    penalty = _roughness(_ROW_KNOTS, across.shape[1])
    weight = valid.copy()
    spread = np.full(3, 10.0)
    for _ in range(14):
        weighted = basis * weight[:, None]
        normal = weighted.T @ basis + penalty * max(weight.sum(), 1.0)
        coefficients = np.linalg.solve(normal, weighted.T @ target)
        off = np.abs(target - basis @ coefficients)
        spread = np.maximum(1.4826 * _low_median(off, valid), _SPREAD_FLOOR)
        weight = valid / (1.0 + (np.sum((off / spread) ** 2, axis=1) / 3.0)) ** 2
    surface = np.einsum("ri,ijk,cj->rck", along, coefficients.reshape(_ROW_KNOTS, 3, 3), across)
    deviation = np.sqrt(np.mean(((colours - surface) / spread) ** 2, axis=-1))
    return surface, deviation, spread


def _low_median(off: Array, valid: Array) -> Array:
    """Spread of the better part ``(3,)``: the 35th centile scaled to a median, so that half may be covered."""
    inside = off[valid > 0]
    return np.asarray(np.quantile(inside, 0.35, axis=0) * 1.48) if inside.size else np.full(3, 10.0)


def _hats(count: int, knots: int) -> Array:
    """Piecewise linear bases ``(count, knots)``."""
    at = np.linspace(0, knots - 1, count)
    return np.maximum(1.0 - np.abs(at[:, None] - np.arange(knots)), 0.0)


def _roughness(knots: int, terms: int) -> Array:
    """Penalty ``(knots * terms,) * 2`` on bends along the strip and on all but the level across it."""
    bend = np.diff(np.eye(knots), 2, axis=0)
    along = np.kron(bend.T @ bend, np.eye(terms)) * 3e-3
    across = np.kron(np.eye(knots), np.diag([1e-6, 4e-3, 4e-3][:terms]))
    return np.asarray(along + across)


def _obstacles(deviation: Array, seen: Mask, grid: _Grid) -> Mask:
    """Where something larger than a mark stands before the lane ``(r, c)``, with a safe rim around it."""
    smooth = cv2.GaussianBlur(deviation.astype(np.float32), (5, 5), 0)
    weak, strong = (smooth > 2.6) & seen, (smooth > 4.0) & seen
    closed = cv2.morphologyEx(weak.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((7, 7), np.uint8))
    count, labels = cv2.connectedComponents(closed, connectivity=8)
    spacing = np.abs(np.gradient(grid.y_in))
    # What blurring and closing have added around a mark is taken off before its size is judged.
    core = cv2.erode(closed, np.ones((5, 5), np.uint8)) * (spacing * COLUMN_IN)[:, None]
    area = np.bincount(labels.ravel(), weights=core.ravel(), minlength=count)
    sure = np.bincount(labels.ravel(), weights=strong.ravel(), minlength=count)
    unmarked = (smooth > 3.0) & seen & (grid.y_in < NO_MARKS_IN)[:, None]
    large = (area > MARK_SQ_IN) & (sure > 12)
    large |= np.bincount(labels.ravel(), weights=unmarked.ravel(), minlength=count) > 6
    large[0] = False
    found = large[labels].astype(np.uint8)
    rim = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (13, 13))
    return np.asarray(cv2.dilate(found, rim) > 0) & seen


def _above(covered: Mask, camera: Camera, grid: _Grid) -> Mask:
    """Rectified points ``(r, c)`` that lie above something covered in the picture, within a body's width.

    A bowler stands between camera and lane, so clothes that look like the lane hide above legs that do not.
    """
    if not covered.any():
        return np.zeros_like(covered)
    x, y = np.meshgrid(grid.x_in, grid.y_in)
    u = camera.project(np.stack([x, y, np.zeros_like(x)], axis=-1))[..., 0]
    board_px = float(np.ptp(u[-1])) / grid.x_in.size
    reach = _BODY_IN / COLUMN_IN * board_px
    low = np.where(covered, u, np.inf).min(axis=1)
    high = np.where(covered, u, -np.inf).max(axis=1)
    lowest = np.minimum.accumulate(low[::-1])[::-1] - reach
    highest = np.maximum.accumulate(high[::-1])[::-1] + reach
    return np.asarray((u >= lowest[:, None]) & (u <= highest[:, None]))


def _sampled(values: Array, columns: NDArray[np.float32], rows: NDArray[np.float32]) -> Array:
    sampled = cv2.remap(values.astype(np.float32), columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(sampled, dtype=np.float64)


def _paste(picture: Image, scene: Scene, origin: tuple[int, int], where: Mask) -> None:
    """Put the scene's pixels into the crop where they may be shown."""
    height, width = where.shape
    left, top = origin[0] - scene.left, origin[1] - scene.top
    rows = np.clip(np.arange(height) + top, 0, scene.bgr.shape[0] - 1)
    cols = np.clip(np.arange(width) + left, 0, scene.bgr.shape[1] - 1)
    picture[where] = scene.bgr[rows[:, None], cols][where]
