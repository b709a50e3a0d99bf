"""What lies beside an edge looks alike all along the lane: how its stretches lie to one another."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from calibration.camera import Camera
from calibration.finding.brink import Courses, light_of
from calibration.finding.sampling import sampled

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

SPAN_IN = (-7.0, 10.5)
"""What is compared: a little of the lane, the gutter and its outer edge, inches outward of the lane's edge."""
GRID_IN = 0.125
_ALONG, _ALONG_IN = 3, 2.0
_REACH_PX, _STEPS = 2.0, 33
"""How far beyond one another stretches may lie, and at how many places that is tried."""
_LANE_PX, _NEEDED_IN = 4.0, 2.0
"""How much of the lane is compared at most, and what must be seen on both sides of the edge."""
_BLUR_PX = 0.7
"""Blur of a usual picture: what more of it a smaller stretch of the picture has, counted in inches."""
_ALIKE, _LEAST_PX = 3.0, 0.06
"""Pixels of a section that count as one, and how closely it can tell (by the scatter of errors on drawn edges, half of
which lie within 0.05 px)."""
_NOISE, _FEWEST = 0.05, 10


def sections_of(luma: Image, camera: Camera, edge_in: Array, y_in: Array, *, outward: float) -> Array:
    """Light ``(n, g)`` of stations square across an edge, at :data:`SPAN_IN` in steps of :data:`GRID_IN`.

    ``edge_in`` (n,) is where the edge is taken to be at the distances ``y_in`` (n,); NaN outside the frame.
    """
    grid = _grid()
    along = np.linspace(-_ALONG_IN, _ALONG_IN, _ALONG)
    places = np.zeros((len(y_in), _ALONG, len(grid), 3))
    places[..., 0] = (edge_in[:, None] + outward * grid)[:, None]
    places[..., 1] = (y_in[:, None] + along)[..., None]
    return np.asarray(light_of(sampled(luma, camera.project(places)).mean(axis=1)))


def courses_of(sections: Array, parts: Sequence[NDArray[np.intp]], inches_px: Sequence[float]) -> Courses:
    """How far each of several stretches ``parts`` of stations ``(n, g)`` lies beyond the nearest one.

    A ray that meets the lane's plane at a distance from the edge meets the same part of the gutter however far down the
    lane: its slope is the same. So the section seen near by, blurred more, is the one seen far away.
    """
    middles = [_middle(sections[part]) for part in parts]
    first = int(np.argmax(inches_px))
    off, sd = np.zeros(len(parts)), np.zeros(len(parts))
    for k, (middle, inch) in enumerate(zip(middles, inches_px, strict=True)):
        if k != first:
            off[k], sd[k] = _beyond(middles[first], inches_px[first], middle, inch)
    return Courses(off, sd)


def _middle(sections: Array) -> Array:
    """Median ``(g,)`` of sections ``(n, g)``, NaN where none is seen."""
    middle = np.full(sections.shape[1], np.nan)
    known = np.isfinite(sections).any(axis=0)
    middle[known] = np.nanmedian(sections[:, known], axis=0)
    return middle


def _beyond(near: Array, near_px: float, far: Array, far_px: float) -> tuple[float, float]:
    """Place of one section beyond another, inches, and its standard deviation; each with its pixels an inch.

    The lane's and the gutter's brightness and how strong the gutter's markings are may differ.
    """
    grid = _grid()
    reach = _REACH_PX / far_px
    known = np.isfinite(near)
    if not known[np.abs(grid) < _NEEDED_IN].all():
        return 0.0, reach
    near = np.interp(grid, grid[known], near[known])
    seen = np.isfinite(far) & (grid > -_LANE_PX / far_px) & (grid < grid[known][-1] - reach)
    if seen.sum() < _FEWEST:
        return 0.0, reach
    trial = np.linspace(-reach, reach, _STEPS)
    misfit = _misfits(_bases(near, near_px, trial, far_px)[:, seen], far[seen])
    pixels = seen.sum() * GRID_IN * far_px
    spread = max(float(misfit.min()) * pixels / max(pixels - 4.0, 2.0), _NOISE)
    worth = -0.5 * misfit * pixels / (spread * _ALIKE)
    share = np.exp(worth - worth.max())
    share /= share.sum()
    mean = float(share @ trial)
    return mean, float(np.sqrt(share @ (trial - mean) ** 2 + (_LEAST_PX / far_px) ** 2))


def _bases(near: Array, near_px: float, trial: Array, far_px: float) -> Array:
    """Lane, gutter and the gutter's own markings ``(t, g, 3)`` as farther away, shifted by each trial."""
    grid = _grid()
    own = grid < max(-2 * _BLUR_PX / near_px, SPAN_IN[0] + _NEEDED_IN)
    lane = float(np.median(near[own]))
    gutter = np.where(own, 0.0, near - lane * (1.0 - ndtr(grid * near_px / _BLUR_PX)))
    more = _BLUR_PX * np.sqrt(max(far_px**-2 - near_px**-2, 0.0))
    wide = gaussian_filter1d(gutter, max(more / GRID_IN, 0.1), mode="nearest")
    x = grid - trial[:, None]
    step = ndtr(x * far_px / _BLUR_PX)
    return np.stack([1.0 - step, step, np.interp(x, grid, wide)], axis=-1)


def _misfits(basis: Array, values: Array) -> Array:
    """Mean squares ``(t,)`` of what lane, gutter and its markings ``(t, g, 3)`` leave of a section ``(g,)``.

    Markings may be weaker, not reversed.
    """
    normal = np.swapaxes(basis, 1, 2) @ basis
    normal += 1e-6 * np.trace(normal, axis1=1, axis2=2)[:, None, None] * np.eye(3)
    told = values @ basis
    levels = np.linalg.solve(normal, told[..., None])[..., 0]
    plain = np.linalg.solve(normal[:, :2, :2], told[:, :2, None])[..., 0]
    levels = np.where(levels[:, 2:] < 0, np.pad(plain, ((0, 0), (0, 1))), levels)
    return np.asarray(np.mean((values - (basis @ levels[..., None])[..., 0]) ** 2, axis=1))


def _grid() -> Array:
    return np.arange(SPAN_IN[0], SPAN_IN[1] + GRID_IN / 2, GRID_IN)
