"""A sphere that slips and rolls on an oiled lane (Coulomb friction), integrated with Runge-Kutta steps of fourth order.

Equations: slip ``u = v + w x r`` at the contact ``r = (0, 0, -R)``; ``dv/dt = -mu g u/|u|``,
``k^2 dw/dt = mu g R (z x u/|u|)``; rolling when u = 0. Source: Newton's and Euler's equations for a symmetric sphere.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import GUTTER_WIDTH_IN, HEAD_PIN_IN, LANE_WIDTH_IN, board_from_x, x_from_board
from sample_media.spec import BallSpec, LaneSpec, ShotSpec

Array = NDArray[np.float64]
GRAVITY_IN = 9.80665 / 0.0254
MPH_IN = 17.6
NO_SLIP_IN = 1e-7
EDGE_IN = LANE_WIDTH_IN / 2
Friction = Callable[[float, float], float]


@dataclass(frozen=True, slots=True)
class DensePath:
    """The ball's way on the lane, every array of shape ``(n,)``, from the first lane contact (t = 0) on.

    Attributes
    ----------
    t_s : array
        Seconds since the first lane contact.
    x_in, y_in, vx, vy : array
        Centre and velocity, inches and inches per second.
    wx, wy, wz : array
        Angular velocity, radians per second, lane axes.
    slip : array
        Speed of the contact point over the lane, inches per second; exactly 0 when rolling.
    mu : array
        Friction coefficient under the ball.
    on_lane : bool array
        False where the ball lies in a gutter.
    """

    t_s: Array
    x_in: Array
    y_in: Array
    vx: Array
    vy: Array
    wx: Array
    wy: Array
    wz: Array
    slip: Array
    mu: Array
    on_lane: NDArray[np.bool_]

    def until(self, t_s: float) -> DensePath:
        """The part up to a time, inclusive."""
        n = int(np.searchsorted(self.t_s, t_s + 1e-12))
        return DensePath(*(getattr(self, name)[:n] for name in self.__dataclass_fields__))


def _smooth(value: float) -> float:
    s = min(max(value, 0.0), 1.0)
    return s * s * (3 - 2 * s)


def friction_map(lane: LaneSpec, ball: BallSpec) -> Friction:
    """Friction coefficient as a function of x and y in inches for a ball on a lane."""
    taper_in = max(lane.taper_ft * 12, 1e-9)

    def mu(x_in: float, y_in: float) -> float:
        outside = _smooth((abs(x_in) - 5.0) / 11.0)
        end_in = (lane.oil_ft - lane.outside_short_ft * outside) * 12
        dry = _smooth((y_in - end_in) / taper_in + 0.5)
        oil = lane.mu_oil * (1 + (lane.outside_ratio - 1) * outside)
        return ball.grip * (oil + (lane.mu_dry - oil) * dry)

    return mu


def launch_state(shot: ShotSpec, ball: BallSpec) -> tuple[Array, float]:
    """State ``(6,)`` x, y, vx, vy, wx, wy at the first lane contact, and wz (inches, seconds, radians).

    Raises
    ------
    ValueError
        If the speed is not positive.
    """
    if shot.speed_mph <= 0:
        msg = f"ShotSpec.speed_mph is {shot.speed_mph}: the ball must move down the lane, give a positive speed"
        raise ValueError(msg)
    del ball
    side = 1.0 if shot.hand == "right" else -1.0
    theta = math.radians(shot.launch_deg)
    speed = shot.speed_mph * MPH_IN
    rate = shot.rev_rpm * 2 * math.pi / 60
    rot, tilt = math.radians(shot.rotation_deg), math.radians(shot.tilt_deg)
    wx0, wy0 = -rate * math.cos(tilt) * math.cos(rot), -rate * math.cos(tilt) * math.sin(rot)
    wx = wx0 * math.cos(theta) + wy0 * math.sin(theta)
    wy = -wx0 * math.sin(theta) + wy0 * math.cos(theta)
    x = float(x_from_board(shot.laydown_board, shot.hand))
    state = [x, shot.laydown_ft * 12, side * speed * math.sin(theta), speed * math.cos(theta), wx, side * wy]
    return np.array(state), side * rate * math.sin(tilt)


def _derivative(s: Array, mu: Friction, ball: BallSpec) -> Array:
    r, k2 = ball.radius_in, ball.gyration_in**2
    ux, uy = s[2] - r * s[5], s[3] + r * s[4]
    speed = math.hypot(ux, uy)
    if speed <= NO_SLIP_IN:
        return np.array([s[2], s[3], 0, 0, 0, 0])
    a = mu(s[0], s[1]) * GRAVITY_IN / speed
    return np.array([s[2], s[3], -a * ux, -a * uy, -a * r * uy / k2, a * r * ux / k2])


def _rk4(s: Array, h: float, mu: Friction, ball: BallSpec) -> Array:
    k1 = _derivative(s, mu, ball)
    k2 = _derivative(s + h / 2 * k1, mu, ball)
    k3 = _derivative(s + h / 2 * k2, mu, ball)
    k4 = _derivative(s + h * k3, mu, ball)
    return np.asarray(s + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4))


def _slip(s: Array, radius: float) -> float:
    """Slip speed; what rounding leaves of a rolling ball's is nothing."""
    slip = math.hypot(s[2] - radius * s[5], s[3] + radius * s[4])
    return slip if slip > NO_SLIP_IN else 0.0


