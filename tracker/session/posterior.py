"""Draws of lanes, balls and bowlers that the measured shots leave possible, and what a next shot would do on them.

The posterior is the normal distribution of the Gauss-Newton matrix at the likeliest parameters (Laplace). One ball's
grip and the lane's friction are known only as a product: the draws hold both, and their prior decides between them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import Hand
from tracker.session.lanefit import LAUNCHED, MODEL_BOARDS, Fit
from tracker.session.lanemap import LaneMaps
from tracker.session.layout import (
    BALL_SIZE,
    BOARD_SD,
    LAUNCH_SD_DEG,
    SHOT_SIZE,
    SPEED_LOG_SD,
    covers_of,
    parts_of,
    releases_of,
    spins_of,
)
from tracker.session.release import Covers, Releases
from tracker.session.simulate import Paths, simulate

Array = NDArray[np.float64]

DRAWS = 400


@dataclass(frozen=True, slots=True)
class Posterior:
    """Equally likely parameters of a fit.

    Attributes
    ----------
    fit : Fit
    deviates : ndarray of shape (m, n)
        Draws in the layout's order.
    """

    fit: Fit
    deviates: Array

    def __len__(self) -> int:
        return len(self.deviates)

    def lane(self, name: str) -> LaneMaps:
        """Friction maps ``(m,)`` of a lane."""
        return LaneMaps.from_deviates(self.deviates[:, self.fit.layout.lane(name)])

    def log_grip(self, ball: str) -> Array:
        """Log grip factor ``(m,)`` of a ball."""
        return self.covers(ball).log_grip

    def covers(self, ball: str, random: np.random.Generator | None = None) -> Covers:
        """Balls ``(m,)`` of a name; with a generator, what single shots find beside the map is drawn too."""
        layout = self.fit.layout
        prior = self.fit.grips[layout.balls.index(ball)]
        own = np.zeros((len(self), SHOT_SIZE - 5))
        if random is not None:
            own = random.standard_normal(own.shape)
        return covers_of(self.deviates[:, layout.ball(ball)], own, prior)

    def launch_of(self, shot: int) -> Array:
        """Board, launch in degrees toward the gutter and speed in mph at the release of the fit's shot of this rank."""
        own = self.fit.deviates[self._own(shot)][None]
        release = releases_of((self._none, self._none, own), self.fit.starts[shot], "right")
        return np.array([release.board[0], release.launch_deg[0], release.speed_mph[0]])

    def launch_u(self, shot: int) -> Array:
        """Standard uncertainties of :meth:`launch_of`."""
        sd = np.sqrt(np.diag(self.fit.covariance)[self._own(shot)[:LAUNCHED]])
        return np.asarray(sd * np.array([BOARD_SD, LAUNCH_SD_DEG, SPEED_LOG_SD * self.launch_of(shot)[2]]))

    def slip_end_ft(self, shot: int) -> float:
        """Where slip of the fit's shot of this rank ends; infinite where it does not before the pins."""
        fit, throw = self.fit, self.fit.throws[shot]
        maps, ball, bowler, own = parts_of(fit.deviates[None, fit.layout.row(throw)])
        covers = covers_of(ball, own[:, 5:], fit.grips[fit.layout.balls.index(throw.ball)])
        release = releases_of((ball, bowler, own), fit.starts[shot], throw.hand)
        end = simulate(maps, covers, release, float(throw.number)).slip_end_ft[0]
        return float(end) if np.isfinite(end) else np.inf

    @property
    def _none(self) -> Array:
        return np.zeros((1, BALL_SIZE))

    def _own(self, shot: int) -> NDArray[np.intp]:
        return self.fit.layout.shot(self.fit.throws[shot].shot_id)

    def spins(self, ball: str | None, hand: Hand, random: np.random.Generator | None = None) -> tuple[Array, Array]:
        """Level spin in rpm and rotation in degrees ``(m,)`` of a bowler.

        With a ball, as its core turns it on the way; with a generator, of single releases.
        """
        bowler = self.deviates[:, self.fit.layout.bowler(hand)]
        shot = np.zeros((len(self), 2)) if random is None else random.standard_normal((len(self), 2))
        none = np.zeros((len(self), BALL_SIZE))
        return spins_of(none if ball is None else self.deviates[:, self.fit.layout.ball(ball)], bowler, shot)


def draw_posterior(fit: Fit, count: int = DRAWS, *, seed: int = 7) -> Posterior:
    """Equally likely parameters around a fit; the same seed gives the same draws."""
    root = np.linalg.cholesky((fit.covariance + fit.covariance.T) / 2)
    noise = np.random.default_rng(seed).standard_normal((count, len(fit.deviates)))
    return Posterior(fit, fit.deviates + noise @ root.T)


@dataclass(frozen=True, slots=True)
class Aim:
    """A shot that could be thrown: where, how fast, with which ball.

    Board, launch and speed are at :data:`tracker.session.release.RELEASE_FT`; each ``_u`` is the standard deviation
    with which single shots are drawn around them: a bowler's scatter, or what is not known of a shot.
    """

    lane: str
    ball: str
    hand: Hand
    board: float
    launch_deg: float
    speed_mph: float
    board_u: float = 0.0
    launch_deg_u: float = 0.0
    speed_mph_u: float = 0.0


def predict(posterior: Posterior, aim: Aim, number: float, *, seed: int = 11, single: bool = True) -> Paths:
    """Paths ``(m,)`` of a shot, one on each draw of lane, ball and bowler.

    Parameters
    ----------
    posterior : Posterior
    aim : Aim
    number : float
        The shot's rank on its lane.
    seed : int
        The same seed gives the same scatter for every aim: differences between aims are smaller than either's spread.
    single : bool
        Whether one single shot is meant, with the aim's ``_u``, scatter of the spin, and what the model leaves out;
        else the middle of many.
    """
    random = np.random.default_rng(seed)
    board, launch, speed = random.standard_normal((LAUNCHED, len(posterior))) * (1.0 if single else 0.0)
    covers = posterior.covers(aim.ball, random if single else None)
    rpm, rotation = posterior.spins(aim.ball, aim.hand, random if single else None)
    releases = Releases(
        aim.hand,
        board=aim.board + aim.board_u * board,
        launch_deg=aim.launch_deg + aim.launch_deg_u * launch,
        speed_mph=aim.speed_mph + aim.speed_mph_u * speed,
        level_rpm=rpm,
        rotation_deg=rotation,
    )
    left_out = MODEL_BOARDS * random.standard_normal(len(posterior)) if single else None
    return simulate(posterior.lane(aim.lane), covers, releases, number, left_out_boards=left_out)
