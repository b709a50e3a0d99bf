"""Sub-pixel places of the lane's edges and of the gutters', by the step of brightness across them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.finding import brink
from calibration.finding.profiles import POINT_PX, STEP_PX, STRAY_PX, Profiles, covered, profiles_of
from calibration.finding.sampling import MAD_PER_SIGMA, top_of
from calibration.finding.stretches import MOST, Steps, lane_ends
from calibration.lane import GUTTER_EDGE_IN, GUTTER_WIDTH_IN, INCHES_PER_FOOT, LANE_WIDTH_IN
from calibration.observations import EdgePoint, Side

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]

EDGE_SPAN_FT = (0.6, 57.5)
STATIONS = 44
_FLOOR_PX, _FLOOR_IN = 0.12, 0.03
"""How far a whole edge may look to be off: by blur and sharpening, by the rounding of its corner."""
_FEWEST = 5
_GUTTER_IN, _CAP_HEIGHT_IN = 0.2, 0.4
"""How far a gutter's outer edge may be from its place sideways, and the capping's top from the lane's level (own
estimates)."""
_PIECES_IN, _APART = 0.6, 0.5
_RAGGED, _SMOOTH_PX = 3.0, 0.15
_ONE_SIGN = 0.5
"""A sign that fewer of the free stations show is none of the edge's (own choice): shine makes the lane lighter than its
gutter in one place and darker in another."""
_LOOK_PX = 3.0
_PLAIN_WIDTH_PX, _RAMP, _LINE_PX = 2.0, 0.5, 0.8
"""Width at half height of a plain step's slope; how much of what a ramp is wider, and of a dark line's other side, is
doubt about the edge's place."""


def edge_points(
    luma: Image, camera: Camera, side: Side, reach_px: float, *, hidden: Mask | None = None
) -> list[EdgePoint]:
    """Points on one edge of the lane or of a gutter, found within ``reach_px`` of where a camera expects them.

    The sign of the step is the one that most of the edge shows; a station whose step lies elsewhere, is weak beside the
    noise or has the other sign is left out: somebody stands before it. Where no sign is that of half of the edge, but
    half has a step of one or the other, all stations are taken for where the lane ends: a box before it has neither.
    """
    y = _even_rows(camera)
    gutter = side.endswith("gutter")
    x = (GUTTER_EDGE_IN / camera.width_scale if gutter else LANE_WIDTH_IN / 2) * (-1 if side.startswith("left") else 1)
    points = np.stack([np.full_like(y, x), y, np.zeros_like(y)], axis=1)
    further = 0.0 if gutter else brink.SPAN_PX[1]
    wide = profiles_of(luma, camera, points, step_in=np.array([0.0, 6.0, 0.0]), reach_px=reach_px + further)
    profiles = _within(wide, reach_px)
    room = np.minimum(reach_px, 0.45 * GUTTER_WIDTH_IN * profiles.inch_px)
    room[covered(hidden, profiles.at)] = 0.0
    steps = _steps(profiles, room)
    free = max(int((room > 0).sum()), 1)
    share, ragged = len(steps.index) / free, _scatter(steps)
    if not gutter and share < _ONE_SIGN:
        either = _steps(replace(profiles, slope=np.abs(profiles.slope)), room)
        if len(either.index) >= _ONE_SIGN * free:
            steps = _everywhere(either, (room > 0) & np.isfinite(wide.value).all(axis=1))
    if len(steps.index) < _FEWEST:
        return []
    index, offset = steps.index, steps.offset_px
    common_in, doubt = _FLOOR_IN, np.zeros((len(index), 2))
    if gutter:
        common_in = float(np.hypot(_GUTTER_IN, _CAP_HEIGHT_IN * abs(x - camera.x_in) / camera.z_in))
        doubt[:, 0] = _unlike_step(profiles, index, offset)
    else:
        ends = lane_ends(luma, camera, wide, steps, edge_in=points[:, :2])
        offset, doubt[:, 1], common_in = ends.offset_px, ends.own_px, float(np.hypot(ends.common_in, _FLOOR_IN))
    pieces_px = _PIECES_IN * (1.0 - share) ** 2 * profiles.inch_px[index]
    doubt[:, 0] = np.sqrt(doubt[:, 0] ** 2 + pieces_px**2 + (common_in * profiles.inch_px[index]) ** 2)
    doubt[:, 1] = np.hypot(doubt[:, 1], _APART * pieces_px * np.sqrt(len(index) / MOST))
    return _points(profiles, index, offset, side=side, doubt_px=doubt, ragged=ragged)


def _scatter(steps: Steps) -> float:
    """Robust standard deviation of steps about a smooth curve, pixels; 0 where they are too few for one."""
    if len(steps.index) < _FEWEST:
        return 0.0
    curve = np.polynomial.Polynomial.fit(steps.index, steps.offset_px, 2)
    return float(np.median(np.abs(steps.offset_px - curve(steps.index))) / MAD_PER_SIGMA)


