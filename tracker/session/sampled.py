"""Where on the lane the shots have told something: near a path of a ball that still slipped.

Friction is felt only under a ball that slips. A place counts as sampled if the measured path of a fitted shot passes
within two boards of it (a ball's contact is a board or so wide, and oil does not change faster than machines lay it:
own choice) before that ball has come to roll. Elsewhere the map is the prior carried along by the model's form, and
the answer is ``unsampled``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import BOARD_COUNT, BOARD_WIDTH_IN, INCHES_PER_FOOT, board_from_x, x_from_board
from tracker.session.lanemap import FrictionOverPath
from tracker.session.oil import LINE_FT, lines_of
from tracker.session.posterior import Posterior

Array = NDArray[np.float64]

NEAR_BOARDS = 2.0
MAP_FT = np.arange(2.0, 60.0, 2.0)
MAP_BOARDS = np.arange(1.0, BOARD_COUNT + 1.0)
SAMPLED_SHARE = 0.8
WAY_FT = (15.0, 46.0)


@dataclass(frozen=True, slots=True)
class FrictionMap:
    """Friction of a lane for a ball of grip 1.

    Attributes
    ----------
    board : ndarray of shape (39,)
        Counted from the right edge.
    distance_ft : ndarray of shape (k,)
    friction, friction_u : ndarray of shape (k, 39)
        Median and standard uncertainty; NaN where nothing was thrown.
    sampled : bool array of shape (k, 39)
    """

    board: Array
    distance_ft: Array
    friction: Array
    friction_u: Array
    sampled: NDArray[np.bool_]


def sampled_places(posterior: Posterior, lane: str) -> NDArray[np.bool_]:
    """Which places ``(k, 39)`` of :data:`MAP_FT` by :data:`MAP_BOARDS` a slipping ball passed within two boards."""
    out = np.zeros((len(MAP_FT), len(MAP_BOARDS)), dtype=np.bool_)
    for k, throw in enumerate(posterior.fit.throws):
        if throw.lane == lane:
            out |= places_of(lines_of([throw])[0], LINE_FT, posterior.slip_end_ft(k))
    return out


def places_of(x_in: Array, y_ft: Array, slip_end_ft: float) -> NDArray[np.bool_]:
    """Places ``(k, 39)`` that one path samples: at ``x_in`` ``(g,)`` at distances ``(g,)``, slipping up to one."""
    path = np.interp(MAP_FT, y_ft, x_in)
    near = np.abs(path[:, None] - x_from_board(MAP_BOARDS, "right")) <= NEAR_BOARDS * BOARD_WIDTH_IN
    return np.asarray((slip_end_ft > MAP_FT)[:, None] & near)


def sampled_share(posterior: Posterior, lane: str, x_in: Array, y_ft: Array) -> Array:
    """Share ``(m,)`` of paths that runs over sampled places.

    Of paths at ``x_in`` ``(m, g)`` inches to the right of the lane's middle, at ``y_ft`` ``(g,)``; from 15 ft on, where
    lines part, to where balls usually roll. Below :data:`SAMPLED_SHARE` what is said of such a path is ``unsampled``.
    """
    return share_over(sampled_places(posterior, lane), x_in, y_ft)


def share_over(where: NDArray[np.bool_], x_in: Array, y_ft: Array) -> Array:
    """Share ``(m,)`` of paths as for :func:`sampled_share` that runs over some places ``(k, 39)``."""
    on_way = np.flatnonzero((y_ft >= WAY_FT[0]) & (y_ft <= WAY_FT[1]))
    row = np.argmin(np.abs(MAP_FT - y_ft[on_way, None]), axis=1)
    column = np.clip(np.round(board_from_x(x_in[:, on_way], "right")).astype(int) - 1, 0, BOARD_COUNT - 1)
    return np.asarray(where[row, column].mean(axis=1))


def friction_map(posterior: Posterior, lane: str, number: float) -> FrictionMap:
    """Friction of a lane where it is sampled, when the lane has had so many shots."""
    maps = posterior.lane(lane)
    friction = FrictionOverPath.on_grid(maps, MAP_FT * INCHES_PER_FOOT, np.full(len(maps), number))
    columns = []
    for x in x_from_board(MAP_BOARDS, "right"):
        mu = np.exp(friction.log_mu(np.full((len(maps), len(MAP_FT)), float(x))))
        columns.append((np.median(mu, axis=0), np.std(mu, axis=0)))
    middle, u = (np.stack([c[k] for c in columns], axis=1) for k in (0, 1))
    sampled = sampled_places(posterior, lane)
    blank = np.where(sampled, 0.0, np.nan)
    return FrictionMap(MAP_BOARDS, MAP_FT, middle + blank, u + blank, sampled)
