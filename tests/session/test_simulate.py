"""The model's simulator: worked cases of another program, mirror images, what more oil and more grip do, blocks."""

from __future__ import annotations

import time
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lanes.pieces import lane, plain_ball, release

from calibration.lane import BALL_RADIUS_IN
from tracker.session import simulate as simulator
from tracker.session.lanemap import LANE_SIZE, LaneMaps, hats
from tracker.session.release import GRIP_KNOTS_FT, Covers, Releases
from tracker.session.simulate import Paths, simulate

SHARP = {"log_taper_ft": -2.0, "buffed": 0.0, "contrast": 0.0, "shorter_ft": 0.0}
# mph, level rpm, rotation, right, board, k; oil and dry, end; board, mph, heading, time at 60 ft; breakpoint.
# Own derivation in closed form for friction that steps from one value to the other, confirmed by Runge-Kutta.
CASES = {
    "G": ((18, 350, 15, 45, 2.0, 20.0, 2.50), (0.04, 0.20, 40.0), (23.592, 15.074, 3.885, 2.4486), (12.380, 37.49)),
    "H": ((18, 350, 15, 45, 2.0, 20.0, 2.50), (0.04, 0.20, 44.0), (21.310, 15.074, 3.885, 2.4340), None),
    "I": ((16, 250, 10, 30, 1.0, 15.0, 2.50), (0.04, 0.20, 40.0), (22.328, 13.357, 2.416, 2.7983), (12.572, 24.00)),
    "K": ((16, 150, 5, 10, 0.0, 20.0, 2.70), (0.04, 0.12, 40.0), (23.861, 12.538, 0.858, 2.8259), None),
}


def one(maps, covers, **thrown) -> Paths:
    return simulate(maps, covers, release(**thrown))


@pytest.fixture
def from_foul_line(monkeypatch):
    """The cases are thrown at the foul line; releases are counted from 1.4 ft."""
    grid = np.linspace(0.0, 720.0, simulator.GRID_STEPS)
    monkeypatch.setattr(simulator, "GRID_IN", grid)
    monkeypatch.setattr(simulator, "SHOT_HATS", hats(grid / 12, GRIP_KNOTS_FT))


@pytest.mark.usefixtures("from_foul_line")
@pytest.mark.parametrize("case", CASES)
def test_worked_cases(case):
    """The step of friction is half a foot wide here. A ball of 4.2975 in moves alike with the same R W and k / R."""
    (mph, rpm, tilt, rotation, right, board, k), (oil, dry, end), (board_60, mph_60, deg, t_s), turn = CASES[case]
    maps = lane(log_oil=np.log(oil), log_ratio=np.log(dry / oil), end_ft=end, **SHARP)
    scale = BALL_RADIUS_IN / 4.2975
    spin = {"level_rpm": rpm * np.cos(np.radians(tilt)) / scale, "rotation_deg": rotation}
    found = one(maps, plain_ball(gyration_in=k * scale), board=board, launch_deg=right, speed_mph=mph, **spin)
    assert found.board[0, -1] == pytest.approx(board_60, abs=0.1)
    assert found.speed_mph[0, -1] == pytest.approx(mph_60, abs=0.005)
    assert found.heading_deg[0, -1] == pytest.approx(deg, abs=0.005)
    assert found.t_s[0, -1] == pytest.approx(t_s, abs=0.002)
    if turn is not None:
        assert found.breakpoint_board[0] == pytest.approx(turn[0], abs=0.05)
        assert found.breakpoint_ft[0] == pytest.approx(turn[1], abs=0.3)


def test_first_contact_in_the_pocket():
    """A straight ball at board 17.5 meets the head pin at 59.489 ft (geometry of two circles)."""
    found = one(lane(log_oil=-5.8), plain_ball(), board=17.5, launch_deg=0.0, level_rpm=1.0)
    assert found.contact_ft[0] == pytest.approx(59.489, abs=0.01)
    assert found.contact_board[0] == pytest.approx(17.5, abs=0.02)


