"""Whole clips: the sample session, small renderings of odd shots, and the outside clips where there are any."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import sample_media
from calibration.lane import Hand, board_from_x
from calibration.marks import Marks, parse_marks, read_marks
from calibration.solve import Solution, solve
from calibration.store import Calibration, from_solution
from sample_media.optics import view_of
from sample_media.render import render_clip
from sample_media.scene import Scene, build_scene
from sample_media.spec import BowlerSpec, CameraSpec, ClipSpec, LaneSpec, ShotSpec
from sample_media.truth import clicked_marks
from tracker.measure import MeasureSettings, measure_clip
from tracker.results import ClipResult, PathTable, ShotResult
from tracker.session.reading import SessionReading, fit_session
from tracker.session.throws import Throw

MEDIA = Path(sample_media.__file__).parent
MAX_BOARD_RMS, MAX_FT_RMS = 0.4, 1.2


def _calibration(marks: Marks, rotation_deg: int = 0) -> Calibration:
    solution = solve(marks.marks_px, width=marks.width, height=marks.height)
    assert isinstance(solution, Solution)
    return from_solution(solution, marks.marks_px, rotation_deg=rotation_deg)


def _one_shot(result: ClipResult) -> ShotResult:
    assert result.failure is None
    (shot,) = result.shots
    return shot


def _rms(table: PathTable, path: np.ndarray, hand: Hand) -> tuple[float, float]:
    """Root mean square miss in boards and feet of a measured path against the true t, x, y (file time)."""
    inside = (table.t_s >= path[0, 0]) & (table.t_s <= path[-1, 0])
    assert inside.sum() > 20
    t_s = table.t_s[inside]
    board = board_from_x(np.interp(t_s, path[:, 0], path[:, 1]), hand)
    feet = np.interp(t_s, path[:, 0], path[:, 2]) / 12
    misses = (table.board[inside] - board, table.distance_ft[inside] - feet)
    return tuple(float(np.sqrt(np.mean(m**2))) for m in misses)


def _off(shot: ShotResult, truth: dict[str, Any], sigmas: float = 3.0) -> dict[str, tuple[float, ...]]:
    """Numbers more than so many of their own uncertainties away from the truth."""
    found = {}
    for name, q in shot.quantities.items():
        true = truth.get(name)
        if q.value is not None and q.u is not None and isinstance(true, float) and abs(q.value - true) > sigmas * q.u:
            found[name] = (true, q.value, q.u)
    return found


def _assert_spin(shot: ShotResult, spec: ShotSpec) -> None:
    """Spin within three of its own uncertainties, to which the few rpm of change before the first sight come."""
    assert shot.launch is not None
    level = spec.rev_rpm * np.cos(np.radians(spec.tilt_deg))
    rotation = np.radians(spec.rotation_deg)
    for name, true in (("forward_spin_rpm", level * np.cos(rotation)), ("side_spin_rpm", level * np.sin(rotation))):
        q = shot.launch.quantities[name]
        assert q.value is not None
        assert q.u is not None
        assert abs(q.value - true) < 3 * q.u + 8.0, name


@pytest.fixture(scope="module")
def sample_calibration() -> Calibration:
    return _calibration(read_marks(MEDIA / "marks.json"))


# 4: a ball rolls on the next lane at the same time; 5: dropped frames
@pytest.mark.parametrize("number", [1, 4, 5])
def test_sample_clip_is_measured_within_its_uncertainties(number, sample_calibration):
    truth = json.loads((MEDIA / f"practice-{number}.truth.json").read_text(encoding="utf-8"))
    result = measure_clip(MEDIA / f"practice-{number}.mp4", sample_calibration, MeasureSettings())
    shot = _one_shot(result)
    assert (shot.shot_id, shot.clip, shot.status) == (f"practice-{number}", f"practice-{number}.mp4", "measured")
    assert shot.hand == truth["hand"]
    assert _off(shot, truth["shot"]) == {}
    wanted = {name for name in shot.quantities if isinstance(truth["shot"].get(name), float)}
    assert {name for name in wanted if shot.quantities[name].value is None} == set()
    assert shot.path is not None
    path = np.array(truth["path"])[:, :3] + [truth["t_video_of_laydown"], 0, 0]
    board, feet = _rms(shot.path, path, truth["hand"])
    assert board <= MAX_BOARD_RMS
    assert feet <= MAX_FT_RMS
    assert ("dropped_frames" in shot.flags) == (number == 5)
    assert shot.pins is not None
    assert shot.pins.before == "1-2-3-4-5-6-7-8-9-10"
    unsure = {"pins_moving", "pins_unsure"} & set(shot.flags)
    assert shot.pins.standing == truth["shot"]["standing_pins"] or (not shot.pins.standing and unsure)
    _assert_spin(shot, ShotSpec(**{**truth["shot_spec"], "rack": ()}))


WIDE = replace(CameraSpec().resized(960, 540, fps=30), preset="ultrafast")
UPRIGHT = replace(WIDE, x_ft=-2.7, yaw_deg=4.2, width=540, height=960, sideways=True)
STRAIGHT = ShotSpec(laydown_board=14, launch_deg=-0.3, rotation_deg=0, tilt_deg=0, rev_rpm=150)


def _clip(name: str, camera: CameraSpec, shot: ShotSpec) -> ClipSpec:
    return ClipSpec(
        name, camera, shot=shot, bowler=BowlerSpec(present=False), start_s=-0.3, tail_s=0.1, sub_exposures=1
    )


@pytest.fixture(scope="module")
def wide_scene() -> Scene:
    return build_scene(view_of(WIDE), LaneSpec())


def _rendered(folder: Path, clip: ClipSpec, scene: Scene | None = None) -> tuple[ShotResult, dict[str, Any]]:
    truth: dict[str, Any] = render_clip(clip, folder / f"{clip.name}.mp4", 1, scene)
    marks = parse_marks(clicked_marks(clip, view_of(clip.camera), 3))
    calibration = _calibration(marks, 270 if clip.camera.sideways else 0)
    return _one_shot(measure_clip(folder / f"{clip.name}.mp4", calibration, MeasureSettings())), truth


def test_gutter_ball_is_partial_with_the_reason(tmp_path, wide_scene):
    clip = _clip("gutter", WIDE, ShotSpec(laydown_board=6, launch_deg=3.0))
    shot, truth = _rendered(tmp_path, clip, wide_scene)
    assert (shot.status, shot.reason) == ("partial", "gutter")
    assert shot.quantities["contact_board"].value is None
    assert shot.quantities["board_60ft"].value is None
    assert shot.quantities["launch_angle_deg"].value == pytest.approx(truth["shot"]["launch_angle_deg"], abs=0.4)
    assert shot.launch is not None
    assert {q.missing for q in shot.launch.quantities.values()} == {"gutter"}


def test_straight_ball_has_no_hook_and_its_hand_is_a_guess(tmp_path, wide_scene):
    shot, truth = _rendered(tmp_path, _clip("straight", WIDE, STRAIGHT), wide_scene)
    assert shot.status == "measured"
    assert {"straight_ball", "hand_assumed", "no_breakpoint"} <= set(shot.flags)
    assert shot.quantities["onset_ft"].value is None
    assert _off(shot, truth["shot"]) == {}


def test_left_hander_filmed_upright(tmp_path):
    spec = ShotSpec(hand="left", laydown_board=17, launch_deg=2.2)
    shot, truth = _rendered(tmp_path, _clip("left", UPRIGHT, spec))
    assert (shot.status, shot.hand) == ("measured", "left")
    assert _off(shot, truth["shot"]) == {}
    assert shot.path is not None
    path = np.array(truth["path"])[:, :3] + [truth["t_video_of_laydown"], 0, 0]
    _assert_spin(shot, spec)
    board, feet = _rms(shot.path, path, "left")
    assert board <= MAX_BOARD_RMS
    assert feet <= MAX_FT_RMS


def test_clip_of_another_size_is_refused_with_what_to_do(sample_calibration, small_clip):
    result = measure_clip(small_clip, sample_calibration, MeasureSettings())
    assert result.failure is not None
    assert result.failure.reason == "frame_mismatch"
    assert "calibrate" in result.failure.detail


def test_missing_clip_is_a_failure_and_no_exception(sample_calibration, tmp_path):
    result = measure_clip(tmp_path / "none.mp4", sample_calibration, MeasureSettings())
    assert result.failure is not None
    assert result.shots == ()


@cache
def _shared(folder: Path, name: str) -> ClipResult:
    upright = name.startswith("DB")
    calibration = _calibration(read_marks(folder / f"marks_{name[:2]}.json"), 270 if upright else 0)
    hand: Hand | None = "left" if upright else None
    return measure_clip(folder / f"{name}.mp4", calibration, MeasureSettings(hand=hand))


@pytest.mark.shared
@pytest.mark.parametrize("name", ["DA1", "DA2", "DA3", "DA4", "DA5", "DB1", "DB2"])
def test_path_of_an_outside_clip_lies_on_the_truth(name, shared_clips):
    truth = json.loads((shared_clips / f"{name}.truth.json").read_text(encoding="utf-8"))
    shot = _one_shot(_shared(shared_clips, name))
    assert shot.status == "measured"
    assert shot.path is not None
    path = np.array(truth["path"], dtype=float)[:, :3] + [truth["t_video_of_release"], 0, 0]
    board, feet = _rms(shot.path, path, truth["hand"])
    assert board <= MAX_BOARD_RMS
    assert feet <= MAX_FT_RMS


def _true_oil_end(truth: dict[str, Any]) -> float:
    """From where on log friction stays above half way from its mean over 10 to 25 ft to its mean beyond 56 ft."""
    path = np.array(truth["path"], dtype=float)
    feet, log_mu = path[:, 2] / 12, np.log(path[:, 6])
    oiled = log_mu[(feet >= 10) & (feet <= 25)].mean()
    return float(feet[np.flatnonzero(log_mu < (oiled + log_mu[feet >= 56].mean()) / 2)[-1]])


@pytest.mark.shared
def test_lane_and_balls_of_an_outside_practice(shared_clips):
    """Five shots, three balls: where the oil ends along their lines, and the balls by their grip."""
    names = ["DA1", "DA2", "DA3", "DA4", "DA5"]
    truths = [json.loads((shared_clips / f"{n}.truth.json").read_text(encoding="utf-8")) for n in names]
    throws = []
    for number, (name, truth) in enumerate(zip(names, truths, strict=True), start=1):
        stations = _one_shot(_shared(shared_clips, name)).stations
        assert stations is not None
        throws.append(Throw(name, number, "1", truth["ball"], "right", stations))
    reading = fit_session(throws, {})
    assert isinstance(reading, SessionReading)
    assert reading.left_out == ()
    (lane,) = reading.lanes
    end = lane.oil.end_ft
    assert end.value is not None
    assert end.u is not None
    assert abs(end.value - np.mean([_true_oil_end(t) for t in truths])) < min(2 * end.u, 2.0)
    grip = {t["ball"]: t["shot"]["grip"] for t in truths}
    assert lane.hands[0].comparison.order() == tuple(sorted(grip, key=lambda b: -grip[b]))


@pytest.mark.shared
def test_hidden_ball_is_not_measured(shared_clips):
    result = _shared(shared_clips, "DC1")
    assert "measured" not in [shot.status for shot in result.shots]
    assert result.failure is not None or all(shot.reason for shot in result.shots)


def test_calibration_of_another_place_gives_no_numbers():
    """A camera that stood elsewhere: what the pixels then say is not how a ball moves on a lane."""
    right = _calibration(read_marks(MEDIA / "marks.json"))
    wrong = replace(right, camera=replace(right.camera, yaw_deg=right.camera.yaw_deg - 4.0))
    result = measure_clip(MEDIA / "practice-1.mp4", wrong, MeasureSettings(hand="right"))
    assert all(shot.status != "measured" for shot in result.shots)


@pytest.mark.parametrize(("factor", "advice"), [(2, "--capture-fps 60 "), (8, "--capture-fps")])
def test_clip_that_plays_slowed_down_is_not_measured_and_names_the_option(factor, advice, sample_calibration):
    """A rate told too low by a factor stretches the clip's times as slow motion does."""
    result = measure_clip(MEDIA / "practice-1.mp4", sample_calibration, MeasureSettings(capture_fps=60 / factor))
    said = [(s.status, s.reason, s.detail) for s in result.shots]
    if result.failure is not None:
        said.append(("failed", result.failure.reason, result.failure.detail))
    ((status, reason, detail),) = said
    assert (status, reason) == ("failed", "speed_implausible")
    assert advice in detail
