"""Accuracy of the whole measuring chain on varied rendered shots: ``python tests/bench/bench_accuracy.py --shots 24``.

Cameras, frame rates, hands, balls, lanes and shots are drawn from a seed; a few balls are straight, a few end in the
gutter. The lane is found in each clip, or with ``--marks`` solved from marks clicked to about a pixel; hand and ball
diameter are not told, except that a clip whose hand was read wrong is counted and then measured again with the right
one. Prints a table a column (how many, missing where the truth has a number, invented where it has none, root mean
square and median error, share within 2 u, root mean square of error / u, cells beyond 3 u), errors of the path, states
with counts, and the worst cells. With ``--keep`` clips and truths stay and are used again, so that a change of the
tracker is measured on the same pictures.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import math
import multiprocessing
import os
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
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

LEAST_RADIUS_PX = 5.5
"""Radius at the pins below which a phone's picture would be too coarse; sets the focal length."""
FRAMES = ((960, 540), (540, 960))
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
BOARDS_ON_WAY = ("board_15ft", "arrows_board")
WORST = 12


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
    """One clip: what it shows in short, what the chain said, its cells and the path's errors."""

    clip: int
    short: str
    wanted: str
    status: str
    hand: str
    flags: tuple[str, ...] = ()
    cells: tuple[Cell, ...] = ()
    board_rms: float = math.nan
    ft_rms: float = math.nan
    seconds: tuple[float, float] = field(default=(math.nan, math.nan))


def random_camera(rng: np.random.Generator, side: float) -> CameraSpec:
    """A phone behind the approach, on the bowling-arm side (``side`` 1 is right), that sees foul line and deck."""
    width, height = FRAMES[int(rng.random() < 0.35)]
    x, y, z = side * rng.uniform(0, 3.5), -rng.uniform(15, 23), rng.uniform(4.5, 7.5)
    least = LEAST_RADIUS_PX * (60 - y) * 12 / 4.295
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


