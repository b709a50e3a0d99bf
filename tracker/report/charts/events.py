"""Places of a shot that charts point out: onset, breakpoint, end of the hook, contact."""

from __future__ import annotations

from dataclasses import dataclass

from tracker.report.charts.data import ChartShot, Curve
from tracker.report.charts.looks import Shape
from tracker.report.charts.shots import value_at
from tracker.report.charts.tell import around, between, decimals_for, number
from tracker.results import Quantity

EVENTS: tuple[tuple[str, str, Shape], ...] = (
    ("onset", "onset_ft", "diamond"),
    ("breakpoint", "breakpoint_ft", "circle"),
    ("end of hook", "roll_ft", "square"),
)
CONTACT: tuple[str, str, Shape] = ("contact", "contact_ft", "cross")


@dataclass(frozen=True, slots=True)
class Event:
    """One place of a path: its name, where it is, the interval of its distance, its mark, and words with the value."""

    name: str
    distance_ft: float
    board: float
    interval_ft: tuple[float, float] | None
    shape: Shape
    words: str


def events_of(shot: ChartShot, path: Curve | None) -> list[Event]:
    """Events with their board for a chart of the lane, from the foul line to the pins; none where there is no path."""
    if path is None:
        return []
    found = []
    for name, column, shape in (*EVENTS, CONTACT):
        q = shot.number(column)
        if q.value is None:
            continue
        own = {"breakpoint": "breakpoint_board", "contact": "contact_board"}.get(name)
        board = shot.number(own) if own else Quantity()
        where = value_at(path, q.value) if board.value is None else board.value
        found.append(Event(name, q.value, where, around(q), shape, _words(name, q, board)))
    if shot.gutter:
        feet, board_there = float(path.distance_ft[-1]), float(path.value[-1])
        found.append(Event("gutter", feet, board_there, None, "cross", f"into the gutter, {feet:.0f} ft"))
    return found


def along(shot: ChartShot) -> list[Event]:
    """Onset, breakpoint and end of the hook with intervals of two standard uncertainties, for charts over distance."""
    quantities = [(name, shot.number(column), shape) for name, column, shape in EVENTS]
    return [
        Event(name, q.value, 0.0, around(q), shape, _interval_words(name, q))
        for name, q, shape in quantities
        if q.value is not None
    ]


def missing_events(shot: ChartShot) -> list[str]:
    """Names of the events that this shot does not have."""
    return [name for name, column, _ in EVENTS if shot.number(column).value is None]


def _interval_words(name: str, q: Quantity) -> str:
    interval = around(q)
    decimals = decimals_for(q.u)
    value = number(q.value or 0.0, decimals)
    return f"{name} {value} ft" + (f" ({between(*interval, decimals)})" if interval else "")


def _words(name: str, q: Quantity, board: Quantity) -> str:
    feet = f"{number(q.value or 0.0, decimals_for(q.u))} ft"
    if board.value is None:
        return f"{name} {feet}"
    told = f"board {number(board.value, decimals_for(board.u))}"
    return f"{name} {told}" if name == "contact" else f"{name} {told}, {feet}"
