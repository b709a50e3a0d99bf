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
from scipy.special import ndtri
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
SCATTERED = 8


@dataclass(frozen=True, slots=True)
class Scatter:
    """How far one bowler's releases scatter (standard deviations)."""

    board: float
    launch_deg: float
    speed_mph: float


@dataclass(frozen=True, slots=True)
class Choice:
    """A ball on a line of a lane."""

    lane: str
    ball: str
    hand: Hand
    line: Line


@dataclass(frozen=True, slots=True)
class Next:
    """What every chance is worked out with: draws of the lane, the window, the next shot's rank, a bowler's scatter."""

    posterior: Posterior
    window: Window
    number: float
    scatter: Scatter

    def thinned(self, draws: int) -> Next:
        """The same with fewer draws, evenly taken."""
        if len(self.posterior) <= draws:
            return self
        rows = np.linspace(0, len(self.posterior) - 1, draws).astype(int)
        return replace(self, posterior=replace(self.posterior, deviates=self.posterior.deviates[rows]))


def chances(now: Next, choices: Sequence[Choice], throws: int) -> Array:
    """Chance ``(k, c)`` of the window on each draw of the lane ``(k,)`` for each choice, by so many throws a draw.

    ``throws`` is best a power of two (Sobol points are balanced then).
    """
    points = _points(len(now.posterior), throws)
    out = np.zeros((len(now.posterior), len(choices)))
    for columns in _alike(choices):
        paths = thrown(now, [choices[k] for k in columns], points)
        held = now.window.holds(paths).reshape(len(columns), len(now.posterior), throws)
        out[:, columns] = held.mean(axis=2).T
    return out


def middles(now: Next, choices: Sequence[Choice]) -> Paths:
    """Paths of choices of one lane, ball and hand as meant, without scatter: one on each draw, choice by choice."""
    return thrown(now, choices, np.zeros((1, _SIZE)))


def singles(now: Next, choices: Sequence[Choice]) -> Paths:
    """The same with what a single shot finds beside the map and its spin's scatter, release as meant."""
    points = _points(len(now.posterior), 1)
    points[..., :_RELEASED] = 0.0
    return thrown(now, choices, points)


def scattered(now: Next, choice: Choice) -> Paths:
    """Single shots of a bowler who scatters: eight on each draw, draw by draw."""
    return thrown(now, [choice], _points(len(now.posterior), SCATTERED))


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


def thrown(now: Next, choices: Sequence[Choice], points: Array) -> Paths:
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
    sd = np.array([now.scatter.board, now.scatter.launch_deg, now.scatter.speed_mph])
    board, launch, speed = (meant + sd * release[tiled]).T
    releases = Releases(first.hand, board, launch, speed, level_rpm=rpm[tiled], rotation_deg=rotation[tiled])
    # toward the hand's edge, so that a left-hander on the mirrored lane has the mirrored chances
    outward = 1.0 if first.hand == "right" else -1.0
    return simulate(
        posterior.lane(first.lane).take(own[tiled]), covers.take(tiled), releases, now.number,
        left_out_boards=outward * MODEL_BOARDS * every[tiled, -1],
    )  # fmt: skip
