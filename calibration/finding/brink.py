"""Where a lane ends in the brightness across its edge: lane, shaded lip of the gutter, and gutter, all blurred."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Array = NDArray[np.float64]

SPAN_PX = (-4.0, 5.0)
"""Brightness from here on the lane to there in the gutter is looked at, pixels from where the edge is expected."""
REACH_PX = 2.5
"""How far from there the edge may be."""
PLACES_PX = np.arange(SPAN_PX[0], SPAN_PX[1] + 0.1, 0.5)
"""Places ``(n,)`` at which :func:`brinks_of` takes the brightness, outward positive."""

_STEP_PX = 0.25
_BLURS_PX = np.array([0.45, 0.65, 0.95, 1.4])
_LIPS_PX = np.array([0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0])
_LIP_IN, _LIP_SPREAD, _LEAST_LIP_PX = 0.2, 1.0, 0.125
"""Usual width of the shaded lip of a gutter seen from straight above, and the standard deviation of its logarithm (own
estimates: gutters are rounded troughs with their rims a little below the lane)."""
_SLANT, _HIDDEN = 0.9, 0.15
"""By how much of itself a lip looks narrower where the camera looks at 45 degrees across the lane's edge into the
gutter, and what is left where the edge hides it."""
_LIGHT = 1.3
"""Exponent from luma to what blur mixes: between none and a display's 2.2, as phones lift dark tones and bend bright
ones (own choice)."""
_ALIKE = 15.0
"""Samples of a profile that count as one: they overlap, and no profile is just lane, lip and gutter (by the scatter of
errors on drawn edges)."""
_NOISE, _NEVER = 0.05, 1e3
_CLEAR_PX = 0.5
"""From about here on, standard deviation of a stretch's place to the nearest one, its own look counts (own choice)."""
_SHARED, _TRACE = 41, 1e-30
"""Places at which all stretches together are tried, and what keeps a logarithm finite."""
_ELSEWHERE, _LEAST_PX = 0.005, 0.05
"""Share of stretches that show something else (own estimate), and how closely a stretch can tell (by the scatter of
errors on drawn edges)."""


@dataclass(frozen=True, slots=True, eq=False)
class Courses:
    """How far stretches ``(k,)`` of an edge lie beyond the nearest one, outward positive, and how far that is in doubt.

    Attributes
    ----------
    off_in, sd_in : array (k,)
    """

    off_in: Array
    sd_in: Array


@dataclass(frozen=True, slots=True, eq=False)
class Brinks:
    """Place of an edge in several stretches ``(k,)`` beyond where it was expected, outward positive, pixels.

    Attributes
    ----------
    off_px : array (k,)
    own_px : array (k,)
        Standard deviation that each stretch has for itself.
    common_in : float
        Standard deviation that all share, inches.
    """

    off_px: Array
    own_px: Array
    common_in: float


@dataclass(frozen=True, slots=True, eq=False)
class _Shape:
    """Brightness of edges at all places for all blurs: bases ``(s, g, n, p)`` and what solves for their levels."""

    basis: Array
    solver: Array

    def fit(self, values: Array) -> tuple[Array, Array]:
        """Levels ``(s, g, p)`` and squared misfits ``(s, g)`` of brightness ``(n,)``."""
        levels = self.solver @ values
        return levels, np.asarray(values @ values - np.sum((values @ self.basis) * levels, axis=-1))


def brinks_of(profiles: Sequence[Array], inches_px: Sequence[float], slant: float, courses: Courses) -> Brinks:
    """Edge in each of several stretches of one line, by brightness ``(m, n)`` at its stations.

    The brightness across an edge is a level on the lane, a darker one on the gutter's lip, then one that may rise or
    fall, all blurred. Place, blur (the same in all stretches) and lip (as many inches in all) are tried on a grid; how
    well each explains the brightness, and how wide a lip looks from there, give the place's mean and standard
    deviation. So a lip that may be there unseen, as where a gutter is as pale as the lane, is doubt.

    Parameters
    ----------
    profiles : sequence of arrays (m, n)
        Luma at :data:`PLACES_PX` for the stations of each stretch.
    inches_px : sequence of float
        Pixels of an inch across, of each stretch.
    slant : float
        How far the edge lies outward of the camera, over the camera's height: a lip beyond it is hidden from there.
    courses : Courses
        How the stretches lie to one another.
    """
    inch = np.array(inches_px)
    most = float(inch.max())
    shared = np.linspace(-REACH_PX, REACH_PX, _SHARED) / most
    counts = _counts(courses.sd_in * inch)
    own = [
        share * _with_lips(_worths(part), _LIPS_PX / most * k)
        for part, k, share in zip(profiles, inch, counts, strict=True)
    ]
    kernels = [_kernel(shared + off, sd, k) for off, sd, k in zip(courses.off_in, courses.sd_in, inch, strict=True)]
    each = [np.log(np.exp(worth - worth.max()) @ kernel + _TRACE) for worth, kernel in zip(own, kernels, strict=True)]
    total = np.sum(each, axis=0) + _lip_worths(most, slant)[:, None, None]
    others = [np.exp(total - one - (total - one).max()) for one in each]
    places = [
        _moments(np.log(rest @ kernel.T + _TRACE) + worth, _grid())
        for worth, kernel, rest in zip(own, kernels, others, strict=True)
    ]
    off, variance = np.array(places).T
    common = _moments(total, shared)[1]
    left = np.maximum(variance - common * inch**2, 0.0)
    return Brinks(off, np.sqrt(left + _LEAST_PX**2), float(np.sqrt(common)))


