"""Shots drawn by chance: cameras, frame rates, hands, balls, lanes and releases from a seed; rendered and measured.

The lane is found in each clip, or solved from marks clicked to about a pixel; hand and ball diameter are not told,
except that a clip whose hand was read wrong is counted and then measured again with the right one.
"""

from __future__ import annotations

import hashlib
import json
import math
import time
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from calibration.lane import LANE_WIDTH_IN, Hand, board_from_x
from calibration.marks import parse_marks
from calibration.solve import Solution, solve
from calibration.store import Calibration, from_solution
from sample_media.optics import view_of
from sample_media.render import render_clip, write_truth
from sample_media.spec import (
    ALL_PINS,
    BallSpec,
    BowlerSpec,
    CameraSpec,
    ClipSpec,
    LaneSpec,
    NeighbourBall,
    Pattern,
    Rgb,
    ShotSpec,
)
from sample_media.timeline import build_timeline
from sample_media.truth import clicked_marks, mark_points
from tracker.columns import COLUMNS
from tracker.measure import MeasureSettings, measure_clip
from tracker.results import ClipResult, PathTable, ShotResult


@dataclass(frozen=True, slots=True)
class Pictures:
    """How large and how closely clips are drawn.

    Attributes
    ----------
    frames : tuple of (int, int)
        Width and height of frames; the second is taken in a third of the clips.
    least_radius_px : float
        Radius of a ball at the pins below which a phone's picture would be too coarse; sets the focal length.
    exposures : int
        Pictures laid over each other for one frame's motion blur.
    tail_s : float
        How long clips go on after the pins.
    """

    frames: tuple[tuple[int, int], tuple[int, int]] = ((960, 540), (540, 960))
    least_radius_px: float = 5.5
    exposures: int = 2
    tail_s: float = 0.25


USUAL = Pictures()
SMALL = Pictures(((640, 360), (360, 640)), 4.0, exposures=1, tail_s=0.15)
BALLS: tuple[tuple[Rgb, Rgb, Pattern, str], ...] = (
    ((0.030, 0.030, 0.035), (0.030, 0.030, 0.035), "plain", "dark"),
    ((0.020, 0.030, 0.120), (0.060, 0.060, 0.300), "pearl", "dark pearl"),
    ((0.025, 0.115, 0.125), (0.050, 0.215, 0.205), "pearl", "mid pearl"),
    ((0.300, 0.045, 0.020), (0.600, 0.360, 0.060), "swirl", "mid swirl"),
    ((0.550, 0.500, 0.420), (0.620, 0.600, 0.560), "pearl", "light"),
    ((0.020, 0.020, 0.025), (0.700, 0.680, 0.620), "swirl", "two-tone"),
)
LIGHTS = ((1.0, 1.0, 1.0), (1.06, 0.98, 0.84), (0.92, 0.98, 1.08))
BEFORE_GUTTER = ("laydown_board", "laydown_ft", "launch_angle_deg", "speed_release_mph")
AT_CONTACT = ("contact_board", "contact_ft", "boards_back")
CURVE_STEP_FT = 4.0
"""Neighbouring feet tell nearly the same: every fourth is enough."""
IN_S_PER_MPH = 17.6
BOARDS_ON_WAY = ("board_15ft", "arrows_board")


@dataclass(frozen=True, slots=True)
class Cell:
    """One number of one clip against its truth."""

    clip: int
    column: str
    value: float | None
    u: float | None
    true: float | None

    @property
    def error(self) -> float:
        return self.value - self.true if self.value is not None and self.true is not None else math.nan

    @property
    def sigmas(self) -> float:
        return self.error / self.u if self.u else math.nan


@dataclass(frozen=True, slots=True)
class Outcome:
    """One clip: what it shows in short, what the chain said, its cells, those of its curves, and the path's errors."""

    clip: int
    short: str
    wanted: str
    status: str
    hand: str
    flags: tuple[str, ...] = ()
    cells: tuple[Cell, ...] = ()
    curves: tuple[Cell, ...] = ()
    board_rms: float = math.nan
    ft_rms: float = math.nan
    seconds: tuple[float, float] = field(default=(math.nan, math.nan))


