"""Curves over the distance in one panel: axes, lines with bands, tooltips, tags at the ends."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tracker.report.charts.data import Curve
from tracker.report.charts.frame import Panel, Scale, across, limits, ticks, upward
from tracker.report.charts.ground import band
from tracker.report.charts.looks import INK
from tracker.report.charts.shots import Drawn, hover_places, thinned, u_at, value_at
from tracker.report.charts.svg import Element, add, group, short, tooltip, way, words
from tracker.report.charts.tell import with_u
from tracker.report.spacing import spread

LEFT, RIGHT = 44.0, 436.0
FEET = (0.0, 60.0)
_MANY = 3
_TAG_GAP = 17.0


@dataclass(frozen=True, slots=True)
class What:
    """Which number a panel shows.

    ``label`` stands over the panel, ``unit`` in tooltips, ``axis`` names the ticks for whoever reads the file, and
    ``least`` is the smallest span of numbers shown, so that noise does not look like news; ``air`` the share left free
    below and above.
    """

    label: str
    unit: str
    axis: str
    least: float
    air: float = 0.06


def panel_for(curves: Sequence[Curve], what: What, *, top: float, bottom: float) -> Panel:
    """Panel whose numbers hold all curves with their bands."""
    lows, highs = zip(*(_reach(c) for c in curves), strict=True)
    low, high = limits(min(lows), max(highs), least=what.least, share=what.air)
    return Panel(Scale(*FEET, LEFT, RIGHT), Scale(low, high, bottom, top))


def _reach(curve: Curve) -> tuple[float, float]:
    u = 0.0 if curve.u is None else 2 * curve.u
    return float(np.min(curve.value - u)), float(np.max(curve.value + u))


def axes(parent: Element, panel: Panel, what: What, *, feet_named: bool = True) -> None:
    """Both axes of a panel, and a stronger line at zero."""
    across(
        parent,
        panel,
        [float(f) for f in range(0, 61, 10)],
        axis=f"distance-{what.axis}",
        label="feet past the foul line" if feet_named else "",
    )
    upward(parent, panel, ticks(panel.y.low, panel.y.high, 5), axis=what.axis, label=what.label)
    if panel.y.low < 0 < panel.y.high:
        zero = f"M{short(LEFT)} {short(panel.y.at(0.0))}H{short(RIGHT)}"
        add(parent, "path", d=zero, stroke=INK, stroke_width=0.9)


def lines(parent: Element, panel: Panel, what: What, *, curves: Sequence[tuple[Drawn, Curve]]) -> None:
    """Lines with bands of two standard uncertainties, tooltips, and tags where there are several."""
    many = len(curves) > _MANY
    for drawn, full in curves:
        curve = thinned(full, 31 if many else 80)
        place = group(parent, data_shot=drawn.tag or "1", fill="none")
        x = panel.x(curve.distance_ft)
        if curve.u is not None and not many:
            low, high = (panel.y(curve.value + s * 2 * curve.u) for s in (-1, 1))
            band(place, (x, low), (x, high), drawn.look.colour)
        line = way(x, panel.y(curve.value))
        add(
            place,
            "path",
            d=line,
            stroke=drawn.look.colour,
            stroke_width=2,
            stroke_dasharray=drawn.look.dash,
            stroke_linejoin="round",
        )
        _hovers(place, panel, what, one=(drawn, full), step_ft=15.0 if many else 5.0 if len(curves) == 1 else 10.0)
    _tags(parent, panel, curves)


def note(curves: Sequence[tuple[Drawn, Curve]], unit: str) -> str:
    """What bands mean; of many shots, whose bands would hide each other, how wide they would be."""
    told = [float(np.median(2 * c.u)) for _, c in curves if c.u is not None]
    if not told:
        return "how sure it is, the file does not tell"
    if len(curves) > _MANY:
        return f"two standard uncertainties: usually {np.median(told):.1f} {unit}"
    return "band: two standard uncertainties either side"


def _hovers(place: Element, panel: Panel, what: What, *, one: tuple[Drawn, Curve], step_ft: float) -> None:
    drawn, curve = one
    hovers = group(place, fill="#fff", fill_opacity="0")
    for feet in hover_places(curve, step_ft).tolist():
        value, u = value_at(curve, feet), u_at(curve, feet)
        told = f"{drawn.tag and drawn.tag + ', '}{feet:.0f} ft: {with_u(value, u, what.unit)}"
        data = {"distance_ft": feet, "value": value} | ({} if u is None else {"u": u})
        tooltip(hovers, (panel.x.at(feet), panel.y.at(value)), told, **data)


def _tags(parent: Element, panel: Panel, curves: Sequence[tuple[Drawn, Curve]]) -> None:
    tagged = [(d, c) for d, c in curves if d.tag]
    _, top, right, bottom = panel.box
    ends = [panel.y.at(float(c.value[-1])) for _, c in tagged]
    gap = min(_TAG_GAP, (bottom - top - 12) / max(len(ends) - 1, 1))
    places = spread(ends, least_gap=gap, within=(top + 6, bottom - 6))
    for (drawn, curve), own, at in zip(tagged, ends, places, strict=True):
        x = panel.x.at(float(curve.distance_ft[-1]))
        line = f"M{short(x)} {short(own)}L{short(right + 4)} {short(at)}"
        add(parent, "path", d=line, stroke=drawn.look.colour, stroke_width=0.8, fill="none")
        words(parent, drawn.tag, right + 6, at, font_weight="600", fill=drawn.look.colour)
