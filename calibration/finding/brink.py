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
_NOISE = 0.05
_ANYWHERE_PX, _APART, _LEAST_PX = REACH_PX, 0.5, 0.05
"""How far an edge may be moved, how much farther in one stretch than in the others as a share of what is in doubt, and
how closely a stretch can tell (by the scatter of errors on drawn edges)."""


@dataclass(frozen=True, slots=True, eq=False)
class Brinks:
    """Place of an edge in several stretches ``(k,)`` beyond where it was expected, outward positive, pixels.

    Attributes
    ----------
    off_px : array (k,)
    own_px : array (k,)
        Standard deviation that each stretch has for itself.
    common_px : float
        Standard deviation that all share.
    """

    off_px: Array
    own_px: Array
    common_px: float


@dataclass(frozen=True, slots=True, eq=False)
class _Shape:
    """Brightness of edges at all places for all blurs: bases ``(s, g, n, p)`` and what solves for their levels."""

    basis: Array
    solver: Array

    def fit(self, values: Array) -> tuple[Array, Array]:
        """Levels ``(s, g, p)`` and squared misfits ``(s, g)`` of brightness ``(n,)``."""
        levels = self.solver @ values
        return levels, np.asarray(values @ values - np.sum((values @ self.basis) * levels, axis=-1))


def brinks_of(profiles: Sequence[Array], inches_px: Sequence[float], slant: float) -> Brinks:
    """Edge in each of several stretches of one line, by brightness ``(m, n)`` at its stations.

    The brightness across an edge is a level on the lane, a darker one on the gutter's lip, then one that may rise or
    fall, all blurred. Place, blur (the same in all stretches) and lip are tried on a grid; how well each explains the
    brightness, and how wide a lip looks from there, give the place's mean and standard deviation. So a lip that may
    be there unseen, as where a gutter is as pale as the lane, is doubt.

    Parameters
    ----------
    profiles : sequence of arrays (m, n)
        Luma at :data:`PLACES_PX` for the stations of each stretch.
    inches_px : sequence of float
        Pixels of an inch across, of each stretch.
    slant : float
        How far the edge lies outward of the camera, over the camera's height: a lip beyond it is hidden from there.
    """
    worths = [_worths(part, inch, slant) for part, inch in zip(profiles, inches_px, strict=True)]
    blurs = np.array([np.logaddexp.reduce(worth, axis=(0, 2)) for worth in worths])
    both = blurs.sum(axis=0)
    moments = [_moments(worth + (both - own)[None, :, None]) for worth, own in zip(worths, blurs, strict=True)]
    return _together(*np.array(moments).T)


def _moments(worth: Array) -> tuple[float, float]:
    """Mean place and its variance by the logarithms ``(lips, blurs, places)`` of how likely each is."""
    share = np.exp(worth - worth.max()).sum(axis=(0, 1))
    share /= share.sum()
    mean = float(share @ _grid())
    return mean, float(share @ (_grid() - mean) ** 2)


def _together(mean: Array, variance: Array) -> Brinks:
    """Places of stretches ``(k,)`` that the same blur and lip move by nearly the same."""
    prior = _ANYWHERE_PX**2 + _APART**2 * float(np.median(variance)) * np.eye(len(mean))
    gain = np.linalg.solve(prior + np.diag(variance + _LEAST_PX**2), prior).T
    left = prior - gain @ prior
    common = max(float(left.mean()), 0.0)
    own = np.sqrt(np.maximum(np.diag(left) - common, 0.0))
    return Brinks(gain @ mean, own, float(np.sqrt(common)))


def _worths(luma: Array, inch_px: float, slant: float) -> Array:
    """Logarithm ``(lips, blurs, places)`` of how likely a stretch's brightness and its lip make each."""
    light = 255.0 * (np.clip(luma, 1.0, None) / 255.0) ** _LIGHT
    middle = np.median(light, axis=0)
    misfit = _misfits(middle)
    noise = float(np.median(np.abs(light - middle))) ** 2 / len(light)
    spread = max(float(misfit.min()) / (len(middle) - 4), noise, _NOISE)
    return np.asarray(-0.5 * misfit / (spread * _ALIKE) + _lip_worths(inch_px, slant)[:, None, None])


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
