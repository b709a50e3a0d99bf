"""Two sessions side by side: what differs by more than throws scatter and cameras err."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from markupsafe import Markup

from tracker.columns import NUMBERS, column
from tracker.lineup.window import Window
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
from tracker.report.page.said import NOTHING, Said, quantity, say
from tracker.session.versus import Group as Side
from tracker.session.versus import Share, Versus, share, versus

RELEASE = ("laydown_board", "board_15ft", "launch_angle_deg", "speed_release_mph")
MOTION = (
    *RELEASE, "onset_ft", "breakpoint_board", "breakpoint_ft", "turn_deg", "hook_length_ft", "entry_angle_deg",
    "contact_board", "speed_pins_mph",
)  # fmt: skip
PICTURED = ("launch_angle_deg", "speed_release_mph", "onset_ft", "breakpoint_board", "entry_angle_deg", "contact_board")
PARTS = (
    ("told", "What differs"),
    ("numbers", "Numbers"),
    ("lanes", "Lanes and bowlers"),
    ("reading", "How to read this"),
    ("cautions", "Cautions"),
)
SCATTERS = {"board": ("laydown", "board"), "launch_deg": ("launch angle", "deg"), "speed_mph": ("speed", "mph")}


@dataclass(frozen=True, slots=True)
class Session:
    """One of the two sessions.

    Attributes
    ----------
    name : str
        Of its folder.
    out : Path
    folder : SessionFolder
    shots : tuple of ShotEntry
        With numbers, spare shots left out.
    """

    name: str
    out: Path
    folder: SessionFolder
    shots: tuple[ShotEntry, ...]


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
    before, after = _sessions(outs, folders)
    groups = _groups(before, after)
    names = (before.name, after.name)
    return render("compare.html", {
        "title": f"{names[0]} and {names[1]} compared",
        "facts": [_fact(one) for one in (before, after)],
        "parts": PARTS,
        "names": names,
        "told": [text for group in groups for text in _told(group)],
        "groups": groups,
        "pocket": _pocket(before, after),
        "lanes": _lanes(before, after),
        "bowlers": _bowlers(before, after),
        "guide": COMPARE_GUIDE,
        "columns": [c for c in NUMBERS if c.name in MOTION],
        "cautions": (*CAUTIONS, *FILMING),
    })  # fmt: skip


def _sessions(outs: tuple[Path, Path], folders: tuple[SessionFolder, SessionFolder]) -> tuple[Session, Session]:
    names = [out.resolve().name for out in outs]
    if names[0] == names[1]:
        names = [f"{name} ({which})" for name, which in zip(names, ("earlier", "later"), strict=True)]
    first, last = (
        Session(name, out, folder, tuple(s for s in folder.shots if _counts(s)))
        for name, out, folder in zip(names, outs, folders, strict=True)
    )
    return first, last


def _counts(shot: ShotEntry) -> bool:
    """Whether a shot was measured and thrown at a full rack."""
    spare = shot.row["intent"] == "spare" or "rack_not_full" in shot.row["flags"].split()
    return shot.row["status"] != "failed" and not spare


def _fact(session: Session) -> str:
    lanes = list(dict.fromkeys(s.row["lane"] for s in session.shots if s.row["lane"]))
    balls = list(dict.fromkeys(s.row["ball"] for s in session.shots if s.row["ball"]))
    said = f"{session.name}: {len(session.shots)} shots at a full rack"
    said += f", lane {' and '.join(lanes)}" if lanes else ""
    return f"{said}{', ' + ', '.join(balls) if balls else ''}."


def _groups(before: Session, after: Session) -> tuple[GroupPart, ...]:
    """All balls of each hand by the release, then each ball that both have by everything."""
    out: list[GroupPart] = []
    for hand in _common(before.shots, after.shots, "hand"):
        first, last = (_with(one, hand=hand) for one in (before, after))
        side = f"{hand}-hander" if hand else "hand not known"
        out.append(_group(f"All balls, {side}: the release", (first, last), RELEASE, key=f"group-{len(out)}"))
        for ball in _common(first.shots, last.shots, "ball"):
            pair = (_with(first, ball=ball), _with(last, ball=ball))
            title = f"{ball or 'Ball not named'}, {side}"
            out.append(_group(title, pair, MOTION, key=f"group-{len(out)}"))
    return tuple(out)


def _with(session: Session, **cells: str) -> Session:
    own = tuple(s for s in session.shots if all(s.row[name] == value for name, value in cells.items()))
    return replace(session, shots=own)


def _common(first: Sequence[ShotEntry], last: Sequence[ShotEntry], name: str) -> list[str]:
    other = {s.row[name] for s in last}
    return [value for value in dict.fromkeys(s.row[name] for s in first) if value in other]


def _group(title: str, pair: tuple[Session, Session], names: Sequence[str], *, key: str) -> GroupPart:
    found = versus(*({name: [s.numbers[name] for s in one.shots] for name in names} for one in pair))
    pictured = [one for one in found if one.name in PICTURED and one.difference.value is not None]
    charts = tuple(_versus_picture(one, pair, key=f"{key}-{one.name}") for one in pictured)
    paths = drawn(lane_chart, _paths(pair), f"{key}-paths") if names is MOTION else Markup()
    return GroupPart(title, _lines_played(pair), tuple(_line(one) for one in found), charts, paths)


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


def _pocket(before: Session, after: Session) -> list[tuple[str, str]]:
    """Share of shots that came to the pocket window, of each session."""
    out = []
    for one in (before, after):
        held = (one.folder.lineup or {}).get("window", {})
        window = Window(*held["contact_board"], *held["entry_angle_deg"]) if held else Window()
        seen = [_in_window(shot, window) for shot in one.shots]
        known = [inside for inside in seen if inside is not None]
        if known:
            out.append((one.name, _share(share(sum(known), len(known)))))
    return out


def _in_window(shot: ShotEntry, window: Window) -> bool | None:
    board, angle = (shot.numbers[name].value for name in ("contact_board", "entry_angle_deg"))
    if board is None or angle is None:
        return None
    return window.low_board <= board <= window.high_board and window.low_deg <= angle <= window.high_deg


def _share(found: Share) -> str:
    return f"{found.count} of {found.of} (95 %: {100 * found.low:.0f} to {100 * found.high:.0f} of 100)"


def _lanes(before: Session, after: Session) -> list[tuple[str, str, Said]]:
    """Oil of every lane of both sessions: session, lane, where the oil ends."""
    return [
        (one.name, lane["lane"] or "the lane", say(quantity(lane["oil"]["oil_end_ft"]), "ft"))
        for one in (before, after)
        for lane in _model(one).get("lanes", ())
    ]


def _bowlers(before: Session, after: Session) -> list[tuple[str, str, str, str]]:
    """How repeats scatter in both sessions: session, hand, what, standard deviation with its interval."""
    return [
        (one.name, bowler["hand"], SCATTERS[name][0], _deviation(found, SCATTERS[name][1]))
        for one in (before, after)
        for bowler in _model(one).get("bowlers", ())
        for name, found in bowler["scatter"].items()
        if name in SCATTERS and found["repeats"] > 0
    ]


def _deviation(found: Mapping[str, Any], unit: str) -> str:
    ends = f"{found['low']:.2f} to {found['high']:.2f}"
    return f"{found['value']:.2f} {unit} (95 %: {ends}; {found['repeats']} repeats)"


def _model(session: Session) -> Mapping[str, Any]:
    model: Mapping[str, Any] = (session.folder.lineup or {}).get("model", {})
    return model
