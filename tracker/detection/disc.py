"""Centre of a ball by its whole disc: where smooth shading of the predicted size explains the picture best.

A light ball on light wood is brighter than the lane above and darker below; somewhere its rim has no contrast at all
and cannot be followed. The disc as a whole still stands out: inside, brightness is a smooth function of the place on
the ball, outside the picture is the clip's own background. The likeliest centre is where a low polynomial inside the
disc, another one in its mirror image on the oil, and the background elsewhere explain the picture best (generalised
likelihood ratio; Kay, Fundamentals of Statistical Signal Processing II, section 6.4, from memory).

The picture is read at places that are fixed in radii of the ball, so that what the sums over pixels need is worked out
once for balls of about one size (:mod:`tracker.detection.shading`), and many of them are fitted at a time.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.finding.sampling import MAD_PER_SIGMA
from tracker.detection.outline import BallFit, Image, Planes, Sought
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
class _Ball:
    """A ball to find: its frame's crop, the map ``(2, 2)`` from the unit circle to its outline, and its radius."""

    planes: Planes
    from_unit: Array
    radius_px: float


@dataclass(frozen=True, slots=True)
class _Read:
    """Luma, or both chroma planes, at n places around b balls.

    Values relative to the background's mean and changes to its own value there, both ``(b, k, n)`` in units of the
    plane's noise ``(b, k, 1)``. ``worse`` ``(b, n)`` tells how much worse a flat zero describes a place than the
    background does; ``seen`` ``(n,)`` which places lie in the crop, None if all do.
    """

    value: Single
    change: Single
    noise: Single
    worse: Single
    seen: NDArray[np.bool_] | None


@dataclass(frozen=True, slots=True)
class _Look:
    """Log likelihood ``(m,)`` of a ball at the steps of a search, and its contrast to the background."""

    gains: Array
    search: Search
    square: Array
    """Mean square change ``(3,)`` inside the disc in luma, Cb and Cr."""


def fit_discs(sought: Sequence[Sought], background: Planes, *, origin: tuple[int, int]) -> list[BallFit | None]:
    """Measure the centres of balls whose rims are too faint to follow.

    Parameters
    ----------
    sought : sequence of Sought
        Balls, of one frame or of many; their outlines within about two thirds of a radius of the true ones.
    background : Planes
        The same crop of the clip's background.
    origin : tuple of int
        Left and top of the crop in the upright frame.

    Returns
    -------
    list of BallFit or None
        None where the disc explains too little, or the likeliest place is not a peak near the predicted one.
    """
    if not sought:
        return []
    balls, begin = _balls(sought), _centres(sought, origin)
    wide = _looked(balls, begin, WIDE, background, chroma_floor=CHROMA_FLOORS[0], mirror=SEARCH_MIRROR)
    centres = begin + _best_steps(balls, wide)
    for kind in NARROW:
        centres = centres + _best_steps(balls, _looked(balls, centres, kind, background))
    peaks = _peaks(balls, centres, background)
    return [
        peak and _told(ball, look, peak, away=at - centre, noise=own.noise, origin=np.array(origin))
        for ball, look, peak, at, centre, own in zip(balls, wide, peaks, begin, centres, sought, strict=True)
    ]


def with_discs(
    fits: Sequence[BallFit], sought: Sequence[Sought], background: Planes, *, origin: tuple[int, int]
) -> list[BallFit]:
    """The centres by rim and disc together.

    Both look at the same pixels but err differently: lamps above and the mirror image below pull at the rim, texture at
    the disc. Where they lie farther apart than their covariances say, the covariance of the mean grows (Birge ratio).

    Parameters
    ----------
    fits : sequence of BallFit
        The centres by the rims (:func:`tracker.detection.outline.fit_balls`).
    sought, background, origin
        As for :func:`fit_discs`.

    Returns
    -------
    list of BallFit
        The fit by its rim alone (:func:`pulled`) where the disc has no peak anywhere near.
    """
    if not fits:
        return []
    peaks = _peaks(_balls(sought), np.array([fit.centre_px for fit in fits]) - origin, background)
    lost = [ball for ball, peak in zip(sought, peaks, strict=True) if peak is None]
    discs = iter(fit_discs(lost, background, origin=origin))
    together = []
    for fit, peak in zip(fits, peaks, strict=True):
        disc = next(discs) if peak is None else None
        if peak is not None:
            together.append(_together(fit, peak.centre + origin, peak.covariance))
        else:
            together.append(pulled(fit) if disc is None else _together(fit, disc.centre_px, disc.covariance))
    return together


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


def _balls(sought: Sequence[Sought]) -> list[_Ball]:
    edge = np.array([ball.rim.unit * ball.rim.radius_px[:, None] for ball in sought])
    rows = np.stack([edge[..., 0] ** 2, 2 * edge[..., 0] * edge[..., 1], edge[..., 1] ** 2], axis=1)
    a, b, c = np.linalg.solve(rows @ rows.transpose(0, 2, 1), rows.sum(axis=2)[..., None])[..., 0].T
    # the ellipse a u^2 + 2 b u v + c v^2 = 1
    sizes, axes = np.linalg.eigh(np.array([[a, b], [b, c]]).transpose(2, 0, 1))
    from_unit = (axes / np.sqrt(sizes)[:, None]) @ axes.transpose(0, 2, 1)
    return [
        _Ball(ball.planes, shape, float(np.mean(ball.rim.radius_px)))
        for ball, shape in zip(sought, from_unit, strict=True)
    ]


