"""The line-up of one lane and one hand as the page shows it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tracker.report.page.said import PLUS_MINUS, Said, printed, quantity, say, say_data
from tracker.results import Quantity

ROOM_DECIMALS = 1


@dataclass(frozen=True, slots=True)
class WayLine:
    """One row of the table of ways."""

    ball: str
    where: str
    stance: str
    target: str
    chance: Said
    contact: Said
    scatter: str
    entry: Said
    room: str
    best: bool
    remark: str


@dataclass(frozen=True, slots=True)
class SectionLines:
    """A heading with its sentences."""

    heading: str
    lines: tuple[str, ...]


_NOTHING = SectionLines("", ())


@dataclass(frozen=True, slots=True)
class LineUpPart:
    """What is said of one lane and one hand, the answer first."""

    lane: str
    hand: str
    title: str
    pocket: str
    answer: str
    doubts: tuple[str, ...]
    ways: tuple[WayLine, ...]
    after: tuple[SectionLines, ...]
    lane_lines: tuple[str, ...]


def line_up_part(data: Mapping[str, Any]) -> LineUpPart:
    """Part of one entry of ``line_ups`` in ``lineup.json``."""
    sections = [SectionLines(s["heading"], tuple(printed(line) for line in s["lines"])) for s in data["sections"]]
    title, answer = [*sections, _NOTHING, _NOTHING][:2]
    rest = sections[2:]
    named = {s.heading: s for s in rest}
    told_elsewhere = ("Ways to play", "The lane", "Shot by shot")
    tied = set(data["tied"])
    return LineUpPart(
        data["lane"], data["hand"], " ".join(title.lines[:1]), " ".join(title.lines[1:]),
        answer=" ".join(answer.lines[:1]), doubts=answer.lines[1:],
        ways=tuple(_way(way, best=k in tied) for k, way in enumerate(data["ways"])),
        after=tuple(s for s in rest if s.heading not in told_elsewhere),
        lane_lines=named["The lane"].lines if "The lane" in named else (),
    )  # fmt: skip


def _way(way: Mapping[str, Any], *, best: bool) -> WayLine:
    moved = way["move"] != "stay"
    name = way["from_line"]
    where = f"{way['move']} of its last line" if moved else "its last line"
    return WayLine(
        way["ball"] or "the ball",
        f"{where} (\u2018{name}\u2019)" if name else where,
        way["stance"].replace("+-", "\u00b1"),
        f"{way['target_board']:.1f}",
        chance=_of_hundred(quantity(way["chance"])),
        contact=say_data(way["contact_board"]),
        scatter=f"{way['contact_scatter_board']:.1f}",
        entry=say_data(way["entry_angle_deg"]),
        room=_room(way["room"]),
        best=best,
        remark=_remark(best=best, guess=bool(way["unsampled"])),
    )


def _remark(*, best: bool, guess: bool) -> str:
    said = ("as good as any" if best else "", "a guess: nothing was thrown there yet" if guess else "")
    return "; ".join(part for part in said if part)


def _of_hundred(chance: Quantity) -> Said:
    if chance.value is None:
        return say(chance)
    return Said(f"{100 * chance.value:.0f} {PLUS_MINUS} {100 * (chance.u or 0.0):.0f}", value=chance.value, u=chance.u)


def _room(room: Mapping[str, Any] | None) -> str:
    if room is None:
        return "not worked out"
    return f"{_reach(room['laydown_unchanged'])} same laydown; {_reach(room['parallel'])} parallel"


def _reach(reach: Mapping[str, Any]) -> str:
    width = reach["width_boards"]
    if width["value"] is None:
        return "none"
    value, low, high = (f"{width[name] or 0.0:.{ROOM_DECIMALS}f}" for name in ("value", "low", "high"))
    return f"{value} ({low} to {high})"
