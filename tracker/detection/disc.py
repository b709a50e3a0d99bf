"""Centre of a ball by its whole disc: where smooth shading of the predicted size explains the picture best.

A light ball on light wood is brighter than the lane above and darker below; somewhere its rim has no contrast at all
and cannot be followed. The disc as a whole still stands out: inside, brightness is a smooth function of the place on
the ball, outside the picture is the clip's own background. The likeliest centre is where a low polynomial inside the
disc, another one in its mirror image on the oil, and the background elsewhere explain the picture best (generalised
likelihood ratio; Kay, Fundamentals of Statistical Signal Processing II, section 6.4, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.finding.sampling import MAD_PER_SIGMA
from tracker.detection.outline import BallFit, Planes, Rim

Array = NDArray[np.float64]
Single = NDArray[np.float32]

OUTER, RING = 2.0, 1.2
"""Radii to which the picture is looked at, and from which on its noise is taken."""
BELOW_SINE = 0.72
"""Shadow and mirror image, which join the ball from below, are no noise."""
MIRROR_WIDE, MIRROR_DEEP = 0.8, 1.9
"""Half-width and depth of the mirror image, radii."""
SEARCH_MIRROR = 0.5
"""What the mirror image counts while the ball is searched for, lest the ball is taken for one of a ball above it."""
COARSE_PIXELS, FINE_PIXELS, TOUCH_PIXELS = 400, 1200, 700
"""A ball's luma pixels are thinned out to about so many for the search, for its end, and beside a rim."""
PEAK_TURNS = 3
RIM_PULLED_PX = (0.1, 0.35)
"""How far highlights and mirror images pull the rim as a whole."""
WIDE_SHARE, FARTHEST, NARROW_SHARES = 0.25, 0.75, (0.12, 0.12, 0.06)
LAST_STEP_PX = 0.15
APART = 0.38
"""Steps of the search in radii, the wide ones to 0.75 radii; peaks farther apart than the last are rivals."""
EDGE_PX = 1.0
"""Half-width of the disc's edge: blur by optics, motion and compression."""
NOISE_FLOOR = 1.5
CHROMA_FLOORS = (1.5, 3.0)
"""Compression leaves chroma in blocks: it tells well about where a ball is, and badly where exactly."""
LEAST_GAIN = 60.0
"""Log likelihood by which the disc must beat the empty lane; a grey noise field of that size gives under 20."""
CORRELATED = 4.0
"""Compressed noise is alike over neighbouring pixels: standard deviations grow by about this factor."""
MODEL_SHARE = (0.03, 0.04)
"""What shading that is no polynomial does to (u, v), shares of the radius, from faint balls on rendered clips."""
FLAT, QUADRATIC = 3, 6
"""Terms of a polynomial in two places: of the first and of the second degree."""
RIDGE = 1e-3
"""Keeps polynomials solvable where hardly a pixel is left."""
RIVAL_SHARE = 0.012
"""Share of the likelihood that shading which is no polynomial may give or take: other peaks within it are rivals."""
DISC_RIM_SHARE = 0.6
"""What counts as the share of its rim: less than a rim that is followed all round, more than one hardly seen."""


@dataclass(frozen=True, slots=True)
class _Pixels:
    """Pixels of luma, or of both chroma planes, around the ball.

    Places ``(n, 2)`` in the crop; values relative to the background's mean and changes to its own value at that pixel,
    both ``(k, n)`` in units of the plane's noise. ``moments`` ``(n, t t + t k + 1)`` are what sums over a weighted part
    of the pixels need: products of the polynomial's ``t`` terms with each other and with the values, and how much worse
    a flat zero describes a pixel than the background does.
    """

    at: Single
    value: Single
    change: Single
    noise: Array
    moments: Single
    terms: int


@dataclass(frozen=True, slots=True)
class _Shape:
    """The outline as an ellipse ``a u^2 + 2 b u v + c v^2 = 1`` about the ball's projected centre, and its radius."""

    a: float
    b: float
    c: float
    radius_px: float

    def reach(self, u: Single, v: Single) -> Single:
        """Distance in radii of places (u, v) relative to the centre."""
        square = (np.float32(self.a) * u + np.float32(2 * self.b) * v) * u + np.float32(self.c) * v * v
        return np.asarray(np.sqrt(square), dtype=np.float32)


