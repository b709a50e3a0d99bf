"""A path, or many at once, as curves over distance: board, heading and speed, and the place of first contact."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import (
    BOARD_WIDTH_IN,
    HEAD_PIN_IN,
    INCHES_PER_FOOT,
    PIN_BELLY_RADIUS_IN,
    Hand,
    board_from_x,
    pin_positions,
)
from tracker.path.motion import AX, AY, VX, VY, X, Y

Array = NDArray[np.float64]

GRID_FT = 0.1
MISS_FT = 59.5
MPH_PER_IN_S = 1.0 / 17.6
END_SLACK_FT = 1.5
"""Equally likely paths start and end up to this much apart; their first and last values stand for the bit missing."""


@dataclass(frozen=True, slots=True)
class Curves:
    """Paths of one shot over a common grid of distances, the best estimate first, then equally likely others.

    Attributes
    ----------
    distance_ft : ndarray of shape (g,)
        Grid, feet past the foul line, in steps of 0.1 ft.
    board, heading_deg, speed_mph, turning, sideways_ft_s2 : ndarray of shape (m, g)
        Board, heading (positive toward the pocket), speed, change of heading in degrees a foot, and acceleration across
        the lane (positive toward the pocket); NaN beyond contact or beyond the ends of that path.
    contact_ft, contact_board : ndarray of shape (m,)
        Ball's centre at first contact with a pin of a full rack, or at 59.5 ft for a ball that misses them all; NaN if
        the path does not get there.
    start_ft, start_board : ndarray of shape (m,)
        Where each path begins to be seen.
    misses : bool array of shape (m,)
        Whether the path misses all pins.
    first_ft, last_ft : float
        Distances of the first row and of the last measured row of the best estimate.
    hand : {'right', 'left'}
        Hand whose edge boards count from.
    """

    distance_ft: Array
    board: Array
    heading_deg: Array
    speed_mph: Array
    turning: Array
    sideways_ft_s2: Array
    contact_ft: Array
    contact_board: Array
    start_ft: Array
    start_board: Array
    misses: NDArray[np.bool_]
    first_ft: float
    last_ft: float
    hand: Hand


def first_contact(x_in: Array, y_in: Array, slope: Array, ball_radius_in: float) -> tuple[Array, NDArray[np.bool_]]:
    """Distance ``(m,)`` in inches at which straight paths first touch a pin of a full rack, and which miss them all.

    ``x_in``, ``y_in`` ``(m,)`` is a point of each path before the pins, ``slope`` its dx/dy. The ball's centre is then
    one ball radius plus one pin belly radius from a spot; a path that misses is cut at 59.5 ft.
    """
    pins = pin_positions()
    reach = ball_radius_in + PIN_BELLY_RADIUS_IN
    across = 1.0 / np.sqrt(1.0 + slope**2)
    dx, dy = pins[:, 0] - x_in[:, None], pins[:, 1] - y_in[:, None]
    along = (dx * slope[:, None] + dy) * across[:, None]
    aside = (dx - dy * slope[:, None]) * across[:, None]
    depth = reach**2 - aside**2
    travel = np.where(depth > 0, along - np.sqrt(np.maximum(depth, 0.0)), np.inf)
    nearest = travel.min(axis=1)
    misses = ~np.isfinite(nearest)
    y = y_in + np.where(misses, 0.0, nearest) * across
    return np.where(misses, MISS_FT * INCHES_PER_FOOT, y), misses


def _over_distance(y_ft: Array, values: Array, grid: Array) -> Array:
    order = np.maximum.accumulate(y_ft)
    out = np.interp(grid, order, values)
    out[(grid < order[0] - END_SLACK_FT) | (grid > order[-1] + END_SLACK_FT)] = np.nan
    return np.asarray(out)


def curves(states: Array, last_seen: int, hand: Hand, ball_radius_in: float, *, reaches_pins: bool) -> Curves:
    """Curves of paths given as states.

    Parameters
    ----------
    states : ndarray of shape (m, n, 8)
        Paths, see :mod:`tracker.path.motion`; the best estimate is the first.
    last_seen : int
        Row of the last measurement.
    hand : {'right', 'left'}
        Hand whose edge boards count from.
    ball_radius_in : float
        Radius of the ball.
    reaches_pins : bool
        Whether the rows go on to the pins; else there is no contact.
    """
    y_ft = states[..., Y] / INCHES_PER_FOOT
    toward_pocket = -1.0 if hand == "right" else 1.0
    slope = states[..., VX] / states[..., VY]
    heading = np.degrees(np.arctan(toward_pocket * slope))
    speed = np.hypot(states[..., VX], states[..., VY]) * MPH_PER_IN_S
    # derivative of atan(vx / vy) by y, from the state's own acceleration
    bend = (states[..., AX] * states[..., VY] - states[..., VX] * states[..., AY]) / (
        (states[..., VX] ** 2 + states[..., VY] ** 2) * states[..., VY]
    )
    turning = np.degrees(toward_pocket * bend) * INCHES_PER_FOOT
    sideways = toward_pocket * states[..., AX] / INCHES_PER_FOOT
    board = board_from_x(states[..., X], hand)
    before = max(last_seen, 0)
    contact_in, misses = first_contact(states[:, -1, X], states[:, -1, Y], slope[:, -1], ball_radius_in)
    contact_ft = contact_in / INCHES_PER_FOOT
    run_in = contact_in - states[:, -1, Y]
    edge = -1.0 if hand == "right" else 1.0
    contact_board = board[:, -1] + edge * slope[:, -1] * run_in / BOARD_WIDTH_IN
    if not reaches_pins:
        contact_ft, contact_board = np.full(len(states), np.nan), np.full(len(states), np.nan)
    end = np.nanmax(contact_ft) if reaches_pins else float(y_ft[0, before])
    grid = np.arange(np.ceil(y_ft[0, 0] / GRID_FT) * GRID_FT, end, GRID_FT)
    start_board = board[:, 0]
    over = (board, heading, speed, turning, sideways)
    board, heading, speed, turning, sideways = (_stack(y_ft, v, grid) for v in over)
    return Curves(
        distance_ft=grid,
        board=board,
        heading_deg=heading,
        speed_mph=speed,
        turning=turning,
        sideways_ft_s2=sideways,
        contact_ft=contact_ft,
        contact_board=contact_board,
        start_ft=y_ft[:, 0],
        start_board=start_board,
        misses=misses,
        first_ft=float(y_ft[0, 0]),
        last_ft=float(y_ft[0, before]),
        hand=hand,
    )


def _stack(y_ft: Array, values: Array, grid: Array) -> Array:
    return np.stack([_over_distance(y, v, grid) for y, v in zip(y_ft, values, strict=True)])


def at(curve: Array, distance_ft: Array, where_ft: Array | float) -> Array:
    """Values ``(m,)`` of curves ``(m, g)`` at one distance each; NaN outside the curve."""
    where = np.broadcast_to(np.asarray(where_ft, dtype=np.float64), (len(curve),))
    if len(distance_ft) < 2:
        return np.full(len(curve), np.nan)
    position = np.nan_to_num((where - distance_ft[0]) / GRID_FT, nan=-1.0)
    low = np.floor(position).astype(int)
    inside = (low >= 0) & (low < len(distance_ft) - 1)
    low = np.clip(np.where(inside, low, 0), 0, len(distance_ft) - 2)
    share = position - low
    rows = np.arange(len(curve))
    value = curve[rows, low] * (1 - share) + curve[rows, low + 1] * share
    return np.where(inside, value, np.nan)


def crossing(curve: Array, level: Array | float, distance_ft: Array, after_ft: Array | float) -> Array:
    """First distance ``(m,)`` beyond ``after_ft`` where each curve rises through its level; NaN if it never does."""
    if len(distance_ft) < 2:
        return np.full(len(curve), np.nan)
    rise = curve - np.broadcast_to(np.asarray(level, dtype=np.float64), (len(curve),))[:, None]
    after = np.broadcast_to(np.asarray(after_ft, dtype=np.float64), (len(curve),))[:, None]
    with np.errstate(invalid="ignore"):
        passed = (rise[:, 1:] >= 0) & (rise[:, :-1] < 0) & (distance_ft[1:] > after)
    index = np.argmax(passed, axis=1)
    rows = np.arange(len(curve))
    low, high = rise[rows, index], rise[rows, index + 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        place = distance_ft[index] + GRID_FT * low / (low - high)
    return np.where(passed.any(axis=1), place, np.nan)


def head_pin_board(contact_ft: Array, contact_board: Array, heading_deg: Array) -> Array:
    """Board ``(m,)`` where paths continued straight from contact cross the head pin's spot line at 60 ft."""
    ahead_in = HEAD_PIN_IN - contact_ft * INCHES_PER_FOOT
    return np.asarray(contact_board + np.tan(np.radians(heading_deg)) * ahead_in / BOARD_WIDTH_IN)
