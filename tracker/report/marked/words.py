"""What a marked-up video says, and when: numbers at the places of the path as the ball comes there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.lane import INCHES_PER_FOOT, arrow_distance_in
from tracker.report.ink import writable
from tracker.report.marked.told import ToldShot
from tracker.report.marked.view import time_at
from tracker.report.markers import PLUS_MINUS, with_u
from tracker.results import Quantity

LONGEST = 26
"""Characters of a shot's name that are shown."""


@dataclass(frozen=True, slots=True)
class Event:
    """A place of the path with its numbers.

    Attributes
    ----------
    name : str
    lines : tuple of str
        Values with standard uncertainties.
    t_s : float
        Time of the clip from which on it is shown.
    board, distance_ft : float
        Where it is.
    symbol : str
        Marker symbol of the drawing library, the same as in the shot's picture where that has the place.
    """

    name: str
    lines: tuple[str, ...]
    t_s: float
    board: float
    distance_ft: float
    symbol: str


def events_of(shot: ToldShot) -> tuple[Event, ...]:
    """Laydown, arrows, hook onset, breakpoint and entry, as far as the shot has them, in order of time."""
    found = (
        _event(shot, "laydown", "^", at=_first(shot, "laydown_ft"), lines=(_board(shot, "laydown_board"),)),
        _event(shot, "arrows", "s", at=_arrows_ft(shot), lines=(_board(shot, "arrows_board"),)),
        _event(shot, "hook onset", "D", at=_value(shot, "onset_ft"), lines=(_number(shot, "onset_ft", " ft"),)),
        _event(
            shot,
            "breakpoint",
            "o",
            at=_value(shot, "breakpoint_ft"),
            lines=(_board(shot, "breakpoint_board"), _number(shot, "breakpoint_ft", " ft")),
        ),
        _event(
            shot,
            "entry",
            "X",
            at=_value(shot, "contact_ft"),
            lines=(_number(shot, "entry_angle_deg", "\u00b0"), _board(shot, "contact_board")),
        ),
    )
    return tuple(sorted((event for event in found if event is not None), key=lambda event: event.t_s))


def title_of(shot: ToldShot) -> tuple[str, tuple[str, ...]]:
    """The shot's name, whatever it is, as a short text of characters that the font has; and what to know of numbers."""
    plain = writable("".join(c for c in shot.shot_id if c.isprintable()))
    short = plain if len(plain) <= LONGEST else f"{plain[: LONGEST - 1]}\u2026"
    return short, (f"{PLUS_MINUS} standard uncertainty", *([shot.doubt] if shot.doubt else []))


def _event(shot: ToldShot, name: str, symbol: str, *, at: float | None, lines: tuple[str, ...]) -> Event | None:
    told = tuple(line for line in lines if line)
    if at is None or not told:
        return None
    place = float(np.clip(at, shot.distance_ft[0], shot.distance_ft[-1]))
    order = np.argsort(shot.distance_ft)
    board = float(np.interp(place, shot.distance_ft[order], shot.board[order]))
    return Event(name, told, time_at(shot, at), board, place, symbol=symbol)


def _value(shot: ToldShot, name: str) -> float | None:
    return shot.numbers.get(name, Quantity()).value


def _first(shot: ToldShot, name: str) -> float:
    """A distance; the path's first where it is none."""
    value = _value(shot, name)
    return float(shot.distance_ft[0]) if value is None else value


def _number(shot: ToldShot, name: str, unit: str) -> str:
    quantity = shot.numbers.get(name, Quantity())
    return "" if quantity.value is None else f"{with_u(quantity, '')}{unit}"


def _board(shot: ToldShot, name: str) -> str:
    number = _number(shot, name, "")
    return f"board {number}" if number else ""


def _arrows_ft(shot: ToldShot) -> float | None:
    """Distance of the usual chevron at the board of the path there."""
    board = _value(shot, "arrows_board")
    return None if board is None else float(arrow_distance_in(board)) / INCHES_PER_FOOT
