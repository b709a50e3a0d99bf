"""Contours of a friction that is a known ramp; nothing is drawn where nothing was thrown."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawn_charts import NS, axis, desc, grid, points, read, texts

from tracker.report.charts.friction import friction_chart


def lines(root):
    found = [p for p in root.iter(f"{NS}path") if p.get("data-friction")]
    return [
        (float(p.get("data-friction")), np.concatenate(points(p.get("d"))), float(p.get("stroke-width"))) for p in found
    ]


@pytest.mark.parametrize("hand", ["right", "left"])
def test_lines_lie_where_the_ramp_has_their_value(hand):
    root = read(friction_chart(grid(), "friction", hand))
    y = axis(root, "distance", "y")
    found = lines(root)
    assert len(found) >= 3
    for level, places, _ in found:
        assert places[:, 1] == pytest.approx(y((level - 0.04) / 0.004), abs=0.3)
    weights = [w for _, _, w in sorted(found, key=lambda f: f[0])]
    assert weights == sorted(weights)


@pytest.mark.parametrize(("hand", "first", "last"), [("right", 5, 15), ("left", 25, 35)])
def test_nothing_is_drawn_where_nothing_was_thrown(hand, first, last):
    """Boards 5 to 15 from the right are boards 25 to 35 from the left."""
    root = read(friction_chart(grid(), "friction", hand))
    x, y = axis(root, "board", "x"), axis(root, "distance", "y")
    low, high = sorted((x(first), x(last)))
    for _, places, _ in lines(root):
        assert places[:, 0].min() >= low - 0.3
        assert places[:, 0].max() <= high + 0.3
    edge = np.concatenate(points(root.find(f".//{NS}path[@data-marks='sampled']").get("d")))
    board = abs(x(1) - x(2))
    assert low - board <= edge[:, 0].min() <= low
    assert high <= edge[:, 0].max() <= high + board
    assert edge[:, 1].min() >= y(52) - 0.3
    assert "not thrown over" in texts(root)
    assert "left blank" in desc(root)


def test_every_level_is_named_once_beside_its_line():
    root = read(friction_chart(grid(), "friction"))
    labels = {float(t.get("data-level")): t for t in root.iter(f"{NS}text") if t.get("data-level")}
    assert set(labels) == {level for level, _, _ in lines(root)}
    places = sorted(float(t.get("y")) for t in labels.values())
    assert min(np.diff(places)) >= 14


def test_the_oil_end_is_a_bracket_over_its_interval():
    root = read(friction_chart(grid(), "friction"))
    y = axis(root, "distance", "y")
    bracket = np.concatenate(points(root.find(f".//{NS}path[@data-marks='oil-end']").get("d")))
    assert (bracket[:, 1].max(), bracket[:, 1].min()) == pytest.approx((y(38), y(43)), abs=0.3)
    assert {"40.0 ft", "38.0 to 43.0"} <= set(texts(root))
    without = read(friction_chart(grid(oil_end_ft=None), "friction"))
    assert without.find(f".//{NS}path[@data-marks='oil-end']") is None
    assert "Where the oil ends is not known" in desc(without)


def test_an_even_friction_has_no_line_and_says_so():
    flat = np.where(np.isfinite(grid().friction), 0.05, np.nan)
    root = read(friction_chart(replace(grid(), friction=flat), "friction"))
    assert not lines(root)
    assert "hardly changes" in desc(root)


def test_nothing_thrown_or_another_shape_is_an_error():
    with pytest.raises(ValueError, match="no place of the lane was thrown over"):
        friction_chart(replace(grid(), friction=np.full(grid().friction.shape, np.nan)), "friction")
    with pytest.raises(ValueError, match=r"shape \(3, 3\)"):
        friction_chart(replace(grid(), friction=np.zeros((3, 3))), "friction")
