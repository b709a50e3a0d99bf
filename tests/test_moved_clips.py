"""Cameras that were knocked, carried, or tremble: the move is taken into account, or refused with its size."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from clips import even_times, write_clip
from warped import Warp, resized, shifted, turned, warped_clip, zoomed

from calibration.store import Calibration
from sample_media.render import render_clip
from sample_media.session import CAMERA, practice
from tracker.lane.locate import Located, locate
from tracker.measure import MeasureSettings, measure_clip
from tracker.results import ClipResult, ShotResult

MEDIA = Path(__file__).resolve().parents[1] / "sample_media"
CLIP = MEDIA / "practice-4.mp4"
TRUTH = json.loads((MEDIA / "practice-4.truth.json").read_text(encoding="utf-8"))["shot"]
BOARDS = ("laydown_board", "board_15ft", "breakpoint_board", "contact_board")
NUMBERS = (*BOARDS, "onset_ft", "breakpoint_ft", "entry_angle_deg", "speed_release_mph", "speed_pins_mph")
SURE = 2.0
THIRTY_FPS = 2


@pytest.fixture(scope="module")
def session() -> Calibration:
    """The lane as it is found in another clip of the session."""
    found = locate(MEDIA / "practice-1.mp4")
    assert isinstance(found, Located)
    return found.calibration


@pytest.fixture(scope="module")
def turned_clip(session, tmp_path_factory) -> Path:
    """The clip as a camera sees it that was knocked by some pixels."""
    folder = tmp_path_factory.mktemp("turned")
    return warped_clip(CLIP, folder / "turned.mp4", turned(session.camera, 0.25, 0.12, 0.05), every=THIRTY_FPS)


def only_shot(result: ClipResult) -> ShotResult:
    assert result.failure is None
    assert len(result.shots) == 1
    return result.shots[0]


def sigmas(shot: ShotResult, names: tuple[str, ...] = NUMBERS, truth: Mapping[str, float] = TRUTH) -> dict[str, float]:
    """Error over standard uncertainty of every number, all of which there must be."""
    found = {name: shot.quantities[name] for name in names}
    assert all(q.value is not None for q in found.values())
    return {name: (q.value - truth[name]) / q.u for name, q in found.items()}  # type: ignore[operator]


def knock(du_px: float, dv_px: float) -> Warp:
    """The view jumps while the ball is on its way, and stays there."""
    return shifted(lambda k: (du_px, dv_px) if k > 90 else (0.0, 0.0))


def test_a_small_turn_is_taken_into_account_and_told_with_its_size(session, turned_clip):
    result = measure_clip(turned_clip, session, MeasureSettings())
    shot = only_shot(result)
    assert shot.status == "measured"
    assert "camera_turned" in shot.flags
    assert max(map(abs, sigmas(shot).values())) < SURE
    told = re.search(r"turned by ([\d.]+) px or up to ([\d.]+) boards", result.notes[0])
    assert told is not None
    assert 4.0 < float(told[1]) < 10.0
    assert float(told[2]) > 1.0


def test_without_the_check_the_same_turn_misplaces_every_board(session, turned_clip):
    shot = only_shot(measure_clip(turned_clip, replace(session, reference=None, neighbours_in=()), MeasureSettings()))
    assert min(map(abs, sigmas(shot, BOARDS).values())) > 3.0


def test_a_trembling_picture_is_held_still(session, tmp_path):
    steps = np.random.default_rng(4).normal(0.0, 0.8, (1000, 2))
    walk = np.array([np.convolve(axis, np.ones(5) / np.sqrt(5), mode="same") for axis in steps.T]).T * 1.2
    clip = warped_clip(CLIP, tmp_path / "shaky.mp4", shifted(lambda k: tuple(walk[k].tolist())), every=THIRTY_FPS)
    shot = only_shot(measure_clip(clip, session, MeasureSettings()))
    assert shot.status == "measured"
    assert "shaky" in shot.flags
    assert max(map(abs, sigmas(shot).values())) < SURE


def test_a_knock_in_the_middle_of_the_shot_is_taken_out(session, tmp_path):
    clip = warped_clip(CLIP, tmp_path / "knock.mp4", knock(3.0, -2.0), every=THIRTY_FPS)
    shot = only_shot(measure_clip(clip, session, MeasureSettings()))
    assert "shaky" in shot.flags
    assert max(map(abs, sigmas(shot).values())) < SURE


@pytest.mark.parametrize(
    ("turn_deg", "at"),
    [
        pytest.param((0.25, -0.15, 0.0), 90, id="10 px, mid lane"),
        pytest.param((-1.1, 0.9, 0.3), 150, id="40 px, near the pins"),
    ],
)
def test_a_large_knock_within_the_shot_is_followed_and_told_with_its_size(turn_deg, at, session, tmp_path):
    after = turned(session.camera, *turn_deg)
    clip = warped_clip(CLIP, tmp_path / "knock.mp4", lambda k, bgr: after(k, bgr) if k > at else bgr, every=THIRTY_FPS)
    result = measure_clip(clip, session, MeasureSettings())
    shot = only_shot(result)
    assert shot.status == "measured"
    assert "shaky" in shot.flags
    assert max(map(abs, sigmas(shot).values())) < SURE
    told = re.search(r"moved within the clip by ([\d.]+) px or up to ([\d.]+) boards", result.notes[0])
    assert told is not None
    assert float(told[1]) == pytest.approx(np.radians(np.hypot(*turn_deg[:2])) * session.camera.f_px, rel=0.2)
    assert float(told[2]) > 1.0


@pytest.mark.parametrize(
    "warp",
    [
        pytest.param(shifted(lambda k: (0.25 * k, 0.0)), id="wanders"),
        pytest.param(knock(120.0, -40.0), id="knocked far"),
    ],
)
def test_a_view_that_leaves_the_reach_is_refused(warp, session, tmp_path):
    clip = warped_clip(CLIP, tmp_path / "away.mp4", warp, every=THIRTY_FPS)
    result = measure_clip(clip, session, MeasureSettings())
    assert not result.shots
    assert result.failure is not None
    assert result.failure.reason == "view_pans"
    assert re.search(r"out of reach in \d+% of the pictures", result.failure.detail)


@pytest.mark.parametrize(
    ("warp", "reason"),
    [
        (shifted(lambda k: (0.8 * k, 0.0)), "view_pans"),
        (zoomed(lambda k: 1.0 + 0.001 * k, (640.0, 300.0)), "view_zooms"),
    ],
)
def test_a_panning_and_a_zooming_clip_give_no_lane(warp, reason, tmp_path):
    clip = warped_clip(CLIP, tmp_path / "moving.mp4", warp, every=3)
    result = measure_clip(clip, None, MeasureSettings())
    assert result.failure is not None
    assert result.failure.reason == reason


def test_a_camera_that_was_carried_finds_the_lane_again(session, tmp_path):
    """Rendered from 8 in farther to the right, so that near things move past far ones."""
    camera = replace(CAMERA, x_ft=CAMERA.x_ft + 8 / 12, fps=30, preset="ultrafast")
    spec = replace(practice()[0].clip, camera=camera, sub_exposures=1, tail_s=0.1)
    truth = render_clip(spec, tmp_path / "carried.mp4", seed=3)["shot"]
    result = measure_clip(tmp_path / "carried.mp4", session, MeasureSettings())
    shot = only_shot(result)
    assert shot.status == "measured"
    assert "camera_found_again" in shot.flags
    assert "camera_turned" not in shot.flags
    assert max(map(abs, sigmas(shot, truth=truth).values())) < SURE
    assert re.search(r"found again, its points lie up to \d+ px away, \d+ boards", result.notes[0])
    assert result.calibration is not None
    assert result.calibration.camera.x_in - session.camera.x_in == pytest.approx(8.0, abs=1.0)


def test_another_frame_size_finds_the_lane_again(session, tmp_path):
    clip = warped_clip(CLIP, tmp_path / "small.mp4", resized(960, 540), every=THIRTY_FPS)
    result = measure_clip(clip, session, MeasureSettings())
    shot = only_shot(result)
    assert "camera_found_again" in shot.flags
    assert max(map(abs, sigmas(shot).values())) < SURE
    assert result.notes == ("filmed from elsewhere than the calibration: the lane was found again",)


@pytest.mark.parametrize(("how", "reason"), [("marks", "frame_mismatch"), ("found", "no_lane")])
def test_another_frame_size_without_a_lane_is_refused(how, reason, session, tmp_path):
    blank = write_clip(tmp_path / "grey.mp4", even_times(8), luma=lambda _: np.full((360, 640), 80, np.uint8))
    failure = measure_clip(blank, replace(session, how=how), MeasureSettings()).failure
    assert failure is not None
    assert failure.reason == reason
    assert "grey.mp4" in failure.detail or "640x360" in failure.detail


def test_a_moved_camera_that_shows_no_lane_any_more_is_refused(session, tmp_path):
    clip = warped_clip(CLIP, tmp_path / "down.mp4", shifted(lambda _: (0.0, -260.0)), every=6)
    told = measure_clip(clip, replace(session, how="marks"), MeasureSettings()).failure
    found = measure_clip(clip, session, MeasureSettings()).failure
    assert told is not None
    assert told.reason == "camera_moved"
    assert re.search(r"\d+ of \d+ fixed places of the calibrated picture", told.detail)
    assert found is not None
    assert found.reason in ("pin_end_unseen", "lane_unclear", "no_lane")
    assert found.detail.startswith("down.mp4: ")
    assert found.detail in told.detail