def fit_disc(planes: Planes, background: Planes, rim: Rim, noise: Array, *, origin: tuple[int, int]) -> BallFit | None:
    """Measure the centre of a ball whose rim is too faint to follow.

    Parameters
    ----------
    planes, background : Planes
        Crop of the frame and of the clip's background.
    rim : Rim
        Predicted outline in pixels of the upright frame; within about two thirds of a radius of the true one.
    noise : ndarray of shape (3,)
        Standard deviation of luma, Cb and Cr noise at this place; for the contrast that is reported.
    origin : tuple of int
        Left and top of the crop in the upright frame.

    Returns
    -------
    BallFit or None
        None where the disc explains too little, or the likeliest place is not a peak near the predicted one.
    """
    shape, begin = _shape(rim), rim.centre - np.array(origin)
    coarse = _pixels(
        planes, background, begin, shape, count=COARSE_PIXELS, chroma_floor=CHROMA_FLOORS[0], outer=OUTER + FARTHEST
    )
    grid = WIDE_SHARE * shape.radius_px * _WIDE
    gains = _gain(coarse, begin + grid, shape, mirror=SEARCH_MIRROR)
    centre = begin + grid[int(np.argmax(gains))]
    fine = _pixels(planes, background, centre, shape, count=FINE_PIXELS, chroma_floor=CHROMA_FLOORS[1])
    settled = 0.0
    for share in NARROW_SHARES:
        if share == settled:
            continue
        around = centre + max(share * shape.radius_px, LAST_STEP_PX) * _AROUND
        best = int(np.argmax(_gain(fine, around, shape)))
        centre, settled = around[best], share if best == _MIDDLE else 0.0
    peak = _peak(fine, centre, shape)
    if peak is None:
        return None
    away = begin + grid - centre
    # likelihoods grow with the pixels looked at: as if the search had used as many of the same area as its end
    gains *= len(fine[0].at) / max(len(coarse[0].at), 1) * (1 + FARTHEST / OUTER) ** 2
    covariance = peak[1] + _rivals(away, gains, shape)
    return BallFit(
        peak[0] + np.array(origin), covariance, 0.0, DISC_RIM_SHARE, _contrast(fine, centre, shape, noise), "disc"
    )


def with_disc(
    fit: BallFit, planes: Planes, background: Planes, rim: Rim, *, noise: Array, origin: tuple[int, int]
) -> BallFit:
    """The centre by rim and disc together.

    Both look at the same pixels but err differently: lamps above and the mirror image below pull at the rim, texture at
    the disc. Where they lie farther apart than their covariances say, the covariance of the mean grows (Birge ratio).

    Parameters
    ----------
    fit : BallFit
        The centre by the rim (:func:`tracker.detection.outline.fit_balls`).
    planes, background, rim, noise, origin
        As for :func:`fit_disc`.

    Returns
    -------
    BallFit
        ``fit`` by its rim alone (:func:`pulled`) where the disc has no peak anywhere near.
    """
    shape, centre = _shape(rim), fit.centre_px - np.array(origin)
    pixels = _pixels(planes, background, centre, shape, count=TOUCH_PIXELS, chroma_floor=CHROMA_FLOORS[1])
    peak = _peak(pixels, centre, shape)
    if peak is not None:
        return _together(fit, peak[0] + np.array(origin), peak[1])
    disc = fit_disc(planes, background, rim, noise, origin=origin)
    return pulled(fit) if disc is None else _together(fit, disc.centre_px, disc.covariance)


def pulled(fit: BallFit) -> BallFit:
    """The centre by the rim alone, its covariance with what highlights and mirror images do to the rim as a whole."""
    return replace(fit, covariance=fit.covariance + np.diag(np.square(RIM_PULLED_PX)))


def _together(fit: BallFit, other_px: Array, other_covariance: Array) -> BallFit:
    own = pulled(fit).covariance
    apart, both = other_px - fit.centre_px, np.linalg.inv(own + other_covariance)
    excess = max(1.0, float(apart @ both @ apart) / 2.0)
    covariance = np.asarray((own - own @ both @ own) * excess, dtype=np.float64)
    return replace(fit, centre_px=fit.centre_px + own @ both @ apart, covariance=covariance)


