"""How well a simulated session is read: oil end, and contact of a shot that the fit was not told of."""

from __future__ import annotations

import time
from dataclasses import dataclass

import numpy as np

from lanes.sessions import Session
from tracker.session.lanefit import fit_lanes, model_covariance
from tracker.session.layout import start_of
from tracker.session.oil import read_oil
from tracker.session.posterior import Aim, Posterior, draw_posterior, predict
from tracker.session.simulate import GRID_IN
from tracker.session.throws import Throw

LAUNCH_DRAWN = (0.5, 0.5, 0.5)
EARLY_FT, LATE_FT = 20.0, 38.0
END_U_DEG = 0.06
"""Standard uncertainty of the measured direction at the pins (the sample session's entry angles, camera included)."""
SEEN = ("to 20 ft", "to 20 ft, and the direction in which it rolls in", "to 38 ft")


@dataclass(frozen=True)
class Guess:
    """Value, its standard uncertainty, and what is true."""

    value: float
    u: float
    true: float

    @property
    def sigmas(self) -> float:
        return (self.value - self.true) / self.u

    @property
    def error(self) -> float:
        return self.value - self.true


@dataclass(frozen=True)
class Outcome:
    shots: int
    oil: Guess
    inside_95: bool
    contact: dict[str, list[Guess]]
    entry: dict[str, list[Guess]]
    held_out: int
    seconds: float
    order_told: int
    order_right: int


def outcome(session: Session) -> Outcome:
    begun = time.process_time()
    fit = fit_lanes(session.throws, {})
    seconds = time.process_time() - begun
    posterior = draw_posterior(fit, 600)
    oil = read_oil(posterior, "1")
    contact: dict[str, list[Guess]] = {seen: [] for seen in SEEN}
    entry: dict[str, list[Guess]] = {seen: [] for seen in SEEN}
    random = np.random.default_rng(8)
    for held in session.held:
        if held.ball in fit.layout.balls and held.hand in fit.layout.hands:
            end = session.entry[held.shot_id] + END_U_DEG * random.standard_normal()
            for seen, until, told in zip(SEEN, (EARLY_FT, EARLY_FT, LATE_FT), (None, end, None), strict=True):
                c, e = foretold(posterior, held, until, told)
                contact[seen].append(Guess(*c, session.contact[held.shot_id]))
                entry[seen].append(Guess(*e, session.entry[held.shot_id]))
    told, right = _order(posterior, session.grip)
    return Outcome(
        len(session.throws), Guess(oil.end_ft.value, oil.end_ft.u, session.oil_end_ft),
        oil.low_ft <= session.oil_end_ft <= oil.high_ft, contact, entry, len(fit.held_out), seconds, told, right,
    )  # fmt: skip


def foretold(
    posterior: Posterior, throw: Throw, until_ft: float, end_deg: float | None = None
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Contact board and entry angle with u, from the path up to a distance and the lane as other shots tell it.

    ``end_deg`` is the direction in which the ball rolls in: it tells the spin of the launch and nothing of the oil,
    since the velocity of a ball that rolls is that of the launch less a fixed part of its slip, whatever the friction.

    Draws of lane, ball, bowler and launch are conditioned on the stations seen (linear regression of the draws, as an
    ensemble Kalman filter does; Evensen, from memory).
    """
    s, start = throw.stations, start_of(throw)
    aim = Aim(throw.lane, throw.ball, throw.hand, start.board, start.launch_deg, start.speed_mph, *LAUNCH_DRAWN)
    paths = predict(posterior, aim, throw.number, seed=3)
    k, n = int(np.sum(s.distance_ft <= until_ft)), len(s.distance_ft)
    rows = np.r_[0:k, n : n + k - 1]
    at = [np.stack([np.interp(s.distance_ft * 12, GRID_IN, line) for line in v]) for v in (paths.board, paths.t_s)]
    seen = np.concatenate([at[0], at[1][:, 1:] - at[1][:, :1]], axis=1)[:, rows]
    wanted = np.concatenate([s.board, s.elapsed_s])[rows]
    noise = (s.covariance + model_covariance(s.distance_ft))[np.ix_(rows, rows)]
    if end_deg is not None:
        seen = np.column_stack([seen, paths.entry_angle_deg])
        wanted = np.append(wanted, end_deg)
        noise = np.pad(noise, (0, 1))
        noise[-1, -1] = END_U_DEG**2
    spread = seen - seen.mean(axis=0)
    total = spread.T @ spread / (len(seen) - 1) + noise
    off = np.random.default_rng(4).multivariate_normal(np.zeros(len(wanted)), noise, len(seen))
    out = []
    for values in (paths.contact_board, paths.entry_angle_deg):
        gain = np.linalg.solve(total, spread.T @ (values - values.mean()) / (len(seen) - 1))
        moved = values + (wanted + off - seen) @ gain
        out.append((float(moved.mean()), float(moved.std())))
    return out[0], out[1]


def _order(posterior: Posterior, grip: dict[str, float]) -> tuple[int, int]:
    """Pairs of balls that the fit tells apart by two u, and how many of them are in the true order."""
    balls = posterior.fit.layout.balls
    told = right = 0
    for k, a in enumerate(balls):
        for b in balls[k + 1 :]:
            apart = posterior.log_grip(a) - posterior.log_grip(b)
            if abs(apart.mean()) > 2 * apart.std():
                told += 1
                right += bool((apart.mean() > 0) == (grip[a] > grip[b]))
    return told, right


def covered(guesses: list[Guess]) -> float:
    """Share within two u."""
    return float(np.mean([abs(g.sigmas) <= 2 for g in guesses]))


def median_error(guesses: list[Guess]) -> float:
    return float(np.median([abs(g.error) for g in guesses]))
