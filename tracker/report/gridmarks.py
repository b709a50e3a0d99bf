"""What the lane's picture is drawn with, and the marks of a lane found without clicks: found apart from predicted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import lane
from calibration.camera import Camera
from calibration.observations import SIDES
from calibration.store import Calibration

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Colour = tuple[int, int, int]

RESIDUAL_ZOOM = 10.0
"""Residual vectors are drawn this much longer than they are."""
ARROW_MISS_PX = 1.5
"""An arrow found nearer than this to where the camera and the chevron put it is drawn without its misfit."""

CASING: Colour = (24, 18, 14)
EDGE: Colour = (140, 235, 60)
BOARD: Colour = (225, 215, 190)
CHEVRON: Colour = (255, 170, 90)
PIN: Colour = (120, 120, 255)
MARK: Colour = (245, 90, 235)

_SHIFT = 4
_FONT = cv2.FONT_HERSHEY_SIMPLEX
_DASH, _GAP = 9.0, 11.0
_WEIGHT, _WEIGHT_BESIDE = 3.0, 1.6
_DOT, _DOTS_APART = 3.2, 26.0
"""Dots closer together would make a solid line look dashed, so that some of the points found go without."""
_SPOT, _SPOT_INSET, _ARROW = 2.8, 6.0, 5.0
_MISSED = 2.2
"""Found points farther apart than this many of their usual distances have a stretch between them without any."""
_NEAR_PX = 12.0
"""A point farther than this from its line says nothing about it."""
_AROUND = 1.5
"""Lines are followed this many times the picture's longer side to every side of its middle."""


@dataclass(frozen=True, slots=True, eq=False)
class Canvas:
    """Picture that is drawn on: all of the frame or, for an inset, a part of it enlarged.

    ``unit`` is the size of one drawing unit in pixels, 1 on a frame whose smaller side is 1080; ``origin_px`` the
    frame's pixel at the picture's upper left corner and ``zoom`` the enlargement.
    """

    image: Image
    unit: float
    origin_px: tuple[float, float] = (0.0, 0.0)
    zoom: float = 1.0

    def pixels(self, size: float) -> int:
        """Convert a size to whole pixels, at least 1."""
        return max(1, round(size * self.unit))

    def line(self, points_px: Array, colour: Colour, weight: float) -> None:
        """Polyline through pixels ``(n, 2)`` (centres at +0.5) in a dark casing; breaks at NaN."""
        for part in _visible_parts(points_px):
            fixed = self._fixed(part).reshape(-1, 1, 2)
            thickness = self.pixels(weight)
            for ink, wide in ((CASING, thickness + 2 * self.pixels(1.0)), (colour, thickness)):
                cv2.polylines(self.image, [fixed], False, ink, wide, cv2.LINE_AA, _SHIFT)  # noqa: FBT003

    def dashed(self, points_px: Array, colour: Colour, weight: float) -> None:
        """Polyline as of :meth:`line`, in dashes."""
        for part in _visible_parts(points_px):
            way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(part, axis=0).T))])
            period = (_DASH + _GAP) * self.unit / self.zoom
            for start in np.arange(period * _GAP / (_DASH + _GAP) / 2, way[-1], period):
                at = np.linspace(start, min(start + period * _DASH / (_DASH + _GAP), way[-1]), 5)
                self.line(np.stack([np.interp(at, way, part[:, k]) for k in (0, 1)], axis=1), colour, weight)

    def disc(self, at_px: Array, colour: Colour, radius: float, *, cased: bool = True) -> None:
        """Filled circle about a pixel (u, v), its radius in drawing units; nothing where the pixel is out of reach."""
        ring = [(CASING, radius * self.unit + 1.0)] if cased else []
        if within_reach(at_px):
            for ink, size_px in (*ring, (colour, max(radius * self.unit, 1.3))):
                self._circle(at_px, ink, size_px, -1)

    def ring(self, at_px: Array, colour: Colour, radius: float) -> None:
        """Hollow circle about a pixel (u, v), through which the picture is seen; its radius in drawing units."""
        if within_reach(at_px):
            size_px, thin = max(radius * self.unit, 2.5), self.pixels(0.25 * radius)
            self._circle(at_px, CASING, size_px, thin + 2)
            self._circle(at_px, colour, size_px, thin)

    def _circle(self, at_px: Array, ink: Colour, radius_px: float, thickness: int) -> None:
        u, v = (int(c) for c in self._fixed(at_px))
        cv2.circle(self.image, (u, v), round(radius_px * 2**_SHIFT), ink, thickness, cv2.LINE_AA, _SHIFT)

    def _fixed(self, points_px: Array) -> NDArray[np.int32]:
        """Pixels of the frame in the drawing routine's own numbers on this picture."""
        moved = (points_px - np.array(self.origin_px)) * self.zoom - 0.5
        return np.asarray(np.round(moved * 2**_SHIFT), dtype=np.int32)

    def text(self, words: str, at_px: tuple[float, float], colour: Colour, *, size: float = 0.6) -> None:
        """Words with a dark casing, their lower left corner at a pixel (u, v) of the picture."""
        scale, thickness, away = size * self.unit, self.pixels(1.4), self.pixels(1.5)
        # The casing is the same words set off: a thicker pen is spaced wider by some builds of the drawing routine.
        shifts = [(du, dv) for du in (-away, 0, away) for dv in (-away, 0, away) if du or dv]
        for (du, dv), ink in (*((shift, CASING) for shift in shifts), ((0, 0), colour)):
            place = (round(at_px[0]) + du, round(at_px[1]) + dv)
            cv2.putText(self.image, words, place, _FONT, scale, ink, thickness, cv2.LINE_AA)

    def width_of(self, words: str, size: float) -> int:
        """Width of words in pixels."""
        (width, _), _ = cv2.getTextSize(words, _FONT, size * self.unit, self.pixels(1.4))
        return int(width)


