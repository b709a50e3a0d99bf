"""The pins from above, true to scale: contact, angle, deck exit and what stands."""

from __future__ import annotations

import math

import numpy as np
import pytest
from drawn_charts import BOARD_U, CONTACT_BOARD, CONTACT_FT, NS, axis, desc, points, read, shot, texts

from tracker.report.charts.pocket import pocket_chart
from tracker.results import Quantity

BOARD_IN = 41.5 / 39
PITCH_IN = 12.0 * math.sqrt(3) / 2
BELLY_IN = 4.766
"""Largest diameter of a pin (manual, from memory; pages print 4.76 to 4.77)."""
BALL_IN = (8.500, 8.595)
"""Smallest and largest diameter of a ball (circumference 26.704 to 27.002 in, web pages quoting the rules)."""


def pins(root):
    return {int(c.get("data-pin")): c for c in root.findall(f".//{NS}circle[@data-pin]")}


def place(element):
    return np.array([float(element.get("cx")), float(element.get("cy"))])


@pytest.fixture
def root():
    return read(pocket_chart([shot()], "pocket"))


def test_it_is_true_to_scale(root):
    x, y = axis(root, "board", "x"), axis(root, "distance", "y")
    per_inch = abs(y(60) - y(61)) / 12
    assert abs(x(1) - x(2)) / BOARD_IN == pytest.approx(per_inch, rel=0.01)
    ball = root.find(f".//{NS}circle[@data-marks='ball']")
    low, high = (d * per_inch / 2 for d in BALL_IN)
    assert low - 0.1 <= float(ball.get("r")) <= high + 0.1
    assert [float(c.get("r")) for c in pins(root).values()] == pytest.approx([BELLY_IN / 2 * per_inch] * 10, abs=0.1)


def test_pins_stand_in_a_triangle_of_12_inches(root):
    x, y = axis(root, "board", "x"), axis(root, "distance", "y")
    per_inch = abs(y(60) - y(61)) / 12
    found = {n: place(c) for n, c in pins(root).items()}
    assert sorted(found) == list(range(1, 11))
    assert found[1] == pytest.approx((x(20), y(60)), abs=0.3)
    assert found[5] == pytest.approx((x(20), y(60 + 2 * PITCH_IN / 12)), abs=0.3)
    for a, b in ((1, 2), (1, 3), (2, 3), (2, 4), (3, 6), (5, 6), (7, 8), (9, 10)):
        assert np.linalg.norm(found[a] - found[b]) == pytest.approx(12 * per_inch, abs=0.3)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_pin_7_is_on_the_left_for_either_hand(hand):
    found = pins(read(pocket_chart([shot(hand=hand)], "pocket")))
    assert place(found[7])[0] < place(found[1])[0] < place(found[10])[0]


def test_the_ball_is_at_its_contact_and_comes_from_the_hands_side(root):
    for hand, side in (("right", 1), ("left", -1)):
        root = read(pocket_chart([shot(hand=hand)], "pocket"))
        x, y = axis(root, "board", "x"), axis(root, "distance", "y")
        assert place(root.find(f".//{NS}circle[@data-marks='ball']")) == pytest.approx(
            (x(CONTACT_BOARD), y(CONTACT_FT)), abs=0.2
        )
        entry = points(root.find(f".//{NS}path[@data-marks='entry']").get("d"))[0]
        assert entry[-1] == pytest.approx((x(CONTACT_BOARD), y(CONTACT_FT)), abs=0.2)
        assert side * (entry[0, 0] - entry[-1, 0]) > 5


def test_without_a_curve_the_entry_angle_gives_the_line():
    root = read(pocket_chart([shot(board=None)], "pocket"))
    entry = points(root.find(f".//{NS}path[@data-marks='entry']").get("d"))[0]
    (x0, y0), (x1, y1) = entry[0], entry[-1]
    assert math.degrees(math.atan2(x0 - x1, y0 - y1)) == pytest.approx(4.3, abs=0.1)


def test_the_whisker_is_two_standard_uncertainties(root):
    x = axis(root, "board", "x")
    ends = [np.concatenate(points(p.get("d"))) for p in root.iter(f"{NS}path") if p.get("stroke-width") == "1.4"]
    spans = sorted((e[:, 0].min(), e[:, 0].max()) for e in ends)
    wanted = sorted((x(b + 2 * u), x(b - 2 * u)) for b, u in ((CONTACT_BOARD, BOARD_U), (12.0, 0.8)))
    assert np.array(spans) == pytest.approx(np.array(wanted), abs=0.3)


def test_the_exit_is_marked_and_told(root):
    x = axis(root, "board", "x")
    tip = points(root.find(f".//{NS}path[@data-marks='exit']").get("d"))[0][0]
    assert tip[0] == pytest.approx(x(12.0), abs=0.2)
    assert "out at board 12.0 (10.4 to 13.6)" in texts(root)


def test_standing_pins_are_filled_and_named(root):
    states = {n: c.get("data-state") for n, c in pins(root).items()}
    assert {n for n, s in states.items() if s == "stands"} == {4, 10}
    fills = {s: {c.get("fill") for c in pins(root).values() if c.get("data-state") == s} for s in ("stands", "down")}
    assert fills["stands"].isdisjoint(fills["down"])
    assert "standing afterwards: 4-10" in texts(root)


@pytest.mark.parametrize(("standing", "words"), [((), "standing afterwards: none"), (None, "not read surely")])
def test_a_strike_and_not_known_are_two_things(standing, words):
    root = read(pocket_chart([shot(standing=standing)], "pocket"))
    assert any(words in t for t in texts(root))
    assert len({c.get("data-state") for c in pins(root).values()}) == 1


def test_several_shots_show_their_contacts_only():
    numbers = {**shot().numbers, "contact_board": Quantity(20.0, 0.1)}
    root = read(pocket_chart([shot("a"), shot("b", numbers=numbers), shot("c", numbers={})], "pocket"))
    assert root.find(f".//{NS}circle[@data-marks='ball']") is None
    told = [t.text for t in root.iter(f"{NS}title") if ": contact at board" in (t.text or "")]
    assert told == [
        "1, a (Fen Slate): contact at board 15.2 \u00b1 0.4",
        "2, b (Fen Slate): contact at board 20.0 \u00b1 0.1",
    ]
    assert "3 c (Fen Slate): standing afterwards: 4-10, without a contact" in desc(root)


def test_a_gutter_ball_has_no_pocket():
    with pytest.raises(ValueError, match="no shot has a contact, a deck exit or pins read"):
        pocket_chart([shot(numbers={}, standing=None)], "pocket")
