"""How a ball turns: heading and sideways acceleration against the distance, with onset, breakpoint, end of the hook."""

from __future__ import annotations

from collections.abc import Sequence

from tracker.report.charts.data import ChartShot, Curve
from tracker.report.charts.events import Event, along, missing_events
from tracker.report.charts.frame import TEXT_WIDTH, Panel, mark
from tracker.report.charts.looks import INK, SOFT, WIDTH
from tracker.report.charts.overfeet import What, axes, lines, panel_for
from tracker.report.charts.shots import (
    Drawn,
    dressed,
    finite,
    needed,
    shot_list,
    tags_in_words,
    u_at,
    value_at,
)
from tracker.report.charts.svg import Element, add, joined, picture, short, svg_text, words
from tracker.report.charts.tell import listed, quantity, with_u

_CHART = "heading chart"
HEADING = What("heading, degrees toward the pocket", "deg", "heading", 3.0)
SIDEWAYS = What("sideways acceleration, ft/s\u00b2 toward the pocket", "ft/s\u00b2", "sideways", 2.0)
_ROW = 19.0
_HIGH, _LOW = 190.0, 150.0


def heading_chart(shots: Sequence[ChartShot], key: str) -> str:
    """Draw heading and, below it, sideways acceleration, with bands of two standard uncertainties.

    Of a single shot, hook onset, breakpoint and end of the hook are marked, each with two standard uncertainties.

    Parameters
    ----------
    shots : sequence of ChartShot
        One or several.
    key : str
        Begins every id of the picture.

    Returns
    -------
    str
        An SVG.

    Raises
    ------
    ValueError
        If no shot has either curve, or ``key`` cannot begin an id.
    """
    drawn = dressed(shots)
    heading, sideways = _curves(drawn, "heading_deg"), _curves(drawn, "sideways_ft_s2")
    if not heading and not sideways:
        raise needed(_CHART, "no shot has a heading over feet", "measure its clip again with --redo")
    events = along(shots[0]) if len(shots) == 1 else []
    shown = [d for d in drawn if any(d is one for one, _ in (*heading, *sideways))] if len(shots) > 1 else []
    parts = [(HEADING, heading, _HIGH), (SIDEWAYS, sideways, _LOW)]
    told = [(what, curves, high) for what, curves, high in parts if curves]
    height = _total_height(len(events), [high for *_, high in told], len(shown))
    title = f"How {tags_in_words(drawn) if len(shots) == 1 else f'{len(shots)} shots'} turned along the lane"
    root = picture((WIDTH, height), key, title=title, desc=_description(drawn, heading, sideways))
    top = 6.0 + _ROW * len(events) + 36
    panels: list[tuple[Panel, Sequence[tuple[Drawn, Curve]]]] = []
    for k, (what, curves, high) in enumerate(told):
        panel = panel_for([c for _, c in curves], what, top=top, bottom=top + high)
        axes(root, panel, what, feet_named=k == len(told) - 1)
        panels.append((panel, curves))
        top += high + 56
    _draw_events(root, panels, events)
    for (what, curves, _), (panel, _) in zip(told, panels, strict=True):
        lines(root, panel, what, curves=curves)
    _mark_events(root, panels, events)
    if shown:
        shot_list(root, shown, top - 6)
    words(root, _note(heading, sideways), 4, height - 12, fill=SOFT)
    return svg_text(root)


def _total_height(events: int, panels: Sequence[float], listed_shots: int) -> float:
    return 6.0 + _ROW * events + 36 + sum(h + 56 for h in panels) + 19 * listed_shots + 18


def _curves(drawn: Sequence[Drawn], name: str) -> list[tuple[Drawn, Curve]]:
    return [(d, c) for d in drawn if (c := finite(getattr(d.shot, name))) is not None]


def _note(*parts: Sequence[tuple[Drawn, Curve]]) -> str:
    banded = any(c.u is not None for part in parts for _, c in part)
    return "bands and brackets: two standard uncertainties" if banded else "how sure it is, the file does not tell"


