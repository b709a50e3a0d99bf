"""A run's folder read back whole for a report: table, shots' files, what failed, and the line-up."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tracker.columns import HEADER, NUMBERS, PATH_COLUMNS
from tracker.report.files import FAILURES_NAME, SHOTS_NAME, read_table
from tracker.report.rows import FAILURE_HEADER, Row
from tracker.report.shotfacts import cell_quantity
from tracker.results import Quantity

Array = NDArray[np.float64]

LINEUP_NAME = "lineup.json"
LINEUP_FORMAT = "sixtyfeet-lineup"
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
    path : mapping of str to ndarray of shape (n,)
        Columns of ``path.csv``; empty where there is none.
    pictures : mapping of str to Path
        Pictures that are there, by file name.
    trouble : str
        Which of the shot's files could not be read, as a sentence.
    """

    row: Row
    numbers: Mapping[str, Quantity]
    data: Mapping[str, Any] = field(default_factory=dict)
    path: Mapping[str, Array] = field(default_factory=dict)
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
    lineup_trouble : str
        Why there is no line-up, as a sentence with what to do.
    """

    shots: tuple[ShotEntry, ...]
    failures: tuple[Row, ...]
    lineup: Mapping[str, Any] | None = None
    lineup_trouble: str = ""


def read_folder(out: Path) -> SessionFolder:
    """Read what ``measure`` and ``lineup`` wrote.

    A shot's file that cannot be read costs that shot's curves and pictures, not the session.

    Raises
    ------
    OutputError
        If a table cannot be read.
    """
    shots = tuple(_entry(out, row) for row in read_table(out / SHOTS_NAME, HEADER))
    failures = tuple(read_table(out / FAILURES_NAME, FAILURE_HEADER))
    lineup, trouble = _lineup(out)
    return SessionFolder(shots, failures, lineup, trouble)


def table_hash(out: Path) -> str:
    """Hash (sha256, hexadecimal) of the table of shots: what a line-up was made from."""
    return hashlib.sha256((out / SHOTS_NAME).read_bytes()).hexdigest()


def _entry(out: Path, row: Row) -> ShotEntry:
    folder = _folder_of(out, row["shot_id"])
    if folder is None:
        return ShotEntry(row, _numbers(row, {}))
    try:
        data = _shot_data(folder / "shot.json")
        path = _path(folder / "path.csv")
    except (OSError, ValueError, KeyError, TypeError) as error:
        trouble = f"Its files cannot be read ({type(error).__name__}); measure that clip again with --redo."
        return ShotEntry(row, _numbers(row, {}), trouble=trouble)
    pictures = {name: folder / name for name in PICTURES if (folder / name).is_file()}
    return ShotEntry(row, _numbers(row, data), data, path, pictures)


def _folder_of(out: Path, shot_id: str) -> Path | None:
    """A shot's folder; None for an id that would lead elsewhere."""
    if not shot_id.strip(". ") or any(c in shot_id for c in "/\\\0"):
        return None
    folder = out / shot_id
    return folder if folder.is_dir() and not folder.is_symlink() else None


def _shot_data(file: Path) -> Mapping[str, Any]:
    if not file.is_file():
        return {}
    data = json.loads(file.read_text(encoding="utf-8"))
    if not isinstance(data, dict) or not isinstance(data.get("numbers", {}), dict):
        msg = "not a shot's file"
        raise TypeError(msg)
    return data


def _path(file: Path) -> Mapping[str, Array]:
    if not file.is_file():
        return {}
    names = [c.name for c in PATH_COLUMNS]
    lines = file.read_text(encoding="utf-8").splitlines()
    if not lines or lines[0].split(",") != names:
        msg = "not a path's table"
        raise ValueError(msg)
    cells = np.array([[float(c) if c else np.nan for c in line.split(",")] for line in lines[1:]], dtype=np.float64)
    return {name: cells[:, k] for k, name in enumerate(names)} if cells.size else {}


def _numbers(row: Row, data: Mapping[str, Any]) -> Mapping[str, Quantity]:
    """Numbers as the table has them; the shot's file says why one is missing."""
    told = data.get("numbers", {})
    out = {}
    for column in NUMBERS:
        if row[column.name]:
            out[column.name] = cell_quantity(row[column.name], row[column.u_name])
        else:
            missing = (told.get(column.name) or {}).get("missing") or {}
            out[column.name] = Quantity(missing=missing.get("code"))
    return out


def _lineup(out: Path) -> tuple[Mapping[str, Any] | None, str]:
    file = out / LINEUP_NAME
    if not file.is_file():
        return None, "No line-up was made; run sixtyfeet lineup on this folder."
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
        own, made_from = data["format"] == LINEUP_FORMAT, data["made_from"]["shots_sha256"]
    except (OSError, ValueError, KeyError, TypeError):
        own, made_from, data = False, "", {}
    if not own:
        return None, f"{LINEUP_NAME} cannot be read, or is of an older version; run sixtyfeet lineup again."
    if made_from != table_hash(out):
        return None, "The line-up was made before the table of shots changed; run sixtyfeet lineup again."
    return data, ""
