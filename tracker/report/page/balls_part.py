"""Balls compared on one line, as the page shows them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tracker.report.page.said import Said, say_data

BALL_NUMBERS = (
    ("onset_ft", "hook onset", "ft"),
    ("breakpoint_board", "breakpoint", "board"),
    ("breakpoint_ft", "breakpoint at", "ft"),
    ("slip_end_ft", "slip ends", "ft"),
    ("hook_length_ft", "hook length", "ft"),
    ("entry_angle_deg", "entry angle", "deg"),
    ("contact_board", "contact board", "board"),
    ("speed_loss_mph", "speed lost", "mph"),
)


@dataclass(frozen=True, slots=True)
class BallsTable:
    """Balls on one and the same line.

    Attributes
    ----------
    line : str
        The line, in words.
    balls : tuple of str
        Columns.
    rows : tuple of (str, str, tuple of Said)
        Name, unit, and the number of each ball.
    differences : tuple of (str, tuple of (Said, bool))
        Which two, their difference in each number, and whether it is told apart.
    """

    line: str
    balls: tuple[str, ...]
    rows: tuple[tuple[str, str, tuple[Said, ...]], ...]
    differences: tuple[tuple[str, tuple[tuple[Said, bool], ...]], ...]


def balls_table(model: Mapping[str, Any], lane: str, hand: str) -> BallsTable | None:
    """Balls of one lane and hand of ``model`` in ``lineup.json``; None where there are not two to compare."""
    lanes = [one for one in model["lanes"] if one["lane"] == lane]
    sides = [side for one in lanes for side in one["hands"] if side["hand"] == hand]
    return _balls(sides[0]["comparison"]) if sides else None


def _balls(comparison: Mapping[str, Any]) -> BallsTable | None:
    balls = comparison["balls"]
    if len(balls) < 2:
        return None
    line = comparison["line"]
    words = (
        f"laydown board {line['board']:.1f}, launch {line['launch_deg']:.1f}\u00b0 toward the gutter, "
        f"{line['speed_mph']:.1f} mph"
    )
    rows = tuple(
        (title, unit, tuple(say_data(b["numbers"].get(name)) for b in balls)) for name, title, unit in BALL_NUMBERS
    )
    return BallsTable(
        words, tuple(b["ball"] for b in balls), rows, tuple(_difference(d) for d in comparison["differences"])
    )


def _difference(data: Mapping[str, Any]) -> tuple[str, tuple[tuple[Said, bool], ...]]:
    told = set(data["told"])
    cells = tuple((say_data(data["numbers"].get(name)), name in told) for name, _, _ in BALL_NUMBERS)
    return f"{data['ball']} less {data['other']}", cells
