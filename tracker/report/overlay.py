"""The picture of a shot: its path on the lane as the clip shows it, and over the boards from above."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import (
    GUTTER_WIDTH_IN,
    INCHES_PER_FOOT,
    LANE_WIDTH_IN,
    PIN_HEIGHT_IN,
    Hand,
    pin_positions,
    pin_radius_in,
    x_from_board,
)
from tracker.flags import describe
from tracker.report.ink import (
    BAND,
    CASING,
    FAINT,
    FONT,
    GUTTER,
    INK,
    LANE_TINT,
    MARKER,
    PAPER,
    PATH,
    PIN,
    PIN_EDGE,
    writable,
)
from tracker.report.lanepicture import LanePicture, lane_picture, strip_outline_px
from tracker.report.markers import Marker, markers_of
from tracker.report.spacing import spread
from tracker.report.topview import draw_top_view
from tracker.results import PathTable, ShotResult

Array = NDArray[np.float64]

SIZE_IN = (14.4, 8.6)
DPI = 100

_HALF_LANE_IN = LANE_WIDTH_IN / 2
_LEFT_BOX = (0.055, 0.075, 0.355, 0.835)
_RIGHT_BOX = (0.625, 0.10, 0.362, 0.81)
_WORDS_X = (0.428, 0.575)
_LEAST_GAP = 0.062
_HATCHES = 56
_FONT: dict[str, Any] = {"family": FONT, "parse_math": False}


def overlay_png(shot: ShotResult) -> bytes:
    """Draw the shot's picture as a PNG; equal bytes for an equal shot.

    On the left the lane with nobody in it and the path with its 2-sigma band, on the right the same path over boards.

    Parameters
    ----------
    shot : ShotResult
        With path and camera; without a scene a plain lane is drawn.

    Raises
    ------
    ValueError
        If path or camera is missing.
    """
    if shot.path is None or shot.camera is None or not shot.path.t_s.size:
        msg = f"shot {shot.shot_id}: a picture needs path and camera; draw none for a shot without them"
        raise ValueError(msg)
    hand: Hand = shot.hand or "right"
    figure = Figure(figsize=SIZE_IN, dpi=DPI, facecolor=PAPER)
    canvas = FigureCanvasAgg(figure)
    markers = markers_of(shot)
    left, right = figure.add_axes(_LEFT_BOX), figure.add_axes(_RIGHT_BOX, facecolor=PAPER)
    picture = lane_picture(shot.camera, shot.scene)
    _draw_lane(left, picture, shot.camera)
    _draw_path(left, shot.path, shot.camera, hand=hand, markers=markers)
    draw_top_view(right, shot.path, markers, hand)
    _draw_words(figure, (left, right), markers, camera=shot.camera, hand=hand)
    _draw_titles(figure, shot, picture)
    stream = io.BytesIO()
    canvas.print_figure(stream, format="png", dpi=DPI, metadata={"Software": None}, facecolor=PAPER)
    return stream.getvalue()


def _draw_lane(axes: Axes, picture: LanePicture, camera: Camera) -> None:
    height, width = picture.hidden.shape
    rgb = picture.bgr[..., ::-1].copy()
    v, u = np.mgrid[:height, :width]
    hatched = picture.hidden & ((u + v) % max(height // _HATCHES, 4) == 0)
    rgb[hatched] = (rgb[hatched].astype(np.uint16) * 2 // 3 + 80).clip(0, 255).astype(np.uint8)
    for half, colour in ((_HALF_LANE_IN + GUTTER_WIDTH_IN, GUTTER), (_HALF_LANE_IN, LANE_TINT)):
        axes.add_patch(Polygon(strip_outline_px(camera, half), facecolor=colour, edgecolor="none", zorder=0))
    edge = Polygon(strip_outline_px(camera, _HALF_LANE_IN), facecolor="none", edgecolor=INK, linewidth=0.8, zorder=1)
    axes.add_patch(edge)
    extent = (picture.left, picture.left + width, picture.top + height, picture.top)
    image = axes.imshow(rgb, extent=extent, interpolation="antialiased", zorder=0.5)
    image.set_clip_path(edge)
    axes.set(xlim=extent[:2], ylim=extent[2:])
    axes.set_aspect("equal", anchor="C")
    axes.set_axis_off()
    axes.add_patch(Polygon(_pin_space(camera), facecolor=GUTTER, edgecolor="none", zorder=0))
    for x, y in pin_positions()[::-1]:
        axes.add_patch(Polygon(_pin_outline(camera, x, y), facecolor=PIN, edgecolor=PIN_EDGE, linewidth=0.6, zorder=2))
    for feet in range(0, 61, 10):
        _draw_tick(axes, camera, feet)


def _pin_space(camera: Camera) -> Array:
    """Pixels ``(4, 2)`` of the upright field behind the last row of pins."""
    y = float(pin_positions()[:, 1].max())
    ends = ((-1, 0.0), (1, 0.0), (1, PIN_HEIGHT_IN), (-1, PIN_HEIGHT_IN))
    return camera.project(np.array([(side * _HALF_LANE_IN, y, z) for side, z in ends]))


def _pin_outline(camera: Camera, x_in: float, y_in: float) -> Array:
    """Outline of a pin in pixels ``(n, 2)``, as seen from straight before it."""
    z = np.linspace(0.0, PIN_HEIGHT_IN, 16)
    radius = pin_radius_in(z)
    x = np.concatenate([x_in - radius, x_in + radius[::-1]])
    return camera.project(np.stack([x, np.full_like(x, y_in), np.concatenate([z, z[::-1]])], axis=-1))


def _draw_tick(axes: Axes, camera: Camera, feet: int) -> None:
    half, y = _HALF_LANE_IN, feet * INCHES_PER_FOOT
    ends = camera.project(np.array([(-half, y, 0.0), (half, y, 0.0), (-half - GUTTER_WIDTH_IN - 1.5, y, 0.0)]))
    axes.plot(ends[:2, 0], ends[:2, 1], color=INK, linewidth=2.0 if feet == 0 else 0.7, alpha=0.75, zorder=1)
    if feet < 60:
        words = "foul line" if feet == 0 else f"{feet} ft"
        u, v = ends[2]
        axes.text(u, v, words, color=INK, fontsize=8, va="center", ha="right", zorder=3, clip_on=False, **_FONT)


def _on_lane(camera: Camera, board: Array, distance_ft: Array, hand: Hand) -> Array:
    """Pixels ``(n, 2)`` of places on the lane's surface under the ball's centre."""
    x = x_from_board(board, hand)
    y = np.asarray(distance_ft, dtype=np.float64) * INCHES_PER_FOOT
    return camera.project(np.stack([x, y, np.zeros_like(y)], axis=-1))


def _draw_path(axes: Axes, path: PathTable, camera: Camera, *, hand: Hand, markers: Sequence[Marker]) -> None:
    sides = [_on_lane(camera, path.board + s * 2 * path.board_u, path.distance_ft, hand) for s in (-1, 1)]
    outline = np.concatenate([sides[0], sides[1][::-1]])
    outline = outline[np.isfinite(outline).all(axis=1)]
    axes.add_patch(Polygon(outline, facecolor=BAND, edgecolor="none", alpha=0.6, zorder=4))
    middle = _on_lane(camera, path.board, path.distance_ft, hand)
    axes.plot(*middle.T, color=CASING, linewidth=3.4, alpha=0.8, zorder=5, solid_capstyle="round")
    axes.plot(*middle.T, color=PATH, linewidth=1.7, zorder=6, solid_capstyle="round")
    for marker in markers:
        place = _on_lane(camera, np.array([marker.board]), np.array([marker.distance_ft]), hand)
        axes.plot(*place.T, marker.symbol, color=MARKER, markeredgecolor=INK, markersize=7.5, zorder=8)


def _draw_words(
    figure: Figure, views: tuple[Axes, Axes], markers: Sequence[Marker], *, camera: Camera, hand: Hand
) -> None:
    """Write the markers' values between the two views, with a thin line to their place in each."""
    left, right = views
    left.apply_aspect()
    to_figure = figure.transFigure.inverted()
    places = []
    for marker in markers:
        pixel = _on_lane(camera, np.array([marker.board]), np.array([marker.distance_ft]), hand)[0]
        on_left = to_figure.transform(left.transData.transform(pixel))
        places.append((on_left, to_figure.transform(right.transData.transform((marker.board, marker.distance_ft)))))
    heights = spread([on_right[1] for _, on_right in places], least_gap=_LEAST_GAP, within=(0.12, 0.885))
    for marker, height, (on_left, on_right) in zip(markers, heights, places, strict=True):
        for start, place in ((_WORDS_X[0] - 0.006, on_left), (_WORDS_X[1] + 0.006, on_right)):
            line = Line2D([start, place[0]], [height, place[1]], color=INK, linewidth=0.6, alpha=0.5)
            figure.add_artist(line)
        figure.text(_WORDS_X[0], height + 0.002, marker.name, color=INK, fontsize=10, weight="bold", **_FONT)
        figure.text(_WORDS_X[0], height - 0.020, marker.words, color=INK, fontsize=9, **_FONT)


def _draw_titles(figure: Figure, shot: ShotResult, picture: LanePicture) -> None:
    side = f"{shot.hand}-hander" if shot.hand else "hand not known, boards from the right"
    status = shot.status if not shot.reason else f"{shot.status}: {describe(shot.reason).title}"
    figure.text(0.02, 0.953, writable(shot.shot_id), color=INK, fontsize=15, weight="bold", **_FONT)
    figure.text(0.02, 0.925, f"{side}, {status}", color=INK, fontsize=10, **_FONT)
    titles = "; ".join(describe(code).title for code in shot.flags[:6])
    figure.text(0.98, 0.953, titles, color=INK, fontsize=9, ha="right", **_FONT)
    lane = (
        "Hatched: covered in this clip, left out."
        if picture.photo
        else "Lane drawn: too little of it is free in this clip."
    )
    words = f"Band: 2 standard uncertainties; ±: one. Dots: measured frames; hollow: carried by the model. {lane}"
    figure.text(0.02, 0.022, words, color=INK, fontsize=9, **_FONT)
    figure.add_artist(Line2D([0.02, 0.98], [0.05, 0.05], color=FAINT, linewidth=0.8))