def random_camera(rng: np.random.Generator, side: float, pictures: Pictures = USUAL) -> CameraSpec:
    """A phone behind the approach, on the bowling-arm side (``side`` 1 is right), that sees foul line and deck."""
    width, height = pictures.frames[int(rng.random() < 0.35)]
    x, y, z = side * rng.uniform(0, 3.5), -rng.uniform(15, 23), rng.uniform(4.5, 7.5)
    least = pictures.least_radius_px * (60 - y) * 12 / 4.295
    dips = [math.degrees(math.atan2(z - top, far - y)) for top, far in ((0.0, -0.6), (1.9, 63.0))]
    turns = [math.degrees(math.atan2(-x, far - y)) for far in (0.0, 60.0)]
    fps = float(rng.choice([30, 60, 120], p=[0.45, 0.4, 0.15]))
    camera = CameraSpec(
        x, y, z, yaw_deg=sum(turns) / 2 + rng.uniform(-0.7, 0.7), pitch_deg=sum(dips) / 2 + rng.uniform(-0.3, 0.3),
        roll_deg=rng.uniform(-2, 2), f_px=least * rng.uniform(1.02, 1.3), k1=rng.uniform(-0.03, 0.03), k2=0.0,
        width=width, height=height, fps=fps, shutter_s=1 / float(rng.choice([60, 120, 240])) if fps < 100 else 1 / 240,
        sideways=width < height, crf=20, preset="ultrafast",
    )  # fmt: skip
    return _fitted(camera)


def _fitted(camera: CameraSpec) -> CameraSpec:
    """The camera with a focal length small enough that foul line and pins lie in the frame."""
    while True:
        view = view_of(camera)
        points = [p for name, p in mark_points(LaneSpec()).items() if name.startswith(("foul", "pin"))]
        px = view.project(np.array(points))
        inside = (px > 0.015 * camera.width).all() and (px < [0.985 * view.width, 0.985 * view.height]).all()
        if inside or camera.f_px < 400:
            return camera
        camera = replace(camera, f_px=camera.f_px * 0.98)


def _random_lane(rng: np.random.Generator) -> LaneSpec:
    return LaneSpec(
        oil_ft=rng.uniform(33, 47), taper_ft=rng.uniform(3, 8), mu_oil=rng.uniform(0.03, 0.05),
        mu_dry=rng.uniform(0.16, 0.24), outside_short_ft=rng.uniform(0, 7), outside_ratio=rng.uniform(1.0, 2.0),
        arrow_centre_ft=rng.uniform(15.3, 15.9), brightness=rng.uniform(0.6, 1.3),
        gutter_brightness=rng.uniform(0.5, 1.6), gloss=rng.uniform(0.5, 1.4), light=LIGHTS[int(rng.integers(3))],
        look_seed=int(rng.integers(100)),
    )  # fmt: skip


def _random_ball(rng: np.random.Generator) -> BallSpec:
    colour, second, pattern, name = BALLS[int(rng.integers(len(BALLS)))]
    return BallSpec(
        name, rng.uniform(8.5, 8.59), rng.uniform(2.46, 2.6), grip=rng.uniform(0.8, 1.3), colour=colour, second=second,
        pattern=pattern, shine=rng.uniform(0.6, 1.3),
    )  # fmt: skip


def _random_shot(rng: np.random.Generator, hand: Hand, kind: str) -> ShotSpec:
    base = ShotSpec(hand, laydown_ft=rng.uniform(0.6, 2.2), speed_mph=rng.uniform(14, 20), tilt_deg=rng.uniform(5, 18))
    if kind == "gutter":
        return replace(base, laydown_board=rng.uniform(4, 10), launch_deg=rng.uniform(1.5, 4), rev_rpm=200)
    if kind == "straight":
        launch, board = rng.uniform(-0.8, 0.3), rng.uniform(12, 25)
        return replace(base, laydown_board=board, launch_deg=launch, rotation_deg=0, tilt_deg=0, rev_rpm=150)
    return replace(
        base, laydown_board=rng.uniform(12, 30), launch_deg=rng.uniform(0, 4), rev_rpm=rng.uniform(150, 450),
        rotation_deg=rng.uniform(10, 60),
    )  # fmt: skip


