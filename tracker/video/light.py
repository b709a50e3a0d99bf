"""Brightness and colour of pictures brought to those of one: exposure steps, lamps that flicker, coloured light.

A camera stores light with a power law, so a change of the light by one factor multiplies luma (from black on) and both
colour differences by another; lamps that flicker against a rolling shutter give every row its own. A change of colour
adds to the colour differences in proportion to luma. All are medians over cells, so that people and balls do not count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.video.reader import Crop

Array = NDArray[np.float64]
Float = NDArray[np.float32]
Image = NDArray[np.uint8]

BLACK, NEUTRAL = 16.0, 128.0
CELL_PX, CELLS_ACROSS = 16, 24
"""A cell's least width, and how many lie side by side in a larger crop."""
CELL_SAMPLES = 4
"""Pixels of a cell in either direction that are read: medians over cells leave little of their noise."""
USABLE = (28.0, 222.0)
"""Cells darker or brighter tell little of a factor, or are at the end of the scale."""
BAND_CELLS = 2
FEW_CELLS = 8
BRIGHTER = 1.6
"""Stored luma of a picture beside the reference from which on it is the better reference."""
LEAST_GAIN, LEAST_TINT = 0.012, 0.006
"""Changes below stay: less than two levels of bright wood, which noise and detector allow for."""
USUAL_GAIN = (0.2, 5.0)
UNEVEN = 0.015
_ZEROS = np.array([BLACK, NEUTRAL, NEUTRAL], np.float32)[:, None, None]


@dataclass(frozen=True, slots=True)
class Light:
    """Cell means of a picture: luma ``(r, c)`` less black, and both colour differences ``(2, r, c)``."""

    luma: Float
    colour: Float

    @property
    def dark(self) -> bool:
        """Whether too few cells are bright enough to tell anything."""
        return int((self.luma > USABLE[0] - BLACK).sum()) < FEW_CELLS


@dataclass(frozen=True, slots=True)
class Change:
    """What a picture's light is beside another's: factors of its rows ``(h,)`` and tints of Cb and Cr ``(2,)``."""

    gain: Array
    tint: Array

    @property
    def matters(self) -> bool:
        """Whether it is worth a correction."""
        return bool(
            self.gain.max() - 1 > LEAST_GAIN
            or 1 - self.gain.min() > LEAST_GAIN
            or max(np.abs(self.tint).tolist()) > LEAST_TINT
        )


