"""What holds for every chart: well-formed, escaped, alone, accessible, small, the same each time."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest
from drawn_charts import NS, desc, grid, read, room, shot, texts

from tracker.report.charts.data import Group
from tracker.report.charts.friction import friction_chart
from tracker.report.charts.heading import heading_chart
from tracker.report.charts.lane import lane_chart
from tracker.report.charts.looks import AXIS, INK, LOOKS, PAPER, SOFT, WOOD
from tracker.report.charts.pocket import pocket_chart
from tracker.report.charts.room import room_chart
from tracker.report.charts.speed import speed_chart
from tracker.report.charts.versus import versus_chart
from tracker.results import Quantity

MARKUP = '"><script>alert(1)</script>'
HOSTILE = [
    MARKUP,
    "]]>",
    "&amp; & <",
    "a\x00b\x08\x1bc\ud800\ufffe",
    "\u202egnp.exe\u2066\u200f",
    "x" * 300,
    "line\nbreak\ttab",
    "",
]


def groups(name: str = "Tuesday") -> tuple[Group, Group]:
    one = tuple((name, Quantity(v, 0.1)) for v in (3.0, 3.4))
    return Group(name, one), Group(f"{name} again", one)


def shots(name: str, count: int):
    return [shot(name, ball=name, line=name) for _ in range(count)]


CHARTS: dict[str, Callable[[str, str], str]] = {
    "lane": lambda name, key: lane_chart(shots(name, 1), key),
    "lanes": lambda name, key: lane_chart(shots(name, 3), key),
    "heading": lambda name, key: heading_chart(shots(name, 1), key),
    "headings": lambda name, key: heading_chart(shots(name, 2), key),
    "speed": lambda name, key: speed_chart(shots(name, 1), key),
    "speeds": lambda name, key: speed_chart(shots(name, 5), key),
    "pocket": lambda name, key: pocket_chart(shots(name, 1), key),
    "pockets": lambda name, key: pocket_chart(shots(name, 3), key),
    "friction": lambda name, key: friction_chart(replace(grid(), lane=name), key),
    "room": lambda name, key: room_chart(replace(room(), ball=name, move=name), key),
    "versus": lambda name, key: versus_chart(groups(name), key, name or "entry angle", name),
}
EVERY = pytest.mark.parametrize("chart", list(CHARTS.values()), ids=list(CHARTS))


@EVERY
@pytest.mark.parametrize("name", HOSTILE)
def test_any_text_stays_text(chart, name):
    svg = chart(name, "k")
    root = read(svg)
    assert {e.tag for e in root.iter()} <= {
        f"{NS}{t}" for t in ("svg", "title", "desc", "g", "path", "rect", "circle", "text")
    }
    assert not [a for e in root.iter() for a in e.attrib if a.startswith("on") or a in ("href", "style")]
    assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufffe]", svg)
    assert max(map(len, texts(root))) < 90


@EVERY
def test_a_name_with_markup_is_shown_as_it_is(chart):
    told = " ".join((desc(read(chart(MARKUP, "k"))), read(chart(MARKUP, "k")).findtext(f"{NS}title") or ""))
    assert MARKUP in told


@EVERY
def test_the_picture_stands_alone_and_speaks(chart):
    root = read(chart("one", "k"))
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == "k-title k-desc"
    assert len(root.findtext(f"{NS}title")) > 8
    assert re.search(r"\d", desc(root))
    assert desc(root).endswith(".")
    assert re.fullmatch(r"0 0 460 \d+(\.\d)?", root.get("viewBox"))
    assert root.get("width") is None
    assert "url(" not in chart("one", "k")


@EVERY
def test_two_charts_in_one_page_share_no_id(chart):
    first, second = ({e.get("id") for e in read(chart("one", key)).iter() if e.get("id")} for key in ("a1", "a2"))
    assert len(first) == 3
    assert first.isdisjoint(second)


@EVERY
def test_the_same_data_give_the_same_text(chart):
    assert chart("one", "k") == chart("one", "k")


@EVERY
@pytest.mark.parametrize("key", ["", "1a", "a b", 'a"', "\u00e4"])
def test_a_key_that_is_no_id_is_an_error(chart, key):
    with pytest.raises(ValueError, match="chart key"):
        chart("one", key)


@pytest.mark.parametrize("name", [n for n in CHARTS if n not in ("lanes", "headings", "speeds", "pockets")])
def test_single_charts_are_small(name):
    assert len(CHARTS[name]("one", "k").encode()) < 15_000


def test_a_shots_pictures_together_and_twelve_shots_are_small():
    own = sum(len(CHARTS[n]("one", "k").encode()) for n in ("lane", "heading", "speed", "pocket"))
    assert own < 50_000
    assert len(lane_chart([shot(str(k)) for k in range(12)], "k").encode()) < 40_000


@EVERY
def test_coordinates_have_one_digit_behind_the_point(chart):
    numbers = re.findall(r'\b(?:d|x|y|cx|cy|r)="([^"]*)"', chart("one", "k"))
    assert not [n for n in numbers if re.search(r"\.\d\d", n)]


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, definition in the glossary)."""
    channels = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def _contrast(a: str, b: str) -> float:
    high, low = sorted((_luminance(a), _luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("ground", [PAPER, WOOD])
def test_contrast_is_enough(ground):
    """Success criteria 1.4.3 (text, 4.5 to 1) and 1.4.11 (graphics, 3 to 1) of WCAG 2.2."""
    assert _contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)
    for colour in (INK, SOFT, *(look.colour for look in LOOKS)):
        assert _contrast(colour, ground) >= 4.5
    assert _contrast(AXIS, ground) >= 3.0


def test_no_two_balls_of_six_look_alike_without_colour():
    assert len({(look.dash, look.shape) for look in LOOKS}) == len(LOOKS)