def test_hands_are_mirror_images():
    random = np.random.default_rng(1)
    maps = LaneMaps.from_deviates(random.standard_normal((1, LANE_SIZE)))
    right, left = (one(maps, plain_ball(), hand=hand, board=17.0) for hand in ("right", "left"))
    for f in fields(Paths):
        if f.name != "hand":
            np.testing.assert_allclose(getattr(right, f.name), getattr(left, f.name), atol=1e-9)


lines = st.tuples(st.floats(12, 28), st.floats(0.5, 4.0), st.floats(15.5, 19.0), st.floats(220, 420), st.floats(25, 70))


@settings(max_examples=40, deadline=None)
@given(line=lines, more_ft=st.floats(1.0, 6.0))
def test_longer_oil_hooks_later_and_less(line, more_ft):
    board, launch, mph, rpm, rotation = line
    thrown = {"board": board, "launch_deg": launch, "speed_mph": mph, "level_rpm": rpm, "rotation_deg": rotation}
    short, long = (one(lane(end_ft=38.0 + more), plain_ball(), **thrown) for more in (0.0, more_ft))
    assert long.contact_board[0] <= short.contact_board[0] + 1e-6
    if np.isfinite(short.onset_ft[0]) and np.isfinite(long.onset_ft[0]):
        assert long.onset_ft[0] >= short.onset_ft[0] - 1e-6


@settings(max_examples=40, deadline=None)
@given(line=lines, grip=st.floats(0.02, 0.4))
def test_more_grip_hooks_earlier(line, grip):
    board, launch, mph, rpm, rotation = line
    thrown = {"board": board, "launch_deg": launch, "speed_mph": mph, "level_rpm": rpm, "rotation_deg": rotation}
    less, more = (one(lane(), plain_ball(log_grip=g), **thrown) for g in (0.0, grip))
    assert np.nan_to_num(more.onset_ft[0], nan=99.0) <= np.nan_to_num(less.onset_ft[0], nan=99.0) + 1e-6
    assert np.nan_to_num(more.slip_end_ft[0], nan=99.0) <= np.nan_to_num(less.slip_end_ft[0], nan=99.0) + 1e-6


def many(count: int) -> tuple[LaneMaps, Covers, Releases]:
    random = np.random.default_rng(2)
    maps = LaneMaps.from_deviates(0.7 * random.standard_normal((count, LANE_SIZE)))
    u = random.uniform
    thrown = Releases("right", u(12, 26, count), u(0, 4, count), u(15, 19, count), u(250, 400, count), u(30, 60, count))
    return maps, plain_ball(count), thrown


def test_many_at_once_are_what_each_is_alone():
    maps, covers, thrown = many(300)
    together = simulate(maps, covers, thrown)
    for k in (0, 127, 128, 299):
        row = np.array([k])
        alone = Releases("right", *(getattr(thrown, f.name)[row] for f in fields(Releases) if f.name != "hand"))
        found = simulate(maps.take(row), covers.take(row), alone)
        assert found.contact_board[0] == together.contact_board[k]


def test_friction_is_looked_up_where_the_ball_runs(monkeypatch):
    """Three times as many turns of the iteration move hardly any contact."""
    maps, covers, thrown = many(300)
    usual = simulate(maps, covers, thrown).contact_board
    monkeypatch.setattr(simulator, "TURNS", 12)
    apart = np.abs(simulate(maps, covers, thrown).contact_board - usual)
    assert np.quantile(apart, 0.98) < 0.01


def test_a_thousand_cost_much_less_than_a_thousand_singles():
    maps, covers, thrown = many(1000)
    begun = time.process_time()
    simulate(maps, covers, thrown)
    together = time.process_time() - begun
    row = np.array([0])
    alone = Releases("right", *(getattr(thrown, f.name)[row] for f in fields(Releases) if f.name != "hand"))
    begun = time.process_time()
    for _ in range(50):
        simulate(maps.take(row), covers.take(row), alone)
    assert together < (time.process_time() - begun) / 50 * 1000 / 4


def test_gutter_is_said():
    found = one(lane(), plain_ball(), board=8.0, launch_deg=4.0)
    assert found.gutter[0]
    assert not one(lane(), plain_ball(), board=18.0).gutter[0]
