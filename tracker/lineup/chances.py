"""How likely lines come to the pocket: on each draw of the lane, under the bowler's own scatter.

Release scatter, spin scatter and what a single shot finds beside the map are points of a scrambled Sobol sequence
(scipy), each draw of lane, ball and bowler with a block of it, the same for every line: lines differ by what they are,
not by luck.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

from calibration.lane import Hand
from tracker.lineup.lines import Line
from tracker.lineup.window import Window
from tracker.session.lanefit import MODEL_BOARDS
from tracker.session.layout import SHOT_SIZE, covers_of, spins_of
from tracker.session.posterior import Posterior
from tracker.session.release import Releases
from tracker.session.simulate import Paths, simulate

Array = NDArray[np.float64]

_RELEASED, _SPUN = 3, 2
_OWN = SHOT_SIZE - _RELEASED - _SPUN
_SIZE = SHOT_SIZE + 1
"""Release, spin, what a shot finds beside the map, and what the model leaves out."""
_SEED = 29
THROWS = 32
_NODES, _NODE_BOARDS, _LEAST_VARIANCE = 8, 0.2, 1e-6
"""Cells of a window at least, and their width at most."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A ball on a line of a lane."""

    lane: str
    ball: str
    hand: Hand
    line: Line


@dataclass(frozen=True, slots=True, eq=False)
class Outlook:
    """What every chance is worked out with.

    Attributes
    ----------
    posterior : Posterior
        Draws ``(k,)`` of lanes, balls and bowlers.
    window : Window
    number : float
        Rank of the next shot on its lane.
    scatter : ndarray of shape (k, 3)
        Standard deviations of the bowler's releases on each draw: board, launch in degrees, mph.
    """

    posterior: Posterior
    window: Window
    number: float
    scatter: Array

    def part(self, rows: NDArray[np.intp]) -> Outlook:
        """The same on some of the draws."""
        return replace(
            self, posterior=replace(self.posterior, deviates=self.posterior.deviates[rows]), scatter=self.scatter[rows]
        )

    def thinned(self, draws: int) -> Outlook:
        """The same with fewer draws, evenly taken."""
        count = len(self.posterior)
        return self if count <= draws else self.part(np.linspace(0, count - 1, draws).astype(np.intp))


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """Where throws arrive: mean ``(..., 2)``, covariance ``(..., 2, 2)`` of contact board and entry angle, degrees."""

    mean: Array
    covariance: Array

    def chance(self, window: Window) -> Array:
        """Chance ``(...)`` of the window for normal board and angle: board in cells, angle given their middle."""
        count = max(_NODES, int(np.ceil((window.high_board - window.low_board) / _NODE_BOARDS)))
        edges = np.linspace(window.low_board, window.high_board, count + 1)
        node = (edges[1:] + edges[:-1]) / 2
        board_sd = np.sqrt(np.maximum(self.covariance[..., 0, 0], _LEAST_VARIANCE))[..., None]
        slope = self.covariance[..., 0, 1, None] / board_sd**2
        rest = np.maximum(self.covariance[..., 1, 1, None] - slope**2 * board_sd**2, _LEAST_VARIANCE)
        off = node - self.mean[..., 0, None]
        angle = self.mean[..., 1, None] + slope * off
        inside = ndtr((window.high_deg - angle) / np.sqrt(rest)) - ndtr((window.low_deg - angle) / np.sqrt(rest))
        cell = np.diff(ndtr((edges - self.mean[..., 0, None]) / board_sd), axis=-1)
        return np.asarray((cell * inside).sum(axis=-1))


@dataclass(frozen=True, slots=True, eq=False)
class Arrivals:
    """Where throws of choices arrive on each draw of the lane.

    Attributes
    ----------
    spread : Spread
        Of each choice on each draw ``(c, k)``.
    on_lane : ndarray of shape (c, k)
        Share of the throws that stay on the lane.
    """

    spread: Spread
    on_lane: Array

    def chance(self, window: Window) -> Array:
        """Chance ``(k, c)`` of the window."""
        return np.asarray((self.spread.chance(window) * self.on_lane).T)

    def take(self, rows: NDArray[np.intp]) -> Arrivals:
        """Those of some choices, in their order."""
        return Arrivals(Spread(self.spread.mean[rows], self.spread.covariance[rows]), self.on_lane[rows])


