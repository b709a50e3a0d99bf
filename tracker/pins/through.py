"""The ball among the pins: many possible ways through the rack, weighed by where the pictures show the ball.

Each way is that of smooth discs (:mod:`tracker.pins.collision`), with weights and restitution drawn from what is
allowed, pins that have moved before the ball comes to them, and pushes that nobody foresees; it is a particle filter
(Gordon, Salmond and Smith 1993, from memory) with a fixed seed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import DECK_END_IN, LANE_WIDTH_IN, PIN_BELLY_RADIUS_IN, pin_positions
from tracker.pins.ballview import BallView
from tracker.pins.collision import BALL_LB_RANGE, PIN_LB, RESTITUTION_RANGE
from tracker.video.reader import Crop

Array = NDArray[np.float64]

WAYS = 700
SEED = 7
STEP_S = 0.005
GONE_SHARE = 0.12
"""Chance that a pin is no longer where it stood when the ball comes to it (own estimate)."""
NORMAL_DEG = 8.0
"""Standard deviation of the direction of an impact: pins lean and have moved when they are hit (own estimate)."""
FIRST_DEG = 2.0
"""The same for the first pin, which stands in its place."""
PUSH_IN_S = 14.0
"""Unforeseen change of velocity sideways while a ball is on the deck (standard deviation, own estimate)."""
DECK_S = 0.2
JITTER_IN = 0.12
LONGEST_S = 0.6
NEARLY_ALL = 0.97
CLEAR = 2.0
"""Logarithm of how many times likelier the ball is in its place than no ball, from which on it is seen."""
FALL_S = 0.035
"""A ball that falls off the deck's end is still seen for so long."""
GRAVITY_IN = 386.1
PLACE_U_IN = 0.8
"""What light in the pit, pins before the ball and its mirror image pull at its disc (by rendered shots)."""


@dataclass(frozen=True, slots=True, eq=False)
class Through:
    """What the pictures leave of the ball's ways.

    Attributes
    ----------
    exit_x_in : array of shape (k,)
        Where equally likely ways leave the deck's end; those that do not leave it on the lane are left out.
    leaves : float
        Share of the ways that leave over the deck's end.
    turn_deg : array of shape (k,)
        Change of direction from before the first contact to the straight line from there to the exit, positive to the
        right.
    first_pin : array of shape (k,)
        Pin hit first, 0 where none is.
    seen : int
        Pictures in which some way has the ball clearly.
    track : tuple of (float, array of shape (2,))
        Time and mean place x, y in each picture while the ball is on the deck.
    """

    exit_x_in: Array
    leaves: float
    turn_deg: Array
    first_pin: NDArray[np.int64]
    seen: int
    track: tuple[tuple[float, Array], ...]