def light_of(crop: Crop) -> Light:
    """Means of 16 pixels of each cell of a crop, in whole cells from its upper left corner."""
    cell = _cell_px(crop)
    rows, columns = (max(n // cell, 1) for n in crop.luma.shape)
    samples = np.empty((3, CELL_SAMPLES * rows, CELL_SAMPLES * columns), np.uint8)
    for own, plane, pitch in zip(samples, (crop.luma, crop.cb, crop.cr), (cell, cell // 2, cell // 2), strict=True):
        every = pitch // CELL_SAMPLES
        top, left = (min(every // 2, n - 1) for n in plane.shape)
        seen = plane[top : rows * pitch : every, left : columns * pitch : every]
        # a crop narrower than a cell has fewer
        own[:] = seen if seen.shape == own.shape else cv2.resize(seen, own.shape[::-1], interpolation=cv2.INTER_NEAREST)
    means = cv2.resize(samples.reshape(-1, samples.shape[2]), (columns, 3 * rows), interpolation=cv2.INTER_AREA)
    cells = np.asarray(means, dtype=np.float32).reshape(3, rows, columns)
    cells -= _ZEROS
    return Light(cells[0], cells[1:])


def _cell_px(crop: Crop) -> int:
    """Width of a cell, a multiple of what makes whole samples of luma and chroma."""
    whole = 2 * CELL_SAMPLES
    return max(int(min(crop.luma.shape)) // (CELLS_ACROSS * whole) * whole, CELL_PX)


def change_between(crop: Crop, reference: Light) -> Change | None:
    """How a crop's light differs from that of another crop of the same size; None where too little tells."""
    own = light_of(crop)
    low, high = (limit - BLACK for limit in USABLE)
    told = (np.minimum(own.luma, reference.luma) > low) & (np.maximum(own.luma, reference.luma) < high)
    places = np.flatnonzero(told)
    if len(places) < FEW_CELLS:
        return None
    ratio = np.asarray(own.luma / np.maximum(reference.luma, np.float32(1.0)), dtype=np.float32)
    overall = float(_median(ratio.take(places)))
    if not USUAL_GAIN[0] < overall < USUAL_GAIN[1]:
        return None
    bands = _bands(ratio, told, overall)
    gain = np.full(crop.luma.shape[0], overall) if bands is None else _gain_of_rows(bands, crop)
    left = own.colour - np.float32(overall if bands is None else _median(gain)) * reference.colour
    tints = left.reshape(2, -1).take(places, axis=1) / own.luma.take(places)
    return Change(gain, _median(tints).astype(np.float64))


def _median(values: NDArray[Any]) -> Any:
    """Lower median over the last axis; of so few values sorting is faster than selection."""
    values = values.copy()
    values.sort(axis=-1)
    return values[..., (values.shape[-1] - 1) // 2]


def _gain_of_rows(bands: Array, crop: Crop) -> Array:
    middles = (np.arange(len(bands)) + 0.5) * BAND_CELLS * _cell_px(crop)
    return np.asarray(np.interp(np.arange(crop.luma.shape[0]) + 0.5, middles, bands), dtype=np.float64)


def _bands(ratio: Float, told: NDArray[np.bool_], overall: float) -> Array | None:
    """Factors of bands of rows; None unless they surely differ."""
    height = min(BAND_CELLS, len(ratio))
    count = len(ratio) // height
    ranked = np.where(told, ratio, np.float32(np.inf))[: count * height].reshape(count, -1)
    ranked.sort(axis=1)
    enough = told[: count * height].reshape(count, -1).sum(axis=1)
    medians = ranked[np.arange(count), np.maximum(enough - 1, 0) // 2].astype(np.float64)
    out = np.where(enough >= FEW_CELLS, medians, overall)
    # nothing scatters by more than its range, which is told faster
    even = out.max() - out.min() <= UNEVEN * overall or float(out.std()) <= UNEVEN * overall
    return None if even else out


def as_lit(crop: Crop, change: Change) -> Crop:
    """The crop with a change of light taken back."""
    gain = change.gain.astype(np.float32)[:, None]
    half = cv2.resize(crop.luma, (crop.cb.shape[1], crop.cb.shape[0]), interpolation=cv2.INTER_AREA)
    bright = np.asarray(half, dtype=np.float32) - np.float32(BLACK)
    cb, cr = (
        _plane_as_lit(plane, NEUTRAL, gain[::2], more=np.float32(tint) * bright)
        for plane, tint in zip((crop.cb, crop.cr), change.tint, strict=True)
    )
    return replace(crop, luma=_plane_as_lit(crop.luma, BLACK, gain), cb=cb, cr=cr)


def _plane_as_lit(plane: Image, zero: float, gain: Float, *, more: Float | None = None) -> Image:
    """``(plane - zero - more) / gain + zero``, rounded, in one buffer as far as possible."""
    values = plane.astype(np.float32)
    values -= np.float32(zero)
    if more is not None:
        values -= more
    values /= gain
    values += np.float32(zero)
    np.rint(values, out=values)
    return np.clip(values, 0, 255, out=values).astype(np.uint8)


class Evener:
    """Gives crops the light of the first one that is not dark beside the others; hardly changed ones as they are."""

    def __init__(self) -> None:
        self._reference: Light | None = None
        self._last: Change | None = None

    def even(self, crop: Crop) -> Crop:
        """The crop in the light of the first."""
        self._last = None
        if self._reference is None or self._reference.dark:
            self._reference = light_of(crop)
            return crop
        change = change_between(crop, self._reference)
        if change is None or not change.matters:
            return crop
        if float(np.median(change.gain)) > BRIGHTER:
            # what began in the dark has too few levels to be a model for the rest
            self._reference = light_of(crop)
            return crop
        self._last = change
        return as_lit(crop, change)

    def even_as_last(self, crop: Crop, top: int) -> Crop:
        """Another crop of the same frame with the change of light of the last one, whose first row was ``top``.

        A smaller crop tells its light less surely than the larger one that was evened before it.
        """
        if self._last is None:
            return crop
        rows = np.arange(crop.luma.shape[0]) + crop.top - top
        gain = np.interp(rows, np.arange(len(self._last.gain)), self._last.gain)
        return as_lit(crop, Change(gain, self._last.tint))


def evened(pictures: Sequence[Crop]) -> tuple[Crop, ...]:
    """Pictures of one view in the light of the one of middle brightness."""
    order = np.argsort([float(np.median(p.luma[::8, ::8])) for p in pictures], kind="stable")
    reference = light_of(pictures[int(order[len(order) // 2])])
    changes = [change_between(p, reference) for p in pictures]
    return tuple(p if c is None or not c.matters else as_lit(p, c) for p, c in zip(pictures, changes, strict=True))
