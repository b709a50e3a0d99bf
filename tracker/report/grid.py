"""The lane grid drawn on a frame of the clip: what the calibration believes, for a person to judge at a glance."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from calibration import lane
from calibration.camera import Camera
from calibration.quality import CHECK_DISTANCES_FT, lane_point_sigma, verdict
from calibration.solve import MarkResidual
from calibration.store import Calibration
from tracker.report.gridmarks import (
    BOARD,
    CASING,
    CHEVRON,
    EDGE,
    MARK,
    PIN,
    RESIDUAL_ZOOM,
    Canvas,
    Colour,
    Image,
    across,
    along,
    draw_found,
    found_lines,
)

DISTANCE: Colour = (60, 190, 255)
TEXT: Colour = (240, 240, 235)
VERDICT_COLOURS: dict[str, Colour] = {"good": (120, 220, 90), "usable": (70, 200, 250), "poor": (90, 90, 255)}

_TENS_FT = (10, 20, 30, 40, 50, 60)
_TITLE_CHARACTERS = 46


def draw_lane_grid(image: Image, calibration: Calibration, *, title: Sequence[str] = ()) -> Image:
    """Draw the calibrated lane on an upright frame.

    Lane edges, every fifth board, every ten feet, the chevron of arrows, pin bases and a legend with the fit's numbers.
    Lines follow the lens distortion. Marks that somebody clicked stand there with their residuals (ten times enlarged);
    of a lane that was found, edges, foul line, arrows and pins tell what was found from what is only predicted.

    Parameters
    ----------
    image : uint8 array of shape (h, w) or (h, w, 3)
        Upright frame, grey or bgr; not changed.
    calibration : Calibration
        Where the camera is.
    title : sequence of str
        Further lines for the top of the legend, such as how the lane was found; names of files, never paths.

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
    canvas = Canvas(np.ascontiguousarray(bgr), min(camera.width, camera.height) / 1080.0)
    plain = canvas.image.copy()
    _draw_lines(canvas, calibration)
    _draw_labels(canvas, camera)
    corners = _free_corners(camera, canvas.pixels(18))
    _draw_legend(canvas, calibration, corners, title=title)
    _draw_inset(canvas, plain, calibration, corners)
    return canvas.image


def _draw_lines(canvas: Canvas, calibration: Calibration) -> None:
    """Everything but words: boards, distances, chevron, edges, pins, marks."""
    camera = calibration.camera
    for board in lane.ARROW_BOARDS:
        canvas.line(along(camera, float(lane.x_from_board(board, "right")), 0.0, lane.DECK_END_IN), BOARD, 1.0)
    for feet in _TENS_FT:
        canvas.line(across(camera, feet * lane.INCHES_PER_FOOT), DISTANCE, 1.2)
    _draw_chevron(canvas, calibration)
    if calibration.how == "found":
        draw_found(canvas, calibration)
        return
    _draw_edges(canvas, camera)
    _draw_pins(canvas, camera)
    for residual in calibration.residuals:
        if residual.name in calibration.marks_px:
            _draw_mark(canvas, calibration.marks_px[residual.name], residual)


def _draw_labels(canvas: Canvas, camera: Camera) -> None:
    """Board numbers under the foul line and distances right of the lane."""
    for board in lane.ARROW_BOARDS:
        u, v = camera.project((float(lane.x_from_board(board, "right")), 0.0, 0.0))
        if np.isfinite(u):
            canvas.text(str(board), (u - canvas.width_of(str(board), 0.6) / 2, v + 26 * canvas.unit), BOARD)
    for feet in _TENS_FT:
        u, v = camera.project((lane.LANE_WIDTH_IN / 2, feet * lane.INCHES_PER_FOOT, 0.0))
        if np.isfinite(u):
            canvas.text(f"{feet} ft", (u + 14 * canvas.unit, v + 7 * canvas.unit), DISTANCE)


def _draw_chevron(canvas: Canvas, calibration: Calibration) -> None:
    boards = np.linspace(lane.ARROW_BOARDS[0], lane.ARROW_BOARDS[-1], 31)
    y = lane.arrow_distance_in(boards, calibration.arrow_centre_ft, calibration.arrow_slope_ft)
    x = lane.x_from_board(boards, "right")
    canvas.line(calibration.camera.project(np.stack([x, y, np.zeros_like(x)], axis=1)), CHEVRON, 1.4)


