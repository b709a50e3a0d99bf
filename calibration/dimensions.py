"""Every dimension of lane, pins and ball the project relies on, as data: value, tolerance, source, status.

The constants of :mod:`calibration.lane` derive from this table, so a corrected figure is changed in one place.
``status`` is one of ``seen`` (read in a copy of a published page), ``memory`` (from memory of the named source, to be
read again before it is quoted to anyone), ``practice`` (common practice of the trade, no source) and ``derived``
(computed from other rows).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Status = Literal["seen", "memory", "practice", "derived"]

_RULES = "web pages quoting the specification of lane dimensions"
_MANUAL = "equipment specifications manual, lane chapter"
_PIN_MANUAL = "manual, bowling pin dimensions"
_CUSTOM = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Dimension:
    """One figure of the lane, the pins or the ball.

    Attributes
    ----------
    name : str
        Key, lower case with underscores.
    value : float
        Nominal value in ``unit``.
    unit : str
        ``in``, ``ft``, ``board`` or ``count``.
    low, high : float
        Limits of what is allowed or, where no rule is known, one standard deviation either side.
    source : str
        Where the figure comes from.
    status : {'seen', 'memory', 'practice', 'derived'}
        How well it is known.
    """

    name: str
    value: float
    unit: str
    low: float
    high: float
    source: str
    status: Status


_SPACING_IN = 12.0
_ROW_PITCH_IN = _SPACING_IN * 3.0**0.5 / 2.0

DIMENSIONS: tuple[Dimension, ...] = (
    Dimension("lane_width", 41.5, "in", 41.0, 42.0, _RULES, "seen"),
    Dimension("board_count", 39, "count", 39, 39, _RULES, "seen"),
    Dimension("board_width", 41.5 / 39, "in", 41.0 / 39, 42.0 / 39, "lane_width / board_count", "derived"),
    Dimension("gutter_width", 9.25, "in", 9.25, 9.375, "lane and both gutters measure 60 to 60 1/4 in", "derived"),
    Dimension("lane_and_gutters", 60.125, "in", 60.0, 60.25, _RULES + "; the middle of the range", "seen"),
    Dimension("gutter_depth", 1.875, "in", 1.875, 3.5, _RULES + "; about 3 1/2 in at the deck from memory", "seen"),
    Dimension(
        "levelness", 0.0, "in", -0.040, 0.040, "federation blog, issue 14: crosswise tilt, crowns, depressions", "seen"
    ),
    Dimension("head_pin", 720.0, "in", 719.5, 720.5, _RULES, "seen"),
    Dimension("head_pin_to_pit", 34.1875, "in", 34.1875, 34.1875, _RULES + ", tail plank excluded", "seen"),
    Dimension("deck_end", 754.1875, "in", 753.6875, 754.6875, _RULES + ", tail plank excluded", "seen"),
    Dimension("tail_plank", 2.0, "in", 0.0, 2.0, "one page quoting the specification; a maximum", "seen"),
    Dimension(
        "approach_length", 180.0, "in", 180.0, 216.0, _RULES + "; a minimum, the upper figure is practice", "seen"
    ),
    Dimension("foul_line_width", 0.6875, "in", 0.375, 1.0, _RULES + "; the middle of the range", "seen"),
    Dimension("pin_spot_diameter", 2.25, "in", 2.25, 2.25, _RULES, "seen"),
    Dimension("pin_spacing", _SPACING_IN, "in", 11.9375, 12.0625, _RULES + "; tolerance from memory", "seen"),
    Dimension("pin_row_pitch", _ROW_PITCH_IN, "in", 10.375, _ROW_PITCH_IN, "pin_spacing sin 60 degrees", "derived"),
    Dimension("corner_pin_to_edge", 2.75, "in", 2.25, 3.25, _RULES + "; agrees with 20.75 - 18", "seen"),
    Dimension(
        "approach_dots_rear", 180.0, "in", 144.0, 180.0, "federation blog, issue 11: varies from house to house", "seen"
    ),
    Dimension(
        "approach_dots_front",
        144.0,
        "in",
        144.0,
        168.0,
        "federation blog, issue 11: varies from house to house",
        "seen",
    ),
    Dimension("approach_dots_foul", 2.5, "in", 2.0, 6.0, "federation blog, issue 11; band from memory", "seen"),
    Dimension("lane_dots", 7.0, "ft", 6.0, 8.0, _MANUAL + "; pages disagree, never metric truth", "memory"),
    Dimension("lane_dot_diameter", 0.75, "in", 0.0, 0.75, _MANUAL + "; a maximum", "memory"),
    Dimension("arrow_count", 7, "count", 7, 7, "one page; boards 5, 10, .. 35", "seen"),
    Dimension("arrow_centre", 15.8, "ft", 15.4, 16.2, _CUSTOM + "; limits are one standard deviation", "practice"),
    Dimension(
        "arrow_slope", 1.1, "ft", 0.95, 1.25, _CUSTOM + "; a five boards; limits are one standard deviation", "practice"
    ),
    Dimension("arrow_band", 14.0, "ft", 12.0, 16.0, _MANUAL, "memory"),
    Dimension("arrow_width", 1.25, "in", 0.0, 1.25, _MANUAL + "; a maximum", "memory"),
    Dimension("arrow_length", 6.0, "in", 0.0, 6.0, _MANUAL + "; a maximum", "memory"),
    Dimension(
        "down_lane_marker", 38.5, "ft", 33.0, 44.0, _MANUAL + "; up to four, one board wide, up to 36 in long", "memory"
    ),
    Dimension("pin_height", 15.0, "in", 14.96875, 15.03125, "pages quoting the specification of pins", "seen"),
    Dimension("pin_belly_diameter", 4.766, "in", 4.735, 4.797, _PIN_MANUAL + "; pages print 4.76 to 4.77", "memory"),
    Dimension("pin_belly_height", 4.5, "in", 4.25, 4.75, "pages quoting the specification of pins", "seen"),
    Dimension("pin_base_diameter", 2.031, "in", 2.0, 2.062, "pages quoting the specification of pins (2.03)", "seen"),
    Dimension("pin_neck_diameter", 1.797, "in", 1.766, 1.828, _PIN_MANUAL + "; pages print 1.8", "memory"),
    Dimension("pin_neck_height", 10.0, "in", 9.75, 10.25, _PIN_MANUAL, "memory"),
    Dimension("pin_head_diameter", 2.547, "in", 2.516, 2.578, _PIN_MANUAL + "; pages print 2.55", "memory"),
    Dimension("ball_diameter", 8.5475, "in", 8.500, 8.595, "circumference 26.704 to 27.002 in; the middle", "seen"),
    Dimension(
        "ball_radius_of_gyration", 2.55, "in", 2.460, 2.800, "manual; the usual value is common practice", "memory"
    ),
)

PIN_PROFILE_IN: tuple[tuple[float, float], ...] = (
    (0.0, 2.031),
    (0.75, 2.828),
    (2.25, 3.906),
    (3.375, 4.510),
    (4.5, 4.766),
    (5.875, 4.563),
    (7.25, 3.703),
    (8.625, 2.472),
    (9.375, 1.965),
    (10.0, 1.797),
    (10.875, 1.870),
    (11.75, 2.094),
    (12.625, 2.406),
    (13.5, 2.547),
)
"""Height above the deck and diameter of a pin, inches (manual, bowling pin dimensions, from memory, +-1/32 in). Above
the last row the crown is a sphere of radius 1.273 in about the axis at 13.727 in (its top is the pin's height, 15
in)."""

_BY_NAME = {d.name: d for d in DIMENSIONS}


def dimension(name: str) -> Dimension:
    """Look up the row of :data:`DIMENSIONS` called ``name``.

    Raises
    ------
    KeyError
        If there is no such row.
    """
    return _BY_NAME[name]


def value(name: str) -> float:
    """Nominal value of the row of :data:`DIMENSIONS` called ``name``, in its own unit."""
    return _BY_NAME[name].value