def random_clip(seed: int, number: int, pictures: Pictures = USUAL) -> ClipSpec:
    """Clip ``number`` of a seed: one in eight a straight ball, one in eight a gutter ball."""
    rng = np.random.default_rng([seed, number])
    kind = {5: "straight", 7: "gutter"}.get(number % 8, "hook")
    hand: Hand = "left" if rng.random() < 0.35 else "right"
    camera, lane, ball = (
        random_camera(rng, 1.0 if hand == "right" else -1.0, pictures),
        _random_lane(rng),
        _random_ball(rng),
    )
    rack = ALL_PINS if rng.random() < 0.85 else ((10,), (7, 10), (3, 6, 10), (1, 2, 4))[int(rng.integers(4))]
    walker = NeighbourBall(
        replace(_random_shot(rng, hand, "hook"), hand=hand), _random_ball(rng), int(rng.choice([-1, 1])), 0.7
    )
    clip = ClipSpec(
        f"shot-{number:02d}", camera, lane, ball, bowler=BowlerSpec(present=bool(rng.random() < 0.6)),
        neighbour=walker if rng.random() < 0.2 else None, tail_s=pictures.tail_s,
        sub_exposures=pictures.exposures,
    )  # fmt: skip
    clip = replace(clip, start_s=-0.6 if clip.bowler.present else -0.3)
    while True:
        tried = replace(clip, shot=replace(_random_shot(rng, hand, kind), rack=rack))
        path = build_timeline(tried).path
        ends = float(board_from_x(path.x_in[-1], hand))
        if (kind == "gutter") == (not path.on_lane[-1]) and (kind == "gutter" or 6 < ends < 34):
            return tried


def in_short(clip: ClipSpec) -> str:
    """The clip in a line."""
    c, s, b, lane = clip.camera, clip.shot, clip.ball, clip.lane
    extras = [*(["neighbour"] if clip.neighbour else []), *([] if clip.bowler.present else ["nobody"])]
    extras += [] if s.rack == ALL_PINS else ["rack " + "-".join(map(str, s.rack))]
    return (
        f"{c.width}x{c.height}@{c.fps:g} 1/{1 / c.shutter_s:.0f} f{c.f_px:.0f} at {c.x_ft:+.1f},{c.y_ft:.0f},"
        f"{c.z_ft:.1f} | {b.name} {b.diameter_in:.2f} | {s.hand} b{s.laydown_board:.0f} {s.launch_deg:+.1f}deg "
        f"{s.speed_mph:.0f}mph {s.rev_rpm:.0f}rpm rot{s.rotation_deg:.0f} | oil {lane.oil_ft:.0f} bright "
        f"{lane.brightness:.1f}/{lane.gutter_brightness:.1f} {' '.join(extras)}"
    )


def _calibrated(clip: ClipSpec, seed: int) -> Calibration | str:
    marks = parse_marks(clicked_marks(clip, view_of(clip.camera), seed, 1.0))
    solution = solve(marks.marks_px, width=marks.width, height=marks.height)
    if not isinstance(solution, Solution):
        return f"{solution.reason}: {solution.detail}"
    return from_solution(solution, marks.marks_px, rotation_deg=270 if clip.camera.sideways else 0)


def _truth(clip: ClipSpec, folder: Path, seed: int) -> dict[str, Any]:
    """Render the clip, or read the truth of one that is there and was made from the same description."""
    path, note = folder / f"{clip.name}.mp4", folder / f"{clip.name}.spec"
    made = hashlib.sha256(f"{clip!r} {seed}".encode()).hexdigest()
    if not note.exists() or note.read_text(encoding="utf-8") != made:
        truth = render_clip(clip, path, seed)
        write_truth(folder / f"{clip.name}.truth.json", truth)
        note.write_text(made, encoding="utf-8")
    loaded: dict[str, Any] = json.loads((folder / f"{clip.name}.truth.json").read_text(encoding="utf-8"))
    return loaded


def curve_cells(number: int, shot: ShotResult, truth: dict[str, Any]) -> tuple[Cell, ...]:
    """Curves of a shot every few feet against the drawn path, from the first row of the latter to the pins."""
    found = shot.curves
    if found is None:
        return ()
    t, x, y, vx, vy = np.array(truth["path"]).T[:5]
    side = -1.0 if truth["hand"] == "right" else 1.0
    true = {
        "board": board_from_x(x, truth["hand"]),
        "heading_deg": np.degrees(np.arctan(side * vx / vy)),
        "speed_mph": np.hypot(vx, vy) / IN_S_PER_MPH,
        "sideways_ft_s2": side * np.gradient(vx, t) / 12.0,
    }
    rows = np.flatnonzero(
        (found.distance_ft % CURVE_STEP_FT == 0)
        & (found.distance_ft * 12 > y[0] + 6.0)
        & (found.distance_ft * 12 < y[-1])
    )
    return tuple(
        Cell(
            number,
            name,
            getattr(found, name)[k],
            getattr(found, f"{name}_u")[k],
            float(np.interp(found.distance_ft[k] * 12, y, v)),
        )
        for name, v in true.items()
        for k in rows
    )


