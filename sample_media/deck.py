"""What happens on the pin deck: ball and pins as discs that collide, pins that topple, all in small fixed steps."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import DECK_END_IN, PIN_BELLY_RADIUS_IN, pin_positions
from sample_media.house import CURTAIN_IN, OPENING_IN
from sample_media.physics import EDGE_IN, GRAVITY_IN
from sample_media.spec import BallSpec

Array = NDArray[np.float64]
PIN_WEIGHT_LB = 3.5
RESTITUTION = 0.70
STEP_S = 5e-4
KEEP = 4
FALLEN_RAD = 0.6
PIT_IN = DECK_END_IN + 3.0
SLIDE_IN = 0.22 * GRAVITY_IN
ROLL_IN = 0.10 * GRAVITY_IN


@dataclass(frozen=True, slots=True)
class DeckMotion:
    """Motion from first contact (t = 0) on, sampled every 2 ms.

    Attributes
    ----------
    t_s : array (n,)
        Seconds since first contact.
    ball : array (n, 3)
        Centre of the ball, inches.
    pins : array (n, 10, 3)
        Foot of each pin, inches; z below 0 in gutter or pit.
    tilt, toward : array (n, 10)
        Tilt from upright and direction of the tilt (angle from +x), radians.
    rack : tuple of int
        Pins that stood before.
    exit_x_in : float or None
        Where the ball's centre crosses the end of the deck.
    """

    t_s: Array
    ball: Array
    pins: Array
    tilt: Array
    toward: Array
    rack: tuple[int, ...]
    exit_x_in: float | None

    def standing_at(self, t_s: float) -> tuple[int, ...]:
        """Pins that stand at a time: tilted by less than 0.6 rad; the whole rack before first contact."""
        if t_s <= 0:
            return tuple(sorted(self.rack))
        tilt = self.at(t_s)[2]
        return tuple(n for n in sorted(self.rack) if tilt[n - 1] < FALLEN_RAD)

    def at(self, t_s: float) -> tuple[Array, Array, Array, Array]:
        """Ball ``(3,)``, pins ``(10, 3)``, tilt and direction ``(10,)`` at a time, interpolated; held at the ends."""
        s = float(np.clip(t_s / (STEP_S * KEEP), 0, len(self.t_s) - 1))
        i = min(int(s), len(self.t_s) - 2)
        f = s - i
        mix = [(1 - f) * a[i] + f * a[i + 1] for a in (self.ball, self.pins, self.tilt)]
        return mix[0], mix[1], mix[2], self.toward[i + 1]


@dataclass(slots=True)
class _Deck:
    """Working state of the simulation."""

    p: Array
    v: Array
    z: Array
    vz: Array
    tilt: Array
    rate: Array
    toward: Array
    there: NDArray[np.bool_]
    ball: Array
    ball_v: Array
    ball_fall: float = 0.0


def first_contact(x_in: Array, y_in: Array, radius_in: float, rack: tuple[int, ...]) -> int | None:
    """Index of the first row of a path ``(n,)`` in which the ball touches a standing pin; None if it never does."""
    spots = pin_positions()[[n - 1 for n in rack]] if rack else np.zeros((0, 2))
    reach = radius_in + PIN_BELLY_RADIUS_IN
    d2 = (x_in[:, None] - spots[:, 0]) ** 2 + (y_in[:, None] - spots[:, 1]) ** 2
    touch = np.flatnonzero((d2 < reach**2).any(axis=1))
    return int(touch[0]) if touch.size else None


def knock(ball: BallSpec, start: Array, rack: tuple[int, ...], duration_s: float) -> DeckMotion:
    """Simulate the deck.

    Parameters
    ----------
    ball : BallSpec
        The ball.
    start : array (5,)
        x, y, vx, vy, z of its centre at first contact, inches and seconds.
    rack : tuple of int
        Pins that stand before.
    duration_s : float
        Length of the simulation.

    Returns
    -------
    DeckMotion
    """
    there = np.isin(np.arange(1, 11), rack)
    zero = np.zeros(10)
    deck = _Deck(
        pin_positions(),
        np.zeros((10, 2)),
        zero.copy(),
        zero.copy(),
        tilt=zero.copy(),
        rate=zero.copy(),
        toward=zero.copy(),
        there=there,
        ball=np.array([start[0], start[1], start[4]]),
        ball_v=np.array([start[2], start[3]]),
    )
    rows, exit_x = [], None
    for i in range(int(duration_s / STEP_S) + KEEP + 1):
        if i % KEEP == 0:
            rows.append((deck.ball.copy(), np.column_stack([deck.p, deck.z]), deck.tilt.copy(), deck.toward.copy()))
        _step(deck, ball)
        if exit_x is None and deck.ball[1] >= DECK_END_IN:
            exit_x = float(deck.ball[0]) if abs(deck.ball[0]) < EDGE_IN else None
    t = np.asarray(np.arange(len(rows)) * (STEP_S * KEEP), dtype=np.float64)
    columns = [np.array([row[k] for row in rows]) for k in range(4)]
    return DeckMotion(t, columns[0], columns[1], columns[2], toward=columns[3], rack=rack, exit_x_in=exit_x)


def _step(deck: _Deck, ball: BallSpec) -> None:
    _hit_by_ball(deck, ball)
    _hit_each_other(deck)
    _topple(deck)
    _slide(deck)
    _move_ball(deck, ball)


def _kick(deck: _Deck, i: int, dv: Array) -> None:
    """Give a pin a push: it moves, starts to topple that way and may hop."""
    deck.v[i] += dv
    push = float(np.hypot(*dv))
    if push < 3.0:
        return
    if deck.tilt[i] < FALLEN_RAD:
        lean = deck.rate[i] * np.array([math.cos(deck.toward[i]), math.sin(deck.toward[i])]) + dv / 13.0
        deck.toward[i] = math.atan2(lean[1], lean[0])
        deck.rate[i] = min(float(np.hypot(*lean)), 16.0)
    deck.vz[i] = max(deck.vz[i], min(0.11 * push * (0.6 + 0.13 * ((3 * i) % 7)), 60.0))


def _reach(tilt: Array) -> Array:
    return PIN_BELLY_RADIUS_IN + 0.5 * np.sin(np.minimum(tilt, math.pi / 2))


def _hit_by_ball(deck: _Deck, ball: BallSpec) -> None:
    if deck.ball[2] < 0:
        return
    gap = deck.p - deck.ball[:2]
    distance = np.hypot(gap[:, 0], gap[:, 1])
    reach = ball.radius_in + PIN_BELLY_RADIUS_IN
    for i in np.flatnonzero(deck.there & (distance < reach) & (deck.z > -1) & (deck.z < 5)):
        n = gap[i] / distance[i]
        closing = float((deck.ball_v - deck.v[i]) @ n)
        deck.p[i] = deck.ball[:2] + n * reach
        if closing > 0:
            share = ball.weight_lb / (ball.weight_lb + PIN_WEIGHT_LB)
            _kick(deck, int(i), n * closing * (1 + RESTITUTION) * share)
            deck.ball_v = deck.ball_v - n * closing * (1 + RESTITUTION) * (1 - share)


def _hit_each_other(deck: _Deck) -> None:
    gap = deck.p[None] - deck.p[:, None]
    distance = np.hypot(gap[..., 0], gap[..., 1]) + np.eye(10) * 1e6
    reach = (_reach(deck.tilt)[:, None] + _reach(deck.tilt)[None]) / 1.0
    low = deck.there & (deck.z > -1) & (deck.z < 9)
    for i, j in np.argwhere(np.triu(distance < reach) & low[:, None] & low[None]):
        n = gap[i, j] / distance[i, j]
        closing = float((deck.v[i] - deck.v[j]) @ n)
        if closing > 0:
            push = n * closing * (1 + RESTITUTION) / 2
            _kick(deck, int(i), -push)
            _kick(deck, int(j), push)


def _topple(deck: _Deck) -> None:
    """A pin rocks on its base: it falls when it passes about ten degrees, else settles."""
    up = deck.tilt < math.pi / 2
    deck.rate += np.where(up & (deck.tilt > 0), 45 * np.sin(deck.tilt - 0.17) * STEP_S, 0)
    deck.tilt += deck.rate * STEP_S
    rest = deck.tilt <= 0
    deck.rate[rest] *= np.where(deck.rate[rest] < 0, -0.3, 1.0)
    deck.rate[rest & (deck.rate < 0.05)] = 0
    deck.tilt[rest] = 0
    flat = deck.tilt >= math.pi / 2
    deck.tilt[flat] = math.pi / 2
    deck.rate[flat] = 0


def _slide(deck: _Deck) -> None:
    speed = np.hypot(deck.v[:, 0], deck.v[:, 1])
    slow = np.where(deck.tilt > 1.4, ROLL_IN, SLIDE_IN) * STEP_S * (deck.z <= 0.05)
    deck.v *= np.maximum(1 - slow / np.maximum(speed, 1e-9), 0)[:, None]
    deck.p += deck.v * STEP_S
    wall = np.abs(deck.p[:, 0]) > OPENING_IN - 2
    outward = wall & (deck.p[:, 0] * deck.v[:, 0] > 0)
    deck.v[outward, 0] *= -0.45
    back = (deck.p[:, 1] > CURTAIN_IN - 4) & (deck.v[:, 1] > 0)
    deck.v[back, 1] *= -0.1
    floor = np.where(np.abs(deck.p[:, 0]) > EDGE_IN, -2.5, 0.0)
    floor = np.where(deck.p[:, 1] > PIT_IN, -25.0, floor)
    deck.vz -= GRAVITY_IN * STEP_S
    deck.z += deck.vz * STEP_S
    landed = deck.z < floor
    deck.z[landed] = np.maximum(deck.z, floor)[landed]
    deck.vz[landed] = np.where(deck.vz < -25, -0.35 * deck.vz, 0)[landed]
    deep = deck.z < -1.0
    deck.rate[deep & (deck.tilt < 1.2)] = 6.0


def _move_ball(deck: _Deck, ball: BallSpec) -> None:
    deck.ball[:2] += deck.ball_v * STEP_S
    if deck.ball[1] > CURTAIN_IN - ball.radius_in:
        deck.ball_v *= np.where(np.array([False, deck.ball_v[1] > 0]), -0.05, 0.99)
    if deck.ball[1] > DECK_END_IN:
        deck.ball_fall += GRAVITY_IN * STEP_S
        deck.ball[2] = max(deck.ball[2] - deck.ball_fall * STEP_S, -20.0)
    elif abs(deck.ball[0]) > EDGE_IN:
        deck.ball[2] = max(deck.ball[2] - 60 * STEP_S, ball.radius_in - 3.0)
        if abs(deck.ball[0]) > OPENING_IN - ball.radius_in and deck.ball[0] * deck.ball_v[0] > 0:
            deck.ball_v = deck.ball_v * np.array([-0.3, 1.0])
