"""Made-up shots with closed forms, and a drawn chart read back: its tick labels tell where numbers lie in it."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from calibration.lane import Hand
from tracker.report.charts.data import ChartShot, Curve, FrictionGrid, RoomCurves, RoomReach, Span
from tracker.results import Quantity

Array = NDArray[np.float64]
NS = "{http://www.w3.org/2000/svg}"
BREAK_FT, BREAK_BOARD, BEND = 38.0, 6.0, 0.02
CONTACT_FT, CONTACT_BOARD = 59.5, 6.0 + 0.02 * 21.5**2
BOARD_U = 0.4


def board_at(feet: Array | float) -> Array | float:
    """A parabola about its breakpoint."""
    return BREAK_BOARD + BEND * (feet - BREAK_FT) ** 2


def shot(shot_id: str = "one", hand: Hand = "right", **changes: object) -> ChartShot:
    """A hook whose board is a parabola over feet, everything known."""
    feet = np.arange(10.0, 60.0)
    heading = np.degrees(np.arctan(2 * BEND * (feet - BREAK_FT) * (41.5 / 39) / 12))
    numbers = {
        "onset_ft": Quantity(30.0, 0.5),
        "breakpoint_ft": Quantity(BREAK_FT, 0.6),
        "breakpoint_board": Quantity(BREAK_BOARD, 0.2),
        "roll_ft": Quantity(50.0, 1.0),
        "contact_ft": Quantity(CONTACT_FT, 0.02),
        "contact_board": Quantity(CONTACT_BOARD, BOARD_U),
        "entry_angle_deg": Quantity(4.3, 0.1),
        "deck_exit_board": Quantity(12.0, 0.8),
        "speed_release_mph": Quantity(18.0, 0.2),
        "speed_pins_mph": Quantity(15.0, 0.2),
    }
    usual: dict[str, object] = {
        "ball": "Fen Slate",
        "board": Curve(feet, np.asarray(board_at(feet)), np.full(len(feet), BOARD_U)),
        "heading_deg": Curve(feet, heading, np.full(len(feet), 0.1)),
        "speed_mph": Curve(feet, 18.0 - 0.06 * feet, np.full(len(feet), 0.2)),
        "sideways_ft_s2": Curve(feet, np.where(feet < 50, 2.0, 0.0), np.full(len(feet), 0.2)),
        "numbers": numbers,
        "standing": (4, 10),
    }
    return ChartShot(shot_id, hand, **{**usual, **changes})


def grid(**changes: object) -> FrictionGrid:
    """Friction 0.04 at 0 ft rising by 0.004 a foot, thrown over boards 5 to 15 up to 50 ft."""
    board, feet = np.arange(1.0, 40.0), np.arange(2.0, 60.0, 2.0)
    friction = np.repeat((0.04 + 0.004 * feet)[:, None], len(board), axis=1)
    friction[:, (board < 5) | (board > 15)] = np.nan
    friction[feet > 50] = np.nan
    usual = {"oil_end_ft": Span(40.0, 38.0, 43.0), "lane": "7"}
    return FrictionGrid(board, feet, friction, **{**usual, **changes})


def room(**changes: object) -> RoomCurves:
    """Straight flanks: aside falls by 0.3, parallel by 0.1 a board from 0.95."""
    miss = np.arange(-4.0, 4.01, 0.5)
    usual: dict[str, object] = {
        "aside": RoomReach(0.5, 0.5, Span(1.0, 0.6, 1.6), 0.0),
        "parallel": RoomReach(1.5, 1.5, Span(3.0, 2.0, 5.0), 0.5),
        "ball": "Fen Slate",
        "move": "2-1 left",
    }
    aside, parallel = (np.clip(0.95 - slope * np.abs(miss), 0, 1) for slope in (0.3, 0.1))
    return RoomCurves(miss, aside, parallel, **{**usual, **changes})


def read(svg: str) -> ET.Element:
    """The picture as a tree; no text of it is a reference to anything outside."""
    root = ET.fromstring(svg)  # noqa: S314  # the program's own text
    assert root.tag == f"{NS}svg"
    return root


def axis(root: ET.Element, name: str, which: str) -> Callable[[float], float]:
    """Where a number lies in the picture, by the places of an axis' own labels (``which`` x or y)."""
    labels = root.findall(f".//{NS}g[@data-axis='{name}']/{NS}text")
    values = [float(re.sub(r"[^0-9.\u2212-]", "", "".join(t.itertext())).replace("\u2212", "-")) for t in labels]
    places = [float(t.get(which)) for t in labels]
    slope, start = np.polyfit(values, places, 1)
    assert np.allclose(places, np.polyval([slope, start], values), atol=0.11), "ticks are not evenly spaced"
    return lambda value: float(start + slope * value)


def points(d: str) -> list[Array]:
    """Corners of path data with M, l, L, H, V, h, v, m, one array a stretch; arcs are not read."""
    out: list[list[tuple[float, float]]] = []
    x = y = 0.0
    for letter, rest in re.findall(r"([MmLlHhVvZz])([^MmLlHhVvZz]*)", d):
        n = [float(v) for v in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", rest)]
        if letter in "Zz":
            continue
        if letter in "Ml" or letter in "Lm":
            dx, dy = n
            x, y = (dx, dy) if letter in "ML" else (x + dx, y + dy)
        elif letter in "Hh":
            x = n[0] if letter == "H" else x + n[0]
        else:
            y = n[0] if letter == "V" else y + n[0]
        if letter in "Mm":
            out.append([])
        out[-1].append((x, y))
    return [np.array(stretch) for stretch in out]


def texts(root: ET.Element) -> list[str]:
    """Words that stand in the picture."""
    return ["".join(t.itertext()) for t in root.iter(f"{NS}text")]


def desc(root: ET.Element) -> str:
    """Description of the picture."""
    return root.findtext(f"{NS}desc") or ""


def curve_of(root: ET.Element, number: str = "1") -> Array:
    """Places ``(n, 2)`` of a shot's curve in the first panel."""
    group = root.find(f".//{NS}g[@data-shot='{number}']")
    return points(group.findall(f"{NS}path[@stroke]")[0].get("d"))[0]


def band_of(root: ET.Element, number: str = "1") -> Array:
    """Corners ``(n, 2)`` of a shot's band in the first panel."""
    group = root.find(f".//{NS}g[@data-shot='{number}']")
    return points(group.find(f"{NS}path[@fill-opacity]").get("d"))[0]
