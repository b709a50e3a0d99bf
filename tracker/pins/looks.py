"""How pins and what is behind them look in one clip, learned from its own picture of the deck."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import DECK_END_IN, HEAD_PIN_IN, PIN_HEIGHT_IN
from tracker.pins.stands import DeckView, PinShape

Array = NDArray[np.float64]
Float = NDArray[np.float32]

INSIDE = 0.95
"""Share of a pixel from which on it shows the pin alone."""
CLEAR = 0.02
HEAD_IN = (11.5, 14.2)
KNOTS_IN = np.linspace(0.0, PIN_HEIGHT_IN, 16)
BACK_HALF_IN = 24.0
SHADE = 0.25
"""Darker by this share at the edge of a round body, before it is learned (own estimate)."""
LEAST_SD, SD_SHARE = 2.0, 0.06
FLOOR_SD_SHARE = 0.25
"""Of the floor's luma: mirror images come and go with the pins, which the floor's free pixels do not tell (own
estimate)."""
FEW = 6
GAIN_SHRINK = 12.0
GAIN_LIMITS = (0.6, 1.6)


@dataclass(frozen=True, slots=True, eq=False)
class Backdrop:
    """What is behind and between the pins.

    Attributes
    ----------
    luma, sd : float32 arrays of shape (h, w)
        Brightness and its standard deviation from place to place.
    """

    luma: Float
    sd: Float


@dataclass(frozen=True, slots=True, eq=False)
class PinLook:
    """How bright pins are.

    Attributes
    ----------
    level : array of shape (16,)
        Luma at the pin's middle at :data:`KNOTS_IN`.
    shade : float
        By which share a pin is darker at its edges.
    gain : array of shape (10,)
        Factor of each pin.
    sd : float
        Standard deviation of a pin's pixels about that.
    """

    level: Array
    shade: float
    gain: Array
    sd: float

    def luma_at(self, pin: NDArray[np.int64] | int, height_in: Float, side: Float) -> Float:
        """Brightness of pins (index from 0) at heights and places across them, all of one shape."""
        along = np.interp(height_in, KNOTS_IN, self.level)
        return np.asarray(self.gain[pin] * along * (1 - self.shade * side**2), dtype=np.float32)


def row_places(view: DeckView) -> Float:
    """For each pixel ``(h, w)`` how many rows it lies above the deck's end, along lines level across the lane."""
    left, right = view.pixels(np.array([[-18.0, DECK_END_IN, 0.0], [18.0, DECK_END_IN, 0.0]]))
    slope = (right[1] - left[1]) / (right[0] - left[0])
    v, u = np.mgrid[: view.box.height, : view.box.width] + 0.5
    return np.asarray(left[1] + slope * (u - left[0]) - v, dtype=np.float32)


def opening(view: DeckView) -> NDArray[np.bool_]:
    """Pixels ``(h, w)`` through which pit and deck are seen, whoever stands there."""
    left, right = view.pixels(np.array([[-BACK_HALF_IN, DECK_END_IN, 0.0], [BACK_HALF_IN, DECK_END_IN, 0.0]]))
    u = np.arange(view.box.width) + 0.5
    front = view.pixels(np.array([[0.0, HEAD_PIN_IN - 8.0, 0.0]]))[0, 1]
    v = np.arange(view.box.height)[:, None] + 0.5
    top = view.pixels(np.array([[0.0, DECK_END_IN, PIN_HEIGHT_IN + 1.5]]))[0, 1]
    return np.asarray((u > left[0]) & (u < right[0]) & (v > top) & (v < front))


@dataclass(frozen=True, slots=True, eq=False)
class FreeRows:
    """Pixels of the opening that no pin can cover, sorted by rows level across the lane.

    Attributes
    ----------
    pixels : array of shape (n,)
        Flat indices.
    row : array of shape (n,)
        Row of each, ascending.
    starts, counts : array of shape (r,)
        Where each row with enough pixels begins, and how many it has.
    place : array of shape (h, w)
        Row of every pixel of the box.
    """

    pixels: NDArray[np.int64]
    row: NDArray[np.int64]
    starts: NDArray[np.int64]
    counts: NDArray[np.int64]
    place: NDArray[np.int64]


def free_rows(view: DeckView, shapes: Sequence[PinShape]) -> FreeRows:
    """The pixels that tell what is behind pins of these shapes."""
    place = np.round(row_places(view)).astype(np.int64)
    covered = np.max([s.alpha for s in shapes], axis=0) > CLEAR
    pixels = np.flatnonzero(opening(view) & ~covered)
    row = place.ravel()[pixels]
    order = np.argsort(row, kind="stable")
    pixels, row = pixels[order], row[order]
    starts = np.flatnonzero(np.diff(row, prepend=row[0] - 1)) if len(row) else np.zeros(0, dtype=np.int64)
    counts = np.diff(starts, append=len(row))
    enough = counts >= FEW
    return FreeRows(pixels, row, starts[enough], counts[enough], place=place)


