"""Rows of the table of shots as what a line-up reads of single shots."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path

from calibration.lane import Hand
from tracker.columns import HEADER, NUMBERS
from tracker.lineup.shots import ShotFacts
from tracker.report.files import SHOTS_NAME, read_table
from tracker.report.rows import Row
from tracker.results import Quantity

_SLIPS = {"skid": True, "hook": True, "roll": False}


def read_facts(out: Path, shot_ids: Iterable[str]) -> tuple[ShotFacts, ...]:
    """Facts of the named shots of a run's folder, in the table's order.

    Raises
    ------
    OutputError
        If the table cannot be read.
    """
    wanted = set(shot_ids)
    return tuple(facts_of(row) for row in read_table(out / SHOTS_NAME, HEADER) if row["shot_id"] in wanted)


def facts_of(row: Row) -> ShotFacts:
    """Facts of one row."""
    hand: Hand = "left" if row["hand"] == "left" else "right"
    numbers = {c.name: cell_quantity(row[c.name], row[c.u_name]) for c in NUMBERS if row[c.name]}
    return ShotFacts(
        row["shot_id"],
        row["lane"],
        row["ball"],
        hand,
        line=row["line"],
        intent=row["intent"],
        execution=row["execution"],
        numbers=numbers,
        slips_at_pins=_SLIPS.get(row["phase_at_pins"]),
        standing=row["standing_pins"],
    )


def cell_quantity(value: str, u: str) -> Quantity:
    """A cell and its uncertainty; nothing where somebody made it something else than a number."""
    try:
        number, doubt = float(value), float(u) if u else None
    except ValueError:
        return Quantity(missing="not_determined")
    if not math.isfinite(number) or (doubt is not None and not (math.isfinite(doubt) and doubt >= 0)):
        return Quantity(missing="not_determined")
    return Quantity(number, doubt)