def within_reach(points_px: Array) -> NDArray[np.bool_]:
    """Which pixels ``(..., 2)`` are finite and within reach of the drawing routine's integers."""
    return np.asarray(np.all(np.abs(np.nan_to_num(points_px, nan=1e9)) < 1e5, axis=-1))


def _visible_parts(points_px: Array) -> list[Array]:
    """Split off runs of at least two points within reach."""
    return [points_px[run] for run in runs_of(within_reach(points_px)) if len(run) > 1]


def runs_of(wanted: NDArray[np.bool_]) -> list[NDArray[np.intp]]:
    """Indices of each run of True."""
    cuts = np.flatnonzero(np.diff(wanted.astype(np.int8))) + 1
    return [run for run in np.split(np.arange(len(wanted)), cuts) if len(run) and wanted[run[0]]]


def along(camera: Camera, x_in: float, near_in: float, far_in: float) -> Array:
    """Pixels ``(80, 2)`` of a line down the lane, denser near the camera."""
    y = near_in + (far_in - near_in) * np.linspace(0.0, 1.0, 80) ** 1.5
    return camera.project(np.stack([np.full_like(y, x_in), y, np.zeros_like(y)], axis=1))


def across(camera: Camera, y_in: float) -> Array:
    """Pixels ``(24, 2)`` of a line across the lane."""
    x = np.linspace(-0.5, 0.5, 24) * lane.LANE_WIDTH_IN
    return camera.project(np.stack([x, np.full_like(x, y_in), np.zeros_like(x)], axis=1))


def marks_of(marks_px: Mapping[str, tuple[float, float]], kind: str) -> dict[int, Array]:
    """Pixels (u, v) of the marks ``kind_N`` by their number, in its order."""
    parted = [(*name.rpartition("_")[::2], pixel) for name, pixel in marks_px.items()]
    numbered = [(int(number), pixel) for before, number, pixel in parted if before == kind and number.isdecimal()]
    return {number: np.array(pixel, dtype=np.float64) for number, pixel in sorted(numbered)}


