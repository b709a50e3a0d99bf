"""How much better shaded discs explain pixels around balls than the empty lane does, at many places at a time.

Inside a disc brightness is a low polynomial of the place, in its mirror image on the oil another one. Polynomials about
any place are the same polynomials, so that products with them are taken about one place for all, and only where the
disc or the image can reach.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.detection.around import Around, Shapes, squared_radii

Array = NDArray[np.float64]
Single = NDArray[np.float32]

MIRROR_WIDE, MIRROR_DEEP = 0.8, 1.9
"""Half-width and depth of the mirror image, radii."""
EDGE_PX = 1.0
"""Half-width of the disc's edge: blur by optics, motion and compression."""
FLAT, QUADRATIC = 3, 6
"""Terms of a polynomial in two places: of the first and of the second degree."""
RIDGE = 1e-3
"""Keeps polynomials solvable where hardly a pixel is left."""

ABOVE_ZERO = 2e-6
"""Squared radii by which rounding can take a distance below zero; no edge moves by a thousandth of a pixel for it."""

_POWERS = [(n - j, j) for n in range(5) for j in range(n + 1)]
"""Powers of u and v of the products of two terms, by degree: those of the terms themselves come first."""
_PAIRS = np.array([[_POWERS.index((a + c, b + d)) for c, d in _POWERS[:QUADRATIC]] for a, b in _POWERS[:QUADRATIC]])


@dataclass(frozen=True, slots=True)
class _Part:
    """Rows and columns of the grids that are of use, and products ``(b, c, n)`` there.

    Products of the polynomial's terms with each other, of the terms with the values, and how much worse a flat zero
    describes a pixel than the background does.
    """

    rows: slice
    columns: slice
    products: Single
    terms: int
    planes: int


@dataclass(frozen=True, slots=True)
class Shading:
    """One kind of plane around b balls, ready for :func:`explained`.

    ``quadric`` ``(b, 4, n)``: u, v, squared distance in radii, and 1, where the disc may be.
    """

    around: Around
    shapes: Shapes
    quadric: Single
    disc: _Part
    image: _Part

    def of(self, rows: Sequence[int]) -> Shading:
        """Some of the balls."""
        own = list(rows)
        disc, image = (replace(part, products=part.products[own]) for part in (self.disc, self.image))
        return Shading(self.around.of(own), self.shapes.of(own), self.quadric[own], disc, image)


def shading(around: Around, shapes: Shapes, *, reach_px: Array, terms: int) -> Shading:
    """Prepare pixels for places no farther than ``reach_px`` ``(b,)`` to the side or up from where they were read.

    Parameters
    ----------
    terms : {3, 6}
        Of the polynomial inside the disc; in the mirror image it is flat.
    """
    far = (reach_px + EDGE_PX).astype(np.float32)[:, None]
    half = shapes.half_px.astype(np.float32) + far
    deep = shapes.radius_px.astype(np.float32)[:, None]
    columns, rows = (_span(np.abs(at) < side[:, None]) for at, side in zip((around.u, around.v), half.T, strict=True))
    disc = _part(around, shapes, (rows, columns), terms)
    columns = _span(np.abs(around.u) < MIRROR_WIDE * deep + far)
    rows = _span((around.v > -far) & (around.v < MIRROR_DEEP * deep + far))
    image = _part(around, shapes, (rows, columns), FLAT)
    return Shading(around, shapes, _quadric(around, shapes, disc), disc, image)


def _span(wanted: NDArray[np.bool_]) -> slice:
    """From the first to the last index that some ball wants."""
    found = np.flatnonzero(wanted.any(axis=0))
    return slice(int(found[0]), int(found[-1]) + 1) if len(found) else slice(0, 1)


def _part(around: Around, shapes: Shapes, where: tuple[slice, slice], terms: int) -> _Part:
    rows, columns = where
    scale = shapes.radius_px.astype(np.float32)[:, None]
    x, y = around.u[:, columns] / scale, around.v[:, rows] / scale
    value, change = (side[:, :, rows, columns] for side in (around.value, around.change))
    b, k, *size = value.shape
    pairs = len(_POWERS) if terms == QUADRATIC else QUADRATIC
    products = np.empty((b, pairs + terms * k + 1, *size), np.float32)
    of_x, of_y = _powers(x, pairs), _powers(y, pairs)
    for n, (i, j) in enumerate(_POWERS[:pairs]):
        np.multiply(of_x[i][:, None, :], of_y[j][:, :, None], out=products[:, n])
    for n in range(terms):
        np.multiply(value, products[:, n, None], out=products[:, pairs + n * k : pairs + (n + 1) * k])
    products[:, -1] = (value**2 - change**2).sum(axis=1)
    seen = around.seen[:, rows, columns]
    if not seen.all():
        products *= seen[:, None]
    return _Part(rows, columns, products.reshape(b, products.shape[1], -1), terms, k)


