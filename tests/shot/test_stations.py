"""A path in short: values of the best path, scatter of the others, times wrong together by the rolling shutter."""

from __future__ import annotations

import numpy as np

from calibration.camera import Camera
from calibration.lane import board_from_x
from tracker.path.motion import SIZE, VY, X, Y
from tracker.path.posterior import PathDraws
from tracker.shot.stations import STATIONS_FT, station_summary

SPEED_IN_S = 300.0
CAMERA = Camera(32.0, -228.0, 67.0, -4.2, 8.6, 0.35, f_px=2460.0, k1=-0.02, width_scale=1.0, width=1920, height=1080)


def straight(count: int = 400, *, x_sd: float = 0.2, first_ft: float = 2.0, last_ft: float = 59.0) -> PathDraws:
    """Straight balls at one speed, moved sideways as a whole: one error that all boards share."""
    t = np.arange(first_ft * 12, last_ft * 12, 5.0) / SPEED_IN_S
    mean = np.zeros((len(t), SIZE))
    mean[:, Y], mean[:, VY], mean[:, X] = t * SPEED_IN_S, SPEED_IN_S, 6.0
    draws = np.repeat(mean[None], count, axis=0)
    draws[..., X] += x_sd * np.random.default_rng(0).standard_normal(count)[:, None]
    return PathDraws(t, mean, draws)


def summary(draws: PathDraws, readout_u_s: float = 0.0):
    return station_summary(
        draws, len(draws.t_s) - 1, "right", camera=CAMERA, ball_radius_in=4.3, readout_u_s=readout_u_s
    )


def test_boards_and_times_of_a_straight_ball():
    found = summary(straight())
    assert np.array_equal(found.distance_ft, STATIONS_FT)
    np.testing.assert_allclose(found.board, board_from_x(6.0, "right"))
    np.testing.assert_allclose(found.elapsed_s, (STATIONS_FT[1:] - STATIONS_FT[0]) * 12 / SPEED_IN_S, atol=1e-9)


def test_a_common_error_stays_common():
    found = summary(straight())
    k = len(found.distance_ft)
    boards = found.covariance[:k, :k]
    np.testing.assert_allclose(np.sqrt(np.diag(boards)), 0.2 / (41.5 / 39), rtol=0.1)
    np.testing.assert_allclose(boards / boards[0, 0], 1.0, atol=1e-6)


def test_the_shutter_moves_later_times_more():
    still, rolling = (summary(straight(), u) for u in (0.0, 0.017))
    k = len(still.distance_ft)
    added = np.sqrt(np.diag(rolling.covariance - still.covariance)[k:])
    assert np.all(np.diff(added) > 0)
    assert 0.001 < added[-1] < 0.017


def test_only_stations_in_sight_and_none_of_a_short_path():
    found = summary(straight(first_ft=12.0, last_ft=45.0))
    assert found.distance_ft[0] == 15.0
    assert found.distance_ft[-1] == 44.0
    assert summary(straight(first_ft=2.0, last_ft=14.0)) is None
