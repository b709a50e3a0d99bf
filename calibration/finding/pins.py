"""The standing pins of a solved lane to a fraction of a pixel, by their outlines against the pit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.finding.deck import likeness_of, pins_of
from calibration.finding.profiles import covered
from calibration.finding.sampling import sampled, top_of
from calibration.lane import HEAD_PIN_IN, PIN_CROWN_RADIUS_IN, PIN_HEIGHT_IN, pin_positions, pin_radius_in
from calibration.observations import LanePoint, Observation

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]

STANDING = 0.6
"""Likeness above which a pin is taken to stand at its place."""
IN_LINE = ((0, 4), (1, 7), (2, 8))
"""Pins (from 0) one behind the other, seen from the approach: 1 and 5, 2 and 8, 3 and 9."""
_FAR_COSTS = 0.1
"""What a shift by the way from a pin to the one behind it costs, of the best: the camera is known better than that."""
_RIVAL, _VALLEY = 0.8, 0.9
"""Another shift is a rival from this share of the best's contrast on, if it falls to the other share between them."""
_PIN_AT_IN = 8.0
_PIN_SIGMA_PX, _PIN_COMMON_PX = 0.5, 0.4
_PIN_COMMON_SHARE = 0.012
"""How far all pins may look too high or low: by blur, and by this share of their height where lamps make them bloom."""
_PIN_STRAY_PX = 1.2
_MANY = 4
_OUTLINE_IN, _OUTLINE_PX = 0.3, 0.7
_OUTLINE_HEIGHTS_IN = (2.5, 3.5, 4.5, 5.5, 6.5, 7.5, 8.5, 9.5, 10.5, 11.5, 12.5, 13.5)
_CROWN_DEG = (-60, -40, -20, 0, 20, 40, 60)


@dataclass(frozen=True, slots=True, eq=False)
class _Deck:
    """Shift (u, v) of the deck in pixels, pins to measure, likenesses ``(10,)``, and how far (u, v) is in doubt."""

    shift: Array
    measured: NDArray[np.intp]
    likeness: Array
    doubt_px: Array


def pin_points(
    luma: Image, camera: Camera, reach_px: float, *, hidden: Mask | None = None
) -> tuple[list[Observation], Array]:
    """The standing pins as points of the deck, sideways each by itself, upward all together; likenesses ``(10,)``."""
    outlines = camera.project(pin_outlines(camera))
    deck = _deck(luma, camera, outlines, reach_px)
    tall = camera.f_px * PIN_HEIGHT_IN / (HEAD_PIN_IN - camera.y_in)
    root = float(np.sqrt(len(deck.measured)))
    aside = float(np.hypot(_PIN_SIGMA_PX, deck.doubt_px[0] * root))
    upward = float(np.linalg.norm([_PIN_COMMON_PX, _PIN_COMMON_SHARE * tall, deck.doubt_px[1]]) * root)
    points: list[Observation] = []
    behind: list[Observation] = []
    for k in deck.measured:
        own = _climb(luma, outlines[k], deck.shift, axis=0, step=0.5)
        if abs(own[0] - deck.shift[0]) > _PIN_STRAY_PX:
            continue
        x, y = (float(c) for c in pin_positions()[k])
        pixel = camera.project((x / camera.width_scale, y, _PIN_AT_IN)) + own
        u, v = (float(c) for c in pixel)
        place = (x, y, _PIN_AT_IN)
        point = LanePoint(f"pin_{k + 1}", place, u, v, aside, true_inches=True, sigma_v_px=upward)
        (behind if covered(hidden, pixel[None])[0] else points).append(point)
    # where somebody passed before most of them, what looks like pins all over the deck is pins
    return points + (behind if len(behind) >= _MANY else []), deck.likeness


def _deck(luma: Image, camera: Camera, outlines: Array, reach_px: float) -> _Deck:
    """Where the deck lies that puts the standing pins' outlines onto their edges."""
    coarse = _coarse_shift(luma, camera, reach_px)
    likeness = likeness_of(luma, camera, (float(coarse[0]), float(coarse[1])))
    pairs = [(f, b) for f, b in IN_LINE if min(likeness[f], likeness[b]) > STANDING]
    doubt = np.zeros(2)
    if pairs:
        coarse, doubt = _crowns_shift(luma, outlines, coarse, single=_single(likeness, pairs), pairs=pairs)
        worth = _crown_worth(luma, outlines, coarse)
        hides = [(b if worth[f] > worth[b] else f) for f, b in pairs]
        gone = [b for f, b in pairs if worth[f] > worth[b]]
    else:
        hides, gone = [], []
    standing = likeness > STANDING
    standing[hides] = False
    measured = np.flatnonzero(standing)
    shift = coarse
    for step in (0.5, 0.25) if len(measured) else ():
        for axis in (0, 1):
            shift = _climb(luma, outlines[measured], shift, axis=axis, step=step)
    likeness = likeness_of(luma, camera, (float(shift[0]), float(shift[1])))
    likeness[gone] = 0.0
    return _Deck(shift, measured, likeness, doubt)


def _single(likeness: Array, pairs: Sequence[tuple[int, int]]) -> list[int]:
    """Pins that seem to stand and have nothing alike before or behind them."""
    return [k for k in range(len(likeness)) if likeness[k] > STANDING and all(k not in pair for pair in pairs)]


