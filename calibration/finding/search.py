"""Rough cameras: which vanishing point, foul line, pair of edges and focal length agree with pins on the deck."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.finding.deck import pin_likeness, pins_before, pins_of
from calibration.finding.fan import (
    APPROACH_SHARES,
    END_SHARES,
    FULL_EDGE,
    GUTTER_SHARE,
    Fan,
    Strip,
    edge_peaks,
    fan_of,
    strips_of,
)
from calibration.finding.lines import AcrossLine, Segments, across_lines, find_segments, vanishing_points
from calibration.finding.pose import Poses, camera_of, poses_of
from calibration.lane import GUTTER_WIDTH_IN, HEAD_PIN_IN, LANE_WIDTH_IN, PIN_HEIGHT_IN

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

SCAN_SIDE_PX = 960
"""Pins are looked for on a picture of at most this size, where a step of the ladder moves the deck by under a pixel."""

_FOCAL_SHARES = (0.45, 6.0)
_FOCAL_STEP = 0.01
_STRIPS = 48
_FOUL_LINES = 4
_LEAST_STRIP = 38.0
"""A single edge that is clear all the way gives the likeliest pair of edges that much, a lane's two about 150."""
_CLEAR_PINS = 5.0
"""Pin evidence (:func:`calibration.finding.deck.pins_of`) from which a deck is clear: a full rack gives 7 to 10, a
leave one a pin."""
_LEAST_ROOM = 0.08
"""A lane takes at least this share of the picture's height between vanishing point and foul line."""
_LEAST_PINS, _CHANCE_PINS = 1.2, 1.0
_CLEAR_END = 25.0
_NO_FOUL_LINE = 100.0
"""Two lanes whose edges go on this clearly across what was taken for the foul line show that it is none; one may be in
line with seams of its approach."""
_CLEAR_LINES = 3.6
"""What edges and gutters together must say for the search to end: 6 where all are clear, 2 by chance."""
_LANES = 4
_VOTERS = 12
_LANE_SPACING_IN = LANE_WIDTH_IN + 2 * GUTTER_WIDTH_IN - 4.0
"""Lanes with their gutters do not overlap; a little is left for a first camera's error."""
_EDGE_SLACK_PX = 4.0
_STRONG_EDGE = 14.0
_EDGE_WORTH = 0.04
_ODD_END_WORTH = 1.0
_FEW_PINS = 2.5
_HEIGHT_IN = (2.0, 150.0)
_USUAL_HEIGHT_IN = (30.0, 112.0)
_ODD_HEIGHT = 3.0
"""What an unusual height of the camera must be made up for with, in pins."""
_NESTED = 3.0
"""The same for a strip that holds another lane: more than what chance finds of pins on a wall."""
_BEHIND_IN = (12.0, 720.0)
_LEAST_PIN_PX = 5.0
"""Height of a pin in the scanned picture below which the template would see a blur."""


@dataclass(frozen=True, slots=True)
class Rough:
    """A first camera of one lane.

    Attributes
    ----------
    camera : Camera
        In that lane's own frame, a pinhole.
    pins : float
        Sum over the ten places of how far the likeness is above chance, squared: 0 to 10.
    edges : (float, float)
        How clear the left and the right edge are, 0 to 60.
    gutters : (float, float)
        The same for the gutters' outer edges.
    odd_end : float
        How much its edges go on on the near side of the foul line, or end before they reach it, 0 to 180: what was
        taken for the foul line is another line.
    """

    camera: Camera
    pins: float
    edges: tuple[float, float]
    gutters: tuple[float, float]
    odd_end: float = 0.0

    @property
    def score(self) -> float:
        """Everything that speaks for this lane."""
        odd = not _USUAL_HEIGHT_IN[0] < self.camera.z_in < _USUAL_HEIGHT_IN[1]
        lines = sum(self.edges) + 0.5 * sum(self.gutters) - _ODD_END_WORTH * self.odd_end
        return self.pins + _EDGE_WORTH * lines - _ODD_HEIGHT * odd


@dataclass(frozen=True, slots=True)
class View:
    """What the picture shows before any lane is known: segments, vanishing points, best first."""

    segments: Segments
    points: list[Array]


def view_of(luma: Image) -> View:
    """Segments and vanishing points of a picture ``(H, W)``."""
    segments = find_segments(luma)
    return View(segments, vanishing_points(segments, (luma.shape[0], luma.shape[1])))


