"""The true numbers of a rendered shot, straight from its dense path and independently of the tracker's estimators.

Headings are in degrees against the boards. Positive is toward the pocket, except for the launch, which is positive
toward the hand's gutter. A quantity that does not exist in a shot is None.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import (
    ARROW_BOARDS,
    DECK_END_IN,
    PIN_BASE_RADIUS_IN,
    Hand,
    board_from_x,
    pin_positions,
    x_from_board,
)
from sample_media.optics import View, area_centroid, sphere_outline
from sample_media.physics import EDGE_IN, MPH_IN, DensePath
from sample_media.spec import ClipSpec, LaneSpec
from sample_media.timeline import Timeline

Array = NDArray[np.float64]
ROW_EVERY = 5
ONSET_DEG = 1.0
SEEN_PINS = (1, 2, 3, 4, 6, 7, 10)


@dataclass(frozen=True, slots=True)
class _Lane:
    """A path in lane terms, all ``(n,)``: time, feet, boards, heading to the pocket, speed, slip (NaN in a gutter)."""

    t: Array
    ft: Array
    board: Array
    heading: Array
    speed: Array
    slip: Array

    def at(self, values: Array, ft: float) -> float | None:
        """A column at a distance, or None outside the path."""
        return float(np.interp(ft, self.ft, values)) if self.ft[0] <= ft <= self.ft[-1] else None


def _lane_terms(path: DensePath, hand: Hand) -> _Lane:
    side = 1.0 if hand == "right" else -1.0
    heading = np.degrees(np.arctan2(-side * path.vx, path.vy))
    speed = np.hypot(path.vx, path.vy) / MPH_IN
    return _Lane(
        path.t_s,
        path.y_in / 12,
        board_from_x(path.x_in, hand),
        heading,
        speed=speed,
        slip=np.where(path.on_lane, path.slip, np.nan),
    )


def shot_numbers(path: DensePath, hand: Hand, lane: LaneSpec) -> dict[str, float | str | None]:
    """The numbers of one shot.

    Parameters
    ----------
    path : DensePath
        From first lane contact to first pin contact (or 59.5 ft).
    hand : {'right', 'left'}
        The bowling hand.
    lane : LaneSpec
        For the arrows' distances.

    Returns
    -------
    dict
        ``laydown_board``, ``laydown_ft``, ``launch_angle_deg``, ``board_15ft``, ``arrows_board``, ``onset_ft``,
        ``breakpoint_board``, ``breakpoint_ft``, ``turn_deg``, ``roll_ft``, ``slip_end_ft``, ``hook_length_ft``,
        ``phase_at_pins``, ``entry_angle_deg``, ``contact_board``, ``contact_ft``, ``board_60ft``,
        ``speed_release_mph``, ``speed_pins_mph``, ``boards_out``, ``boards_back``.
    """
    p = _lane_terms(path, hand)
    first = p.ft <= p.ft[0] + 5
    run_in = path.y_in[first][-1] - path.y_in[0]
    out_in = (path.x_in[first][-1] - path.x_in[0]) * (1 if hand == "right" else -1)
    entry_rows = p.ft >= p.ft[-1] - 1.0
    entry = float(np.trapezoid(p.heading[entry_rows], p.ft[entry_rows]) / np.ptp(p.ft[entry_rows]))
    to_60 = (60 - p.ft[-1]) * 12 * math.tan(math.radians(p.heading[-1]))
    numbers: dict[str, float | str | None] = {
        "laydown_board": float(p.board[0]),
        "laydown_ft": float(p.ft[0]),
        "launch_angle_deg": math.degrees(math.atan2(out_in, run_in)),
        "board_15ft": p.at(p.board, 15.0),
        "arrows_board": _arrows_board(p, lane),
        "entry_angle_deg": entry,
        "contact_board": float(p.board[-1]),
        "contact_ft": float(p.ft[-1]),
        "board_60ft": float(p.board[-1] + to_60 * 39 / 41.5),
        "speed_release_mph": float(p.speed[0]),
        "speed_pins_mph": float(p.speed[-1]),
    }
    return numbers | _hook_numbers(p) | _breakpoint(p)


def _arrows_board(p: _Lane, lane: LaneSpec) -> float | None:
    past = p.ft - (lane.arrow_centre_ft - lane.arrow_slope_ft * np.abs(p.board - 20) / 5)
    i = int(np.argmax(past >= 0))
    if i == 0:
        return None
    f = -past[i - 1] / (past[i] - past[i - 1])
    return float(p.board[i - 1] + f * (p.board[i] - p.board[i - 1]))


def _first_ft(p: _Lane, turned: Array, level: float, start_ft: float) -> float | None:
    """Distance at which a growing quantity first reaches a level beyond a distance."""
    rows = np.flatnonzero((p.ft > start_ft) & (turned >= level))
    if not rows.size:
        return None
    i = int(rows[0])
    f = (level - turned[i - 1]) / (turned[i] - turned[i - 1]) if turned[i] > turned[i - 1] else 1.0
    return float(p.ft[i - 1] + min(max(f, 0.0), 1.0) * (p.ft[i] - p.ft[i - 1]))


def _hook_numbers(p: _Lane) -> dict[str, float | str | None]:
    start = p.at(p.heading, 15.0)
    if start is None:
        return dict.fromkeys(("onset_ft", "turn_deg", "roll_ft", "slip_end_ft", "hook_length_ft", "phase_at_pins"))
    turned = p.heading - start
    turn = float(turned[-1])
    onset = _first_ft(p, turned, ONSET_DEG, 15.0)
    rolling = np.flatnonzero(p.slip == 0)
    slip_end = float(p.ft[rolling[0]]) if rolling.size else None
    roll = _first_ft(p, turned, 0.9 * turn, 15.0) if slip_end is not None and turn > 0 else None
    length = roll - onset if roll is not None and onset is not None else None
    phase = "roll" if slip_end is not None else "hook" if onset is not None else "skid"
    return {
        "onset_ft": onset,
        "turn_deg": turn,
        "roll_ft": roll,
        "slip_end_ft": slip_end,
        "hook_length_ft": length,
        "phase_at_pins": phase,
    }


def _breakpoint(p: _Lane) -> dict[str, float | str | None]:
    beyond = np.flatnonzero(p.ft > 15.0)
    none: dict[str, float | str | None] = dict.fromkeys(
        ("breakpoint_board", "breakpoint_ft", "boards_out", "boards_back")
    )
    if not beyond.size:
        return none
    i = int(beyond[np.argmin(p.board[beyond])])
    if i in (beyond[0], beyond[-1]):
        return none
    low = float(p.board[i])
    out, back = float(p.board[0] - low), float(p.board[-1] - low)
    return {"breakpoint_board": low, "breakpoint_ft": float(p.ft[i]), "boards_out": out, "boards_back": back}


def mark_points(lane: LaneSpec) -> dict[str, Array]:
    """Lane points ``(3,)`` in inches of the marks a person can click, by name."""
    spots = pin_positions()
    marks = {"foul_left": np.array([-EDGE_IN, 0, 0]), "foul_right": np.array([EDGE_IN, 0, 0])}
    for k, board in enumerate(ARROW_BOARDS, start=1):
        y = (lane.arrow_centre_ft - lane.arrow_slope_ft * abs(board - 20) / 5) * 12
        marks[f"arrow_{k}"] = np.array([float(x_from_board(board, "right")), y, 0])
    for n in SEEN_PINS:
        marks[f"pin_{n}_base"] = np.array([spots[n - 1, 0], spots[n - 1, 1] - PIN_BASE_RADIUS_IN, 0])
    for k, ft in enumerate((8.0, 22.0, 45.0), start=1):
        marks[f"left_edge_{k}"] = np.array([-EDGE_IN, ft * 12, 0])
        marks[f"right_edge_{k}"] = np.array([EDGE_IN, ft * 12, 0])
    return marks


def clicked_marks(clip: ClipSpec, view: View, seed: int, error_px: float = 0.8) -> dict[str, object]:
    """A marks file as a careful person would click it: the true pixels with seeded errors of ``error_px`` (1 sigma)."""
    rng = np.random.default_rng(seed)
    marks = {}
    for name, point in mark_points(clip.lane).items():
        at = view.project(point) + rng.normal(0, error_px, 2)
        if 0 <= at[0] < view.width and 0 <= at[1] < view.height:
            marks[name] = [round(float(v), 1) for v in at]
    return {"width": view.width, "height": view.height, "marks_px": marks}


def clip_truth(clip: ClipSpec, view: View, timeline: Timeline, times_s: Sequence[float]) -> dict[str, object]:
    """Everything true about a rendered clip, ready for JSON.

    Returns
    -------
    dict
        ``clip``, ``hand``, ``ball``, ``diameter_in``; ``camera`` (position in inches, angles, f_px, k1, k2, size);
        ``lane``, ``shot_spec``, ``ball_spec``; ``t_video_of_release``, ``t_video_of_laydown``, ``t_video_of_contact``
        in seconds; ``shot`` (see :func:`shot_numbers`, with ``deck_exit_board``, ``standing_pins``, ``standing``);
        ``frames`` (one a frame: index, ``t_video``, centre ``xyz`` in inches, ``board``, ``px`` of the centre,
        ``outline_px`` centroid and ``radius_px`` of the outline, ``phase``, ``on_lane``); ``path_columns`` and
        ``path`` at 200 Hz with t from the first lane contact; ``marks_px`` (true pixels).
    """
    release = -clip.start_s
    shot: dict[str, object] = dict(shot_numbers(timeline.path, clip.shot.hand, clip.lane))
    exit_x, standing = timeline.deck.exit_x_in, timeline.deck.standing_at(clip.tail_s)
    shot["deck_exit_board"] = None if exit_x is None else float(board_from_x(exit_x, clip.shot.hand))
    shot["standing_pins"] = "-".join(map(str, standing)) or "none"
    shot["standing"] = list(standing)
    if not timeline.path.on_lane[-1]:
        shot["reason"] = "gutter"
    marks = {name: _rounded(view.project(p), 3) for name, p in mark_points(clip.lane).items()}
    return {
        "clip": f"{clip.name}.mp4",
        "hand": clip.shot.hand,
        "ball": clip.ball.name,
        "diameter_in": clip.ball.diameter_in,
        "camera": _camera_truth(clip, view),
        "lane": {name: value for name, value in asdict(clip.lane).items() if name != "look"},
        "shot_spec": asdict(clip.shot),
        "ball_spec": asdict(clip.ball),
        "t_video_of_release": round(release, 6),
        "t_video_of_laydown": round(release + timeline.flight_s, 6),
        "t_video_of_contact": round(release + timeline.end_s, 6) if timeline.hit else None,
        "shot": _tidy(shot),
        "marks_px": marks,
        "frames": [_frame(clip, view, timeline, index=i, t_s=t) for i, t in enumerate(times_s)],
        "path_columns": ["t", "x", "y", "vx", "vy", "slip", "mu"],
        "path": _path_rows(timeline.path),
    }


def _camera_truth(clip: ClipSpec, view: View) -> dict[str, object]:
    keys = ("yaw_deg", "pitch_deg", "roll_deg", "f_px", "k1", "k2", "width", "height")
    return {"position_in": _rounded(view.eye, 4)} | {k: getattr(clip.camera, k) for k in keys}


def _frame(clip: ClipSpec, view: View, timeline: Timeline, *, index: int, t_s: float) -> dict[str, object]:
    since = clip.start_s + t_s
    c = timeline.centre(since)
    rim = sphere_outline(view, c, timeline.ball.radius_in)
    middle = area_centroid(rim)
    radius = float(np.sqrt(((rim - middle) ** 2).sum(axis=1)).mean())
    phase = timeline.phase(since)
    return {
        "i": index,
        "t_video": round(t_s, 6),
        "xyz": _rounded(c, 4),
        "board": round(float(board_from_x(c[0], clip.shot.hand)), 4),
        "px": _rounded(view.project(c), 3),
        "outline_px": _rounded(middle, 3),
        "radius_px": round(radius, 3),
        "phase": phase,
        "on_lane": phase == "lane" or (phase == "deck" and abs(float(c[0])) < EDGE_IN and float(c[1]) < DECK_END_IN),
    }


def _path_rows(path: DensePath) -> list[list[float]]:
    columns = (path.t_s, path.x_in, path.y_in, path.vx, path.vy, path.slip, path.mu)
    table = np.stack(columns, axis=-1)
    keep = np.unique(np.append(np.arange(0, len(table), ROW_EVERY), len(table) - 1))
    return [[round(float(v), 4) for v in row] for row in table[keep]]


def _rounded(values: Array, digits: int) -> list[float]:
    return [round(float(v), digits) for v in values]


def _tidy(values: Mapping[str, object]) -> dict[str, object]:
    return {k: round(v, 5) if isinstance(v, float) else v for k, v in values.items()}
