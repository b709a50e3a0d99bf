"""What `measure` would have written of a simulated practice."""

import json
from pathlib import Path

import numpy as np

from tracker.columns import COLUMNS
from tracker.lineup.shots import ShotFacts
from tracker.report.files import write_tables
from tracker.report.shot import shot_json
from tracker.results import Quantity, ShotResult


def facts_of_practice(practice, **changes):
    """Facts of all throws, contact and entry as they were; ``changes`` by shot id."""
    return tuple(
        _facts(t, seen, changes.get(t.shot_id, {})) for t, seen in zip(practice.throws, practice.seen, strict=True)
    )


def _facts(throw, seen, more):
    board, angle = seen
    numbers = {
        "contact_board": Quantity(board, 0.12),
        "entry_angle_deg": Quantity(angle, 0.1),
        "turn_deg": Quantity(angle + 1.5, 0.1),
        "board_15ft": Quantity(float(np.interp(15.0, throw.stations.distance_ft, throw.stations.board)), 0.05),
        "laydown_board": Quantity(float(throw.stations.board[0]), 0.1),
    } | more.pop("numbers", {})
    return ShotFacts(throw.shot_id, throw.lane, throw.ball, throw.hand, line=throw.line, numbers=numbers, **more)


def write_practice(out: Path, practice, **cells) -> None:
    """``shots.csv`` and each shot's stations; ``cells`` are set in every row."""
    rows = []
    for throw, (board, angle) in zip(practice.throws, practice.seen, strict=True):
        row = {name: "" for c in COLUMNS for name in c.headers}
        row |= {
            "shot_id": throw.shot_id, "clip": f"{throw.shot_id}.mp4", "lane": throw.lane, "ball": throw.ball,
            "hand": throw.hand, "line": throw.line, "status": "measured", "phase_at_pins": "hook",
            "contact_board": f"{board:.2f}", "contact_board_u": "0.12", "entry_angle_deg": f"{angle:.2f}",
            "entry_angle_deg_u": "0.1", "turn_deg": f"{angle + 1.5:.2f}", "turn_deg_u": "0.1",
        } | cells  # fmt: skip
        rows.append(row)
        shot = ShotResult(throw.shot_id, row["clip"], "measured", hand=throw.hand, stations=throw.stations)
        folder = out / throw.shot_id
        folder.mkdir(parents=True)
        (folder / "shot.json").write_text(shot_json(shot, {}), encoding="utf-8")
        json.loads((folder / "shot.json").read_text(encoding="utf-8"))
    write_tables(out, rows, [])
