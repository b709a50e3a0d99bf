"""Centre of a ball by its whole disc: where smooth shading of the predicted size explains the picture best.

A light ball on light wood is brighter than the lane above and darker below; somewhere its rim has no contrast at all
and cannot be followed. The disc as a whole still stands out: inside, brightness is a smooth function of the place on
the ball, outside the picture is the clip's own background. The likeliest centre is where a low polynomial inside the
disc, another one in its mirror image on the oil, and the background elsewhere explain the picture best (generalised
likelihood ratio; Kay, Fundamentals of Statistical Signal Processing II, section 6.4, from memory).

Many balls are fitted at a time, as in :mod:`tracker.detection.outline`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from tracker.detection.around import Reading, Shapes, read_around, shapes_of
from tracker.detection.outline import BallFit, Planes, Sought
from tracker.detection.shading import FLAT, QUADRATIC, Shading, explained, shading, squares

Array = NDArray[np.float64]
_T = TypeVar("_T")

OUTER = 2.0
"""Radii to which the picture is looked at."""
SEARCH_MIRROR = 0.5
"""What the mirror image counts while the ball is searched for, lest the ball is taken for one of a ball above it."""
PEAK_TURNS = 3
RIM_PULLED_PX = (0.1, 0.35)
"""How far highlights and mirror images pull the rim as a whole."""
WIDE_SHARE, FARTHEST, NARROW_SHARES = 0.375, 0.75, (0.12, 0.06)
LAST_STEP_PX = 0.15
APART = 0.38
"""Steps of the search in radii, the wide ones to 0.75 radii; peaks farther apart than the last are rivals."""
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
SEARCH = Reading(count=400, outer=OUTER + FARTHEST, chroma_floor=1.5)
END = Reading(count=900, outer=OUTER, chroma_floor=3.0)
TOUCH = Reading(count=700, outer=OUTER, chroma_floor=3.0)
"""Pixels for the search, for its end, and beside a rim. Compression leaves chroma in blocks: it tells well about where
a ball is, and badly where exactly."""
TOGETHER = 10
"""Balls that are fitted at a time: what they need stays in the cache."""

_AROUND = np.array([(i, j) for j in (-1.0, 0.0, 1.0) for i in (-1.0, 0.0, 1.0)])
_WIDE = np.array([(i, j) for j in np.arange(-2.0, 3.0) for i in np.arange(-2.0, 3.0)])
_MIDDLE = 4
_PARABOLA = np.linalg.pinv(
    np.stack([np.ones(9), *_AROUND.T, _AROUND[:, 0] ** 2 / 2, _AROUND.prod(axis=1), _AROUND[:, 1] ** 2 / 2], axis=1)
)[1:]
"""From values at the nine places to slope and bend of the parabola through them, least squares."""


def fit_discs(
    sought: Sequence[Sought], rims: Sequence[BallFit | None], background: Planes, *, origin: tuple[int, int]
) -> list[BallFit | None]:
    """Measure the centres of balls by their discs, and by rim and disc together where the rim was followed.

    Both look at the same pixels but err differently: lamps above and the mirror image below pull at the rim, texture at
    the disc. Where they lie farther apart than their covariances say, the covariance of the mean grows (Birge ratio).

    Parameters
    ----------
    sought : sequence of Sought
        Balls, of one frame or of many; their outlines within about two thirds of a radius of the true ones. Their noise
        is for the contrast that is reported.
    rims : sequence of BallFit or None
        The centre by the rim (:func:`tracker.detection.outline.fit_balls`); None where it is too faint to follow.
    background : Planes
        The same crop of the clip's background.
    origin : tuple of int
        Left and top of the crop in the upright frame.

    Returns
    -------
    list of BallFit or None
        Where the disc explains too little, or the likeliest place is not a peak near the predicted one, the fit by the
        rim alone (:func:`pulled`), or None without one.
    """
    followed = [(k, rim) for k, rim in enumerate(rims) if rim is not None]
    near = _in_parts(
        [sought[k] for k, _ in followed],
        lambda rows: _touched([followed[k] for k in rows], sought, background, np.array(origin)),
    )
    peaks = {k: peak for (k, _), peak in zip(followed, near, strict=True) if peak is not None}
    lost = [k for k in range(len(sought)) if k not in peaks]
    far = _in_parts(
        [sought[k] for k in lost],
        lambda rows: _searched([sought[lost[k]] for k in rows], background, np.array(origin)),
    )
    discs = dict(zip(lost, far, strict=True))
    return [
        _together(rim, peaks[k].centre + np.array(origin), peaks[k].covariance)
        if rim is not None and k in peaks
        else _beside(rim, discs[k])
        for k, rim in enumerate(rims)
    ]


def pulled(fit: BallFit) -> BallFit:
    """The centre by the rim alone, its covariance with what highlights and mirror images do to the rim as a whole."""
    return replace(fit, covariance=fit.covariance + np.diag(np.square(RIM_PULLED_PX)))


def _in_parts(sought: Sequence[Sought], fitted: Callable[[list[int]], list[_T]]) -> list[_T]:
    """Balls fitted some at a time, those of about one size: else most of their grids would lie beyond the smaller."""
    order = np.argsort([float(ball.rim.radius_px.mean()) for ball in sought], kind="stable").tolist()
    found: dict[int, _T] = {}
    for first in range(0, len(order), TOGETHER):
        rows = order[first : first + TOGETHER]
        found |= zip(rows, fitted(rows), strict=True)
    return [found[k] for k in range(len(sought))]


def _beside(rim: BallFit | None, disc: BallFit | None) -> BallFit | None:
    if rim is None or disc is None:
        return disc if rim is None else pulled(rim)
    return _together(rim, disc.centre_px, disc.covariance)


def _together(fit: BallFit, other_px: Array, other_covariance: Array) -> BallFit:
    own = pulled(fit).covariance
    apart, both = other_px - fit.centre_px, np.linalg.inv(own + other_covariance)
    excess = max(1.0, float(apart @ both @ apart) / 2.0)
    covariance = np.asarray((own - own @ both @ own) * excess, dtype=np.float64)
    return replace(fit, centre_px=fit.centre_px + own @ both @ apart, covariance=covariance)


@dataclass(frozen=True, slots=True)
class _Peak:
    """Top of the likelihood in the crop, and its covariance."""

    centre: Array
    covariance: Array


@dataclass(frozen=True, slots=True)
class _Near:
    """Pixels around b balls and where in the crop they were read around."""

    centres: Array
    shapes: Shapes
    parts: tuple[Shading, Shading]

    def of(self, rows: Sequence[int]) -> _Near:
        """Some of the balls."""
        if len(rows) == len(self.centres):
            return self
        luma, chroma = (part.of(rows) for part in self.parts)
        return _Near(self.centres[list(rows)], self.shapes.of(rows), (luma, chroma))


def _read(
    sought: Sequence[Sought], background: Planes, centres: Array, *, shapes: Shapes, how: Reading, reach_px: Array
) -> _Near:
    luma, chroma = read_around([ball.planes for ball in sought], background, centres, shapes=shapes, how=how)
    parts = (
        shading(luma, shapes, reach_px=reach_px, terms=QUADRATIC),
        shading(chroma, shapes, reach_px=reach_px, terms=FLAT),
    )
    return _Near(centres, shapes, parts)


def _peak_step_px(shapes: Shapes) -> Array:
    return np.maximum(0.5, shapes.radius_px / 20)


def _peak_reach_px(shapes: Shapes) -> Array:
    """How far from where it begins the search for a peak can look."""
    return np.asarray((2 * (PEAK_TURNS - 1) + 1) * _peak_step_px(shapes))


def _touched(
    followed: Sequence[tuple[int, BallFit]], sought: Sequence[Sought], background: Planes, origin: Array
) -> list[_Peak | None]:
    """Peaks beside the rims of some balls, given with their rows in ``sought``."""
    own, centres = [sought[k] for k, _ in followed], np.array([fit.centre_px for _, fit in followed]) - origin
    shapes = shapes_of([ball.rim for ball in own])
    near = _read(own, background, centres, shapes=shapes, how=TOUCH, reach_px=_peak_reach_px(shapes))
    return _peaks(near, np.zeros_like(centres))


def _searched(sought: Sequence[Sought], background: Planes, origin: Array) -> list[BallFit | None]:
    """Balls by their discs alone."""
    shapes, begin = shapes_of([ball.rim for ball in sought]), np.array([ball.rim.centre for ball in sought]) - origin
    coarse = _read(sought, background, begin, shapes=shapes, how=SEARCH, reach_px=FARTHEST * shapes.radius_px)
    steps = WIDE_SHARE * shapes.radius_px[:, None, None] * _WIDE
    gains = explained(coarse.parts, steps, mirror=SEARCH_MIRROR)
    centres = begin + steps[np.arange(len(steps)), np.argmax(gains, axis=1)]
    narrow_px = np.maximum(np.array(NARROW_SHARES)[:, None] * shapes.radius_px, LAST_STEP_PX)
    reach_px = narrow_px.sum(axis=0) + _peak_reach_px(shapes)
    fine = _read(sought, background, centres, shapes=shapes, how=END, reach_px=reach_px)
    at = _narrowed(fine, narrow_px)
    peaks = _peaks(fine, at)
    # likelihoods grow with the pixels looked at: as if the search had used as many of the same area as its end
    counts = fine.parts[0].around.count / np.maximum(coarse.parts[0].around.count, 1)
    gains *= (counts * (1 + FARTHEST / OUTER) ** 2)[:, None]
    away = (begin - centres - at)[:, None] + steps
    contrast = _contrast(fine, at, np.array([ball.noise for ball in sought]))
    return [
        None
        if peak is None
        else _told(peak, origin, _rivals(away[k], gains[k], float(shapes.radius_px[k])), float(contrast[k]))
        for k, peak in enumerate(peaks)
    ]


def _told(peak: _Peak, origin: Array, rivals: Array, contrast: float) -> BallFit:
    return BallFit(peak.centre + origin, peak.covariance + rivals, 0.0, DISC_RIM_SHARE, contrast, "disc")


def _narrowed(near: _Near, narrow_px: Array) -> Array:
    """The likeliest places ``(b, 2)`` of ever smaller steps ``(s, b)``, from where the pixels were read around."""
    at = np.zeros_like(near.centres)
    settled = np.zeros(len(at))
    for step in narrow_px:
        left = np.flatnonzero(settled != step).tolist()
        if not left:
            continue
        around = at[left, None] + step[left, None, None] * _AROUND
        best = np.argmax(explained(near.of(left).parts, around), axis=1)
        at[left] = around[np.arange(len(left)), best]
        settled[left] = np.where(best == _MIDDLE, step[left], 0.0)
    return at


def _peaks(near: _Near, at: Array) -> list[_Peak | None]:
    """Top of the likelihood near each place ``(b, 2)``, by the parabola about it, and its covariance.

    That is what the bend tells, for noise that is alike from pixel to pixel, and what the shading model leaves behind.
    """
    peaks: list[_Peak | None] = [None] * len(at)
    at, step, left = at.copy(), _peak_step_px(near.shapes), list(range(len(at)))
    for _ in range(PEAK_TURNS):
        if not left:
            break
        around = at[left, None] + step[left, None, None] * _AROUND
        again = []
        for k, gains in zip(left, explained(near.of(left).parts, around), strict=True):
            top = _top(gains)
            if top is None:
                continue
            move, covariance = top
            far = math.hypot(*move) / 2
            if far > 1.0:
                at[k] += step[k] * move / far
                again.append(k)
                continue
            model = np.diag(np.square(np.array(MODEL_SHARE) * near.shapes.radius_px[k]))
            spread = covariance * (step[k] * CORRELATED) ** 2 + model
            peaks[k] = _Peak(near.centres[k] + at[k] + step[k] * move, spread)
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


def _rivals(away: Array, gains: Array, radius_px: float) -> Array:
    """Covariance ``(2, 2)`` by other likely places at ``away`` ``(m, 2)`` from the one that was chosen."""
    best = float(gains.max())
    likely = np.exp((gains - best) / (CORRELATED**2 + RIVAL_SHARE * max(best, 0.0)))
    likely[np.hypot(*away.T) < APART * radius_px] = 0.0
    return np.asarray((likely[:, None] * away).T @ away / (1.0 + likely.sum()))


def _contrast(near: _Near, at: Array, noise: Array) -> Array:
    """Root mean square change ``(b,)`` inside the discs in standard deviations of the background's noise ``(b, 3)``.

    A plane without pixels that tell its noise counts for nothing.
    """
    total, first = np.zeros(len(at)), 0
    for part in near.parts:
        change = part.around.change[:, :, part.disc.rows, part.disc.columns]
        b, k = change.shape[:2]
        seen = part.around.seen[:, part.disc.rows, part.disc.columns].reshape(b, -1)
        inside = (squares(part, at[:, None])[:, 0] < 1.0) & seen
        square = (np.square(change.reshape(b, k, -1)) * inside[:, None]).sum(axis=2)
        share = square / np.maximum(np.count_nonzero(inside, axis=1), 1)[:, None]
        own = np.where(np.isfinite(part.around.noise), part.around.noise, 0.0)
        total += np.sum(share * np.square(own / noise[:, first : first + k]), axis=1)
        first += k
    return np.sqrt(total)
