"""Several pictures of the deck made one: its luma, and how sure each pixel is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.video.reader import Crop

Array = NDArray[np.float64]
Float = NDArray[np.float32]

MANY = 5
"""From this many pictures on the median is taken, in which people who walk by do not show."""
LEAST_NOISE = 1.0
SD_OF_MAD = 1.4826
AS_IT_IS = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
MISFIT = 4.0
SHARE_COUNTED = 0.1
"""Pixels side by side err together, so that only one in so many counts beside the priors of a step."""
STEP_SD = np.array([0.7, 0.7, 0.01, 0.01, 0.01])
"""Of shift (pixels), sizes and turn: what a camera that is known fairly well leaves open (own estimates)."""
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


def placed(picture: Float, place: Array) -> Float:
    """A picture ``(h, w)`` read where ``place`` puts each of its pixels; its border repeats itself.

    ``place`` is ``(2, 3)``: pixel (u, v), centres at 0, is read at ``place @ (u, v, 1)``.
    """
    if np.array_equal(place, AS_IT_IS):
        return picture
    flags, size = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, (picture.shape[1], picture.shape[0])
    return np.asarray(cv2.warpAffine(picture, place, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), np.float32)


def shifted(du_px: float, dv_px: float) -> Array:
    """The place ``(2, 3)`` of a picture whose pixels lie by (u, v) farther."""
    return np.array([[1.0, 0.0, du_px], [0.0, 1.0, dv_px]])


def laid_over(model: Float, picture: Float, weight: Float, place: Array) -> Array:
    """Improve a picture's place ``(2, 3)`` by one step of least squares toward a model of it.

    Shift, size across and up, and turn about the middle are free within priors; pixels that the model does not explain
    count for nothing.

    Parameters
    ----------
    model : float32 array of shape (h, w)
    picture : float32 array of shape (h, w)
        As it was filmed.
    weight : float32 array of shape (h, w)
        One over the variance of each pixel, 0 where it tells nothing.
    place : array of shape (2, 3)
    """
    down, across = (np.asarray(g) for g in np.gradient(model))
    left = placed(picture, place) - model
    used = (weight > 0) & (left**2 * weight < MISFIT**2) & (np.abs(down) + np.abs(across) > 1.0)
    if used.sum() < 12:
        return place
    v, u = np.nonzero(used)
    middle = (np.array([model.shape[1], model.shape[0]]) - 1) / 2
    x, y = u - middle[0], v - middle[1]
    gu, gv = across[used].astype(np.float64), down[used].astype(np.float64)
    # the picture's content lies by the step farther than the model's: left = -step . gradient
    slope = -np.column_stack([gu, gv, gu * x, gv * y, gv * x - gu * y])
    w = weight[used].astype(np.float64) * SHARE_COUNTED
    normal = (slope * w[:, None]).T @ slope + np.diag(1.0 / np.square(STEP_SD))
    a, b, sx, sy, turn = np.linalg.solve(normal, (slope * w[:, None]).T @ left[used].astype(np.float64))
    linear = np.array([[1 + sx, -turn], [turn, 1 + sy]])
    step = np.column_stack([linear, middle - linear @ middle + np.array([a, b])])
    return np.asarray(place @ np.vstack([step, [0.0, 0.0, 1.0]]))
