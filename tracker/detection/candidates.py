"""Places in one frame where something of the ball's size differs from the background and its surround does not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
FloatImage = NDArray[np.float32]

NOISE_FLOOR = 1.5
CHANGED_FROM_SIGMA = 2.5
CHANGED_SPAN_SIGMA = 4.0
INNER_CELLS = 4
"""Half-width in cells of the inside; a ball's radius is 6 cells (region.RADIUS_CELLS)."""
GAP_CELLS = 8
OUTER_CELLS = 11
BELOW_CELLS = 3
NEAR = OUTER_CELLS + 1
PEAK_CELLS = 3
"""A peak is the highest within so many cells on every side."""
MIN_SCORE = 0.22
MAX_CANDIDATES = 5
_AROUND = np.ones((2 * PEAK_CELLS + 1, 2 * PEAK_CELLS + 1), np.uint8)


@dataclass(frozen=True, slots=True)
class ViewBackground:
    """Background of the ball-sized view: medians and noise of luma, Cb and Cr, each ``(r, c)``."""

    medians: tuple[Image, Image, Image]
    sigmas: tuple[FloatImage, FloatImage, FloatImage]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A cell of the ball-sized view where a ball's centre could be, and how ball-like its surround is (0 to 1)."""

    row: int
    column: int
    score: float


def changed_share(view: tuple[Image, Image, Image], background: ViewBackground) -> FloatImage:
    """How surely each cell differs from the background, 0 to 1, from luma and chroma together; ``(r, c)`` float32."""
    power: Any = None
    for plane, median, sigma in zip(view, background.medians, background.sigmas, strict=True):
        difference = cv2.blur(cv2.subtract(plane, median, dtype=cv2.CV_32F), (3, 3))
        scaled = cv2.divide(difference, sigma)
        squared = cv2.multiply(scaled, scaled)
        power = squared if power is None else cv2.add(power, squared)
    root: FloatImage = np.asarray(cv2.sqrt(power), dtype=np.float32)
    root -= np.float32(CHANGED_FROM_SIGMA)
    root /= np.float32(CHANGED_SPAN_SIGMA)
    return np.asarray(root.clip(0.0, 1.0, out=root))


def _box_mean(image: FloatImage, reach: int, below: int) -> FloatImage:
    """Mean over a box from ``reach`` cells left, right and above each cell to ``below`` cells under it."""
    size = (2 * reach + 1, reach + below + 1)
    return np.asarray(cv2.boxFilter(image, -1, size, anchor=(reach, reach), borderType=cv2.BORDER_REPLICATE))


def find_candidates(changed: FloatImage) -> tuple[Candidate, ...]:
    """Best peaks of a ball-sized inside minus its surround in a map of changed cells ``(r, c)``, best first."""
    left, top, width, height = cv2.boundingRect((changed > 0).astype(np.uint8))
    if not width:
        return ()
    # farther from anything that changed there is no ball
    top, left, bottom, right = max(top - NEAR, 0), max(left - NEAR, 0), top + height + NEAR, left + width + NEAR
    score = _score(np.ascontiguousarray(changed[top:bottom, left:right]))
    if float(score.max()) < MIN_SCORE:
        return ()
    peak = np.asarray(cv2.dilate(score, _AROUND))
    middles = _middles((score >= peak) & (score >= MIN_SCORE), score)
    return tuple(Candidate(row + top, column + left, height) for row, column, height in middles)


def _middles(peaks: NDArray[np.bool_], score: FloatImage) -> list[tuple[int, int, float]]:
    """Row, column and height of one cell of each plateau, best first; at most as many as are wanted.

    Where a ball stands out fully the score is the same over several cells, which would all be measured as it. Only then
    can peaks be as near to each other.
    """
    places = np.flatnonzero(peaks)
    scores = score.ravel().take(places)
    order = np.argsort(-scores, kind="stable")
    plateaus: list[tuple[float, list[tuple[int, int]]]] = []
    for place, height in zip(places.take(order).tolist(), scores.take(order).tolist(), strict=True):
        cell = divmod(place, peaks.shape[1])
        near = [cells for level, cells in plateaus if level == height and _near(cell, cells)]
        if near:
            near[0].append(cell)
            for other in near[1:]:
                near[0].extend(other)
                other.clear()
        else:
            plateaus.append((height, [cell]))
    kept = [(height, cells) for height, cells in plateaus if cells][:MAX_CANDIDATES]
    return [(*_middle(cells), height) for height, cells in kept]


def _near(cell: tuple[int, int], cells: list[tuple[int, int]]) -> bool:
    return any(abs(cell[0] - row) <= PEAK_CELLS and abs(cell[1] - column) <= PEAK_CELLS for row, column in cells)


def _middle(cells: list[tuple[int, int]]) -> tuple[int, int]:
    """The cell nearest to the mean of some."""
    if len(cells) == 1:
        return cells[0]
    row, column = (sum(side) / len(cells) for side in zip(*cells, strict=True))
    return min(cells, key=lambda cell: (cell[0] - row) ** 2 + (cell[1] - column) ** 2)


def _score(changed: FloatImage) -> FloatImage:
    """Mean of a ball-sized inside less that of its surround ``(r, c)``."""
    disk = _box_mean(changed, INNER_CELLS, INNER_CELLS)
    # below the ball its mirror image is no background, so the surround ends a little below the centre
    outer_share, gap_share = _box_mean(changed, OUTER_CELLS, BELOW_CELLS), _box_mean(changed, GAP_CELLS, BELOW_CELLS)
    outer = (2 * OUTER_CELLS + 1) * (OUTER_CELLS + BELOW_CELLS + 1)
    gap = (2 * GAP_CELLS + 1) * (GAP_CELLS + BELOW_CELLS + 1)
    outer_share *= np.float32(outer)
    gap_share *= np.float32(gap)
    outer_share -= gap_share
    outer_share /= np.float32(outer - gap)
    disk -= outer_share
    return disk
