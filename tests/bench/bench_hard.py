"""Accuracy against severity on hard clips: ``python tests/bench/bench_hard.py --keep /tmp/hard``.

Clips with truth are made harder, a family and a severity at a time, and measured; the lane is found in each. One line a
clip: what it said, path errors against the truth in boards and feet, difference to the path of the clip as it was
filmed, largest error over its own uncertainty, and how many numbers lie beyond 2 u and 3 u. Then what was not wanted
(silently measured, or refused without need), the worst cells, and the share of cells beyond 3 u.

``--keep`` keeps the clips, so that a change of the tracker is measured on the same pictures. ``--only`` and ``--bases``
choose families and clips by a part of their names, ``--cases`` adds modules of cases (see ``tests/hard_cases.py``);
``SIXTYFEET_CLIPS`` adds outside clips. ``--markdown`` and ``--csv`` write the table.
"""

from __future__ import annotations

import argparse
import csv
import importlib
import math
import os
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np

# the tests have a folder of the name of the package sample_media, which is to be found first
sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parents[2]))
import hard_families
from hard_cases import HardCase

from calibration.lane import board_from_x
from tracker.columns import COLUMNS
from tracker.measure import MeasureSettings, measure_clip
from tracker.results import ClipResult, PathTable, ShotResult

OUTSIDE = {
    "board_15ft": "arrows_board_15ft", "breakpoint_board": "breakpoint_board", "breakpoint_ft": "breakpoint_ft",
    "entry_angle_deg": "entry_angle_deg", "board_60ft": "impact_board_extrapolated", "laydown_board": "laydown",
    "speed_release_mph": "speed_mph_start", "speed_pins_mph": "speed_mph_end",
}  # fmt: skip
"""Columns by the names that the outside clips have for them."""
SAID = ("speed_doubtful", "model_disagrees", "hdr", "variable_rate", "dropped_frames", "truncated", "shaky",
        "weak_contrast", "gap", "late_start", "early_end", "calibration_usable")  # fmt: skip
HEAD = ("base", "family", "severity", "said", "boards", "ft", "to base", "numbers", "max/u", ">2u", ">3u", "flags")


@dataclass(frozen=True, slots=True)
class Cell:
    """One number against its truth."""

    column: str
    value: float
    u: float
    true: float

    @property
    def sigmas(self) -> float:
        return (self.value - self.true) / self.u


@dataclass(frozen=True, slots=True)
class Row:
    """One clip of the table."""

    case: HardCase
    said: str
    wanted: bool
    flags: tuple[str, ...] = ()
    board_rms: float = math.nan
    ft_rms: float = math.nan
    to_base: float = math.nan
    cells: tuple[Cell, ...] = ()
    detail: str = ""

    def beyond(self, sigmas: float) -> int:
        return sum(abs(c.sigmas) > sigmas for c in self.cells)

    def texts(self) -> tuple[str, ...]:
        worst = max((abs(c.sigmas) for c in self.cells), default=math.nan)
        numbers = (str(len(self.cells)), _text(worst, 1), str(self.beyond(2)), str(self.beyond(3)))
        return (
            self.case.base or self.case.clip.stem,
            self.case.family,
            self.case.severity,
            self.said + ("" if self.wanted else " (!)"),
            _text(self.board_rms, 2),
            _text(self.ft_rms, 2),
            _text(self.to_base, 3),
            *(numbers if self.cells else ("", "", "", "")),
            " ".join(f for f in SAID if f in self.flags),
        )


