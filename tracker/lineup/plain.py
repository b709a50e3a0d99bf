"""The line-up as plain data for ``lineup.json``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from calibration.errors import Failure
from tracker.lineup.decide import Option
from tracker.lineup.lines import move_in_words
from tracker.lineup.lineup import LineUp, Way
from tracker.lineup.nextshot import Advice
from tracker.lineup.room import Reach, Room
from tracker.lineup.shots import Remark
from tracker.lineup.window import Window
from tracker.lineup.words import CAUTIONS, line_up_lines, line_up_sections, stance, too_few_in_words
from tracker.results import Quantity
from tracker.session.reading import SessionReading
from tracker.session.summary import summary
from tracker.session.throws import LeftOut

FORMAT, LAYOUT = "sixtyfeet-lineup", 2


def line_up_data(
    session: SessionReading,
    found: Sequence[LineUp],
    window: Window,
    left_out: Sequence[LeftOut],
    *,
    made_from: Mapping[str, str],
) -> dict[str, Any]:
    """All line-ups of a session with the model that they stand on; ``made_from`` names files by their hash."""
    return {
        "format": FORMAT,
        "layout": LAYOUT,
        "made_from": dict(made_from),
        "window": {
            "contact_board": [window.low_board, window.high_board],
            "entry_angle_deg": [window.low_deg, window.high_deg],
        },
        "line_ups": [_line_up(one, window) for one in found],
        "model": summary(session),
        "left_out": [{"shot_id": one.shot_id, "why": one.why} for one in left_out],
        "cautions": list(CAUTIONS),
    }


def no_line_up_data(failure: Failure, left_out: Sequence[LeftOut], *, made_from: Mapping[str, str]) -> dict[str, Any]:
    """The same where the shots are too few for any model."""
    return {
        "format": FORMAT,
        "layout": LAYOUT,
        "made_from": dict(made_from),
        "line_ups": [],
        "doubts": [{"code": failure.reason, "text": too_few_in_words(failure, left_out), "evidence": {}}],
        "left_out": [{"shot_id": one.shot_id, "why": one.why} for one in left_out],
        "cautions": list(CAUTIONS),
    }


def _line_up(one: LineUp, window: Window) -> dict[str, Any]:
    return {
        "lane": one.lane,
        "hand": one.hand,
        "verdict": one.verdict,
        "shots_left": one.shots_left,
        "doubts": [_remark(d) for d in one.doubts],
        "ways": [_way(w) | {"stance": stance(w.option.choice.line, one.bowler)} for w in one.ways],
        "tied": list(one.tied),
        "next": _advice(one.advice),
        "exit_board_at_oil_end": _value(one.exit_board),
        "shots": [
            {"shot_id": s.shot_id, "ball": s.ball, "line": s.line, "remarks": [_remark(r) for r in s.remarks]}
            for s in one.shots
        ],
        "words": line_up_lines(one, window),
        "sections": [{"heading": s.heading, "lines": list(s.lines)} for s in line_up_sections(one, window)],
    }


def _way(way: Way) -> dict[str, Any]:
    return _option(way.option) | {
        "chance": _value(way.chance),
        "contact_board": _value(way.contact_board),
        "contact_scatter_board": _round(way.contact_scatter),
        "entry_angle_deg": _value(way.entry_angle_deg),
        "hook_length_ft": _value(way.hook_length_ft),
        "rolls_before_pins_share": _round(way.rolls_share),
        "contact_change_in_ten_shots": _value(way.ages_boards),
        "room": None if way.room is None else _room(way.room),
    }


def _option(option: Option) -> dict[str, Any]:
    line = option.choice.line
    return {
        "ball": option.choice.ball,
        "from_line": option.base.name,
        "move": move_in_words(option.feet, option.target, option.choice.hand),
        "move_boards": {"feet": option.feet, "target": option.target},
        "laydown_board": _round(line.laydown_board),
        "target_board": _round(option.board_15ft),
        "sampled_share": _round(option.sampled),
        "unsampled": option.unsampled,
        "launch_angle_deg": _round(line.launch_deg),
        "speed_mph": _round(line.speed_mph),
    }


def _room(room: Room) -> dict[str, Any]:
    return {
        "laydown_unchanged": _reach(room.aside),
        "parallel": _reach(room.parallel),
        "miss_boards": room.misses.tolist(),
        "chance_laydown_unchanged": _rounded(room.aside_chance),
        "chance_parallel": _rounded(room.parallel_chance),
        "miss_mph": room.speeds_mph.tolist(),
        "chance_by_speed": _rounded(room.speed_chance),
    }


def _reach(reach: Reach) -> dict[str, Any]:
    return {
        "recovery_boards": reach.outward,
        "hold_boards": reach.inward,
        "width_boards": {
            "value": _round(reach.width),
            "low": _round(reach.width_low),
            "high": _round(reach.width_high),
        },
        "middle_boards": _round(reach.middle),
        "none_share": _round(reach.none_share),
    }


def _advice(advice: Advice | None) -> dict[str, Any] | None:
    if advice is None:
        return None
    lesson = advice.lesson
    told = {} if lesson is None else {"loss_now": _round(lesson.loss_now), "loss_then": _round(lesson.loss_then)}
    return {"why": advice.why, "shot": None if lesson is None else _option(lesson.option)} | told


def _remark(remark: Remark) -> dict[str, Any]:
    evidence = {name: _value(q) for name, q in remark.evidence.items()}
    return {"code": remark.code, "text": remark.text, "evidence": evidence}


def _value(q: Quantity) -> dict[str, Any]:
    if q.value is None:
        return {"value": None, "u": None, "missing": q.missing}
    return {"value": _round(q.value), "u": None if q.u is None else _round(q.u)}


def _rounded(values: Any) -> list[float | None]:
    return [_round(float(v)) for v in values]


def _round(value: float) -> float | None:
    """So many digits that rounding once more for a reader gives what rounding once would have given."""
    return float(f"{value:.7g}") + 0.0 if np.isfinite(value) else None