def path_misses(table: PathTable, truth: dict[str, Any], hand: Hand) -> tuple[float, float]:
    """Root mean square miss in boards and feet of a measured path while the true one lasts on the lane."""
    path = np.array(truth["path"])[:, :3] + [truth["t_video_of_laydown"], 0, 0]
    path = path[np.abs(path[:, 1]) < LANE_WIDTH_IN / 2]
    inside = (table.t_s >= path[0, 0]) & (table.t_s <= path[-1, 0])
    if not inside.any():
        return math.nan, math.nan
    board = board_from_x(np.interp(table.t_s[inside], path[:, 0], path[:, 1]), hand)
    feet = np.interp(table.t_s[inside], path[:, 0], path[:, 2]) / 12
    return (
        float(np.sqrt(np.mean((table.board[inside] - board) ** 2))),
        float(np.sqrt(np.mean((table.distance_ft[inside] - feet) ** 2))),
    )


def cells_of(number: int, shot: ShotResult, true: dict[str, Any], *, full_rack: bool = True) -> tuple[Cell, ...]:
    """A shot's numbers beside the true ones; contact is with a full rack's pins, so not compared with fewer."""
    gutter = true.get("reason") == "gutter"
    rows = []
    for column in COLUMNS:
        quantity = shot.quantities.get(column.name)
        if column.kind == "text" or quantity is None or column.name not in true:
            continue
        if column.name in AT_CONTACT and not full_rack:
            continue
        right = true[column.name]
        on_lane = column.name in BEFORE_GUTTER or (column.name in BOARDS_ON_WAY and right is not None and right > 0)
        rows.append(Cell(number, column.name, quantity.value, quantity.u, right if on_lane or not gutter else None))
    return tuple(rows)


def _states(result: ClipResult) -> str:
    if result.failure is not None:
        return f"no shot: {result.failure.reason}"
    return " + ".join(f"{s.status} {s.reason}".strip() for s in result.shots)


@dataclass(frozen=True, slots=True)
class Job:
    """One clip to render (or find) and measure; ``clicked`` tells whether the camera is solved from clicked marks."""

    number: int
    seed: int
    folder: str
    clicked: bool = False
    pictures: Pictures = USUAL


def run_clip(job: Job) -> Outcome:
    """Render (or find), calibrate and measure one clip."""
    number, seed = job.number, job.seed
    cv2.setNumThreads(1)
    clip, folder, begun = random_clip(seed, number, job.pictures), Path(job.folder), time.process_time()
    truth = _truth(clip, folder, seed * 1000 + number)
    rendered = time.process_time()
    wanted = "partial gutter" if truth["shot"].get("reason") == "gutter" else "measured"
    calibration = _calibrated(clip, seed * 1000 + number + 500) if job.clicked else None
    if isinstance(calibration, str):
        return Outcome(number, in_short(clip), wanted, f"no camera: {calibration}", "")
    path = folder / f"{clip.name}.mp4"
    result = measure_clip(path, calibration, MeasureSettings())
    spent = (rendered - begun, time.process_time() - rendered)
    said = Outcome(number, in_short(clip), wanted, _states(result), "", seconds=spent)
    if not result.shots:
        return said
    read = result.shots[0].hand
    hand = "right hand" if read == clip.shot.hand else f"{read} for {clip.shot.hand}"
    if "hand_assumed" in result.shots[0].flags:
        hand += " (assumed)"
    if read != clip.shot.hand:
        result = measure_clip(path, calibration, MeasureSettings(hand=clip.shot.hand))
    shot = max(result.shots, key=lambda s: len(s.path.t_s) if s.path is not None else 0)
    misses = path_misses(shot.path, truth, clip.shot.hand) if shot.path is not None else (math.nan, math.nan)
    cells = cells_of(number, shot, truth["shot"], full_rack=clip.shot.rack == ALL_PINS)
    curves = curve_cells(number, shot, truth)
    return replace(said, hand=hand.replace("right hand", "as thrown"), flags=shot.flags, cells=cells, curves=curves,
                   board_rms=misses[0], ft_rms=misses[1])  # fmt: skip
