"""Rough cameras: which vanishing point, foul line, pair of edges and focal length agree with pins on the deck."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.finding.deck import pins_beside
from calibration.finding.ends import FoulLine, foul_lines, going_on
from calibration.finding.fan import (
    GUTTER_SHARE,
    Fan,
    edge_peaks,
    fan_of,
    strips_of,
)
from calibration.finding.ladder import EDGE_WORTH, LANE_SPACING_IN, ODD_HEIGHT, USUAL_HEIGHT_IN, Rung, rungs
from calibration.finding.lines import Segments, find_segments, vanishing_points
from calibration.finding.pose import camera_of
from calibration.finding.rivals import SAME_IN, likeliest
from calibration.lane import GUTTER_WIDTH_IN, LANE_WIDTH_IN

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

SCAN_SIDE_PX = 960
"""Pins are looked for on a picture of at most this size, where a step of the ladder moves the deck by under a pixel."""

_STRIPS = 48
_FOUL_LINES = 3
_LEAST_RIVAL, _CLEAR_RIVAL = 0.2, 0.35
"""Shares of the best line's worth below which another is not tried at all, and not where the best one gives a lane."""
_LEAST_FOUL = 4.0
"""Worth of a foul line: each lane's line that ends at it gives 1 to 6."""
_CLEAR_SCORE = 12.0
_ALIKE_SCORE, _ALIKE_FOCAL = 0.75, 0.03
"""Lanes with this share of the best one's score and nearly its focal length are lanes of the same house."""
_LEAST_STRIP = 38.0
"""A single edge that is clear all the way gives the likeliest pair of edges that much, a lane's two about 150."""
_LEAST_PINS = 1.2
_PIN_LINES = 10.0
"""What a pin is worth beside the clearness of lines (own choice): chance finds up to two pins on a wall."""
_NO_FOUL_LINE, _LEAST_ENDS = 0.5, 2
"""What was taken for the foul line is none where half of the lanes' lines go on by more than this share of their step,
or where fewer than two are seen to reach it. At true foul lines half of them go on by less than 0.25."""
_ON_WORTH, _FOUL_WORTH = 15.0, 6.0
"""What lines that go on all by their whole step cost, and what a line with e times as many ends is worth, in pins."""
_LANES = 4
_EDGE_SLACK_PX = 4.0
_STRONG_EDGE = 14.0
_FEW_PINS = 2.5


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
    """

    camera: Camera
    pins: float
    edges: tuple[float, float]
    gutters: tuple[float, float]
    rival: float = 0.0

    @property
    def score(self) -> float:
        """Everything that speaks for this lane."""
        odd = not USUAL_HEIGHT_IN[0] < self.camera.z_in < USUAL_HEIGHT_IN[1]
        lines = sum(self.edges) + 0.5 * sum(self.gutters)
        return self.pins + EDGE_WORTH * lines - ODD_HEIGHT * odd


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
    most = -np.inf
    small = scanned(luma)
    fouls = foul_lines(*small, view.segments, view.points[:2])
    for k, foul in enumerate(fouls[:_FOUL_LINES]):
        if foul.worth < max(_LEAST_FOUL, _LEAST_RIVAL * fouls[0].worth):
            break
        found = _lanes_of(luma, small, foul)
        total = found.score - _ON_WORTH * found.goes_on + _FOUL_WORTH * np.log(foul.worth / fouls[0].worth)
        if found.lanes and total > most:
            best, most = found.lanes, total
        beyond = fouls[k + 1].worth if k + 1 < len(fouls) else 0.0
        if most > _CLEAR_SCORE and beyond < _CLEAR_RIVAL * fouls[0].worth:
            break
    return best


def scanned(luma: Image) -> tuple[Image, float]:
    """The picture at the size at which it is scanned, and its scale."""
    scale = min(1.0, SCAN_SIDE_PX / max(luma.shape))
    if scale == 1.0:
        return luma, scale
    resized = cv2.resize(luma, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return np.asarray(resized, dtype=np.uint8), scale


@dataclass(frozen=True, slots=True)
class _Lanes:
    """Lanes before one foul line, all that speaks for them, and how much of their lines goes on beyond it, 0 to 1."""

    lanes: list[Rough]
    score: float = 0.0
    goes_on: float = 0.0


def _lanes_of(luma: Image, small: tuple[Image, float], foul: FoulLine) -> _Lanes:
    """The lanes before one foul line, clearest first; none where their lines go on beyond it, or do not reach it."""
    fan = fan_of(luma, foul.point, foul.line)
    strips = strips_of(fan, _STRIPS)
    if not strips or strips[0].score < _LEAST_STRIP:
        return _Lanes([])
    found = rungs(*small, fan, strips)
    rough = _first(luma, fan, found) if found else None
    if rough is None:
        return _Lanes([])
    lanes = _siblings(luma, fan, rough)
    beyond = np.concatenate([going_on(*small, foul, _lines_of(lane.camera)) for lane in lanes])
    beyond = beyond[np.isfinite(beyond)]
    if len(beyond) < _LEAST_ENDS or np.median(beyond) > _NO_FOUL_LINE:
        return _Lanes([])
    return _Lanes(sorted(lanes, key=lambda lane: -lane.score), found[0].score, float(np.median(beyond)))


def _lines_of(camera: Camera) -> Array:
    """Columns ``(4,)`` where a lane's edges, then its gutters', meet the foul line, left before right."""
    half, outer = LANE_WIDTH_IN / 2, LANE_WIDTH_IN / 2 + GUTTER_WIDTH_IN
    return camera.project([[x, 0.0, 0.0] for x in (-half, half, -outer, outer)])[:, 0]


def _first(luma: Image, fan: Fan, found: list[Rung]) -> Rough | None:
    """Of the lanes that speak almost equally clearly for one focal length the one nearest to the frame's middle."""
    middle = luma.shape[1] / 2
    alike: list[Rung] = []
    for rung in found:
        free = all(rung.strip.right_px < one.strip.left_px or rung.strip.left_px > one.strip.right_px for one in alike)
        same = abs(np.log(rung.f_px / found[0].f_px)) < _ALIKE_FOCAL
        if free and same and rung.score > _ALIKE_SCORE * found[0].score:
            alike.append(rung)
    rung = min(alike, key=lambda rung: abs((rung.strip.left_px + rung.strip.right_px) / 2 - middle))
    t = np.array([rung.strip.left_px, rung.strip.right_px])
    left, right = np.stack([t, fan.foul.v_at(t)], axis=-1)
    camera = camera_of(fan.point, left, right, f_px=rung.f_px, size=(luma.shape[1], luma.shape[0]))
    return None if camera is None else _rough(fan, camera, rung.pins)


