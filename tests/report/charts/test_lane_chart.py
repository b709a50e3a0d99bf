"""Paths lie where boards and feet say, on a lane whose marks lie where the rules put them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from drawn_charts import (
    BOARD_U,
    BREAK_BOARD,
    BREAK_FT,
    CONTACT_BOARD,
    CONTACT_FT,
    NS,
    axis,
    band_of,
    board_at,
    curve_of,
    desc,
    points,
    read,
    shot,
    texts,
)

from tracker.report.charts.data import Curve
from tracker.report.charts.lane import lane_chart
from tracker.results import Quantity

BOARD_IN = 41.5 / 39
"""Width of a board: a lane of 41 1/2 in has 39 (web pages quoting the specification of lane dimensions)."""
SPACING_IN, PITCH_IN = 12.0, 12.0 * math.sqrt(3) / 2
"""Pins stand 12 in apart in an equilateral triangle (same pages), so rows are 10.392 in apart."""
ROWS = ((20.0,), (25.6386, 14.3614), (31.2771, 20.0, 8.7229), (36.9157, 25.6386, 14.3614, 3.0843))
"""Boards of the pins for a right-hander, row by row: 6 in are 5.6386 boards."""


@pytest.mark.parametrize("hand", ["right", "left"])
def test_the_path_lies_on_its_boards_and_feet(hand):
    root = read(lane_chart([shot(hand=hand)], "lane"))
    x, y = axis(root, "board", "x"), axis(root, "distance", "y")
    drawn = curve_of(root)
    assert drawn[0] == pytest.approx((x(board_at(10.0)), y(10.0)), abs=0.2)
    assert drawn[28] == pytest.approx((x(BREAK_BOARD), y(BREAK_FT)), abs=0.2)
    assert drawn[-1] == pytest.approx((x(CONTACT_BOARD), y(CONTACT_FT)), abs=0.2)


def test_the_band_is_two_standard_uncertainties():
    root = read(lane_chart([shot()], "lane"))
    x = axis(root, "board", "x")
    corners = band_of(root)
    assert corners[0, 0] == pytest.approx(x(board_at(10.0) - 2 * BOARD_U), abs=0.2)
    assert corners[-1, 0] == pytest.approx(x(board_at(10.0) + 2 * BOARD_U), abs=0.2)


def test_boards_count_from_the_hand_that_bowls_and_feet_upward():
    right, left = (read(lane_chart([shot(hand=h)], "lane")) for h in ("right", "left"))
    at_right, at_left = axis(right, "board", "x"), axis(left, "board", "x")
    assert at_right(1) > at_right(39)
    assert at_left(1) == pytest.approx(at_right(39), abs=0.2)
    assert at_left(12) == pytest.approx(at_right(28), abs=0.2)
    assert axis(right, "distance", "y")(60) < axis(right, "distance", "y")(0)


def test_pins_stand_where_the_rules_put_them():
    root = read(lane_chart([shot()], "lane"))
    x, y = axis(root, "board", "x"), axis(root, "distance", "y")
    discs = root.find(f".//{NS}g[@data-marks='pins']")
    found = sorted((float(c.get("cx")), float(c.get("cy"))) for c in discs)
    wanted = sorted((x(b), y(60.0 + k * PITCH_IN / 12)) for k, row in enumerate(ROWS) for b in row)
    assert np.array(found) == pytest.approx(np.array(wanted), abs=0.2)


def test_arrows_point_from_every_fifth_board():
    root = read(lane_chart([shot()], "lane"))
    x, y = axis(root, "board", "x"), axis(root, "distance", "y")
    tips = np.array([p[0] for p in points(root.find(f".//{NS}path[@data-marks='arrows']").get("d"))])
    assert sorted(tips[:, 0]) == pytest.approx(sorted(x(b) for b in range(5, 40, 5)), abs=0.2)
    # band of 12 to 16 ft (manual, from memory)
    assert np.all((tips[:, 1] <= y(12.0)) & (tips[:, 1] >= y(16.0)))


def test_the_lane_beside_it_has_true_proportions():
    root = read(lane_chart([shot()], "lane"))
    y = axis(root, "distance", "y")
    _, wood, _, true_wood = root.findall(f"{NS}rect")[1:]
    per_inch = (y(0) - y(60)) / 720.0
    assert float(true_wood.get("width")) == pytest.approx(41.5 * per_inch, abs=0.2)
    assert float(wood.get("width")) > 8 * float(true_wood.get("width"))


def test_hovering_tells_distance_and_value():
    root = read(lane_chart([shot()], "lane"))
    disc = root.find(f".//{NS}circle[@data-distance-ft='30']")
    assert disc.findtext(f"{NS}title") == "30 ft: board 7.3 \u00b1 0.4"
    assert (float(disc.get("data-value")), float(disc.get("data-u"))) == pytest.approx((board_at(30.0), BOARD_U))
    x, y = axis(root, "board", "x"), axis(root, "distance", "y")
    assert (float(disc.get("cx")), float(disc.get("cy"))) == pytest.approx((x(board_at(30.0)), y(30.0)), abs=0.2)


def test_several_shots_are_named_at_their_ends_and_each_ball_has_its_dash():
    shots = [shot("a"), shot("b", ball="Tern"), shot("c", ball="Tern"), shot("d", ball="Rowan")]
    root = read(lane_chart(shots, "lane"))
    dashes = [g.findall(f"{NS}path[@stroke]")[0].get("stroke-dasharray") for g in root.findall(f".//{NS}g[@data-shot]")]
    assert dashes[1] == dashes[2]
    assert len({dashes[0], dashes[1], dashes[3]}) == 3
    assert [t for t in texts(root) if t in "1234"].count("3") == 2
    assert "c (Tern)" in texts(root)


def test_what_is_missing_is_said():
    numbers = {n: q for n, q in shot().numbers.items() if not n.startswith(("breakpoint", "contact", "onset"))}
    root = read(lane_chart([shot(numbers=numbers), shot("blind", board=None)], "lane"))
    assert "no breakpoint" in desc(root)
    assert "no contact" in desc(root)
    assert "not drawn: blind (Fen Slate)" in desc(root)


def test_a_gutter_ball_stays_in_the_picture():
    feet = np.arange(10.0, 40.0)
    curve = Curve(feet, 8.0 - 0.4 * (feet - 10), np.full(len(feet), 0.2))
    root = read(lane_chart([shot(board=curve, gutter=True, numbers={})], "lane"))
    x = axis(root, "board", "x")
    assert "into the gutter" in desc(root)
    assert "into the gutter, 39 ft" in texts(root)
    assert curve_of(root)[:, 0].max() <= x(-1.5) + 0.2


def test_an_older_file_without_uncertainty_has_no_band():
    root = read(lane_chart([shot(board=replace(shot().board, u=None))], "lane"))
    assert root.find(f".//{NS}g[@data-shot='1']").find(f"{NS}path[@fill-opacity]") is None
    assert "does not tell" in texts(root)[-1]


def test_close_events_keep_their_labels_apart():
    near = {"onset_ft": Quantity(30.0, 0.4), "breakpoint_ft": Quantity(30.5, 0.4), "roll_ft": Quantity(31.0, 0.4)}
    root = read(lane_chart([shot(numbers={**shot().numbers, **near})], "lane"))
    heights = sorted(float(t.get("y")) for t in root.iter(f"{NS}text") if "".join(t.itertext()).endswith(" ft"))
    assert len(heights) == 3
    assert min(np.diff(heights)) >= 14


@pytest.mark.parametrize(
    ("shots", "words"),
    [
        ([], "no shot"),
        ([shot(board=None)], "none of the shots has a path"),
        ([shot(), shot(hand="left")], "both hands"),
    ],
)
def test_nothing_to_draw_is_an_error(shots, words):
    with pytest.raises(ValueError, match=words):
        lane_chart(shots, "lane")
