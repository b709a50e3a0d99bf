"""Numbers as people read them: no more digits than the uncertainty merits, a reason where there is none."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tracker.flags import describe
from tracker.report.shape import holds
from tracker.report.shapes import NUMBER
from tracker.results import Quantity

PLUS_MINUS = "\u00b1"
NOTHING = "\u2013"
MOST_DECIMALS = 2
UNITS = {"board": "", "deg": "\u00b0", "1": ""}
"""Units as they stand behind a number; a board is named by its heading."""


@dataclass(frozen=True, slots=True)
class Said:
    """A number in words.

    Attributes
    ----------
    text : str
        Value and standard uncertainty, or a dash.
    why : str
        Why there is no value; empty where there is one.
    value, u : float or None
    """

    text: str
    why: str = ""
    value: float | None = None
    u: float | None = None

    def __str__(self) -> str:
        """Its text."""
        return self.text


def decimals_for(u: float) -> int:
    """Decimals that an uncertainty merits: two significant digits of it where they begin with 1, else one.

    JCGM 100:2008, 7.2.6, has at most two (from memory).

    >>> decimals_for(0.15), decimals_for(0.3), decimals_for(12.0)
    (2, 1, 0)
    """
    if not math.isfinite(u) or u <= 0:
        return 1
    power = math.floor(math.log10(u))
    lead = u / 10.0**power
    digits = 1 if lead < 1.95 else 0
    return min(max(digits - power, 0), MOST_DECIMALS)


def say(q: Quantity, unit: str = "") -> Said:
    """Value and u with the unit's sign; a dash and the flag's words where there is no value."""
    if q.value is None:
        why = describe(q.missing).text if q.missing else "Not known."
        return Said(NOTHING, why)
    sign = UNITS.get(unit, f" {unit}" if unit else "")
    if q.u is None:
        return Said(f"{_fixed(q.value, 1)}{sign}", value=q.value)
    places = decimals_for(q.u)
    least = 10.0**-MOST_DECIMALS
    u = f"under {least:g}" if 0 < q.u < least / 2 else _fixed(q.u, places)
    return Said(f"{_fixed(q.value, places)} {PLUS_MINUS} {u}{sign}", value=q.value, u=q.u)


def say_data(data: Mapping[str, Any] | None, unit: str = "") -> Said:
    """The same of a number of ``lineup.json``: ``value`` and ``u``, or ``missing``."""
    return say(quantity(data), unit)


def quantity(data: Mapping[str, Any] | None) -> Quantity:
    """A number of ``lineup.json``."""
    if not holds(data, {"value": NUMBER}) or data is None:
        why = data["missing"] if holds(data, {"missing": str}) and data is not None else None
        return Quantity(missing=why)
    return Quantity(float(data["value"]), float(data["u"]) if holds(data, {"u": NUMBER}) else None)


def printed(line: str) -> str:
    """A line of the note as a page prints it: without its dash, with the sign for plus or minus."""
    return line.removeprefix("- ").replace(" +- ", f" {PLUS_MINUS} ")


def after_code(text: str) -> str:
    """Words of a cell such as ``no_ball: no ball found``, without the code."""
    return text.partition(": ")[2] or text


def _fixed(value: float, places: int) -> str:
    text = f"{value:.{places}f}"
    text = text.removeprefix("-") if float(text) == 0 else text
    return text.replace("-", "\u2212")
