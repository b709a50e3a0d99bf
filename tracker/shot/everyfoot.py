"""The path at every whole foot with standard uncertainties, from the equally likely paths of the shot's numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tracker.results import PathCurves
from tracker.shot.curves import GRID_FT, Curves

Array = NDArray[np.float64]

STEP_FT = 1.0
EXISTS_SHARE = 0.8
LEAST_PLACES = 2
CENTRAL_95_SIGMAS = 3.92
BOARD_U, HEADING_U_DEG, SPEED_U_MPH = 0.03, 0.05, 0.04
"""What models that round the path's bends leave behind, as in the shot's numbers."""
SIDEWAYS_U_FT_S2, SIDEWAYS_SHARE = 0.04, 0.08
"""Error of the sideways acceleration by friction of another form than the model's, and that relative to its size; from
rendered shots with truth."""
SLIP_END_U_FT = 0.15
"""Model error of where slip ends, as in the shot's numbers: there the acceleration stops at once."""


def every_foot(c: Curves, timing_u: tuple[float, float] = (0.0, 0.0)) -> PathCurves | None:
    """Values of the best path and the width of the central 95 % of the others; None where fewer than two feet are told.

    Parameters
    ----------
    c : Curves
        The best path first, then equally likely ones.
    timing_u : tuple of float
        Relative uncertainty of speeds by timing at the first and at the last row; an acceleration has twice that.
    """
    end = c.contact_ft[0] if np.isfinite(c.contact_ft[0]) else c.last_ft
    whole = np.isclose(c.distance_ft / STEP_FT, np.round(c.distance_ft / STEP_FT), atol=GRID_FT / 100)
    told = whole & (c.distance_ft <= end)
    for curve in (c.board, c.heading_deg, c.speed_mph, c.sideways_ft_s2):
        told &= np.isfinite(curve[0]) & (np.isfinite(curve[1:]).mean(axis=0) >= EXISTS_SHARE)
    if told.sum() < LEAST_PLACES:
        return None
    feet = np.round(c.distance_ft[told])
    timing = np.interp(feet, [c.first_ft, max(c.last_ft, c.first_ft + GRID_FT)], timing_u)
    board, heading, speed, sideways = (
        curve[:, told] for curve in (c.board, c.heading_deg, c.speed_mph, c.sideways_ft_s2)
    )
    own = np.hypot(SIDEWAYS_U_FT_S2 + SIDEWAYS_SHARE * np.abs(sideways[0]), _steepness(c.sideways_ft_s2[0])[told])
    return PathCurves(
        distance_ft=feet,
        board=board[0],
        board_u=np.hypot(_spread(board), BOARD_U),
        heading_deg=heading[0],
        heading_deg_u=np.hypot(_spread(heading), HEADING_U_DEG),
        speed_mph=speed[0],
        speed_mph_u=np.hypot(np.hypot(_spread(speed), SPEED_U_MPH), timing * speed[0]),
        sideways_ft_s2=sideways[0],
        sideways_ft_s2_u=np.hypot(np.hypot(_spread(sideways), own), 2 * timing * sideways[0]),
    )


def _steepness(curve: Array) -> Array:
    """How much a curve ``(g,)`` changes within the model error of where slip ends; nothing beyond its ends."""
    steps = int(np.ceil(SLIP_END_U_FT / GRID_FT))
    padded = np.pad(curve, steps, mode="edge")
    changes = [np.abs(padded[k : k + len(curve)] - curve) for k in (0, 2 * steps)]
    return np.asarray(np.nan_to_num(np.max(changes, axis=0)))


def _spread(curve: Array) -> Array:
    """Standard uncertainty ``(k,)``: a second possibility far off counts, one stray draw does not."""
    low, high = np.nanpercentile(curve[1:], [2.5, 97.5], axis=0)
    return np.asarray((high - low) / CENTRAL_95_SIGMAS)
