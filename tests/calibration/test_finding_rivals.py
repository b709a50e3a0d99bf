"""Which of overlapping places is the lane: the one with the arrows on its boards, else the clearest, in doubt."""

import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.finding.rivals import likeliest
from calibration.lane import ARROW_BOARDS, GUTTER_WIDTH_IN, x_from_board

CAMERA = Camera(6.0, -240.0, 66.0, -0.8, 6.0, 0.5, 1900.0, 0.0, 1.0, width=1280, height=720)


def moved(x_in):
    return CAMERA.with_vector([CAMERA.x_in - x_in, *CAMERA.vector[1:]])


def floor(arrows, noise=1.5):
    """Even boards with dark triangles of 1.2 by 5 in on boards 5, 10, .. 35: tips 15.75 ft down-lane in the middle."""
    luma = np.full((720, 1280), 150.0, np.float32)
    for board in ARROW_BOARDS[:arrows]:
        x, tip = float(x_from_board(float(board), "right")), (15.75 - 1.05 * abs(board - 20) / 5) * 12
        corners = CAMERA.project([(x - 0.6, tip - 5, 0.0), (x + 0.6, tip - 5, 0.0), (x, tip, 0.0)])
        cv2.fillPoly(luma, [np.round((corners - 0.5) * 16).astype(np.int32)], 60.0, cv2.LINE_AA, 4)
    luma = cv2.GaussianBlur(luma, (0, 0), 0.7) + np.random.default_rng(5).normal(0, noise, luma.shape)
    return np.clip(luma, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_arrows_tell_a_lane_from_a_gutter_and_the_rest_of_it(side):
    places = [moved(side * GUTTER_WIDTH_IN), CAMERA, moved(side * GUTTER_WIDTH_IN + 0.4)]
    assert likeliest(floor(7), places, [150.0, 140.0, 100.0]) == (1, 0.0)


def test_of_nearly_the_same_place_the_one_that_fits_the_arrows_is_taken():
    assert likeliest(floor(7), [moved(0.9), CAMERA], [150.0, 149.0]) == (1, 0.0)


def test_without_arrows_the_clearest_is_taken_and_the_other_is_told():
    places = [moved(GUTTER_WIDTH_IN), CAMERA, moved(0.5)]
    index, rival = likeliest(floor(0), places, [90.0, 120.0, 115.0])
    assert index == 1
    assert rival == pytest.approx(0.75)


def test_arrows_do_not_help_a_place_that_is_far_less_clear():
    assert likeliest(floor(7), [moved(GUTTER_WIDTH_IN), CAMERA], [150.0, 80.0]) == (0, 0.0)


def test_a_few_marks_are_no_chevron():
    assert likeliest(floor(4), [moved(GUTTER_WIDTH_IN), CAMERA], [150.0, 140.0])[0] == 0