def _counts(sd_px: Array) -> Array:
    """Share ``(k,)`` that a stretch's own look counts: the same pixels told already how it lies to the nearest one."""
    share = sd_px**2 / (sd_px**2 + _CLEAR_PX**2)
    share[int(np.argmin(sd_px))] = 1.0
    return np.asarray(share)


def _with_lips(worths: Array, lips_px: Array) -> Array:
    """What is known at :data:`_LIPS_PX` ``(lips, blurs, places)`` at other widths of the lip."""
    at = np.interp(lips_px, _LIPS_PX, np.arange(len(_LIPS_PX)))
    low = np.minimum(at.astype(int), len(_LIPS_PX) - 2)
    share = (at - low)[:, None, None]
    return np.asarray((1.0 - share) * worths[low] + share * worths[low + 1])


def _kernel(expected_in: Array, sd_in: float, inch_px: float) -> Array:
    """How likely ``(places, s)`` an edge is at each place, by where it is expected; a few show something else."""
    sd_px = max(sd_in * inch_px, 0.5 * _STEP_PX)
    off = (_grid()[:, None] - expected_in * inch_px) / sd_px
    near = np.exp(-0.5 * off**2) * _STEP_PX / (np.sqrt(2 * np.pi) * sd_px)
    return np.asarray((1.0 - _ELSEWHERE) * near + _ELSEWHERE / len(off))


def _moments(worth: Array, grid: Array) -> tuple[float, float]:
    """Mean place and its variance by the logarithms ``(lips, blurs, places)`` of how likely each is."""
    share = np.exp(worth - worth.max()).sum(axis=(0, 1))
    share /= share.sum()
    mean = float(share @ grid)
    return mean, float(share @ (grid - mean) ** 2)


def light_of(luma: Array) -> Array:
    """What blur mixes, for luma of any shape."""
    return np.asarray(255.0 * (np.clip(luma, 1.0, None) / 255.0) ** _LIGHT)


def _worths(luma: Array) -> Array:
    """Logarithm ``(lips, blurs, places)`` of how likely a stretch's brightness makes each."""
    light = light_of(luma)
    middle = np.median(light, axis=0)
    misfit = _misfits(middle)
    noise = float(np.median(np.abs(light - middle))) ** 2 / len(light)
    spread = max(float(misfit.min()) / (len(middle) - 4), noise, _NOISE)
    return np.asarray(np.maximum(-0.5 * misfit / (spread * _ALIKE), -_NEVER))


def _lip_worths(inch_px: float, slant: float) -> Array:
    """Logarithm ``(lips,)`` of how likely each width of the lip is, by an inch's pixels and the view."""
    usual = max(_LIP_IN * max(1.0 - _SLANT * slant, _HIDDEN) * inch_px, _LEAST_LIP_PX)
    widths = np.maximum(_LIPS_PX, _LEAST_LIP_PX)
    bounds = np.sqrt(widths[1:] * widths[:-1])
    bins = np.diff(np.log([bounds[0] / 2, *bounds, widths[-1]]))
    return np.asarray(np.log(bins) - 0.5 * (np.log(widths / usual) / _LIP_SPREAD) ** 2)


def _misfits(values: Array) -> Array:
    """Squared misfits ``(lips, blurs, places)`` of brightness ``(n,)``; a lip is darker than lane and gutter, or none.

    A lip as bright as the gutter is part of it; one as bright as the lane makes the edge seem to be at its outer side.
    """
    plain, lips = _shapes()
    count = len(_grid())
    levels, misfit = plain.fit(values)
    gutter_like = np.where(levels[..., 1] <= levels[..., 0], misfit, np.inf)[:, :count]
    lane_like = np.where(levels[..., 1] >= levels[..., 0], misfit, np.inf)
    found = [misfit[:, :count]]
    for width, shape in zip(_LIPS_PX[1:], lips, strict=True):
        levels, misfit = shape.fit(values)
        lip = levels[..., 1] / width
        darker = (lip <= np.minimum(levels[..., 0], levels[..., 2])) & (lip > 0)
        first = round(width / _STEP_PX)
        like = np.minimum(gutter_like, lane_like[:, first : first + count])
        found.append(np.minimum(np.where(darker, misfit, np.inf), like))
    return np.stack(found)


@lru_cache(maxsize=1)
def _grid() -> Array:
    return np.arange(-REACH_PX, REACH_PX + _STEP_PX / 2, _STEP_PX)


@lru_cache(maxsize=1)
def _shapes() -> tuple[_Shape, tuple[_Shape, ...]]:
    """Edges without a lip, at all places an edge or a lip's outer side may have, and with each width of a lip."""
    further = np.arange(-REACH_PX, REACH_PX + _LIPS_PX[-1] + _STEP_PX / 2, _STEP_PX)
    return _shape(further, 0.0), tuple(_shape(_grid(), float(width)) for width in _LIPS_PX[1:])


def _shape(places: Array, lip_px: float) -> _Shape:
    x = PLACES_PX[None, None, :] - places[None, :, None]
    blur = _BLURS_PX[:, None, None]
    beyond = x - lip_px
    lane, gutter = 1.0 - ndtr(x / blur), ndtr(beyond / blur)
    rise = beyond * gutter + blur * np.exp(-0.5 * (beyond / blur) ** 2) / np.sqrt(2 * np.pi)
    lip = [(1.0 - lane - gutter) / lip_px] if lip_px > 0 else []
    basis = np.stack([lane, *lip, gutter, rise], axis=-1)
    normal = np.swapaxes(basis, -1, -2) @ basis
    # an edge near the end of the span leaves a level all but open: a trace of a ridge keeps it finite
    normal += 1e-6 * np.trace(normal, axis1=-2, axis2=-1)[..., None, None] * np.eye(normal.shape[-1])
    return _Shape(basis, np.linalg.solve(normal, np.swapaxes(basis, -1, -2)))