def draw_found(canvas: Canvas, calibration: Calibration) -> None:
    """Draw what was found of a lane as found and the rest as predicted.

    Edges and foul line are solid, with dots at points found, and dashed where nothing was found; the foul line
    beside the lane and the gutters' outer edges are drawn only where found. Arrows and pins are filled where found and
    hollow where only predicted.
    """
    camera, half = calibration.camera, lane.LANE_WIDTH_IN / 2
    gutter = lane.GUTTER_EDGE_IN / camera.width_scale
    for kind, x_in in (("left_gutter", -gutter), ("right_gutter", gutter)):
        _draw_line(
            canvas,
            along(camera, x_in, 0.0, lane.DECK_END_IN),
            points_of(calibration, kind),
            predicted=False,
            weight=_WEIGHT_BESIDE,
        )
    canvas.dashed(across(camera, lane.DECK_END_IN), EDGE, _WEIGHT)
    for kind, x_in in (("left", -half), ("right", half)):
        _draw_line(canvas, along(camera, x_in, 0.0, lane.DECK_END_IN), points_of(calibration, kind))
    _draw_foul(canvas, camera, points_of(calibration, "foul"))
    for kind in SIDES:
        _draw_dots(canvas, points_of(calibration, kind))
    _draw_arrows(canvas, calibration)
    _draw_pins(canvas, calibration)


def found_lines(calibration: Calibration) -> list[str]:
    """Words of the legend: how much was found, and how the picture tells it from what is predicted."""
    points = {kind: len(marks_of(calibration.marks_px, kind)) for kind in (*SIDES, "pin", "arrow")}
    edges = sum(points[kind] for kind in SIDES if kind != "foul")
    lines = [
        f"found: {edges} points on edges, {points['foul']} on foul line",
        f"{points['pin']} of 10 pins, {points['arrow']} of {len(lane.ARROW_BOARDS)} arrows",
        f"misfit of edges, foul line, pins: rms {calibration.rms_px:.1f} px",
        "solid, dots, filled: found",
        "dashed, hollow: only predicted",
    ]
    if any(np.hypot(*miss) > ARROW_MISS_PX for _, miss in arrow_misses(calibration).values()):
        lines.append(f"lines at arrows: misfit x{RESIDUAL_ZOOM:.0f}")
    return lines


def points_of(calibration: Calibration, kind: str) -> Array:
    """Pixels ``(n, 2)`` of the marks of a kind."""
    return np.array(list(marks_of(calibration.marks_px, kind).values()), dtype=np.float64).reshape(-1, 2)


def arrow_misses(calibration: Calibration) -> dict[int, tuple[Array, Array]]:
    """Pixel (u, v) of every arrow found and how far it is from where board and chevron put it, by number."""
    places = _arrow_places(calibration)
    found = marks_of(calibration.marks_px, "arrow")
    return {number: (at, at - places[number]) for number, at in found.items() if number in places}


def _arrow_places(calibration: Calibration) -> dict[int, Array]:
    """Pixels (u, v) where the arrows are predicted, by their number from the right."""
    boards = np.array(lane.ARROW_BOARDS, dtype=np.float64)
    y = lane.arrow_distance_in(boards, calibration.arrow_centre_ft, calibration.arrow_slope_ft)
    pixels = calibration.camera.project(np.stack([lane.x_from_board(boards, "right"), y, np.zeros_like(y)], axis=1))
    return {number + 1: pixel for number, pixel in enumerate(pixels)}


def _draw_line(
    canvas: Canvas, points_px: Array, seen_px: Array, *, predicted: bool = True, weight: float = _WEIGHT
) -> None:
    """Line of the lane, solid where points ``(n, 2)`` were found on it and, if ``predicted``, dashed elsewhere."""
    fine = _resampled(canvas, points_px)
    seen = _stretches(fine, seen_px)
    for run in runs_of(seen):
        canvas.line(fine[run], EDGE, weight)
    for run in runs_of(~seen) if predicted else ():
        # Each dashed run takes in its neighbours' ends, so that line and dashes meet.
        canvas.dashed(fine[max(run[0] - 1, 0) : run[-1] + 2], EDGE, weight)


def _draw_foul(canvas: Canvas, camera: Camera, seen_px: Array) -> None:
    """Foul line: the lane's own part whole, the parts beside it, where it runs on, only where found."""
    half = lane.LANE_WIDTH_IN / 2
    x = np.nan_to_num(camera.back_project(seen_px, 0.0)[:, 0])
    _draw_line(canvas, across(camera, 0.0), seen_px[np.abs(x) <= half])
    for beside in (x < -half, x > half):
        if beside.any():
            ends = (min(float(x[beside].min()), half), max(float(x[beside].max()), -half))
            reach = np.linspace(*ends, 200)
            places = np.stack([reach, np.zeros_like(reach), np.zeros_like(reach)], axis=1)
            _draw_line(canvas, camera.project(places), seen_px[beside], predicted=False, weight=_WEIGHT_BESIDE)


