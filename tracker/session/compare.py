"""Balls beside each other on one line of one lane: when they hook, how sharply, what they have left."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.lane import Hand
from tracker.results import Quantity
from tracker.session.posterior import Aim, Posterior, predict
from tracker.session.simulate import Paths

Array = NDArray[np.float64]

COMPARED = (
    "onset_ft",
    "hook_length_ft",
    "slip_end_ft",
    "breakpoint_ft",
    "breakpoint_board",
    "speed_loss_mph",
    "entry_angle_deg",
    "contact_board",
)
HAS_SHARE = 0.8
"""Share of the draws that must have a number: slip may end after contact, a ball may not hook."""
SURE = 2.0


@dataclass(frozen=True, slots=True)
class BallReading:
    """One ball on the common line.

    Attributes
    ----------
    ball : str
    log_grip : Quantity
        Log grip factor.
    values : mapping of str to Quantity
        Numbers of :data:`COMPARED` on the middle of the line.
    scatter : mapping of str to float
        Standard deviation of single shots around that: the bowler's release and what is special to a shot.
    slip_ends_share : float
        How likely slip ends before contact.
    """

    ball: str
    log_grip: Quantity
    values: dict[str, Quantity]
    scatter: dict[str, float]
    slip_ends_share: float


@dataclass(frozen=True, slots=True)
class Difference:
    """One ball less another on the common line; ``told`` names the numbers that differ by more than two u."""

    ball: str
    other: str
    log_grip: Quantity
    values: dict[str, Quantity]
    told: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Balls on a common line, the stickiest first, and the differences of each pair in this order."""

    line: Aim
    balls: tuple[BallReading, ...]
    differences: tuple[Difference, ...]

    def order(self) -> tuple[str, ...]:
        """Balls by grip, the stickiest first; see the differences for which neighbours are told apart."""
        return tuple(b.ball for b in self.balls)


def common_line(posterior: Posterior, lane: str, hand: Hand) -> Aim:
    """Middle of what a hand threw on a lane, with its first ball there.

    Raises
    ------
    ValueError
        If it threw nothing there.
    """
    rows = [k for k, t in enumerate(posterior.fit.throws) if t.lane == lane and t.hand == hand]
    if not rows:
        msg = f"common_line: no {hand}-hander's shot on lane {lane!r} is in the fit; take a lane and hand of its layout"
        raise ValueError(msg)
    launches = np.array([posterior.launch_of(k) for k in rows])
    board, launch, speed = np.median(launches, axis=0)
    ball = posterior.fit.throws[rows[0]].ball
    return Aim(lane, ball, hand, float(board), float(launch), float(speed))


def compare_balls(posterior: Posterior, line: Aim, number: float) -> Comparison:
    """Balls of the session on one line.

    Parameters
    ----------
    posterior : Posterior
    line : Aim
        The line with the bowler's scatter; its ball does not count.
    number : float
        Rank on the lane at which they are compared.
    """
    balls = posterior.fit.layout.balls
    middle = {b: predict(posterior, replace(line, ball=b), number, single=False) for b in balls}
    single = {b: predict(posterior, replace(line, ball=b), number) for b in balls}
    order = sorted(balls, key=lambda b: -float(np.mean(posterior.log_grip(b))))
    readings = tuple(_reading(posterior, b, middle[b], single[b]) for b in order)
    pairs = [(a, b) for k, a in enumerate(order) for b in order[k + 1 :]]
    return Comparison(line, readings, tuple(_difference(posterior, a, b, (middle[a], middle[b])) for a, b in pairs))


def _reading(posterior: Posterior, ball: str, middle: Paths, single: Paths) -> BallReading:
    values = {name: quantity_of(getattr(middle, name)) for name in COMPARED}
    apart = {name: getattr(single, name) - getattr(middle, name) for name in COMPARED}
    scatter = {n: float(np.nanstd(v)) for n, v in apart.items() if np.isfinite(v).mean() >= HAS_SHARE}
    ends = float(np.mean(np.isfinite(middle.slip_end_ft)))
    return BallReading(ball, quantity_of(posterior.log_grip(ball)), values, scatter, ends)


def _difference(posterior: Posterior, ball: str, other: str, paths: tuple[Paths, Paths]) -> Difference:
    values = {name: quantity_of(getattr(paths[0], name) - getattr(paths[1], name)) for name in COMPARED}
    told = tuple(n for n, q in values.items() if q.value is not None and q.u and abs(q.value) > SURE * q.u)
    return Difference(ball, other, quantity_of(posterior.log_grip(ball) - posterior.log_grip(other)), values, told)


def quantity_of(draws: Array) -> Quantity:
    """Median and standard uncertainty (central 95 % over 3.92) of draws; empty where too few have the number."""
    found = draws[np.isfinite(draws)]
    if len(found) < HAS_SHARE * len(draws):
        return Quantity(missing="not_determined")
    low, middle, high = np.percentile(found, [2.5, 50.0, 97.5])
    return Quantity(float(middle), float(high - low) / 3.92)
