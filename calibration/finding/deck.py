"""Where the pins stand: a pin-shaped template on the deck of many cameras at once."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.finding.pose import Poses
from calibration.finding.sampling import sampled
from calibration.lane import pin_positions, pin_radius_in

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

_INSIDE_HEIGHTS_IN = (2.5, 4.0, 5.5, 8.0, 11.5, 13.5)
_BESIDE_HEIGHTS_IN = (9.0, 10.0, 11.0)
_ABOVE_HEIGHTS_IN = (16.3, 17.6, 19.0)
_BESIDE_IN = 3.0
_CHANCE = 0.5
_LEAST_SPREAD, _LEAST_SHARE = 2.0, 0.05
"""Luma, and share of the picture's own range, below which what a template sees is as good as even: true pins stand out
by a fifth of the range and more (60 drawn views), what chance makes of a wall or hills by a fiftieth."""
_RANGE_STEP, _RANGE_SHARES = 4, (0.01, 0.99)
_NECK_SHARE = 0.5
"""A pin stands out against what is beside its neck at least this much of how it does against what is above it."""
_HEAD, _HEAD_SHARE = 4, 0.6
"""Points of the template in the pin's head, the last ones inside it, and how much of its body's contrast a head has at
least (own choice: lamps above light both alike, and blur takes a little from a head three pixels wide)."""


@lru_cache(maxsize=1)
def _template() -> tuple[Array, int]:
    """Lane points ``(10, m, 3)`` of the template at each pin, inches; how many of them, the first, lie inside it."""
    inside, around = [], []
    for x, y in pin_positions():
        radii = pin_radius_in(np.array(_INSIDE_HEIGHTS_IN))
        rows = zip(_INSIDE_HEIGHTS_IN, radii, strict=True)
        inside.append([(x + s * 0.5 * r, y, z) for z, r in rows for s in (-1, 1)])
        beside = [(x + s * _BESIDE_IN, y, z) for z in _BESIDE_HEIGHTS_IN for s in (-1, 1)]
        around.append([*beside, *((x + s, y, z) for z in _ABOVE_HEIGHTS_IN for s in (-1.5, 1.5))])
    return np.concatenate([inside, around], axis=1), len(inside[0])


def pin_likeness(luma: Image, poses: Poses) -> Array:
    """How pin-like each of the ten places looks, ``(p, f, 10)``: correlation of the picture with light pin on dark.

    Pins are white and stand before the dark pit: no brightness is assumed, only that a pin is lighter than what is
    beside its neck and above its head. NaN where the place lies outside the frame.
    """
    points, count = _template()
    found = np.full((*poses.possible.shape, 10), np.nan)
    pixels = poses.project_possible(points.reshape(-1, 3))
    found[poses.possible] = _against_pit(luma, pixels.reshape(-1, *points.shape[:2], 2), count)
    return found


def _likeness(luma: Image, pixels: Array, count: int) -> Array:
    """Correlation ``(...)`` of the picture at pixels ``(..., m, 2)`` with a template light in the first ``count``.

    Less of it where the head is not as light as the body: the end of a light deck, which is no pin.
    """
    values = sampled(luma, pixels)
    return np.asarray(_correlation(values, count, _least_spread(luma)) * _headed(values, count))


def _headed(values: Array, count: int) -> Array:
    """Whether a pin's head stands out against what is above it as its body does, 0 to 1, ``(...)``."""
    body, head = values[..., : count - _HEAD].mean(axis=-1), values[..., count - _HEAD : count].mean(axis=-1)
    above = values[..., -2 * len(_ABOVE_HEIGHTS_IN) :].mean(axis=-1)
    return np.asarray(np.clip((head - above) / np.maximum(_HEAD_SHARE * (body - above), 1e-6), 0.0, 1.0))


def _least_spread(luma: Image) -> float:
    thin = np.ascontiguousarray(luma[::_RANGE_STEP, ::_RANGE_STEP])
    total = np.cumsum(cv2.calcHist([thin], [0], None, [256], [0, 256]).ravel())
    low, high = np.searchsorted(total, np.array(_RANGE_SHARES) * total[-1])
    return max(_LEAST_SPREAD, _LEAST_SHARE * float(high - low))


def _correlation(values: Array, count: int, least_spread: float) -> Array:
    pin, ground = values[..., :count].mean(axis=-1), values[..., count:].mean(axis=-1)
    share = count / values.shape[-1]
    return np.asarray((pin - ground) * np.sqrt(share * (1 - share)) / np.maximum(values.std(axis=-1), least_spread))


def _against_pit(luma: Image, pixels: Array, count: int) -> Array:
    """The same, less of it where the template's upper end is dark but not what is beside the neck: a bright ledge."""
    values = sampled(luma, pixels)
    pin, beside, above = (
        part.mean(axis=-1) for part in np.split(values, [count, count + 2 * len(_BESIDE_HEIGHTS_IN)], axis=-1)
    )
    clear = np.clip((pin - beside) / np.maximum(_NECK_SHARE * (pin - above), 1e-6), 0.0, 1.0)
    return np.asarray(_correlation(values, count, _least_spread(luma)) * _headed(values, count) * clear)


def pins_of(likeness: Array) -> Array:
    """Evidence ``(...)`` of likenesses ``(..., 10)``: chance gives about one half, a pin nearly one."""
    above = (np.nan_to_num(likeness) - _CHANCE) / (1.0 - _CHANCE)
    return np.asarray(np.sum(np.maximum(above, 0.0) ** 2, axis=-1))


def pins_beside(luma: Image, camera: Camera, x_in: Array) -> Array:
    """Pin evidence ``(n,)`` of the decks ``x_in`` (n,) to the right of a camera's; places outside count as none."""
    points, count = _template()
    decks = points + np.stack([x_in, 0 * x_in, 0 * x_in], axis=-1)[:, None, None]
    return pins_of(_against_pit(luma, camera.project(decks), count))


def likeness_of(luma: Image, camera: Camera, shift_px: tuple[float, float] = (0.0, 0.0)) -> Array:
    """Pin likeness ``(10,)`` of the places of a camera's deck, looked at with the template shifted by (u, v) pixels."""
    points, count = _template()
    return _likeness(luma, camera.project(points) + np.array(shift_px), count)