def _powers(at: Single, pairs: int) -> list[Single]:
    powers = [np.ones_like(at)]
    for _ in range(4 if pairs > QUADRATIC else 2):
        powers.append(powers[-1] * at)
    return powers


def _quadric(around: Around, shapes: Shapes, disc: _Part) -> Single:
    u, v = around.u[:, disc.columns], around.v[:, disc.rows]
    quadric = np.empty((len(u), 4, v.shape[1], u.shape[1]), np.float32)
    quadric[:, 0], quadric[:, 1] = u[:, None, :], v[:, :, None]
    quadric[:, 2] = squared_radii(u, v, shapes)
    quadric[:, 3] = 1.0
    return quadric.reshape(len(u), 4, -1)


def explained(parts: Sequence[Shading], steps: Array, *, mirror: float = 1.0) -> Array:
    """Log likelihood of a ball with its mirror image over that of the empty lane.

    Parameters
    ----------
    parts : sequence of Shading
        Luma and chroma of the same balls.
    steps : ndarray of shape (b, m, 2)
        Places (u, v) in pixels from where the pixels were read around.
    mirror : float
        What the mirror image counts.

    Returns
    -------
    ndarray of shape (b, m)
    """
    total = np.zeros(steps.shape[:2])
    for part in parts:
        inside = _inside(part, steps)
        below = _below(part, steps, inside)
        total += _better(part.disc, inside) + mirror * _better(part.image, below)
    return 0.5 * total


def squares(part: Shading, steps: Array) -> Single:
    """Squared distances in radii ``(b, m, n)`` of the disc's pixels from places ``(b, m, 2)``."""
    u, v = steps[..., 0], steps[..., 1]
    a, b, c = (side[:, None] for side in (part.shapes.a, part.shapes.b, part.shapes.c))
    along, across = a * u + b * v, b * u + c * v
    factors = np.stack([-2 * along, -2 * across, np.ones_like(u), along * u + across * v + ABOVE_ZERO], axis=-1)
    return np.asarray(factors.astype(np.float32) @ part.quadric)


def _inside(part: Shading, steps: Array) -> Single:
    """How much of each pixel ``(b, m, n)`` is inside the disc: 0 to 1 over the blur of its edge."""
    inside = squares(part, steps)
    np.sqrt(inside, out=inside)
    slope = (part.shapes.radius_px / (2 * EDGE_PX)).astype(np.float32)[:, None, None]
    inside *= -slope
    inside += slope + np.float32(0.5)
    return _unit(inside)


def _below(part: Shading, steps: Array, inside: Single) -> Single:
    """How much of each pixel ``(b, m, n)`` is in the mirror image, which the disc covers from above."""
    u, v = (steps[..., k, None].astype(np.float32) for k in (0, 1))
    deep = part.shapes.radius_px.astype(np.float32)[:, None, None]
    disc, image = part.disc, part.image
    aside = np.abs(part.around.u[:, None, image.columns] - u)
    down = part.around.v[:, None, image.rows] - v
    columns = _ramp(np.float32(MIRROR_WIDE) * deep - aside)
    rows = _ramp(np.float32(MIRROR_DEEP) * deep - down) * (down > 0)
    below: Single = rows[..., :, None] * columns[..., None, :]
    hidden = inside.reshape(*inside.shape[:2], disc.rows.stop - disc.rows.start, -1)
    top, bottom = max(disc.rows.start, image.rows.start), min(disc.rows.stop, image.rows.stop)
    left, right = max(disc.columns.start, image.columns.start), min(disc.columns.stop, image.columns.stop)
    if top < bottom and left < right:
        covered = hidden[:, :, top - disc.rows.start : bottom - disc.rows.start,
                         left - disc.columns.start : right - disc.columns.start]  # fmt: skip
        below[:, :, top - image.rows.start : bottom - image.rows.start,
              left - image.columns.start : right - image.columns.start] *= 1.0 - covered  # fmt: skip
    return below.reshape(*inside.shape[:2], -1)


def _ramp(depth_px: Single) -> Single:
    """0 to 1 over the blur of an edge, for how deep inside it a pixel lies."""
    return _unit(np.asarray(depth_px / np.float32(2 * EDGE_PX) + np.float32(0.5), dtype=np.float32))


def _unit(values: Single) -> Single:
    np.maximum(values, 0.0, out=values)
    return np.asarray(np.minimum(values, 1.0, out=values))


def _better(part: _Part, weight: Single) -> Array:
    """How much better ``(b, m)`` polynomials describe pixels weighted by ``(b, m, n)`` than the background does."""
    sums = (weight @ part.products.transpose(0, 2, 1)).astype(np.float64)
    terms = part.terms
    pairs = sums.shape[2] - terms * part.planes - 1
    normal = sums[..., _PAIRS[:terms, :terms]] + RIDGE * np.eye(terms)
    right = sums[..., pairs:-1].reshape(*sums.shape[:2], terms, part.planes)
    shaded = np.sum(right * np.linalg.solve(normal, right), axis=(2, 3))
    return np.asarray(shaded - sums[..., -1])