def _resampled(canvas: Canvas, points_px: Array) -> Array:
    """Points ``(n, 2)`` a pixel of the picture apart along the longest part of a line that is in or near the frame."""
    height, width = (size / canvas.zoom for size in canvas.image.shape[:2])
    middle = np.array(canvas.origin_px) + np.array([width, height]) / 2
    near = np.all(np.abs(np.nan_to_num(points_px, nan=1e9) - middle) < _AROUND * max(width, height), axis=1)
    runs = runs_of(near)
    part = points_px[max(runs, key=len)] if runs else np.zeros((0, 2))
    if len(part) < 2:
        return np.zeros((0, 2))
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(part, axis=0).T))])
    at = np.linspace(0.0, way[-1], max(int(way[-1] * canvas.zoom), 2))
    return np.stack([np.interp(at, way, part[:, k]) for k in (0, 1)], axis=1)


def _stretches(fine_px: Array, seen_px: Array) -> NDArray[np.bool_]:
    """Which points ``(n,)`` of a line lie in a stretch where it was found.

    Points that follow one another at about their usual distance, which is what a quarter of them keep, make a stretch;
    it goes half of that beyond its first and last.
    """
    found = np.zeros(len(fine_px), dtype=bool)
    if len(fine_px) < 2 or len(seen_px) < 2:
        return found
    step = float(np.hypot(*(fine_px[1] - fine_px[0])))
    apart = np.linalg.norm(seen_px[:, None] - fine_px[None], axis=2)
    at = np.sort(np.argmin(apart, axis=1)[apart.min(axis=1) < _NEAR_PX]) * step
    if len(at) < 2:
        return found
    usual = float(np.percentile(np.diff(at), 25))
    for part in np.split(at, np.flatnonzero(np.diff(at) > _MISSED * usual) + 1):
        first, last = (part[0] - usual / 2) / step, (part[-1] + usual / 2) / step
        found[max(round(first), 0) : round(last) + 1] = True
    return found


def _draw_dots(canvas: Canvas, points_px: Array) -> None:
    """Dots at points ``(n, 2)``, leaving out those close to the one before."""
    last: Array | None = None
    for point in points_px:
        if last is None or np.hypot(*(point - last)) * canvas.zoom >= _DOTS_APART * canvas.unit:
            canvas.disc(point, MARK, _DOT, cased=False)
            last = point


def _draw_arrows(canvas: Canvas, calibration: Calibration) -> None:
    """Arrows, hollow at their predicted places and filled where found, with a misfit only where it is worth a look."""
    for place in _arrow_places(calibration).values():
        canvas.ring(place, CHEVRON, _ARROW)
    for at, miss in arrow_misses(calibration).values():
        canvas.disc(at, MARK, _ARROW - 1.0, cased=False)
        if np.hypot(*miss) > ARROW_MISS_PX:
            canvas.line(np.stack([at, at - RESIDUAL_ZOOM / canvas.zoom * miss]), MARK, 1.4)


def _draw_pins(canvas: Canvas, calibration: Calibration) -> None:
    """Spots of the pins: hollow, and filled over them where one was found; in an enlarged part the axes of those."""
    camera, found = calibration.camera, marks_of(calibration.marks_px, "pin")
    # Pins stand 12 in apart on any lane; the camera's x is a share of the lane's width.
    spots = lane.pin_positions() / np.array([camera.width_scale, 1.0])
    bases, tops = (camera.project(np.column_stack([spots, np.full(10, z)])) for z in (0.0, lane.PIN_HEIGHT_IN))
    size = _SPOT if canvas.zoom <= 1.0 else _SPOT_INSET
    for k in reversed(range(10)):
        if k + 1 not in found:
            canvas.ring(bases[k], PIN, size + 0.8)
    for k in sorted(found.keys() & set(range(1, 11)), reverse=True):
        if canvas.zoom > 1.0:
            canvas.line(np.stack([bases[k - 1], tops[k - 1]]), PIN, 1.0)
            canvas.disc(found[k], MARK, _DOT)
        canvas.disc(bases[k - 1], PIN, size)
