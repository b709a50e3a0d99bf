"""A picture read at shifted places, by parts of a pixel, or where a turn of the camera has taken them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.detection.region import Box
from tracker.video.reader import Crop, Frame

Array = NDArray[np.float64]
Float = NDArray[np.float32]
Image = NDArray[np.uint8]

_LATTICE_PX = 16
"""Between places this far apart a turn of a few degrees is straight to a hundredth of a pixel."""
_SPARE_PX = 4
_UNUSED_MAP = np.empty(0)


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Where the pixels of a box of the first picture lie in a picture after a turn.

    Attributes
    ----------
    box : Box
        The box in the first picture.
    luma : float32 array of shape (h, w, 2)
        Column and row in the luma plane (array index convention, pixel centres at 0).
    chroma : float32 array of shape (h/2, w/2, 2)
        The same in the chroma planes.
    low_px, high_px : float32 arrays of shape (2,)
        Smallest and largest column and row in ``luma``.
    """

    box: Box
    luma: Float
    chroma: Float
    low_px: Float
    high_px: Float


def places_after(box: Box, displacement_px: Callable[[Array], Array]) -> Places:
    """Where a box's pixels lie, from how far single pixels ``(n, 2)`` of the frame have moved ``(n, 2)``."""
    across, down = (np.arange(0, size + _LATTICE_PX, _LATTICE_PX) for size in (box.width, box.height))
    lattice = np.stack(np.meshgrid(across, down), axis=-1) + np.array([box.left + 0.5, box.top + 0.5])
    coarse = displacement_px(lattice.reshape(-1, 2)).reshape(lattice.shape).astype(np.float32)
    own = np.stack(np.meshgrid(np.arange(box.width), np.arange(box.height)), axis=-1).astype(np.float32)
    moved = cv2.remap(coarse, own / _LATTICE_PX, _UNUSED_MAP, cv2.INTER_LINEAR)
    corner = np.array([box.left, box.top], dtype=np.float32)
    chroma = (own[: box.height // 2, : box.width // 2] + (corner + moved[::2, ::2]) / 2).astype(np.float32)
    luma = np.asarray(own + corner + moved, dtype=np.float32)
    return Places(box, luma, chroma, luma.min(axis=(0, 1)), luma.max(axis=(0, 1)))


def turned_back(frame: Frame, places: Places, shift_px: Array) -> Crop:
    """The box as the first picture would show it; what lies outside the frame repeats its border.

    Parameters
    ----------
    frame : Frame
    places : Places
        Where the box's pixels lie but for the shift.
    shift_px : array of shape (2,)
        Shift (u, v) besides, luma pixels.
    """
    size = np.array([frame.luma.shape[1], frame.luma.shape[0]])
    low = np.clip(places.low_px + shift_px - _SPARE_PX, 0, size - 2).astype(int) // 2 * 2
    high = np.clip(places.high_px + shift_px + _SPARE_PX, low + 2, size).astype(int)
    part = frame.crop(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))
    more = (shift_px - low).astype(np.float32)
    at_chroma = places.chroma + more / 2
    cb, cr = (_read_there(plane, at_chroma) for plane in (part.cb, part.cr))
    luma = _read_there(part.luma, places.luma + more)
    return Crop(luma, cb, cr, frame.index, frame.t_s, places.box.left, places.box.top)


def moved_back(crop: Crop, shift_px: Array) -> Crop:
    """The crop as it would be had the view not moved by ``shift_px`` (u, v) luma pixels; the border repeats itself."""
    return replace(
        crop,
        luma=_read_at(crop.luma, shift_px),
        cb=_read_at(crop.cb, shift_px / 2),
        cr=_read_at(crop.cr, shift_px / 2),
    )


def _read_there(plane: Image, places: Float) -> Image:
    read = cv2.remap(plane, places, _UNUSED_MAP, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(read, dtype=np.uint8)


def _read_at(plane: Image, shift_px: Array) -> Image:
    matrix = np.array([[1.0, 0.0, shift_px[0]], [0.0, 1.0, shift_px[1]]])
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    size = (plane.shape[1], plane.shape[0])
    return np.asarray(cv2.warpAffine(plane, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), dtype=np.uint8)
