"""The numbers of a shot, for the best estimate and all equally likely paths at once (definitions: tracker.columns)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import (
    ARROW_CENTRE_FT,
    ARROW_SLOPE_FT,
    BOARD_WIDTH_IN,
    INCHES_PER_FOOT,
    arrow_distance_in,
)
from tracker.shot.curves import GRID_FT, Curves, at, crossing, head_pin_board

Array = NDArray[np.float64]

TURN_FROM_FT = 15.0
ONSET_TURN_DEG = 1.0
ROLL_SHARE = 0.9
LAUNCH_SPAN_FT = 5.0
ENTRY_SPAN_FT = 1.0
INTERIOR_FT = 0.3
LAYDOWN_REACH_FT = 3.0
SLIP_OVER_SHARE = 0.35
SETTLED_FT = 1.5
HALF = 0.5
HOOK = ("onset_ft", "breakpoint_ft", "breakpoint_board", "turn_deg", "roll_ft", "slip_end_ft", "hook_length_ft")


@dataclass(frozen=True, slots=True)
class Chevron:
    """The arrows' chevron, equally likely versions ``(m,)``: distance on board 20 and slope for five boards, feet."""

    centre_ft: Array
    slope_ft: Array


@dataclass(frozen=True, slots=True)
class Numbers:
    """Every quantity as ``(m,)`` values, NaN where it does not exist."""

    values: dict[str, Array]


def _mean_between(curve: Array, distance_ft: Array, low: Array, high: Array) -> Array:
    inside = (distance_ft >= low[:, None] - 1e-9) & (distance_ft <= high[:, None] + 1e-9) & np.isfinite(curve)
    count = inside.sum(axis=1)
    total = np.where(inside, curve, 0.0).sum(axis=1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _laydown(c: Curves, laydown_ft: Array) -> dict[str, Array]:
    start = np.full(len(c.board), c.first_ft)
    here = np.ceil(c.first_ft / GRID_FT) * GRID_FT
    near_board, near_heading = at(c.board, c.distance_ft, here), at(c.heading_deg, c.distance_ft, here)
    board = near_board + np.tan(np.radians(near_heading)) * (laydown_ft - here) * INCHES_PER_FOOT / BOARD_WIDTH_IN
    reached = start - laydown_ft <= LAYDOWN_REACH_FT
    begin = np.where(reached, np.maximum(laydown_ft, here), here)
    later = at(c.speed_mph, c.distance_ft, here + LAUNCH_SPAN_FT)
    speed = at(c.speed_mph, c.distance_ft, here)
    slowing = np.where(np.isfinite(later), (later - speed) / LAUNCH_SPAN_FT, 0.0)
    return {
        "laydown_ft": np.where(reached, laydown_ft, np.nan),
        "laydown_board": np.where(reached, board, np.nan),
        "launch_angle_deg": -_mean_between(c.heading_deg, c.distance_ft, begin, begin + LAUNCH_SPAN_FT),
        "speed_release_mph": speed + np.where(reached, slowing * (laydown_ft - here), 0.0),
    }


def _hook(c: Curves) -> dict[str, Array]:
    y = c.distance_ft
    if len(y) < 2:
        # a path that hardly moved down the lane has no curve
        return {name: np.full(len(c.start_ft), np.nan) for name in HOOK}
    start = at(c.heading_deg, y, TURN_FROM_FT)
    turned = c.heading_deg - start[:, None]
    onset = crossing(turned, ONSET_TURN_DEG, y, TURN_FROM_FT)
    point = crossing(c.heading_deg, 0.0, y, TURN_FROM_FT)
    end = np.where(np.isfinite(c.contact_ft), c.contact_ft, c.last_ft)
    interior = (point > TURN_FROM_FT + INTERIOR_FT) & (point < end - INTERIOR_FT)
    point = np.where(interior, point, np.nan)
    final = _entry(c)
    turn = final - start
    # a ball that comes back leaves paths whose turning is nowhere a number
    turning = np.where((y >= TURN_FROM_FT) & np.isfinite(c.turning), c.turning, -np.inf)
    peak = turning.max(axis=1)
    peak = np.where(np.isfinite(peak), peak, np.nan)
    last = _mean_between(c.turning, y, c.contact_ft - SETTLED_FT, c.contact_ft)
    settled = np.isfinite(onset) & (last < SLIP_OVER_SHARE * peak)
    done = crossing(turned, ROLL_SHARE * turn, y, TURN_FROM_FT)
    top = y[turning.argmax(axis=1)]
    over = crossing(-c.turning, -HALF * peak, y, top)
    return {
        "onset_ft": onset,
        "breakpoint_ft": point,
        "breakpoint_board": at(c.board, y, point),
        "turn_deg": turn,
        "roll_ft": np.where(settled, done, np.nan),
        "slip_end_ft": np.where(settled, over, np.nan),
        "hook_length_ft": np.where(settled, done - onset, np.nan),
    }


def _entry(c: Curves) -> Array:
    return _mean_between(c.heading_deg, c.distance_ft, c.contact_ft - ENTRY_SPAN_FT, c.contact_ft)


def _arrows(c: Curves, chevron: Chevron) -> Array:
    # the chevron's distance is linear in its two parameters
    steps = (ARROW_CENTRE_FT - arrow_distance_in(c.board) / INCHES_PER_FOOT) / ARROW_SLOPE_FT
    ahead = c.distance_ft - (chevron.centre_ft[:, None] - chevron.slope_ft[:, None] * steps)
    return at(c.board, c.distance_ft, crossing(ahead, 0.0, c.distance_ft, 5.0))


def shot_numbers(c: Curves, laydown_ft: Array, chevron: Chevron, slip_end_ft: Array | None = None) -> Numbers:
    """All numbers of the shot.

    Parameters
    ----------
    c : Curves
        Paths over distance.
    laydown_ft : ndarray of shape (m,)
        Distance of the first contact with the lane, one for each path.
    chevron : Chevron
        The arrows, one version for each path.
    slip_end_ft : ndarray of shape (m,), optional
        Where slip ends by the physical ball; without it where the path's bend falls to half of its largest.
    """
    values = _laydown(c, laydown_ft)
    values |= _hook(c)
    if slip_end_ft is not None:
        before = slip_end_ft < np.nan_to_num(c.contact_ft, nan=-np.inf)
        values["slip_end_ft"] = np.where(before, slip_end_ft, np.nan)
    entry = _entry(c)
    values |= {
        "first_seen_ft": c.start_ft,
        "first_seen_board": c.start_board,
        "board_15ft": at(c.board, c.distance_ft, TURN_FROM_FT),
        "arrows_board": _arrows(c, chevron),
        "entry_angle_deg": entry,
        "contact_board": c.contact_board,
        "contact_ft": c.contact_ft,
        "board_60ft": head_pin_board(c.contact_ft, c.contact_board, entry),
        "speed_pins_mph": _mean_between(c.speed_mph, c.distance_ft, c.contact_ft - ENTRY_SPAN_FT / 2, c.contact_ft),
    }
    values["boards_out"] = values["laydown_board"] - values["breakpoint_board"]
    values["boards_back"] = values["contact_board"] - values["breakpoint_board"]
    return Numbers(values)
