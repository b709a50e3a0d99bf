"""The page of one session: the line-up first, then balls, lane, every shot, what failed, how to read it, cautions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from tracker.columns import NUMBERS
from tracker.lineup.words import CAUTIONS
from tracker.report.chartdata import chart_shot, friction_grids, room_curves
from tracker.report.charts.data import ChartShot, RoomCurves
from tracker.report.charts.friction import friction_chart
from tracker.report.charts.heading import heading_chart
from tracker.report.charts.lane import lane_chart
from tracker.report.charts.pocket import pocket_chart
from tracker.report.charts.room import room_chart
from tracker.report.charts.speed import speed_chart
from tracker.report.files import OutputError
from tracker.report.folder import SessionFolder, ShotEntry
from tracker.report.page.balls_part import BallsTable, balls_table
from tracker.report.page.guide import FILMING, GUIDE
from tracker.report.page.lineup_part import LineUpPart, line_up_part
from tracker.report.page.pictures import drawn
from tracker.report.page.rasters import lane_picture_uri, pins_picture_uri
from tracker.report.page.render import render
from tracker.report.page.shots_part import ShotPart, shot_parts
from tracker.report.shape import holds
from tracker.report.shapes import FILMED

PARTS = (
    ("lineup", "Line-up"),
    ("balls", "Balls and lines"),
    ("lane", "The lane"),
    ("shots", "Shots"),
    ("failed", "What failed"),
    ("reading", "How to read this"),
    ("cautions", "Cautions"),
)


@dataclass(frozen=True, slots=True)
class GroupPart:
    """Shots of one lane and one hand together, each with its number in the picture (empty where it has no line)."""

    title: str
    shots: tuple[tuple[str, ShotPart], ...]
    paths: Markup
    balls: BallsTable | None


def session_page(out: Path, folder: SessionFolder) -> str:
    """HTML of a session's page.

    Parameters
    ----------
    out : Path
        Folder of the run; only what is in it is read.
    folder : SessionFolder
        What :func:`tracker.report.folder.read_folder` read there.
    """
    data = folder.lineup or {}
    measured = tuple(shot for shot in folder.shots if shot.row["status"] != "failed")
    shots = shot_parts(measured, folder.lineup)
    charts = {shot.shot_id: _chart(out, shot) for shot in measured}
    context = {
        "title": _title(folder.shots),
        "facts": _facts(folder),
        "parts": PARTS,
        "lineup_trouble": folder.lineup_trouble,
        "lineup_doubts": [doubt["text"] for doubt in data.get("doubts", ())],
        "lineups": [_lineup(one, k) for k, one in enumerate(data.get("line_ups", ()))],
        "left_out": data.get("left_out", ()),
        "groups": _groups(measured, shots, charts, data.get("model")),
        "friction": _friction(data),
        "shots": [_shot(part, entry, charts[part.shot_id]) for part, entry in zip(shots, measured, strict=True)],
        "failures": folder.failures,
        "failures_trouble": folder.failures_trouble,
        "guide": GUIDE,
        "columns": NUMBERS,
        "cautions": (*CAUTIONS, *FILMING),
        "numbers": _numbers(shots),
    }
    return render("session.html", context)


def _title(shots: Sequence[ShotEntry]) -> str:
    lanes = list(dict.fromkeys(s.row["lane"] for s in shots if s.row["lane"]))
    if not lanes:
        return "Practice session"
    return f"Practice on lane{'s' if len(lanes) > 1 else ''} {' and '.join(lanes)}"


def _facts(folder: SessionFolder) -> tuple[str, ...]:
    states = [s.row["status"] for s in folder.shots]
    parts = (
        ("measured", "measured"),
        ("partial", "partly measured"),
        ("failed", "without numbers"),
    )
    counts = ", ".join(f"{states.count(state)} {words}" for state, words in parts if states.count(state))
    balls = list(dict.fromkeys(s.row["ball"] for s in folder.shots if s.row["ball"]))
    hands = list(dict.fromkeys(f"{s.row['hand']}-hander" for s in folder.shots if s.row["hand"]))
    shots = f"{len(states)} shot{'' if len(states) == 1 else 's'} ({counts})" if states else "No shots"
    return (
        f"{shots}{', ' + ' and '.join(hands) if hands else ''}.",
        *((f"Balls: {', '.join(balls)}.",) if balls else ()),
        *((filmed,) if (filmed := _filmed(folder.shots)) else ()),
    )


def _filmed(shots: Sequence[ShotEntry]) -> str:
    """How the clips were filmed and how the lane is known, each way once; empty where no shot's file tells."""
    kept = [p for shot in shots if isinstance(p := shot.data.get("provenance"), dict)]
    facts = [one["clip_facts"] for one in kept if holds(one, {"clip_facts": FILMED})]
    told = [f"{f['width']} x {f['height']}, {f['nominal_fps']:.0f} frames a second" for f in facts]
    sizes = dict.fromkeys(told)
    ways = dict.fromkeys(one["calibration"]["how"] for one in kept if holds(one, {"calibration": {"how": str}}))
    lane = {"found": "the lane found by the program", "marks": "the lane from clicked marks"}
    known = [lane[way] for way in ways if way in lane]
    return "; ".join(["Filmed in " + " and ".join(sizes), *known]) + "." if sizes else ""


