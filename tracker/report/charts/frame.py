"""Panels and axes: from numbers to places in the picture, with ticks by the drawing library's own locator."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.ticker import MaxNLocator
from numpy.typing import ArrayLike, NDArray

from tracker.report.charts.looks import AXIS, GRID, INK, SOFT, Shape
from tracker.report.charts.svg import Element, add, group, short, words
from tracker.report.charts.tell import plain

Array = NDArray[np.float64]

TEXT_WIDTH, BOLD_WIDTH = 7.3, 8.3
"""Units that a letter takes on average in a wide font, and a bold one."""


@dataclass(frozen=True, slots=True)
class Scale:
    """Straight map from numbers ``low``..``high`` to places ``start``..``end`` of the picture."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: ArrayLike) -> Array:
        """Places of values, any shape."""
        share = (np.asarray(value, dtype=np.float64) - self.low) / (self.high - self.low)
        return np.asarray(self.start + share * (self.end - self.start))

    def at(self, value: float) -> float:
        """Place of one value."""
        return float(self(value))


@dataclass(frozen=True, slots=True)
class Panel:
    """A rectangle with a scale across and one upward."""

    x: Scale
    y: Scale

    @property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of the panel."""
        left, right = sorted((self.x.start, self.x.end))
        top, bottom = sorted((self.y.start, self.y.end))
        return left, top, right, bottom


def ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Round numbers between two limits."""
    found = MaxNLocator(nbins=most, steps=[1, 2, 5, 10]).tick_values(low, high)
    slack = 1e-9 * max(abs(low), abs(high), 1.0)
    return [round(float(v), 9) + 0.0 for v in found if low - slack <= v <= high + slack]


def limits(low: float, high: float, *, least: float, share: float = 0.06) -> tuple[float, float]:
    """Limits of an axis around numbers: a little air, and at least a span so that noise does not look like news."""
    air = max((high - low) * share, (least - (high - low)) / 2)
    return low - air, high + air


def across(parent: Element, panel: Panel, values: Sequence[float], *, axis: str, label: str = "") -> None:
    """Ticks and numbers along the bottom, faint lines upward, and the axis' name under them."""
    left, top, right, bottom = panel.box
    places = [panel.x.at(v) for v in values]
    lines = "".join(f"M{short(p)} {short(top)}V{short(bottom)}" for p in places)
    add(parent, "path", d=lines, stroke=GRID, fill="none")
    small = "".join(f"M{short(p)} {short(bottom)}v4" for p in places)
    add(parent, "path", d=f"{small}M{short(left)} {short(bottom)}H{short(right)}", stroke=AXIS, fill="none")
    numbers = group(parent, data_axis=axis, text_anchor="middle", fill=SOFT)
    for value, place in zip(values, places, strict=True):
        words(numbers, plain(value), place, bottom + 14)
    if label:
        words(parent, label, (left + right) / 2, bottom + 33, anchor="middle", fill=SOFT)


def upward(parent: Element, panel: Panel, values: Sequence[float], *, axis: str, label: str = "") -> None:
    """Ticks and numbers along the left side, faint lines across, and the axis' name above them."""
    left, top, right, _ = panel.box
    places = [panel.y.at(v) for v in values]
    lines = "".join(f"M{short(left)} {short(p)}H{short(right)}" for p in places)
    add(parent, "path", d=lines, stroke=GRID, fill="none")
    numbers = group(parent, data_axis=axis, text_anchor="end", fill=SOFT)
    for value, place in zip(values, places, strict=True):
        words(numbers, plain(value), left - 6, place)
    if label:
        words(parent, label, 4, top - 18, font_weight="600")


def mark(
    parent: Element,
    shape: Shape,
    place: tuple[float, float],
    *,
    size: float = 5.0,
    colour: str = INK,
    filled: bool = True,
) -> Element:
    """A mark; hollow ones are paper inside."""
    x, y = place
    r = size
    if shape == "circle":
        half = f"a{short(r)} {short(r)} 0 1 0"
        body = f"M{short(x - r)} {short(y)}{half} {short(2 * r)} 0{half} {short(-2 * r)} 0z"
    elif shape == "cross":
        across, back = short(2 * r), short(-2 * r)
        body = f"M{short(x - r)} {short(y - r)}l{across} {across}m0 {back}l{back} {across}"
    else:
        corners = {
            "square": ((-0.9, -0.9), (0.9, -0.9), (0.9, 0.9), (-0.9, 0.9)),
            "diamond": ((0, -1.25), (1.25, 0), (0, 1.25), (-1.25, 0)),
            "triangle": ((0, -1.15), (1.1, 0.85), (-1.1, 0.85)),
        }[shape]
        body = "M" + "L".join(f"{short(x + r * a)} {short(y + r * b)}" for a, b in corners) + "z"
    fill = "none" if shape == "cross" else colour if filled else "#ffffff"
    return add(parent, "path", d=body, fill=fill, stroke=colour, stroke_width=2.2 if shape == "cross" else 1.5)
