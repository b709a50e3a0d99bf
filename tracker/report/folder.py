"""A run's folder read back whole for a report: table, shots' files, what failed, and the line-up."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tracker.columns import HEADER, NUMBERS
from tracker.lineup.plain import FORMAT, LAYOUT
from tracker.report.files import FAILURES_NAME, SHOTS_NAME, OutputError, read_table
from tracker.report.rows import FAILURE_HEADER, Row
from tracker.report.shape import holds
from tracker.report.shapes import LINEUP
from tracker.report.shotfacts import cell_quantity
from tracker.results import Quantity

LINEUP_NAME = "lineup.json"
PICTURES = ("overlay.png", "pins.png")


@dataclass(frozen=True, slots=True)
class ShotEntry:
    """One row of the table with what the shot's own files hold.

    Attributes
    ----------
    row : dict of str to str
        Cells of ``shots.csv``.
    numbers : mapping of str to Quantity
        Every number of the table; an empty one has the flag that says why, where the shot's file tells.
    data : mapping of str to object
        ``shot.json``; empty where there is none or it cannot be read.
    pictures : mapping of str to Path
        Pictures that are there, by file name.
    trouble : str
        Which of the shot's files could not be read, as a sentence.
    """

    row: Row
    numbers: Mapping[str, Quantity]
    data: Mapping[str, Any] = field(default_factory=dict)
    pictures: Mapping[str, Path] = field(default_factory=dict)
    trouble: str = ""

    @property
    def shot_id(self) -> str:
        """Name of the shot."""
        return self.row["shot_id"]


@dataclass(frozen=True, slots=True)
class SessionFolder:
    """A measured session.

    Attributes
    ----------
    shots : tuple of ShotEntry
        In the table's order.
    failures : tuple of dict of str to str
        Rows of ``failures.csv``.
    lineup : mapping of str to object or None
        ``lineup.json``, where it was made from this table.
    lineup_trouble, failures_trouble : str
        Why there is no line-up, or no table of failures, as a sentence with what to do.
    """

    shots: tuple[ShotEntry, ...]
    failures: tuple[Row, ...]
    lineup: Mapping[str, Any] | None = None
    lineup_trouble: str = ""
    failures_trouble: str = ""


def read_folder(out: Path) -> SessionFolder:
    """Read what ``measure`` and ``lineup`` wrote.

    Of what cannot be read only the table of shots costs the session; else a sentence says what is missing.

    Raises
    ------
    OutputError
        If the table of shots cannot be read.
    """
    shots = tuple(_entry(out, row) for row in read_table(out / SHOTS_NAME, HEADER))
    try:
        failures, unread = tuple(read_table(out / FAILURES_NAME, FAILURE_HEADER)), ""
    except OutputError as error:
        failures, unread = (), f"{error}."
    lineup, trouble = _lineup(out)
    return SessionFolder(shots, failures, lineup, trouble, unread)


def table_hash(out: Path) -> str:
    """Hash (sha256, hexadecimal) of the table of shots: what a line-up was made from."""
    return hashlib.sha256((out / SHOTS_NAME).read_bytes()).hexdigest()


def _entry(out: Path, row: Row) -> ShotEntry:
    folder = _folder_of(out, row["shot_id"])
    if folder is None:
        return ShotEntry(row, _numbers(row, {}))
    data = _read_json(folder / "shot.json")
    pictures = {name: folder / name for name in PICTURES if (folder / name).is_file()}
    if not holds(data, {"numbers": dict}):
        trouble = "Its shot.json cannot be read; measure that clip again with --redo."
        return ShotEntry(row, _numbers(row, {}), pictures=pictures, trouble=trouble)
    return ShotEntry(row, _numbers(row, data), data, pictures)


def _folder_of(out: Path, shot_id: str) -> Path | None:
    """A shot's folder; None for an id that would lead elsewhere."""
    if not shot_id.strip(". ") or any(c in shot_id for c in "/\\\0"):
        return None
    folder = out / shot_id
    return folder if folder.is_dir() and not folder.is_symlink() else None


def _read_json(file: Path) -> Any:
    """Data of a file; None where it is none."""
    try:
        return json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None


def _numbers(row: Row, data: Mapping[str, Any]) -> Mapping[str, Quantity]:
    """Numbers as the table has them; the shot's file says why one is missing."""
    told = data.get("numbers", {})
    out = {}
    for column in NUMBERS:
        if row[column.name]:
            out[column.name] = cell_quantity(row[column.name], row[column.u_name])
        else:
            why = told.get(column.name)
            missing = why["missing"]["code"] if holds(why, {"missing": {"code": str}}) else None
            out[column.name] = Quantity(missing=missing)
    return out


def _lineup(out: Path) -> tuple[Mapping[str, Any] | None, str]:
    file = out / LINEUP_NAME
    if not file.is_file():
        return None, "No line-up was made; run sixtyfeet lineup on this folder."
    data = _read_json(file)
    named = {"format": str, "layout": int}
    if not holds(data, named) or (data["format"], data["layout"]) != (FORMAT, LAYOUT) or not holds(data, LINEUP):
        return None, f"{LINEUP_NAME} cannot be read, or is of another version; run sixtyfeet lineup again."
    if data["made_from"]["shots_sha256"] != table_hash(out):
        return None, "The line-up was made before the table of shots changed; run sixtyfeet lineup again."
    return data, ""
