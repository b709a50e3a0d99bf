"""The lane grid drawn on a frame of the clip: what the calibration believes, for a person to judge at a glance."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration import lane
from calibration.camera import Camera
from calibration.quality import CHECK_DISTANCES_FT, lane_point_sigma, verdict
from calibration.solve import MarkResidual
from calibration.store import Calibration

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Colour = tuple[int, int, int]

RESIDUAL_ZOOM = 10.0
"""Residual vectors are drawn this much longer than they are."""

CASING: Colour = (24, 18, 14)
EDGE: Colour = (140, 235, 60)
BOARD: Colour = (225, 215, 190)
DISTANCE: Colour = (60, 190, 255)
CHEVRON: Colour = (255, 170, 90)
PIN: Colour = (120, 120, 255)
MARK: Colour = (245, 90, 235)
TEXT: Colour = (240, 240, 235)
VERDICT_COLOURS: dict[str, Colour] = {"good": (120, 220, 90), "usable": (70, 200, 250), "poor": (90, 90, 255)}

_SHIFT = 4
_TENS_FT = (10, 20, 30, 40, 50, 60)
_FONT = cv2.FONT_HERSHEY_SIMPLEX


@dataclass(frozen=True, slots=True, eq=False)
class _Canvas:
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
            moved = (part - np.array(self.origin_px)) * self.zoom - 0.5
            fixed = np.round(moved * 2**_SHIFT).astype(np.int32).reshape(-1, 1, 2)
            thickness = self.pixels(weight)
            for ink, wide in ((CASING, thickness + 2 * self.pixels(1.0)), (colour, thickness)):
                cv2.polylines(self.image, [fixed], False, ink, wide, cv2.LINE_AA, _SHIFT)  # noqa: FBT003

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


def draw_lane_grid(image: Image, calibration: Calibration) -> Image:
    """Draw the calibrated lane on an upright frame.

    Lane edges, every fifth board, every ten feet, the chevron of arrows, pin bases, the marks with their residuals
    (ten times enlarged) and a legend with the fit's numbers. Lines follow the lens distortion.

    Parameters
    ----------
    image : uint8 array of shape (h, w) or (h, w, 3)
        Upright frame, grey or bgr; not changed.
    calibration : Calibration
        Where the camera is.

    Returns
    -------
    uint8 array of shape (h, w, 3)
        The picture, bgr.

    Raises
    ------
    ValueError
        If the frame is not of the calibration's size, or not of 8 bits.
    """
    camera = calibration.camera
    if image.dtype != np.uint8 or image.shape[:2] != (camera.height, camera.width):
        msg = (
            f"the grid needs an 8-bit frame of {camera.width}x{camera.height} pixels, "
            f"got {image.dtype} of shape {image.shape}"
        )
        raise ValueError(msg)
    bgr = cv2.cvtColor(image, cv2.COLOR_GRAY2BGR) if image.ndim == 2 else image.copy()
    canvas = _Canvas(np.ascontiguousarray(bgr), min(camera.width, camera.height) / 1080.0)
    plain = canvas.image.copy()
    _draw_lines(canvas, calibration)
    _draw_labels(canvas, camera)
    corners = _free_corners(camera, canvas.pixels(18))
    _draw_legend(canvas, calibration, corners)
    _draw_inset(canvas, plain, calibration, corners)
    return canvas.image


def encode_png(image: Image) -> bytes:
    """PNG bytes of a picture ``(h, w)`` or ``(h, w, 3)`` bgr.

    Raises
    ------
    ValueError
        If the picture cannot be encoded.
    """
    done, data = cv2.imencode(".png", image)
    if not done:
        msg = f"cannot encode a picture of shape {image.shape} and type {image.dtype} as PNG"
        raise ValueError(msg)
    return bytes(data)


def _visible_parts(points_px: Array) -> list[Array]:
    """Split off runs of at least two finite points within reach of the drawing routine's integers."""
    good = np.all(np.abs(np.nan_to_num(points_px, nan=1e9)) < 1e5, axis=1)
    cuts = np.flatnonzero(np.diff(good.astype(np.int8))) + 1
    runs = np.split(np.arange(len(good)), cuts)
    return [points_px[run] for run in runs if len(run) > 1 and good[run[0]]]


def _along(camera: Camera, x_in: float, near_in: float, far_in: float) -> Array:
    """Pixels ``(80, 2)`` of a line down the lane, denser near the camera."""
    y = near_in + (far_in - near_in) * np.linspace(0.0, 1.0, 80) ** 1.5
    return camera.project(np.stack([np.full_like(y, x_in), y, np.zeros_like(y)], axis=1))


