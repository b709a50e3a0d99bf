"""Worked numbers of a plane seen by a pinhole, computed apart from this code (derived, six decimals)."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from calibration.camera import Camera
from calibration.homography import (
    apply_homography,
    fit_homography,
    focal_length,
    focal_terms,
    homography_covariance,
    point_sigma,
)
from calibration.lane import BOARD_WIDTH_IN

CENTRE_PX = (960.0, 540.0)
CORNERS_FT = np.array([(-1.729167, 0), (1.729167, 0), (1.729167, 60), (-1.729167, 60)])
CORNERS_PX = np.array(
    [(738.480777, 1045.787425), (1152.610329, 1044.771337), (1024.151159, 496.460206), (952.264928, 497.320581)]
)
H_FT = np.array([[117.781879, 79.204297, 944.800927], [-2.467648, 30.322971, 1045.281208], [-0.002080, 0.079420, 1.0]])


def worked_camera(yaw_deg: float = -1.5, roll_deg: float = 0.8) -> Camera:
    """12 ft behind the foul line, 5.5 ft high, 0.5 ft right, pitch 6 down, yaw 1.5 left, roll 0.8, f 1500."""
    return Camera(6, -144, 66, yaw_deg, 6.0, roll_deg, 1500, 0, 1, width=1920, height=1080)


def in_feet(camera: Camera) -> np.ndarray:
    h = camera.homography() @ np.diag([12.0, 12.0, 1.0])
    return h / h[2, 2]


def test_camera_projects_the_worked_corners():
    corners = np.column_stack([CORNERS_FT * 12, np.zeros(4)])
    corners[:, 0] = np.sign(corners[:, 0]) * 20.75
    assert_allclose(worked_camera().project(corners), CORNERS_PX, atol=1e-5)


def test_homography_of_the_corners_is_the_worked_one():
    h = fit_homography(np.column_stack([np.sign(CORNERS_FT[:, 0]) * 20.75 / 12, CORNERS_FT[:, 1]]), CORNERS_PX)
    assert_allclose(h, H_FT, atol=2e-5)
    assert_allclose(in_feet(worked_camera()), H_FT, atol=1e-6)


def test_both_constraints_give_the_focal_length():
    squares, b = focal_terms(in_feet(worked_camera()), CENTRE_PX).T
    assert_allclose(np.sqrt(b / squares), 1500.0, atol=1e-6)


@pytest.mark.parametrize(("yaw", "share"), [(0.0, 0.0), (-1.5, None)])
def test_square_behind_only_the_equal_norm_constraint_counts(yaw, share):
    camera = worked_camera(yaw, 0.0 if yaw == 0 else 0.8)
    h = in_feet(camera)
    estimate = focal_length(h, CENTRE_PX, homography_covariance(h, CORNERS_FT))
    assert estimate.f_px == pytest.approx(1500.0, abs=1e-3)
    assert np.isfinite(estimate.sd_px)
    if share is not None:
        assert abs(focal_terms(h, CENTRE_PX)[0, 0]) < 1e-12
        assert estimate.orthogonality_weight == pytest.approx(share, abs=1e-6)


def test_claimed_sd_of_the_focal_length_is_its_scatter():
    rng = np.random.default_rng(3)
    h = in_feet(worked_camera())
    points, pixels = CORNERS_FT, apply_homography(h, CORNERS_FT)
    seen = [fit_homography(points, pixels + rng.normal(0, 0.05, pixels.shape)) for _ in range(150)]
    focals = [focal_length(g, CENTRE_PX, homography_covariance(g, points, 0.05)) for g in seen if g is not None]
    assert np.std([e.f_px for e in focals]) == pytest.approx(np.median([e.sd_px for e in focals]), rel=0.25)


@pytest.mark.parametrize(
    ("y_ft", "sd_boards", "sd_ft", "px_per_board"),
    [(0, 0.095, 0.019, 10.62), (15, 0.207, 0.091, 4.84), (40, 0.395, 0.331, 2.53), (60, 0.545, 0.631, 1.82)],
)
def test_sensitivity_to_one_pixel(y_ft, sd_boards, sd_ft, px_per_board):
    h = in_feet(worked_camera())
    sigma = point_sigma(h, (0.0, y_ft))
    assert sigma[0] * 12 / BOARD_WIDTH_IN == pytest.approx(sd_boards, abs=6e-4)
    assert sigma[1] == pytest.approx(sd_ft, abs=6e-4)
    step = BOARD_WIDTH_IN / 12
    apart = apply_homography(h, (step / 2, y_ft)) - apply_homography(h, (-step / 2, y_ft))
    assert np.hypot(*apart) == pytest.approx(px_per_board, rel=0.015)


@pytest.mark.parametrize(("y_ft", "beyond_ft"), [(15, 1.881), (40, 3.622), (60, 5.015)])
def test_a_balls_centre_put_on_the_lane_plane_lands_beyond_the_truth(y_ft, beyond_ft):
    camera, radius = worked_camera(), 4.2975
    pixel = camera.project((6.0, 12.0 * y_ft, radius))
    assert camera.back_project(pixel, 0.0)[1] / 12 - y_ft == pytest.approx(beyond_ft, abs=1e-3)
    assert_allclose(camera.back_project(pixel, radius), (6.0, 12.0 * y_ft), atol=1e-6)
