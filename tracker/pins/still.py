"""Several pictures of the deck made one: its luma, and how sure each pixel is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.video.reader import Crop

Float = NDArray[np.float32]

MANY = 5
"""From this many pictures on the median is taken, in which people who walk by do not show."""
LEAST_NOISE = 1.0
SD_OF_MAD = 1.4826
COUNTED = 8.0
"""What compression does stays for some pictures: more of them than this tell no more."""


@dataclass(frozen=True, slots=True, eq=False)
class Still:
    """One picture of the deck.

    Attributes
    ----------
    luma : float32 array of shape (h, w)
    noise : float32 array of shape (h, w)
        Standard deviation of each pixel.
    t_s : float
        Time of the last picture in it, seconds.
    """

    luma: Float
    noise: Float
    t_s: float


def still_of(crops: Sequence[Crop], noise: Float | None = None) -> Still:
    """Median (of few: mean) of pictures of one view.

    Parameters
    ----------
    crops : sequence of Crop
        At least one, of one size, in order of time.
    noise : float32 array of shape (h, w), optional
        Noise of one picture, where it is known from elsewhere.
    """
    stack = np.stack([c.luma for c in crops]).astype(np.float32)
    luma = np.median(stack, axis=0) if len(crops) >= MANY else stack.mean(axis=0)
    single = picture_noise(stack) if noise is None else noise
    sure = np.maximum(single / np.sqrt(min(float(len(crops)), COUNTED)), LEAST_NOISE)
    return Still(np.asarray(luma, np.float32), np.asarray(sure, np.float32), crops[-1].t_s)


def picture_noise(stack: Float) -> Float:
    """Noise ``(h, w)`` of one picture from a stack ``(n, h, w)`` of a view at rest; a usual one where n is 1."""
    if len(stack) < 2:
        return np.full(stack.shape[1:], 4.0, dtype=np.float32)
    steps = np.abs(np.diff(stack, axis=0))
    sigma = np.asarray(SD_OF_MAD * np.median(steps, axis=0) / np.sqrt(2), np.float32)
    return np.maximum(np.asarray(cv2.blur(sigma, (5, 5)), np.float32), np.float32(LEAST_NOISE))


def moved(picture: Float, shift_px: tuple[float, float]) -> Float:
    """A picture read at places shifted by (u, v) pixels; its border repeats itself."""
    if shift_px == (0.0, 0.0):
        return picture
    matrix = np.array([[1.0, 0.0, shift_px[0]], [0.0, 1.0, shift_px[1]]])
    flags, size = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, (picture.shape[1], picture.shape[0])
    return np.asarray(cv2.warpAffine(picture, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), np.float32)
