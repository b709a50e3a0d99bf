"""Pixels around many balls at a time: thinned grids of one size, in units of the noise that a ring around each shows.

The arrays of one ball are so small that calls would cost more than the arithmetic. Grids reach as far as the largest
ball's; what lies farther from a ball than is looked at, or outside the crop, is there but not ``seen``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.finding.sampling import MAD_PER_SIGMA
from tracker.detection.outline import Planes, Rim

Array = NDArray[np.float64]
Single = NDArray[np.float32]
Image = NDArray[np.uint8]

RING = 1.2
"""Radii from which on the picture tells the noise."""
BELOW_SINE = 0.72
"""Shadow and mirror image, which join the ball from below, are no noise."""
NOISE_FLOOR = 1.5


@dataclass(frozen=True, slots=True)
class Shapes:
    """Outlines of b balls as ellipses ``a u^2 + 2 b u v + c v^2 = 1`` about projected centres.

    All are ``(b,)``; ``radius_px`` is the mean radius, ``half_px`` ``(b, 2)`` how far each reaches aside and up.
    """

    a: Array
    b: Array
    c: Array
    radius_px: Array
    half_px: Array

    def of(self, rows: Sequence[int]) -> Shapes:
        """Some of them."""
        own = list(rows)
        return Shapes(self.a[own], self.b[own], self.c[own], self.radius_px[own], self.half_px[own])


def shapes_of(rims: Sequence[Rim]) -> Shapes:
    """The ellipses that fit some outlines best, least squares."""
    radius = np.array([rim.radius_px for rim in rims])
    edge = np.array([rim.unit for rim in rims]) * radius[..., None]
    rows = np.stack([edge[..., 0] ** 2, 2 * edge[..., 0] * edge[..., 1], edge[..., 1] ** 2], axis=1)
    a, b, c = np.linalg.solve(rows @ rows.transpose(0, 2, 1), rows.sum(axis=2)[..., None])[..., 0].T
    half = np.sqrt(np.stack([c, a], axis=1) / (a * c - b * b)[:, None])
    return Shapes(a, b, c, radius.mean(axis=1), half)


@dataclass(frozen=True, slots=True)
class Around:
    """Luma, or both chroma planes, around b balls.

    Attributes
    ----------
    u, v : ndarray of shape (b, x) and (b, y), float32
        Columns and rows in pixels from the place around which was read.
    value, change : ndarray of shape (b, k, y, x), float32
        Relative to the background's mean and to its own value there, in units of the noise.
    noise : ndarray of shape (b, k), float32
        In levels, one a plane.
    seen : ndarray of shape (b, y, x), bool
        Which pixels are within reach and in the crop.
    """

    u: Single
    v: Single
    value: Single
    change: Single
    noise: Single
    seen: NDArray[np.bool_]

    @property
    def count(self) -> NDArray[np.intp]:
        """Pixels seen ``(b,)``."""
        return np.asarray(np.count_nonzero(self.seen, axis=(1, 2)))

    def of(self, rows: Sequence[int]) -> Around:
        """Some of the balls."""
        own = list(rows)
        return Around(self.u[own], self.v[own], self.value[own], self.change[own], self.noise[own], self.seen[own])


@dataclass(frozen=True, slots=True)
class Reading:
    """How to read: about ``count`` pixels of luma within ``outer`` radii, and the least noise of chroma."""

    count: int
    outer: float
    chroma_floor: float


def read_around(
    frames: Sequence[Planes], empty: Planes, centres: Array, *, shapes: Shapes, how: Reading
) -> tuple[Around, Around]:
    """Luma and chroma around balls at ``centres`` ``(b, 2)`` of the crop, each in its own frame.

    Parameters
    ----------
    frames, empty : Planes
        The same crop of each ball's frame, and of the clip's background.
    """
    lumas = [(frame.luma,) for frame in frames]
    chromas = [(frame.cb, frame.cr) for frame in frames]
    luma = _Grid(1, (0.5, 0.5), centres, shapes=shapes, how=how)
    chroma = _Grid(2, empty.chroma_site, centres, shapes=shapes, how=how)
    return (
        _around(luma, lumas, (empty.luma,), shapes=shapes, outer=how.outer, floor=NOISE_FLOOR),
        _around(chroma, chromas, (empty.cb, empty.cr), shapes=shapes, outer=how.outer, floor=how.chroma_floor),
    )


class _Grid:
    """Every so many-th row and column of a plane whose samples lie ``pitch`` pixels apart, around each of b balls."""

    def __init__(self, pitch: int, site: tuple[float, float], centres: Array, *, shapes: Shapes, how: Reading) -> None:
        reach = how.outer * shapes.radius_px
        self.every = np.maximum(1, np.round(np.sqrt(np.pi * reach**2 / how.count) / pitch)).astype(int)
        self.low = np.round((centres - reach[:, None]) / pitch).astype(int)
        self.size = int(np.max(-(-(2 * reach / pitch + 1) // self.every)))
        index = self.low[..., None] + self.every[:, None, None] * np.arange(self.size)
        away = pitch * index + np.array(site)[:, None] - centres[..., None]
        self.u, self.v = away[:, 0].astype(np.float32), away[:, 1].astype(np.float32)

    def slices(self, shape: tuple[int, ...]) -> Iterator[tuple[tuple[slice, slice], tuple[slice, slice]]]:
        """For each ball the part of a plane that is in its grid, and where in the grid that is."""
        for low, every in zip(self.low.tolist(), self.every.tolist(), strict=True):
            own, there = [], []
            for first, size in zip(reversed(low), shape, strict=True):
                before = max(-(first // every), 0)
                end = max(min(-((first - size) // every), self.size), before)
                own.append(slice(first + before * every, first + end * every, every))
                there.append(slice(before, end))
            yield (own[0], own[1]), (there[0], there[1])


def _around(
    grid: _Grid,
    frames: Sequence[tuple[Image, ...]],
    empty: tuple[Image, ...],
    *,
    shapes: Shapes,
    outer: float,
    floor: float,
) -> Around:
    b, k, n = len(frames), len(empty), grid.size
    read = np.zeros((2, b, k, n, n), np.float32)
    seen = np.zeros((b, n, n), np.bool_)
    for j, (own, there) in enumerate(grid.slices(empty[0].shape)):
        seen[j][there] = True
        for i, (plane, other) in enumerate(zip(frames[j], empty, strict=True)):
            read[0, j, i][there] = plane[own]
            read[1, j, i][there] = other[own]
    square = squared_radii(grid.u, grid.v, shapes)
    seen &= square < np.float32(outer * outer)
    frame, background = read
    change = frame - background
    below = grid.v[:, :, None] >= np.float32(BELOW_SINE) * np.hypot(grid.u[:, None, :], grid.v[:, :, None])
    noise = _ring_noise(change, seen & (square > np.float32(RING * RING)) & ~below, floor)
    frame -= _mean(background, seen)[:, :, None, None]
    frame /= noise[:, :, None, None]
    change /= noise[:, :, None, None]
    return Around(grid.u, grid.v, frame, change, noise, seen)


def squared_radii(u: Single, v: Single, shapes: Shapes) -> Single:
    """Squared distances from the centre in radii ``(b, y, x)`` of columns ``(b, x)`` and rows ``(b, y)`` in pixels."""
    a, b, c = (side[:, None, None].astype(np.float32) for side in (shapes.a, 2 * shapes.b, shapes.c))
    across, up = u[:, None, :], v[:, :, None]
    square: Single = (a * across + b * up) * across + c * up * up
    return square


def _mean(values: Single, seen: NDArray[np.bool_]) -> Single:
    count = np.maximum(np.count_nonzero(seen, axis=(1, 2)), 1)
    return np.asarray((values * seen[:, None]).sum(axis=(2, 3)) / count[:, None], dtype=np.float32)


def _ring_noise(change: Single, ring: NDArray[np.bool_], floor: float) -> Single:
    """Noise ``(b, k)`` by the median of what changed ``(b, k, y, x)`` on a ring ``(b, y, x)``; infinite without one."""
    b, k = change.shape[:2]
    levels = np.where(ring[:, None], np.abs(change), np.float32(np.inf)).reshape(b, k, -1)
    ranked = np.sort(levels, axis=2)
    count = np.count_nonzero(ring, axis=(1, 2))[:, None, None]
    low, high = (np.take_along_axis(ranked, np.maximum(n, 0) // 2 + np.zeros((1, k, 1), int), 2)[..., 0]
                 for n in (count - 1, count))  # fmt: skip
    return np.asarray(np.maximum((low + high) / np.float32(2 * MAD_PER_SIGMA), floor), dtype=np.float32)
