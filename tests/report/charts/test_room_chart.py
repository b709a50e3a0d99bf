"""Room for a miss: outward on the bowling hand's side."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawn_charts import NS, axis, desc, points, read, room, texts

from tracker.report.charts.data import RoomReach
from tracker.report.charts.room import room_chart


def curve(root, name):
    return points(root.find(f".//{NS}path[@data-curve='{name}']").get("d"))[0]


def miss_axis(root):
    """Numbers of the axis are sizes of misses: place of a miss in boards, inside positive, for a right-hander."""
    labels = root.findall(f".//{NS}g[@data-axis='miss']/{NS}text")
    places = sorted(float(t.get("x")) for t in labels)
    assert [t.text for t in sorted(labels, key=lambda t: float(t.get("x")))] == list("432101234")
    middle, step = places[4], places[5] - places[4]
    return lambda board, hand: middle + step * board * (-1 if hand == "right" else 1)


@pytest.mark.parametrize("hand", ["right", "left"])
def test_curves_lie_on_their_misses_with_outward_on_the_hands_side(hand):
    root = read(room_chart(replace(room(), hand=hand), "room"))
    x, y = miss_axis(root), axis(root, "chance", "y")
    for name, chance in (("laydown kept", room().aside_chance), ("parallel", room().parallel_chance)):
        drawn = {round(px, 1): py for px, py in curve(root, name)}
        for board, value in zip(room().miss_boards, chance, strict=True):
            near = min(drawn, key=lambda px: abs(px - x(board, hand)))
            assert near == pytest.approx(x(board, hand), abs=0.3)
            assert drawn[near] == pytest.approx(y(100 * value), abs=0.3)
    out = next(t for t in root.iter(f"{NS}text") if t.text == "outward: recovery")
    hold = next(t for t in root.iter(f"{NS}text") if t.text == "inward: hold")
    assert (float(out.get("x")) > float(hold.get("x"))) == (hand == "right")


def test_the_level_is_eight_of_ten():
    """docs/lineup.md: where even a perfect throw has a chance of 0.8, the misses up to which it stays so are told."""
    root = read(room_chart(room(), "room"))
    y = axis(root, "chance", "y")
    level = points(root.find(f".//{NS}path[@data-marks='level']").get("d"))[0]
    assert level[:, 1] == pytest.approx(y(80), abs=0.2)
    assert "at least 80 of 100 up to 1.5 boards outward and 1.5 inward" in desc(root)


def test_widths_are_brackets_about_their_middle():
    root = read(room_chart(room(), "room"))
    x = miss_axis(root)
    bracket = np.concatenate(points(root.find(f".//{NS}path[@data-width='parallel']").get("d")))
    assert (bracket[:, 0].min(), bracket[:, 0].max()) == pytest.approx((x(2.0, "right"), x(-1.0, "right")), abs=0.3)
    assert "parallel: 3.0 boards wide (2.0 to 5.0)" in texts(root)


def test_level_not_reached_and_width_unknown_are_said():
    none = RoomReach(None, None, None, None)
    root = read(room_chart(replace(room(), aside=none, aside_chance=room().aside_chance * 0.3), "room"))
    assert "80 of 100 are not reached; the width is not known" in desc(root)
    assert root.find(f".//{NS}path[@data-width='laydown kept']") is None


def test_no_chance_known_is_an_error():
    blank = np.full(17, np.nan)
    with pytest.raises(ValueError, match="no chance is known"):
        room_chart(replace(room(), aside_chance=blank, parallel_chance=blank), "room")