def backdrop(picture: Float, free: FreeRows) -> Backdrop:
    """What is behind the pins: median and spread of each row's free pixels, and between them for rows without."""
    if not len(free.starts):
        return Backdrop(np.full_like(picture, np.median(picture)), np.full_like(picture, 40.0))
    values = picture.ravel()[free.pixels]
    values = values[np.lexsort((values, free.row))]
    low, middle, high = (
        values[free.starts + np.round(share * (free.counts - 1)).astype(np.int64)] for share in (0.16, 0.5, 0.84)
    )
    at = free.row[free.starts]
    luma = np.interp(free.place, at, middle).astype(np.float32)
    sd = np.interp(free.place, at, np.maximum((high - low) / 2, LEAST_SD)).astype(np.float32)
    return Backdrop(luma, np.where(free.place < 0, np.maximum(sd, np.float32(FLOOR_SD_SHARE) * luma), sd))


def first_look(picture: Float, shapes: Sequence[PinShape]) -> PinLook:
    """Pins before any is known to stand: as bright as the brightest of the ten heads' places."""
    heads = []
    for shape in shapes:
        head = (shape.alpha > 0.8) & (shape.height_in > HEAD_IN[0]) & (shape.height_in < HEAD_IN[1])
        if head.any():
            heads.append(float(np.median(picture[head])))
    bright = max(heads, default=float(np.percentile(picture, 95)))
    return PinLook(np.full(len(KNOTS_IN), bright * 1.04), SHADE, np.ones(10), 0.15 * bright)


def learned(picture: Float, shapes: Sequence[PinShape], standing: Sequence[int], before: PinLook) -> PinLook:
    """Pins as those look that stand for sure and are seen; as before where too few of their pixels are.

    Parameters
    ----------
    picture : float32 array of shape (h, w)
        The deck.
    shapes : sequence of PinShape
        All ten, in the order of their numbers.
    standing : sequence of int
        Pins that stand there.
    before : PinLook
        What was known.
    """
    pin, height, side, luma = _seen(picture, shapes, standing)
    if len(luma) < 4 * FEW:
        return before
    gain, shade, level = np.ones(10), before.shade, before.level
    for _ in range(3):
        level = _levels(height, luma / (gain[pin - 1] * (1 - shade * side**2)), before.level)
        along = np.interp(height, KNOTS_IN, level)
        gain = _gains(pin, luma / (along * (1 - shade * side**2)))
        ratio = luma / (along * gain[pin - 1])
        shade = float(np.clip(np.sum(side**2 * (1 - ratio)) / max(np.sum(side**4), 1e-9), 0.0, 0.6))
    left = luma - np.interp(height, KNOTS_IN, level) * gain[pin - 1] * (1 - shade * side**2)
    spread = float(1.4826 * np.median(np.abs(left)))
    return PinLook(level, shade, gain, max(spread, LEAST_SD, SD_SHARE * float(np.median(luma))))


def _seen(
    picture: Float, shapes: Sequence[PinShape], standing: Sequence[int]
) -> tuple[NDArray[np.int64], Array, Array, Array]:
    """Number, height, side and luma of the pixels ``(n,)`` that show one standing pin alone."""
    hidden = np.zeros(picture.shape, dtype=bool)
    parts = []
    for n in sorted(standing):  # pins are numbered from the front to the back
        shape = shapes[n - 1]
        own = (shape.alpha > INSIDE) & ~hidden
        hidden |= shape.alpha > CLEAR
        values = (shape.height_in[own], shape.side[own], picture[own])
        parts.append(np.vstack([np.full(int(own.sum()), n), *values]))
    table = np.hstack(parts) if parts else np.zeros((4, 0))
    return table[0].astype(np.int64), *table[1:].astype(np.float64)


def _levels(height: Array, luma: Array, before: Array) -> Array:
    """Median luma near each knot ``(16,)``; what no pixel tells is filled in from its neighbours."""
    pitch = KNOTS_IN[1] - KNOTS_IN[0]
    told = [(k, luma[np.abs(height - at) < 0.6 * pitch]) for k, at in enumerate(KNOTS_IN)]
    known = [(k, float(np.median(values))) for k, values in told if len(values) >= FEW]
    if not known:
        return before
    return np.asarray(np.interp(np.arange(len(KNOTS_IN)), [k for k, _ in known], [v for _, v in known]))


def _gains(pin: NDArray[np.int64], ratio: Array) -> Array:
    """Factor ``(10,)`` of each pin, drawn to 1 where few pixels tell."""
    gain = np.ones(10)
    for n in np.unique(pin):
        values = ratio[pin == n]
        share = len(values) / (len(values) + GAIN_SHRINK)
        gain[n - 1] = 1 + share * (float(np.median(values)) - 1)
    return np.clip(gain, *GAIN_LIMITS)
