"""The lane of a clip: the bowler's, or the one that is asked for, or the reason why there is none."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from clips import even_times, write_clip, write_text

from calibration.camera import Camera
from calibration.errors import Failure
from calibration.finding.together import LANE_TO_LANE, SHARED
from calibration.quality import lane_sigma
from calibration.store import Calibration, to_json
from tracker.lane.locate import Located, locate
from tracker.video.errors import ClipError

MEDIA = Path(__file__).resolve().parents[2] / "sample_media"
CLIP = MEDIA / "practice-1.mp4"
LIMITS = ((15.0, 0.15, 0.3), (40.0, 0.15, 0.8), (58.0, 0.15, 1.5))
"""Distance in ft, and how far a point there may be off: boards, ft."""


@pytest.fixture(scope="module")
def found() -> Located:
    located = locate(CLIP)
    assert isinstance(located, Located)
    return located


@pytest.fixture(scope="module")
def truth() -> Camera:
    c = json.loads((MEDIA / "practice-1.truth.json").read_text(encoding="utf-8"))["camera"]
    return Camera(
        *c["position_in"], c["yaw_deg"], c["pitch_deg"], c["roll_deg"], f_px=c["f_px"], k1=c["k1"], width_scale=1.0,
        width=c["width"], height=c["height"],
    )  # fmt: skip


def misses(calibration: Calibration, truth: Camera, y_ft: float) -> tuple[float, float]:
    """Boards and ft by which the lane's middle at a distance is misplaced."""
    point = np.array([0.0, 12 * y_ft, 0.0])
    x, y = calibration.camera.back_project(truth.project(point), 0.0) - point[:2]
    return float(x / 41.5 * 39), float(y / 12)


@pytest.mark.parametrize(("y_ft", "boards", "feet"), LIMITS)
def test_points_of_the_lane_lie_where_the_true_camera_puts_them(found, truth, y_ft, boards, feet):
    across, along = misses(found.calibration, truth, y_ft)
    assert abs(across) < boards
    assert abs(along) < feet


@pytest.mark.parametrize("y_ft", [15.0, 40.0, 58.0])
def test_the_claimed_uncertainty_covers(found, truth, y_ft):
    across, along = misses(found.calibration, truth, y_ft)
    u_boards, u_ft = lane_sigma(found.calibration.camera, found.calibration.covariance, y_ft)
    assert abs(across) < 3 * u_boards
    assert abs(along) < 3 * u_ft


def test_it_is_the_bowlers_lane_and_well_found(found):
    assert found.calibration.verdict == "good"
    assert not found.calibration.lane_doubtful
    assert found.calibration.how == "found"
    assert len(found.others_px) >= 1


def test_a_pixel_on_the_next_lane_takes_that_lane(found):
    other = locate(CLIP, tuple(map(float, found.others_px[0])))
    assert isinstance(other, Located)
    away = other.calibration.camera.x_in - found.calibration.camera.x_in
    # The renderer's lanes stand 71 and 82 in apart.
    assert min(abs(abs(away) - spacing) for spacing in (71.0, 82.0)) < 1.0
    index = np.array(SHARED)
    change = (other.calibration.camera.vector - found.calibration.camera.vector)[index]
    variance = sum(np.diag(one.calibration.covariance)[index] for one in (other, found))
    assert np.all(np.abs(change) < 3 * np.sqrt(variance + LANE_TO_LANE**2)), "they differ sideways only"


def test_a_pixel_on_no_lane_names_pixels_that_are(found):
    nowhere = locate(CLIP, (5.0, 5.0))
    assert isinstance(nowhere, Failure)
    assert nowhere.reason == "lane_not_there"
    assert all(f"{u},{v}" in nowhere.detail for u, v in found.others_px)


def test_same_clip_same_bytes(found):
    again = locate(CLIP)
    assert isinstance(again, Located)
    assert to_json(again.calibration) == to_json(found.calibration)


def test_noise_is_no_lane(tmp_path):
    rng = np.random.default_rng(3)
    noise = rng.integers(0, 255, (360, 640), dtype=np.uint8)
    clip = write_clip(tmp_path / "noise.mp4", even_times(10), luma=lambda _: noise)
    failure = locate(clip)
    assert isinstance(failure, Failure)
    assert failure.reason == "no_lane"
    assert failure.detail.startswith("noise.mp4: ")


def test_what_is_no_clip_is_an_error_of_the_reader(tmp_path):
    with pytest.raises(ClipError):
        locate(write_text(tmp_path / "text.mp4"))
