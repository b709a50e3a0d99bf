"""The slip-and-roll ball in closed form over distance.

While a ball slips, friction acts along a direction that does not change (sphere, point contact, Coulomb friction; from
du/dt = -mu g (1 + R^2/k^2) u/|u|). With that direction e = (sin p, -cos p), the velocity is v = v0 + e A, where A grows
by mu g dt until the whole of ``grip_in_s`` = |u0| k^2 / (k^2 + R^2) is used up and the ball rolls straight on. Over
distance instead of time, vy dA = mu g dy, so that vy^2 = vy0^2 - 2 cos(p) g M(y) with M the integral of mu over y:
no step-by-step integration is needed, and many balls are computed at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

GRAVITY_IN_S2 = 386.0886
"""9.80665 m/s^2, the standard acceleration of gravity (CGPM 1901), in inches."""
SLOWEST_SHARE = 0.05
SLOWEST_IN_S = 1.0


@dataclass(frozen=True, slots=True)
class Launch:
    """Balls at a common distance, each field ``(m,)``.

    Attributes
    ----------
    t_s, x_in : ndarray
        Time and place across when they pass the first distance of the grid.
    vx_in_s, vy_in_s : ndarray
        Velocity there.
    slip_rad : ndarray
        Direction of friction, from straight back toward +x.
    grip_in_s : ndarray
        Change of velocity until the ball rolls.
    """

    t_s: Array
    x_in: Array
    vx_in_s: Array
    vy_in_s: Array
    slip_rad: Array
    grip_in_s: Array


@dataclass(frozen=True, slots=True)
class Slide:
    """Paths over a grid of distances, every array ``(m, g)``; accelerations are those just after each distance."""

    y_in: Array
    t_s: Array
    x_in: Array
    vx_in_s: Array
    vy_in_s: Array
    ax_in_s2: Array
    ay_in_s2: Array
    slipping: NDArray[np.bool_]


def _integral(values: Array, y_in: Array) -> Array:
    """Cumulative trapezoids ``(m, g)`` of ``values`` ``(m, g)`` over ``y_in`` ``(g,)``."""
    out = np.zeros_like(values)
    np.cumsum((values[:, 1:] + values[:, :-1]) * (np.diff(y_in) / 2), axis=1, out=out[:, 1:])
    return out


def slide(launch: Launch, friction: Array, y_in: Array) -> Slide:
    """Paths of balls over friction ``(m, g)`` at distances ``y_in`` ``(g,)``, ascending; the launch is at the first.

    A ball that friction would stop goes on at a twentieth of its speed, and none begins slower than an inch a second:
    a fit can walk away from there.
    """
    vx, vy, slipping = _velocities(launch, friction, y_in)
    pull = GRAVITY_IN_S2 * friction * slipping
    return Slide(
        y_in=np.broadcast_to(y_in, vy.shape),
        t_s=launch.t_s[:, None] + _integral(1.0 / vy, y_in),
        x_in=launch.x_in[:, None] + _integral(vx / vy, y_in),
        vx_in_s=vx,
        vy_in_s=vy,
        ax_in_s2=np.sin(launch.slip_rad)[:, None] * pull,
        ay_in_s2=-np.cos(launch.slip_rad)[:, None] * pull,
        slipping=slipping,
    )


def across(launch: Launch, friction: Array, y_in: Array) -> Array:
    """Places ``(m, g)`` across of :func:`slide` alone."""
    vx, vy, _ = _velocities(launch, friction, y_in)
    return launch.x_in[:, None] + _integral(vx / vy, y_in)


def _velocities(launch: Launch, friction: Array, y_in: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Speed across and down the lane, and whether the ball slips, each ``(m, g)``."""
    back, side = np.cos(launch.slip_rad)[:, None], np.sin(launch.slip_rad)[:, None]
    start = np.maximum(launch.vy_in_s, SLOWEST_IN_S)[:, None]
    spent = GRAVITY_IN_S2 * _integral(friction, y_in)
    square = np.maximum(start**2 - 2 * back * spent, (SLOWEST_SHARE * start) ** 2)
    change = 2 * spent / (start + np.sqrt(square))
    slipping = change < launch.grip_in_s[:, None]
    change = np.minimum(change, launch.grip_in_s[:, None])
    vy = np.maximum(start - back * change, SLOWEST_SHARE * start)
    return launch.vx_in_s[:, None] + side * change, vy, slipping