def arrivals(now: Outlook, choices: Sequence[Choice], throws: int = THROWS) -> Arrivals:
    """Where choices arrive, by so many throws a draw."""
    points = _points(len(now.posterior), throws)
    count = (len(choices), len(now.posterior))
    mean, covariance, on_lane = np.zeros((*count, 2)), np.zeros((*count, 2, 2)), np.zeros(count)
    for rows in _alike(choices):
        paths = thrown(now, [choices[k] for k in rows], points)
        shape = (len(rows), len(now.posterior), throws)
        spread = spread_of(paths, shape)
        mean[rows], covariance[rows] = spread.mean, spread.covariance
        on_lane[rows] = 1.0 - paths.gutter.reshape(shape).mean(axis=2)
    return Arrivals(Spread(mean, covariance), on_lane)


def chances(now: Outlook, choices: Sequence[Choice], throws: int = THROWS) -> Array:
    """Chance ``(k, c)`` of the window on each draw of the lane ``(k,)`` for each choice, by so many throws a draw.

    Hits among a few throws would scatter by several of 100; so the throws give mean and covariance of board and
    angle, and these the chance (:class:`Spread`), less those that leave the lane.
    """
    return arrivals(now, choices, throws).chance(now.window)


def spread_of(paths: Paths, shape: tuple[int, int, int]) -> Spread:
    """Mean and covariance over the last axis of paths in the order of ``shape``."""
    values = np.stack([paths.contact_board.reshape(shape), paths.entry_angle_deg.reshape(shape)], axis=-1)
    mean = values.mean(axis=2)
    off = values - mean[:, :, None]
    return Spread(mean, np.einsum("cksi,cksj->ckij", off, off) / (shape[2] - 1))


def middles(now: Outlook, choices: Sequence[Choice]) -> Paths:
    """Paths of choices of one lane, ball and hand as meant, without scatter: one on each draw, choice by choice."""
    return thrown(now, choices, np.zeros((1, _SIZE)))


def singles(now: Outlook, choices: Sequence[Choice]) -> Paths:
    """The same with what a single shot finds beside the map and its spin's scatter, release as meant."""
    points = _points(len(now.posterior), 1)
    points[..., :_RELEASED] = 0.0
    return thrown(now, choices, points)


def scattered(now: Outlook, choice: Choice, throws: int = THROWS) -> Paths:
    """Single shots of a bowler who scatters, draw by draw."""
    return thrown(now, [choice], _points(len(now.posterior), throws))


def _alike(choices: Sequence[Choice]) -> list[list[int]]:
    """Indices of choices by lane, ball and hand."""
    groups: dict[tuple[str, str, Hand], list[int]] = {}
    for k, one in enumerate(choices):
        groups.setdefault((one.lane, one.ball, one.hand), []).append(k)
    return list(groups.values())


def _points(draws: int, throws: int) -> Array:
    """Standard normal points ``(draws, throws, d)``, each draw's a block of one sequence."""
    count = 1 << (draws * throws - 1).bit_length()
    uniform = qmc.Sobol(_SIZE, rng=np.random.default_rng(_SEED)).random(count)[: draws * throws]
    return np.asarray(ndtri(np.clip(uniform, 1e-6, 1 - 1e-6))).reshape(draws, throws, _SIZE)


def thrown(now: Outlook, choices: Sequence[Choice], points: Array) -> Paths:
    """Paths of choices on every draw of the lane at every point, ``(c k s,)`` in this order.

    ``choices`` share lane, ball and hand; ``points`` is ``(k, s, d)``, or ``(s, d)`` for the same ones on each draw.
    """
    first, posterior = choices[0], now.posterior
    draws = len(posterior)
    every = np.broadcast_to(points, (draws, *points.shape[-2:])).reshape(-1, points.shape[-1])
    own = np.repeat(np.arange(draws), points.shape[-2])
    release, spun, found = np.split(every, [_RELEASED, _RELEASED + _SPUN], axis=1)
    layout = posterior.fit.layout
    ball = posterior.deviates[own][:, layout.ball(first.ball)]
    covers = covers_of(ball, found[:, :_OWN], posterior.fit.grips[layout.balls.index(first.ball)])
    rpm, rotation = spins_of(ball, posterior.deviates[own][:, layout.bowler(first.hand)], spun)
    tiled = np.tile(np.arange(len(own)), len(choices))
    meant = np.repeat([(c.line.laydown_board, c.line.launch_deg, c.line.speed_mph) for c in choices], len(own), axis=0)
    board, launch, speed = (meant + (now.scatter[own] * release)[tiled]).T
    releases = Releases(first.hand, board, launch, speed, level_rpm=rpm[tiled], rotation_deg=rotation[tiled])
    # toward the hand's edge, so that a left-hander on the mirrored lane has the mirrored chances
    outward = 1.0 if first.hand == "right" else -1.0
    return simulate(
        posterior.lane(first.lane).take(own[tiled]), covers.take(tiled), releases, now.number,
        left_out_boards=outward * MODEL_BOARDS * every[tiled, -1],
    )  # fmt: skip