def _across(camera: Camera, y_in: float) -> Array:
    """Pixels ``(24, 2)`` of a line across the lane."""
    x = np.linspace(-0.5, 0.5, 24) * lane.LANE_WIDTH_IN
    return camera.project(np.stack([x, np.full_like(x, y_in), np.zeros_like(x)], axis=1))


def _draw_lines(canvas: _Canvas, calibration: Calibration) -> None:
    """Everything but words: boards, distances, chevron, edges, pins, marks."""
    camera = calibration.camera
    for board in lane.ARROW_BOARDS:
        canvas.line(_along(camera, float(lane.x_from_board(board, "right")), 0.0, lane.DECK_END_IN), BOARD, 1.0)
    for feet in _TENS_FT:
        canvas.line(_across(camera, feet * lane.INCHES_PER_FOOT), DISTANCE, 1.2)
    _draw_chevron(canvas, calibration)
    _draw_edges(canvas, camera)
    _draw_pins(canvas, camera)
    for residual in calibration.residuals:
        if residual.name in calibration.marks_px:
            _draw_mark(canvas, calibration.marks_px[residual.name], residual)


def _draw_labels(canvas: _Canvas, camera: Camera) -> None:
    """Board numbers under the foul line and distances right of the lane."""
    for board in lane.ARROW_BOARDS:
        u, v = camera.project((float(lane.x_from_board(board, "right")), 0.0, 0.0))
        if np.isfinite(u):
            canvas.text(str(board), (u - canvas.width_of(str(board), 0.6) / 2, v + 26 * canvas.unit), BOARD)
    for feet in _TENS_FT:
        u, v = camera.project((lane.LANE_WIDTH_IN / 2, feet * lane.INCHES_PER_FOOT, 0.0))
        if np.isfinite(u):
            canvas.text(f"{feet} ft", (u + 14 * canvas.unit, v + 7 * canvas.unit), DISTANCE)


def _draw_chevron(canvas: _Canvas, calibration: Calibration) -> None:
    boards = np.linspace(lane.ARROW_BOARDS[0], lane.ARROW_BOARDS[-1], 31)
    y = lane.arrow_distance_in(boards, calibration.arrow_centre_ft, calibration.arrow_slope_ft)
    x = lane.x_from_board(boards, "right")
    canvas.line(calibration.camera.project(np.stack([x, y, np.zeros_like(x)], axis=1)), CHEVRON, 1.4)


def _draw_edges(canvas: _Canvas, camera: Camera) -> None:
    half = lane.LANE_WIDTH_IN / 2
    for line in (
        _along(camera, -half, 0.0, lane.DECK_END_IN),
        _along(camera, half, 0.0, lane.DECK_END_IN),
        _across(camera, 0.0),
        _across(camera, lane.DECK_END_IN),
    ):
        canvas.line(line, EDGE, 1.8)


def _draw_pins(canvas: _Canvas, camera: Camera) -> None:
    """Bases of the pins and, in an enlarged part, their axes."""
    angle = np.linspace(0.0, 2 * np.pi, 25)
    ring = lane.PIN_BASE_RADIUS_IN * np.stack([np.cos(angle), np.sin(angle)], axis=1)
    for spot in lane.pin_positions():
        # Pins stand 12 in apart on any lane; the camera's x is a share of the lane's width.
        base = (spot + ring) / np.array([camera.width_scale, 1.0])
        canvas.line(camera.project(np.column_stack([base, np.zeros(len(base))])), PIN, 1.0)
        if canvas.zoom > 1.0:
            x, y = spot / np.array([camera.width_scale, 1.0])
            canvas.line(camera.project([(x, y, 0.0), (x, y, lane.PIN_HEIGHT_IN)]), PIN, 1.0)


def _draw_mark(canvas: _Canvas, pixel: tuple[float, float], residual: MarkResidual) -> None:
    """Ring at the click and a line, enlarged, from it toward where the camera would have it."""
    angle = np.linspace(0.0, 2 * np.pi, 25)
    click = np.asarray(pixel, dtype=np.float64)
    radius = 6.0 * canvas.unit / canvas.zoom
    canvas.line(click + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1), MARK, 1.2)
    offset = np.array([residual.du_px, residual.dv_px])
    canvas.line(np.stack([click, click - RESIDUAL_ZOOM / canvas.zoom * offset]), MARK, 1.4)


