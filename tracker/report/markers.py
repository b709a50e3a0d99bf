"""The places of a path that pictures point out, with their values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tracker.results import PathTable, Quantity, ShotResult

PLUS_MINUS = "\u00b1"


@dataclass(frozen=True, slots=True)
class Marker:
    """One place of the path.

    Attributes
    ----------
    name, words : str
        What it is, and its values with standard uncertainties.
    board, distance_ft : float
        Where it is.
    symbol : str
        Marker symbol of the drawing library.
    """

    name: str
    words: str
    board: float
    distance_ft: float
    symbol: str


def markers_of(shot: ShotResult) -> tuple[Marker, ...]:
    """Places from the foul line to the pins that exist in this shot; none without a path."""
    path = shot.path
    if path is None or not path.t_s.size:
        return ()
    q = shot.quantities
    found = (
        _placed(path, "first seen", "^", at=_get(q, "first_seen_ft"), board=_get(q, "first_seen_board")),
        _placed(path, "15 ft", "s", at=Quantity(15.0), board=_get(q, "board_15ft"), needs_board=True),
        _placed(path, "hook onset", "D", at=_get(q, "onset_ft"), board=Quantity()),
        _placed(path, "breakpoint", "o", at=_get(q, "breakpoint_ft"), board=_get(q, "breakpoint_board")),
        _placed(path, "end of hook", "h", at=_get(q, "roll_ft"), board=Quantity()),
        _placed(path, "contact", "X", at=_get(q, "contact_ft"), board=_get(q, "contact_board")),
    )
    return tuple(marker for marker in found if marker is not None)


def _get(quantities: Mapping[str, Quantity], name: str) -> Quantity:
    return quantities.get(name, Quantity())


def _placed(
    path: PathTable, name: str, symbol: str, *, at: Quantity, board: Quantity, needs_board: bool = False
) -> Marker | None:
    """Make a marker, its board read off the path where it has none of its own; None where it does not exist."""
    if at.value is None or (needs_board and board.value is None):
        return None
    order = np.argsort(path.distance_ft)
    on_path = float(np.interp(at.value, path.distance_ft[order], path.board[order]))
    where = on_path if board.value is None else board.value
    words = [with_u(at, "ft") if at.u is not None or name != "15 ft" else ""]
    words += [f"board {with_u(board, '')}"] if board.value is not None else []
    return Marker(name, ", ".join(w for w in reversed(words) if w), where, at.value, symbol=symbol)


def with_u(quantity: Quantity, unit: str) -> str:
    """Value with its uncertainty, one decimal more where the uncertainty is below 0.1."""
    decimals = 1 if quantity.u is None or quantity.u >= 0.095 else 2
    u = "" if quantity.u is None else f" {PLUS_MINUS} {quantity.u:.{decimals}f}"
    return f"{quantity.value:.{decimals}f}{u} {unit}".rstrip()
