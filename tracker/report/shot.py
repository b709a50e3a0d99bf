"""A shot's own folder: its path, its numbers with their meaning, and its picture."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from calibration.errors import Failure
from tracker.columns import FIT_NUMBERS, NUMBERS, PATH_COLUMNS, PIN_NUMBERS, Column
from tracker.flags import describe
from tracker.report.curves import curves_data
from tracker.report.files import OutputError, csv_text, remove_folder, write_folder
from tracker.report.marked.folder import write_with_video
from tracker.report.overlay import overlay_png
from tracker.report.pinstrip import pins_png
from tracker.report.provenance import as_json
from tracker.report.rows import number_text, phase_at_pins
from tracker.results import LaunchFit, PathTable, PinsReading, Quantity, ShotResult, Stations

FORMAT = "sixtyfeet-shot"
LAYOUT = 4


def write_shot(
    out: Path,
    shot: ShotResult,
    provenance: Mapping[str, Any],
    *,
    noted_standing: str = "",
    video_of: Path | None = None,
) -> Failure | None:
    """Write ``OUT/<shot_id>/`` with shot.json and, where the shot has them, path.csv, overlay.png and pins.png.

    The folder appears whole or not at all, and replaces one of the same name. Same input, same bytes.

    Parameters
    ----------
    out : Path
        Folder of the run.
    shot : ShotResult
    provenance : mapping of str to object
        Versions, settings, hashes, facts: see :mod:`tracker.report.provenance`.
    noted_standing : str
        Pins that stand afterwards, as the session sheet notes them.
    video_of : Path or None
        The clip, where its marked-up video is wanted as well.

    Returns
    -------
    Failure or None
        Why there is no marked-up video though it was wanted; the rest is written all the same.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    _check_id(shot.shot_id)
    files: dict[str, bytes | Path] = {
        "shot.json": shot_json(shot, provenance, noted_standing=noted_standing).encode("utf-8")
    }
    if shot.path is not None and shot.path.t_s.size:
        files["path.csv"] = path_csv(shot.path).encode("utf-8")
        if shot.camera is not None:
            files["overlay.png"] = overlay_png(shot)
    if shot.pins is not None and shot.pins.pictures:
        files["pins.png"] = pins_png(shot.pins)
    if video_of is None:
        write_folder(out / shot.shot_id, files)
        return None
    return write_with_video(out / shot.shot_id, files, video_of)


def remove_shot(out: Path, shot_id: str) -> None:
    """Remove the folder of a shot that no longer exists.

    Raises
    ------
    OutputError
        If it cannot be removed.
    """
    _check_id(shot_id)
    remove_folder(out / shot_id)


def _check_id(shot_id: str) -> None:
    """Refuse an id that is not the name of a folder inside the output folder."""
    if not shot_id.strip(". ") or any(c in shot_id for c in "/\\\0"):
        msg = f"shot id {shot_id!r} is not a folder's name; give the clip another name"
        raise OutputError(msg)


def path_csv(path: PathTable) -> str:
    """Text of ``path.csv``: one row a frame looked at, columns of :data:`tracker.columns.PATH_COLUMNS`."""
    columns = [[number_text(float(v), c.decimals) for v in getattr(path, c.name)] for c in PATH_COLUMNS]
    names = [c.name for c in PATH_COLUMNS]
    rows = (dict(zip(names, cells, strict=True)) for cells in zip(*columns, strict=True))
    return csv_text(names, rows)


def shot_json(shot: ShotResult, provenance: Mapping[str, Any], *, noted_standing: str = "") -> str:
    """Text of ``shot.json``: the numbers with units and definitions, codes with their words, where all comes from."""
    data = {
        "format": FORMAT,
        "layout": LAYOUT,
        "shot_id": shot.shot_id,
        "clip": shot.clip,
        "hand": shot.hand,
        "status": shot.status,
        "reason": {**_code(shot.reason), "detail": shot.detail} if shot.reason else None,
        "flags": [_code(code) for code in shot.flags],
        "phase_at_pins": phase_at_pins(shot.quantities) or None,
        "numbers": _numbers(NUMBERS, shot.quantities),
        "physical_fit": _physical_fit(shot.launch),
        "stations": _stations(shot.stations),
        "curves": curves_data(shot.curves),
        "pins": _pins(shot.pins, noted_standing),
        "path": {c.name: {"unit": c.unit, "definition": c.definition} for c in PATH_COLUMNS},
        "provenance": provenance,
    }
    return json.dumps(as_json(data), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _numbers(columns: Iterable[Column], quantities: Mapping[str, Quantity]) -> dict[str, Any]:
    return {c.name: _number(quantities.get(c.name, Quantity()), c.unit, c.definition) for c in columns}


def _physical_fit(fit: LaunchFit | None) -> dict[str, Any]:
    found = fit or LaunchFit({}, (), np.zeros((0, 0)))
    correlation = {"names": list(found.names), "rows": found.correlation.tolist()}
    return {"numbers": _numbers(FIT_NUMBERS, found.quantities), "correlation": correlation}


def _stations(found: Stations | None) -> dict[str, Any] | None:
    """Boards and times with standard uncertainties and correlation: short, and still a covariance when read back."""
    if found is None:
        return None
    u = np.sqrt(np.diag(found.covariance))
    return {
        "distance_ft": found.distance_ft.tolist(),
        "board": found.board.round(4).tolist(),
        "elapsed_s": found.elapsed_s.round(6).tolist(),
        "u": u.round(7).tolist(),
        "correlation": [row[:k].round(4).tolist() for k, row in enumerate(found.covariance / np.outer(u, u))],
    }


def _pins(reading: PinsReading | None, noted: str) -> dict[str, Any] | None:
    """What the pins say; None where they were not read and nothing is noted."""
    if reading is None and not noted:
        return None
    r = reading or PinsReading()
    return {
        "standing": {"read": r.standing or None, "probability": r.sure, "noted": noted or None},
        "before": {"read": r.before or None, "probability": r.before_sure},
        "each": [
            {
                "pin": p.number, "before": p.before, "after": p.after, "codes": [_code(c) for c in p.codes],
                "beside_in": p.beside_in and {"right": p.beside_in[0], "behind": p.beside_in[1]},
            }
            for p in r.pins
        ],
        "first_contact": {"pin_by_path": r.first_pin, "pins_seen_moving_first": list(r.first_moved)},
        "exit_words": r.exit_words or None,
        "model_pins": list(r.model_pins),
        "numbers": _numbers(PIN_NUMBERS, r.numbers),
    }  # fmt: skip


def _number(quantity: Quantity, unit: str, definition: str) -> dict[str, Any]:
    missing = _code(quantity.missing) if quantity.missing and quantity.value is None else None
    return {
        "value": quantity.value,
        "u": None if quantity.value is None else quantity.u,
        "unit": unit,
        "missing": missing,
        "definition": definition,
    }


def _code(code: str) -> dict[str, str]:
    flag = describe(code)
    return {"code": code, "title": flag.title, "text": flag.text, "what_to_do": flag.what_to_do}
