"""The closed-form slide against worked cases, conserved quantities and limits."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.lane import board_from_x, x_from_board
from tracker.physics.slide import Launch, Slide, slide

IN = 0.0254
MPH = 17.6
R_IN = 4.2975
FT = 12.0


@dataclass(frozen=True)
class Thrown:
    """A launch as coaches say it: mph, turns a minute, axis rotation and tilt, degrees right, board, k in inches."""

    mph: float
    rpm: float
    rotation: float
    tilt: float
    right: float
    board: float
    k_in: float

    def launch(self) -> Launch:
        """Slip by u = v + w x r (contact r = (0, 0, -R)); grip q |u| with q = k^2 / (k^2 + R^2)."""
        spin = self.rpm * 2 * math.pi / 60
        ct = math.cos(math.radians(self.tilt))
        rot, a = math.radians(self.rotation), math.radians(self.right)
        w_side, w_ahead = -spin * ct * math.cos(rot), -spin * ct * math.sin(rot)
        wx = w_side * math.cos(a) + w_ahead * math.sin(a)
        wy = -w_side * math.sin(a) + w_ahead * math.cos(a)
        v = self.mph * MPH
        vx, vy = v * math.sin(a), v * math.cos(a)
        ux, uy = vx - R_IN * wy, vy + R_IN * wx
        q = self.k_in**2 / (self.k_in**2 + R_IN**2)
        one = np.ones(1)
        return Launch(
            0.0 * one,
            x_from_board(self.board, "right") * one,
            vx * one,
            vy * one,
            math.atan2(-ux, uy) * one,
            q * math.hypot(ux, uy) * one,
        )


def rolled(thrown: Thrown, zones: tuple[tuple[float, float], ...]) -> Slide:
    """Path over friction that steps to the next value at each distance in feet."""
    y = np.arange(0.0, 62 * FT, 0.25)
    mu = np.full(len(y), zones[0][1])
    for begin_ft, value in zones[1:]:
        mu[y >= begin_ft * FT] = value
    return slide(thrown.launch(), mu[None], y)


def at(path: Slide, ft: float) -> dict[str, float]:
    """Time, board, speed in mph and heading to the left in degrees at a distance."""
    row = {
        k: float(np.interp(ft * FT, path.y_in[0], getattr(path, k)[0])) for k in ("t_s", "x_in", "vx_in_s", "vy_in_s")
    }
    return {
        "t": row["t_s"],
        "b": float(board_from_x(row["x_in"], "right")),
        "mph": math.hypot(row["vx_in_s"], row["vy_in_s"]) / MPH,
        "deg": math.degrees(math.atan2(-row["vx_in_s"], row["vy_in_s"])),
    }


def roll_ft(path: Slide) -> float:
    return float(path.y_in[0, np.argmin(path.slipping[0])] / FT)


# Cases of a memo that derives them in closed form and by Runge-Kutta integration of the full equations of motion
# (Coulomb slip of a sphere as in textbook mechanics; the equations agree with a university's published lecture page).
D = Thrown(18, 350, 45, 15, 0.0, 20.0, 2.50)
G = Thrown(18, 350, 45, 15, 2.0, 20.0, 2.50)
I_ = Thrown(16, 250, 30, 10, 1.0, 15.0, 2.50)
J = Thrown(17, 400, 55, 12, 2.5, 22.0, 2.48)
K = Thrown(16, 150, 10, 5, 0.0, 20.0, 2.70)


def test_uniform_friction_case():
    path = rolled(D, ((0.0, 0.10),))
    assert roll_ft(path) == pytest.approx(37.278, abs=0.03)
    end = at(path, 37.278)
    assert end["b"] - 20.0 == pytest.approx(19.692, abs=0.02)
    assert end["t"] == pytest.approx(1.54068, abs=2e-3)
    assert (end["mph"], end["deg"]) == pytest.approx((15.074, 5.8851), abs=3e-3)


@pytest.mark.parametrize(
    ("thrown", "zones", "roll", "sixty"),
    [
        (G, ((0, 0.04), (40, 0.20)), 50.658, (2.4486, 23.592, 15.074, 3.885)),
        (G, ((0, 0.04), (44, 0.20)), 53.858, (2.4340, 21.310, 15.074, 3.885)),
        (I_, ((0, 0.04), (40, 0.20)), 45.650, (2.7983, 22.328, 13.357, 2.416)),
        (J, ((0, 0.03), (20, 0.06), (40, 0.20)), 49.173, (2.5934, 31.535, 14.334, 5.712)),
    ],
)
def test_zoned_cases(thrown, zones, roll, sixty):
    path = rolled(thrown, zones)
    assert roll_ft(path) == pytest.approx(roll, abs=0.05)
    end = at(path, 60.0)
    assert (end["t"], end["b"]) == pytest.approx(sixty[:2], abs=0.03)
    assert (end["mph"], end["deg"]) == pytest.approx(sixty[2:], abs=3e-3)


def test_breakpoint_of_the_two_zone_case():
    path = rolled(G, ((0, 0.04), (40, 0.20)))
    board = board_from_x(path.x_in[0], "right")
    assert board.min() == pytest.approx(12.380, abs=0.01)
    assert path.y_in[0, board.argmin()] / FT == pytest.approx(37.49, abs=0.1)
    assert at(path, 15.0)["b"] == pytest.approx(15.193, abs=0.01)


def test_a_straight_ball_still_slips_at_the_pins():
    path = rolled(K, ((0, 0.04), (40, 0.12)))
    end = at(path, 60.0)
    assert (end["t"], end["b"]) == pytest.approx((2.8259, 23.861), abs=0.03)
    assert (end["mph"], end["deg"]) == pytest.approx((12.538, 0.858), abs=5e-3)


@given(
    mu=st.lists(st.floats(0.02, 0.3), min_size=4, max_size=4),
    rpm=st.floats(50, 500),
    rotation=st.floats(0, 80),
)
def test_final_velocity_does_not_depend_on_the_oil(mu, rpm, rotation):
    thrown = Thrown(17, rpm, rotation, 10, 1.5, 20.0, 2.6)
    zones = tuple((15.0 * k, value) for k, value in enumerate(mu))
    path, other = rolled(thrown, zones), rolled(thrown, ((0.0, 0.5),))
    if not path.slipping[0, -1] and not other.slipping[0, -1]:
        assert path.vx_in_s[0, -1] == pytest.approx(other.vx_in_s[0, -1], abs=1e-9)
        assert path.vy_in_s[0, -1] == pytest.approx(other.vy_in_s[0, -1], abs=1e-9)


def test_mirrored_launch_gives_the_mirrored_path():
    launch = G.launch()
    mirrored = Launch(launch.t_s, -launch.x_in, -launch.vx_in_s, launch.vy_in_s, -launch.slip_rad, launch.grip_in_s)
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
