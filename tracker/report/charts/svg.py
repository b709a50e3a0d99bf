"""Elements of a picture: a thin layer over the standard library's XML tree, so that every text is escaped by it.

A picture stands alone and inside a page: no reference to anything outside, no script, styles as attributes. Coordinates
are rounded to 0.1.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike

from tracker.report.charts.looks import FONT_FAMILY, FONT_SIZE, INK, PAPER

Element = ET.Element

SVG_NAMESPACE = "http://www.w3.org/2000/svg"
LONGEST = 80
"""Characters of a name or note that are kept."""

_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_TURNING = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_KEY = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")


def clean(text: str, most: int = LONGEST) -> str:
    """A text of somebody as one short line.

    Characters that XML forbids (1.0, section 2.2) become boxes; those that turn the direction of what follows go.
    """
    line = " ".join(_TURNING.sub("", _FORBIDDEN.sub("\ufffd", text)).split())
    return line if len(line) <= most else f"{line[: most - 1]}\u2026"


def picture(size: tuple[float, float], key: str, *, title: str, desc: str) -> Element:
    """Root of a picture of a width and height in its own units, with title and description.

    Raises
    ------
    ValueError
        If ``key`` is not a letter followed by letters, digits, ``-`` and ``_``.
    """
    if not _KEY.fullmatch(key):
        msg = f"chart key {key!r}: ids begin with it; give a letter followed by letters, digits, - or _"
        raise ValueError(msg)
    width, height = size
    root = ET.Element(
        "svg",
        {
            "xmlns": SVG_NAMESPACE,
            "id": key,
            "role": "img",
            "aria-labelledby": f"{key}-title {key}-desc",
            "viewBox": f"0 0 {short(width)} {short(height)}",
            "font-family": FONT_FAMILY,
            "font-size": short(FONT_SIZE),
            "fill": INK,
        },
    )
    add(root, "title", title, id=f"{key}-title")
    add(root, "desc", desc, id=f"{key}-desc")
    add(root, "rect", width=width, height=height, fill=PAPER)
    return root


def svg_text(root: Element) -> str:
    """The picture as a text to write into a file or a page; same picture, same text."""
    return ET.tostring(root, encoding="unicode")


def short(value: float) -> str:
    """A coordinate rounded to 0.1 in as few characters as it takes."""
    rounded = round(float(value), 1) + 0.0
    return f"{rounded:.1f}".removesuffix(".0").replace("-0.", "-.").removeprefix("0") or "0"


def add(parent: Element, tag: str, text: str | None = None, /, **attributes: str | float | None) -> Element:
    """Append an element; underscores in names of attributes become hyphens, None leaves one out."""
    named = {
        name.rstrip("_").replace("_", "-"): value if isinstance(value, str) else short(value)
        for name, value in attributes.items()
        if value is not None
    }
    child = ET.SubElement(parent, tag, named)
    child.text = text
    return child


def way(x: ArrayLike, y: ArrayLike, *, closed: bool = False) -> str:
    """Path data through points ``(n,)``, ``(n,)``, relative so that it is short; a gap where a point is no number."""
    points = np.round(np.column_stack([np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)]) * 10)
    out: list[str] = []
    at: tuple[int, int] | None = None
    for px, py in points:
        if not (np.isfinite(px) and np.isfinite(py)):
            at = None
            continue
        here = (int(px), int(py))
        if at is None:
            out.append(f"M{_pair(*here)}")
        elif here != at:
            out.append(f"l{_pair(here[0] - at[0], here[1] - at[1])}")
        at = here
    return "".join(out) + ("z" if closed and out else "")


def _pair(x: int, y: int) -> str:
    first, second = short(x / 10), short(y / 10)
    return first + second if second.startswith("-") else f"{first} {second}"


def words(
    parent: Element,
    text: str,
    x: float,
    y: float,
    *,
    anchor: str = "start",
    halo: bool = False,
    **attributes: str | float,
) -> Element:
    """A text whose middle line runs at ``y``; with a halo of paper where lines run behind it."""
    look: dict[str, str | float | None] = {"text_anchor": None if anchor == "start" else anchor}
    if halo:
        look |= {"stroke": PAPER, "stroke_width": "4", "stroke_linejoin": "round", "paint_order": "stroke"}
    return add(parent, "text", text, x=x, y=y, dy="0.35em", **{**look, **attributes})


def tooltip(parent: Element, place: tuple[float, float], text: str, **data: float) -> Element:
    """An unseen disc over a point that tells its value on hovering, with numbers for a page's script as ``data-*``."""
    numbers = {f"data_{name}": f"{value:.4g}" for name, value in data.items()}
    disc = add(parent, "circle", cx=place[0], cy=place[1], r=7, **numbers)
    add(disc, "title", text)
    return disc


def group(parent: Element, **attributes: str | float | None) -> Element:
    """A group of elements with attributes in common."""
    return add(parent, "g", **attributes)


def joined(sentences: Iterable[str]) -> str:
    """Sentences after one another."""
    return " ".join(s for s in sentences if s)
