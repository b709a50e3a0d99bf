"""Centre of a ball by its whole disc: where smooth shading of the predicted size explains the picture best.

A light ball on light wood is brighter than the lane above and darker below; somewhere its rim has no contrast at all
and cannot be followed. The disc as a whole still stands out: inside, brightness is a smooth function of the place on
the ball, outside the picture is the clip's own background. The likeliest centre is where a low polynomial inside the
disc, another one in its mirror image on the oil, and the background elsewhere explain the picture best (generalised
likelihood ratio; Kay, Fundamentals of Statistical Signal Processing II, section 6.4, from memory).

The picture is read at places that are fixed in radii of the ball, so that what the sums over pixels need is worked out
once for balls of about one size (:mod:`tracker.detection.shading`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.finding.sampling import MAD_PER_SIGMA
from tracker.detection.outline import BallFit, Image, Planes, Rim
from tracker.detection.shading import AROUND, NARROW, PEAK, WIDE, Places, Search, Shading, search_of

Array = NDArray[np.float64]
Single = NDArray[np.float32]

SEARCH_MIRROR = 0.5
"""What the mirror image counts while the ball is searched for, lest the ball is taken for one of a ball above it."""
PEAK_TURNS = 3
RIM_PULLED_PX = (0.1, 0.35)
"""How far highlights and mirror images pull the rim as a whole."""
APART = 0.38
"""Peaks farther apart than this in radii are rivals."""
NOISE_FLOOR = 1.5
CHROMA_FLOORS = (1.5, 3.0)
"""Compression leaves chroma in blocks: it tells well about where a ball is, and badly where exactly."""
LEAST_GAIN = 60.0
"""Log likelihood by which the disc must beat the empty lane; a grey noise field of that size gives under 20."""
CORRELATED = 4.0
"""Compressed noise is alike over neighbouring pixels: standard deviations grow by about this factor."""
MODEL_SHARE = (0.03, 0.04)
"""What shading that is no polynomial does to (u, v), shares of the radius, from faint balls on rendered clips."""
RIVAL_SHARE = 0.012
"""Share of the likelihood that shading which is no polynomial may give or take: other peaks within it are rivals."""
DISC_RIM_SHARE = 0.6
"""What counts as the share of its rim: less than a rim that is followed all round, more than one hardly seen."""
NO_SECOND_MAP: Any = None


@dataclass(frozen=True, slots=True)
class _Shape:
    """The outline as an ellipse: its map ``(2, 2)`` from the unit circle to pixels, and its mean radius."""

    from_unit: Array
    radius_px: float


@dataclass(frozen=True, slots=True)
class _Read:
    """Luma, or both chroma planes, at places around a centre.

    Values relative to the background's mean and changes to its own value there, both ``(k, n)`` in units of the plane's
    noise ``(k,)``. ``worse`` ``(n,)`` tells how much worse a flat zero describes a place than the background does;
    ``seen`` ``(n,)`` which places lie in the crop, None if all do.
    """

    value: Single
    change: Single
    noise: Array
    worse: Single
    seen: NDArray[np.bool_] | None


@dataclass(frozen=True, slots=True)
class _Scene:
    """Crop of the frame and of the clip's background, and what chroma's noise is at least."""

    planes: Planes
    empty: Planes
    chroma_floor: float = CHROMA_FLOORS[1]


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
    wide, fine = search_of(WIDE, shape.radius_px), _Scene(planes, background)
    gains = _gain(wide, _read(_Scene(planes, background, CHROMA_FLOORS[0]), begin, shape, wide), mirror=SEARCH_MIRROR)
    centre = begin + shape.from_unit @ wide.steps[int(np.argmax(gains))]
    for kind in NARROW:
        narrow = search_of(kind, shape.radius_px)
        best = int(np.argmax(_gain(narrow, _read(fine, centre, shape, narrow))))
        centre = centre + shape.from_unit @ narrow.steps[best]
    peak = _peak(fine, centre, shape)
    if peak is None:
        return None
    away = begin + wide.steps @ shape.from_unit.T - centre
    covariance = peak.covariance + _rivals(away, gains * (peak.density / wide.luma.density), shape.radius_px)
    return BallFit(peak.centre + np.array(origin), covariance, 0.0, DISC_RIM_SHARE, _contrast(peak, noise), "disc")


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
    peak = _peak(_Scene(planes, background), centre, shape)
    if peak is not None:
        return _together(fit, peak.centre + np.array(origin), peak.covariance)
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


_MIDDLE = 4
_PARABOLA = np.linalg.pinv(
    np.stack([np.ones(9), *AROUND.T, AROUND[:, 0] ** 2 / 2, AROUND.prod(axis=1), AROUND[:, 1] ** 2 / 2], axis=1)
)[1:]
"""From values at the nine places to slope and bend of the parabola through them, least squares."""


def _shape(rim: Rim) -> _Shape:
    edge = rim.unit * rim.radius_px[:, None]
    rows = np.stack([edge[:, 0] ** 2, 2 * edge[:, 0] * edge[:, 1], edge[:, 1] ** 2], axis=1)
    a, b, c = np.linalg.lstsq(rows, np.ones(len(rows)), rcond=None)[0]
    sizes, axes = np.linalg.eigh(np.array([[a, b], [b, c]]))
    return _Shape(np.asarray((axes / np.sqrt(sizes)) @ axes.T), float(np.mean(rim.radius_px)))


def _read(scene: _Scene, centre: Array, shape: _Shape, search: Search) -> tuple[_Read, _Read]:
    """Luma and chroma around a centre (pixels of the crop)."""
    planes, empty = scene.planes, scene.empty
    to_px, chroma_site = shape.from_unit.T.astype(np.float32), np.array(planes.chroma_site)
    luma_at = search.luma.places.at @ to_px + (centre - 0.5).astype(np.float32)
    chroma_at = search.chroma.places.at @ (to_px / 2) + ((centre - chroma_site) / 2).astype(np.float32)
    reach = search.outer * np.abs(shape.from_unit).sum(axis=1)
    whole = bool((centre - reach >= 2).all() and (centre + reach <= np.array(planes.luma.shape[::-1]) - 2).all())
    luma = _sampled(((planes.luma, empty.luma),), luma_at, search.luma.places, NOISE_FLOOR, whole=whole)
    pairs = ((planes.cb, empty.cb), (planes.cr, empty.cr))
    return luma, _sampled(pairs, chroma_at, search.chroma.places, scene.chroma_floor, whole=whole)


def _sampled(pairs: Sequence[tuple[Image, Image]], at: Single, places: Places, floor: float, *, whole: bool) -> _Read:
    """Planes and their backgrounds at array places ``(n, 2)``, bilinear, in units of the noise on the ring around.

    ``whole`` tells that all places lie in the crop.
    """
    frame, empty = np.empty((2, len(pairs), len(at)), np.float32)
    for k, pair in enumerate(pairs):
        frame[k], empty[k] = (
            cv2.remap(plane, at[None], NO_SECOND_MAP, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            for plane in pair
        )
    seen = None if whole else _inside(at, np.array(pairs[0][0].shape[::-1], np.float32) - 1)
    ring = places.ring if seen is None else places.ring[seen[places.ring]]
    change = frame - empty
    noise = _ring_noise(change, ring, floor)
    frame -= (empty if seen is None or not seen.any() else empty[:, seen]).mean(axis=1, keepdims=True)
    frame /= noise
    change /= noise
    worse = (frame * frame - change * change).sum(axis=0)
    return _Read(frame, change, noise[:, 0].astype(np.float64), worse, seen)


def _inside(at: Single, last: Single) -> NDArray[np.bool_]:
    return np.asarray(((at >= 0) & (at <= last)).all(axis=1))


def _ring_noise(change: Single, ring: NDArray[np.intp], floor: float) -> Single:
    """Noise ``(k, 1)`` that the ring around the ball shows in changes ``(k, n)``."""
    middle = len(ring) // 2
    if not len(ring):
        return np.full((len(change), 1), np.inf, np.float32)
    spread = np.partition(np.abs(change.take(ring, axis=1)), middle, axis=1)[:, middle] / np.float32(MAD_PER_SIGMA)
    return np.maximum(spread, np.float32(floor))[:, None]


def _gain(search: Search, read: tuple[_Read, _Read], *, mirror: float = 1.0) -> Array:
    """Log likelihood ``(m,)`` of a ball with its mirror image at the search's steps over that of the empty lane."""
    total = np.zeros(len(search.steps))
    for shading, part in zip((search.luma, search.chroma), read, strict=True):
        total += shading.share * _explained(shading, part, mirror)
    return 0.5 * total


