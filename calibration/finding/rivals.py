"""Of places for a lane that overlap: which one it is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.finding.arrows import find_arrows

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

SAME_IN = 3.0
"""Lanes that lie closer together are the same one, found by another of its lines."""
_RIVAL = 0.6
"""Share of the clearest one's clearness from which on arrows are asked whether another place is the true one."""


def likeliest(luma: Image, cameras: Sequence[Camera], clearness: Sequence[float]) -> tuple[int, float]:
    """Of overlapping lanes the one whose boards the arrows lie on, else the clearest, and how clear another place is.

    A gutter and the rest of the lane are as wide as a lane and show four lines as well, but a chevron only by chance.

    Parameters
    ----------
    luma : uint8 array of shape (H, W)
    cameras : sequence of Camera
        One camera in the frames of the lanes, so that they differ in ``x_in`` only.
    clearness : sequence of float
        How clear each lane is, in any positive unit.

    Returns
    -------
    (int, float)
        Its index, and the clearness of the clearest one in another place over its own; 0 where there is none, or where
        arrows told.
    """
    order = np.argsort(-np.asarray(clearness), kind="stable")
    best = int(order[0])
    tried = [int(k) for k in order if clearness[k] > _RIVAL * clearness[best]]
    if len(tried) > 1:
        aside = [_arrows_aside(luma, cameras[k]) for k in tried]
        if min(aside) < np.inf:
            return tried[int(np.argmin(aside))], 0.0
    elsewhere = [k for k in tried if abs(cameras[k].x_in - cameras[best].x_in) > SAME_IN]
    return best, float(clearness[elsewhere[0]] / clearness[best]) if elsewhere else 0.0


def _arrows_aside(luma: Image, camera: Camera) -> float:
    """How far arrows lie beside their boards (root mean square), boards; infinite where there are none for sure."""
    arrows = find_arrows(luma, camera)
    return arrows.aside_rms_boards if arrows is not None and arrows.many else float("inf")
