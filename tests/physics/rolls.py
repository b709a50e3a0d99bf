"""Worked cases of a ball that slips and rolls, each with its source, and the means to run them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.lane import board_from_x, x_from_board
from tracker.physics.slide import GRAVITY_IN_S2, Slide, slide
from tracker.physics.spin import IN_S_PER_MPH, Mass, Thrown, launch_of, motion_of

IN = 0.0254
FT = 12.0
R_IN = 4.2975
Zones = tuple[tuple[float, float], ...]
"""Friction from each distance in feet on."""


@dataclass(frozen=True)
class Case:
    """A launch of a right-hander's ball: mph, degrees right, rpm, axis rotation and tilt; board; k in inches."""

    thrown: Thrown
    board: float
    mass: Mass


def case(mph, rpm, rotation, tilt, right, board, k_in) -> Case:
    return Case(Thrown(mph, right, rpm, rotation, tilt), board, Mass(R_IN, k_in))


# Cases D to K: own derivation in closed form, confirmed by Runge-Kutta integration of the full equations of motion
# (Coulomb slip of a sphere as in textbook mechanics; the equations agree with a university's published lecture page).
UNIFORM = 2 * R_IN / math.sqrt(10)
D = case(18, 350, 45, 15, 0.0, 20.0, 2.50)
E = case(18, 350, 45, 15, 0.0, 20.0, UNIFORM)
F = case(16, 250, 30, 10, 0.0, 20.0, 2.55)
G = case(18, 350, 45, 15, 2.0, 20.0, 2.50)
I_ = case(16, 250, 30, 10, 1.0, 15.0, 2.50)
J = case(17, 400, 55, 12, 2.5, 22.0, 2.48)
K = case(16, 150, 10, 5, 0.0, 20.0, 2.70)
G_ZONES: Zones = ((0, 0.04), (40, 0.20))


def friction(y_in: np.ndarray, zones: Zones) -> np.ndarray:
    mu = np.full(len(y_in), zones[0][1])
    for begin_ft, value in zones[1:]:
        mu[y_in >= begin_ft * FT] = value
    return mu


def rolled(thrown: Case, zones: Zones, step_in: float = 0.25) -> Slide:
    """Path over friction that steps to the next value at each distance in feet."""
    y = np.arange(0.0, 62 * FT, step_in)
    launch = launch_of(
        motion_of(thrown.thrown, "right"), thrown.mass, x_in=x_from_board(np.array([thrown.board]), "right")
    )
    return slide(launch, friction(y, zones)[None], y)


def at(path: Slide, ft: float) -> dict[str, float]:
    """Time, board, speed in mph and heading to the left in degrees at a distance."""
    row = {
        k: float(np.interp(ft * FT, path.y_in[0], getattr(path, k)[0])) for k in ("t_s", "x_in", "vx_in_s", "vy_in_s")
    }
    return {
        "t": row["t_s"],
        "b": float(board_from_x(row["x_in"], "right")),
        "mph": math.hypot(row["vx_in_s"], row["vy_in_s"]) / IN_S_PER_MPH,
        "deg": math.degrees(math.atan2(-row["vx_in_s"], row["vy_in_s"])),
    }


def roll_ft(path: Slide) -> float:
    return float(path.y_in[0, np.argmin(path.slipping[0])] / FT)


@dataclass(frozen=True)
class Textbook:
    """A ball thrown straight without side spin, in inches and seconds; what the book says of the start of rolling.

    ``spin_rad_s`` is the forward spin, negative for back-spin; ``g`` the acceleration of gravity the book takes.
    """

    speed: float
    spin_rad_s: float
    mass: Mass
    mu: float
    g: float
    time_s: float
    distance: float
    speed_then: float

    @property
    def thrown(self) -> Thrown:
        rotation = 0.0 if self.spin_rad_s >= 0 else 180.0
        return Thrown(self.speed / IN_S_PER_MPH, 0.0, abs(self.spin_rad_s) * 30 / math.pi, rotation, 0.0)

    @property
    def friction(self) -> float:
        """Coefficient that decelerates here as the book's does under its gravity."""
        return self.mu * self.g / GRAVITY_IN_S2


def _sphere(radius_in: float) -> Mass:
    return Mass(radius_in, radius_in * math.sqrt(0.4))


TEXTBOOK = {
    # Halliday, Resnick and Walker, ch. 11: ball of 11 cm slides without spin; statement seen, data 8.5 m/s and 0.21 and
    # the printed 1.2 s, 8.6 m, 6.1 m/s from memory; more digits by the book's formulas.
    "A": Textbook(8.5 / IN, 0.0, _sphere(0.11 / IN), 0.21, 9.8 / IN, 1.1801, 8.5976 / IN, 6.0714 / IN),
    # Variant of the same question, 8.10 m/s and 0.19 (seen in a physics forum, which prints the deceleration 1.86
    # m/s^2); the rest by the book's formulas.
    "A'": Textbook(8.1 / IN, 0.0, _sphere(0.11 / IN), 0.19, 9.8 / IN, 1.2429, 8.6293 / IN, 5.7857 / IN),
    # Beer and Johnston, ch. 16: 8.5 in ball, 25 ft/s, back-spin of 9 rad/s, friction 0.10; statement seen, spin from
    # memory; answers derived.
    "B": Textbook(25 * FT, -9.0, _sphere(4.25), 0.10, 32.2 * FT, 2.5011, 52.456 * FT, 16.946 * FT),
    # Dynamics exercise with a gyration that is not a sphere's: circumference 27 in, k 3.28 in, 20 ft/s, friction 0.20;
    # solved answer 18.6566 ft seen, time and speed derived.
    "C": Textbook(20 * FT, 0.0, Mass(27 / (2 * math.pi), 3.28), 0.20, 32.2 * FT, 1.1433, 18.6567 * FT, 12.637 * FT),
}