class _Ways:
    """The ways and their state: place, velocity, what was hit, where they left."""

    def __init__(self, states: Array, rack: Sequence[int], radius_in: float) -> None:
        self._rng = np.random.default_rng(SEED)
        rng = self._rng
        chosen = states[rng.integers(0, len(states), WAYS)]
        self.place, self.speed = chosen[:, :2].copy(), chosen[:, 2:4].copy()
        self.start, self.heading = self.place.copy(), chosen[:, 2] / chosen[:, 3]
        self.there = np.zeros((WAYS, 10), dtype=bool)
        self.there[:, [n - 1 for n in rack]] = True
        self._gone = rng.random((WAYS, 10)) < GONE_SHARE
        self.first = np.zeros(WAYS, dtype=np.int64)
        self.exit = np.full(WAYS, np.nan)
        self.left_s = np.zeros(WAYS)
        weight = rng.uniform(*BALL_LB_RANGE, WAYS)
        self._back = (1 + rng.uniform(*RESTITUTION_RANGE, WAYS)) * PIN_LB / (weight + PIN_LB)
        self._reach = radius_in + PIN_BELLY_RADIUS_IN
        self._radius = radius_in

    def advance(self, duration_s: float) -> None:
        """Roll all ways on."""
        left = duration_s
        while left > 1e-9:
            step = min(left, STEP_S)
            left -= step
            before = self.place[:, 1].copy()
            self.place += self.speed * step
            free = np.isnan(self.exit)
            crossed = free & (before < DECK_END_IN) & (self.place[:, 1] >= DECK_END_IN)
            self.exit[crossed] = self.place[crossed, 0]
            self.left_s[~free | crossed] += step
            push = self._rng.normal(0.0, PUSH_IN_S * np.sqrt(step / DECK_S), WAYS)
            self.speed[:, 0] += np.where(self.first > 0, push, 0.0)
            self._hit()

    def _hit(self) -> None:
        spots = pin_positions()
        for pin in np.flatnonzero(self.there.any(axis=0)):
            k = np.flatnonzero(self.there[:, pin] & (np.abs(self.place[:, 1] - spots[pin, 1]) < self._reach))
            gap = spots[pin] - self.place[k]
            distance = np.hypot(gap[:, 0], gap[:, 1])
            touch = distance < self._reach
            if not touch.any():
                continue
            k, gap, distance = k[touch], gap[touch], distance[touch]
            self.there[k, pin] = False
            new = self.first[k] == 0
            self.first[k[new]] = pin + 1
            real = new | ~self._gone[k, pin]
            spread = np.where(new[real], FIRST_DEG, NORMAL_DEG)
            k, normal = k[real], gap[real] / distance[real][:, None]
            turn = np.radians(self._rng.normal(0.0, spread))
            c, s = np.cos(turn), np.sin(turn)
            normal = np.stack([c * normal[:, 0] - s * normal[:, 1], s * normal[:, 0] + c * normal[:, 1]], axis=-1)
            closing = np.maximum((self.speed[k] * normal).sum(axis=1), 0.0)
            self.speed[k] -= normal * (closing * self._back[k])[:, None]

    def score(self, ball: BallView, crop: Crop) -> Array:
        """Logarithm of the likelihood of each way by one picture."""
        table = ball.scores(crop)
        drop = -0.5 * GRAVITY_IN * self.left_s**2
        at = np.column_stack([self.place, self._radius + drop])
        pixels = ball.view.pixels(at) - 0.5
        told = _read(table, pixels)
        # what has fallen into the pit or the gutter is told by no picture
        unseen = (self.left_s > FALL_S) | (np.abs(self.place[:, 0]) > LANE_WIDTH_IN / 2)
        return np.where(unseen, np.median(told[~unseen]) if (~unseen).any() else 0.0, told)

    def resample(self, log_weight: Array) -> None:
        """Keep ways in proportion to their weights, systematically, each with a little jitter."""
        weight = np.exp(log_weight - log_weight.max())
        edges = np.cumsum(weight / weight.sum())
        kept = np.searchsorted(edges, (self._rng.random() + np.arange(WAYS)) / WAYS).clip(0, WAYS - 1)
        for name in ("place", "speed", "start", "heading", "there", "_gone", "first", "exit", "left_s", "_back"):
            setattr(self, name, getattr(self, name)[kept])
        inside = np.isnan(self.exit)
        self.place[inside, 0] += self._rng.normal(0.0, JITTER_IN, int(inside.sum()))


def follow(
    ball: BallView, crops: Sequence[Crop], states: Array, *, start_s: float, rack: Sequence[int], radius_in: float
) -> Through:
    """Follow the ball from before its first contact until it has left the deck.

    Parameters
    ----------
    ball : BallView
    crops : sequence of Crop
        Pictures in order of time.
    states : array of shape (m, 4)
        Equally likely x, y, vx, vy (inches, seconds) of the ball at ``start_s``, before any contact.
    start_s : float
        Their time.
    rack : sequence of int
        Pins that stand.
    radius_in : float
        Radius of the ball.
    """
    ways = _Ways(states, rack, radius_in)
    now, seen = start_s, 0
    track: list[tuple[float, Array]] = []
    for crop in crops:
        if crop.t_s <= now:
            continue
        if crop.t_s > start_s + LONGEST_S or np.isfinite(ways.exit).mean() > NEARLY_ALL:
            break
        ways.advance(crop.t_s - now)
        now = crop.t_s
        told = ways.score(ball, crop)
        seen += bool(told.max() > CLEAR)
        ways.resample(told)
        if np.isnan(ways.exit).mean() > 0.5:
            track.append((now, ways.place.mean(axis=0)))
    while now < start_s + LONGEST_S and np.isfinite(ways.exit).mean() < NEARLY_ALL:
        ways.advance(4 * STEP_S)
        now += 4 * STEP_S
    on_lane = np.isfinite(ways.exit) & (np.abs(ways.exit) < LANE_WIDTH_IN / 2)
    run = DECK_END_IN - ways.start[on_lane, 1]
    turned = np.arctan((ways.exit[on_lane] - ways.start[on_lane, 0]) / run) - np.arctan(ways.heading[on_lane])
    exits, leaves = ways.exit[on_lane], float(on_lane.mean())
    return Through(exits, leaves, np.degrees(turned), ways.first[on_lane], seen=seen, track=tuple(track))


def _read(table: NDArray[np.float32], pixels: Array) -> Array:
    """Values ``(n,)`` of a table at places (column, row), between its cells linearly; its border outside."""
    h, w = table.shape
    u, v = np.clip(pixels[:, 0], 0, w - 1.001), np.clip(pixels[:, 1], 0, h - 1.001)
    i, j = v.astype(int), u.astype(int)
    a, b = v - i, u - j
    rows = (table[i, j] * (1 - b) + table[i, j + 1] * b, table[i + 1, j] * (1 - b) + table[i + 1, j + 1] * b)
    return np.asarray(rows[0] * (1 - a) + rows[1] * a)