def _centres(sought: Sequence[Sought], origin: tuple[int, int]) -> Array:
    return np.array([ball.rim.centre for ball in sought]) - origin


def _best_steps(balls: Sequence[_Ball], looks: Sequence[_Look]) -> Array:
    """The likeliest of each ball's steps in pixels ``(b, 2)``."""
    return np.array(
        [b.from_unit @ look.search.steps[int(np.argmax(look.gains))] for b, look in zip(balls, looks, strict=True)]
    )


def _looked(
    balls: Sequence[_Ball],
    centres: Array,
    kind: str,
    empty: Planes,
    *,
    chroma_floor: float = CHROMA_FLOORS[1],
    mirror: float = 1.0,
) -> list[_Look]:
    """Look at balls around centres ``(b, 2)`` of the crop; those of about one size at a time."""
    looks: dict[int, _Look] = {}
    for search, own, whole in _groups(balls, centres, kind, empty):
        some = [balls[k] for k in own]
        reads = _read(some, centres[own], search, empty, chroma_floor=chroma_floor, whole=whole)
        parts = list(zip((search.luma, search.chroma), reads, strict=True))
        gains = np.sum([shading.share / 2 * _explained(shading, read, mirror) for shading, read in parts], axis=0)
        square = np.concatenate([_square(shading, read) for shading, read in parts], axis=1)
        looks |= {k: _Look(gains[j], search, square[j]) for j, k in enumerate(own)}
    return [looks[k] for k in range(len(balls))]


def _groups(
    balls: Sequence[_Ball], centres: Array, kind: str, empty: Planes
) -> Iterator[tuple[Search, list[int], bool]]:
    """Balls of about one size that lie wholly in the crop, and others one by one."""
    size = np.array(empty.luma.shape[::-1])
    groups: dict[tuple[int, int], list[int]] = {}
    searches = [search_of(kind, ball.radius_px) for ball in balls]
    for k, (ball, search) in enumerate(zip(balls, searches, strict=True)):
        reach = search.outer * np.abs(ball.from_unit).sum(axis=1) + 2
        whole = bool((centres[k] >= reach).all() and (centres[k] + reach <= size).all())
        groups.setdefault((id(search), -1 if whole else k), []).append(k)
    for (_, alone), own in groups.items():
        yield searches[own[0]], own, alone < 0


def _read(
    balls: Sequence[_Ball], centres: Array, search: Search, empty: Planes, *, chroma_floor: float, whole: bool
) -> tuple[_Read, _Read]:
    """Luma and chroma around centres; ``whole`` tells that all places lie in the crop."""
    to_px = np.array([ball.from_unit.T for ball in balls], dtype=np.float32)
    luma_at = search.luma.places.at @ to_px + (centres - 0.5).astype(np.float32)[:, None]
    chroma_at = search.chroma.places.at @ (to_px * np.float32(0.5))
    chroma_at += ((centres - empty.chroma_site) / 2).astype(np.float32)[:, None]
    luma = _sampled([(ball.planes.luma,) for ball in balls], (empty.luma,), luma_at)
    chroma = _sampled([(ball.planes.cb, ball.planes.cr) for ball in balls], (empty.cb, empty.cr), chroma_at)
    return (
        _relative(luma, search.luma.places, NOISE_FLOOR, None if whole else _inside(luma_at[0], empty.luma)),
        _relative(chroma, search.chroma.places, chroma_floor, None if whole else _inside(chroma_at[0], empty.cb)),
    )


def _sampled(frames: Sequence[tuple[Image, ...]], empty: tuple[Image, ...], at: Single) -> tuple[Single, Single]:
    """Frames and background ``(b, k, n)`` at array places ``(b, n, 2)``, bilinear."""
    read = np.empty((2, len(frames), len(empty), at.shape[1]), np.float32)
    for j, own in enumerate(frames):
        for k, (plane, other) in enumerate(zip(own, empty, strict=True)):
            for side, image in enumerate((plane, other)):
                read[side, j, k] = cv2.remap(
                    image, at[j : j + 1], NO_SECOND_MAP, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
                )
    return read[0], read[1]


def _relative(planes: tuple[Single, Single], places: Places, floor: float, seen: NDArray[np.bool_] | None) -> _Read:
    """Pixels in units of the noise that the ring around the ball shows."""
    frame, empty = planes
    change = frame - empty
    noise = _ring_noise(change, places.ring if seen is None else places.ring[seen[places.ring]], floor)
    frame = frame - (empty if seen is None or not seen.any() else empty[..., seen]).mean(axis=2, keepdims=True)
    frame /= noise
    change /= noise
    worse = (frame * frame - change * change).sum(axis=1)
    if seen is not None:
        frame, worse = frame * seen, worse * seen
    return _Read(frame, change, noise, worse, seen)