def rough_lanes(luma: Image, view: View) -> list[Rough]:
    """Every lane for which edges, foul line and pins agree, clearest first; empty when nothing looks like one."""
    best: list[Rough] = []
    for point in view.points[:2]:
        for foul in across_lines(view.segments, point, _FOUL_LINES):
            if foul.v_at(point[0]) - point[1] < _LEAST_ROOM * luma.shape[0]:
                continue
            found = _lanes_of(luma, point, foul)
            if found and (not best or found[0].score > best[0].score):
                best = found
            clear = best and best[0].pins >= _CLEAR_PINS and best[0].score - best[0].pins > _CLEAR_LINES
            if clear and best[0].odd_end < _CLEAR_END:
                return best
    return best


def _lanes_of(luma: Image, point: Array, foul: AcrossLine) -> list[Rough]:
    fan = fan_of(luma, point, foul)
    strips = strips_of(fan, _STRIPS)
    if not strips or strips[0].score < _LEAST_STRIP:
        return []
    first = _clearest(luma, fan, strips)
    if first is None:
        return []
    fans = fan_of(luma, point, foul, APPROACH_SHARES), fan_of(luma, point, foul, END_SHARES)
    lanes = [replace(lane, odd_end=_odd_end(*fans, lane)) for lane in _siblings(luma, fan, first)]
    if sum(lane.odd_end > _NO_FOUL_LINE for lane in lanes) > 1:
        return []
    return sorted(lanes, key=lambda lane: -lane.score)


def _odd_end(approach: Fan, end: Fan, lane: Rough) -> float:
    """How clear both edges of a lane are on the approach, and how far from clear all its lines are before it."""
    half, outer = LANE_WIDTH_IN / 2, LANE_WIDTH_IN / 2 + GUTTER_WIDTH_IN
    t = lane.camera.project([[x, 0.0, 0.0] for x in (-half, half, -outer, outer)])[:, 0]
    beyond = [abs(approach.at(float(v), _EDGE_SLACK_PX)) for v in t[:2]]
    before = [abs(end.at(float(v), _EDGE_SLACK_PX)) for v in t if end.t_px[0] < v < end.t_px[-1]]
    # one of the four may be a seam of the approach that goes on where the lane has ended
    second = sorted(before)[-2] if len(before) > 1 else FULL_EDGE
    return 2.0 * min(beyond) + FULL_EDGE - second


def _corners(foul: AcrossLine, strips: list[Strip]) -> Array:
    t = np.array([[s.left_px, s.right_px] for s in strips])
    return np.stack([t, foul.v_at(t)], axis=-1)


