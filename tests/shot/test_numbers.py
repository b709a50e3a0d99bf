"""The numbers of paths whose numbers have closed forms."""

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from lines import LAYDOWN_FT, RADIUS_IN, SPEED_IN_S, curves_of, mirrored, numbers_of, parabola

from calibration.lane import BOARD_WIDTH_IN, PIN_BELLY_RADIUS_IN
from tracker.shot.curves import at, crossing, first_contact
from tracker.shot.numbers import Chevron, shot_numbers

POCKET_IN = 2.66
"""2.5 boards right of the head pin."""


def _contact(offset_in: float, slope: float = 0.0) -> tuple[float, bool]:
    y, misses = first_contact(np.array([offset_in]), np.array([660.0]), np.array([slope]), RADIUS_IN)
    return float(y[0]) / 12, bool(misses[0])


# Geometry of a ball of radius 4.2975 in and a pin belly of 2.383 in, worked by hand: 60 ft - sqrt(S^2 - 2.66^2).
def test_pocket_is_touched_half_a_foot_before_the_head_pin():
    assert _contact(POCKET_IN) == (pytest.approx(59.489, abs=5e-4), False)


def test_head_on_contact_is_one_reach_before_the_spot():
    assert _contact(0.0) == (pytest.approx(60 - (RADIUS_IN + PIN_BELLY_RADIUS_IN) / 12), False)


@given(st.floats(-17.0, 17.0), st.floats(-0.1, 0.1))
def test_contact_is_on_a_pin_and_on_no_other(x_in, slope):
    feet, misses = _contact(x_in, slope)
    assume(not misses)
    x = x_in + slope * (12 * feet - 660.0)
    rows = ((0,), (-6, 6), (-12, 0, 12), (-18, -6, 6, 18))
    pins = [(p, 720 + k * 12 * math.sqrt(3) / 2) for k, row in enumerate(rows) for p in row]
    gaps = [math.hypot(p - x, q - 12 * feet) for p, q in pins]
    assert min(gaps) == pytest.approx(RADIUS_IN + PIN_BELLY_RADIUS_IN, abs=1e-6)


def test_ball_that_misses_every_pin_is_cut_at_59_and_a_half_feet():
    assert _contact(26.0) == (59.5, True)


def test_straight_line_has_no_hook_and_its_own_numbers():
    slope = math.tan(math.radians(1.2))
    n = numbers_of(parabola(17.5, slope))
    for name in ("onset_ft", "breakpoint_ft", "breakpoint_board", "roll_ft", "slip_end_ft", "hook_length_ft"):
        assert math.isnan(n[name]), name
    assert n["turn_deg"] == pytest.approx(0.0, abs=1e-9)
    assert n["entry_angle_deg"] == pytest.approx(1.2)
    assert n["launch_angle_deg"] == pytest.approx(-1.2)
    assert n["board_15ft"] == pytest.approx(17.5 - slope * 45 * 12 / BOARD_WIDTH_IN)
    assert n["laydown_board"] == pytest.approx(17.5 - slope * (60 - LAYDOWN_FT) * 12 / BOARD_WIDTH_IN)
    assert n["board_60ft"] == pytest.approx(17.5)
    assert n["speed_pins_mph"] == pytest.approx(SPEED_IN_S * math.hypot(1, slope) / 17.6)
    assert n["speed_release_mph"] == pytest.approx(n["speed_pins_mph"])


@pytest.mark.parametrize(("angle_deg", "boards"), [(2, 0.20), (4, 0.40), (6, 0.60)])
def test_board_at_60_ft_is_higher_than_at_contact(angle_deg, boards):
    slope = math.tan(math.radians(angle_deg))
    at_contact = 20 - POCKET_IN / BOARD_WIDTH_IN
    ahead = (60 - 59.489) * 12 * slope / BOARD_WIDTH_IN
    n = numbers_of(parabola(at_contact + ahead, slope))
    assert n["contact_board"] == pytest.approx(at_contact, abs=0.03)
    assert n["board_60ft"] - n["contact_board"] == pytest.approx(boards, abs=0.01)


