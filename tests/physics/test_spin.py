"""Launches as the trade says them, to the slip of the contact point and back."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rolls import IN, TEXTBOOK, UNIFORM, D, E, F, G, K, rolled

from tracker.physics.slide import slide
from tracker.physics.spin import (
    Mass,
    Motion,
    Thrown,
    launch_of,
    likely_masses,
    momentum,
    motion_before,
    motion_of,
    rolling_velocity,
    slip_of,
    spin_of,
)

THROWN = {
    "mph": st.floats(10, 22),
    "launch": st.floats(-5, 6),
    "rpm": st.floats(0, 600),
    "rotation": st.floats(0, 120),
    "tilt": st.floats(0, 40),
}
MASS = {"radius": st.floats(4.25, 4.2975), "gyration": st.floats(2.46, 2.80)}


def test_slip_of_the_worked_case():
    motion = motion_of(D.thrown, "right")
    assert (motion.wx_rad_s[0], motion.wy_rad_s[0]) == pytest.approx((-25.0337, -25.0337), abs=5e-5)
    np.testing.assert_allclose(slip_of(motion, D.mass)[0] * IN, (2.73259, 5.31413), atol=1e-5)
    launch = launch_of(motion, D.mass)
    assert float(D.mass.share) == pytest.approx(0.25285, abs=5e-6)
    assert launch.grip_in_s[0] * IN == pytest.approx(0.25285 * 5.97553, rel=5e-5)


@pytest.mark.parametrize(("thrown", "mph", "left"), [(D, 15.074, 5.8851), (E, 14.708, 6.8197), (F, 13.279, 3.5390)])
def test_velocity_of_rolling_in_the_worked_cases(thrown, mph, left):
    vx, vy = rolling_velocity(motion_of(thrown.thrown, "right"), thrown.mass)[0]
    assert np.hypot(vx, vy) / 17.6 == pytest.approx(mph, abs=6e-4)
    assert np.degrees(np.arctan2(-vx, vy)) == pytest.approx(left, abs=6e-5)


@pytest.mark.parametrize("name", TEXTBOOK)
def test_velocity_of_rolling_in_the_textbook_cases(name):
    book = TEXTBOOK[name]
    vx, vy = rolling_velocity(motion_of(book.thrown, "right"), book.mass)[0]
    assert vy == pytest.approx(book.speed_then, rel=5e-5)
    assert vx == pytest.approx(0.0, abs=1e-12)


# pooltool-billiards 0.3.3, evolve_slide_state: v (0.3, 8) m/s, w (-20, -22, 5) rad/s, uniform ball of 0.11 m, friction
# 0.12, g 9.81. Its output, noted down.
def test_a_billiards_program_s_ball():
    motion = Motion(*(np.array([v]) for v in (0.3 / IN, 8.0 / IN, -20.0, -22.0)))
    mass = Mass(0.11 / IN, 0.11 / IN * np.sqrt(0.4))
    y = np.linspace(0.0, 12.0 / IN, 40_001)
    path = slide(launch_of(motion, mass), np.full((1, len(y)), 0.12 * 9.81 / 9.80665), y)
    start = int(np.argmin(path.slipping[0]))
    assert path.t_s[0, start] == pytest.approx(1.554809, abs=1e-4)
    assert (path.x_in[0, start] * IN, y[start] * IN) == pytest.approx((-0.1377116, 11.1501983), abs=4e-4)
    assert path.vx_in_s[0, -1] * IN == pytest.approx(-0.4771429, abs=1e-7)
    assert path.vy_in_s[0, -1] * IN == pytest.approx(6.3428571, abs=1e-7)


def _motions_along(thrown, mu: np.ndarray) -> tuple[Motion, float]:
    """Motion at every distance, spin from what is left of the grip; and the launch's direction of friction."""
    y = np.linspace(0.0, 744.0, len(mu))
    launch = launch_of(motion_of(thrown.thrown, "right"), thrown.mass)
    path = slide(launch, mu[None], y)
    used = np.hypot(path.vx_in_s[0] - launch.vx_in_s[0], path.vy_in_s[0] - launch.vy_in_s[0])
    motion = motion_before(
        path.vx_in_s[0],
        path.vy_in_s[0],
        thrown.mass,
        slip_rad=np.full(len(y), launch.slip_rad[0]),
        grip_in_s=launch.grip_in_s[0] - used,
    )
    return motion, float(launch.slip_rad[0])


def test_angular_momentum_about_a_line_in_the_lane_stays():
    """Own derivation; noted values in metres and seconds for case D: (-0.10094223, 0.97929402)."""
    motion, _ = _motions_along(D, 0.04 + 0.01 * np.sin(np.linspace(0, 18, 3001)))
    along = momentum(motion, D.mass) * IN**2
    np.testing.assert_allclose(along, np.broadcast_to((-0.10094223, 0.97929402), along.shape), rtol=2e-6)