def _crowns_shift(
    luma: Image, outlines: Array, shift: Array, *, single: Sequence[int], pairs: Sequence[tuple[int, int]]
) -> tuple[Array, Array]:
    """Shift that puts one crown of every pair, and those of the single pins, where the picture has them.

    Of two pins in line one stands in the other's picture: either place is pin-like, but only one crown is seen, the
    back one's if that stands. Where all pairs' front pins here and back pins there would do as well, the way between
    over the root of two, what a wrong choice as likely as the right one costs, is told as a doubt in (u, v) pixels.
    """
    step_px = float(np.median([outlines[f, :, :, 1].mean() - outlines[b, :, :, 1].mean() for f, b in pairs]))
    down = np.arange(0.0, abs(shift[1]) + 1.25 * step_px, 0.5)
    down = np.concatenate([-down[:0:-1], down])
    # seen from beside the lane, the pin behind stands a little aside too
    aside = max(abs(float(outlines[f, :, :, 0].mean() - outlines[b, :, :, 0].mean())) for f, b in pairs)
    beside = np.arange(0.0, max(abs(shift[0]), 0.5 + aside) + 0.5, 0.5)
    beside = np.concatenate([-beside[:0:-1], beside])
    shifts = np.stack(np.meshgrid(beside, down), axis=-1)
    worth = _crown_worth(luma, outlines, shifts)
    total = worth[..., single].sum(axis=-1) + sum(np.maximum(worth[..., f], worth[..., b]) for f, b in pairs)
    total = total - _FAR_COSTS * np.hypot(shifts[..., 0], shifts[..., 1]) / step_px * total.max()
    row, column = np.unravel_index(int(np.argmax(total)), total.shape)
    rows = total.max(axis=1)
    peaks = np.flatnonzero((rows[1:-1] >= rows[:-2]) & (rows[1:-1] > rows[2:])) + 1
    far = [int(k) for k in peaks if abs(down[k] - down[row]) > 0.6 * step_px and rows[k] > _RIVAL * rows[row]]
    rivals = [k for k in far if rows[min(k, row) : max(k, row)].min() < _VALLEY * rows[k]]
    if not rivals:
        return shifts[row, column], np.zeros(2)
    other = max(rivals, key=lambda k: float(rows[k]))
    away = shifts[other, int(np.argmax(total[other]))] - shifts[row, column]
    return shifts[row, column], np.abs(away) / np.sqrt(2.0)


def _crown_worth(luma: Image, outlines: Array, shifts: Array) -> Array:
    """Mean difference ``(..., 10)`` across the pins' crowns for shifts ``(..., 2)``."""
    crowns = outlines[:, -len(_CROWN_DEG) :]
    values = sampled(luma, crowns + shifts[..., None, None, None, :])
    return np.asarray(np.nan_to_num(values[..., 0] - values[..., 1]).mean(axis=-1))


def _coarse_shift(luma: Image, camera: Camera, reach_px: float) -> Array:
    shift = np.zeros(2)
    offsets = np.arange(-reach_px, reach_px + 0.5, 1.0)
    for axis in (1, 0):
        worth = []
        for offset in offsets:
            trial = shift.copy()
            trial[axis] += offset
            likeness = likeness_of(luma, camera, (float(trial[0]), float(trial[1])))
            worth.append(float(pins_of(likeness)) - 0.02 * abs(offset))
        shift[axis] += offsets[int(np.argmax(worth))]
    return shift


def pin_outlines(camera: Camera) -> Array:
    """Pairs of lane points ``(10, n, 2, 3)`` just inside and just outside each pin's outline as the camera sees it.

    The outline of a body of revolution seen from far away and nearly level is its profile in the plane square to the
    view; the pairs are as far apart as the picture's blur, so that their difference is largest where the outline is.
    """
    x, y = pin_positions().T
    reach = np.hypot(y - camera.y_in, x - camera.x_in)
    apart = np.maximum(_OUTLINE_IN, _OUTLINE_PX * reach / camera.f_px)[:, None]
    heights = np.array(_OUTLINE_HEIGHTS_IN)
    radius = pin_radius_in(heights)[None]
    sides = [(s * (radius + d * apart), np.broadcast_to(heights, (10, len(heights)))) for s in (-1, 1) for d in (-1, 1)]
    angle = np.radians(np.array(_CROWN_DEG))[None]
    centre = PIN_HEIGHT_IN - PIN_CROWN_RADIUS_IN
    crown = [
        ((PIN_CROWN_RADIUS_IN + d * apart) * np.sin(angle), centre + (PIN_CROWN_RADIUS_IN + d * apart) * np.cos(angle))
        for d in (-1, 1)
    ]
    pairs = [(sides[0], sides[1]), (sides[2], sides[3]), (crown[0], crown[1])]
    across = np.stack([y - camera.y_in, camera.x_in - x], axis=1) / reach[:, None]
    flat = np.concatenate([np.stack([np.stack(one, axis=-1) for one in pair], axis=2) for pair in pairs], axis=1)
    out = np.empty((*flat.shape[:3], 3))
    out[..., 0] = x[:, None, None] + flat[..., 0] * across[:, None, None, 0]
    out[..., 1] = y[:, None, None] + flat[..., 0] * across[:, None, None, 1]
    out[..., 2] = flat[..., 1]
    out[..., 0] /= camera.width_scale
    return out


def _climb(luma: Image, outline: Array, shift: Array, *, axis: int, step: float) -> Array:
    """The shift with the largest mean difference across the outlines along one axis, by a parabola over five places."""
    offsets = np.arange(-3, 4) * step
    worth = []
    for offset in offsets:
        trial = shift.copy()
        trial[axis] += offset
        values = sampled(luma, outline + trial)
        worth.append(float(np.nanmean(values[..., 0] - values[..., 1])))
    k = int(np.clip(np.argmax(worth), 1, len(offsets) - 2))
    a, b, c = worth[k - 1 : k + 2]
    moved = shift.copy()
    moved[axis] += offsets[k] + step * float(np.clip(top_of(a, b, c), -1, 1))
    return moved
