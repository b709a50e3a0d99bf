"""Lanes of one picture tell one another the camera, and one that was led astray is left out."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.finding.together import SHARED, agreeing, shared_prior
from calibration.solve import Solution, solve


@pytest.fixture
def lanes(camera, clicked):
    """The same view from three lanes, 71 and 82 in apart, each with its own clicks."""
    cameras = [replace(camera, x_in=camera.x_in - x) for x in (0.0, 71.0, -82.0)]
    solved = [solve(clicked(c, 1.0, seed), width=c.width, height=c.height) for seed, c in enumerate(cameras)]
    assert all(isinstance(one, Solution) for one in solved)
    return dict(enumerate(solved))


def test_lanes_of_one_camera_agree(lanes):
    assert agreeing(lanes, {0: 5.0, 1: 3.0, 2: 1.0}) == [0, 1, 2]


def test_a_lane_led_astray_is_left_out(lanes):
    """Even where it alone says more than any of the others."""
    astray = lanes[1].camera
    astray = replace(astray, z_in=astray.z_in + 6.0, f_px=astray.f_px * 1.1)
    lanes[1] = replace(lanes[1], camera=astray)
    assert agreeing(lanes, {0: 3.0, 1: 4.0, 2: 2.0}) == [0, 2]


def test_what_others_know_is_the_camera_but_for_its_place_sideways(lanes, camera):
    shared = shared_prior([lanes[1], lanes[2]], 20.0)
    index = np.array(SHARED)
    spread = [np.sqrt(np.diag(one.covariance))[index] for one in (lanes[1], lanes[2])]
    assert np.abs((shared.camera.vector - camera.vector)[index] / np.max(spread, axis=0)).max() < 3.0
    assert shared.camera.x_in == 20.0
    assert shared.camera.width_scale == 1.0


def test_two_alike_are_no_surer_than_one(lanes):
    """What deceives one lane of a picture deceives all, so their errors do not average out."""
    one, two = (shared_prior([lanes[1]] * n, 20.0).prior for n in (1, 2))
    assert two.root.T @ two.root == pytest.approx(one.root.T @ one.root, rel=1e-3, abs=1e-2)
