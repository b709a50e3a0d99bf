"""A coach's words for where the ball leaves the deck."""

import itertools

import pytest

from tracker.pins.words import exit_words, zones


@pytest.mark.parametrize(
    ("board", "right", "left"),
    [
        (20.0, "between the 8 and 9", "between the 8 and 9"),
        (25.6, "into the 8", "into the 9"),
        (14.4, "into the 9", "into the 8"),
        (10.0, "right of the 9", "left of the 8"),
        (30.0, "left of the 8", "right of the 9"),
        (3.1, "into the 10", "into the 7"),
        (36.9, "into the 7", "into the 10"),
    ],
)
def test_zones_by_hand(board, right, left):
    """Back row spots lie on boards 36.9, 25.6, 14.4 and 3.1 of a right-hander (7, 8, 9, 10), of a left-hander
    mirrored: 18 and 6 in from the middle, boards of 41.5 / 39 in."""
    assert exit_words(board, 0.1, "right") == right
    assert exit_words(board, 0.1, "left") == left


def test_doubt_names_both():
    assert exit_words(23.4, 0.9, "right") == "between the 8 and 9 or into the 8"


@pytest.mark.parametrize("hand", ["right", "left"])
def test_zones_cover_every_board_once(hand):
    found = zones(hand)
    assert all(a.high == b.low for a, b in itertools.pairwise(found))
    assert found[0].low < 0
    assert found[-1].high > 40
