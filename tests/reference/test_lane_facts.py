"""Dimensions of lane, pins and ball against their sources, and figures derived from them by hand."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from calibration import dimensions, lane


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("lane_width", 41.5),  # seen: pages quoting the specification, 41 1/2 in +- 1/2
        ("head_pin", 60 * 12),  # seen: 60 ft to the centre of the head pin's spot
        ("head_pin_to_pit", 2 * 12 + 10 + 3 / 16),  # seen: 2 ft 10 3/16 in without the tail plank
        ("deck_end", 62 * 12 + 10 + 3 / 16),  # seen: 62 ft 10 3/16 in overall
        ("pin_height", 15.0),  # seen
        ("pin_belly_diameter", 4.766),  # from memory; pages print 4.76 and 4.77
        ("pin_base_diameter", 2.031),  # seen, 2.03
    ],
)
def test_dimension_is_the_published_one(name, value):
    assert dimensions.value(name) == value


def test_boards_from_width_and_count():
    assert pytest.approx(1.064103, abs=5e-7) == lane.BOARD_WIDTH_IN
    assert_allclose(lane.board_from_x([20.75, 0.0, -20.75], "right"), (0.5, 20.0, 39.5), rtol=1e-14)


# Boards and feet of the pins, derived from 12 in spacing and 12 sin 60 degrees row pitch.
PINS = {
    1: (20.0, 60.0), 2: (25.6386, 60.8660), 3: (14.3614, 60.8660), 4: (31.2771, 61.7321), 5: (20.0, 61.7321),
    6: (8.7229, 61.7321), 7: (36.9157, 62.5981), 8: (25.6386, 62.5981), 9: (14.3614, 62.5981), 10: (3.0843, 62.5981),
}  # fmt: skip


@pytest.mark.parametrize(("pin", "place"), PINS.items())
def test_pins_in_boards_and_feet(pin, place):
    x, y = lane.pin_positions()[pin - 1]
    assert_allclose((lane.board_from_x(x, "right"), y / 12), place, atol=5e-5)
    assert lane.board_from_x(x, "left") == pytest.approx(40 - place[0], abs=5e-5)


def test_deck_and_edges_agree_with_the_pins():
    spots = lane.pin_positions()
    assert pytest.approx(62.849, abs=5e-4) == lane.DECK_END_IN / 12
    assert lane.DECK_END_IN - spots[:, 1].max() == pytest.approx(3.01, abs=5e-3)  # seen: 3 in
    assert lane.LANE_WIDTH_IN / 2 - spots[:, 0].max() == dimensions.value("corner_pin_to_edge")  # seen: 2.75 in


def test_ball_diameters_follow_from_the_circumferences():
    # seen: circumference 26.704 to 27.002 in
    limits = np.array([26.704, 27.002]) / math.pi
    assert_allclose((lane.BALL_DIAMETER_MIN_IN, lane.BALL_DIAMETER_MAX_IN), limits, atol=1.5e-4)
    assert pytest.approx(np.mean(limits) / 2, abs=1e-4) == lane.BALL_RADIUS_IN


# Manual, bowling pin dimensions (from memory, +- 1/32 in): height and diameter.
@pytest.mark.parametrize(
    ("height", "diameter"), [(0.75, 2.828), (2.25, 3.906), (4.5, 4.766), (7.25, 3.703), (10, 1.797), (13.5, 2.547)]
)
def test_pin_profile(height, diameter):
    assert 2 * lane.pin_radius_in(height) == pytest.approx(diameter, abs=1e-9)


def test_pin_ends_in_a_round_crown():
    assert lane.pin_radius_in(15.0) == pytest.approx(0.0, abs=1e-6)
    assert lane.pin_radius_in([-0.1, 15.1]).tolist() == [0.0, 0.0]
    assert np.all(np.diff(lane.pin_radius_in(np.linspace(13.8, 15.0, 20))) < 0)


def test_arrows_keep_their_priors():
    # Common practice, no source: rules give a band of 12 to 16 ft only.
    assert (lane.ARROW_CENTRE_FT, lane.ARROW_CENTRE_SD_FT) == (15.8, 0.4)
    assert (lane.ARROW_SLOPE_FT, lane.ARROW_SLOPE_SD_FT) == (1.1, 0.15)
    assert lane.arrow_distance_in([20, 15, 5]).tolist() == pytest.approx([189.6, 176.4, 150.0])
