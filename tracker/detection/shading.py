"""What sums over a ball's pixels need, worked out once for balls of about one size.

Places are fixed in radii of the ball, so polynomials on the disc and in its mirror image, and the weights of pixels
for centres some steps away, are the same for all balls but for how wide the edge's blur is in radii.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Single = NDArray[np.float32]

OUTER, WIDE_OUTER, RING = 2.0, 2.75, 1.2
"""Radii to which the picture is looked at, for the end and for the search, and from which on its noise is taken."""
BELOW_SINE = 0.72
"""Shadow and mirror image, which join the ball from below, are no noise."""
MIRROR_WIDE, MIRROR_DEEP = 0.8, 1.9
"""Half-width and depth of the mirror image, radii."""
PITCHES, WIDE_PITCHES = (0.125, 0.2), (0.25, 0.3)
"""Distance of places of luma and chroma, radii, for the end and for the search."""
EDGE_PX = 1.0
"""Half-width of the disc's edge: blur by optics, motion and compression."""
FLAT, QUADRATIC = 3, 6
"""Terms of a polynomial in two places: of the first and of the second degree."""
RIDGE = 1e-3
"""Keeps polynomials solvable where hardly a pixel is left."""
SIZES = 1.2
"""Sizes of balls are told apart by this factor: the width of the blur is not better known."""
WIDE, NARROW, PEAK = "wide", ("narrow", "last"), "peak"
_WIDE_SHARE, _NARROW_SHARES = 0.25, {"narrow": 0.12, "last": 0.08}
_LAST_STEP_PX, _PEAK_STEP_PX, _PEAK_SHARE = 0.15, 0.5, 0.05

AROUND = np.array([(i, j) for j in (-1.0, 0.0, 1.0) for i in (-1.0, 0.0, 1.0)])
_WIDE_STEPS = np.array([(i, j) for j in np.arange(-3.0, 4.0) for i in np.arange(-3.0, 4.0)])


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Where a plane is read.

    Attributes
    ----------
    at : array of shape (n, 2)
        In radii from the centre, (u, v).
    ring, disc : int arrays
        Indices of those around the ball, but not below it, and of those on it.
    """

    at: Single
    ring: NDArray[np.intp]
    disc: NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """Sums over disc or mirror image for each of m centres.

    Attributes
    ----------
    weight : array of shape (m, n)
        How far a place belongs to it.
    sums : array of shape (m t, n)
        Weights times the t terms of the polynomial.
    solve : array of shape (m, t, t)
        Inverse of the normal equations.
    """

    weight: Single
    sums: Single
    solve: Single


@dataclass(frozen=True, slots=True, eq=False)
class Shading:
    """Disc and mirror image in luma or in chroma.

    Attributes
    ----------
    places : Places
    parts : (Part, Part)
        Disc and mirror image.
    basis : array of shape (t, n)
        Terms of the disc's polynomial.
    share : float
        What a place counts: as many of luma as lie in the same area, but no more than there are pixels.
    density : float
        Pixels that are told, a square radius.
    """

    places: Places
    parts: tuple[Part, Part]
    basis: Single
    share: float
    density: float

    def seen_only(self, seen: NDArray[np.bool_]) -> tuple[Part, Part]:
        """The same where only some places can be seen."""
        ball, image = self.parts
        return _part(ball.weight * seen, self.basis), _part(image.weight * seen, self.basis[:FLAT])


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """Steps ``(m, 2)`` from a centre, in radii, what to sum for a ball at each, and how far places reach, radii."""

    steps: Array
    outer: float
    luma: Shading
    chroma: Shading


def search_of(kind: str, radius_px: float) -> Search:
    """Steps of a kind (:data:`WIDE`, one of :data:`NARROW`, :data:`PEAK`) for a ball of about this radius."""
    return _search(kind, round(math.log(max(radius_px, 1.0)) / math.log(SIZES)))


@lru_cache(maxsize=160)
def _search(kind: str, size: int) -> Search:
    radius_px = SIZES**size
    outer, pitches = (WIDE_OUTER, WIDE_PITCHES) if kind == WIDE else (OUTER, PITCHES)
    steps = _steps(kind, radius_px)
    luma, chroma = (
        _shading(
            steps,
            _places(outer, pitch),
            terms,
            radius_px=radius_px,
            share=min((pitch / pitches[0]) ** 2, (pitch * radius_px / plane_pitch) ** 2),
        )
        for pitch, terms, plane_pitch in zip(pitches, (QUADRATIC, FLAT), (1.0, 2.0), strict=True)
    )
    return Search(steps, outer, luma, chroma)


def _steps(kind: str, radius_px: float) -> Array:
    if kind == WIDE:
        return _WIDE_SHARE * _WIDE_STEPS
    if kind == PEAK:
        return max(_PEAK_STEP_PX / radius_px, _PEAK_SHARE) * AROUND
    return max(_LAST_STEP_PX / radius_px, _NARROW_SHARES[kind]) * AROUND


@lru_cache(maxsize=8)
def _places(outer: float, pitch: float) -> Places:
    side = np.arange(pitch / 2, outer, pitch)
    u, v = (axis.ravel() for axis in np.meshgrid(*[np.concatenate([-side[::-1], side])] * 2))
    reach = np.hypot(u, v)
    kept = reach < outer
    u, v, reach = u[kept], v[kept], reach[kept]
    ring = np.flatnonzero((reach > RING) & (v < BELOW_SINE * reach))
    return Places(np.stack([u, v], axis=1).astype(np.float32), ring, np.flatnonzero(reach < 1.0))


def _shading(steps: Array, places: Places, terms: int, *, radius_px: float, share: float) -> Shading:
    """Weights for centres at the steps."""
    u, v = (np.asarray(places.at[:, k] - steps[:, k, None], dtype=np.float32) for k in (0, 1))
    blur = EDGE_PX / radius_px
    inside = _ramp(1 - np.hypot(u, v), blur)
    below = (
        (1 - inside)
        * (v > 0)
        * _ramp(np.float32(MIRROR_WIDE) - np.abs(u), blur)
        * _ramp(np.float32(MIRROR_DEEP) - v, blur)
    )
    x, y = places.at.T
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y][:terms]).astype(np.float32)
    area = float(np.pi * np.max(np.hypot(x, y)) ** 2)
    parts = (_part(inside, basis), _part(below, basis[:FLAT]))
    return Shading(places, parts, basis, share, share * len(x) / area)


def _ramp(depth: Single, blur: float) -> Single:
    """0 to 1 over the blur of an edge, for how deep inside it a place lies."""
    return np.asarray(np.clip(np.float32(0.5) + depth / np.float32(2 * blur), 0.0, 1.0), dtype=np.float32)


def _part(weight: Single, basis: Single) -> Part:
    terms, n = basis.shape
    sums = (weight[:, None] * basis[None]).reshape(-1, n)
    normal = (sums @ basis.T).reshape(-1, terms, terms).astype(np.float64) + RIDGE * np.eye(terms)
    return Part(weight, sums, np.linalg.inv(normal).astype(np.float32))
