"""Smooth discs that collide: what simple mechanics expects of ball and pins, as a check and as a start.

Ball and pins are discs without friction that meet at the ball's radius plus the pin's belly. Along the line of centres
momentum is conserved and the closing speed is turned back by the factor e (restitution); across it nothing changes.
Source: any textbook of mechanics (oblique impact of smooth spheres); check values in ``tests/pins/test_collision.py``.
Spin, pins that come back and the height at which they touch are left out, so that a ball's place behind the rack is
good to some boards only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import BALL_RADIUS_IN, DECK_END_IN, PIN_BELLY_RADIUS_IN, pin_positions

Array = NDArray[np.float64]

BALL_LB, BALL_LB_RANGE = 15.0, (12.0, 16.0)
PIN_LB = 3.5
"""Pins weigh 3 lb 6 oz to 3 lb 10 oz (pages quoting the specification of pins)."""
RESTITUTION, RESTITUTION_RANGE = 0.70, (0.65, 0.78)
"""Of ball and pin (manual, from memory)."""
REACH_IN = BALL_RADIUS_IN + PIN_BELLY_RADIUS_IN


@dataclass(frozen=True, slots=True)
class Bodies:
    """Weights in pounds, restitution, and the distance of the centres at contact in inches."""

    ball_lb: float = BALL_LB
    pin_lb: float = PIN_LB
    restitution: float = RESTITUTION
    reach_in: float = REACH_IN

    @property
    def pin_factor(self) -> float:
        """Speed of the pin over the ball's speed along the line of centres."""
        return (1 + self.restitution) * self.ball_lb / (self.ball_lb + self.pin_lb)

    @property
    def ball_factor(self) -> float:
        """What the ball keeps of its speed along the line of centres."""
        return (self.ball_lb - self.restitution * self.pin_lb) / (self.ball_lb + self.pin_lb)


USUAL = Bodies()


@dataclass(frozen=True, slots=True)
class Impact:
    """What one impact does.

    Attributes
    ----------
    line_deg : float
        Angle between the ball's way and the line of centres, along which the pin leaves.
    deflection_deg : float
        By how much the ball turns away from the pin.
    pin_speed, ball_speed : float
        Speeds afterwards over the ball's speed before.
    """

    line_deg: float
    deflection_deg: float
    pin_speed: float
    ball_speed: float


def impact(offset_in: float, bodies: Bodies = USUAL) -> Impact | None:
    """The impact of a ball on a pin at rest.

    Parameters
    ----------
    offset_in : float
        Distance of the ball's line from the pin's centre, positive where it passes on the right.
    bodies : Bodies
        Weights, restitution, size.

    Returns
    -------
    Impact or None
        Angles positive to the left for the pin and to the right for the ball where the offset is positive; None where
        the ball passes the pin.
    """
    if abs(offset_in) >= bodies.reach_in:
        return None
    beta = math.asin(offset_in / bodies.reach_in)
    along, across = bodies.ball_factor * math.cos(beta), math.sin(beta)
    return Impact(
        line_deg=math.degrees(beta),
        deflection_deg=math.degrees(math.atan2(across, along) - beta),
        pin_speed=bodies.pin_factor * math.cos(beta),
        ball_speed=math.hypot(along, across),
    )


@dataclass(frozen=True, slots=True)
class Way:
    """A ball's way through a rack whose pins vanish when they are hit: pins in order, and x where it leaves.

    ``exit_x_in`` is taken at the distance asked for; None where the ball does not get there on the lane.
    """

    pins: tuple[int, ...]
    exit_x_in: float | None


def through_rack(
    at: Array, heading: float, rack: tuple[int, ...], *, bodies: Bodies = USUAL, until_in: float = DECK_END_IN
) -> Way:
    """Follow a ball through a rack, one impact after the other, in straight lines between them.

    Parameters
    ----------
    at : array of shape (2,)
        x and y of the ball's centre before the pins, inches.
    heading : float
        dx/dy of its way.
    rack : tuple of int
        Pins that stand.
    bodies : Bodies
        Weights, restitution, size.
    until_in : float
        Distance at which the way ends.
    """
    spots = {n: pin_positions()[n - 1] for n in rack}
    place = np.array(at, dtype=np.float64)
    way = np.array([heading, 1.0]) / math.hypot(heading, 1.0)
    hit: list[int] = []
    while True:
        ahead = {
            n: run
            for n, s in spots.items()
            if n not in hit and (run := _run_to(place, way, s, bodies.reach_in)) is not None
        }
        pin = min(ahead, key=lambda n: ahead[n]) if ahead else None
        if pin is None or place[1] + ahead[pin] * way[1] > until_in:
            break
        place = place + ahead[pin] * way
        normal = (spots[pin] - place) / bodies.reach_in
        way = way - normal * float(way @ normal) * (1 - bodies.ball_factor)
        way = way / np.hypot(*way)
        hit.append(pin)
        if way[1] <= 0:
            return Way(tuple(hit), None)
    return Way(tuple(hit), float(place[0] + (until_in - place[1]) * way[0] / way[1]))


def _run_to(place: Array, way: Array, spot: Array, reach_in: float) -> float | None:
    """How far a ball rolls until it touches a pin; None if it never does."""
    gap = spot - place
    along = float(gap @ way)
    aside2 = float(gap @ gap) - along**2
    if along <= 0 or aside2 >= reach_in**2:
        return None
    return along - math.sqrt(reach_in**2 - aside2)