def _everywhere(steps: Steps, free: Mask) -> Steps:
    """Steps at all free stations ``(n,)``: those without a clear one where their neighbours have theirs."""
    index = np.flatnonzero(free)
    return Steps(index, np.interp(index, steps.index, steps.offset_px))


def _within(wide: Profiles, reach_px: float) -> Profiles:
    """The part of profiles that is within reach."""
    near = np.abs(wide.offset_px) <= reach_px + STEP_PX / 4
    return replace(wide, offset_px=wide.offset_px[near], value=wide.value[:, near], slope=wide.slope[:, near])


def _even_rows(camera: Camera) -> Array:
    """Distances in inches that are evenly spaced in the picture."""
    y = np.linspace(EDGE_SPAN_FT[0] * INCHES_PER_FOOT, EDGE_SPAN_FT[1] * INCHES_PER_FOOT, 200)
    seen = camera.project(np.stack([np.zeros_like(y), y, np.zeros_like(y)], axis=1))
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(seen, axis=0).T))])
    return np.asarray(np.interp(np.linspace(0, way[-1], STATIONS), way, y))


def _steps(profiles: Profiles, room: Array) -> Steps:
    """Stations with a clear step where most have it."""
    slope = np.where(np.abs(profiles.offset_px)[None] <= room[:, None], profiles.slope, np.nan)
    usable = np.isfinite(slope).sum(axis=1) >= 5
    if usable.sum() < 4:
        return Steps(np.zeros(0, dtype=np.int64), np.zeros(0))
    noise = np.nanmedian(np.abs(profiles.slope[usable])) / MAD_PER_SIGMA
    shift, sign = _common(slope[usable], profiles.offset_px)
    near = np.abs(profiles.offset_px - shift) <= STRAY_PX + 0.5
    window = np.where(near[None], sign * np.nan_to_num(slope), -np.inf)
    best = np.argmax(window, axis=1)
    clear = usable & (window[np.arange(len(best)), best] > max(0.5 * noise, 0.35))
    clear &= (best > 0) & (best < len(profiles.offset_px) - 1)
    index = np.flatnonzero(clear)
    offset = np.array([_top(sign * slope[k], int(best[k]), profiles.offset_px) for k in index])
    kept = np.abs(offset - shift) <= STRAY_PX
    return Steps(index[kept], offset[kept])


def _common(slope: Array, offset: Array) -> tuple[float, float]:
    """Where most stations have their step, and its sign."""
    bounded = np.clip(np.nan_to_num(slope), -6.0, 6.0).mean(axis=0)
    favour = np.exp(-0.5 * (offset / max(0.5 * offset[-1], 1.0)) ** 2)
    k = int(np.argmax(np.abs(bounded) * favour))
    return float(offset[k]), float(np.sign(bounded[k]) or 1.0)


def _top(values: Array, k: int, offset: Array) -> float:
    """Place of a maximum by the parabola through it and its neighbours."""
    return float(offset[k]) + top_of(*values[k - 1 : k + 2]) * STEP_PX


def _points(
    profiles: Profiles, index: NDArray[np.int64], offset: Array, *, side: Side, doubt_px: Array, ragged: float
) -> list[EdgePoint]:
    """Points of an edge; a ragged one may be another line, so its common error is larger."""
    points = []
    for k, o, (shared, own) in zip(index, offset, doubt_px, strict=True):
        u, v = profiles.at[k] + o * profiles.across[k]
        common = float(np.sqrt(_FLOOR_PX**2 + (_RAGGED * max(ragged - _SMOOTH_PX, 0.0)) ** 2 + shared**2))
        sigma = float(np.hypot(max(POINT_PX, ragged), own))
        points.append(EdgePoint(side, float(u), float(v), sigma, f"{side}_{k + 1}", common))
    return points


def _unlike_step(profiles: Profiles, index: NDArray[np.int64], offset: Array) -> float:
    """How far the place of an edge is in doubt by its looks, pixels: a ramp, or a dark line along it, is no plain step.

    Judged on the median profile of all stations, laid over one another: the width of the main peak of its slope, and
    the peak of the other sign beside it.
    """
    around = np.arange(-_LOOK_PX, _LOOK_PX + STEP_PX / 2, STEP_PX)
    slopes = np.nan_to_num(profiles.slope)
    rows = [np.interp(around + o, profiles.offset_px, slopes[k]) for k, o in zip(index, offset, strict=True)]
    shape = np.median(rows, axis=0)
    middle = len(around) // 2
    shape = shape * np.sign(shape[middle])
    half = shape >= shape[middle] / 2
    first = middle - int(np.argmin(half[middle::-1])) if not half[: middle + 1].all() else 0
    last = middle + int(np.argmin(half[middle:])) if not half[middle:].all() else len(around) - 1
    width = (last - first - 1) * STEP_PX
    other = max(-float(shape.min()), 0.0) / max(float(shape[middle]), 1e-9)
    return _RAMP * max(width - _PLAIN_WIDTH_PX, 0.0) + _LINE_PX * min(other, 1.0)
