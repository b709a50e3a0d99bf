"""Colours of the pictures, and words that any font can write."""

from __future__ import annotations

import functools

from matplotlib import font_manager

FONT = "DejaVu Sans"

PAPER = "#f7f5f0"
INK = "#24313b"
FAINT = "#c9c3b6"
LANE_TINT = "#efe6d6"
GUTTER = "#6b7076"
PATH = "#5b2a86"
BAND = "#b79ad6"
CASING = "#ffffff"
MARKER = "#f2b632"
PIN = "#ffffff"
PIN_EDGE = "#8b8f94"


@functools.cache
def _writable() -> frozenset[int]:
    face = font_manager.get_font(font_manager.findfont(FONT))
    return frozenset(face.get_charmap())


def writable(text: str) -> str:
    """Return the text with a box in place of every character that the pictures' font lacks."""
    return "".join(c if ord(c) in _writable() else "\u25a1" for c in text)
