"""Two sessions side by side: what differs by more than throws scatter and cameras err."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from markupsafe import Markup

from tracker.columns import NUMBERS, column
from tracker.lineup.words import CAUTIONS
from tracker.report.chartdata import chart_shot
from tracker.report.charts.data import ChartShot, Group, Span
from tracker.report.charts.lane import lane_chart
from tracker.report.charts.versus import versus_chart
from tracker.report.files import OutputError
from tracker.report.folder import SessionFolder, ShotEntry
from tracker.report.page.guide import COMPARE_GUIDE, FILMING
from tracker.report.page.pictures import drawn
from tracker.report.page.render import render
from tracker.report.page.said import NOTHING, Said, say
from tracker.report.page.two import (
    Session,
    fact_of,
    in_words,
    oil_ends,
    pocket_shares,
    pocket_window,
    scatters,
    two_sessions,
)
from tracker.session.versus import Group as Side
from tracker.session.versus import Versus, judged, versus

ALIKE = ("speed_release_mph",)
"""What a bowler throws alike on every line and with every ball."""
MOTION = (
    "laydown_board", "board_15ft", "launch_angle_deg", "onset_ft", "breakpoint_board", "breakpoint_ft", "turn_deg",
    "hook_length_ft", "entry_angle_deg", "contact_board", "speed_pins_mph",
)  # fmt: skip
PICTURED = ("launch_angle_deg", "speed_release_mph", "onset_ft", "breakpoint_board", "entry_angle_deg", "contact_board")
PARTS = (
    ("told", "What differs"),
    ("numbers", "Numbers"),
    ("lanes", "Lanes and bowlers"),
    ("reading", "How to read this"),
    ("cautions", "Cautions"),
)


@dataclass(frozen=True, slots=True)
class Line:
    """One number of both sessions in words."""

    title: str
    unit: str
    before: Said
    after: Said
    counts: str
    scatter: str
    difference: Said
    interval: str
    told: bool


@dataclass(frozen=True, slots=True)
class GroupPart:
    """What is compared among shots of one hand, of all balls or of one."""

    title: str
    remark: str
    lines: tuple[Line, ...]
    charts: tuple[Markup, ...]
    paths: Markup


def compare_page(outs: tuple[Path, Path], folders: tuple[SessionFolder, SessionFolder]) -> str:
    """HTML of the page that compares two sessions, the earlier one first."""
    before, after = two_sessions(outs, folders)
    groups = _groups(before, after)
    names, window = (before.name, after.name), pocket_window(before, after)
    troubles = [(one.name, one.folder.lineup_trouble) for one in (before, after) if one.folder.lineup_trouble]
    return render("compare.html", {
        "title": f"{names[0]} and {names[1]} compared",
        "facts": [fact_of(one) for one in (before, after)],
        "parts": PARTS,
        "names": names,
        "told": [text for group in groups for text in _told(group)],
        "groups": groups,
        "pocket": pocket_shares(before, after, window),
        "window": in_words(window),
        "lineup_troubles": troubles,
        "lanes": oil_ends(before, after),
        "bowlers": scatters(before, after),
        "guide": COMPARE_GUIDE,
        "columns": [c for c in NUMBERS if c.name in (*ALIKE, *MOTION)],
        "cautions": (*CAUTIONS, *FILMING),
    })  # fmt: skip


def _groups(before: Session, after: Session) -> tuple[GroupPart, ...]:
    """Speed of all balls of each hand, then each ball that both have; judged together, since they are read together."""
    kept = _pairs(before, after)
    found = judged([one for pair in kept for one in pair.compared])
    parts, first = [], 0
    for k, pair in enumerate(kept):
        last = first + len(pair.compared)
        parts.append(_group(pair, found[first:last], key=f"group-{k}"))
        first = last
    return tuple(parts)


@dataclass(frozen=True, slots=True)
class _Pair:
    """Shots of both sessions that are compared."""

    title: str
    sessions: tuple[Session, Session]
    compared: tuple[Versus, ...]
    one_ball: bool


def _pairs(before: Session, after: Session) -> list[_Pair]:
    out = []
    for hand in _common(before.shots, after.shots, "hand"):
        first, last = (_with(one, hand=hand) for one in (before, after))
        side = f"{hand}-hander" if hand else "hand not known"
        out.append(_pair(f"All balls, {side}", (first, last), ALIKE, one_ball=False))
        for ball in _common(first.shots, last.shots, "ball"):
            own = (_with(first, ball=ball), _with(last, ball=ball))
            out.append(_pair(f"{ball or 'Ball not named'}, {side}", own, MOTION, one_ball=True))
    return out


def _pair(title: str, sessions: tuple[Session, Session], names: Sequence[str], *, one_ball: bool) -> _Pair:
    first, last = ({name: [s.numbers[name] for s in one.shots] for name in names} for one in sessions)
    return _Pair(title, sessions, versus(first, last), one_ball)


def _with(session: Session, **cells: str) -> Session:
    own = tuple(s for s in session.shots if all(s.row[name] == value for name, value in cells.items()))
    return replace(session, shots=own)


def _common(first: Sequence[ShotEntry], last: Sequence[ShotEntry], name: str) -> list[str]:
    other = {s.row[name] for s in last}
    return [value for value in dict.fromkeys(s.row[name] for s in first) if value in other]


def _group(pair: _Pair, found: Sequence[Versus], *, key: str) -> GroupPart:
    pictured = [one for one in found if one.name in PICTURED and one.difference.value is not None]
    charts = tuple(_versus_picture(one, pair.sessions, key=f"{key}-{one.name}") for one in pictured)
    paths = drawn(lane_chart, _paths(pair.sessions), f"{key}-paths") if pair.one_ball else Markup()
    remark = _lines_played(pair.sessions) if pair.one_ball else "Of all lines and balls."
    return GroupPart(pair.title, remark, tuple(_line(one) for one in found), charts, paths)


def _lines_played(pair: tuple[Session, Session]) -> str:
    """Lines of both, since a difference of these is one of the numbers as well."""
    played = [list(dict.fromkeys(s.row["line"] for s in one.shots if s.row["line"])) for one in pair]
    if not all(played):
        return "The lines played are not noted: another line may be all that differs."
    first, last = (f"{one.name}: {', '.join(lines)}" for one, lines in zip(pair, played, strict=True))
    return f"Lines played. {first}. {last}."


def _versus_picture(one: Versus, pair: tuple[Session, Session], *, key: str) -> Markup:
    groups = tuple(
        Group(session.name, tuple((s.shot_id, s.numbers[one.name]) for s in session.shots), _span(side))
        for session, side in zip(pair, (one.before, one.after), strict=True)
    )
    found = column(one.name)
    return drawn(versus_chart, groups, key, label=found.words, unit=found.unit)


def _span(side: Side) -> Span | None:
    if side.mean.value is None or side.low is None or side.high is None:
        return None
    return Span(side.mean.value, side.low, side.high)


def _paths(pair: tuple[Session, Session]) -> list[ChartShot]:
    """Paths of both, the session in place of the ball."""
    out = []
    for session in pair:
        for shot in session.shots:
            try:
                out.append(replace(chart_shot(session.out, shot.row), ball=session.name))
            except OutputError:
                continue
    return out


def _line(one: Versus) -> Line:
    found = column(one.name)
    interval = "" if one.low is None or one.high is None else f"{_signed(one.low)} to {_signed(one.high)}"
    scatters = [f"{side.scatter:.2f}" if side.scatter is not None else NOTHING for side in (one.before, one.after)]
    return Line(
        found.words, found.unit, say(one.before.mean), say(one.after.mean),
        counts=f"{len(one.before.values)} and {len(one.after.values)}", scatter=" and ".join(scatters),
        difference=say(one.difference), interval=interval, told=one.told,
    )  # fmt: skip


def _signed(value: float) -> str:
    return f"{value:.2f}".replace("-", "\u2212")


def _told(group: GroupPart) -> list[str]:
    return [
        f"{group.title}: {line.title} differs by {line.difference} {line.unit} (95 %: {line.interval})."
        for line in group.lines
        if line.told
    ]
