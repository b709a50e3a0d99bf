"""Readings of single shots: facts of the trade, each only where the numbers carry it."""

from dataclasses import replace

import pytest

from tracker.lineup.shots import ShotFacts, flush_chance, read_shots
from tracker.lineup.window import Window
from tracker.results import Quantity


def shot(name, hand="right", *, execution="", slips=None, standing="", **numbers):
    told = {"board_15ft": (10.0, 0.05), "laydown_board": (18.0, 0.1)} | numbers
    return ShotFacts(
        name, "12", "ball", hand, execution=execution, slips_at_pins=slips, standing=standing,
        numbers={k: Quantity(*v) for k, v in told.items()},
    )  # fmt: skip


def codes(*shots):
    return [reading.codes for reading in read_shots(shots, Window())]


def test_of_two_shots_on_one_line_the_earlier_one_is_too_early():
    """The one that picks up clearly earlier reads 'too early, look for more oil' (common practice, no source)."""
    early, late = shot("a", onset_ft=(27.0, 0.3)), shot("b", onset_ft=(32.0, 0.3))
    assert codes(early, late) == [("too_early",), ("longer",)]
    assert "look for more oil" in read_shots([early, late], Window())[0].remarks[0].text


def test_little_difference_or_another_line_says_nothing():
    early = shot("a", onset_ft=(27.0, 0.3))
    assert codes(early, shot("b", onset_ft=(28.5, 0.3))) == [(), ()]
    assert codes(early, shot("b", onset_ft=(31.0, 2.0))) == [(), ()]
    assert codes(early, shot("b", onset_ft=(32.0, 0.3), board_15ft=(13.0, 0.05))) == [(), ()]
    assert codes(early, replace(shot("b", onset_ft=(32.0, 0.3)), lane="13")) == [(), ()]


def test_a_ball_that_goes_feet_longer_for_the_same_shot_is_told():
    """Several feet longer for the same throw speaks of oil carried down (common practice, no source)."""
    before = [shot(k, onset_ft=(30.0 + 0.1 * int(k), 0.3)) for k in "123"]
    assert codes(*before, shot("x", onset_ft=(34.5, 0.3)))[-1] == ("longer",)


@pytest.mark.parametrize(
    ("hand", "exit_board", "code", "word"),
    [("right", 24.0, "still_turning", "into the 8"), ("right", 13.0, "spent", "the 9 or right"),
     ("right", 18.5, "through", "between"),
     ("left", 24.0, "still_turning", "into the 9"), ("left", 13.0, "spent", "the 8 or left")],
)  # fmt: skip
def test_how_it_left_the_deck(hand, exit_board, code, word):
    """Taking the 8 out: still turning; deflected to the 9 or right of it: light or spent (common practice, no source).

    A flush ball leaves between the 8 and the 9 near board 19, one that leaves a 10 near 14 (from secondary pages).
    """
    found = read_shots([shot("a", hand, deck_exit_board=(exit_board, 0.8))], Window())[0]
    assert found.codes == (code,)
    assert word in found.remarks[0].text


def test_an_exit_that_is_not_sure_is_not_read():
    assert codes(shot("a", deck_exit_board=(22.0, 2.0))) == [()]


@pytest.mark.parametrize(
    ("board", "u", "code"),
    [
        (17.5, 0.1, "flush"),
        (17.5, 0.9, "near_pocket"),
        (19.0, 0.2, "high"),
        (16.0, 0.2, "light"),
        (18.2, 0.2, "near_pocket"),
    ],
)
def test_at_the_pocket(board, u, code):
    """Best at 17.5, 17 to 18 is the pocket (from secondary pages on a federation's papers)."""
    assert codes(shot("a", contact_board=(board, u))) == [(code,)]


def test_flush_is_a_probability():
    assert flush_chance(shot("a", contact_board=(17.5, 0.7)), Window()) == pytest.approx(0.6827, abs=1e-3)
    assert flush_chance(shot("a"), Window()) is None


def test_a_miss_is_no_reading_of_the_lane():
    missed = shot("a", execution="fast", onset_ft=(34.0, 0.3), contact_board=(16.0, 0.1), slips=True)
    other = shot("b", onset_ft=(30.0, 0.3))
    assert codes(missed, other) == [("called_miss", "light"), ()]


def test_rolled_before_or_still_turning():
    rolled = shot("a", contact_ft=(59.5, 0.1), slip_end_ft=(46.0, 1.0), slips=False)
    close = shot("b", contact_ft=(59.5, 0.1), slip_end_ft=(50.5, 1.0), slips=False)
    assert codes(rolled, close, shot("c", slips=True)) == [("rolled_before",), (), ("still_turning_at_pins",)]


def test_one_leave_is_no_evidence():
    assert "no evidence" in read_shots([shot("a", standing="10")], Window())[0].remarks[0].text
    assert codes(shot("a", standing="none")) == [("strike",)]


def test_a_flush_shot_is_not_called_too_early_nor_another_ball_carry_down():
    flush = shot("a", onset_ft=(27.0, 0.3), contact_board=(17.5, 0.1))
    other = replace(shot("b", onset_ft=(32.0, 0.3)), ball="longer ball")
    assert codes(flush, other) == [("earlier", "flush"), ("later",)]


@pytest.mark.parametrize(("angle", "code"), [(4.0, "flush"), (2.5, "flat"), (6.6, "steep")])
def test_the_pocket_has_an_angle_too(angle, code):
    """Entry of 3 to 5 degrees is what coaches ask for (common practice, no source)."""
    assert codes(shot("a", contact_board=(17.5, 0.1), entry_angle_deg=(angle, 0.1))) == [(code,)]


def test_what_most_shots_do_is_no_remark_on_one():
    shots = [shot(k, slips=True) for k in "abc"] + [shot("d")]
    assert codes(*shots) == [(), (), (), ()]
