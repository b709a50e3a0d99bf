"""Charts as parts of a page; an empty one where there is nothing to draw."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from markupsafe import Markup

from tracker.report.charts.shots import NothingToDrawError


def drawn(chart: Callable[..., str], data: Any, key: str, **more: Any) -> Markup:
    """The chart's SVG, or nothing where it says that it has no data."""
    try:
        return Markup(chart(data, key, **more))  # noqa: S704 - charts escape all text by building XML
    except NothingToDrawError:
        return Markup()
