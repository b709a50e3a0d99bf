"""Shots as rows of the tables: every number with its uncertainty, every code with its words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from calibration.errors import Failure
from tracker.columns import COLUMNS, SHEET_COLUMNS, Column
from tracker.flags import describe, explain
from tracker.results import Quantity, ShotResult

Row = dict[str, str]

NO_TEXTS: Mapping[str, str] = MappingProxyType({})
FAILURE_HEADER = ("clip", "shot_id", "reason", "detail", "what_to_do")

_STILL_SLIPPING = ("still_turning", "after_contact")


def shot_row(shot: ShotResult, texts: Mapping[str, str] = NO_TEXTS) -> Row:
    """Cells of one shot by column name, every column of :data:`tracker.columns.HEADER` present.

    Parameters
    ----------
    shot : ShotResult
    texts : mapping of str to str, optional
        Cells of the session sheet (:data:`tracker.columns.SHEET_COLUMNS`; others are ignored) and, where a later stage
        knows them, ``phase_at_pins`` and ``standing_pins``. The shot's own hand comes before the sheet's, the
        sheet's standing pins before those that were read.
    """
    own = {
        "shot_id": shot.shot_id,
        "clip": shot.clip,
        "status": shot.status,
        "reason": explain(shot.reason),
        "flags": " ".join(shot.flags),
        "hand": shot.hand or texts.get("hand", ""),
        "phase_at_pins": texts.get("phase_at_pins", "") or phase_at_pins(shot.quantities),
        "standing_pins": texts.get("standing_pins", "") or (shot.pins.standing if shot.pins is not None else ""),
    }
    known = {name: texts.get(name, "") for name in SHEET_COLUMNS} | own
    row: Row = {}
    for column in COLUMNS:
        cells = number_cells(column, shot.quantities.get(column.name, Quantity()))
        row.update(cells if column.kind == "number" else {column.name: known[column.name]})
    return row


def failed_row(clip: str, shot_id: str, failure: Failure, *, texts: Mapping[str, str] = NO_TEXTS) -> Row:
    """Row of a clip that gave no shot."""
    return shot_row(ShotResult(shot_id, clip, "failed", failure.reason, detail=failure.detail), texts)


def failure_row(clip: str, shot_id: str, reason: str, detail: str) -> Row:
    """Row of ``failures.csv``: what gave no shot, why, and what to do."""
    code = describe(reason)
    cells = (clip, shot_id, explain(reason), detail or code.text, code.what_to_do)
    return dict(zip(FAILURE_HEADER, cells, strict=True))


def number_cells(column: Column, quantity: Quantity) -> Row:
    """Write the cells of a number and of its uncertainty; both empty where there is no finite value."""
    u = number_text(quantity.u, column.decimals + 1)
    value = number_text(quantity.value, column.decimals)
    return {column.name: value, column.u_name: u if value else ""}


def number_text(value: float | None, decimals: int) -> str:
    """Write a number with a ``.``, never ``-0``; empty for none or one that is not finite."""
    if value is None or not math.isfinite(value):
        return ""
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0 else text


def phase_at_pins(quantities: Mapping[str, Quantity]) -> str:
    """Tell from onset and end of slip what the ball does at contact: skid, hook, roll, or empty if unknown."""
    if _value(quantities, "contact_ft") is None:
        return ""
    if _value(quantities, "slip_end_ft") is not None:
        return "roll"
    if quantities.get("slip_end_ft", Quantity()).missing not in _STILL_SLIPPING:
        return ""
    if _value(quantities, "onset_ft") is not None:
        return "hook"
    return "skid" if quantities.get("onset_ft", Quantity()).missing == "straight_ball" else ""


def _value(quantities: Mapping[str, Quantity], name: str) -> float | None:
    return quantities.get(name, Quantity()).value
