"""Balls compared and the lane itself, as the page shows them."""

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


@dataclass(frozen=True, slots=True)
class LanePart:
    """What the model says of one lane for one hand."""

    lane: str
    hand: str
    oil: Said
    oil_length: str
    contrast: Said
    shots: int
    balls: BallsTable | None


def lane_part(model: Mapping[str, Any], lane: str, hand: str) -> LanePart | None:
    """Part of one lane and hand of ``model`` in ``lineup.json``; None where the model has neither."""
    found = next((one for one in model["lanes"] if one["lane"] == lane), None)
    side = next((one for one in (found or {"hands": []})["hands"] if one["hand"] == hand), None)
    if found is None or side is None:
        return None
    oil = found["oil"]
    return LanePart(
        lane, hand, say_data(oil["oil_end_ft"], "ft"), _length(oil),
        contrast=say_data(oil["contrast"]), shots=int(found["shots"]), balls=_balls(side["comparison"]),
    )  # fmt: skip


def _length(oil: Mapping[str, Any]) -> str:
    if not oil.get("length"):
        return ""
    return f"{oil['length']} oil, {100.0 * oil['length_share'][oil['length']]:.0f} % sure"


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
