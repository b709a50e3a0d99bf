"""A measured session read back from its folder: what the lane model is told, and what it is not told and why."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.lane import Hand
from tracker.columns import HEADER
from tracker.report.files import SHOTS_NAME, OutputError, read_table
from tracker.report.rows import Row
from tracker.results import Stations
from tracker.session.sheet import SessionSheet
from tracker.session.throws import GONE, OLDER, TOO_SHORT, LeftOut, Throw
from tracker.shot.stations import LEAST_STATIONS

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MeasuredSession:
    """Shots of a folder in the order of its table, and those without what the model needs."""

    throws: tuple[Throw, ...]
    left_out: tuple[LeftOut, ...]


def read_measured(out: Path, sheet: SessionSheet | None = None) -> MeasuredSession:
    """Read ``shots.csv`` and the shots' files of a run.

    Shots are numbered on their lane in the table's order, those that failed counted too: they have rolled there.

    Parameters
    ----------
    out : Path
        Folder of the run.
    sheet : SessionSheet or None
        The session sheet, for the feet, which no table holds.

    Raises
    ------
    OutputError
        If the table or a shot's file cannot be read.
    """
    throws: list[Throw] = []
    left: list[LeftOut] = []
    numbers: dict[str, int] = {}
    rows = read_table(out / SHOTS_NAME, HEADER)
    twice = next((name for name, count in Counter(row["shot_id"] for row in rows).items() if count > 1), None)
    if twice is not None:
        msg = f"{SHOTS_NAME}: shot {twice!r} has two rows; delete one, or measure again into another folder"
        raise OutputError(msg)
    for row in rows:
        number = numbers[row["lane"]] = numbers.get(row["lane"], 0) + 1
        found = row["reason"] if row["status"] == "failed" else read_stations(out / row["shot_id"] / "shot.json")
        if isinstance(found, Stations):
            throws.append(_throw(row, number, found, sheet))
        else:
            left.append(LeftOut(row["shot_id"], row["reason"] or found))
    return MeasuredSession(tuple(throws), tuple(left))


def read_stations(file: Path) -> Stations | str:
    """Stations of a shot's file, or why it has none.

    Raises
    ------
    OutputError
        If the file is not a shot's.
    """
    if not file.exists():
        return GONE
    try:
        told = json.loads(file.read_text(encoding="utf-8"))
        found = told.get("stations")
        return _stations(found) if found is not None else TOO_SHORT if "stations" in told else OLDER
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        msg = f"{file.parent.name}/{file.name}: cannot be read as a shot ({error}); measure that clip again with --redo"
        raise OutputError(msg) from error


def _stations(found: Mapping[str, Any]) -> Stations:
    distance, board, elapsed, u = (
        np.array(found[name], dtype=np.float64) for name in ("distance_ft", "board", "elapsed_s", "u")
    )
    if not len(u) == len(board) + len(elapsed) == 2 * len(distance) - 1:
        msg = f"stations have {len(distance)} distances, {len(board)} boards, {len(elapsed)} times, {len(u)} u"
        raise ValueError(msg)
    if len(distance) < LEAST_STATIONS or not all(np.isfinite(v).all() for v in (distance, board, elapsed, u)):
        msg = f"stations need at least {LEAST_STATIONS} places, all of them numbers"
        raise ValueError(msg)
    alike = np.eye(len(u))
    for k, row in enumerate(found["correlation"]):
        alike[k, :k] = alike[:k, k] = row
    return Stations(distance, board, elapsed, alike * np.outer(u, u))


def not_measured(out: Path, sheet: SessionSheet) -> list[str]:
    """What a session sheet names that the folder's table lacks, in words: clips, and balls of clips that it has.

    Raises
    ------
    OutputError
        If the table cannot be read.
    """
    rows = read_table(out / SHOTS_NAME, HEADER)
    lonely = sheet.without_clip(row["clip"] for row in rows)
    had = {row["ball"].casefold() for row in rows}
    balls = {row.ball: row for row in sheet.rows if row.ball and row.ball.casefold() not in had and row not in lonely}
    said = [f"clips that were not measured: {_listed(row.clip for row in lonely)}"] if lonely else []
    return said + ([f"balls that no measured shot has: {_listed(balls)}"] if balls else [])


def _listed(names: Iterable[str]) -> str:
    return ", ".join(repr(name) for name in dict.fromkeys(names))


def _throw(row: Row, number: int, stations: Stations, sheet: SessionSheet | None) -> Throw:
    """A row as a throw; one at pins that were left is a spare shot, whatever the sheet says."""
    spare = "rack_not_full" in row["flags"].split()
    hand: Hand = "left" if row["hand"] == "left" else "right"
    return Throw(
        row["shot_id"],
        number,
        row["lane"],
        row["ball"],
        hand,
        stations,
        line=row["line"],
        intent="spare" if spare else row["intent"],
        feet=_feet(row, sheet),
    )


def _feet(row: Row, sheet: SessionSheet | None) -> float | None:
    """Board of the foot as the sheet notes it; None where it is no number."""
    if sheet is None:
        return None
    stem, _, take = row["shot_id"].rpartition("-")
    several = stem and take.isdecimal() and row["clip"].startswith(f"{stem}.")
    noted = sheet.for_shot(row["clip"], int(take) if several else 1)
    try:
        return float(noted.feet.replace(",", ".")) if noted is not None and noted.feet else None
    except ValueError:
        return None