def random_clip(seed: int, number: int) -> ClipSpec:
    """Clip ``number`` of a seed: one in eight a straight ball, one in eight a gutter ball."""
    rng = np.random.default_rng([seed, number])
    kind = {5: "straight", 7: "gutter"}.get(number % 8, "hook")
    hand: Hand = "left" if rng.random() < 0.35 else "right"
    camera, lane, ball = random_camera(rng, 1.0 if hand == "right" else -1.0), _random_lane(rng), _random_ball(rng)
    rack = ALL_PINS if rng.random() < 0.85 else ((10,), (7, 10), (3, 6, 10), (1, 2, 4))[int(rng.integers(4))]
    walker = NeighbourBall(
        replace(_random_shot(rng, hand, "hook"), hand=hand), _random_ball(rng), int(rng.choice([-1, 1])), 0.7
    )
    clip = ClipSpec(
        f"shot-{number:02d}", camera, lane, ball, bowler=BowlerSpec(present=bool(rng.random() < 0.6)),
        neighbour=walker if rng.random() < 0.2 else None, tail_s=0.25, sub_exposures=2,
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


def _path_misses(table: PathTable, truth: dict[str, Any], hand: Hand) -> tuple[float, float]:
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


def _cells(number: int, shot: ShotResult, true: dict[str, Any]) -> tuple[Cell, ...]:
    gutter = true.get("reason") == "gutter"
    rows = []
    for column in COLUMNS:
        quantity = shot.quantities.get(column.name)
        if column.kind == "text" or quantity is None or column.name not in true:
            continue
        right = true[column.name]
        on_lane = column.name in BEFORE_GUTTER or (column.name in BOARDS_ON_WAY and right is not None and right > 0)
        rows.append(Cell(number, column.name, quantity.value, quantity.u, right if on_lane or not gutter else None))
    return tuple(rows)


def _states(result: ClipResult) -> str:
    if result.failure is not None:
        return f"no shot: {result.failure.reason}"
    return " + ".join(f"{s.status} {s.reason}".strip() for s in result.shots)


def run_clip(job: tuple[int, int, str, bool]) -> Outcome:
    """Render (or find), calibrate and measure one clip: its number, seed, folder, and whether marks are clicked."""
    number, seed, where, clicked = job
    cv2.setNumThreads(1)
    clip, folder, begun = random_clip(seed, number), Path(where), time.process_time()
    truth = _truth(clip, folder, seed * 1000 + number)
    rendered = time.process_time()
    wanted = "partial gutter" if truth["shot"].get("reason") == "gutter" else "measured"
    calibration = _calibrated(clip, seed * 1000 + number + 500) if clicked else None
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
    misses = _path_misses(shot.path, truth, clip.shot.hand) if shot.path is not None else (math.nan, math.nan)
    cells = _cells(number, shot, truth["shot"])
    return replace(said, hand=hand.replace("right hand", "as thrown"), flags=shot.flags, cells=cells,
                   board_rms=misses[0], ft_rms=misses[1])  # fmt: skip


def column_table(cells: Sequence[Cell]) -> list[str]:
    """One line a column."""
    head = ("column", "n", "missing", "invented", "rms", "median", "in 2u", "rms/u", "bias/u", ">3u")
    lines = ["{:20}{:>5}{:>9}{:>10}{:>9}{:>9}{:>8}{:>8}{:>8}{:>5}".format(*head)]
    for name in dict.fromkeys(c.column for c in cells):
        own = [c for c in cells if c.column == name]
        both = [c for c in own if c.value is not None and c.true is not None]
        missing = sum(c.value is None and c.true is not None for c in own)
        invented = sum(c.value is not None and c.true is None for c in own)
        lines.append(f"{name:20}{len(both):5}{missing:9}{invented:10}" + _spread(both))
    both = [c for c in cells if c.value is not None and c.true is not None]
    return [*lines, f"{'all':20}{len(both):5}{'':19}{'':18}" + _spread(both)[18:]]


def _spread(both: Sequence[Cell]) -> str:
    if not both:
        return ""
    error, sigmas = (np.array([getattr(c, k) for c in both]) for k in ("error", "sigmas"))
    far = np.abs(sigmas)
    return (
        f"{math.sqrt(np.mean(error**2)):9.3f}{np.median(np.abs(error)):9.3f}{np.mean(far <= 2):8.2f}"
        f"{math.sqrt(np.mean(sigmas**2)):8.2f}{np.mean(sigmas):+8.2f}{int((far > 3).sum()):5}"
    )


def report(outcomes: Sequence[Outcome]) -> str:
    """The whole text."""
    cells = [c for o in outcomes for c in o.cells]
    lines = [f"{len(outcomes)} clips", "", *column_table(cells), ""]
    board, feet = (np.array([getattr(o, k) for o in outcomes]) for k in ("board_rms", "ft_rms"))
    for name, values in (("path, boards", board), ("path, feet", feet)):
        kept = values[np.isfinite(values)]
        if len(kept):
            lines.append(f"{name}: rms {math.sqrt(np.mean(kept**2)):.3f}, median clip {np.median(kept):.3f}, worst "
                         f"{kept.max():.3f} (clip {outcomes[int(np.nanargmax(values))].clip})")  # fmt: skip
    for title, counts in (
        ("wanted -> said", Counter(f"{o.wanted} -> {o.status}" for o in outcomes)),
        ("hand", Counter(o.hand for o in outcomes)),
        ("flags", Counter(f for o in outcomes for f in o.flags)),
    ):
        lines += ["", title, *(f"  {n:3} {key}" for key, n in counts.most_common())]
    lines += ["", "worst cells (error / u)"]
    far = sorted((c for c in cells if math.isfinite(c.sigmas)), key=lambda c: -abs(c.sigmas))[:WORST]
    lines += [f"  clip {c.clip:2} {c.column:18} {c.value:8.2f} +- {c.u:.2f}, true {c.true:8.2f}, {c.sigmas:+.1f} u"
              for c in far]  # fmt: skip
    lines += ["", "invented", *(f"  clip {c.clip:2} {c.column} {c.value:.2f} +- {c.u:.2f}" for c in cells
                                if c.value is not None and c.true is None)]  # fmt: skip
    lines += ["", "missing", *(f"  clip {c.clip:2} {c.column} true {c.true:.2f}" for c in cells
                               if c.value is None and c.true is not None)]  # fmt: skip
    lines += ["", "clips", *map(_line, outcomes)]
    return "\n".join(lines) + "\n"


def _line(o: Outcome) -> str:
    return (
        f"  {o.clip:2} {o.short}\n     {o.status}; hand {o.hand}; path {o.board_rms:.2f} boards {o.ft_rms:.2f} ft; "
        f"{' '.join(o.flags)}; cpu {o.seconds[0]:.1f} + {o.seconds[1]:.1f} s"
    )


def _nice() -> None:
    os.nice(10)


def main() -> None:
    """Render and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shots", type=int, default=24)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="number of the first shot")
    parser.add_argument("--keep", type=Path, help="folder in which clips and truths stay and are used again")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--marks", action="store_true", help="solve the camera from clicked marks")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.keep or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        jobs = [(n, given.seed, str(folder), given.marks) for n in range(given.first, given.first + given.shots)]
        context = multiprocessing.get_context("spawn")
        outcomes: list[Outcome] = []
        with ProcessPoolExecutor(given.workers, mp_context=context, initializer=_nice) as pool:
            for outcome in pool.map(run_clip, jobs):
                outcomes.append(outcome)
                sys.stderr.write(_line(outcome) + "\n")
                sys.stderr.flush()
    sys.stdout.write(report(outcomes))


if __name__ == "__main__":
    main()
