"""Places of a clean picture by which another picture of the same camera is laid over it.

Small windows of fixed structure, spread over the frame: corners and edges alike, away from what moves in a shot.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import BALL_RADIUS_IN, DECK_END_IN, GUTTER_WIDTH_IN, LANE_WIDTH_IN, PIN_HEIGHT_IN
from calibration.windows import MARGIN_PX, Plane, Template, cut_blocks, eight_bit, make_template

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

COARSE_WIDTH_PX = 240
COARSE_HALF_PX = 7
WIDE_SIGMA_PX = 3.0
FINE_SIGMA_PX = 1.2
_COARSE_COUNT = 48
_FRAME_PX_A_HALF = 140.0
"""Half a window's size is the frame's longer side over this: 14 px at 1920."""
_SMALLEST_HALF_PX, _LARGEST_HALF_PX = 10, 15
_EDGE_WORTH = 0.15
"""What an edge counts beside a corner of the same contrast."""
_LEAST_GRADIENT = 2.0
_BUSY_WORTH = 0.25
_RACKS_IN = 400.0
_CLIPPED_LEVEL = 250
_RESTLESS_LEVELS = 6.0
WIDE_STEP_PX, FINE_STEP_PX = 3, 1
_PERSON_IN = (48.0, 76.0)
_REACH_BEHIND_IN = 150.0


@dataclass(frozen=True, slots=True, eq=False)
class Anchors:
    """Windows of a reference picture, ready for registration.

    Attributes
    ----------
    camera : Camera
        The camera of the reference picture.
    centres : int array of shape (n, 2)
        Column and row of each window's middle pixel; its centre is at +0.5.
    worth : array of shape (n,)
        Mean squared gradient by which a window was chosen: of its weaker direction, and a little of its stronger one.
    half_px : int
        Windows are 2 half + 1 pixels wide.
    blocks : uint8 array of shape (n, m, m)
        Reference pixels of the windows with a margin.
    wide, fine : Template
        The windows through a wide and a narrow Gaussian.
    coarse : uint8 array of shape (h, w)
        The reference picture made small.
    coarse_factor : int
        By how much.
    coarse_centres : int array of shape (k, 2)
        Middles of windows of the small picture, column and row.
    """

    camera: Camera
    centres: NDArray[np.intp]
    worth: Array
    half_px: int
    blocks: Image
    wide: Template
    fine: Template
    coarse: Image
    coarse_factor: int
    coarse_centres: NDArray[np.intp]

    @property
    def pixels(self) -> Array:
        """Centres of the windows ``(n, 2)`` in pixels (u, v)."""
        return np.asarray(self.centres + 0.5, dtype=np.float64)


def choose_anchors(luma: Plane, camera: Camera, *, spread: Image | None = None, count: int = 48) -> Anchors:
    """Windows by which to register other pictures.

    The frame is cut into more cells than windows are asked for; each cell offers its best window, and the best of those
    are taken. The lane's surface with its pins is left out; the pins of other lanes and whatever people on the approach
    would hide are used only where there is nothing better.

    Parameters
    ----------
    luma : array of shape (H, W)
        A clean picture, 8 bits (or 10 in uint16).
    camera : Camera
        Its camera.
    spread : uint8 array of shape (H, W), optional
        Spread of every pixel over time, grey levels: what moves is avoided.
    count : int
        Windows asked for; fewer are given where the picture has no structure.

    Raises
    ------
    ValueError
        If the pictures are not of the camera's frame size.
    """
    plane = checked_plane(luma, camera)
    if spread is not None and spread.shape != plane.shape:
        msg = f"the spread is {spread.shape} (rows, columns) and the picture {plane.shape}; give both of one frame"
        raise ValueError(msg)
    half = half_window_px(camera)
    border = half + MARGIN_PX
    weight = _worth_of_places(camera, half) * _trust(plane, spread, half)
    score = _structure(plane, half) * weight
    _clear_border(score, border)
    found, worth = _best_of_cells(score, round(1.6 * count))
    order = _apart(found, worth, 2 * half)[:count]
    centres = found[order]
    blocks = cut_blocks(plane, centres, border)
    small, factor = coarse_picture(plane)
    return Anchors(
        camera,
        centres,
        worth[order],
        half,
        blocks=blocks,
        wide=make_template(blocks, half, WIDE_STEP_PX, WIDE_SIGMA_PX),
        fine=make_template(blocks, half, FINE_STEP_PX, FINE_SIGMA_PX),
        coarse=small,
        coarse_factor=factor,
        coarse_centres=_coarse_places(small, weight),
    )


def checked_plane(luma: Plane, camera: Camera) -> Image:
    """Samples in 8 bits.

    Raises
    ------
    ValueError
        If the picture is not of the camera's frame size.
    """
    if luma.shape != (camera.height, camera.width):
        msg = (
            f"the picture is {luma.shape} (rows, columns) and the camera's frame "
            f"{(camera.height, camera.width)}; give the whole upright frame"
        )
        raise ValueError(msg)
    return eight_bit(luma)


def half_window_px(camera: Camera) -> int:
    """Half the size of a window in a camera's frame, pixels."""
    wanted = round(max(camera.width, camera.height) / _FRAME_PX_A_HALF)
    return min(max(wanted, _SMALLEST_HALF_PX), _LARGEST_HALF_PX)


