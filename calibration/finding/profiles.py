"""Brightness across a line of the lane, station by station."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from calibration.camera import Camera
from calibration.finding.sampling import sampled

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]

STEP_PX = 0.5
HIDDEN_CELL_PX = 8
"""Side of the square cells in which a mask says that somebody stands before what is behind."""
STRAY_PX = 1.6
"""Farther than this from where most of a line is seen, a station shows something else."""
POINT_PX = 0.3
"""Scatter of a single station's place on an edge that is clear."""
_BLUR_PX = 0.6
_ALONG = 5


@dataclass(frozen=True, slots=True)
class Profiles:
    """Brightness across a line at stations along it.

    Attributes
    ----------
    at : array (n, 2)
        Pixels where the line is expected.
    across : array (n, 2)
        Unit directions across it.
    offset_px : array (k,)
        Places along ``across``.
    value : array (n, k)
        Brightness there, mean over a stretch along the line; NaN outside the frame.
    slope : array (n, k)
        Its smoothed derivative.
    inch_px : array (n,)
        Pixels an inch across the line takes.
    """

    at: Array
    across: Array
    offset_px: Array
    value: Array
    slope: Array
    inch_px: Array


def profiles_of(luma: Image, camera: Camera, lane_points: Array, *, step_in: Array, reach_px: float) -> Profiles:
    """Profiles at lane points ``(n, 3)`` of a line that runs along ``step_in`` (3,) inches."""
    at, further = camera.project(lane_points), camera.project(lane_points + step_in)
    way = further - at
    way /= np.maximum(np.hypot(way[:, 0], way[:, 1])[:, None], 1e-9)
    across = np.stack([-way[:, 1], way[:, 0]], axis=1)
    square = np.array([abs(step_in[1]), abs(step_in[0]), 0.0]) / np.hypot(step_in[0], step_in[1])
    inch = np.abs(np.sum((camera.project(lane_points + square) - at) * across, axis=1))
    offset = np.arange(-reach_px, reach_px + STEP_PX / 2, STEP_PX)
    spacing = np.hypot(*np.gradient(at, axis=0).T)
    along = np.linspace(-0.5, 0.5, _ALONG)[None, :] * np.minimum(spacing, 12.0)[:, None]
    places = at[:, None] + along[..., None] * way[:, None]
    values = sampled(luma, places[:, :, None] + offset[:, None] * across[:, None, None])
    value = values.mean(axis=1)
    slope = gaussian_filter1d(value, _BLUR_PX / STEP_PX, axis=1, order=1) / STEP_PX
    return Profiles(at, across, offset, value, slope, inch)


def covered(hidden: NDArray[np.bool_] | None, pixels: Array) -> NDArray[np.bool_]:
    """Which pixels ``(n, 2)`` lie where somebody stands, by a mask ``(H / c, W / c)`` of cells of c pixels."""
    if hidden is None:
        return np.zeros(len(pixels), dtype=bool)
    cells = np.floor(np.nan_to_num(pixels, nan=-1.0) / HIDDEN_CELL_PX).astype(int)
    inside = (cells >= 0).all(axis=1) & (cells[:, 0] < hidden.shape[1]) & (cells[:, 1] < hidden.shape[0])
    on = np.zeros(len(pixels), dtype=bool)
    on[inside] = hidden[cells[inside, 1], cells[inside, 0]]
    return on
