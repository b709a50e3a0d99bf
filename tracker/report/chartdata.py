"""A measured session's files as what charts draw."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from calibration.lane import Hand
from tracker.report.charts.data import ChartShot, Curve, FrictionGrid, RoomCurves, RoomReach, Span
from tracker.report.curves import read_curves
from tracker.report.files import OutputError
from tracker.report.rows import Row
from tracker.report.shotfacts import facts_of
from tracker.results import PathCurves
from tracker.session.summary import UNSAMPLED


def chart_shot(out: Path, row: Row) -> ChartShot:
    """A row of ``shots.csv`` with the curves of its folder; of an older shot the boards of ``path.csv`` alone.

    Raises
    ------
    OutputError
        If a file of the shot is there but is not one.
    """
    folder = out / row["shot_id"]
    curves = _read_curves(folder / "shot.json")
    hand: Hand = "left" if row["hand"] == "left" else "right"
    facts = facts_of(row)
    boards = _path_board(folder / "path.csv") if curves is None else _curve(curves, "board")
    return ChartShot(
        row["shot_id"],
        hand,
        row["ball"],
        row["line"],
        board=boards,
        heading_deg=_curve(curves, "heading_deg"),
        speed_mph=_curve(curves, "speed_mph"),
        sideways_ft_s2=_curve(curves, "sideways_ft_s2"),
        numbers=facts.numbers,
        standing=standing_pins(row["standing_pins"]),
        gutter=row["reason"].split(":")[0] == "gutter",
    )


def standing_pins(told: str) -> tuple[int, ...] | None:
    """Pins of a cell such as ``4-7-10`` or ``none``; None where it is empty or something else."""
    text = told.strip()
    if text == "none":
        return ()
    parts = text.split("-")
    if not all(p.isdecimal() and len(p) <= 2 and 1 <= int(p) <= 10 for p in parts):
        return None
    return tuple(sorted({int(p) for p in parts}))


def friction_grids(data: Mapping[str, Any]) -> tuple[FrictionGrid, ...]:
    """Friction of every lane of a ``lineup.json``; lanes on which nothing slipped are left out.

    Raises
    ------
    OutputError
        If the model in it is not as the program writes it.
    """
    try:
        grids = [_grid(lane) for lane in data.get("model", {}).get("lanes", [])]
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise _not_a_line_up(error) from error
    return tuple(g for g in grids if np.isfinite(g.friction).any())


def room_curves(line_up: Mapping[str, Any]) -> tuple[RoomCurves, ...]:
    """Room of the ways of one entry of ``line_ups`` that have one, the best way first.

    Raises
    ------
    OutputError
        If it is not as the program writes it.
    """
    try:
        hand: Hand = "left" if line_up["hand"] == "left" else "right"
        return tuple(_room(way, hand) for way in line_up["ways"] if way["room"] is not None)
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise _not_a_line_up(error) from error


def _not_a_line_up(error: Exception) -> OutputError:
    what = f"no {error}" if isinstance(error, KeyError) else error
    msg = f"lineup.json: cannot be read as a line-up ({what}); run lineup again"
    return OutputError(msg)


def _read_curves(file: Path) -> PathCurves | None:
    return read_curves(file) if file.exists() else None


def _curve(curves: PathCurves | None, name: str) -> Curve | None:
    if curves is None:
        return None
    return Curve(curves.distance_ft, getattr(curves, name), getattr(curves, f"{name}_u"))


def _path_board(file: Path) -> Curve | None:
    """Boards of a shot's ``path.csv``, in the order of distances; None without such a file."""
    if not file.exists():
        return None
    try:
        with file.open(encoding="utf-8", newline="") as stream:
            rows = list(csv.DictReader(stream))
        told = np.array([[float(r[name]) for name in ("distance_ft", "board", "board_u")] for r in rows])
        feet, boards, u = told[np.argsort(told[:, 0], kind="stable")].T
    except (OSError, ValueError, KeyError, TypeError, IndexError) as error:
        msg = f"{file.parent.name}/{file.name}: cannot be read as a path ({error}); measure that clip again with --redo"
        raise OutputError(msg) from error
    return Curve(feet, boards, u)


def _grid(lane: Mapping[str, Any]) -> FrictionGrid:
    told, end = lane["friction"], lane["oil"]["oil_end_ft"]
    rows = [[np.nan if mu == UNSAMPLED or mu is None else float(mu) for mu in row] for row in told["rows"]]
    grid = np.array(rows, dtype=np.float64)
    board, feet = (np.array(told[name], dtype=np.float64) for name in ("board", "distance_ft"))
    if grid.shape != (len(feet), len(board)):
        msg = f"friction has {grid.shape} numbers for {len(feet)} distances and {len(board)} boards"
        raise ValueError(msg)
    return FrictionGrid(board, feet, grid, _span(end), str(lane["lane"]))


def _span(told: Mapping[str, Any]) -> Span | None:
    """A value with low and high; None where any of them is missing."""
    numbers = [told.get(name) for name in ("value", "low", "high")]
    if any(n is None for n in numbers):
        return None
    return Span(*(float(n) for n in numbers if n is not None))


def _room(way: Mapping[str, Any], hand: Hand) -> RoomCurves:
    room = way["room"]
    miss, aside, parallel = (
        np.array([np.nan if v is None else v for v in room[name]], dtype=np.float64)
        for name in ("miss_boards", "chance_laydown_unchanged", "chance_parallel")
    )
    if not len(miss) == len(aside) == len(parallel):
        msg = f"room has {len(miss)} misses, {len(aside)} and {len(parallel)} chances"
        raise ValueError(msg)
    return RoomCurves(
        miss, aside, parallel, _reach(room["laydown_unchanged"]),
        parallel=_reach(room["parallel"]), ball=str(way["ball"]), move=str(way["move"]), hand=hand,
    )  # fmt: skip


def _reach(told: Mapping[str, Any]) -> RoomReach:
    return RoomReach(
        _number(told["recovery_boards"]),
        _number(told["hold_boards"]),
        _span(told["width_boards"]),
        _number(told["middle_boards"]),
    )


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
