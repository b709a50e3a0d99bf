"""Numbers in words: as many digits as their uncertainty merits."""

from __future__ import annotations

from tracker.results import Quantity

MINUS, PLUS_MINUS = "\u2212", "\u00b1"
_HALF_OF_LAST = 0.095


def decimals_for(u: float | None) -> int:
    """Digits behind the point: one, two where the uncertainty is below 0.1, none where it is 3 or more."""
    if u is None or u >= _HALF_OF_LAST:
        return 0 if u is not None and u >= 3.0 else 1
    return 2


def number(value: float, decimals: int) -> str:
    """A number with a true minus sign, and no minus before a zero."""
    text = f"{value:.{decimals}f}"
    if text.startswith("-"):
        return text[1:] if not text.strip("-0.") else MINUS + text[1:]
    return text


def plain(value: float) -> str:
    """A number of an axis, without superfluous digits."""
    return f"{value:.6g}".replace("-", MINUS)


def with_u(value: float, u: float | None, unit: str = "") -> str:
    """Value and standard uncertainty, such as ``32.2 +- 0.4 ft``."""
    decimals = decimals_for(u)
    beside = "" if u is None else f" {PLUS_MINUS} {u:.{decimals}f}"
    return f"{number(value, decimals)}{beside} {unit}".rstrip()


def quantity(q: Quantity, unit: str = "") -> str:
    """The same of a quantity; ``not known`` where it is empty."""
    return "not known" if q.value is None else with_u(q.value, q.u, unit)


def between(low: float, high: float, decimals: int = 1) -> str:
    """An interval, such as ``31.5 to 33.0``."""
    return f"{number(low, decimals)} to {number(high, decimals)}"


def around(q: Quantity) -> tuple[float, float] | None:
    """Two standard uncertainties either side; None where value or uncertainty is missing."""
    if q.value is None or q.u is None:
        return None
    return q.value - 2 * q.u, q.value + 2 * q.u


def listed(parts: list[str], joint: str = "and") -> str:
    """Parts with commas and a last ``and``, or ``or``."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} {joint} {parts[-1]}"
