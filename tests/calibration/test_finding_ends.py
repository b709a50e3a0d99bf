"""Where a drawn lane's lines end: the foul line among other lines, the deck's end, and with it the focal length."""

import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.finding.deck_end import deck_end
from calibration.finding.ends import FoulLine, foul_lines, going_on
from calibration.finding.fan import fan_of, strips_of
from calibration.finding.ladder import rungs
from calibration.finding.lines import AcrossLine, find_segments
from calibration.lane import DECK_END_IN, GUTTER_WIDTH_IN, LANE_WIDTH_IN

CAMERA = Camera(6.0, -250.0, 66.0, -0.5, 7.0, 0.0, 1500.0, 0.0, 1.0, width=960, height=540)
OTHER = CAMERA.with_vector([*CAMERA.vector[:4], CAMERA.pitch_deg + 0.08, *CAMERA.vector[5:]])
HALF, OUTER = LANE_WIDTH_IN / 2, LANE_WIDTH_IN / 2 + GUTTER_WIDTH_IN
POINT = CAMERA.project_directions(CAMERA.rotation @ [0.0, 1.0, 0.0])
EDGES = CAMERA.project([[-HALF, 0.0, 0.0], [HALF, 0.0, 0.0], [-OUTER, 0.0, 0.0], [OUTER, 0.0, 0.0]])[:, 0]
NOBODY = np.zeros(10)


def floor(x, y):
    """Outline of a rectangle of the floor in the picture, sixteenths of pixels."""
    (a, b), (c, d) = x, y
    corners = CAMERA.project([[a, c, 0.0], [b, c, 0.0], [b, d, 0.0], [a, d, 0.0]])
    return np.round((corners - 0.5) * 16).astype(np.int32)


def house(pit=35.0):
    """Two empty lanes with gutters from the foul line to the deck's end, an approach with a step across it."""
    luma = np.full((540, 960), pit, np.float32)
    paint = lambda x, y, value: cv2.fillPoly(luma, [floor(x, y)], value, cv2.LINE_8, 4)  # noqa: E731
    paint((-150.0, 150.0), (0.0, DECK_END_IN), 80.0)
    for middle in (0.0, 76.0):
        paint((middle - OUTER, middle + OUTER), (0.0, DECK_END_IN), 45.0)
        paint((middle - HALF, middle + HALF), (0.0, DECK_END_IN), 150.0)
    paint((-150.0, 150.0), (-80.0, 0.0), 120.0)
    paint((-150.0, 150.0), (-200.0, -80.0), 70.0)
    luma = cv2.GaussianBlur(luma, (0, 0), 0.7) + np.random.default_rng(3).normal(0, 1.5, luma.shape)
    return np.clip(luma, 0, 255).astype(np.uint8)


def across(y_in):
    left, right = CAMERA.project([[-40.0, y_in, 0.0], [40.0, y_in, 0.0]])
    return AcrossLine(float(left[0]), float(left[1]), float((right - left)[1] / (right - left)[0]), 500.0)


def test_of_lines_across_the_one_at_which_lanes_end_comes_first():
    luma = house()
    found = foul_lines(luma, 1.0, find_segments(luma), [POINT])
    rows = [float(one.line.v_at(CAMERA.project([0.0, 0.0, 0.0])[0])) for one in found]
    assert rows[0] == pytest.approx(CAMERA.project([0.0, 0.0, 0.0])[1], abs=1.5)
    assert all(one.worth < 0.3 * found[0].worth for one in found[1:])


def test_lines_go_on_beyond_a_line_that_is_short_of_the_foul_line():
    luma = house()
    short = across(90.0)
    shares = (short.v_at(EDGES) - POINT[1]) / (across(0.0).v_at(EDGES) - POINT[1])
    assert going_on(luma, 1.0, FoulLine(POINT, across(0.0), 1.0), EDGES).max() < 0.2
    assert going_on(luma, 1.0, FoulLine(POINT, short, 1.0), POINT[0] + shares * (EDGES - POINT[0])).min() > 0.8


def test_the_decks_end_tells_the_focal_length_where_no_pin_stands():
    luma = house()
    fan = fan_of(luma, POINT, across(0.0))
    best = rungs(luma, 1.0, fan, strips_of(fan, 48))[0]
    assert best.f_px == pytest.approx(CAMERA.f_px, rel=0.03)
    assert best.pins < 1.0


def test_decks_end_is_found_from_a_camera_that_puts_it_elsewhere():
    found = deck_end(house(), OTHER, 4.0, NOBODY)
    true_v = CAMERA.project([0.0, DECK_END_IN, 0.0])[1]
    assert abs(OTHER.project([0.0, DECK_END_IN, 0.0])[1] - true_v) > 1.5
    assert found is not None
    assert found.v_px == pytest.approx(true_v, abs=0.4)
    assert found.sigma_px > 100.0


def test_decks_end_is_not_told_where_it_does_not_show_or_pins_hide_it():
    assert deck_end(house(pit=150.0), CAMERA, 4.0, NOBODY) is None
    assert deck_end(house(), CAMERA, 4.0, np.ones(10)) is None
    assert deck_end(house(), CAMERA, 4.0, NOBODY, hidden=np.ones((68, 120), dtype=bool)) is None