def _clearest(luma: Image, fan: Fan, strips: list[Strip]) -> Rough | None:
    """The strip and focal length whose deck looks most like pins, a vote over all strips for the focal length."""
    scale = min(1.0, SCAN_SIDE_PX / max(luma.shape))
    small = luma
    if scale < 1.0:
        resized = cv2.resize(luma, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        small = np.asarray(resized, dtype=np.uint8)
    size = (luma.shape[1] * scale, luma.shape[0] * scale)
    low, high = np.log(np.array(_FOCAL_SHARES) * max(size))
    focals = np.exp(np.arange(low, high, _FOCAL_STEP))
    corners = _corners(fan.foul, strips)
    poses = poses_of(fan.point * scale, corners * scale, focals, (size[0], size[1]))
    likeness = pin_likeness(small, poses)
    usable = _usable(poses) & np.isfinite(likeness).all(axis=-1)
    pins = np.where(usable, pins_of(likeness), 0.0)
    height = poses.place_in[..., 2]
    odd = (height < _USUAL_HEIGHT_IN[0]) | (height > _USUAL_HEIGHT_IN[1])
    lines = np.array([s.score for s in strips])
    worth = _EDGE_WORTH * lines - _NESTED * _nested(corners[:, :, 0], lines)
    score = np.where(usable, pins + worth[:, None] - _ODD_HEIGHT * odd, -np.inf)
    chosen = _voted(pins, score, corners[:, :, 0])
    if chosen is None:
        return None
    p, f = chosen
    left, right = corners[p]
    camera = camera_of(fan.point, left, right, f_px=float(focals[f] / scale), size=(luma.shape[1], luma.shape[0]))
    return None if camera is None else _rough(fan, camera, float(pins[p, f]))


def _nested(sides: Array, lines: Array) -> NDArray[np.bool_]:
    """Which strips ``(p,)`` hold another that is clearer: two lanes taken for one, or a lane with its gutters."""
    slack = 0.5 * GUTTER_SHARE * np.diff(sides, axis=1)
    inside = (sides[None, :, 0] > sides[:, None, 0] - slack) & (sides[None, :, 1] < sides[:, None, 1] + slack)
    narrower = np.diff(sides, axis=1)[None, :, 0] < np.diff(sides, axis=1) - slack
    return np.asarray((inside & narrower & (lines[None] > lines[:, None])).any(axis=1))


def _voted(pins: Array, score: Array, sides: Array) -> tuple[int, int] | None:
    """Strip and focal length for which the strips beside one another together look most like lanes with pins.

    ``pins`` and ``score`` are ``(p, f)``, ``sides`` the strips' left and right columns ``(p, 2)``. None where no focal
    length has a strip with pins.
    """
    apart = GUTTER_SHARE * np.diff(sides, axis=1)
    clash = (sides[:, None, 0] < sides[None, :, 1] + apart) & (sides[None, :, 0] < sides[:, None, 1] + apart)
    best, most = None, -np.inf
    for f in np.flatnonzero(pins.max(axis=0) >= _LEAST_PINS):
        free = np.isfinite(score[:, f])
        total, first = 0.0, -1
        for p in np.argsort(-score[:, f], kind="stable")[:_VOTERS]:
            if free[p] and pins[p, f] >= _LEAST_PINS:
                total += float(score[p, f]) if first < 0 else float(pins[p, f]) - _CHANCE_PINS
                first = int(p) if first < 0 else first
                free &= ~clash[p]
        if first >= 0 and total > most:
            best, most = (first, int(f)), total
    return best


def _usable(poses: Poses) -> NDArray[np.bool_]:
    """Poses ``(p, f)`` where somebody could have filmed and where pins are large enough to be seen."""
    behind, height = -poses.place_in[..., 1], poses.place_in[..., 2]
    pin_px = poses.f_px * PIN_HEIGHT_IN / (HEAD_PIN_IN + behind)
    usable = (height > _HEIGHT_IN[0]) & (height < _HEIGHT_IN[1]) & (pin_px > _LEAST_PIN_PX)
    return np.asarray(usable & (behind > _BEHIND_IN[0]) & (behind < _BEHIND_IN[1]))


def _rough(fan: Fan, camera: Camera, pins: float) -> Rough:
    half = LANE_WIDTH_IN / 2
    places = np.array([[x, 0.0, 0.0] for x in (-half, half, -half - GUTTER_WIDTH_IN, half + GUTTER_WIDTH_IN)])
    t = camera.project(places)[:, 0]
    slack = 0.15 * GUTTER_SHARE * abs(t[1] - t[0])
    edges = [abs(fan.at(float(v), min(_EDGE_SLACK_PX, slack))) for v in t[:2]]
    gutters = [abs(fan.at(float(v), slack)) for v in t[2:]]
    return Rough(camera, pins, (edges[0], edges[1]), (gutters[0], gutters[1]))


def _siblings(luma: Image, fan: Fan, first: Rough) -> list[Rough]:
    """The lanes of the same camera: every clear edge taken for a left and for a right one."""
    camera = first.camera
    peaks = np.array([[t, float(fan.foul.v_at(t))] for t in fan.t_px[edge_peaks(fan)]]).reshape(-1, 2)
    sides = camera.back_project(peaks, 0.0)[:, 0] if len(peaks) else np.zeros(0)
    half = LANE_WIDTH_IN / 2
    centres = np.concatenate([sides + half, sides - half])
    found = [first]
    lanes = [_lane_at(luma, fan, camera, float(x)) for x in centres[np.isfinite(centres)]]
    for lane in sorted((one for one in lanes if one is not None), key=lambda one: -one.score):
        if all(abs(lane.camera.x_in - other.camera.x_in) > _LANE_SPACING_IN for other in found):
            found.append(lane)
    return found[:_LANES]


def _lane_at(luma: Image, fan: Fan, camera: Camera, x_in: float) -> Rough | None:
    """The lane whose middle is ``x_in`` to the right of the camera's own, if its pins or edges speak for it."""
    moved = camera.with_vector([camera.x_in - x_in, *camera.vector[1:]])
    if abs(x_in) < _LANE_SPACING_IN:
        return None
    pins = pins_before(luma, moved)
    rough = _rough(fan, moved, pins)
    sides = [min(edge, gutter) > _STRONG_EDGE for edge, gutter in zip(rough.edges, rough.gutters, strict=True)]
    return rough if all(sides) or (any(sides) and pins > _LEAST_PINS) or pins > _FEW_PINS else None