def _draw_events(root: Element, panels: Sequence[tuple[Panel, object]], events: Sequence[Event]) -> None:
    """Words over the panels, a row each so that they never meet: the nearest event lowest, words left of its line."""
    bottom = panels[-1][0].box[3]
    ordered = sorted(events, key=lambda e: -e.distance_ft)
    for row, event in enumerate(ordered):
        y = 6.0 + _ROW * (row + 0.5)
        x = panels[0][0].x.at(event.distance_ft)
        add(
            root,
            "path",
            d=f"M{short(x)} {short(y)}V{short(bottom)}",
            stroke=SOFT,
            stroke_width=0.9,
            stroke_dasharray="1 3",
        )
    for row, event in enumerate(ordered):
        y = 6.0 + _ROW * (row + 0.5)
        x = panels[0][0].x.at(event.distance_ft)
        on_left = x - 12 - len(event.words) * TEXT_WIDTH > 0
        words(root, event.words, x - 12 if on_left else x + 12, y, anchor="end" if on_left else "start", halo=True)
        mark(root, event.shape, (x, y), colour=INK, filled=event.shape != "diamond")


def _mark_events(
    root: Element, panels: Sequence[tuple[Panel, Sequence[tuple[Drawn, Curve]]]], events: Sequence[Event]
) -> None:
    """Marks on the first panel's curve, each in a bracket as wide as its interval."""
    if not events:
        return
    panel, curves = panels[0]
    drawn, curve = curves[0]
    for event in events:
        y = panel.y.at(value_at(curve, event.distance_ft))
        if event.interval_ft:
            a, b = (panel.x.at(min(max(v, panel.x.low), panel.x.high)) for v in event.interval_ft)
            bracket = f"M{short(a)} {short(y - 7)}v14m0-7H{short(b)}m0-7v14"
            add(root, "path", d=bracket, stroke=INK, stroke_width=1.3, fill="none", data_event=event.name)
        mark(
            root,
            event.shape,
            (panel.x.at(event.distance_ft), y),
            size=3,
            colour=drawn.look.colour,
            filled=event.shape != "diamond",
        )


def _description(
    drawn: Sequence[Drawn], heading: Sequence[tuple[Drawn, Curve]], sideways: Sequence[tuple[Drawn, Curve]]
) -> str:
    by_tag = [{d.tag: c for d, c in part} for part in (heading, sideways)]
    told = [_one_described(d, by_tag[0].get(d.tag), by_tag[1].get(d.tag)) for d in drawn]
    return joined([*told, "After plus-minus stands one standard uncertainty."])


def _one_described(drawn: Drawn, heading: Curve | None, sideways: Curve | None) -> str:
    shot = drawn.shot
    parts = [f"{drawn.tag} {drawn.name}".strip() + ":"]
    if heading is None:
        parts.append("heading over feet is not known;")
    else:
        ends = (float(heading.distance_ft[0]), float(heading.distance_ft[-1]))
        a, b = (with_u(value_at(heading, f), u_at(heading, f), "deg") for f in ends)
        parts.append(f"heading {a} at {ends[0]:.0f} ft, {b} at {ends[1]:.0f} ft, positive toward the pocket;")
    if sideways is None:
        parts.append("sideways acceleration is not known;")
    else:
        top = int(sideways.value.argmax())
        feet = float(sideways.distance_ft[top])
        most = with_u(float(sideways.value[top]), u_at(sideways, feet), "ft per second squared")
        parts.append(f"sideways acceleration at most {most}, at {feet:.0f} ft;")
    names = (("hook onset", "onset_ft"), ("breakpoint", "breakpoint_ft"), ("end of hook", "roll_ft"))
    parts += [f"{name} {quantity(shot.number(c), 'ft')}," for name, c in names if shot.number(c).value is not None]
    missing = missing_events(shot)
    if missing:
        parts.append(f"there is no {listed(missing, 'or')}")
    return " ".join(parts).rstrip(",;") + "."
