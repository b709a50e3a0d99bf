"""A picture read at shifted places, by parts of a pixel."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.video.reader import Crop

Image = NDArray[np.uint8]


def moved_back(crop: Crop, shift_px: NDArray[np.float64]) -> Crop:
    """The crop as it would be had the view not moved by ``shift_px`` (u, v) luma pixels; the border repeats itself."""
    return replace(
        crop,
        luma=_read_at(crop.luma, shift_px),
        cb=_read_at(crop.cb, shift_px / 2),
        cr=_read_at(crop.cr, shift_px / 2),
    )


def _read_at(plane: Image, shift_px: NDArray[np.float64]) -> Image:
    matrix = np.array([[1.0, 0.0, shift_px[0]], [0.0, 1.0, shift_px[1]]])
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    size = (plane.shape[1], plane.shape[0])
    return np.asarray(cv2.warpAffine(plane, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), dtype=np.uint8)