def _rough(fan: Fan, camera: Camera, pins: float) -> Rough:
    t = _lines_of(camera)
    slack = 0.15 * GUTTER_SHARE * abs(t[1] - t[0])
    edges = [abs(fan.at(float(v), min(_EDGE_SLACK_PX, slack))) for v in t[:2]]
    gutters = [abs(fan.at(float(v), slack)) for v in t[2:]]
    return Rough(camera, pins, (edges[0], edges[1]), (gutters[0], gutters[1]))


def _siblings(luma: Image, fan: Fan, first: Rough) -> list[Rough]:
    """The lanes of the same camera, nearest first: every clear edge taken for a left and for a right one."""
    camera = first.camera
    peaks = np.array([[t, float(fan.foul.v_at(t))] for t in fan.t_px[edge_peaks(fan)]]).reshape(-1, 2)
    sides = camera.back_project(peaks, 0.0)[:, 0] if len(peaks) else np.zeros(0)
    half = LANE_WIDTH_IN / 2
    centres = np.concatenate([sides + half, sides - half])
    centres = centres[np.abs(centres) > SAME_IN]
    pins = pins_beside(luma, camera, centres)
    lanes = [_lane_at(fan, camera, float(x), float(p)) for x, p in zip(centres, pins, strict=True)]
    left = sorted((one for one in (first, *lanes) if one is not None), key=lambda one: -_clearness(one))
    found: list[Rough] = []
    while left:
        alike = [one for one in left if _apart_in(one, left[0]) < LANE_SPACING_IN]
        index, rival = likeliest(luma, [one.camera for one in alike], [_clearness(one) for one in alike])
        found.append(replace(alike[index], rival=rival))
        left = [one for one in left if _apart_in(one, found[-1]) > LANE_SPACING_IN]
    return sorted(found, key=lambda one: abs(one.camera.x_in - camera.x_in))[:_LANES]


def _apart_in(one: Rough, other: Rough) -> float:
    return abs(one.camera.x_in - other.camera.x_in)


def _clearness(lane: Rough) -> float:
    """What tells a lane from the one a gutter's width beside it: its lines first, pins as far as they are no chance."""
    return sum(lane.edges) + 0.5 * sum(lane.gutters) + _PIN_LINES * max(lane.pins - _LEAST_PINS, 0.0)


def _lane_at(fan: Fan, camera: Camera, x_in: float, pins: float) -> Rough | None:
    """The lane whose middle is ``x_in`` to the right of the camera's own, if its pins or edges speak for it."""
    moved = camera.with_vector([camera.x_in - x_in, *camera.vector[1:]])
    rough = _rough(fan, moved, pins)
    sides = [min(edge, gutter) > _STRONG_EDGE for edge, gutter in zip(rough.edges, rough.gutters, strict=True)]
    return rough if all(sides) or (any(sides) and pins > _LEAST_PINS) or pins > _FEW_PINS else None
