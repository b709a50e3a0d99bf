"""The shots of a run as a table for a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from tracker.flags import explain
from tracker.report.files import natural_key

HEADINGS = (
    "shot",
    "ball",
    "laydown",
    "arrows",
    "onset ft",
    "breakpoint",
    "entry deg",
    "contact",
    "release",
    "pins mph",
)

_SERIOUS = ("hand_assumed", "hand_differs", "model_disagrees", "gap", "weak_contrast", "calibration_poor", "truncated")
_LEGEND = "± is one standard uncertainty; about 19 of 20 true values lie within two of them"
_LIMITS = {0: 12, 1: 12}
_WIDTH = 118
_NOTHING = "-"


def summary_table(rows: Iterable[Mapping[str, str]]) -> str:
    """Readable table of rows of ``shots.csv``, one line a shot, at most 118 columns wide.

    Numbers stand with their standard uncertainty; a shot that is partial has its reason in a second line, one that
    failed has it in place of the numbers. Empty if there are no rows.
    """
    ordered = sorted(rows, key=lambda row: natural_key(row["shot_id"]))
    if not ordered:
        return ""
    cells = [[_shortened(cell, _LIMITS.get(k)) for k, cell in enumerate(_cells(row))] for row in ordered]
    table = [cells_ for row, cells_ in zip(ordered, cells, strict=True) if row["status"] != "failed"]
    widths = [max(len(line[k]) for line in (HEADINGS, *table)) for k in range(len(HEADINGS))]
    widths[0] = max(widths[0], *(len(line[0]) for line in cells))
    lines = [_line(HEADINGS, widths)] if table else []
    for row, line in zip(ordered, cells, strict=True):
        words = f"{row['status']}, {row['reason']}".rstrip(", ")
        if row["status"] == "failed":
            lines.append(_fit(f"{line[0]:<{widths[0]}}  {words}"))
        else:
            lines.append(_line(line, widths))
            said = [words] if row["status"] != "measured" else []
            said += [explain(code) for code in row["flags"].split() if code in _SERIOUS]
            lines += [_fit(f"{'':<{widths[0]}}  {one}") for one in said]
    return "\n".join([*lines, _LEGEND] if table else lines)


def _cells(row: Mapping[str, str]) -> tuple[str, ...]:
    at = f"{_short(row['breakpoint_board'], 1)}@{_short(row['breakpoint_ft'], 1)}"
    return (
        row["shot_id"],
        row["ball"] or _NOTHING,
        _with_u(row, "laydown_board"),
        _with_u(row, "arrows_board"),
        _with_u(row, "onset_ft"),
        at if row["breakpoint_ft"] else _NOTHING,
        _with_u(row, "entry_angle_deg"),
        _with_u(row, "contact_board"),
        _with_u(row, "speed_release_mph"),
        _with_u(row, "speed_pins_mph"),
    )


def _with_u(row: Mapping[str, str], name: str) -> str:
    """Value and uncertainty with as many decimals as the uncertainty deserves."""
    value, u = row.get(name, ""), row.get(f"{name}_u", "")
    if not value:
        return _NOTHING
    decimals = 1 if not u or float(u) >= 0.095 else 2
    return f"{_short(value, decimals)}±{_short(u, decimals)}" if u else _short(value, decimals)


def _short(text: str, decimals: int) -> str:
    return f"{float(text):.{decimals}f}" if text else ""


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    padded = (
        f"{cell:<{width}}" if k < 2 else f"{cell:>{width}}"
        for k, (cell, width) in enumerate(zip(cells, widths, strict=True))
    )
    return _fit("  ".join(padded).rstrip())


def _shortened(cell: str, limit: int | None) -> str:
    """Cut in the middle: takes of one clip differ at the end."""
    if limit is None or len(cell) <= limit:
        return cell
    return f"{cell[: limit - 5]}~{cell[-4:]}"


def _fit(line: str) -> str:
    return line if len(line) <= _WIDTH else f"{line[: _WIDTH - 1]}~"