def _explained(shading: Shading, part: _Read, mirror: float) -> Array:
    """How much better ``(m,)`` polynomials describe disc and mirror image than the background does."""
    ball, image = shading.parts if part.seen is None else shading.seen_only(part.seen)
    value = part.value.T if part.seen is None else np.where(part.seen, part.value, np.float32(0)).T
    worse = part.worse if part.seen is None else np.where(part.seen, part.worse, np.float32(0))
    out = -(ball.weight @ worse) - np.float32(mirror) * (image.weight @ worse)
    for share, area in ((1.0, ball), (mirror, image)):
        right = (area.sums @ value).reshape(*area.solve.shape[:2], -1)
        out += np.float32(share) * np.einsum("mtk,mtk->m", right, area.solve @ right)
    return np.asarray(out, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Peak:
    """Top of the likelihood: centre in the crop, covariance, pixels' density, and what was read around it last."""

    centre: Array
    covariance: Array
    density: float
    read: tuple[_Read, _Read]
    search: Search


def _peak(scene: _Scene, centre: Array, shape: _Shape) -> _Peak | None:
    """Top of the likelihood near a centre, by the parabola about it, and its covariance.

    That is what the bend tells, for noise that is alike from pixel to pixel, and what the shading model leaves behind.
    """
    search = search_of(PEAK, shape.radius_px)
    step = float(search.steps[-1, 0])
    for _ in range(PEAK_TURNS):
        read = _read(scene, centre, shape, search)
        gains = _gain(search, read)
        gx, gy, xx, xy, yy = _PARABOLA @ gains
        det = xx * yy - xy * xy
        if gains[_MIDDLE] < LEAST_GAIN or xx >= 0 or det <= 0:
            return None
        # inverse of minus the bend, in steps
        covariance = np.array([[-yy, xy], [xy, -xx]]) / det
        move = covariance @ np.array([gx, gy])
        far = float(np.hypot(*move)) / 2
        if far <= 1.0:
            to_px = step * shape.from_unit
            model = np.diag(np.square(np.array(MODEL_SHARE) * shape.radius_px))
            spread = to_px @ covariance @ to_px.T * CORRELATED**2 + model
            return _Peak(centre + to_px @ move, spread, search.luma.density, read, search)
        centre = centre + step * shape.from_unit @ move / far
    return None


def _rivals(away: Array, gains: Array, radius_px: float) -> Array:
    """Covariance ``(2, 2)`` by other likely places at ``away`` ``(m, 2)`` from the one that was chosen."""
    best = float(gains.max())
    likely = np.exp((gains - best) / (CORRELATED**2 + RIVAL_SHARE * max(best, 0.0)))
    likely[np.hypot(*away.T) < APART * radius_px] = 0.0
    return np.asarray((likely[:, None] * away).T @ away / (1.0 + likely.sum()))


def _contrast(peak: _Peak, noise: Array) -> float:
    """Root mean square change inside the disc in standard deviations of the background's noise."""
    square, sigmas = 0.0, iter(noise)
    for shading, part in zip((peak.search.luma, peak.search.chroma), peak.read, strict=True):
        inside = shading.places.disc if part.seen is None else shading.places.disc[part.seen[shading.places.disc]]
        for change, own in zip(part.change[:, inside], part.noise, strict=True):
            square += float(np.mean(np.square(change * own / next(sigmas)))) if len(inside) else 0.0
    return float(np.sqrt(square))
