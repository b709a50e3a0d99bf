"""Background and noise of the lane region from the clip itself: order statistics of frames over a few seconds."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]

IQR_PER_SIGMA = 1.349
"""Interquartile range of a normal distribution in sigmas."""


@dataclass(frozen=True, slots=True)
class PlaneStatistics:
    """Median and spread over time of one image plane, both ``(h, w)`` uint8.

    The spread is twice the smaller distance from the median to a quartile: the interquartile range of symmetric noise,
    and unmoved by something that stood or fell there for up to a half of the time on one side.
    """

    median: Image
    spread: Image


def sort_planes(planes: list[Image]) -> list[Image]:
    """Sort k images pixel by pixel, lowest first (odd-even transposition with vector min and max).

    Equal to ``numpy.sort(planes, axis=0)`` and an order of magnitude faster for a handful of images.
    """
    ranked = list(planes)
    for turn in range(len(ranked)):
        for j in range(turn % 2, len(ranked) - 1, 2):
            low, high = cv2.min(ranked[j], ranked[j + 1]), cv2.max(ranked[j], ranked[j + 1])
            ranked[j], ranked[j + 1] = np.asarray(low), np.asarray(high)
    return ranked


def plane_statistics(planes: list[Image]) -> PlaneStatistics:
    """Median and spread over time of ``planes``, k images ``(h, w)`` uint8; ValueError for none."""
    if not planes:
        msg = "planes: at least one image is needed for a background, got none"
        raise ValueError(msg)
    ranked = sort_planes(planes)
    last = len(ranked) - 1
    low, high = ranked[round(0.25 * last)], ranked[round(0.75 * last)]
    median = ranked[last // 2]
    smaller = cv2.min(cv2.subtract(high, median), cv2.subtract(median, low))
    return PlaneStatistics(median, np.asarray(cv2.add(smaller, smaller)))