def coarse_picture(plane: Image) -> tuple[Image, int]:
    """The picture made small by a whole factor (mean of its pixels), and the factor."""
    factor = max(round(max(plane.shape) / COARSE_WIDTH_PX), 1)
    rows, columns = plane.shape[0] // factor, plane.shape[1] // factor
    whole = np.ascontiguousarray(plane[: rows * factor, : columns * factor])
    small = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.uint8), factor


def _structure(plane: Image, half: int) -> NDArray[np.float32]:
    """Weaker eigenvalue of the mean structure tensor of a window, and a share of the stronger one; 0 for too little."""
    smooth = cv2.GaussianBlur(plane, (0, 0), 1.2).astype(np.float32)
    gx, gy = (cv2.Sobel(smooth, cv2.CV_32F, *axes, ksize=3, scale=0.125) for axes in ((1, 0), (0, 1)))
    size = (2 * half + 1, 2 * half + 1)
    xx, yy, xy = (cv2.boxFilter(p, -1, size) for p in (gx * gx, gy * gy, gx * gy))
    middle, apart = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    strong, weak = middle + apart, np.maximum(middle - apart, 0)
    return np.where(strong > _LEAST_GRADIENT, weak + _EDGE_WORTH * strong, 0.0).astype(np.float32)


def _trust(plane: Image, spread: Image | None, half: int) -> NDArray[np.float32]:
    """1 for a window that is neither clipped nor restless, less for others."""
    size = (2 * half + 1, 2 * half + 1)
    clipped = cv2.boxFilter((plane >= _CLIPPED_LEVEL).astype(np.float32), -1, size)
    trust = np.maximum(1 - 2 * clipped, 0.05)
    if spread is not None:
        restless = cv2.boxFilter(spread.astype(np.float32), -1, size)
        trust = trust / (1 + (restless / _RESTLESS_LEVELS) ** 4)
    return np.asarray(trust, dtype=np.float32)


