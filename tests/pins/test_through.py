"""First contact and the ball among the pins, on drawn hits whose way the renderer knows."""

from dataclasses import replace

import numpy as np
import pytest
from deck_pictures import CONTACT_S, SMALL, TRIPOD, House, drawn, film_hit, hit_of

from calibration.lane import BOARD_WIDTH_IN
from sample_media.spec import BallSpec
from tracker.pins.contact import BallLine
from tracker.pins.read import Deck, place_u_px, read_pins
from tracker.pins.watch import Passage

ALL = tuple(range(1, 11))
LAGOON = BallSpec(colour=(0.025, 0.115, 0.125), second=(0.05, 0.215, 0.205), pattern="pearl")
RED = BallSpec(colour=(0.30, 0.045, 0.020), second=(0.60, 0.36, 0.06), pattern="swirl")
QUICK = {"preset": "ultrafast"}
DESK, NEAR = House(replace(SMALL, **QUICK)), House(replace(TRIPOD, fps=30, **QUICK), seed=2)


def line_of(hit, radius_in, *, late_s=0.0, aside_in=0.0):
    """The ball's line as the path would give it, some hundredths of a second before contact."""
    rng = np.random.default_rng(4)
    states = np.tile(hit.start[:4], (80, 1)) + rng.normal(0, [0.15, 0.5, 0.4, 2.0], (80, 4))
    states[0] = hit.start[:4]
    states[:, 0] += aside_in
    return BallLine(CONTACT_S + late_s, states, radius_in)


def reading(house, hit, folder, hand="right", *, smeared=False, **off):
    made = drawn(house)
    crops = film_hit(made, hit, folder / "hit.mp4", seed=3)
    before = [c for c in crops if c.t_s < CONTACT_S - 0.2][::2]
    passage = Passage(0.0, 0.9, before, [c for c in crops if c.t_s > 0.3], [])
    deck = Deck(made.view, (passage,), place_u_px(made.known, made.covariance), smeared)
    return read_pins(deck, line_of(hit, hit.ball.radius_in, **off), hand, reaches_pins=True)


@pytest.mark.parametrize(
    ("house", "ball", "offset", "entry"),
    [(DESK, RED, 2.6, 5.0), (DESK, LAGOON, 0.4, 4.0), (NEAR, LAGOON, 4.0, 3.0), (NEAR, RED, -2.2, -4.0)],
)
def test_deck_exit_within_its_uncertainty(house, ball, offset, entry, tmp_path):
    hit = hit_of(ball, offset, entry, rack=ALL)
    found = reading(house, hit, tmp_path)
    true = 20.0 - hit.motion.exit_x_in / BOARD_WIDTH_IN
    assert found.exit.value is not None
    assert abs(found.exit.value - true) < 2.5 * found.exit.u
    assert found.exit.u < 1.6
    assert found.exit_words
    run = 754.1875 - hit.start[1]
    turn = np.arctan((hit.motion.exit_x_in - hit.start[0]) / run) - np.arctan(hit.start[2] / hit.start[3])
    deflection = found.numbers["deflection_deg"]
    assert abs(deflection.value - np.degrees(turn)) < max(2.5 * deflection.u, 2.0)


def test_first_contact_by_path_and_by_picture(tmp_path):
    found = reading(DESK, hit_of(RED, 2.6, 5.0, rack=ALL), tmp_path)
    path, seen = found.numbers["contact_s"], found.numbers["contact_seen_s"]
    assert path.value == pytest.approx(CONTACT_S, abs=0.003)
    assert abs(seen.value - CONTACT_S) < 2 * seen.u
    assert found.first_pin == 1
    assert 1 in found.first_moved
    assert "contact_disagrees" not in found.flags
    assert found.numbers["contact_offset_in"].value == pytest.approx(2.6 * np.cos(np.radians(5)), abs=0.02)


def test_in_a_clip_of_few_bits_the_first_contact_is_told_and_the_exit_is_not(tmp_path):
    found = reading(DESK, hit_of(RED, 2.6, 5.0, rack=ALL), tmp_path, smeared=True)
    assert found.first_pin == 1
    assert found.exit.missing == "exit_unseen"
    assert "exit_unseen" in found.flags
    assert not found.exit_words
    assert "deflection_deg" not in found.numbers


def test_a_path_that_comes_too_late_is_told(tmp_path):
    found = reading(DESK, hit_of(RED, 2.6, 5.0, rack=ALL), tmp_path, late_s=0.085)
    assert "contact_disagrees" in found.flags


def test_offset_and_words_are_those_of_the_hand(tmp_path):
    hit = hit_of(RED, -2.6, -5.0, rack=ALL)
    left, right = (reading(DESK, hit, tmp_path, hand=hand) for hand in ("left", "right"))
    assert left.numbers["contact_offset_in"].value > 0
    assert right.numbers["contact_offset_in"].value == -left.numbers["contact_offset_in"].value
    assert left.exit.value + right.exit.value == pytest.approx(40.0)


def test_a_spare_says_which_pins_stood(tmp_path):
    found = reading(DESK, hit_of(RED, 12.5, 2.0, rack=(6, 10)), tmp_path)
    assert found.before == "6-10"
    assert "rack_not_full" in found.flags
    assert found.first_pin == 6


def test_without_pictures_nothing_is_said():
    made = drawn(DESK)
    hit = hit_of(RED, 2.6, 5.0, rack=ALL)
    found = read_pins(Deck(made.view, (), 1.0), line_of(hit, 4.3), "right", reaches_pins=True)
    assert found.flags == ("pins_not_read",)
    assert found.exit.missing == "pins_not_read"


def test_pictures_that_a_person_covers_are_left_out(tmp_path):
    made = drawn(DESK)
    hit = hit_of(RED, 2.6, 5.0, rack=ALL)
    crops = film_hit(made, hit, tmp_path / "hit.mp4")
    covered = [replace(c, luma=np.full_like(c.luma, 90)) if c.t_s > CONTACT_S + 0.06 else c for c in crops]
    names = []
    for late in (crops, covered):
        passage = Passage(0.0, 0.9, crops[:16:2], [c for c in late if c.t_s > 0.3], [])
        found = read_pins(Deck(made.view, (passage,), 1.0), line_of(hit, 4.3), "right", reaches_pins=True)
        names.append([p.name for p in found.pictures])
    assert names[0][:3] == ["before", "contact", "among the pins"]
    assert names[1] == ["before", "contact"]


def test_a_ball_in_the_gutter_leaves_no_exit(tmp_path):
    made = drawn(DESK)
    hit = hit_of(RED, 2.6, 5.0, rack=ALL)
    crops = film_hit(made, replace(hit, after_s=0.0), tmp_path / "none.mp4")
    passage = Passage(0.0, 0.9, crops[:8], crops[8:], [])
    found = read_pins(Deck(made.view, (passage,), 1.0), line_of(hit, 4.3), "right", reaches_pins=False)
    assert found.exit.missing == "no_deck_exit"
    assert found.before == "-".join(map(str, ALL))
    assert found.standing == ""
    assert "pins_moving" in found.flags
