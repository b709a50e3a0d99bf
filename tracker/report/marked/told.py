"""What a shot's folder tells of it, as far as a video draws it.

A video is always made from the written files, so that one that is added later is the same to the byte.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.camera import PARAMETERS, Camera
from calibration.lane import Hand
from tracker.results import Quantity

Array = NDArray[np.float64]

USUAL_FPS, MOST_FPS = 30.0, 240.0
PATH_NAMES = ("t_s", "board", "distance_ft", "speed_mph", "seen")


@dataclass(frozen=True, slots=True)
class ToldShot:
    """A measured shot.

    Attributes
    ----------
    shot_id : str
    hand : {'right', 'left'}
        Hand by which boards count.
    camera : Camera
    numbers : mapping of str to Quantity
        Those of the table.
    t_s, board, distance_ft, speed_mph : ndarray of shape (n,)
        The path; times of the clip, rising.
    seen : bool ndarray of shape (n,)
        Whether the ball was measured there.
    shaky : bool
        The view moved, and the path is that in a view held still.
    jumps : bool
        The clip's times jump back somewhere.
    fps : float
        Usual pictures a second of the file.
    doubt : str
        In words why the shot is only partly measured, or failed; empty where it is measured.
    """

    shot_id: str
    hand: Hand
    camera: Camera
    numbers: Mapping[str, Quantity]
    t_s: Array
    board: Array
    distance_ft: Array
    speed_mph: Array
    seen: NDArray[np.bool_]
    shaky: bool = False
    jumps: bool = False
    fps: float = USUAL_FPS
    doubt: str = ""


def read_told(shot_json: bytes, path_csv: bytes) -> ToldShot | None:
    """Read a shot's two files; None where they know no camera or no path of two places.

    Raises
    ------
    ValueError, KeyError, TypeError
        If they are not a shot's files.
    """
    data = json.loads(shot_json)
    path = _path(path_csv)
    camera = _camera(data["provenance"])
    if camera is None or path["t_s"].size < 2:
        return None
    facts = data["provenance"].get("clip_facts") or {}
    hand: Hand = "left" if data["hand"] == "left" else "right"
    return ToldShot(
        str(data["shot_id"]),
        hand,
        camera,
        {name: Quantity(number["value"], number["u"]) for name, number in data["numbers"].items()},
        t_s=path["t_s"],
        board=path["board"],
        distance_ft=path["distance_ft"],
        speed_mph=path["speed_mph"],
        seen=path["seen"] > 0,
        shaky=any(flag["code"] == "shaky" for flag in data["flags"]),
        jumps=bool(facts.get("time_resets")),
        doubt="" if data["reason"] is None else f"{data['status']}: {data['reason']['title']}",
        fps=float(np.clip(facts.get("nominal_fps") or USUAL_FPS, 1.0, MOST_FPS)),
    )


def _camera(provenance: Mapping[str, Any]) -> Camera | None:
    known = provenance.get("calibration")
    if known is None:
        return None
    values = [float(known["camera"][name]["value"]) for name in PARAMETERS]
    return Camera.from_vector(values, int(known["width"]), int(known["height"]))


def _path(path_csv: bytes) -> dict[str, Array]:
    """Columns of a path; rows without a place are left out."""
    rows = list(csv.DictReader(io.StringIO(path_csv.decode("utf-8"), newline="")))
    table = np.array([[float(row[name] or "nan") for name in PATH_NAMES] for row in rows]).reshape(-1, len(PATH_NAMES))
    whole = np.isfinite(table).all(axis=1)
    return {name: column[whole] for name, column in zip(PATH_NAMES, table.T, strict=True)}
