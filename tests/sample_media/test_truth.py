"""The numbers of a path, on paths whose numbers are known."""

import numpy as np
import pytest

from calibration.lane import x_from_board
from sample_media.physics import DensePath, simulate
from sample_media.spec import BallSpec, LaneSpec, ShotSpec
from sample_media.truth import shot_numbers


def _parabola(hand: str) -> DensePath:
    """Boards 12 - 0.2 (ft - 2) + 0.004 (ft - 2)^2 at 25 ft/s: breakpoint at 27 ft, board 9.5."""
    t = np.arange(0, 2.3, 1e-3)
    ft = 2 + 25 * t
    board = 12 - 0.2 * (ft - 2) + 0.004 * (ft - 2) ** 2
    x = x_from_board(board, hand)
    slip = np.where(ft < 40, 50.0, 0.0)
    one = np.ones_like(t)
    vx = np.gradient(x, t, edge_order=2)
    return DensePath(t, x, ft * 12, vx, 300 * one, 0 * t, 0 * t, 0 * t, slip, 0.1 * one, one > 0)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_parabola(hand):
    n = shot_numbers(_parabola(hand), hand, LaneSpec(arrow_centre_ft=16.0, arrow_slope_ft=0.0))
    board_in = 41.5 / 39
    assert n["laydown_board"] == pytest.approx(12)
    assert n["breakpoint_board"] == pytest.approx(9.5, abs=1e-4)
    assert n["breakpoint_ft"] == pytest.approx(27, abs=0.03)
    assert n["board_15ft"] == pytest.approx(12 - 2.6 + 0.676, abs=1e-4)
    assert n["arrows_board"] == pytest.approx(12 - 2.8 + 0.784, abs=1e-4)
    assert n["launch_angle_deg"] == pytest.approx(np.degrees(np.arctan(0.18 * board_in / 12)), abs=0.01)
    slope = (0.008 * (59.0 - 2) - 0.2) * board_in / 12
    assert n["entry_angle_deg"] == pytest.approx(np.degrees(np.arctan(slope)), abs=0.02)
    onset_slope = np.tan(np.radians(1.0) + np.arctan((0.008 * 13 - 0.2) * board_in / 12)) * 12 / board_in
    assert n["onset_ft"] == pytest.approx(2 + (onset_slope + 0.2) / 0.008, abs=0.05)
    assert n["slip_end_ft"] == pytest.approx(40, abs=0.03)
    assert n["phase_at_pins"] == "roll"
    assert n["speed_pins_mph"] == pytest.approx(300 / 17.6, rel=1e-3)


def test_straight_ball_has_no_hook():
    shot = ShotSpec(rotation_deg=0, tilt_deg=0, launch_deg=0.5)
    n = shot_numbers(simulate(shot, BallSpec(), LaneSpec()).until(2.2), "right", LaneSpec())
    assert n["onset_ft"] is None
    assert n["breakpoint_ft"] is None
    assert n["turn_deg"] == pytest.approx(0, abs=1e-6)
