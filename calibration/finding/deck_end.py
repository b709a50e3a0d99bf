"""Where the pin deck ends before the pit: a mark at the far end that needs no pin to stand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.finding.pins import STANDING
from calibration.finding.profiles import STRAY_PX, Profiles, covered, profiles_of
from calibration.finding.sampling import MAD_PER_SIGMA
from calibration.lane import DECK_END_IN, LANE_WIDTH_IN, pin_positions
from calibration.observations import LanePoint

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]

NAME = "deck_end"
_TAIL_PLANK_IN, _PLACE_SD_IN = 1.0, 1.0
"""A tail plank of up to 2 in may lie behind the deck's end (dimensions: ``tail_plank``, ``deck_end``): its middle, and
the standard deviation of plank and tolerance together."""
_STATIONS = 32
_MARGIN_IN, _PIN_HIDES_IN = 1.5, 4.0
_FEWEST = 14
_ALONE_IN = 16.0
"""How far another line that is taken for the deck's end usually lies from it (own estimate)."""
_SIDEWAYS_PX = 300.0
"""Standard deviation that keeps the line from telling where the lane is sideways."""
_COMMON_PX = 0.5
_CLEAR = 4.0
_RIVAL = 0.7
"""Another step this strong within reach makes it unclear which of them is the deck's end."""
_ALIKE_SHARE = 0.6
_APART_PX = 2.0


def deck_end(
    luma: Image, camera: Camera, reach_px: float, likeness: Array, *, hidden: Mask | None = None
) -> LanePoint | None:
    """The end of the deck within ``reach_px`` of where a camera expects it; None where it is not clear.

    Parameters
    ----------
    luma : uint8 array of shape (H, W)
    camera : Camera
    reach_px : float
    likeness : array of shape (10,)
        How pin-like the ten places look: pins hide what is behind them.
    hidden : bool array of shape (H / 8, W / 8), optional
        Where somebody stands.
    """
    half = LANE_WIDTH_IN / 2 - _MARGIN_IN
    x = np.linspace(-half, half, _STATIONS)
    points = np.stack([x, np.full_like(x, DECK_END_IN + _TAIL_PLANK_IN), np.zeros_like(x)], axis=1)
    profiles = profiles_of(luma, camera, points, step_in=np.array([1.0, 0.0, 0.0]), reach_px=reach_px)
    free = np.isfinite(profiles.slope).all(axis=1) & ~covered(hidden, profiles.at) & ~_behind_pins(camera, x, likeness)
    if free.sum() < _FEWEST:
        return None
    offset = _step(profiles.slope[free], profiles.offset_px)
    if offset is None:
        return None
    return _point(camera, profiles, offset)


def unconfirmed(end: LanePoint, camera: Camera) -> LanePoint:
    """The deck's end where no pin tells the same: more often than not a shadow or a ledge stands out more clearly."""
    further = camera.project([(0.0, DECK_END_IN + s * _ALONE_IN, 0.0) for s in (0.0, 1.0)])[:, 1]
    return replace(end, sigma_v_px=float(np.hypot(end.sigma_v_px or end.sigma_px, abs(further[1] - further[0]))))


def _behind_pins(camera: Camera, x: Array, likeness: Array) -> NDArray[np.bool_]:
    """Which places ``(n,)`` of the deck's end lie behind a standing pin."""
    pins = pin_positions()[likeness > STANDING]
    share = (DECK_END_IN - camera.y_in) / (pins[:, 1] - camera.y_in)
    seen = camera.x_in + (pins[:, 0] - camera.x_in) * share
    return np.asarray((np.abs(x[:, None] - seen[None]) < _PIN_HIDES_IN).any(axis=1))


def _step(slope: Array, offset: Array) -> float | None:
    """Place of the one step that most stations ``(n, k)`` share, pixels; None where none or another is as clear."""
    shape = np.median(slope, axis=0)
    noise = max(float(np.median(np.abs(slope))) / MAD_PER_SIGMA, 0.15)
    k = int(np.argmax(np.abs(shape)))
    if abs(shape[k]) < _CLEAR * noise / np.sqrt(len(slope)) or k in (0, len(shape) - 1):
        return None
    sign = np.sign(shape[k])
    own = np.abs(offset - offset[k]) <= _APART_PX
    if (np.abs(shape[~own]) > _RIVAL * abs(shape[k])).any():
        return None
    window = np.where(np.abs(offset - offset[k]) <= STRAY_PX, sign * slope, -np.inf)
    alike = (window.max(axis=1) > 0.4 * abs(shape[k])).mean()
    if alike < _ALIKE_SHARE:
        return None
    weight = np.maximum(sign * shape, 0.0) * own
    return float(np.sum(weight * offset) / np.sum(weight))


def _point(camera: Camera, profiles: Profiles, offset: float) -> LanePoint:
    middle = (0.0, DECK_END_IN + _TAIL_PLANK_IN, 0.0)
    at = camera.project(middle)
    u, v = (float(c) for c in at + offset * profiles.across[len(profiles.across) // 2])
    inch = float(np.median(profiles.inch_px))
    return LanePoint(NAME, middle, u, v, _SIDEWAYS_PX, sigma_v_px=float(np.hypot(_COMMON_PX, _PLACE_SD_IN * inch)))
