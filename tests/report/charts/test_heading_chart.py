"""Heading and sideways acceleration against distance, with onset, breakpoint and end of the hook."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_charts import NS, axis, curve_of, desc, points, read, shot, texts

from tracker.report.charts.heading import heading_chart
from tracker.results import Quantity


def test_both_curves_lie_on_their_axes():
    root = read(heading_chart([shot()], "turn"))
    x, y = axis(root, "distance-heading", "x"), axis(root, "heading", "y")
    wanted = shot().heading_deg
    drawn = curve_of(root)
    assert drawn[:, 0] == pytest.approx([x(f) for f in wanted.distance_ft], abs=0.2)
    assert drawn[:, 1] == pytest.approx([y(v) for v in wanted.value], abs=0.2)
    second = root.findall(f".//{NS}g[@data-shot='1']")[1].findall(f"{NS}path[@stroke]")[0]
    sideways = axis(root, "sideways", "y")
    assert points(second.get("d"))[0][[0, -1], 1] == pytest.approx([sideways(2.0), sideways(0.0)], abs=0.2)


@pytest.mark.parametrize(("name", "feet", "u"), [("onset", 30, 0.5), ("breakpoint", 38, 0.6), ("end of hook", 50, 1.0)])
def test_events_stand_in_brackets_of_two_standard_uncertainties(name, feet, u):
    root = read(heading_chart([shot()], "turn"))
    x, y = axis(root, "distance-heading", "x"), axis(root, "heading", "y")
    bracket = np.concatenate(points(root.find(f".//{NS}path[@data-event='{name}']").get("d")))
    assert (bracket[:, 0].min(), bracket[:, 0].max()) == pytest.approx((x(feet - 2 * u), x(feet + 2 * u)), abs=0.2)
    here = np.interp(feet, shot().heading_deg.distance_ft, shot().heading_deg.value)
    assert np.median(bracket[:, 1]) == pytest.approx(y(here), abs=0.3)
    assert f"{name} {feet:.1f} ft ({feet - 2 * u:.1f} to {feet + 2 * u:.1f})" in texts(root)


def test_words_of_close_events_stand_in_rows_of_their_own():
    near = {n: Quantity(17.0 + k / 5, 0.3) for k, n in enumerate(("onset_ft", "breakpoint_ft", "roll_ft"))}
    root = read(heading_chart([shot(numbers=near)], "turn"))
    rows = [float(t.get("y")) for t in root.iter(f"{NS}text") if " ft (" in "".join(t.itertext())]
    assert len(rows) == 3
    assert min(np.diff(sorted(rows))) >= 15


def test_a_straight_ball_has_no_events_and_the_description_says_so():
    root = read(heading_chart([shot(numbers={})], "turn"))
    assert root.find(f".//{NS}path[@data-event]") is None
    assert "there is no onset, breakpoint or end of hook" in desc(root)


def test_one_curve_is_enough_and_the_other_is_named():
    root = read(heading_chart([shot(sideways_ft_s2=None)], "turn"))
    assert root.find(f".//{NS}g[@data-axis='sideways']") is None
    assert "sideways acceleration is not known" in desc(root)


def test_two_shots_are_told_apart_at_their_ends():
    root = read(heading_chart([shot("a"), shot("b", ball="Tern")], "turn"))
    assert {"1", "2", "a (Fen Slate)", "b (Tern)"} <= set(texts(root))
    assert root.find(f".//{NS}path[@data-event]") is None


def test_an_older_file_has_nothing_to_draw():
    with pytest.raises(ValueError, match="no shot has a heading over feet; measure its clip again"):
        heading_chart([shot(heading_deg=None, sideways_ft_s2=None)], "turn")