@pytest.mark.parametrize("thrown", [D, G, K])
def test_the_contact_point_slips_in_one_direction_until_it_rests(thrown):
    motion, friction_rad = _motions_along(thrown, np.linspace(0.02, 0.25, 2001) ** 1.5)
    slip = slip_of(motion, thrown.mass)
    moving = np.hypot(*slip.T) > 1e-3
    direction = np.arctan2(-slip[moving, 0], slip[moving, 1])
    assert moving.sum() > 1000
    np.testing.assert_allclose(direction, friction_rad, atol=1e-6)


def test_a_rolling_ball_keeps_its_slip_at_nothing():
    motion, _ = _motions_along(G, np.full(2001, 0.2))
    spin = spin_of(motion)
    speed = np.hypot(motion.vx_in_s[-1], motion.vy_in_s[-1])
    assert spin.forward_rpm[-1] == pytest.approx(speed / G.mass.radius_in * 30 / np.pi, rel=1e-9)
    assert spin.side_rpm[-1] == pytest.approx(0.0, abs=1e-6)


@given(**THROWN, **MASS)
def test_a_launch_comes_back_from_what_its_path_shows(mph, launch, rpm, rotation, tilt, radius, gyration):
    mass = Mass(radius, gyration)
    found = launch_of(motion_of(Thrown(mph, launch, rpm, rotation, tilt), "right"), mass)
    back = motion_before(found.vx_in_s, found.vy_in_s, mass, slip_rad=found.slip_rad, grip_in_s=found.grip_in_s)
    spin = spin_of(back)
    level = rpm * np.cos(np.radians(tilt))
    assert spin.forward_rpm[0] == pytest.approx(level * np.cos(np.radians(rotation)), abs=1e-6)
    assert spin.side_rpm[0] == pytest.approx(-level * np.sin(np.radians(rotation)), abs=1e-6)


@given(**THROWN, **MASS)
def test_change_until_rolling_is_the_slip_s_share(mph, launch, rpm, rotation, tilt, radius, gyration):
    mass = Mass(radius, gyration)
    motion = motion_of(Thrown(mph, launch, rpm, rotation, tilt), "right")
    found = launch_of(motion, mass)
    push = np.stack([np.sin(found.slip_rad), -np.cos(found.slip_rad)], axis=-1) * found.grip_in_s[:, None]
    ends = rolling_velocity(motion, mass)
    np.testing.assert_allclose(np.stack([found.vx_in_s, found.vy_in_s], axis=-1) + push, ends, atol=1e-9)
    rolling = Motion(*ends.T, -ends[:, 1] / radius, ends[:, 0] / radius)
    np.testing.assert_allclose(slip_of(rolling, mass), 0.0, atol=1e-9)
    np.testing.assert_allclose(momentum(rolling, mass), momentum(motion, mass), rtol=1e-12, atol=1e-9)


def test_tilt_and_rev_rate_cannot_be_told_apart():
    """The same horizontal spin with another tilt gives the same path: own derivation, the spin about z never acts."""
    flat = motion_of(Thrown(17.0, 1.0, 300.0, 50.0, 0.0), "right")
    tilted = motion_of(Thrown(17.0, 1.0, 300.0 / np.cos(np.radians(20.0)), 50.0, 20.0), "right")
    np.testing.assert_allclose(spin_of(flat).side_rpm, spin_of(tilted).side_rpm)
    np.testing.assert_allclose(spin_of(flat).forward_rpm, spin_of(tilted).forward_rpm)


def test_many_launches_at_once():
    many = motion_of(Thrown(np.array([16.0, 18.0]), 2.0, np.array([250.0, 350.0]), 45.0, 15.0), "right")
    one = motion_of(Thrown(18.0, 2.0, 350.0, 45.0, 15.0), "right")
    assert many.wx_rad_s.shape == (2,)
    assert many.wy_rad_s[1] == one.wy_rad_s[0]
    assert launch_of(many, G.mass).grip_in_s[1] == launch_of(one, G.mass).grip_in_s[0]


def test_gyration_that_nobody_told_spreads_over_the_rules_range():
    masses = likely_masses(np.full(4001, 4.27), np.random.default_rng(3))
    assert masses.gyration_in[0] == pytest.approx(2.63)
    assert masses.gyration_in.std() == pytest.approx((2.80 - 2.46) / np.sqrt(12), rel=0.03)


def test_a_uniform_sphere_takes_two_sevenths_of_the_slip():
    assert float(Mass(4.2975, UNIFORM).share) == pytest.approx(2 / 7)
    path = rolled(E, ((0.0, 0.2),))
    assert not path.slipping[0, -1]