def test_even_bend_has_its_onset_and_breakpoint_where_the_closed_form_says():
    slope_60, bend = math.tan(math.radians(4.0)), 0.0025
    n = numbers_of(parabola(17.5, slope_60, bend))
    at_15 = slope_60 - 45 * bend
    onset = 15 + (math.tan(math.atan(at_15) + math.radians(1.0)) - at_15) / bend
    assert n["onset_ft"] == pytest.approx(onset, abs=1e-3)
    breakpoint_ft = 60 - slope_60 / bend
    assert n["breakpoint_ft"] == pytest.approx(breakpoint_ft, abs=1e-3)
    low = 17.5 - 12 * slope_60**2 / (2 * bend) / BOARD_WIDTH_IN
    assert n["breakpoint_board"] == pytest.approx(low, abs=2e-3)
    assert n["boards_out"] == pytest.approx(n["laydown_board"] - low, abs=2e-3)
    assert n["boards_back"] == pytest.approx(n["contact_board"] - low, abs=2e-3)
    middle = n["contact_ft"] - 0.5
    assert n["entry_angle_deg"] == pytest.approx(math.degrees(math.atan(slope_60 - bend * (60 - middle))), abs=0.01)
    start_deg = math.degrees(math.atan(at_15))
    assert n["turn_deg"] == pytest.approx(n["entry_angle_deg"] - start_deg, abs=1e-6)


def test_ball_that_bends_to_the_pins_has_not_stopped_slipping():
    n = numbers_of(parabola(17.5, math.tan(math.radians(4.0)), 0.0025))
    assert [math.isnan(n[k]) for k in ("roll_ft", "slip_end_ft", "hook_length_ft")] == [True] * 3


def test_ball_that_bends_only_in_between_rolls_where_nine_tenths_are_done():
    bend, begin, end = 0.004, 30.0, 50.0
    states = parabola(17.5, 0.0)
    y = states[:, 3] / 12
    slope = bend * np.clip(y - begin, 0, end - begin)
    states[:, 1] = -slope * SPEED_IN_S
    states[:, 2] = np.where((y > begin) & (y < end), -bend / 12 * SPEED_IN_S**2, 0.0)
    states[:, 0] = -np.concatenate([[0], np.cumsum((slope[1:] + slope[:-1]) / 2 * np.diff(y) * 12)])
    states[:, 0] += -2.66 - states[-1, 0]
    n = numbers_of(states)
    turn = math.degrees(math.atan(bend * (end - begin)))
    assert n["turn_deg"] == pytest.approx(turn, abs=1e-3)
    assert n["onset_ft"] == pytest.approx(begin + math.tan(math.radians(1.0)) / bend, abs=0.1)
    assert n["roll_ft"] == pytest.approx(begin + math.tan(math.radians(0.9 * turn)) / bend, abs=0.1)
    assert n["slip_end_ft"] == pytest.approx(end, abs=0.3)
    assert n["hook_length_ft"] == pytest.approx(n["roll_ft"] - n["onset_ft"])


ANGLES, BENDS, BOARDS = st.floats(0.5, 6.0), st.floats(0.0, 0.004), st.floats(8.0, 30.0)


@given(ANGLES, BENDS, BOARDS)
def test_left_hander_is_the_mirror_image(angle_deg, bend, board):
    states = parabola(board, math.tan(math.radians(angle_deg)), bend)
    right, left = numbers_of(states, "right"), numbers_of(mirrored(states), "left")
    assert list(left.values()) == pytest.approx(list(right.values()), nan_ok=True, abs=1e-9)


