"""A calibration checked against a clip, and who bowls where while it is watched."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration.errors import Failure
from calibration.store import Calibration
from sample_media.optics import view_of
from sample_media.scene import build_scene
from sample_media.session import CAMERA, LANE
from sample_media.spec import LookSpec
from tracker.lane.attend import Attendance
from tracker.lane.check import Checked, check_place
from tracker.lane.locate import Located, locate
from tracker.measure import MeasureSettings, measure_clip
from tracker.video.planes import Layout, Planes
from tracker.video.reader import ClipReader, Frame, upright

MEDIA = Path(__file__).resolve().parents[2] / "sample_media"


@pytest.fixture(scope="module")
def session() -> Calibration:
    found = locate(MEDIA / "practice-1.mp4")
    assert isinstance(found, Located)
    return found.calibration


@pytest.fixture(scope="module")
def neighbours_lane(session) -> Calibration:
    """The lane to the right as if it were the session's, the bowler's own beside it."""
    away = min(session.neighbours_in, key=abs)
    moved = replace(session.camera, x_in=session.camera.x_in - away)
    return replace(
        session, camera=moved, neighbours_in=tuple(n - away for n in (0.0, *session.neighbours_in) if n != away)
    )


@pytest.fixture(scope="module")
def first_luma() -> np.ndarray:
    with ClipReader(MEDIA / "practice-5.mp4") as reader:
        return reader.first_frame.whole().luma


def test_the_same_place_keeps_its_calibration(session, first_luma):
    checked = check_place(session, first_luma)
    assert isinstance(checked, Checked)
    assert checked.calibration is session
    assert checked.moved_boards < 0.02


def test_a_shifted_picture_turns_the_camera_and_widens_its_covariance(session, first_luma):
    checked = check_place(session, np.roll(first_luma, (2, 3), axis=(0, 1)))
    assert isinstance(checked, Checked)
    assert checked.corrected
    assert checked.moved_px == pytest.approx(np.hypot(2, 3), abs=0.5)
    assert checked.moved_boards > 1.0
    turned = checked.calibration.camera
    assert (turned.x_in, turned.y_in, turned.z_in) == (session.camera.x_in, session.camera.y_in, session.camera.z_in)
    # roll hangs together with nothing else, so the move's own uncertainty shows there
    assert checked.calibration.covariance[5, 5] > session.covariance[5, 5]


def test_another_picture_is_another_place(session, first_luma):
    failure = check_place(session, np.ascontiguousarray(first_luma[::-1]))
    assert isinstance(failure, Failure)
    assert failure.reason == "camera_moved"


def test_another_house_is_another_place(session):
    """Its walls and lanes are of other colours, and the phone stands where the approach lets it."""
    spec = replace(CAMERA, x_ft=1.8, y_ft=-16.0, yaw_deg=-2.5)
    look = LookSpec(lane_tint=(0.6, 0.5, 0.4), gutter_tint=(2.0, 2.0, 2.2), surround=2.0, mask=0.4, middle_wood=False)
    linear = build_scene(view_of(spec), replace(LANE, look=look), 2).base
    failure = check_place(session, np.clip(255 * np.sqrt(linear.mean(axis=2)), 0, 255).astype(np.uint8))
    assert isinstance(failure, Failure)
    assert failure.reason == "camera_moved"
    assert "fixed places of the calibrated picture" in failure.detail


def test_without_reference_nothing_is_checked(session, first_luma):
    bare = replace(session, reference=None)
    checked = check_place(bare, np.ascontiguousarray(first_luma[::-1]))
    assert isinstance(checked, Checked)
    assert checked.calibration is bare


def attended(calibration: Calibration) -> Attendance:
    attendance = Attendance(calibration)
    with ClipReader(MEDIA / "practice-5.mp4") as reader:
        for frame in reader:
            attendance.see(frame)
    return attendance


def test_the_bowler_is_seen_on_his_own_lane(session):
    attendance = attended(session)
    assert attendance.here() is True


def test_the_bowler_is_seen_elsewhere_from_the_next_lane(neighbours_lane):
    attendance = attended(neighbours_lane)
    assert attendance.here() is False


def test_a_lane_without_neighbours_keeps_no_pictures(session):
    attendance = attended(replace(session, neighbours_in=()))
    assert attendance.here() is None


def test_the_clip_is_measured_on_the_lane_of_its_bowler(neighbours_lane):
    result = measure_clip(MEDIA / "practice-5.mp4", neighbours_lane, MeasureSettings())
    assert [shot.status for shot in result.shots] == ["measured"]
    assert result.calibration is not None
    assert result.calibration.clip == "practice-5.mp4"


def test_a_lane_that_somebody_gave_is_the_last_word(neighbours_lane):
    result = measure_clip(MEDIA / "practice-5.mp4", replace(neighbours_lane, neighbours_in=()), MeasureSettings())
    assert not result.shots
    assert result.failure is not None


def test_a_doubtful_lane_gives_no_measured_shot(session):
    doubtful = replace(session, lane_doubtful=True, neighbours_in=())
    result = measure_clip(MEDIA / "practice-5.mp4", doubtful, MeasureSettings())
    assert [(shot.status, shot.reason) for shot in result.shots] == [("partial", "lane_doubtful")]


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
@pytest.mark.parametrize(("rows", "shrink"), [(720, 2), (1080, 3), (1440, 4)])
def test_small_pictures_are_means_of_the_upright_frame(session, rows, shrink, turn):
    """Each pixel is the mean of its square, rounded (either way where it lies half-way between two levels)."""
    shape = (rows, rows * 16 // 9)
    stored = np.random.default_rng(3).integers(0, 256, shape).astype(np.uint8)
    half = np.ascontiguousarray(stored[::2, 1::2])
    frame = upright(Planes(stored, (half, 255 - half), Layout()), turn, 0, 0.0)
    high, wide = frame.luma.shape
    attendance = Attendance(replace(session, camera=replace(session.camera, width=wide, height=high)))
    attendance.see(frame)
    (small,) = attendance._pictures
    for own, plane in zip((small.luma, small.cb, small.cr), (frame.luma, *frame.chroma), strict=True):
        r, c = (n // shrink for n in plane.shape)
        assert own.shape == (r, c)
        means = plane.reshape(r, shrink, c, shrink).mean(axis=(1, 3))
        np.testing.assert_allclose(own, means, atol=0.5 + 1e-9)


@pytest.mark.parametrize(("dtype", "bits"), [(np.uint8, 8), (np.uint16, 10)])
@pytest.mark.parametrize(("rows", "shrink"), [(720, 2), (1440, 4)])
def test_small_pictures_of_a_clip_without_chroma_are_grey(session, rows, shrink, dtype, bits):
    frame = Frame(0, 0.0, np.full((rows, rows * 16 // 9), 90 << (bits - 8), dtype), None, bits)
    high, wide = frame.luma.shape
    attendance = Attendance(replace(session, camera=replace(session.camera, width=wide, height=high)))
    attendance.see(frame)
    (small,) = attendance._pictures
    assert small.luma.shape == (high // shrink, wide // shrink)
    assert small.cb.shape == small.cr.shape == (high // shrink // 2, wide // shrink // 2)
    assert np.unique(small.luma).tolist() == [90]
    assert np.unique(small.cb).tolist() == np.unique(small.cr).tolist() == [128]
