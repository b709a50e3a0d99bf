"""A path in short, for what several shots together tell: boards and times at a few distances with their covariance.

Rows of a path share rim bias, camera and ball size: taken as independent they would claim far too much. The equally
likely paths that the shot's numbers come from know how the places hang together; their covariance at a few distances
keeps nearly all of it. What the rolling shutter may do to the times is added as one more common error.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import INCHES_PER_FOOT, Hand, board_from_x
from tracker.path.motion import X, Y
from tracker.path.posterior import PathDraws
from tracker.results import Stations

Array = NDArray[np.float64]

STATIONS_FT = np.array([3.0, 6.0, 10.0, 15.0, 20.0, 25.0, 30.0, 34.0, 38.0, 41.0, 44.0, 47.0, 50.0, 53.0, 56.0, 58.5])
"""Every 5 ft on the oil, every 3 ft where balls hook (own choice)."""
LEAST_STATIONS = 5


def station_summary(
    draws: PathDraws, last_seen: int, hand: Hand, *, camera: Camera, ball_radius_in: float, readout_u_s: float
) -> Stations | None:
    """Boards and times of a path at the stations in sight; None where fewer than five are.

    Parameters
    ----------
    draws : PathDraws
        Best path and equally likely ones.
    last_seen : int
        Row of the last measurement.
    hand : {'right', 'left'}
        Hand whose edge boards count from.
    camera : Camera
        The camera the path was measured with.
    ball_radius_in : float
        Height of the ball's centre.
    readout_u_s : float
        Standard uncertainty of the time between the picture's first row and its last one.
    """
    along = draws.mean[: last_seen + 1, Y] / INCHES_PER_FOOT
    seen = STATIONS_FT[(along[0] <= STATIONS_FT) & (along[-1] >= STATIONS_FT)]
    if len(seen) < LEAST_STATIONS:
        return None
    paths = np.concatenate([draws.mean[None], draws.draws])
    where = np.maximum.accumulate(paths[..., Y] / INCHES_PER_FOOT, axis=1)
    x_in = np.stack([np.interp(seen, y, x) for y, x in zip(where, paths[..., X], strict=True)])
    t_s = np.stack([np.interp(seen, y, draws.t_s) for y in where])
    values = np.concatenate([board_from_x(x_in, hand), t_s[:, 1:] - t_s[:, :1]], axis=1)
    late = _row_lateness(seen, x_in[0], camera, ball_radius_in) * readout_u_s
    shutter = np.concatenate([np.zeros(len(seen)), late[1:] - late[0]])
    covariance = np.cov(values[1:].T) + np.outer(shutter, shutter)
    return Stations(seen, values[0, : len(seen)], values[0, len(seen) :], covariance)


def _row_lateness(distance_ft: Array, x_in: Array, camera: Camera, ball_radius_in: float) -> Array:
    """Share ``(k,)`` of the read-out after which the row at a place is exposed."""
    centre = np.column_stack([x_in, distance_ft * INCHES_PER_FOOT, np.full(len(x_in), ball_radius_in)])
    return np.asarray(camera.project(centre)[:, 1] / camera.height)
