"""Single shots as the page shows them: a row beside the others, and a section of their own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tracker.columns import column
from tracker.flags import describe
from tracker.report.folder import ShotEntry
from tracker.report.page.said import Said, after_code, printed, say
from tracker.report.shape import holds

OVERVIEW = (
    "laydown_board", "arrows_board", "launch_angle_deg", "onset_ft", "breakpoint_board", "breakpoint_ft",
    "entry_angle_deg", "contact_board", "speed_release_mph", "speed_pins_mph",
)  # fmt: skip
GROUPS = (
    (
        "Release",
        (
            "first_seen_ft", "first_seen_board", "laydown_board", "laydown_ft", "launch_angle_deg", "board_15ft",
            "arrows_board", "speed_release_mph",
        ),
    ),
    (
        "Hook",
        (
            "onset_ft", "breakpoint_board", "breakpoint_ft", "turn_deg", "roll_ft", "slip_end_ft", "hook_length_ft",
            "boards_out", "boards_back",
        ),
    ),
    (
        "Pins",
        ("entry_angle_deg", "contact_board", "contact_ft", "board_60ft", "speed_pins_mph", "deck_exit_board"),
    ),
)  # fmt: skip
PHASES = {"skid": "skids", "hook": "still hooks", "roll": "rolls"}


@dataclass(frozen=True, slots=True)
class NumberLine:
    """A number of a shot: its column, what people call it, its unit, and its value."""

    name: str
    title: str
    unit: str
    said: Said


@dataclass(frozen=True, slots=True)
class ShotPart:
    """One shot.

    Attributes
    ----------
    shot_id, ball, line, status : str
    anchor : str
        Name of its section for links, free of anything that a name of a clip could hold.
    noted : str
        What the sheet says of lane, intent and execution, in words.
    reason : str
        Why it is partial or failed.
    remarks : tuple of str
        What the line-up reads of it.
    flags : tuple of str
        What to know about it.
    overview : tuple of NumberLine
    groups : tuple of (str, tuple of NumberLine)
    missing : tuple of (str, tuple of str)
        Why numbers are missing, each reason once with the numbers that it is of.
    at_pins, standing, standing_by : str
        What it does at the pins, pins left, and in words whether these are noted or read.
    trouble : str
    """

    shot_id: str
    ball: str
    line: str
    status: str
    anchor: str
    noted: str
    reason: str
    remarks: tuple[str, ...]
    flags: tuple[str, ...]
    overview: tuple[NumberLine, ...]
    groups: tuple[tuple[str, tuple[NumberLine, ...]], ...]
    missing: tuple[tuple[str, tuple[str, ...]], ...]
    at_pins: str
    standing: str
    standing_by: str
    trouble: str


def shot_parts(shots: Sequence[ShotEntry], lineup: Mapping[str, Any] | None) -> tuple[ShotPart, ...]:
    """Parts of all shots in their order, with what the line-up reads of them."""
    remarks = _remarks(lineup)
    return tuple(_shot(shot, f"shot-{k}", remarks.get(shot.shot_id, ())) for k, shot in enumerate(shots, 1))


def _remarks(lineup: Mapping[str, Any] | None) -> dict[str, tuple[str, ...]]:
    found = (lineup or {}).get("line_ups", ())
    return {s["shot_id"]: tuple(_sentence(r["text"]) for r in s["remarks"]) for one in found for s in one["shots"]}


def _sentence(text: str) -> str:
    clean = printed(text).rstrip(".")
    return f"{clean[:1].upper()}{clean[1:]}."


def _shot(shot: ShotEntry, anchor: str, remarks: tuple[str, ...]) -> ShotPart:
    row = shot.row
    groups = tuple((title, tuple(_line(shot, name) for name in names)) for title, names in GROUPS)
    return ShotPart(
        shot.shot_id, row["ball"], row["line"], row["status"],
        anchor=anchor, noted=_noted(row), reason=after_code(row["reason"]), remarks=remarks,
        flags=tuple(describe(code).text for code in row["flags"].split()),
        overview=tuple(_line(shot, name) for name in OVERVIEW),
        groups=groups, missing=_missing([n for _, lines in groups for n in lines]),
        at_pins=PHASES.get(row["phase_at_pins"], ""), standing=row["standing_pins"], standing_by=_standing_by(shot),
        trouble=shot.trouble,
    )  # fmt: skip


def _standing_by(shot: ShotEntry) -> str:
    """Where the pins left are from, where both are told."""
    pins = shot.data.get("pins")
    if not holds(pins, {"standing": {"read": (str, None), "noted": (str, None)}}) or pins is None:
        return ""
    read, noted = pins["standing"]["read"], pins["standing"]["noted"]
    if noted is None:
        return ""
    if read is None:
        return ", as the sheet notes them; the pictures do not tell surely"
    return (
        ", as the sheet notes and the pictures say"
        if read == noted
        else f", as the sheet notes; by the pictures {read}"
    )


def _missing(lines: Sequence[NumberLine]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    reasons: dict[str, list[str]] = {}
    for line in lines:
        if line.said.why:
            reasons.setdefault(line.said.why, []).append(line.title)
    return tuple((why, tuple(titles)) for why, titles in reasons.items())


def _noted(row: Mapping[str, str]) -> str:
    intent = {"same": "meant as the one before", "move": "a move", "test": "a test", "spare": "a spare shot"}
    lane = f"lane {row['lane']}" if row["lane"] else ""
    execution = f"thrown \u2018{row['execution']}\u2019" if row["execution"] else ""
    hand = f"{row['hand']}-hander" if row["hand"] else ""
    return ", ".join(part for part in (lane, hand, intent.get(row["intent"], row["intent"]), execution) if part)


def _line(shot: ShotEntry, name: str) -> NumberLine:
    found = column(name)
    return NumberLine(name, found.words, found.unit, say(shot.numbers[name]))
