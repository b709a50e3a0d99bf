"""Pictures for people: colour from planes, and PNG bytes; nothing is measured on either."""

from __future__ import annotations

from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]


class ColourPlanes(Protocol):
    """Luma ``(H, W)`` and chroma ``(H/2, W/2)`` of one picture, 8 bits: a crop, or a clip's clean picture."""

    @property
    def luma(self) -> Image:
        """Luma."""

    @property
    def cb(self) -> Image:
        """Blue difference."""

    @property
    def cr(self) -> Image:
        """Red difference."""


def picture_bgr(planes: ColourPlanes) -> Image:
    """Picture ``(H, W, 3)`` by the usual conversion."""
    height, width = planes.luma.shape
    stacked = np.concatenate([plane.ravel() for plane in (planes.luma, planes.cb, planes.cr)])
    return np.asarray(cv2.cvtColor(stacked.reshape(height * 3 // 2, width), cv2.COLOR_YUV2BGR_I420), dtype=np.uint8)


def encode_png(image: Image) -> bytes:
    """PNG bytes of a picture ``(h, w)`` or ``(h, w, 3)`` bgr.

    Raises
    ------
    ValueError
        If the picture cannot be encoded.
    """
    done, data = cv2.imencode(".png", image)
    if not done:
        msg = f"cannot encode a picture of shape {image.shape} and type {image.dtype} as PNG"
        raise ValueError(msg)
    return bytes(data)