def _inside(at: Single, plane: Image) -> NDArray[np.bool_]:
    return np.asarray(((at >= 0) & (at <= np.array(plane.shape[::-1], np.float32) - 1)).all(axis=1))


def _ring_noise(change: Single, ring: NDArray[np.intp], floor: float) -> Single:
    """Noise ``(b, k, 1)`` that the ring around each ball shows in changes ``(b, k, n)``."""
    middle = len(ring) // 2
    if not len(ring):
        return np.full((*change.shape[:2], 1), np.inf, np.float32)
    around = np.abs(change.take(ring, axis=2))
    spread = np.sort(around, axis=2)[..., middle, None] / np.float32(MAD_PER_SIGMA)
    return np.maximum(spread, np.float32(floor))


def _explained(shading: Shading, part: _Read, mirror: float) -> Array:
    """How much better ``(b, m)`` polynomials describe disc and mirror image than the background does."""
    ball, image = shading.parts if part.seen is None else shading.seen_only(part.seen)
    b, k, n = part.value.shape
    values = np.ascontiguousarray(part.value.transpose(2, 0, 1)).reshape(n, b * k)
    better = -((ball.weight + np.float32(mirror) * image.weight) @ part.worse.T)
    for share, area in ((1.0, ball), (mirror, image)):
        right = (area.sums @ values).reshape(*area.solve.shape[:2], b * k)
        told = (right * (area.solve @ right)).sum(axis=1)
        better += np.float32(share) * told.reshape(-1, b, k).sum(axis=2)
    return better.T.astype(np.float64)


def _square(shading: Shading, part: _Read) -> Array:
    """Mean square change ``(b, k)`` inside the disc, in the planes' own units."""
    disc = shading.places.disc
    inside = part.change.take(disc if part.seen is None else disc[part.seen[disc]], axis=2) * part.noise
    return np.asarray(np.square(inside).sum(axis=2) / max(inside.shape[2], 1), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Peak:
    """Top of the likelihood: centre in the crop, covariance, and the look that showed it."""

    centre: Array
    covariance: Array
    look: _Look


def _peaks(balls: Sequence[_Ball], centres: Array, empty: Planes) -> list[_Peak | None]:
    """Top of the likelihood near each centre ``(b, 2)``, by the parabola about it, and its covariance.

    That is what the bend tells, for noise that is alike from pixel to pixel, and what the shading model leaves behind.
    """
    peaks: list[_Peak | None] = [None] * len(balls)
    at, left = centres.copy(), list(range(len(balls)))
    for _ in range(PEAK_TURNS):
        looks = _looked([balls[k] for k in left], at[left], PEAK, empty) if left else []
        again = []
        for k, look in zip(left, looks, strict=True):
            top = _top(look.gains)
            if top is None:
                continue
            move, covariance = top
            to_px = look.search.steps[-1, 0] * balls[k].from_unit
            far = math.hypot(*move) / 2
            if far > 1.0:
                at[k] += to_px @ move / far
                again.append(k)
                continue
            model = np.diag(np.square(np.array(MODEL_SHARE) * balls[k].radius_px))
            spread = to_px @ covariance @ to_px.T * CORRELATED**2 + model
            peaks[k] = _Peak(at[k] + to_px @ move, spread, look)
        left = again
    return peaks


def _top(gains: Array) -> tuple[Array, Array] | None:
    """Where the parabola through gains at nine places has its top, in steps, and the inverse of its bend there."""
    gx, gy, xx, xy, yy = (_PARABOLA @ gains).tolist()
    det = xx * yy - xy * xy
    if gains[_MIDDLE] < LEAST_GAIN or xx >= 0 or det <= 0:
        return None
    covariance = np.array([[-yy, xy], [xy, -xx]]) / det
    return covariance @ np.array([gx, gy]), covariance


def _told(ball: _Ball, wide: _Look, peak: _Peak, *, away: Array, noise: Array, origin: Array) -> BallFit:
    """A ball found by its disc alone; ``away`` is where the search began, from where it ended."""
    # likelihoods grow with the pixels looked at: as if the search had used as many of the same area as its end
    gains = wide.gains * (peak.look.search.luma.density / wide.search.luma.density)
    covariance = peak.covariance + _rivals(away + wide.search.steps @ ball.from_unit.T, gains, ball.radius_px)
    contrast = float(np.sqrt(np.sum(peak.look.square / noise**2)))
    return BallFit(peak.centre + origin, covariance, 0.0, DISC_RIM_SHARE, contrast, "disc")


def _rivals(away: Array, gains: Array, radius_px: float) -> Array:
    """Covariance ``(2, 2)`` by other likely places at ``away`` ``(m, 2)`` from the one that was chosen."""
    best = float(gains.max())
    likely = np.exp((gains - best) / (CORRELATED**2 + RIVAL_SHARE * max(best, 0.0)))
    likely[np.hypot(*away.T) < APART * radius_px] = 0.0
    return np.asarray((likely[:, None] * away).T @ away / (1.0 + likely.sum()))