_AROUND = np.array([(i, j) for j in (-1.0, 0.0, 1.0) for i in (-1.0, 0.0, 1.0)])
_WIDE = np.array([(i, j) for j in np.arange(-3.0, 4.0) for i in np.arange(-3.0, 4.0)])
_MIDDLE = 4
_PARABOLA = np.linalg.pinv(
    np.stack([np.ones(9), *_AROUND.T, _AROUND[:, 0] ** 2 / 2, _AROUND.prod(axis=1), _AROUND[:, 1] ** 2 / 2], axis=1)
)[1:]
"""From values at the nine places to slope and bend of the parabola through them, least squares."""


def _shape(rim: Rim) -> _Shape:
    edge = rim.unit * rim.radius_px[:, None]
    rows = np.stack([edge[:, 0] ** 2, 2 * edge[:, 0] * edge[:, 1], edge[:, 1] ** 2], axis=1)
    a, b, c = np.linalg.solve(rows.T @ rows, rows.sum(axis=0))
    return _Shape(float(a), float(b), float(c), float(np.mean(rim.radius_px)))


def _pixels(
    planes: Planes,
    background: Planes,
    centre: Array,
    shape: _Shape,
    *,
    count: int,
    chroma_floor: float,
    outer: float = OUTER,
) -> list[_Pixels]:
    """About ``count`` luma pixels around a centre and the chroma pixels there, each plane with its own noise."""
    kinds = (
        (((planes.luma, background.luma),), 1, (0.5, 0.5)),
        (((planes.cb, background.cb), (planes.cr, background.cr)), 2, planes.chroma_site),
    )
    thinned = np.sqrt(np.pi * (outer * shape.radius_px) ** 2 / count)
    found = []
    for pairs, pitch, site in kinds:
        every = max(1, round(thinned / pitch))
        rows, columns = (
            _around(c, outer * shape.radius_px, pitch=pitch, size=n, every=every)
            for c, n in zip(centre[::-1], pairs[0][0].shape, strict=True)
        )
        u, v = (
            (pitch * np.arange(side.start, side.stop, every) + first - middle).astype(np.float32)
            for side, first, middle in zip((columns, rows), site, centre, strict=True)
        )
        reach = shape.reach(u[None], v[:, None])
        kept = reach < outer
        away = np.stack([np.broadcast_to(u, kept.shape)[kept], np.broadcast_to(v[:, None], kept.shape)[kept]], axis=1)
        frame, empty = (np.stack([p[k][rows, columns][kept] for p in pairs]).astype(np.float32) for k in (0, 1))
        below = away[:, 1] >= BELOW_SINE * np.hypot(away[:, 0], away[:, 1])
        floor, terms = (NOISE_FLOOR, QUADRATIC) if pitch == 1 else (chroma_floor, FLAT)
        noise = _ring_noise(frame - empty, (reach[kept] > RING) & ~below, floor)
        found.append(_relative(away, frame, empty, centre=centre, noise=noise, scale_px=shape.radius_px, terms=terms))
    return found


def _ring_noise(change: Single, ring: NDArray[np.bool_], floor: float) -> Single:
    """Noise ``(k, 1)`` that the ring around the ball shows in changes ``(k, n)``."""
    if not ring.any():
        return np.full((len(change), 1), np.inf, np.float32)
    ranked = np.sort(np.abs(change[:, ring]), axis=1)
    middle = ranked.shape[1] // 2
    spread = (ranked[:, middle] + ranked[:, ~middle]) / 2 / MAD_PER_SIGMA
    return np.asarray(np.maximum(spread, floor), dtype=np.float32)[:, None]


def _relative(
    away: Single, frame: Single, empty: Single, *, centre: Array, noise: Single, scale_px: float, terms: int
) -> _Pixels:
    """Pixels ``away`` from a centre in units of the noise, with their moments about it."""
    level = empty.mean(axis=1, keepdims=True) if empty.size else np.float32(0.0)
    value, change = (np.asarray((frame - other) / noise, dtype=np.float32) for other in (level, empty))
    x, y = (away / np.float32(scale_px)).T
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y][:terms])
    pairs = (basis[:, None] * basis[None]).reshape(terms * terms, -1)
    with_values = (basis[:, None] * value[None]).reshape(terms * len(value), -1)
    worse = (value**2 - change**2).sum(axis=0, keepdims=True)
    moments = np.ascontiguousarray(np.concatenate([pairs, with_values, worse]).T)
    at = np.asarray(away + centre, dtype=np.float32)
    return _Pixels(at, value, change, noise[:, 0].astype(np.float64), moments, terms)


