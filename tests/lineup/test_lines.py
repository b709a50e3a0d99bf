"""Moves: straight-line arithmetic against tabulated values, and the trade's names for them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.lineup.lines import Line, move_in_words, straight_change

BOARDS = st.floats(-20, 20)


@pytest.mark.parametrize(
    ("feet", "target", "at_40", "at_45", "at_60"),
    [(1, 1, 1, 1, 1), (2, 1, -0.667, -1, -2), (3, 2, 0.333, 0, -1), (3, 1, -2.333, -3, -5), (4, 2, -1.333, -2, -4),
     (5, 3, -0.333, -1, -3), (5, 2, -3, -4, -7), (1, 0, -1.667, -2, -3), (0, 1, 2.667, 3, 4)],
)  # fmt: skip
def test_where_a_straight_ball_goes_after_a_move(feet, target, at_40, at_45, at_60):
    """Two points make a line: worked out by hand for a target at 15 ft (elementary geometry)."""
    found = [straight_change(feet, target, y) for y in (15, 40, 45, 60)]
    assert found == pytest.approx([target, at_40, at_45, at_60], abs=5e-4)


@pytest.mark.parametrize(
    ("pin_ft", "pin_boards", "move"), [(60.866, 5.6386, 1.844), (61.732, 11.2771, 3.620), (62.598, 16.9157, 5.331)]
)
def test_laydown_moves_for_spares(pin_ft, pin_boards, move):
    """The laydown moves that shift a straight ball by one, two, three pin columns with the same target (by geometry).

    Coaches teach 3, 6, 9 boards with the feet, counted some 12 ft farther back (seen on a coach's page).
    """
    assert -straight_change(move, 0, pin_ft) == pytest.approx(pin_boards, abs=0.01)


def test_one_board_of_difference_over_15_ft_is_a_third_of_a_degree():
    """0.3387 deg by the tangent of 1.0641 in over 180 in; the release lies 1.4 ft nearer, so here it is 0.37."""
    assert math.degrees(math.atan(41.5 / 39 / 180)) == pytest.approx(0.3387, abs=1e-4)
    line = Line(20.0, 15.0, 17.0)
    assert line.moved(1.0, 0.0).launch_deg - line.launch_deg == pytest.approx(0.3387 * 15 / 13.6, rel=0.02)


@given(board=st.floats(1, 39), launch=st.floats(-3, 7))
def test_a_release_and_its_line_are_the_same(board, launch):
    assert Line.of(board, launch, 17.0).launch_deg == pytest.approx(launch, abs=1e-9)


@given(a=BOARDS, c=BOARDS)
def test_a_move_and_its_opposite_leave_the_line(a, c):
    back = Line(20.0, 12.0, 17.0).moved(a, c).moved(-a, -c)
    assert (back.laydown_board, back.target_board) == pytest.approx((20.0, 12.0), abs=1e-9)


@pytest.mark.parametrize(
    ("feet", "target", "right", "left"),
    [(0, 0, "stay", "stay"), (2, 1, "2-1 left", "2-1 right"), (-1, -1, "1-1 right", "1-1 left"),
     (0, 1, "0-1 left", "0-1 right"),
     (-1, 2, "feet 1 right, target 2 left", "feet 1 left, target 2 right")],
)  # fmt: skip
def test_moves_are_said_as_the_trade_says_them(feet, target, right, left):
    """Feet first, then target, both to the inside when the ball comes in high (common practice)."""
    assert move_in_words(feet, target, "right") == right
    assert move_in_words(feet, target, "left") == left
