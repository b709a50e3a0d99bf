"""The closed-form slide against worked cases, conserved quantities and limits."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from rolls import FT, G_ZONES, I_, TEXTBOOK, D, E, F, G, J, K, at, case, roll_ft, rolled

from calibration.lane import board_from_x
from tracker.physics.slide import Launch, slide
from tracker.physics.spin import launch_of, motion_of, rolling_velocity


@pytest.mark.parametrize("name", TEXTBOOK)
def test_textbook_cases_without_side_spin(name):
    book = TEXTBOOK[name]
    y = np.linspace(0.0, 1.1 * book.distance, 40_001)
    path = slide(launch_of(motion_of(book.thrown, "right"), book.mass), np.full((1, len(y)), book.friction), y)
    start = int(np.argmin(path.slipping[0]))
    assert y[start] == pytest.approx(book.distance, rel=1e-4)
    assert path.t_s[0, start] == pytest.approx(book.time_s, rel=1e-4)
    assert path.vy_in_s[0, -1] == pytest.approx(book.speed_then, rel=5e-5)
    assert np.ptp(path.x_in) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("thrown", "mu", "roll", "ends"),
    [
        (D, 0.10, (37.278, 1.54068, 19.692), (15.074, 5.8851)),
        (E, 0.10, (41.625, 1.74096, 25.145), (14.708, 6.8197)),
        (F, 0.12, (23.359, 1.08889, 7.381), (13.279, 3.5390)),
    ],
)
def test_uniform_friction_cases(thrown, mu, roll, ends):
    path = rolled(thrown, ((0.0, mu),))
    where, when, boards = roll
    assert roll_ft(path) == pytest.approx(where, abs=0.03)
    then = at(path, where)
    assert then["b"] - 20.0 == pytest.approx(boards, abs=0.02)
    assert then["t"] == pytest.approx(when, abs=2e-4)
    assert (then["mph"], then["deg"]) == pytest.approx(ends, abs=3e-3)


@pytest.mark.parametrize(
    ("thrown", "zones", "roll", "sixty"),
    [
        (G, G_ZONES, 50.658, (2.4486, 23.592, 15.074, 3.885)),
        # H: four feet more oil than G are 2.28 boards less, at the same angle
        (G, ((0, 0.04), (44, 0.20)), 53.858, (2.4340, 21.310, 15.074, 3.885)),
        (I_, G_ZONES, 45.650, (2.7983, 22.328, 13.357, 2.416)),
        (J, ((0, 0.03), (20, 0.06), (40, 0.20)), 49.173, (2.5934, 31.535, 14.334, 5.712)),
    ],
)
def test_zoned_cases(thrown, zones, roll, sixty):
    path = rolled(thrown, zones, 0.05)
    assert roll_ft(path) == pytest.approx(roll, abs=0.01)
    end = at(path, 60.0)
    assert (end["t"], end["b"]) == pytest.approx(sixty[:2], abs=0.02)
    assert end["t"] == pytest.approx(sixty[0], abs=3e-4)
    assert (end["mph"], end["deg"]) == pytest.approx(sixty[2:], abs=2e-3)


@pytest.mark.parametrize(
    ("thrown", "zones", "least"),
    [
        (G, G_ZONES, (12.380, 37.49)),
        (I_, G_ZONES, (12.572, 24.00)),
        (J, ((0, 0.03), (20, 0.06), (40, 0.20)), (12.591, 31.91)),
    ],
)
def test_breakpoints_of_the_zoned_cases(thrown, zones, least):
    path = rolled(thrown, zones, 0.05)
    board = board_from_x(path.x_in[0], "right")
    assert board.min() == pytest.approx(least[0], abs=0.01)
    assert path.y_in[0, board.argmin()] / FT == pytest.approx(least[1], abs=0.03)


def test_two_zones_on_the_way():
    path = rolled(G, G_ZONES, 0.05)
    early, end_of_oil = at(path, 15.0), at(path, 40.0)
    assert (early["t"], early["b"]) == pytest.approx((0.5756, 15.193), abs=1e-3)
    assert (end_of_oil["t"], end_of_oil["b"]) == pytest.approx((1.5684, 12.416), abs=2e-3)
    assert (end_of_oil["mph"], end_of_oil["deg"]) == pytest.approx((16.788, 0.149), abs=5e-3)


def test_a_straight_ball_still_slips_at_the_pins():
    path = rolled(K, ((0, 0.04), (40, 0.12)), 0.05)
    end = at(path, 60.0)
    assert (end["t"], end["b"]) == pytest.approx((2.8259, 23.861), abs=0.02)
    assert (end["mph"], end["deg"]) == pytest.approx((12.538, 0.858), abs=2e-3)


@given(
    mu=st.lists(st.floats(0.05, 0.3), min_size=4, max_size=4),
    rpm=st.floats(50, 500),
    rotation=st.floats(0, 80),
)
def test_final_velocity_does_not_depend_on_the_oil(mu, rpm, rotation):
    thrown = case(17, rpm, rotation, 10, 1.5, 20.0, 2.6)
    zones = tuple((15.0 * k, value) for k, value in enumerate(mu))
    path = rolled(thrown, zones)
    assume(not path.slipping[0, -1])
    ends = rolling_velocity(motion_of(thrown.thrown, "right"), thrown.mass)[0]
    np.testing.assert_allclose((path.vx_in_s[0, -1], path.vy_in_s[0, -1]), ends, atol=1e-9)


def test_mirrored_launch_gives_the_mirrored_path():
    launch = launch_of(motion_of(G.thrown, "right"), G.mass, x_in=-3.0)
    mirrored = launch_of(motion_of(G.thrown, "left"), G.mass, x_in=3.0)
    y = np.arange(0.0, 720.0, 3.0)
    mu = np.linspace(0.03, 0.25, len(y))[None]
    left, right = slide(mirrored, mu, y), slide(launch, mu, y)
    np.testing.assert_allclose(left.x_in, -right.x_in)
    np.testing.assert_allclose(left.t_s, right.t_s)


def test_a_ball_that_friction_would_stop_goes_on_slowly():
    launch = Launch(*(np.array([v]) for v in (0.0, 0.0, 0.0, 100.0, 0.0, 200.0)))
    path = slide(launch, np.full((1, 100), 0.5), np.arange(100) * 6.0)
    assert np.all(path.vy_in_s > 0)
    assert np.all(np.isfinite(path.t_s))