def _chart(out: Path, shot: ShotEntry) -> ChartShot | None:
    if shot.trouble or not shot.data:
        return None
    try:
        return chart_shot(out, shot.row)
    except OutputError:
        return None


def _lineup(data: Mapping[str, Any], number: int) -> dict[str, Any]:
    part: LineUpPart = line_up_part(data)
    try:
        rooms = room_curves(data)
    except OutputError:
        rooms = ()
    return {
        **{name: getattr(part, name) for name in part.__slots__},
        "rooms": [(drawn(room_chart, room, f"room-{number}-{k}"), _of_room(room)) for k, room in enumerate(rooms)],
    }


def _of_room(room: RoomCurves) -> str:
    where = "its last line" if room.move == "stay" else f"{room.move} of its last line"
    return (
        f"{room.ball or 'The ball'}, {where}: chance of the pocket when the target at 15 ft is missed, the scatter of "
        "the bowler's other throws left out. Bar: how far a throw may miss "
        "if the lane is as it is thought; thin ends: 90 % of what it may be."
    )


def _groups(
    shots: Sequence[ShotEntry],
    parts: Sequence[ShotPart],
    charts: Mapping[str, ChartShot | None],
    model: Mapping[str, Any] | None,
) -> list[GroupPart]:
    """One group a lane and a hand, in the order in which they come."""
    keys = list(dict.fromkeys(_key(s) for s in shots))
    out = []
    for k, (lane, hand) in enumerate(keys):
        own = [p for s, p in zip(shots, parts, strict=True) if _key(s) == (lane, hand)]
        lines = [c for p in own if (c := charts[p.shot_id]) is not None]
        drawn_ids = [line.shot_id for line in lines]
        counted = tuple((str(drawn_ids.index(p.shot_id) + 1) if p.shot_id in drawn_ids else "", p) for p in own)
        found = None if model is None else balls_table(model, lane, hand)
        out.append(GroupPart(_whose(lane, hand), counted, drawn(lane_chart, lines, f"paths-{k}"), found))
    return out


def _key(shot: ShotEntry) -> tuple[str, str]:
    return shot.row["lane"], shot.row["hand"]


def _friction(data: Mapping[str, Any]) -> list[tuple[Markup, str]]:
    """A picture for every lane and hand, since boards count from the hand's edge."""
    try:
        grids = {grid.lane: grid for grid in friction_grids(data)}
    except OutputError:
        return []
    told = "friction by the lane model for a middling ball; blank where no slipping ball passed."
    return [
        (
            drawn(friction_chart, grids[one["lane"]], f"friction-{k}", hand=one["hand"]),
            f"{_whose(one['lane'], one['hand'])}: {told}",
        )
        for k, one in enumerate(data.get("line_ups", ()))
        if one["lane"] in grids
    ]


def _whose(lane: str, hand: str) -> str:
    side = f"{hand}-hander" if hand else "hand not known"
    return f"Lane {lane}, {side}" if lane else side.capitalize()


def _shot(part: ShotPart, entry: ShotEntry, chart: ChartShot | None) -> dict[str, Any]:
    one = [] if chart is None else [chart]
    charts = {"path": lane_chart, "heading": heading_chart, "speed": speed_chart, "pocket": pocket_chart}
    return {
        **{name: getattr(part, name) for name in part.__slots__},
        **{name: drawn(draw, one, f"{part.anchor}-{name}") for name, draw in charts.items()},
        "lane_uri": Markup(lane_picture_uri(entry)),  # noqa: S704 - base64
        "lane_alt": f"Path of {part.shot_id} drawn on the lane; its numbers stand in the tables below.",
        "pins_uri": Markup(pins_picture_uri(entry)),  # noqa: S704 - base64
        "pins_alt": f"Pins of {part.shot_id}: pins left {part.standing or 'not sure'}.",
    }


def _numbers(shots: Sequence[ShotPart]) -> dict[str, Any]:
    """What the page's script compares two shots by."""
    listed = [[n for _, lines in shot.groups for n in lines] for shot in shots]
    columns = [{"title": n.title, "unit": n.unit} for n in (listed[0] if listed else ())]
    return {
        "columns": columns,
        "shots": [
            {
                "anchor": shot.anchor,
                "name": shot.shot_id,
                "numbers": [{"value": n.said.value, "u": n.said.u, "text": n.said.text} for n in lines],
            }
            for shot, lines in zip(shots, listed, strict=True)
        ],
    }
