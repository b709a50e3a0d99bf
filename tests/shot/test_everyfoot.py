"""Curves at every foot of paths with closed forms, and their uncertainties against what the draws were made with."""

from __future__ import annotations

import numpy as np
import pytest
from lines import ARROWS, RADIUS_IN, SPEED_IN_S, draws_of, mirrored, parabola, smooth_of

from calibration.lane import BOARD_WIDTH_IN
from tracker.path.motion import AX, Y
from tracker.results import PathCurves
from tracker.shot.analyse import analyse

BEND = 0.002
SLOPE_60 = 0.08


def curves(states: np.ndarray, hand: str = "right", *, reaches: bool = True, timing=(0.0, 0.0), **spread) -> PathCurves:
    found = analyse(
        smooth_of(states, reaches_pins=reaches),
        draws_of(states, **spread),
        ARROWS,
        RADIUS_IN,
        hand=hand,
        timing_u=timing,
    )
    assert found.curves is not None
    return found.curves


def test_values_are_those_of_the_parabola():
    """dx/dy grows by ``BEND`` a foot at constant speed down the lane: acceleration is speed squared times that."""
    found = curves(parabola(17.5, SLOPE_60, BEND))
    ahead = found.distance_ft - 60.0
    slope = SLOPE_60 + BEND * ahead
    board = 17.5 + (SLOPE_60 * ahead + BEND * ahead**2 / 2) * 12 / BOARD_WIDTH_IN
    assert found.distance_ft == pytest.approx(np.arange(1.0 if found.distance_ft[0] == 1.0 else 2.0, 60.0))
    assert found.board == pytest.approx(board, abs=0.01)
    assert found.heading_deg == pytest.approx(np.degrees(np.arctan(slope)), abs=0.01)
    assert found.speed_mph == pytest.approx(SPEED_IN_S * np.hypot(1, slope) / 17.6, rel=1e-3)
    assert found.sideways_ft_s2 == pytest.approx(np.full(len(ahead), (SPEED_IN_S / 12) ** 2 * BEND), rel=1e-6)


def test_a_left_handers_mirror_image_has_the_same_curves():
    states = parabola(17.5, SLOPE_60, BEND)
    right, left = curves(states), curves(mirrored(states), "left")
    for name in ("board", "heading_deg", "speed_mph", "sideways_ft_s2"):
        assert getattr(left, name) == pytest.approx(getattr(right, name), abs=1e-9)


def test_uncertainties_are_the_scatter_of_the_draws():
    """Boards scatter by a common shift and a turn about 30 ft; headings by the turn; the model's own error is small."""
    found = curves(parabola(17.5, SLOPE_60), count=400, board_sd=0.6, slope_sd=0.01)
    wanted = np.hypot(0.6, 0.01 * (found.distance_ft * 12 - 360)) / BOARD_WIDTH_IN
    assert found.board_u == pytest.approx(wanted, rel=0.2)
    assert found.heading_deg_u == pytest.approx(np.full(len(wanted), np.degrees(0.01)), rel=0.2)


def test_timing_counts_for_speed_once_and_for_acceleration_twice():
    states = parabola(17.5, SLOPE_60, BEND)
    plain, timed = curves(states), curves(states, timing=(0.04, 0.02))
    added = {
        n: np.sqrt(getattr(timed, f"{n}_u") ** 2 - getattr(plain, f"{n}_u") ** 2) / getattr(plain, n)
        for n in ("speed_mph", "sideways_ft_s2")
    }
    assert added["speed_mph"][[0, -1]] == pytest.approx([0.04, 0.02], rel=0.05)
    assert added["sideways_ft_s2"][[0, -1]] == pytest.approx([0.08, 0.04], rel=0.05)
    assert timed.heading_deg_u == pytest.approx(plain.heading_deg_u)


def test_where_the_acceleration_stops_at_once_it_is_uncertain_though_no_draw_says_so():
    states = parabola(17.5, SLOPE_60, BEND)
    states[states[:, Y] > 45.0 * 12, AX] = 0.0
    found = curves(states, board_sd=1e-6, slope_sd=1e-9)
    near, far = (float(np.interp(ft, found.distance_ft, found.sideways_ft_s2_u)) for ft in (45.0, 55.0))
    assert near > 3 * far


def test_curves_end_at_the_last_sight_of_a_ball_that_is_lost():
    states = parabola(17.5, 0.01, to_ft=40.3)
    assert curves(states, reaches=False).distance_ft[-1] == 40.0


def test_a_ball_hardly_seen_has_no_curves():
    states = parabola(17.5, 0.01, from_ft=10.1, to_ft=10.8)
    found = analyse(smooth_of(states, reaches_pins=False), draws_of(states), ARROWS, RADIUS_IN, hand="right")
    assert found.curves is None


def test_curves_of_a_gutter_ball_end_at_the_gutter():
    """The ball's centre is over the edge, 20.75 in from the middle, at 38 ft: 0.4 boards a foot from board 15.2."""
    states = parabola(-8.3, -0.4 * BOARD_WIDTH_IN / 12, to_ft=58.0)
    found = curves(states, reaches=False, board_sd=0.01, slope_sd=1e-5)
    assert 37.0 <= found.distance_ft[-1] <= 43.0
    assert found.board[-1] < 0.5
