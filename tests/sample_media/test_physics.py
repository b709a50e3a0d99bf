"""The renderer's ball against closed forms and worked cases of the slip-and-roll sphere."""

import math

import numpy as np
import pytest

from calibration.lane import board_from_x
from sample_media.physics import GRAVITY_IN, MPH_IN, simulate
from sample_media.spec import BallSpec, LaneSpec, ShotSpec


def _lane(mu_oil: float, mu_dry: float, oil_ft: float = 40.0) -> LaneSpec:
    return LaneSpec(oil_ft=oil_ft, taper_ft=0.0, mu_oil=mu_oil, mu_dry=mu_dry, outside_short_ft=0.0, outside_ratio=1.0)


def _shot(board: float, launch_deg: float, speed_mph: float, **axis: float) -> ShotSpec:
    return ShotSpec(laydown_board=board, launch_deg=launch_deg, speed_mph=speed_mph, laydown_ft=0.0, **axis)


CASE_D_AXIS = {"rev_rpm": 350.0, "rotation_deg": 45.0, "tilt_deg": 15.0}
BALL_D = BallSpec(diameter_in=2 * 4.2975, gyration_in=2.50)


def _heading_deg(path):
    return np.degrees(np.arctan2(-path.vx, path.vy))


# Reference values of this module: closed form and an independent integration of the equations of motion of a sphere
# with Coulomb slip (our own worked cases; g = 9.80665 m/s^2).
def test_uniform_friction_hook_matches_the_closed_form():
    path = simulate(_shot(8.0, 0.0, 18.0, **CASE_D_AXIS), BALL_D, _lane(0.10, 0.10), dt_s=1e-3)
    roll = int(np.argmax(path.slip == 0))
    assert path.slip[0] == pytest.approx(5.97553 / 0.0254, rel=1e-5)
    assert path.t_s[roll] == pytest.approx(1.54068, abs=1.1e-3)
    assert np.interp(1.54068, path.t_s, path.y_in) / 12 == pytest.approx(37.278, abs=2e-3)
    boards_left = board_from_x(path.x_in, "right") - 8
    assert np.interp(1.54068, path.t_s, boards_left) == pytest.approx(19.692, abs=2e-3)
    assert np.hypot(path.vx[roll], path.vy[roll]) / MPH_IN == pytest.approx(15.074, abs=1e-3)
    assert _heading_deg(path)[roll] == pytest.approx(5.8851, abs=1e-3)


def test_two_zone_hook_matches_the_worked_case():
    path = simulate(_shot(20.0, 2.0, 18.0, **CASE_D_AXIS), BALL_D, _lane(0.04, 0.20), dt_s=5e-4)
    ft, board = path.y_in / 12, board_from_x(path.x_in, "right")
    assert np.interp(15, ft, board) == pytest.approx(15.193, abs=3e-3)
    assert board.min() == pytest.approx(12.380, abs=3e-3)
    assert ft[np.argmin(board)] == pytest.approx(37.49, abs=0.03)
    assert np.interp(40, ft, board) == pytest.approx(12.416, abs=3e-3)
    roll = int(np.argmax(path.slip == 0))
    assert ft[roll] == pytest.approx(50.658, abs=0.04)
    assert np.interp(60, ft, board) == pytest.approx(23.592, abs=0.02)
    assert np.interp(60, ft, path.t_s) == pytest.approx(2.4486, abs=1e-3)
    assert np.interp(60, ft, _heading_deg(path)) == pytest.approx(3.885, abs=2e-3)


def test_straight_ball_matches_the_worked_case():
    axis = {"rev_rpm": 150.0, "rotation_deg": 10.0, "tilt_deg": 5.0}
    ball = BallSpec(diameter_in=2 * 4.2975, gyration_in=2.70)
    path = simulate(_shot(20.0, 0.0, 16.0, **axis), ball, _lane(0.04, 0.12), dt_s=1e-3)
    ft = path.y_in / 12
    assert np.interp(60, ft, path.t_s) == pytest.approx(2.8259, abs=1e-3)
    assert np.interp(60, ft, board_from_x(path.x_in, "right")) == pytest.approx(23.861, abs=0.01)
    assert np.interp(60, ft, np.hypot(path.vx, path.vy)) / MPH_IN == pytest.approx(12.538, abs=2e-3)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_angular_momentum_about_the_lane_is_conserved(hand):
    ball = BallSpec()
    path = simulate(ShotSpec(hand=hand), ball, LaneSpec(), dt_s=1e-3)
    r, k2 = ball.radius_in, ball.gyration_in**2
    lx, ly = r * path.vx + k2 * path.wy, r * path.vy - k2 * path.wx
    scale = math.hypot(lx[0], ly[0])
    assert np.ptp(lx) / scale < 1e-9
    assert np.ptp(ly) / scale < 1e-9


def test_slip_keeps_its_direction_on_any_oil():
    ball = BallSpec()
    path = simulate(ShotSpec(), ball, LaneSpec(), dt_s=1e-3)
    sliding = path.slip > 1.0
    ux = path.vx - ball.radius_in * path.wy
    uy = path.vy + ball.radius_in * path.wx
    angle = np.arctan2(uy, ux)[sliding]
    assert sliding.sum() > 100
    assert np.ptp(angle) < 1e-8


def test_left_hander_is_the_mirror_image():
    right = simulate(ShotSpec(hand="right"), BallSpec(), LaneSpec(), dt_s=2e-3)
    left = simulate(ShotSpec(hand="left"), BallSpec(), LaneSpec(), dt_s=2e-3)
    assert left.x_in == pytest.approx(-right.x_in, abs=1e-9)
    assert left.y_in == pytest.approx(right.y_in, abs=1e-9)


def test_wide_ball_falls_into_the_gutter_and_stays_there():
    path = simulate(ShotSpec(laydown_board=5.0, launch_deg=4.0), BallSpec(), LaneSpec(), dt_s=2e-3)
    assert not path.on_lane[-1]
    fallen = np.flatnonzero(~path.on_lane)
    assert path.on_lane[: fallen[0]].all()
    assert not path.on_lane[fallen[0] :].any()


def test_sliding_slows_by_friction_times_gravity():
    path = simulate(ShotSpec(rotation_deg=0, tilt_deg=0, launch_deg=0), BallSpec(), _lane(0.08, 0.08), dt_s=1e-3)
    assert np.diff(path.vy)[:50] / 1e-3 == pytest.approx(-0.08 * GRAVITY_IN, rel=1e-6)


def test_a_ball_that_does_not_move_is_refused():
    with pytest.raises(ValueError, match="speed_mph"):
        simulate(ShotSpec(speed_mph=0.0), BallSpec(), LaneSpec())
