"""Claimed uncertainty against scatter: many seeded sets of clicks of known noise through a known camera."""

import numpy as np
import pytest

from calibration.camera import PARAMETERS, Camera
from calibration.fit import K1_SD
from calibration.lane import (
    ARROW_CENTRE_FT,
    ARROW_CENTRE_SD_FT,
    ARROW_SLOPE_FT,
    ARROW_SLOPE_SD_FT,
    BOARD_WIDTH_IN,
    LANE_WIDTH_SCALE_SD,
)
from calibration.marks import observe_marks
from calibration.quality import lane_point_sigma
from calibration.solve import Solution, solve_observations

TRIALS = 60
FEET = (15.0, 40.0, 58.0)
X_IN = 5.0


CAMERA = Camera(20, -230, 70, -2.0, 7.5, 0.6, 2250, 0.02, 1.003, width=1920, height=1080)


@pytest.fixture(scope="module")
def trials(clicked):
    """Errors and claimed sigmas of camera parameters ``(n, 9)`` and of lane points ``(n, 3, 2)`` in boards and feet."""
    errors, claims, lane_errors, lane_claims = [], [], [], []
    rng = np.random.default_rng(11)
    for seed in range(TRIALS):
        # What the prior alone knows must vary as the prior says, or its share of the claim could not be seen.
        truth = CAMERA.with_vector([*CAMERA.vector[:7], rng.normal(0, K1_SD), rng.normal(1, LANE_WIDTH_SCALE_SD)])
        chevron = (rng.normal(ARROW_CENTRE_FT, ARROW_CENTRE_SD_FT), rng.normal(ARROW_SLOPE_FT, ARROW_SLOPE_SD_FT))
        marks = observe_marks(clicked(truth, 1.0, seed, chevron))
        solution = solve_observations(marks, width=truth.width, height=truth.height, start=truth)
        assert isinstance(solution, Solution)
        errors.append(solution.camera.vector - truth.vector)
        claims.append(np.sqrt(np.diag(solution.covariance)))
        places = np.array([(X_IN, 12 * y, 0.0) for y in FEET])
        off = solution.camera.back_project(truth.project(places), 0.0) - places[:, :2]
        lane_errors.append(off / (BOARD_WIDTH_IN, 12.0))
        lane_claims.append([lane_point_sigma(solution, y, board=20 - X_IN / BOARD_WIDTH_IN) for y in FEET])
    return np.array(errors), np.array(claims), np.array(lane_errors), np.array(lane_claims)


def test_lane_points_scatter_as_claimed(trials):
    _, _, errors, claims = trials
    ratio = errors.std(axis=0) / np.median(claims, axis=0)
    assert np.all((ratio > 0.8) & (ratio < 1.25)), ratio


def test_truth_lies_within_two_sigma(trials):
    _, _, errors, claims = trials
    inside = np.mean(np.abs(errors) < 2 * claims, axis=0)
    assert np.all(inside >= 0.87), inside
    assert 0.92 <= inside.mean() <= 0.99


@pytest.mark.parametrize("name", PARAMETERS)
def test_parameters_scatter_as_claimed(trials, name):
    errors, claims, _, _ = trials
    k = PARAMETERS.index(name)
    assert 0.7 < errors[:, k].std() / np.median(claims[:, k]) < 1.25
    assert np.mean(np.abs(errors[:, k]) < 2 * claims[:, k]) >= 0.87


def test_two_pixel_clicks_widen_the_claim(trials, clicked):
    _, _, _, claims = trials
    marks = observe_marks(clicked(CAMERA, 2.0, 5))
    solution = solve_observations(marks, width=CAMERA.width, height=CAMERA.height, start=CAMERA)
    assert isinstance(solution, Solution)
    assert solution.variance_factor > 1.5
    assert lane_point_sigma(solution, 40.0)[0] > 1.3 * np.median(claims[:, 1, 0])
