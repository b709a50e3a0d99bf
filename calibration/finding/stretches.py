"""From the steepest places across a lane's edge to where the lane ends, stretch by stretch of the edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.finding.brink import PLACES_PX, REACH_PX, Brinks, Courses, brinks_of
from calibration.finding.profiles import Profiles
from calibration.finding.section import courses_of, sections_of

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

MOST = 4
"""Stretches an edge is cut into at most: a pixel is more inches far down the lane."""
_STATIONS = 8
"""Stations from which a stretch is made."""
_LOOKS, _FAR = 3, 0.5
"""An edge that is found farther than this share of the reach from where it was looked for is looked for again there."""


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Stations of profiles with a clear step: their indices ``(n,)`` and its offsets ``(n,)``, pixels."""

    index: NDArray[np.int64]
    offset_px: Array


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """Where the lane ends at stations ``(n,)``.

    Attributes
    ----------
    offset_px : array (n,)
    own_px : array (n,)
        Standard deviation of a station, which together those of a stretch have.
    common_in : float
        What all share, inches.
    """

    offset_px: Array
    own_px: Array
    common_in: float


def lane_ends(luma: Image, camera: Camera, profiles: Profiles, steps: Steps, *, edge_in: Array) -> Ends:
    """Where the lane ends, from the steepest places across its edge.

    Parameters
    ----------
    luma : uint8 array of shape (H, W)
    camera : Camera
        The one that the profiles are of.
    profiles : Profiles
        Across the edge, offsets growing to the right.
    steps : Steps
    edge_in : array of shape (m, 2)
        Lane points (x, y) of all stations of the profiles.
    """
    x_in, y_in = float(edge_in[0, 0]), edge_in[steps.index, 1]
    outward = float(np.sign(x_in))
    inch = profiles.inch_px[steps.index]
    parts = np.array_split(np.arange(len(inch)), np.clip(len(inch) // _STATIONS, 1, MOST))
    owner = np.repeat(np.arange(len(parts)), [len(part) for part in parts])
    inches = np.array([float(np.median(inch[part])) for part in parts])
    # level in inches within a stretch: the steepest places drift as a lip gets narrower in the picture
    course = np.polynomial.Polynomial.fit(steps.index, steps.offset_px, 2)(steps.index) / inch
    at_in = np.array([float(np.median(course[part])) for part in parts])
    beside = courses_of(
        sections_of(luma, camera, x_in + at_in[owner], y_in, outward=outward), parts, inches_px=inches.tolist()
    )
    slant = (abs(x_in) - camera.x_in * outward) / camera.z_in
    begun, first = outward * at_in, int(np.argmax(inches))
    for _ in range(_LOOKS):
        gone = outward * at_in - begun
        courses = Courses(beside.off_in - gone + gone[first], beside.sd_in)
        values = _values(profiles, steps.index, (at_in[owner] * inch)[:, None] + outward * PLACES_PX)
        found = brinks_of([values[part] for part in parts], inches.tolist(), slant, courses)
        at_in = at_in + outward * found.off_px / inches
        if np.abs(found.off_px).max() < _FAR * REACH_PX:
            break
    return Ends(at_in[owner] * inch, _own_px(found, owner), found.common_in)


def _own_px(found: Brinks, owner: NDArray[np.intp]) -> Array:
    return np.asarray(found.own_px[owner] * np.sqrt(np.bincount(owner)[owner]))


def _values(profiles: Profiles, index: NDArray[np.int64], offset_px: Array) -> Array:
    """Brightness ``(n, k)`` of stations at offsets ``(n, k)``; beyond the frame that of their last pixel."""
    rows = []
    for k, offsets in zip(index, offset_px, strict=True):
        seen = np.isfinite(profiles.value[k])
        rows.append(np.interp(offsets, profiles.offset_px[seen], profiles.value[k, seen]))
    return np.array(rows)
