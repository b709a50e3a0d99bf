"""The lane itself as the ground of a chart: boards, arrows, foul line, pins, counted from the bowling hand's edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import (
    ARROW_BOARDS,
    BOARD_COUNT,
    BOARD_WIDTH_IN,
    DECK_END_IN,
    GUTTER_WIDTH_IN,
    INCHES_PER_FOOT,
    PIN_BELLY_RADIUS_IN,
    Hand,
    arrow_distance_in,
    board_from_x,
    pin_positions,
)
from tracker.report.charts.frame import Panel, Scale
from tracker.report.charts.looks import AXIS, GRID, GUTTER, INK, PAPER, SOFT, WOOD
from tracker.report.charts.svg import Element, add, group, short, way, words

Array = NDArray[np.float64]

LOW_EDGE, HIGH_EDGE = 0.5, BOARD_COUNT + 0.5
LOW_FT, HIGH_FT = -0.8, DECK_END_IN / INCHES_PER_FOOT
ABOVE_FT = 0.5
"""Drawn beyond the deck's end, for pins that are larger than they would be to scale."""
BOARD_TICKS = (1, 5, 10, 15, 20, 25, 30, 35, 39)
FEET_TICKS = tuple(range(0, 61, 10))
GUTTER_BOARDS = 2.0
"""Boards' widths of the gutters that stretched charts show."""


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle of the picture."""

    left: float
    top: float
    right: float
    bottom: float


def board_scale(hand: Hand, low: float, high: float, *, left: float, right: float) -> Scale:
    """Boards across as the bowler sees them: a right-hander's first board is on the right."""
    start, end = (right, left) if hand == "right" else (left, right)
    return Scale(low, high, start, end)


def stretched(box: Box, hand: Hand) -> Panel:
    """Panel over the whole lane, much wider than it is."""
    across = board_scale(hand, LOW_EDGE - GUTTER_BOARDS, HIGH_EDGE + GUTTER_BOARDS, left=box.left, right=box.right)
    return Panel(across, Scale(LOW_FT, HIGH_FT + ABOVE_FT, box.bottom, box.top))


def true_lane(middle: float, like: Panel, hand: Hand) -> Panel:
    """Panel in true proportions around ``middle``, as high as another one; as wide as the lane with its gutters."""
    per_board = abs(like.y.at(1.0) - like.y.at(0.0)) * BOARD_WIDTH_IN / INCHES_PER_FOOT
    gutter = GUTTER_WIDTH_IN / BOARD_WIDTH_IN
    low, high = LOW_EDGE - gutter, HIGH_EDGE + gutter
    half = (high - low) * per_board / 2
    return Panel(board_scale(hand, low, high, left=middle - half, right=middle + half), like.y)


def lane_ground(parent: Element, panel: Panel, wood: str = WOOD) -> None:
    """Gutters and wood up to the deck's end."""
    left, _, right, bottom = panel.box
    top = panel.y.at(HIGH_FT)
    add(parent, "rect", x=left, y=top, width=right - left, height=bottom - top, fill=GUTTER)
    a, b = sorted((panel.x.at(LOW_EDGE), panel.x.at(HIGH_EDGE)))
    add(parent, "rect", x=a, y=top, width=b - a, height=bottom - top, fill=wood, stroke=AXIS)


def lane_lines(parent: Element, panel: Panel) -> None:
    """Lines at ticks of boards and feet, and the foul line."""
    top, bottom = panel.y.at(HIGH_FT), panel.box[3]
    a, b = sorted((panel.x.at(LOW_EDGE), panel.x.at(HIGH_EDGE)))
    boards = "".join(f"M{short(panel.x.at(t))} {short(top)}V{short(bottom)}" for t in BOARD_TICKS)
    feet = "".join(f"M{short(a)} {short(panel.y.at(t))}H{short(b)}" for t in FEET_TICKS[1:])
    add(parent, "path", d=boards + feet, stroke=GRID, fill="none")
    add(parent, "path", d=f"M{short(a)} {short(panel.y.at(0))}H{short(b)}", stroke=INK, stroke_width=2.5)


def lane_axes(parent: Element, panel: Panel, hand: Hand) -> None:
    """Numbers of boards below and of feet to the left, with words."""
    left, top, right, bottom = panel.box
    numbers = group(parent, data_axis="board", text_anchor="middle", fill=SOFT)
    for board in BOARD_TICKS:
        words(numbers, str(board), panel.x.at(board), bottom + 13)
    words(parent, f"board, from the {hand} edge", (left + right) / 2, bottom + 32, anchor="middle", fill=SOFT)
    feet = group(parent, data_axis="distance", text_anchor="end", fill=SOFT)
    for foot in FEET_TICKS:
        words(feet, str(foot), left - 5, panel.y.at(foot))
    words(parent, "feet", 4, top - 12, fill=SOFT)
    words(parent, "foul line", left + 22, panel.y.at(0) - 11, fill=SOFT, halo=True)


def arrows(parent: Element, panel: Panel, *, size: float) -> None:
    """The seven arrows where they usually lie."""
    boards = np.array(ARROW_BOARDS, dtype=np.float64)
    tips = np.column_stack([panel.x(boards), panel.y(arrow_distance_in(boards) / INCHES_PER_FOOT)])
    d = "".join(
        f"M{short(x)} {short(y)}l{short(size)} {short(2.6 * size)}h{short(-2 * size)}z" for x, y in tips.tolist()
    )
    add(parent, "path", d=d, fill=AXIS, data_marks="arrows")


def pin_places(panel: Panel, hand: Hand) -> Array:
    """Places ``(10, 2)`` of the ten pins in the picture."""
    spots = pin_positions()
    return np.column_stack([panel.x(board_from_x(spots[:, 0], hand)), panel.y(spots[:, 1] / INCHES_PER_FOOT)])


def small_pins(parent: Element, panel: Panel, hand: Hand, *, radius: float | None = None) -> None:
    """Ten pins as small discs; to scale across where no radius is given."""
    r = radius or PIN_BELLY_RADIUS_IN / BOARD_WIDTH_IN * abs(panel.x.at(1.0) - panel.x.at(0.0))
    discs = group(parent, fill=PAPER, stroke=AXIS, data_marks="pins")
    for x, y in pin_places(panel, hand).tolist():
        add(discs, "circle", cx=x, cy=y, r=r)


def band(parent: Element, low: tuple[Array, Array], high: tuple[Array, Array], colour: str) -> None:
    """A shaded band between two lines of places."""
    x, y = (np.concatenate([a, b[::-1]]) for a, b in zip(low, high, strict=True))
    add(parent, "path", d=way(x, y, closed=True), fill=colour, fill_opacity="0.22")
