"""Brightness between pixels, and the top of a curve between its samples."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

MAD_PER_SIGMA = 0.6745
"""Median distance of a normal variable from its middle over its standard deviation: third quartile of the normal."""

LEAST_NOISE = 0.3
"""Noise of a step of brightness below which a picture is not believed to be, luma: it has been rounded."""

_COLUMNS = 16384
_NO_MAP: Any = None


def sampled(luma: Image, pixels: Array) -> Array:
    """Luma at pixels ``(..., 2)``, bilinear, NaN outside the frame."""
    height, width = luma.shape
    grid = (pixels.reshape(-1, 2) - 0.5).astype(np.float32)
    inside = (grid[:, 0] >= 0) & (grid[:, 0] <= width - 1) & (grid[:, 1] >= 0) & (grid[:, 1] <= height - 1)
    found: Any = cv2.remap(luma, _tiled(grid), _NO_MAP, cv2.INTER_LINEAR)
    values = np.where(inside, np.ravel(found)[: len(grid)].astype(np.float64), np.nan)
    return np.asarray(values.reshape(pixels.shape[:-1]))


def _tiled(points: NDArray[np.float32]) -> NDArray[np.float32]:
    """Points ``(n, 2)`` as a grid of few columns, as OpenCV's remap needs sides below 32767."""
    columns = min(_COLUMNS, max(len(points), 1))
    rows = max(-(-len(points) // columns), 1)
    grid = np.zeros((rows * columns, 2), np.float32)
    grid[: len(points)] = np.nan_to_num(points)
    return grid.reshape(rows, columns, 2)


def noise_of(steps: Array) -> float:
    """Standard deviation of a picture's own steps of brightness, most of which are noise, by their median size."""
    known = steps[np.isfinite(steps)]
    return max(float(np.median(np.abs(known))) / MAD_PER_SIGMA, LEAST_NOISE) if len(known) else LEAST_NOISE


def top_of(before: float, middle: float, after: float) -> float:
    """Where the parabola through three even samples is highest, in steps from the middle one; 0 where it has no top."""
    bend = before - 2 * middle + after
    return float(0.5 * (before - after) / bend) if bend < -1e-9 else 0.0
