"""Charts as a browser lays them out: words inside the picture and beside one another. Skipped where there is none."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from drawn_charts import grid, room, shot

from tracker.report.charts.data import ChartShot, Curve, FrictionGrid, Group, RoomCurves
from tracker.report.charts.friction import friction_chart
from tracker.report.charts.heading import heading_chart
from tracker.report.charts.lane import lane_chart
from tracker.report.charts.pocket import pocket_chart
from tracker.report.charts.room import room_chart
from tracker.report.charts.speed import speed_chart
from tracker.report.charts.versus import versus_chart
from tracker.results import Quantity

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
pytestmark = [
    pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="no chromium with its driver here"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]
TOUCH = 2.0
"""Units by which line boxes may touch: a box is a little higher than its letters."""
WORDS_JS = """
return [...document.querySelectorAll('svg text')].map(t => {
  const b = t.getBBox(); return [t.textContent, b.x, b.y, b.x + b.width, b.y + b.height];
});"""


def early(**changes: Any) -> dict[str, Quantity]:
    near = {"onset_ft": 15.3, "breakpoint_ft": 15.6, "roll_ft": 16.2}
    return {**shot().numbers, **{n: Quantity(v, 0.4) for n, v in near.items()}, **changes}


def late() -> dict[str, Quantity]:
    near = {"onset_ft": 57.0, "breakpoint_ft": 57.5, "roll_ft": 58.0}
    return {**shot().numbers, **{n: Quantity(v, 0.7) for n, v in near.items()}, "deck_exit_board": Quantity(38.9, 2.0)}


def gutter() -> ChartShot:
    """Seen from 4 to 12 ft only."""
    feet = np.arange(4.0, 13.0)
    flat = Curve(feet, np.full(9, -3.0), np.full(9, 0.2))
    board, speed = replace(flat, value=4.0 - 0.5 * (feet - 4)), replace(flat, value=16.0 - 0.05 * feet)
    return shot(board=board, heading_deg=flat, speed_mph=speed, sideways_ft_s2=flat, numbers={}, gutter=True)


def twelve(hand: Any = "right") -> list[Any]:
    many = [shot(f"evening-{k}", hand=hand, ball=f"Ball {k % 4}") for k in range(12)]
    return [
        replace(s, numbers={**s.numbers, "contact_board": Quantity(17.0 + 0.1 * k, 0.1)}) for k, s in enumerate(many)
    ]


def steep() -> FrictionGrid:
    """All of the change within 4 ft."""
    rise = np.clip((grid().distance_ft[:, None] - 36) / 20, 0.04, 0.2)
    return replace(grid(), friction=np.where(np.isfinite(grid().friction), rise, np.nan))


def low_room() -> RoomCurves:
    low = {name: getattr(room(), name) * 0.3 for name in ("aside_chance", "parallel_chance")}
    return replace(room(), **low, hand="left")


def groups() -> tuple[Group, Group]:
    one = tuple((f"shot {k}", Quantity(17.0 + 0.3 * k, 0.2)) for k in range(8))
    return Group("Tuesday evening, lane 14, before", one), Group("Thursday, lane 14, after the lesson", one[:3])


CHARTS: dict[str, Callable[[], str]] = {
    "lane": lambda: lane_chart([shot()], "k"),
    "lane, left": lambda: lane_chart([shot(hand="left")], "k"),
    "lane, early events": lambda: lane_chart([shot(numbers=early())], "k"),
    "lane, late events": lambda: lane_chart([shot(numbers=late())], "k"),
    "lane, gutter": lambda: lane_chart([gutter()], "k"),
    "speed, gutter": lambda: speed_chart([gutter()], "k"),
    "heading, gutter": lambda: heading_chart([gutter()], "k"),
    "twelve lanes": lambda: lane_chart(twelve(), "k"),
    "twelve lanes, left": lambda: lane_chart(twelve("left"), "k"),
    "heading": lambda: heading_chart([shot()], "k"),
    "heading, early events": lambda: heading_chart([shot(numbers=early())], "k"),
    "heading, late events": lambda: heading_chart([shot(numbers=late())], "k"),
    "two headings": lambda: heading_chart([shot("a"), shot("b", ball="Tern")], "k"),
    "speed": lambda: speed_chart([shot()], "k"),
    "pocket": lambda: pocket_chart([shot()], "k"),
    "pocket, left": lambda: pocket_chart([shot(hand="left", numbers=late())], "k"),
    "pocket, exit at the edge": lambda: pocket_chart([shot(numbers=late(), standing=tuple(range(1, 10)))], "k"),
    "pocket, not read": lambda: pocket_chart([shot(numbers=early(deck_exit_board=Quantity()), standing=None)], "k"),
    "twelve pockets": lambda: pocket_chart(twelve(), "k"),
    "friction": lambda: friction_chart(grid(), "k"),
    "friction, left": lambda: friction_chart(grid(), "k", "left"),
    "friction, steep": lambda: friction_chart(steep(), "k"),
    "room": lambda: room_chart(room(), "k"),
    "room, small": lambda: room_chart(low_room(), "k"),
    "versus": lambda: versus_chart(groups(), "k", "board at contact", "board"),
}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in ("--headless=new", "--disable-gpu", "--window-size=700,900", "--disable-dev-shm-usage"):
        options.add_argument(flag)
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        options.add_argument("--no-sandbox")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()


@pytest.fixture
def laid_out(browser, request, tmp_path) -> tuple[list[Any], float]:
    """Words with their boxes, and the picture's height."""
    page = tmp_path / "page.html"
    page.write_text(f"<!doctype html><meta charset=utf-8>{CHARTS[request.param]()}", encoding="utf-8")
    browser.get(page.as_uri())
    assert not browser.get_log("browser")
    height = browser.execute_script("return document.querySelector('svg').viewBox.baseVal.height")
    return browser.execute_script(WORDS_JS), height


@pytest.mark.parametrize("laid_out", list(CHARTS), indirect=True)
def test_words_stay_inside_and_apart(laid_out):
    boxes, height = laid_out
    assert len(boxes) > 5
    outside = [b for b in boxes if b[1] < 0 or b[2] < 0 or b[3] > 460 or b[4] > height]
    assert not outside
    over = [(a[0], b[0]) for a, b in combinations(boxes, 2) if _overlap(a, b)]
    assert not over


def _overlap(a: list[Any], b: list[Any]) -> bool:
    return all(min(a[k + 2], b[k + 2]) - max(a[k], b[k]) > TOUCH for k in (1, 2))
