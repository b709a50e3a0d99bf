"""Lines and moves as the trade says them: feet and target, and what a straight ball would make of a move.

A line goes from the laydown board to the target, the board at which the first feet of the path aim at 15 ft. A move is
so many boards with the feet (and with them the laydown) and so many with the target, inside positive: to the left for
a right-hander.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calibration.lane import BOARD_WIDTH_IN, INCHES_PER_FOOT, Hand
from tracker.session.release import RELEASE_FT

TARGET_FT = 15.0
"""Where targets are counted: the arrows lie there or nearly there (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line to play: laydown and target in boards from the hand's edge, and the speed at the release."""

    laydown_board: float
    target_board: float
    speed_mph: float

    @property
    def launch_deg(self) -> float:
        """Heading of the first feet, positive toward the hand's gutter."""
        across_in = (self.laydown_board - self.target_board) * BOARD_WIDTH_IN
        return math.degrees(math.atan(across_in / ((TARGET_FT - RELEASE_FT) * INCHES_PER_FOOT)))

    @classmethod
    def of(cls, laydown_board: float, launch_deg: float, speed_mph: float) -> Line:
        """The line of a release."""
        across_in = math.tan(math.radians(launch_deg)) * (TARGET_FT - RELEASE_FT) * INCHES_PER_FOOT
        return cls(laydown_board, laydown_board - across_in / BOARD_WIDTH_IN, speed_mph)

    def moved(self, feet: float, target: float) -> Line:
        """The line after a move, boards, inside positive."""
        return Line(self.laydown_board + feet, self.target_board + target, self.speed_mph)


def straight_change(feet: float, target: float, distance_ft: float) -> float:
    """Boards by which a straight ball is elsewhere after a move, inside positive.

    ``feet + (target - feet) y / 15``: a line through two points. A hooking ball keeps to it only up to its hook.
    """
    return feet + (target - feet) * distance_ft / TARGET_FT


def move_in_words(feet: float, target: float, hand: Hand) -> str:
    """A move as the trade says it: ``2-1 left`` is two boards with the feet, one with the target, both to the left."""
    if not feet and not target:
        return "stay"
    inside, outside = ("left", "right") if hand == "right" else ("right", "left")
    if feet * target >= 0:
        side = inside if feet + target > 0 else outside
        return f"{abs(feet):g}-{abs(target):g} {side}"
    sides = [inside if boards > 0 else outside for boards in (feet, target)]
    return f"feet {abs(feet):g} {sides[0]}, target {abs(target):g} {sides[1]}"