def _around(centre: float, reach_px: float, *, pitch: int, size: int, every: int) -> slice:
    """Rows or columns of a plane within a distance of a place, each ``every``-th."""
    low, high = (round((centre + side * reach_px) / pitch) for side in (-1, 1))
    return slice(max(low, 0), max(min(high, size), low, 0), every)


def _gain(pixels: Sequence[_Pixels], centres: Array, shape: _Shape, *, mirror: float = 1.0) -> Array:
    """Log likelihood ``(m,)`` of a ball with its mirror image at centres ``(m, 2)`` over that of the empty lane."""
    total = np.zeros(len(centres))
    deep = np.float32(shape.radius_px)
    for part in pixels:
        u, v = (part.at[:, k] - centres[:, k, None].astype(np.float32) for k in (0, 1))
        inside = _ramp(deep - deep * shape.reach(u, v))
        below = (1.0 - inside) * (v > 0) * _ramp(np.float32(MIRROR_WIDE) * deep - np.abs(u))
        below *= _ramp(np.float32(MIRROR_DEEP) * deep - v)
        total += _explained(inside, part, part.terms) + mirror * _explained(below, part, FLAT)
    return 0.5 * total


def _ramp(depth_px: Single) -> Single:
    """0 to 1 over the blur of an edge, for how deep inside it a pixel lies."""
    return np.asarray(np.clip(np.float32(0.5) + depth_px / np.float32(2 * EDGE_PX), 0.0, 1.0), dtype=np.float32)


def _explained(weight: Single, part: _Pixels, terms: int) -> Array:
    """How much better ``(m,)`` polynomials describe pixels weighted by ``(m, n)`` than the background does.

    Polynomials about any place are the same polynomials, so that sums over pixels are taken about one for all centres.
    """
    all_terms = part.terms
    sums = (weight @ part.moments).astype(np.float64)
    square = all_terms * all_terms
    normal = sums[:, :square].reshape(-1, all_terms, all_terms)[:, :terms, :terms] + RIDGE * np.eye(terms)
    right = sums[:, square:-1].reshape(len(sums), all_terms, -1)[:, :terms]
    shaded = np.sum(right * np.linalg.solve(normal, right), axis=(1, 2))
    return np.asarray(shaded - sums[:, -1])


def _peak(pixels: Sequence[_Pixels], centre: Array, shape: _Shape) -> tuple[Array, Array] | None:
    """Top of the likelihood near a centre, by the parabola about it, and its covariance.

    That is what the bend tells, for noise that is alike from pixel to pixel, and what the shading model leaves behind.
    """
    step = max(0.5, shape.radius_px / 20)
    for _ in range(PEAK_TURNS):
        gains = _gain(pixels, centre + step * _AROUND, shape)
        gx, gy, xx, xy, yy = _PARABOLA @ gains
        bend = -np.array([[xx, xy], [xy, yy]]) / step**2
        if gains[_MIDDLE] < LEAST_GAIN or np.linalg.eigvalsh(bend)[0] <= 0:
            return None
        covariance = np.linalg.inv(bend)
        move = covariance @ np.array([gx, gy]) / step
        far = float(np.hypot(*move)) / (2 * step)
        if far <= 1.0:
            model = np.diag(np.square(np.array(MODEL_SHARE) * shape.radius_px))
            return centre + move, np.asarray(covariance * CORRELATED**2 + model, dtype=np.float64)
        centre = centre + move / far
    return None


def _rivals(away: Array, gains: Array, shape: _Shape) -> Array:
    """Covariance ``(2, 2)`` by other likely places at ``away`` ``(m, 2)`` from the one that was chosen."""
    best = float(gains.max())
    likely = np.exp((gains - best) / (CORRELATED**2 + RIVAL_SHARE * max(best, 0.0)))
    likely[np.hypot(*away.T) < APART * shape.radius_px] = 0.0
    return np.asarray((likely[:, None] * away).T @ away / (1.0 + likely.sum()))


def _contrast(pixels: Sequence[_Pixels], centre: Array, shape: _Shape, noise: Array) -> float:
    """Root mean square change inside the disc in standard deviations of the background's noise."""
    square, sigmas = 0.0, iter(noise)
    for part in pixels:
        away = part.at - centre.astype(np.float32)
        inside = shape.reach(away[:, 0], away[:, 1]) < 1.0
        for change, own in zip(part.change[:, inside], part.noise, strict=True):
            square += float(np.mean(np.square(change * own / next(sigmas)))) if inside.any() else 0.0
    return float(np.sqrt(square))
