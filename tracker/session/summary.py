"""The session's reading as plain data: what a file or a command prints of it."""

from __future__ import annotations

from typing import Any

import numpy as np

from tracker.results import Quantity
from tracker.session.bowler import BowlerReading
from tracker.session.change import ChangeReading, Trend
from tracker.session.compare import Comparison
from tracker.session.oil import OilReading
from tracker.session.posterior import Aim
from tracker.session.reading import LaneReading, SessionReading
from tracker.session.sampled import FrictionMap

UNSAMPLED = "unsampled"


def summary(reading: SessionReading) -> dict[str, Any]:
    """Lanes, balls, bowlers and left-out shots as nested mappings of numbers and texts, fit for JSON."""
    fit = reading.posterior.fit
    return {
        "lanes": [_lane(lane) for lane in reading.lanes],
        "balls": {ball: _balls_grip(reading, ball) for ball in fit.layout.balls},
        "bowlers": [_bowler(b) for b in reading.bowlers],
        "shots": [t.shot_id for t in fit.throws],
        "left_out": [{"shot_id": s.shot_id, "why": s.why} for s in reading.left_out],
    }


def _balls_grip(reading: SessionReading, ball: str) -> dict[str, Any]:
    grip = np.exp(reading.posterior.log_grip(ball))
    return {"grip": _value(Quantity(float(np.median(grip)), float(np.std(grip))))}


def _lane(lane: LaneReading) -> dict[str, Any]:
    return {
        "lane": lane.lane,
        "shots": lane.shots,
        "oil": _oil(lane.oil),
        "friction": _friction(lane.friction),
        "hands": [
            {"hand": h.hand, "comparison": _comparison(h.comparison), "change": _change(h.change)} for h in lane.hands
        ],
    }


def _oil(oil: OilReading) -> dict[str, Any]:
    return {
        "oil_end_ft": _value(oil.end_ft) | {"low": _round(oil.low_ft), "high": _round(oil.high_ft)},
        "length": oil.length,
        "length_share": {name: _round(share) for name, share in oil.length_share.items()},
        "contrast": _value(oil.contrast),
    }


def _friction(friction: FrictionMap) -> dict[str, Any]:
    rows = [
        [_round(float(mu), 4) if seen else UNSAMPLED for mu, seen in zip(line, felt, strict=True)]
        for line, felt in zip(friction.friction, friction.sampled, strict=True)
    ]
    return {"board": friction.board.tolist(), "distance_ft": friction.distance_ft.tolist(), "rows": rows}


def _comparison(found: Comparison) -> dict[str, Any]:
    return {
        "line": _aim(found.line),
        "balls": [
            {
                "ball": b.ball,
                "log_grip": _value(b.log_grip),
                "numbers": {name: _value(q) for name, q in b.values.items()},
                "scatter": {name: _round(sd) for name, sd in b.scatter.items()},
                "slip_ends_share": _round(b.slip_ends_share),
            }
            for b in found.balls
        ],
        "differences": [
            {
                "ball": d.ball,
                "other": d.other,
                "log_grip": _value(d.log_grip),
                "numbers": {name: _value(q) for name, q in d.values.items()},
                "told": list(d.told),
            }
            for d in found.differences
        ],
    }


def _change(found: ChangeReading) -> dict[str, Any]:
    return {
        "verdict": found.verdict,
        "wear_over_ten_shots": _trend(found.wear),
        "carry_ft_over_ten_shots": _trend(found.carry_ft),
        "ball": found.line.ball,
        "from_shot": found.first,
        "to_shot": found.last,
        "differences": {name: _value(q) for name, q in found.differences.items()},
    }


def _trend(trend: Trend) -> dict[str, Any]:
    return _value(trend.over_ten) | {"smallest_shown": _round(trend.smallest_shown)}


def _bowler(found: BowlerReading) -> dict[str, Any]:
    return {
        "hand": found.hand,
        "scatter": {
            name: {"value": _round(s.value), "low": _round(s.low), "high": _round(s.high), "repeats": s.repeats}
            for name, s in found.scatter.items()
        },
        "level_rpm": _value(found.level_rpm),
        "rotation_deg": _value(found.rotation_deg),
        "feet_offset": _value(found.feet_offset) | {"shots": found.feet_noted},
    }


def _aim(line: Aim) -> dict[str, Any]:
    return {
        "board": _round(line.board),
        "launch_deg": _round(line.launch_deg),
        "speed_mph": _round(line.speed_mph),
    }


def _value(q: Quantity) -> dict[str, Any]:
    if q.value is None or q.u is None:
        return {"value": None, "u": None, "missing": q.missing}
    return {"value": _round(q.value), "u": _round(q.u)}


def _round(value: float, digits: int = 3) -> float | None:
    return round(value, digits) if np.isfinite(value) else None
