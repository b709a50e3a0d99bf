"""Small rendered clips in which no whole shot happens: each gets the answer that fits it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from hard_scenes import HOOK, NOBODY, RIGHT, base_clip
from scene_clips import Dying, SceneSpec, render_scene

from calibration.marks import parse_marks
from calibration.solve import Solution, solve
from calibration.store import Calibration, from_solution
from sample_media.optics import view_of
from sample_media.truth import clicked_marks
from tracker.measure import MeasureSettings, measure_clip
from tracker.results import ClipResult

CAMERA = RIGHT.resized(480, 270, 30)
SMALL = replace(base_clip(), camera=CAMERA, sub_exposures=1, tail_s=0.1)


@pytest.fixture(scope="module")
def calibration() -> Calibration:
    marks = parse_marks(clicked_marks(SMALL, view_of(CAMERA), 3, 0.3))
    solution = solve(marks.marks_px, width=marks.width, height=marks.height)
    assert isinstance(solution, Solution)
    return from_solution(solution, marks.marks_px)


def _measured(spec: SceneSpec, folder: Path, calibration: Calibration) -> ClipResult:
    render_scene(spec, folder / "clip.mp4", 2)
    return measure_clip(folder / "clip.mp4", calibration, MeasureSettings())


def test_bowler_who_throws_nothing_gives_no_shot(calibration, tmp_path):
    clip = replace(SMALL, start_s=-0.6)
    result = _measured(SceneSpec(clip, thrown=False, length_s=2.8), tmp_path, calibration)
    assert result.shots == ()
    assert result.failure is not None
    assert result.failure.reason == "no_ball"
    assert "no ball rolls down this lane" in result.failure.detail


def test_ball_that_dies_on_the_lane_has_no_numbers_of_the_pins(calibration, tmp_path):
    slow = replace(HOOK, speed_mph=11.0, rev_rpm=60)
    clip = replace(SMALL, shot=slow, bowler=NOBODY, start_s=-0.2)
    result = _measured(SceneSpec(clip, dying=Dying(22.0), length_s=3.4), tmp_path, calibration)
    (shot,) = result.shots
    assert (shot.status, shot.reason) == ("partial", "ball_stops")
    assert shot.quantities["contact_board"].missing == "early_end"
    assert shot.quantities["laydown_board"].value == pytest.approx(15.5, abs=0.6)
