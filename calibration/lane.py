"""Geometry of a ten-pin lane: dimensions, marks, pins, ball.

Lane frame: origin at the middle of the foul line's front edge, x to the right, y down-lane, z up, inches, for a lane of
nominal width. Board b of a right-hander counts from the right edge, ``b = s / w + 0.5`` with s the distance from that
edge and w the width of one board; board n's centre is ``b = n``. A left-hander counts from the left edge.

The figures, their tolerances and sources stand in :mod:`calibration.dimensions`. Distances of arrows and dots are the
weakest known of all: rules give a band, houses differ. Dots are never used as measures; arrows only through priors on
the chevron.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.dimensions import PIN_PROFILE_IN, dimension, value

Hand = Literal["right", "left"]
Array = NDArray[np.float64]

INCHES_PER_FOOT = 12.0
LANE_WIDTH_IN = value("lane_width")
LANE_WIDTH_SCALE_SD = 0.007
BOARD_COUNT = int(value("board_count"))
BOARD_WIDTH_IN = LANE_WIDTH_IN / BOARD_COUNT
GUTTER_WIDTH_IN = value("gutter_width")
GUTTER_DEPTH_IN = value("gutter_depth")
GUTTER_EDGE_IN = value("lane_and_gutters") / 2
FOUL_LINE_WIDTH_MIN_IN = dimension("foul_line_width").low
FOUL_LINE_WIDTH_MAX_IN = dimension("foul_line_width").high
APPROACH_LENGTH_IN = value("approach_length")
HEAD_PIN_IN = value("head_pin")
DECK_END_IN = HEAD_PIN_IN + value("head_pin_to_pit")
PIN_SPACING_IN = value("pin_spacing")
PIN_ROW_PITCH_IN = PIN_SPACING_IN * math.sqrt(3) / 2
PIN_HEIGHT_IN = value("pin_height")
PIN_BELLY_RADIUS_IN = value("pin_belly_diameter") / 2
PIN_BELLY_HEIGHT_IN = value("pin_belly_height")
PIN_BASE_RADIUS_IN = value("pin_base_diameter") / 2
PIN_CROWN_RADIUS_IN = value("pin_head_diameter") / 2
BALL_DIAMETER_MIN_IN = dimension("ball_diameter").low
BALL_DIAMETER_MAX_IN = dimension("ball_diameter").high
BALL_RADIUS_IN = (BALL_DIAMETER_MIN_IN + BALL_DIAMETER_MAX_IN) / 4
ARROW_BOARDS = (5, 10, 15, 20, 25, 30, 35)
ARROW_CENTRE_FT = value("arrow_centre")
ARROW_CENTRE_SD_FT = 0.4
ARROW_SLOPE_FT = value("arrow_slope")
ARROW_SLOPE_SD_FT = 0.15
LANE_DOT_BOARDS = (3, 5, 8, 11, 14, 26, 29, 32, 35, 37)
LANE_DOTS_FT = value("lane_dots")
APPROACH_DOT_ROWS_IN = (-value("approach_dots_rear"), -value("approach_dots_front"), -value("approach_dots_foul"))


def board_from_x(x_in: ArrayLike, hand: Hand) -> Array:
    """Board number of a lateral position x in inches (any shape), counted from the hand's own edge."""
    x = np.asarray(x_in, dtype=np.float64)
    side = x if hand == "left" else -x
    return np.asarray((LANE_WIDTH_IN / 2 + side) / BOARD_WIDTH_IN + 0.5)


def x_from_board(board: ArrayLike, hand: Hand) -> Array:
    """Lateral position in inches of a board number (any shape); inverse of :func:`board_from_x`."""
    side = (np.asarray(board, dtype=np.float64) - 0.5) * BOARD_WIDTH_IN - LANE_WIDTH_IN / 2
    return np.asarray(side if hand == "left" else -side)


def pin_positions() -> Array:
    """Pin spots 1..10 as ``(10, 2)`` x, y in inches (row pitch 12 sin 60 degrees)."""
    rows = ((0,), (-6, 6), (-12, 0, 12), (-18, -6, 6, 18))
    return np.array(
        [(x, HEAD_PIN_IN + k * PIN_ROW_PITCH_IN) for k, row in enumerate(rows) for x in row], dtype=np.float64
    )


def arrow_distance_in(board: ArrayLike, centre_ft: float = ARROW_CENTRE_FT, slope_ft: float = ARROW_SLOPE_FT) -> Array:
    """Distance in inches of the arrows' chevron at a board: ``centre - slope * |board - 20| / 5`` feet."""
    b = np.asarray(board, dtype=np.float64)
    return np.asarray((centre_ft - slope_ft * np.abs(b - 20.0) / 5.0) * INCHES_PER_FOOT)


def pin_radius_in(height_in: ArrayLike) -> Array:
    """Radius of a pin at heights above the deck (any shape), inches; 0 below the base and above the top.

    Linear between the rows of :data:`calibration.dimensions.PIN_PROFILE_IN` and a sphere about the axis above the last
    row.
    """
    h = np.asarray(height_in, dtype=np.float64)
    heights, diameters = np.array(PIN_PROFILE_IN).T
    crown = np.sqrt(np.maximum(PIN_CROWN_RADIUS_IN**2 - (h - (PIN_HEIGHT_IN - PIN_CROWN_RADIUS_IN)) ** 2, 0.0))
    radius = np.where(h <= heights[-1], np.interp(h, heights, diameters) / 2, crown)
    return np.asarray(np.where((h < 0) | (h > PIN_HEIGHT_IN), 0.0, radius))
