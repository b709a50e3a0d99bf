"""Cameras that were knocked, carried, or tremble: the move is taken into account, or refused with its size."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from warped import shifted, turned, warped_clip, zoomed

from calibration.anchors import choose_anchors
from calibration.store import Calibration
from tracker.lane.locate import Located, locate
from tracker.measure import MeasureSettings, measure_clip
from tracker.results import ClipResult, ShotResult

MEDIA = Path(__file__).resolve().parents[1] / "sample_media"
CLIP = MEDIA / "practice-4.mp4"
TRUTH = json.loads((MEDIA / "practice-4.truth.json").read_text(encoding="utf-8"))["shot"]
BOARDS = ("laydown_board", "board_15ft", "breakpoint_board", "contact_board")
NUMBERS = (*BOARDS, "onset_ft", "breakpoint_ft", "entry_angle_deg", "speed_release_mph", "speed_pins_mph")
SURE = 3.0


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
    return warped_clip(CLIP, folder / "turned.mp4", turned(session.camera, 0.25, 0.12, 0.05))


def only_shot(result: ClipResult) -> ShotResult:
    assert result.failure is None
    assert len(result.shots) == 1
    return result.shots[0]


def sigmas(shot: ShotResult, names: tuple[str, ...] = NUMBERS) -> dict[str, float]:
    """Error over standard uncertainty of every number that there is."""
    found = {name: shot.quantities[name] for name in names if shot.quantities[name].value is not None}
    return {name: (q.value - TRUTH[name]) / q.u for name, q in found.items()}  # type: ignore[operator]


def test_a_small_turn_is_taken_into_account_and_told_with_its_size(session, turned_clip):
    result = measure_clip(turned_clip, session, MeasureSettings())
    shot = only_shot(result)
    assert shot.status == "measured"
    assert "camera_turned" in shot.flags
    assert max(map(abs, sigmas(shot).values())) < SURE
    assert "px or up to" in result.notes[0]
    assert "boards" in result.notes[0]


def test_without_the_check_the_same_turn_misplaces_every_board(session, turned_clip):
    shot = only_shot(measure_clip(turned_clip, replace(session, reference=None, neighbours_in=()), MeasureSettings()))
    assert max(map(abs, sigmas(shot, BOARDS).values())) > SURE


def test_a_trembling_picture_is_held_still(session, tmp_path):
    steps = np.random.default_rng(4).normal(0.0, 0.8, (1000, 2))
    walk = np.array([np.convolve(axis, np.ones(5) / np.sqrt(5), mode="same") for axis in steps.T]).T * 1.2
    clip = warped_clip(CLIP, tmp_path / "shaky.mp4", shifted(lambda k: (float(walk[k, 0]), float(walk[k, 1]))))
    shot = only_shot(measure_clip(clip, session, MeasureSettings()))
    assert shot.status == "measured"
    assert "shaky" in shot.flags
    assert max(map(abs, sigmas(shot).values())) < SURE


def test_a_knock_in_the_middle_of_the_shot_is_taken_out(session, tmp_path):
    clip = warped_clip(CLIP, tmp_path / "knock.mp4", shifted(lambda k: (3.0, -2.0) if k > 90 else (0.0, 0.0)))
    shot = only_shot(measure_clip(clip, session, MeasureSettings()))
    assert "shaky" in shot.flags
    assert max(map(abs, sigmas(shot).values())) < SURE


def test_a_view_that_wanders_off_is_refused(session, tmp_path):
    clip = warped_clip(CLIP, tmp_path / "wanders.mp4", shifted(lambda k: (0.25 * k, 0.0)))
    result = measure_clip(clip, session, MeasureSettings())
    assert result.failure is not None
    assert result.failure.reason == "view_pans"
    assert "px" in result.failure.detail


@pytest.mark.parametrize(
    ("warp", "reason"),
    [
        (shifted(lambda k: (0.8 * k, 0.0)), "view_pans"),
        (zoomed(lambda k: 1.0 + 0.001 * k, (640.0, 300.0)), "view_zooms"),
    ],
)
def test_a_panning_and_a_zooming_clip_give_no_lane(warp, reason, tmp_path):
    clip = warped_clip(CLIP, tmp_path / "moving.mp4", warp)
    result = measure_clip(clip, None, MeasureSettings())
    assert result.failure is not None
    assert result.failure.reason == reason


def test_a_camera_that_stands_elsewhere_finds_the_lane_again(session):
    """The reference is of a picture of another place, as after the phone was carried."""
    other = np.roll(np.random.default_rng(5).integers(30, 200, (720, 1280), dtype=np.uint8), 9, axis=0)
    elsewhere = replace(session, reference=choose_anchors(other, session.camera))
    result = measure_clip(CLIP, elsewhere, MeasureSettings())
    shot = only_shot(result)
    assert shot.status == "measured"
    assert "camera_found_again" in shot.flags
    assert max(map(abs, sigmas(shot).values())) < SURE
    assert "found again" in result.notes[0]


def test_a_moved_camera_that_shows_no_lane_any_more_is_refused(session, tmp_path):
    clip = warped_clip(CLIP, tmp_path / "down.mp4", shifted(lambda _: (0.0, -260.0)))
    told = measure_clip(clip, replace(session, how="marks"), MeasureSettings()).failure
    found = measure_clip(clip, session, MeasureSettings()).failure
    assert told is not None
    assert told.reason == "camera_moved"
    assert found is not None
    assert found.reason in ("pin_end_unseen", "lane_unclear", "no_lane")


def test_same_clip_twice_gives_the_same_numbers():
    first, second = (only_shot(measure_clip(CLIP, None, MeasureSettings())) for _ in range(2))
    assert first.quantities == second.quantities
