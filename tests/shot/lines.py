"""Paths with closed forms: straight lines and parabolas, given as states."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.lane import Hand, x_from_board
from tracker.path.motion import AX, SIZE, VX, VY, X, Y
from tracker.path.posterior import PathDraws
from tracker.path.smooth import SmoothPath
from tracker.shot.analyse import Arrows
from tracker.shot.curves import Curves, curves
from tracker.shot.numbers import Chevron, shot_numbers

Array = NDArray[np.float64]
RADIUS_IN = 4.2975
SPEED_IN_S = 290.0
LAYDOWN_FT = 1.4
ARROWS = Arrows(15.8, 0.4, 1.1, 0.15, modelled=False)


def parabola(
    board_60: float, slope_60: float, bend_per_ft: float = 0.0, *, from_ft: float = 1.0, to_ft: float = 59.8
) -> Array:
    """States ``(n, 8)`` of a right-hander's ball with dx/dy linear in y, at 60 rows a second.

    ``board_60`` and ``slope_60`` (toward the pocket, tangent) are those at 60 ft, ``bend_per_ft`` the slope's change.
    """
    y = np.arange(from_ft * 12, to_ft * 12, SPEED_IN_S / 60)
    ahead = y - 720.0
    slope = slope_60 + bend_per_ft / 12 * ahead
    x = float(x_from_board(board_60, "right")) - slope_60 * ahead - bend_per_ft / 24 * ahead**2
    states = np.zeros((len(y), SIZE))
    states[:, X], states[:, Y], states[:, VY] = x, y, SPEED_IN_S
    states[:, VX], states[:, AX] = -slope * SPEED_IN_S, -bend_per_ft / 12 * SPEED_IN_S**2
    return states


def mirrored(states: Array) -> Array:
    """The left-hander's path."""
    other = states.copy()
    other[..., [X, VX, AX]] *= -1
    return other


def curves_of(states: Array, hand: Hand = "right", *, reaches_pins: bool = True) -> Curves:
    """Curves of one path."""
    return curves(states[None], len(states) - 1, hand, RADIUS_IN, reaches_pins=reaches_pins)


def numbers_of(states: Array, hand: Hand = "right", *, reaches_pins: bool = True) -> dict[str, float]:
    """Numbers of one path."""
    chevron = Chevron(np.array([15.8]), np.array([1.1]))
    found = shot_numbers(curves_of(states, hand, reaches_pins=reaches_pins), np.array([LAYDOWN_FT]), chevron)
    return {name: float(value[0]) for name, value in found.values.items()}


def smooth_of(states: Array, *, reaches_pins: bool = True) -> SmoothPath:
    """A smoothed path, all of it seen, with small covariance."""
    n = len(states)
    return SmoothPath(
        frame=np.arange(n),
        t_s=np.arange(n) / 60,
        mean=states,
        covariance=np.tile(np.eye(SIZE) * 0.01, (n, 1, 1)),
        pixel=np.zeros((n, 2)),
        pixel_covariance=np.tile(np.eye(2), (n, 1, 1)),
        seen=np.ones(n, dtype=bool),
        nis=np.full(n, 2.0),
        reaches_pins=reaches_pins,
    )


def draws_of(states: Array, count: int = 40, *, board_sd: float = 0.1, slope_sd: float = 0.002) -> PathDraws:
    """Equally likely paths: the path shifted both ways (1 in along) and turned about 30 ft."""
    random = np.random.default_rng(2)
    many = np.repeat(states[None], count, axis=0)
    shift, turn = board_sd * random.standard_normal(count), slope_sd * random.standard_normal(count)
    many[..., X] += shift[:, None] + turn[:, None] * (states[:, Y] - 360.0)
    many[..., Y] += random.standard_normal((count, 1))
    many[..., VX] += turn[:, None] * states[:, VY]
    return PathDraws(np.arange(len(states)) / 60, states, many)
