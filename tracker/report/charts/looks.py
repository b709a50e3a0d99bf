"""Colours, dashes and marks of the charts: nothing is told by colour alone, all works in black and white."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

FONT_FAMILY = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, 'Noto Sans', sans-serif"
FONT_SIZE = 14.0
WIDTH = 460.0
"""Width of every picture in its own units: 14 of them are a little over 10 pixels on a phone 360 wide."""

PAPER = "#ffffff"
INK = "#24313b"
SOFT = "#515c65"
AXIS = "#767c81"
GRID = "#e4dfd4"
WOOD = "#f8f4ea"
GUTTER = "#dedfdf"
SHADE = "0.2"

Shape = Literal["circle", "square", "diamond", "triangle", "cross"]


@dataclass(frozen=True, slots=True)
class Look:
    """How the shots of one ball are drawn: colour, dash pattern (None: solid) and mark."""

    colour: str
    dash: str | None
    shape: Shape


LOOKS: tuple[Look, ...] = (
    Look("#5b2a86", None, "circle"),
    Look("#8f4a00", "8 3", "square"),
    Look("#00665a", "2 2.5", "triangle"),
    Look("#1f4e8c", "10 3 2 3", "diamond"),
    Look("#8c1c4a", "4 4", "cross"),
    Look("#444c54", "14 4", "square"),
)


def looks_of(balls: Sequence[str]) -> dict[str, Look]:
    """A look for every ball, in the order in which balls appear; more than six begin again."""
    return {ball: LOOKS[k % len(LOOKS)] for k, ball in enumerate(dict.fromkeys(balls))}
