"""Letters and symbols at pixels of a figure, counted from its lower left corner."""

from __future__ import annotations

from typing import Any

from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.font_manager import FontProperties
from matplotlib.lines import Line2D
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from matplotlib.transforms import IdentityTransform

from tracker.report.ink import FONT, INK, MARKER, PAPER
from tracker.report.marked.stamp import POINT_DPI

_CASING_PX = 2.2


def text_width(words: str, size: float) -> float:
    """Width in pixels of words as plain text."""
    renderer: Any = RendererAgg(1, 1, POINT_DPI)  # type: ignore[no-untyped-call]
    return float(renderer.get_text_width_height_descent(words, FontProperties(family=FONT, size=size), ismath=False)[0])


def text(x: float, y: float, words: str, *, size: float, colour: str = PAPER) -> Text:
    """Plain text that begins at x, its base line at y; nothing in it is interpreted."""
    return Text(
        x, y, words, color=colour, fontsize=size, family=FONT, parse_math=False, transform=IdentityTransform()
    )  # fmt: skip


def cased_text(x: float, y: float, words: str, *, size: float, align: str) -> Text:
    """Plain text with a dark casing, its middle at the height y; ``align`` says which part of it x is."""
    found = text(x, y, words, size=size)
    found.set(ha=align, va="center_baseline", alpha=0.9)
    found.set_path_effects([withStroke(linewidth=_CASING_PX, foreground=INK)])
    return found


def marker(x: float, y: float, symbol: str, size: float) -> Line2D:
    """One of the symbols for places of the path."""
    return Line2D(
        [x], [y], marker=symbol, markersize=size, markerfacecolor=MARKER, markeredgecolor=INK,
        markeredgewidth=max(0.12 * size, 1.0), linestyle="none", transform=IdentityTransform(),
    )  # fmt: skip
