"""Paths of shots over boards and feet: much stretched across, and beside it the lane as narrow as it is."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.lane import Hand
from tracker.report.charts.data import ChartShot, Curve
from tracker.report.charts.events import Event, events_of
from tracker.report.charts.frame import Panel, mark
from tracker.report.charts.ground import (
    HIGH_EDGE,
    LOW_EDGE,
    Box,
    arrows,
    band,
    lane_axes,
    lane_ground,
    lane_lines,
    small_pins,
    stretched,
    true_lane,
)
from tracker.report.charts.looks import SOFT, WIDTH
from tracker.report.charts.shots import (
    Drawn,
    dressed,
    finite,
    hand_of,
    hover_places,
    needed,
    path_of,
    shot_list,
    tags_in_words,
    thinned,
    u_at,
    value_at,
)
from tracker.report.charts.svg import Element, add, group, joined, picture, short, svg_text, tooltip, way, words
from tracker.report.charts.tell import listed, quantity, with_u
from tracker.report.spacing import spread

Array = NDArray[np.float64]

_CHART = "lane chart"
_TOP, _BOTTOM = 46.0, 566.0
_LEFT, _RIGHT, _STRIP = 30.0, 388.0, 430.0
_MANY = 3
_EDGE_BOARDS = 1.9
_TAG_GAP = 19.5
_LABEL_GAP = 19.0
_BELOW_PINS_FT = 57.4


def lane_chart(shots: Sequence[ChartShot], key: str) -> str:
    """Draw paths with bands of two standard uncertainties, as the bowler sees the lane.

    Parameters
    ----------
    shots : sequence of ChartShot
        One or several of the same hand. Those without a path are left out of the drawing and named in the description.
    key : str
        Begins every id of the picture.

    Returns
    -------
    str
        An SVG.

    Raises
    ------
    ValueError
        If there is no shot, none with a path, or shots of both hands; or if ``key`` cannot begin an id.
    """
    hand = hand_of(shots, _CHART)
    paths = [(d, c) for d in dressed(shots) if (c := path_of(d.shot)) is not None]
    if not paths:
        raise needed(_CHART, "none of the shots has a path", "give one with boards over feet")
    several = len(shots) > 1
    listing = [d for d, _ in paths] if several else []
    height = _BOTTOM + 46 + (10 + 19 * len(listing) if several else 0) + 22
    root = picture((WIDTH, height), key, title=_title(shots, hand), desc=_description(shots, paths, hand))
    panel = stretched(Box(_LEFT, _TOP, _RIGHT, _BOTTOM), hand)
    strip = true_lane(_STRIP, panel, hand)
    for ground, size in ((panel, 3.0), (strip, 0.9)):
        lane_ground(root, ground)
        lane_lines(root, ground)
        arrows(root, ground, size=size)
        small_pins(root, ground, hand, radius=5.0 if ground is panel else None)
    lane_axes(root, panel, hand)
    words(root, "to scale", _STRIP, _BOTTOM + 13, anchor="middle", fill=SOFT)
    _draw_paths(root, (panel, strip), paths)
    if several:
        _draw_tags(root, panel, paths)
        shot_list(root, listing, _BOTTOM + 50)
    else:
        _draw_events(root, panel, events_of(shots[0], paths[0][1]), paths[0][0])
    banded = any(c.u is not None for _, c in paths)
    note = "band: two standard uncertainties either side" if banded else "how sure the path is, the file does not tell"
    words(root, note, 4, height - 12, fill=SOFT)
    return svg_text(root)


def _title(shots: Sequence[ChartShot], hand: Hand) -> str:
    what = f"Path of {tags_in_words(dressed(shots))}" if len(shots) == 1 else f"Paths of {len(shots)} shots"
    return f"{what} over the boards, {hand}-hander"


def _held(board: Array) -> Array:
    """Boards kept inside the drawn gutters."""
    return np.asarray(np.clip(board, LOW_EDGE - _EDGE_BOARDS, HIGH_EDGE + _EDGE_BOARDS))


def _draw_paths(root: Element, panels: tuple[Panel, Panel], paths: Sequence[tuple[Drawn, Curve]]) -> None:
    panel, strip = panels
    many = len(paths) > _MANY
    for drawn, full in paths:
        curve = thinned(full, 21 if many else 60)
        place = group(root, data_shot=drawn.tag or "1", fill="none")
        y = panel.y(curve.distance_ft)
        if curve.u is not None:
            low, high = (panel.x(_held(curve.value + s * 2 * curve.u)) for s in (-1, 1))
            band(place, (low, y), (high, y), drawn.look.colour)
        line = {"stroke": drawn.look.colour, "stroke_dasharray": drawn.look.dash, "stroke_linejoin": "round"}
        add(place, "path", d=way(panel.x(_held(curve.value)), y), stroke_width=2, **line)
        short_curve = thinned(full, 16)
        x = strip.x(_held(short_curve.value))
        add(place, "path", d=way(x, strip.y(short_curve.distance_ft)), stroke_width=1, **line)
        _draw_hovers(place, panel, drawn, full=full, step_ft=15.0 if many else 5.0)


def _draw_hovers(place: Element, panel: Panel, drawn: Drawn, *, full: Curve, step_ft: float) -> None:
    hovers = group(place, fill="#fff", fill_opacity="0")
    for feet in hover_places(full, step_ft).tolist():
        board, u = value_at(full, feet), u_at(full, feet)
        told = f"{drawn.tag and drawn.tag + ', '}{feet:.0f} ft: board {with_u(board, u)}"
        data = {"distance_ft": feet, "value": board} | ({} if u is None else {"u": u})
        tooltip(hovers, (panel.x.at(float(_held(np.array(board)))), panel.y.at(feet)), told, **data)


def _draw_tags(root: Element, panel: Panel, paths: Sequence[tuple[Drawn, Curve]]) -> None:
    """Tags over the pins, a thin line from each to the end of its path."""
    ends = [(panel.x.at(float(_held(c.value)[-1])), panel.y.at(float(c.distance_ft[-1]))) for _, c in paths]
    left, top, right, _ = panel.box
    places = spread([x for x, _ in ends], least_gap=_TAG_GAP, within=(left + 60, right - 6))
    for (drawn, _), (x, y), at in zip(paths, ends, places, strict=True):
        line = f"M{short(x)} {short(y)}L{short(at)} {short(top - 4)}"
        add(root, "path", d=line, stroke=drawn.look.colour, stroke_width=0.8, fill="none")
        mark(root, drawn.look.shape, (x, y), size=3.5, colour=drawn.look.colour)
        words(root, drawn.tag, at, top - 12, anchor="middle", font_weight="600", fill=drawn.look.colour)


def _draw_events(root: Element, panel: Panel, events: Sequence[Event], drawn: Drawn) -> None:
    """Marks on a single path, each with its words on the side where there is more room."""
    left, _, right, _ = panel.box
    for event, y in zip(events, _label_heights(panel, events), strict=True):
        x, own = panel.x.at(float(_held(np.array(event.board)))), panel.y.at(event.distance_ft)
        on_left = x - left > right - x
        edge = x - 16 if on_left else x + 16
        add(root, "path", d=f"M{short(x)} {short(own)}L{short(edge)} {short(y)}", stroke=SOFT, stroke_width=0.8)
        mark(root, event.shape, (x, own), colour=drawn.look.colour, filled=event.shape != "diamond")
        words(root, event.words, edge - 3 if on_left else edge + 3, y, anchor="end" if on_left else "start", halo=True)


def _label_heights(panel: Panel, events: Sequence[Event]) -> list[float]:
    wanted = [panel.y.at(e.distance_ft) for e in events]
    return spread(wanted, least_gap=_LABEL_GAP, within=(panel.y.at(_BELOW_PINS_FT), _BOTTOM - 30))


def _description(shots: Sequence[ChartShot], paths: Sequence[tuple[Drawn, Curve]], hand: Hand) -> str:
    told = [_one_described(d, c) for d, c in paths]
    without = [d.name for d in dressed(shots) if finite(d.shot.board) is None]
    missing = f"Without a path and not drawn: {listed(without)}." if without else ""
    head = f"The lane from above, boards counted from the {hand} edge, feet upward."
    return joined([head, *told, missing, "After plus-minus stands one standard uncertainty."])


def _one_described(drawn: Drawn, curve: Curve) -> str:
    shot = drawn.shot
    first, last = float(curve.distance_ft[0]), float(curve.distance_ft[-1])
    ends = (
        f"board {with_u(float(curve.value[0]), u_at(curve, first))} at {first:.1f} ft to board "
        f"{with_u(float(curve.value[-1]), u_at(curve, last))} at {last:.1f} ft"
    )
    point = shot.number("breakpoint_board")
    out = (
        "no breakpoint"
        if point.value is None
        else f"breakpoint at board {quantity(point)}, {quantity(shot.number('breakpoint_ft'), 'ft')}"
    )
    contact = shot.number("contact_board")
    meets = "no contact with the pins known" if contact.value is None else f"contact at board {quantity(contact)}"
    gutter = ", into the gutter" if shot.gutter else ""
    name = f"{drawn.tag}, {drawn.name}" if drawn.tag else drawn.name
    return f"{name}: {ends}{gutter}; {out}; {meets}."