def _draw_edges(canvas: Canvas, camera: Camera) -> None:
    half = lane.LANE_WIDTH_IN / 2
    for line in (
        along(camera, -half, 0.0, lane.DECK_END_IN),
        along(camera, half, 0.0, lane.DECK_END_IN),
        across(camera, 0.0),
        across(camera, lane.DECK_END_IN),
    ):
        canvas.line(line, EDGE, 1.8)


def _draw_pins(canvas: Canvas, camera: Camera) -> None:
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


def _draw_mark(canvas: Canvas, pixel: tuple[float, float], residual: MarkResidual) -> None:
    """Ring at the click and a line, enlarged, from it toward where the camera would have it."""
    angle = np.linspace(0.0, 2 * np.pi, 25)
    click = np.asarray(pixel, dtype=np.float64)
    radius = 6.0 * canvas.unit / canvas.zoom
    canvas.line(click + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1), MARK, 1.2)
    offset = np.array([residual.du_px, residual.dv_px])
    canvas.line(np.stack([click, click - RESIDUAL_ZOOM / canvas.zoom * offset]), MARK, 1.4)


def legend_lines(calibration: Calibration, title: Sequence[str] = ()) -> list[str]:
    """Words of the legend: title, fit, worst mark or what was found, uncertainty down the lane, verdict."""
    lines = [f"lane grid  {calibration.clip}".rstrip()]
    lines += [row for words in title for row in textwrap.wrap(words, _TITLE_CHARACTERS)]
    found = calibration.how == "found"
    if found:
        lines += found_lines(calibration)
    elif calibration.residuals:
        worst = max(calibration.residuals, key=lambda r: r.size_px)
        lines += [
            f"{len(calibration.residuals)} marks, rms {calibration.rms_px:.1f} px",
            f"worst {worst.name}: {worst.size_px:.1f} px, {abs(worst.across_boards):.1f} boards",
        ]
    for feet in CHECK_DISTANCES_FT:
        boards, down = lane_point_sigma(calibration, feet)
        lines.append(f"at {feet:.0f} ft  +- {boards:.2f} boards, {down:.2f} ft")
    if calibration.residuals and not found:
        lines.append(f"purple: marks, misfit x{RESIDUAL_ZOOM:.0f}")
    return [*lines, f"verdict: {_word(calibration)}"]


def _word(calibration: Calibration) -> str:
    """The finder's verdict, which knows more than the covariance, where there is one."""
    return calibration.verdict or verdict(calibration)


def _draw_legend(
    canvas: Canvas, calibration: Calibration, corners: list[_Corner], *, title: Sequence[str] = ()
) -> None:
    """Panel with the legend in the first of the free corners."""
    lines = legend_lines(calibration, title)
    size, step, pad = 0.66, canvas.pixels(29), canvas.pixels(16)
    width = max(canvas.width_of(words, size) for words in lines) + 2 * pad
    height = step * len(lines) + 2 * pad - canvas.pixels(8)
    left, top = corners[0].place(width, height)
    region = canvas.image[top : top + height, left : left + width]
    region[:] = (0.22 * region + 0.78 * np.array(CASING)).astype(np.uint8)
    for row, words in enumerate(lines):
        colour = VERDICT_COLOURS.get(_word(calibration), TEXT) if row == len(lines) - 1 else TEXT
        canvas.text(words, (left + pad, top + pad + step * (row + 0.6)), colour, size=size)


def _draw_inset(canvas: Canvas, plain: Image, calibration: Calibration, corners: list[_Corner]) -> None:
    """Draw the pin deck enlarged, anew from the plain frame, in the second of the free corners."""
    camera = calibration.camera
    heads = np.column_stack([lane.pin_positions(), np.full(10, lane.PIN_HEIGHT_IN)])
    rows = [across(camera, y) for y in (lane.HEAD_PIN_IN - 60, lane.DECK_END_IN)]
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
    inset = Canvas(np.ascontiguousarray(part), canvas.unit, (float(left), float(top)), size[0] / (right - left))
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
    seen = np.concatenate([along(camera, x, -60.0, lane.DECK_END_IN) for x in np.linspace(-half, half, 9)])
    frame = (camera.width, camera.height)

    def hidden(corner: _Corner) -> int:
        size = (int(0.3 * frame[0]), int(0.3 * frame[1]))
        low = np.array(corner.place(*size))
        return int(np.sum(np.all((seen >= low) & (seen <= low + np.array(size)), axis=1)))

    return sorted(
        (_Corner(right, bottom, frame, margin) for bottom in (False, True) for right in (False, True)), key=hidden
    )