@given(ANGLES, BENDS, st.floats(-3.0, 3.0))
def test_moving_the_path_sideways_moves_only_boards(angle_deg, bend, boards):
    slope = math.tan(math.radians(angle_deg))
    here, there = numbers_of(parabola(16.0, slope, bend)), numbers_of(parabola(16.0 + boards, slope, bend))
    for name in ("onset_ft", "breakpoint_ft", "launch_angle_deg"):
        assert there[name] == pytest.approx(here[name], nan_ok=True, abs=2e-3)
    for name in ("laydown_board", "board_15ft"):
        assert there[name] - here[name] == pytest.approx(boards, abs=1e-6)


def test_arrows_are_crossed_on_the_chevron():
    slope = math.tan(math.radians(1.0))
    n = numbers_of(parabola(17.5, slope))
    board = n["arrows_board"]
    feet = 60 - (17.5 - board) * BOARD_WIDTH_IN / 12 / slope
    assert feet == pytest.approx(15.8 - 1.1 * abs(board - 20) / 5, abs=0.02)


def test_early_end_has_no_contact():
    n = numbers_of(parabola(17.5, 0.05, to_ft=50.0), reaches_pins=False)
    for name in ("contact_ft", "contact_board", "entry_angle_deg", "board_60ft", "speed_pins_mph"):
        assert math.isnan(n[name]), name
    assert math.isfinite(n["board_15ft"])


def test_laydown_is_not_extrapolated_by_more_than_three_feet():
    near, far = (numbers_of(parabola(17.5, 0.02, from_ft=f)) for f in (4.0, 5.5))
    assert near["laydown_board"] == pytest.approx(17.5 - 0.02 * (60 - LAYDOWN_FT) * 12 / BOARD_WIDTH_IN, abs=1e-6)
    assert math.isnan(far["laydown_board"])


def test_slowing_ball_is_faster_at_release():
    states = parabola(17.5, 0.0)
    states[:, 4] = SPEED_IN_S * (1 - 0.002 * states[:, 3] / 12)
    n = numbers_of(states)
    assert n["speed_release_mph"] == pytest.approx(SPEED_IN_S / 17.6 * (1 - 0.002 * LAYDOWN_FT), rel=1e-4)
    assert n["speed_pins_mph"] == pytest.approx(SPEED_IN_S / 17.6 * (1 - 0.002 * 59.2), rel=1e-3)


def test_values_outside_a_curve_are_missing():
    c = curves_of(parabola(17.5, 0.02))
    assert np.isnan(at(c.board, c.distance_ft, 75.0)).all()
    assert np.isnan(at(c.board, c.distance_ft, np.array([np.nan]))).all()
    assert np.isnan(crossing(c.board, 39.0, c.distance_ft, 15.0)).all()


def test_crossing_takes_the_first_rise_beyond_a_distance():
    feet = np.arange(0, 20, 0.1)
    wave = np.sin(2 * np.pi * feet / 5)[None]
    assert crossing(wave, 0.0, feet, 6.0)[0] == pytest.approx(10.0, abs=1e-6)


def test_a_path_that_hardly_moves_has_no_hook():
    n = numbers_of(parabola(17.5, 0.02, from_ft=20.01, to_ft=20.05), reaches_pins=False)
    assert all(math.isnan(n[name]) for name in ("onset_ft", "turn_deg", "slip_end_ft", "entry_angle_deg"))


def test_a_path_whose_turning_is_nowhere_a_number_has_no_end_of_hook():
    """As of a ball that comes back: no warning, and nothing that needs the turning."""
    c = curves_of(parabola(17.5, 0.06, 0.0025, from_ft=16.0))
    blank = dataclasses.replace(c, turning=np.full_like(c.turning, np.nan))
    found = shot_numbers(blank, np.array([LAYDOWN_FT]), Chevron(np.array([15.8]), np.array([1.1]))).values
    assert all(math.isnan(found[name][0]) for name in ("roll_ft", "slip_end_ft", "hook_length_ft"))