def _rolling(s: Array, ball: BallSpec) -> Array:
    """Velocity and spin ``(4,)`` of the rolling ball with the same angular momentum ``R v + k^2 (wy, -wx)``."""
    r, k2 = ball.radius_in, ball.gyration_in**2
    vx = (r * s[2] + k2 * s[5]) / (r + k2 / r)
    vy = (r * s[3] - k2 * s[4]) / (r + k2 / r)
    return np.array([vx, vy, -vy / r, vx / r])


def _advance(s: Array, h: float, mu: Friction, ball: BallSpec) -> Array:
    """One step; slip that would end inside it ends exactly, and the ball rolls on."""
    r = ball.radius_in
    slip = _slip(s, r)
    if slip > 0:
        rate = mu(s[0], s[1]) * GRAVITY_IN * (1 + (r / ball.gyration_in) ** 2)
        sliding = min(h, slip / rate) if rate > 0 else h
        s = _rk4(s, sliding, mu, ball)
        h -= sliding
        if h > 0 or _slip(s, r) == 0:
            s[2:] = _rolling(s, ball)
    s[0] += h * s[2]
    s[1] += h * s[3]
    return s


def simulate(shot: ShotSpec, ball: BallSpec, lane: LaneSpec, dt_s: float = 1e-3) -> DensePath:
    """The dense path of a shot from first lane contact to two feet behind the head pin's line, pins ignored.

    A ball whose centre passes the lane's edge falls into the gutter and runs on along it.

    Parameters
    ----------
    shot, ball, lane : ShotSpec, BallSpec, LaneSpec
        What is thrown where.
    dt_s : float
        Step of integration and of the rows, seconds.

    Returns
    -------
    DensePath
        Rows at multiples of ``dt_s``.
    """
    mu = friction_map(lane, ball)
    s, wz = launch_state(shot, ball)
    rows, n = [], 0
    while s[1] < HEAD_PIN_IN + 48 and n * dt_s < 6:
        gutter = abs(s[0]) > EDGE_IN
        rows.append([n * dt_s, *s, wz, 0.0 if gutter else _slip(s, ball.radius_in), mu(s[0], s[1]), not gutter])
        s = _in_gutter(s, dt_s) if gutter else _advance(s, dt_s, mu, ball)
        n += 1
    c = np.array(rows, dtype=np.float64).T
    t, x, y, vx, vy, wx, wy, wz_all, slip, grip, on_lane = c
    return DensePath(t, x, y, vx, vy, wx, wy, wz_all, slip, grip, on_lane > 0.5)


def _in_gutter(s: Array, h: float) -> Array:
    middle = math.copysign(EDGE_IN + GUTTER_WIDTH_IN / 2, s[0])
    out = s.copy()
    out[2] += h * (-200 * (s[0] - middle) - 14 * s[2])
    out[0] = math.copysign(max(abs(s[0] + h * out[2]), EDGE_IN + 1e-3), s[0])
    out[1] += h * out[3]
    return out


def height_in(path: DensePath, ball: BallSpec) -> Array:
    """Height ``(n,)`` of the ball's centre in inches: one radius, less in a gutter."""
    depth = np.clip((np.abs(path.x_in) - EDGE_IN) / (GUTTER_WIDTH_IN / 2), 0, 1)
    return np.asarray(ball.radius_in - 1.9 * np.sqrt(depth))


def flight(shot: ShotSpec, ball: BallSpec, fall_in: float = 14.0) -> tuple[float, Callable[[float], Array]]:
    """Time in the air before the first contact, and the centre ``(3,)`` in inches at a time t <= 0 before it.

    The ball leaves the hand at ``shot.release_ft`` with a downward speed of ``fall_in`` inches a second.
    """
    s, _ = launch_state(shot, ball)
    duration = max((shot.laydown_ft - shot.release_ft) * 12 / s[3], 1e-3)

    def centre(t_s: float) -> Array:
        since = t_s + duration
        drop = fall_in * (duration - since) + GRAVITY_IN / 2 * (duration**2 - since**2)
        return np.array([s[0] + s[2] * t_s, s[1] + s[3] * t_s, ball.radius_in + drop])

    return duration, centre


def boards(path: DensePath, shot: ShotSpec) -> Array:
    """Board ``(n,)`` of the ball's centre, counted from the hand's edge."""
    return board_from_x(path.x_in, shot.hand)