def _text(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if math.isfinite(value) else ""


def _settings(case: HardCase) -> MeasureSettings:
    return MeasureSettings(case.hand, case.ball_diameter_in, case.capture_fps, case.lane_at)


def _said(result: ClipResult) -> tuple[str, str]:
    if result.failure is not None:
        return f"failed {result.failure.reason}", result.failure.detail
    words = " + ".join(f"{s.status} {s.reason}".strip() for s in result.shots)
    return words, "; ".join(s.detail for s in result.shots if s.detail)


def _is_wanted(case: HardCase, said: str, flags: Sequence[str]) -> bool:
    states = {word.split()[0] for word in said.split(" + ")}
    needed = [w.removeprefix("flag:") for w in case.wanted if w.startswith("flag:")]
    if states == {"measured"} and "measured" not in case.wanted:
        return any(flag in flags for flag in needed)
    return states <= {*case.wanted, *(["measured"] if needed else [])}


def _misses(table: PathTable, case: HardCase, hand: str) -> tuple[float, float]:
    path = case.true_path()
    inside = (table.t_s >= path[0, 0]) & (table.t_s <= path[-1, 0]) if len(path) else np.zeros(len(table.t_s), bool)
    if not inside.any():
        return math.nan, math.nan
    t_s = table.t_s[inside]
    board = board_from_x(np.interp(t_s, path[:, 0], path[:, 1]), hand)
    feet = np.interp(t_s, path[:, 0], path[:, 2]) / 12
    misses = (table.board[inside] - board, table.distance_ft[inside] - feet)
    return tuple(float(np.sqrt(np.mean(m**2))) for m in misses)


def _apart(table: PathTable, other: PathTable) -> float:
    """Root mean square difference in boards over the stretch of lane that both saw."""
    both = (table.distance_ft, other.distance_ft)
    low, high = max(feet[0] for feet in both), min(feet[-1] for feet in both)
    at = np.arange(low, high, 0.5)
    boards = [np.interp(at, np.maximum.accumulate(t.distance_ft), t.board) for t in (table, other)]
    return float(np.sqrt(np.mean((boards[0] - boards[1]) ** 2))) if len(at) else math.nan


@lru_cache(maxsize=8)
def _base_path(clip: Path) -> PathTable | None:
    result = measure_clip(clip, None, MeasureSettings())
    return _longest(result).path if result.shots else None


def _longest(result: ClipResult) -> ShotResult:
    return max(result.shots, key=lambda s: len(s.path.t_s) if s.path is not None else 0)


def measured(case: HardCase) -> Row:
    """Measure one case."""
    result = measure_clip(case.clip, None, _settings(case))
    said, detail = _said(result)
    if not result.shots:
        return Row(case, said, _is_wanted(case, said, ()), detail=detail)
    shot = _longest(result)
    truth = case.read_truth()
    if truth and shot.hand != truth["hand"] and case.hand is None:
        shot = _longest(measure_clip(case.clip, None, MeasureSettings(truth["hand"], None, case.capture_fps)))
    board, feet = _misses(shot.path, case, truth["hand"]) if shot.path is not None and truth else (math.nan, math.nan)
    before = _base_path(case.like) if case.like is not None and case.like != case.clip else None
    apart = _apart(shot.path, before) if before is not None and shot.path is not None else math.nan
    return Row(case, said, _is_wanted(case, said, shot.flags), shot.flags, board, feet, apart,
               _cells(shot, case.true_numbers()), detail)  # fmt: skip


def _cells(shot: ShotResult, true: dict[str, object]) -> tuple[Cell, ...]:
    cells = []
    for column in COLUMNS:
        q = shot.quantities.get(column.name)
        right = true.get(column.name, true.get(OUTSIDE.get(column.name, "")))
        if q is not None and q.value is not None and q.u and isinstance(right, (int, float)):
            cells.append(Cell(column.name, q.value, q.u, float(right)))
    return tuple(cells)


def summary(rows: Sequence[Row]) -> list[str]:
    """What was not wanted, the worst cells, and the shares."""
    lines = ["", "not wanted", *(f"  {' | '.join(r.texts()[:4])}: {r.detail}" for r in rows if not r.wanted)]
    far = sorted(((r, c) for r in rows for c in r.cells if abs(c.sigmas) > 3), key=lambda rc: -abs(rc[1].sigmas))
    lines += ["", "cells beyond 3 u"]
    lines += [f"  {' | '.join(r.texts()[:4])}: {_cell(c)}" for r, c in far]
    cells = [c for r in rows for c in r.cells]
    share = [sum(abs(c.sigmas) > s for c in cells) / max(len(cells), 1) for s in (2, 3)]
    states = [sum(r.said.startswith(s) for r in rows) for s in ("measured", "partial", "failed")]
    lines += ["", f"{len(rows)} clips: {states[0]} measured, {states[1]} partial, {states[2]} failed, "
              f"{sum(not r.wanted for r in rows)} not as wanted", f"{len(cells)} numbers: {share[0]:.2%} beyond 2 u, "
              f"{share[1]:.2%} beyond 3 u"]  # fmt: skip
    return lines


def _cell(c: Cell) -> str:
    return f"{c.column} {c.value:.2f} +- {c.u:.2f}, true {c.true:.2f}, {c.sigmas:+.1f} u"


def markdown(rows: Sequence[Row]) -> str:
    """The table of all clips as Markdown."""
    lines = ["| " + " | ".join(HEAD) + " |", "|" + "---|" * len(HEAD)]
    return "\n".join([*lines, *("| " + " | ".join(r.texts()) + " |" for r in rows)]) + "\n"


def _cases(given: argparse.Namespace, folder: Path) -> Iterator[HardCase]:
    outside = os.environ.get("SIXTYFEET_CLIPS")
    wanted_base = lambda name: not given.bases or any(b in name for b in given.bases)  # noqa: E731
    wanted = lambda family: not given.only or any(o in family for o in given.only)  # noqa: E731
    if not given.cases_alone:
        yield from hard_families.cases(folder, Path(outside) if outside else None, wanted_base, wanted)
    for name in given.cases:
        yield from (case for case in importlib.import_module(name).cases(folder) if wanted(case.family))


def main() -> None:
    """Make and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keep", type=Path, help="folder in which the clips stay and are used again")
    parser.add_argument("--only", nargs="*", default=[], help="parts of families' names")
    parser.add_argument("--bases", nargs="*", default=[], help="parts of clips' names")
    parser.add_argument("--cases", nargs="*", default=[], help="further modules of cases")
    parser.add_argument("--cases-alone", action="store_true", help="measure only those")
    parser.add_argument("--markdown", type=Path)
    parser.add_argument("--csv", type=Path)
    given = parser.parse_args()
    cv2.setNumThreads(1)
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.keep or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        sys.stdout.write(" | ".join(HEAD) + "\n")
        for case in _cases(given, folder):
            rows.append(measured(case))
            sys.stdout.write(" | ".join(rows[-1].texts()) + (f" | {rows[-1].detail}" if rows[-1].detail else "") + "\n")
            sys.stdout.flush()
    sys.stdout.write("\n".join(summary(rows)) + "\n")
    if given.markdown:
        given.markdown.write_text(markdown(rows), encoding="utf-8")
    if given.csv:
        with given.csv.open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows([HEAD, *(r.texts() for r in rows)])


if __name__ == "__main__":
    main()
