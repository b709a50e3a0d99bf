"""Sub-pixel places of the foul line: the middle of its band, by what its profile looks like all along it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.finding.profiles import POINT_PX, STEP_PX, STRAY_PX, Profiles, covered, profiles_of
from calibration.finding.sampling import top_of
from calibration.lane import FOUL_LINE_WIDTH_MAX_IN, LANE_WIDTH_IN
from calibration.observations import EdgePoint

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]

FOUL_STATIONS = 40
_ALIKE = 0.8
_OTHER_STEP = 0.15
"""A band's weaker step has at least this share of the other's energy: less is blur or sharpening beside one step."""
_FRAME_SHARE = (0.01, 0.99)


def foul_points(luma: Image, camera: Camera, reach_px: float, *, hidden: Mask | None = None) -> list[EdgePoint]:
    """Points on the foul line, the middle of its band, within ``reach_px`` of where a camera expects it.

    The line is a band of some unknown width, or only the seam between approach and lane: the middle between the two
    steps of the band, or the one step, is its place, uncertain by the band's width.
    """
    x, own = _foul_places(camera)
    points = np.stack([x, np.zeros_like(x), np.zeros_like(x)], axis=1)
    inch = float(np.ptp(camera.project([[0.0, 0.0, 0.0], [0.0, 1.0, 0.0]])[:, 1]))
    room = reach_px + 2.0 * (1.5 + 0.75 * FOUL_LINE_WIDTH_MAX_IN * inch)
    profiles = profiles_of(luma, camera, points, step_in=np.array([1.0, 0.0, 0.0]), reach_px=room)
    known = np.isfinite(profiles.slope).all(axis=1) & ~covered(hidden, profiles.at)
    usable = np.flatnonzero(known & own)
    if len(usable) < 6:
        return []
    pattern = np.median(profiles.slope[usable], axis=0)
    inside = np.abs(profiles.offset_px) <= reach_px + 1.0
    middle = _band_middle(pattern * inside, profiles, usable)
    near = np.abs(profiles.offset_px - middle) <= _band_px(profiles, int(usable[len(usable) // 2])) + 2.0
    lags = [(int(k), *_lag(profiles.slope[k], pattern, near)) for k in np.flatnonzero(known)]
    return [_foul_point(profiles, k, middle + lag) for k, lag, alike in lags if alike > _ALIKE and abs(lag) < STRAY_PX]


def _foul_places(camera: Camera) -> tuple[Array, NDArray[np.bool_]]:
    """Places along the foul line, inches: on the lane itself, and on as far as the frame goes; which are the lane's."""
    half = LANE_WIDTH_IN / 2
    ends = np.clip(camera.project([[-half, 0.0, 0.0], [half, 0.0, 0.0]])[:, 1], 1.0, camera.height - 1.0)
    corners = [[_FRAME_SHARE[0] * camera.width, ends[0]], [_FRAME_SHARE[1] * camera.width, ends[1]]]
    left, right = np.clip(np.nan_to_num(camera.back_project(corners, 0.0)[:, 0]), -400.0, 400.0)
    lane = np.linspace(-half, half, FOUL_STATIONS + 2)[1:-1]
    beyond = np.linspace(min(left, -half), max(right, half), 2 * FOUL_STATIONS)
    x = np.concatenate([lane, beyond[np.abs(beyond) > half]])
    return x, np.abs(x) < half


def _lag(slope: Array, pattern: Array, near: NDArray[np.bool_]) -> tuple[float, float]:
    """How far a profile lies beyond the pattern, pixels, and how alike they are there (correlation)."""
    ref = pattern[near]
    first, last = np.flatnonzero(near)[[0, -1]]
    reach = min(int(STRAY_PX / STEP_PX) + 1, first, len(slope) - 1 - last)
    if reach < 1:
        return 0.0, 0.0
    alike: list[float] = []
    for shift in range(-reach, reach + 1):
        part = slope[first + shift : last + 1 + shift]
        alike.append(float(part @ ref / max(float(np.linalg.norm(part) * np.linalg.norm(ref)), 1e-9)))
    k = int(np.argmax(alike))
    if k in (0, 2 * reach):
        return 0.0, 0.0
    return (k - reach + top_of(*alike[k - 1 : k + 2])) * STEP_PX, alike[k]


def _band_px(profiles: Profiles, k: int) -> float:
    return 1.5 + 0.75 * FOUL_LINE_WIDTH_MAX_IN * float(profiles.inch_px[k])


def _band_middle(pattern: Array, profiles: Profiles, usable: NDArray[np.intp]) -> float:
    """Middle of the strongest band that most of the line's stations share: between its two steps, or the one step."""
    reach, offset, energy = _band_px(profiles, int(usable[len(usable) // 2])), profiles.offset_px, pattern**2
    sums = (np.abs(offset[:, None] - offset[None]) <= reach) @ energy
    centre = offset[int(np.argmax(sums))]
    for _ in range(3):
        near = energy * (np.abs(offset - centre) <= reach)
        centre = float(np.sum(near * offset) / max(np.sum(near), 1e-9))
    near = energy * (np.abs(offset - centre) <= reach)
    rising, falling = near * (pattern > 0), near * (pattern < 0)
    if min(rising.sum(), falling.sum()) < _OTHER_STEP * max(rising.sum(), falling.sum(), 1e-9):
        return float(centre)
    steps = [float(np.sum(part * offset) / np.sum(part)) for part in (rising, falling)]
    return 0.5 * (steps[0] + steps[1])


def _foul_point(profiles: Profiles, k: int, offset: float) -> EdgePoint:
    u, v = profiles.at[k] + offset * profiles.across[k]
    band = FOUL_LINE_WIDTH_MAX_IN / 2 / np.sqrt(3) * float(profiles.inch_px[k])
    return EdgePoint("foul", float(u), float(v), POINT_PX, f"foul_{k + 1}", float(np.hypot(band, 0.3)))
