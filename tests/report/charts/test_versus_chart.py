"""Two groups of shots for one number."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_charts import NS, axis, desc, points, read, texts

from tracker.report.charts.data import Group, Span
from tracker.report.charts.versus import versus_chart
from tracker.results import Quantity

A = Group("Tuesday", tuple((f"a{k}", Quantity(v, 0.1)) for k, v in enumerate((3.0, 3.4, 3.2))))
B = Group("Thursday", (("b0", Quantity(4.0, 0.2)), ("b1", Quantity(missing="early_end"))), Span(4.0, 3.5, 4.6))


@pytest.fixture
def root():
    return read(versus_chart((A, B), "versus", "entry angle", "deg"))


def test_every_shot_stands_at_its_value_with_its_whisker(root):
    x = axis(root, "value", "x")
    first = root.find(f".//{NS}g[@data-group='Tuesday']")
    whiskers = [points(p.get("d"))[0][:, 0] for p in first.findall(f"{NS}path") if p.get("stroke-width") == "1.2"]
    assert np.array(whiskers) == pytest.approx(np.array([[x(v - 0.2), x(v + 0.2)] for v in (3.0, 3.4, 3.2)]), abs=0.2)
    assert "a1: 3.4 \u00b1 0.1 deg" in [t.text for t in first.iter(f"{NS}title")]


def test_means_stand_with_their_intervals(root):
    x = axis(root, "value", "x")
    bars = [np.concatenate(points(p.get("d"))) for p in root.iter(f"{NS}path") if p.get("data-marks") == "mean"]
    assert len(bars) == 1
    assert (bars[0][:, 0].min(), bars[0][:, 0].max()) == pytest.approx((x(3.5), x(4.6)), abs=0.2)
    assert "mean 4.0 (3.5 to 4.6) deg" in texts(root)
    assert "3 shots have it, mean not known" in texts(root)
    assert "Thursday: 1 shots, 1 without it" in desc(root)


def test_groups_are_told_apart_without_colour(root):
    shapes = [root.find(f".//{NS}g[@data-group='{n}']/{NS}path[2]").get("fill") for n in ("Tuesday", "Thursday")]
    assert shapes[0] != shapes[1] == "#ffffff"


def test_no_number_at_all_is_an_error():
    empty = Group("x", (("a", Quantity()),))
    with pytest.raises(ValueError, match="no shot of either group has entry angle"):
        versus_chart((empty, empty), "versus", "entry angle", "deg")