def _worth_of_places(camera: Camera, half: int) -> NDArray[np.float32]:
    """0 where a window would touch our lane or its pins, little where bowlers stand, else 1."""
    half_lane = LANE_WIDTH_IN / 2
    strip = half_lane + 0.4 * GUTTER_WIDTH_IN
    across, tall = _PERSON_IN
    behind = min(_REACH_BEHIND_IN, max(-camera.y_in - 24.0, 12.0))
    people = _outline(camera, (-across, across), (-behind, 0.0), (0.0, tall))
    lane = _outline(camera, (-strip, strip), (0.0, DECK_END_IN), (0.0, 2 * BALL_RADIUS_IN))
    deck = _outline(camera, (-half_lane, half_lane), (DECK_END_IN - 48.0, DECK_END_IN), (0.0, PIN_HEIGHT_IN + 3.0))
    racks = _outline(camera, (-_RACKS_IN, _RACKS_IN), (DECK_END_IN - 48.0, DECK_END_IN), (0.0, PIN_HEIGHT_IN))
    worth = np.ones((camera.height, camera.width), dtype=np.float32)
    covered = np.zeros((camera.height, camera.width), dtype=np.uint8)
    for outline in (lane, deck):
        if len(outline) >= 3:
            cv2.fillConvexPoly(covered, outline, 1)
    for outline in (people, racks):
        if len(outline) >= 3:
            cv2.fillConvexPoly(worth, outline, _BUSY_WORTH)
    grown = cv2.dilate(covered, np.ones((half + 1, half + 1), np.uint8))
    worth[grown > 0] = 0.0
    return worth


def _outline(
    camera: Camera, x_in: tuple[float, float], y_in: tuple[float, float], z_in: tuple[float, float]
) -> NDArray[np.int32]:
    """Convex outline ``(k, 2)`` of a box's picture, whole pixels; empty when the box is not in front."""
    box = np.stack(np.meshgrid(x_in, np.linspace(*y_in, 9), z_in), axis=-1).reshape(-1, 3)
    pixels = camera.project(box)
    pixels = pixels[np.isfinite(pixels).all(axis=1)]
    if len(pixels) < 3:
        return np.zeros((0, 2), dtype=np.int32)
    limit = 4.0 * max(camera.width, camera.height)
    hull = cv2.convexHull(np.clip(pixels, -limit, limit).astype(np.float32))
    return np.asarray(hull.reshape(-1, 2), dtype=np.int32)


def _clear_border(score: NDArray[np.float32], border: int) -> None:
    score[:border] = score[-border:] = 0.0
    score[:, :border] = score[:, -border:] = 0.0


def _best_of_cells(score: NDArray[np.float32], count: int) -> tuple[NDArray[np.intp], Array]:
    """Best place ``(n, 2)`` (column, row) of each of about ``count`` square cells, and its score."""
    rows, columns = score.shape
    side = np.sqrt(rows * columns / max(count, 1))
    down, across = max(round(rows / side), 1), max(round(columns / side), 1)
    tops, lefts = np.linspace(0, rows, down + 1).astype(int), np.linspace(0, columns, across + 1).astype(int)
    places, worth = [], []
    for top, bottom in pairwise(tops):
        for left, right in pairwise(lefts):
            cell = score[top:bottom, left:right]
            at = int(np.argmax(cell))
            row, column = divmod(at, cell.shape[1])
            if cell[row, column] > 0:
                places.append((left + column, top + row))
                worth.append(float(cell[row, column]))
    return np.array(places, dtype=np.intp).reshape(-1, 2), np.array(worth, dtype=np.float64)


def _apart(places: NDArray[np.intp], worth: Array, least_px: int) -> list[int]:
    """Indices of places, the best first, that keep a distance (larger of across and down) from all better ones."""
    kept: list[int] = []
    for i in np.argsort(-worth, kind="stable").tolist():
        if all(np.max(np.abs(places[i] - places[j])) > least_px for j in kept):
            kept.append(i)
    return kept


def _coarse_places(small: Image, weight: NDArray[np.float32]) -> NDArray[np.intp]:
    """Middles of windows of the small picture, by the weaker eigenvalue alone: edges could slide there."""
    size = 2 * COARSE_HALF_PX + 1
    corners = cv2.cornerMinEigenVal(small.astype(np.float32), size, ksize=3)
    wide = cv2.resize(weight, (small.shape[1], small.shape[0]), interpolation=cv2.INTER_NEAREST)
    score = np.multiply(corners, 0.02 + wide, dtype=np.float32)
    _clear_border(score, COARSE_HALF_PX + 1)
    places, _ = _best_of_cells(score, _COARSE_COUNT)
    return places
