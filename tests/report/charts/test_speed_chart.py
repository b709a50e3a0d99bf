"""Speed against distance."""

from __future__ import annotations

import pytest
from drawn_charts import NS, axis, band_of, curve_of, desc, read, shot, texts

from tracker.report.charts.speed import speed_chart


def test_speed_and_band_lie_on_the_axes():
    root = read(speed_chart([shot()], "speed"))
    x, y = axis(root, "distance-speed", "x"), axis(root, "speed", "y")
    assert curve_of(root)[[0, -1]].ravel() == pytest.approx([x(10), y(17.4), x(59), y(14.46)], abs=0.2)
    corners = band_of(root)
    assert (corners[0, 1], corners[-1, 1]) == pytest.approx((y(17.0), y(17.8)), abs=0.2)


def test_both_ends_are_told_in_words():
    root = read(speed_chart([shot()], "speed"))
    assert {"17.4 \u00b1 0.2 mph", "14.5 \u00b1 0.2 mph"} <= set(texts(root))
    assert "at release 18.0 \u00b1 0.2 mph, at the pins 15.0 \u00b1 0.2 mph" in desc(root)


def test_many_shots_have_no_bands_but_say_how_wide_they_were():
    root = read(speed_chart([shot(str(k)) for k in range(6)], "speed"))
    assert not any(g.find(f"{NS}path[@fill-opacity]") is not None for g in root.findall(f".//{NS}g[@data-shot]"))
    assert "two standard uncertainties: usually 0.4 mph" in texts(root)


def test_a_shot_without_speed_is_named_and_alone_an_error():
    root = read(speed_chart([shot(), shot("dark", speed_mph=None)], "speed"))
    assert "not drawn: dark" in desc(root)
    with pytest.raises(ValueError, match="no shot has a speed"):
        speed_chart([shot(speed_mph=None)], "speed")
