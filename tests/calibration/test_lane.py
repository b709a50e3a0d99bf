import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration import lane
from calibration.dimensions import DIMENSIONS, PIN_PROFILE_IN, dimension


def test_every_dimension_stands_inside_its_limits_once():
    assert len({d.name for d in DIMENSIONS}) == len(DIMENSIONS)
    assert [d.name for d in DIMENSIONS if not d.low <= d.value <= d.high] == []
    assert [d.name for d in DIMENSIONS if not d.source] == []


def test_constants_come_from_the_table():
    assert dimension("deck_end").value == lane.DECK_END_IN
    assert dimension("board_width").value == lane.BOARD_WIDTH_IN
    assert dimension("pin_row_pitch").value == pytest.approx(lane.PIN_ROW_PITCH_IN)
    assert dimension("arrow_centre").high - lane.ARROW_CENTRE_FT == pytest.approx(lane.ARROW_CENTRE_SD_FT)
    assert dimension("arrow_slope").high - lane.ARROW_SLOPE_FT == pytest.approx(lane.ARROW_SLOPE_SD_FT)
    assert dict(PIN_PROFILE_IN)[lane.PIN_BELLY_HEIGHT_IN] == 2 * lane.PIN_BELLY_RADIUS_IN


def test_unknown_dimension_is_refused():
    with pytest.raises(KeyError, match="lane_colour"):
        dimension("lane_colour")


@given(st.floats(-5, 45), st.sampled_from(["right", "left"]))
def test_board_and_x_are_inverse(board, hand):
    assert lane.board_from_x(lane.x_from_board(board, hand), hand) == pytest.approx(board, abs=1e-9)


@given(st.floats(-30, 30))
def test_hands_count_from_opposite_edges(x_in):
    assert lane.board_from_x(x_in, "left") == pytest.approx(40 - lane.board_from_x(x_in, "right"), abs=1e-9)