def legend_lines(calibration: Calibration) -> list[str]:
    """Words of the legend: fit, worst mark, uncertainty down the lane, verdict."""
    lines = [f"lane grid  {calibration.clip}".rstrip()]
    if calibration.residuals:
        worst = max(calibration.residuals, key=lambda r: r.size_px)
        lines += [
            f"{len(calibration.residuals)} marks, rms {calibration.rms_px:.1f} px",
            f"worst {worst.name}: {worst.size_px:.1f} px, {abs(worst.across_boards):.1f} boards",
        ]
    for feet in CHECK_DISTANCES_FT:
        boards, along = lane_point_sigma(calibration, feet)
        lines.append(f"at {feet:.0f} ft  +- {boards:.2f} boards, {along:.2f} ft")
    if calibration.residuals:
        lines.append(f"purple: marks, misfit x{RESIDUAL_ZOOM:.0f}")
    return [*lines, f"verdict: {verdict(calibration)}"]


def _draw_legend(canvas: _Canvas, calibration: Calibration, corners: list[_Corner]) -> None:
    """Panel with the legend in the first of the free corners."""
    lines = legend_lines(calibration)
    size, step, pad = 0.66, canvas.pixels(29), canvas.pixels(16)
    width = max(canvas.width_of(words, size) for words in lines) + 2 * pad
    height = step * len(lines) + 2 * pad - canvas.pixels(8)
    left, top = corners[0].place(width, height)
    region = canvas.image[top : top + height, left : left + width]
    region[:] = (0.22 * region + 0.78 * np.array(CASING)).astype(np.uint8)
    for row, words in enumerate(lines):
        colour = VERDICT_COLOURS[verdict(calibration)] if row == len(lines) - 1 else TEXT
        canvas.text(words, (left + pad, top + pad + step * (row + 0.6)), colour, size=size)


def _draw_inset(canvas: _Canvas, plain: Image, calibration: Calibration, corners: list[_Corner]) -> None:
    """Draw the pin deck enlarged, anew from the plain frame, in the second of the free corners."""
    camera = calibration.camera
    heads = np.column_stack([lane.pin_positions(), np.full(10, lane.PIN_HEIGHT_IN)])
    rows = [_across(camera, y) for y in (lane.HEAD_PIN_IN - 60, lane.DECK_END_IN)]
    deck = np.concatenate([*rows, camera.project(heads)])
    if not np.isfinite(deck).all():
        return
    low, high = np.floor(deck.min(axis=0) - 0.12 * np.ptp(deck, axis=0)), np.ceil(deck.max(axis=0))
    left, top = np.clip(low, 0, [camera.width, camera.height]).astype(int)
    right, bottom = np.clip(high + 0.12 * np.ptp(deck, axis=0), 0, [camera.width, camera.height]).astype(int)
    if right - left < 8 or bottom - top < 8:
        return
    zoom = min(canvas.pixels(420) / (right - left), canvas.pixels(420) / (bottom - top))
    size = (int((right - left) * zoom), int((bottom - top) * zoom))
    part = cv2.resize(plain[top:bottom, left:right], size, interpolation=cv2.INTER_LINEAR)
    inset = _Canvas(np.ascontiguousarray(part), canvas.unit, (float(left), float(top)), size[0] / (right - left))
    _draw_lines(inset, calibration)
    at = corners[1].place(*size)
    canvas.image[at[1] : at[1] + size[1], at[0] : at[0] + size[0]] = inset.image
    frame = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]], [0, 0]], dtype=np.float64) + np.array(at)
    canvas.line(frame, BOARD, 1.0)


@dataclass(frozen=True, slots=True)
class _Corner:
    """A corner of the frame with a margin; right and bottom ones are measured from the far side."""

    right: bool
    bottom: bool
    frame: tuple[int, int]
    margin: int

    def place(self, width: int, height: int) -> tuple[int, int]:
        """Left and top of a panel of this size, moved into the frame where it is too large."""
        left = self.frame[0] - width - self.margin if self.right else self.margin
        top = self.frame[1] - height - self.margin if self.bottom else self.margin
        return max(left, 0), max(top, 0)


def _free_corners(camera: Camera, margin: int) -> list[_Corner]:
    """Sort the four corners: those with the fewest lane points near them first, top ones before bottom ones."""
    half = lane.LANE_WIDTH_IN / 2
    seen = np.concatenate([_along(camera, x, -60.0, lane.DECK_END_IN) for x in np.linspace(-half, half, 9)])
    frame = (camera.width, camera.height)

    def hidden(corner: _Corner) -> int:
        size = (int(0.3 * frame[0]), int(0.3 * frame[1]))
        low = np.array(corner.place(*size))
        return int(np.sum(np.all((seen >= low) & (seen <= low + np.array(size)), axis=1)))

    return sorted(
        (_Corner(right, bottom, frame, margin) for bottom in (False, True) for right in (False, True)), key=hidden
    )
