"""Measuring hard scenes: what was said, and the numbers of the shot that is meant beside the true ones."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from hard_cases import HardCase
from numpy.typing import NDArray

from calibration.lane import board_from_x
from tracker.columns import COLUMNS
from tracker.measure import MeasureSettings, measure_clip
from tracker.results import ClipResult, PathTable, ShotResult

Array = NDArray[np.float64]

HEAD = ("family", "severity", "said", "path, board", "path, ft", "numbers", "max/u", ">2u", ">3u", "invented",
        "flags")  # fmt: skip
SAID = ("model_disagrees", "shaky", "weak_contrast", "gap", "late_start", "early_end", "calibration_usable",
        "other_ball", "hand_assumed", "hand_differs")  # fmt: skip


BEFORE_GUTTER = ("laydown_board", "laydown_ft", "launch_angle_deg", "speed_release_mph")


@dataclass(frozen=True, slots=True)
class Cell:
    """One number against its truth; ``true`` is None where the shot has none, so that it is invented."""

    column: str
    value: float
    u: float
    true: float | None

    @property
    def sigmas(self) -> float:
        """Error over u; NaN without truth."""
        return (self.value - self.true) / self.u if self.true is not None else math.nan


@dataclass(frozen=True, slots=True)
class Row:
    """One case of the table."""

    case: HardCase
    said: str
    wanted: bool
    detail: str = ""
    flags: tuple[str, ...] = ()
    board_rms: float = math.nan
    ft_rms: float = math.nan
    cells: tuple[Cell, ...] = ()
    extra: int = 0

    def beyond(self, sigmas: float) -> int:
        """Numbers that are off by more than so many u."""
        return sum(abs(c.sigmas) > sigmas for c in self.cells)

    @property
    def invented(self) -> int:
        """Numbers given of what did not happen."""
        return sum(c.true is None for c in self.cells) + self.extra

    def texts(self) -> tuple[str, ...]:
        """Cells of the table."""
        worst = max((abs(c.sigmas) for c in self.cells if c.true is not None), default=math.nan)
        counts = (str(len(self.cells)), _text(worst, 1), *(str(self.beyond(s)) for s in (2, 3)), str(self.invented))
        return (self.case.family, self.case.severity, self.said + ("" if self.wanted else " (!)"),
                _text(self.board_rms, 2), _text(self.ft_rms, 2), *(counts if self.cells or self.extra else [""] * 5),
                " ".join(f for f in SAID if f in self.flags))  # fmt: skip


def _text(value: float, decimals: int) -> str:
    return f"{value:.{decimals}f}" if math.isfinite(value) else ""


@lru_cache(maxsize=2)
def _measured(clip: Path, settings: MeasureSettings) -> ClipResult:
    return measure_clip(clip, None, settings)


def _said(result: ClipResult) -> tuple[str, str]:
    if result.failure is not None:
        return f"failed {result.failure.reason}", result.failure.detail
    words = " + ".join(f"{s.status} {s.reason}".strip() for s in result.shots)
    return words, "; ".join(s.detail for s in result.shots if s.detail)


def _meant(result: ClipResult, case: HardCase) -> ShotResult | None:
    """The shot whose path shares most time with the true one, but that no other true shot is nearer to.

    The first where nothing is true.
    """
    path = case.true_path()
    if not len(path):
        return result.shots[0]
    others = [replace(case, truth=other).true_path() for other in case.read_truth().get("others", ())]
    own = [s for s in result.shots if all(_far_ft(s.path, path) <= _far_ft(s.path, other) for other in others)]
    shared = [_shared_s(shot.path, path[0, 0], path[-1, 0]) for shot in own]
    best = int(np.argmax(shared)) if own else 0
    return own[best] if own and shared[best] > 0 else None


def _far_ft(table: PathTable | None, path: Array) -> float:
    """Mean distance along the lane of a measured path from a true one; infinite where they share no time."""
    if table is None:
        return math.inf
    inside = (table.t_s >= path[0, 0]) & (table.t_s <= path[-1, 0])
    away = table.distance_ft[inside] - np.interp(table.t_s[inside], path[:, 0], path[:, 2]) / 12
    return float(np.mean(np.abs(away))) if inside.any() else math.inf


def _extra(result: ClipResult, case: HardCase) -> int:
    """Numbers of shots that nobody threw."""
    truth = case.read_truth()
    if not truth:
        return 0
    paths = [case.true_path(), *(replace(case, truth=other).true_path() for other in truth.get("others", ()))]
    away = [s for s in result.shots if all(_shared_s(s.path, p[0, 0], p[-1, 0]) <= 0 for p in paths)]
    return sum(q.value is not None for s in away for q in s.quantities.values())


def _shared_s(table: PathTable | None, start_s: float, end_s: float) -> float:
    if table is None or not len(table.t_s):
        return 0.0
    return float(min(table.t_s[-1], end_s) - max(table.t_s[0], start_s))


def measured(case: HardCase) -> Row:
    """Measure one case; a shot whose hand was read wrong is measured again with the right one."""
    settings = MeasureSettings(case.hand, case.ball_diameter_in, case.capture_fps, case.lane_at)
    result = _measured(case.clip, settings)
    said, detail = _said(result)
    states = {word.split()[0] for word in said.split(" + ")}
    wanted = states <= set(case.wanted)
    shot = _meant(result, case) if result.shots else None
    if shot is None:
        return Row(case, said, wanted and not (result.shots and case.wanted == ("measured",)), detail)
    truth, flags = case.read_truth(), shot.flags
    if truth and shot.hand != truth["hand"]:
        flags = (*flags, "hand_differs") if "hand_assumed" not in flags else flags
        again = _meant(measure_clip(case.clip, None, MeasureSettings(truth["hand"], lane_at=case.lane_at)), case)
        shot = again or shot
    board, feet = _misses(shot.path, case) if shot.path is not None and truth else (math.nan, math.nan)
    return Row(case, said, wanted, detail, flags, board, feet, cells_of(shot, case), _extra(result, case))


def cells_of(shot: ShotResult, case: HardCase) -> tuple[Cell, ...]:
    """Numbers given of a shot; those of a ball in the gutter are only compared before it."""
    true, cells = dict(case.true_numbers()), []
    if true.get("reason") == "gutter":
        true = {name: true[name] for name in BEFORE_GUTTER}
    for column in COLUMNS:
        q = shot.quantities.get(column.name)
        if q is None or q.value is None or not q.u or (true and column.name not in true):
            continue
        right = true.get(column.name)
        cells.append(Cell(column.name, q.value, q.u, float(right) if isinstance(right, (int, float)) else None))
    return tuple(cells)


def _misses(table: PathTable, case: HardCase) -> tuple[float, float]:
    path, hand = case.true_path(), case.read_truth()["hand"]
    inside = (table.t_s >= path[0, 0]) & (table.t_s <= path[-1, 0]) if len(path) else np.zeros(len(table.t_s), bool)
    if not inside.any():
        return math.nan, math.nan
    t_s = table.t_s[inside]
    board = table.board[inside] - board_from_x(np.interp(t_s, path[:, 0], path[:, 1]), hand)
    feet = table.distance_ft[inside] - np.interp(t_s, path[:, 0], path[:, 2]) / 12
    return float(np.sqrt(np.mean(board**2))), float(np.sqrt(np.mean(feet**2)))


def summary(rows: Sequence[Row]) -> list[str]:
    """What was not wanted, wrong and sure cells, and the shares."""
    lines = ["", "not wanted", *(f"  {' | '.join(r.texts()[:3])}: {r.detail}" for r in rows if not r.wanted)]
    lines += ["", "cells beyond 3 u, and invented ones"]
    lines += [
        f"  {r.case.family} | {r.case.severity}: {c.column} {c.value:.2f} +- {c.u:.2f}, true "
        + ("none" if c.true is None else f"{c.true:.2f}, {c.sigmas:+.1f} u")
        for r in rows
        for c in r.cells
        if c.true is None or abs(c.sigmas) > 3
    ]
    cells = [c for r in rows for c in r.cells]
    share = [sum(abs(c.sigmas) > s for c in cells) / max(len(cells), 1) for s in (2, 3)]
    states = [sum(r.said.startswith(s) for r in rows) for s in ("measured", "partial", "failed")]
    return [*lines, "", f"{len(rows)} cases: {states[0]} measured, {states[1]} partial, {states[2]} failed, "
            f"{sum(not r.wanted for r in rows)} not as wanted", f"{len(cells)} numbers: {share[0]:.2%} beyond 2 u, "
            f"{share[1]:.2%} beyond 3 u, {sum(r.invented for r in rows)} invented"]  # fmt: skip


def markdown(rows: Sequence[Row]) -> str:
    """The table of all cases."""
    lines = ["| " + " | ".join(HEAD) + " |", "|" + "---|" * len(HEAD)]
    return "\n".join([*lines, *("| " + " | ".join(r.texts()) + " |" for r in rows)]) + "\n"
