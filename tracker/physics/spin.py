"""Spin of a launch: from what a bowler says of it to how the lane takes hold of the ball, and back.

Sphere of radius R and radius of gyration k about every axis, touching the lane at a point, Coulomb friction. With the
contact at r = (0, 0, -R), its slip is u = v + w x r = (vx - R wy, vy + R wx). Newton's and Euler's equations,
dv/dt = -mu g u/|u| and k^2 dw/dt = mu g R (z x u/|u|), give du/dt = -mu g (1 + R^2/k^2) u/|u|: the slip keeps its
direction whatever the oil, and when it is used up the velocity has changed by -q u0, q = k^2 / (k^2 + R^2). On the way
R v + k^2 (wy, -wx) stays as it is (angular momentum about a line in the lane). Own derivation; for a uniform sphere it
is that of the textbooks (q = 2/7).

A path shows the slip only, and so two numbers of the three that a spin has: those about the two horizontal axes. How
far the axis is tilted, and the spin about the vertical, do nothing to a ball that touches the lane at a point, cannot
be seen in a path, and are not returned. Rev rate and axis rotation follow from the two numbers only for a known tilt.

Lane axes: x to the right, y down the lane, z up; inches, seconds, radians, inches a second unless a name says else.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.dimensions import dimension
from calibration.lane import Hand
from tracker.physics.slide import Launch

Array = NDArray[np.float64]

IN_S_PER_MPH = 17.6
RAD_S_PER_RPM = np.pi / 30.0
_GYRATION = dimension("ball_radius_of_gyration")
GYRATION_RANGE_IN = (_GYRATION.low, _GYRATION.high)
"""What the rules allow (from memory)."""


@dataclass(frozen=True, slots=True)
class Mass:
    """Radius and radius of gyration of balls, floats or ``(m,)``."""

    radius_in: Array | float
    gyration_in: Array | float

    @property
    def share(self) -> Array:
        """Part of the slip, q, that velocity takes over until the ball rolls; spin takes the rest."""
        return np.asarray(self.gyration_in**2 / (self.gyration_in**2 + self.radius_in**2))


@dataclass(frozen=True, slots=True)
class Thrown:
    """Launches as the trade says them, floats or ``(m,)``.

    Attributes
    ----------
    speed_mph : array or float
        Speed.
    launch_deg : array or float
        Direction against the boards, positive toward the hand's gutter.
    rev_rpm : array or float
        Turns a minute about the ball's own axis.
    rotation_deg : array or float
        Axis rotation: 0 forward roll, 90 pure side spin that hooks toward the pocket, 180 back-spin.
    tilt_deg : array or float
        Axis above the lane.
    """

    speed_mph: Array | float
    launch_deg: Array | float
    rev_rpm: Array | float
    rotation_deg: Array | float
    tilt_deg: Array | float


@dataclass(frozen=True, slots=True)
class Motion:
    """Velocity and the horizontal part of spin, lane axes, each ``(m,)``."""

    vx_in_s: Array
    vy_in_s: Array
    wx_rad_s: Array
    wy_rad_s: Array


@dataclass(frozen=True, slots=True)
class Spin:
    """Horizontal spin seen along the ball's way, each ``(m,)``.

    Attributes
    ----------
    forward_rpm : ndarray
        About the horizontal axis square to the way; positive as of a rolling ball.
    side_rpm : ndarray
        About the horizontal axis along the way; positive where it makes the ball go toward +x.
    """

    forward_rpm: Array
    side_rpm: Array


def motion_of(thrown: Thrown, hand: Hand) -> Motion:
    """Velocity and horizontal spin of launches; a left-hander's is the mirror image of a right-hander's."""
    side = 1.0 if hand == "right" else -1.0
    speed = np.atleast_1d(np.asarray(thrown.speed_mph * IN_S_PER_MPH, dtype=np.float64))
    angle, rotation = np.radians(thrown.launch_deg), np.radians(thrown.rotation_deg)
    level = thrown.rev_rpm * RAD_S_PER_RPM * np.cos(np.radians(thrown.tilt_deg))
    across, along = -level * np.cos(rotation), -level * np.sin(rotation)
    vx, vy, wx, wy = np.broadcast_arrays(
        side * speed * np.sin(angle),
        speed * np.cos(angle),
        across * np.cos(angle) + along * np.sin(angle),
        side * (along * np.cos(angle) - across * np.sin(angle)),
    )
    return Motion(vx, vy, wx, wy)


def slip_of(motion: Motion, mass: Mass) -> Array:
    """Velocity ``(m, 2)`` of the contact point over the lane, u = v + w x r."""
    r = mass.radius_in
    return np.stack([motion.vx_in_s - r * motion.wy_rad_s, motion.vy_in_s + r * motion.wx_rad_s], axis=-1)


def rolling_velocity(motion: Motion, mass: Mass) -> Array:
    """Velocity ``(m, 2)`` once the ball rolls, v - q u, whatever the friction on the way."""
    return np.stack([motion.vx_in_s, motion.vy_in_s], axis=-1) - mass.share[..., None] * slip_of(motion, mass)


def momentum(motion: Motion, mass: Mass) -> Array:
    """What friction cannot change: R v + k^2 (wy, -wx), ``(m, 2)`` in square inches a second."""
    r, k2 = mass.radius_in, mass.gyration_in**2
    return np.stack([r * motion.vx_in_s + k2 * motion.wy_rad_s, r * motion.vy_in_s - k2 * motion.wx_rad_s], axis=-1)


def launch_of(motion: Motion, mass: Mass, *, t_s: Array | float = 0.0, x_in: Array | float = 0.0) -> Launch:
    """Launch as :func:`tracker.physics.slide.slide` takes it: friction pulls against the slip, grip is q |u|."""
    u = slip_of(motion, mass)
    t, x, vx, vy, slip, grip = np.broadcast_arrays(
        np.asarray(t_s, dtype=np.float64),
        np.asarray(x_in, dtype=np.float64),
        motion.vx_in_s,
        motion.vy_in_s,
        np.arctan2(-u[..., 0], u[..., 1]),
        mass.share * np.hypot(u[..., 0], u[..., 1]),
    )
    return Launch(t, x, vx, vy, slip, grip)


def motion_before(vx_in_s: Array, vy_in_s: Array, mass: Mass, *, slip_rad: Array, grip_in_s: Array) -> Motion:
    """Motion of balls from what a path shows of them: the inverse of :func:`launch_of`.

    Parameters
    ----------
    vx_in_s, vy_in_s : ndarray of shape (m,)
        Velocity.
    mass : Mass
        Balls; a radius and a gyration for each where their uncertainty is to go through.
    slip_rad, grip_in_s : ndarray of shape (m,)
        Direction of friction from straight back toward +x, and the change of velocity that is still to come.
    """
    slip = grip_in_s / mass.share
    ux, uy = -slip * np.sin(slip_rad), slip * np.cos(slip_rad)
    return Motion(vx_in_s, vy_in_s, (uy - vy_in_s) / mass.radius_in, (vx_in_s - ux) / mass.radius_in)


def spin_of(motion: Motion) -> Spin:
    """Forward and side spin of balls that move."""
    speed = np.hypot(motion.vx_in_s, motion.vy_in_s)
    right, ahead = motion.vx_in_s / speed, motion.vy_in_s / speed
    forward = motion.wy_rad_s * right - motion.wx_rad_s * ahead
    side = motion.wx_rad_s * right + motion.wy_rad_s * ahead
    return Spin(forward / RAD_S_PER_RPM, side / RAD_S_PER_RPM)


def likely_masses(radius_in: Array, random: np.random.Generator) -> Mass:
    """Balls of given radii ``(m,)`` whose gyration nobody told.

    Any within the rules' range is taken as equally likely; drawn is a normal distribution of the same mean and standard
    uncertainty, as for linear propagation (JCGM 100, 4.3.7). The first ball is the best estimate, the mean.
    """
    low, high = GYRATION_RANGE_IN
    off = random.standard_normal(len(radius_in))
    off[:1] = 0.0
    return Mass(radius_in, (low + high) / 2 + (high - low) / np.sqrt(12.0) * off)
