"""The last feet before the pins, and the pin deck, true to scale: where the ball comes in, how, and where it leaves."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration.lane import (
    BALL_RADIUS_IN,
    BOARD_WIDTH_IN,
    INCHES_PER_FOOT,
    Hand,
)
from tracker.report.charts.data import ChartShot
from tracker.report.charts.deck import (
    FROM_FT,
    HIGH,
    MIDDLE,
    PER_INCH,
    TOP,
    Contact,
    contact_of,
    deck_ground,
    deck_panel,
    deck_pins,
    whisker,
)
from tracker.report.charts.frame import BOLD_WIDTH, Panel, mark
from tracker.report.charts.ground import band
from tracker.report.charts.looks import INK, SOFT, WIDTH
from tracker.report.charts.shots import (
    Drawn,
    dressed,
    hand_of,
    needed,
    path_of,
    shot_list,
    shot_name,
    tags_in_words,
)
from tracker.report.charts.svg import Element, add, joined, picture, short, svg_text, way, words
from tracker.report.charts.tell import around, between, decimals_for, listed, number, quantity, with_u
from tracker.report.spacing import spread
from tracker.results import Quantity

_CHART = "pocket chart"
Array = NDArray[np.float64]

_TAG_GAP = 19.5
DEGREE = "\u00b0"


def pocket_chart(shots: Sequence[ChartShot], key: str) -> str:
    """Draw how the ball meets the pins, as the bowler sees it from above.

    Of one shot: the ball at its first contact, its line and angle, the contact board with two standard uncertainties,
    where it leaves the deck as read, and which pins stand afterwards. Of several only the places of contact.

    Parameters
    ----------
    shots : sequence of ChartShot
        One or several of the same hand.
    key : str
        Begins every id of the picture.

    Returns
    -------
    str
        An SVG.

    Raises
    ------
    ValueError
        If there is no shot, none with a contact, a deck exit or pins read, or shots of both hands; or if ``key``
        cannot begin an id.
    """
    hand = hand_of(shots, _CHART)
    if not any(_has_something(s) for s in shots):
        raise needed(_CHART, "no shot has a contact, a deck exit or pins read", "leave the picture out")
    drawn = dressed(shots)
    several = len(shots) > 1
    met = [d for d in drawn if contact_of(d.shot) is not None]
    rows = len(met) if several else 3
    height = TOP + HIGH + 46 + 19 * rows + 22
    title = f"{tags_in_words(drawn) if not several else f'{len(shots)} shots'} at the pins"
    root = picture((WIDTH, height), key, title=title, desc=_description(drawn, hand))
    panel = deck_panel(hand)
    deck_ground(root, panel, hand)
    if several:
        deck_pins(root, panel, hand, standing=())
        _contacts(root, panel, met)
        words(root, "first contacts, from above, true to scale", 4, 16, font_weight="600")
        shot_list(root, met, TOP + HIGH + 46)
        words(root, "whiskers: two standard uncertainties of the contact board", 4, height - 12, fill=SOFT)
    else:
        _one(root, panel, drawn[0], hand=hand)
        _legend(root, shots[0], TOP + HIGH + 46)
        words(root, "whiskers: two standard uncertainties either side", 4, height - 12, fill=SOFT)
    return svg_text(root)


def _has_something(shot: ChartShot) -> bool:
    return contact_of(shot) is not None or shot.number("deck_exit_board").value is not None or shot.standing is not None


def _one(root: Element, panel: Panel, drawn: Drawn, *, hand: Hand) -> None:
    shot, colour = drawn.shot, drawn.look.colour
    contact = contact_of(shot)
    deck_pins(root, panel, hand, standing=shot.standing)
    _exit(root, panel, shot)
    if contact is None:
        return
    x, y = panel.x.at(contact.board), panel.y.at(contact.distance_ft)
    _way_in(root, panel, drawn, contact=contact)
    add(
        root,
        "circle",
        cx=x,
        cy=y,
        r=BALL_RADIUS_IN * PER_INCH,
        fill=colour,
        fill_opacity="0.14",
        stroke=colour,
        stroke_width=1.6,
        data_marks="ball",
    )
    whisker(root, panel, contact.board, u=contact.board_u, y=y)
    dot = mark(root, "circle", (x, y), size=2, colour=colour)
    add(dot, "title", f"contact: board {with_u(contact.board, contact.board_u)} at {contact.distance_ft:.2f} ft")
    _way_out(root, panel, shot, contact=contact)
    _labels(root, panel, shot, contact=contact)


def _way_in(root: Element, panel: Panel, drawn: Drawn, *, contact: Contact) -> None:
    """The path to contact with its band, or by the entry angle alone; and a dotted line along the boards."""
    found = _last_feet(drawn.shot, contact)
    if found is None:
        return
    feet, boards, u = found
    x, y = panel.x.at(contact.board), panel.y.at(contact.distance_ft)
    along = f"M{short(x)} {short(y)}V{short(panel.box[3])}"
    add(root, "path", d=along, stroke=INK, stroke_width=1, stroke_dasharray="1.5 4", fill="none")
    if u is not None:
        band(
            root, (panel.x(boards - 2 * u), panel.y(feet)), (panel.x(boards + 2 * u), panel.y(feet)), drawn.look.colour
        )
    d = way(panel.x(boards), panel.y(feet))
    add(root, "path", d=d, stroke=drawn.look.colour, stroke_width=2.2, fill="none", data_marks="entry")


def _last_feet(shot: ChartShot, contact: Contact) -> tuple[Array, Array, Array | None] | None:
    """Distances, boards and uncertainties of the last feet before contact."""
    curve, angle = path_of(shot), shot.number("entry_angle_deg").value
    if curve is not None and curve.distance_ft[-1] > FROM_FT:
        feet = np.append(np.arange(FROM_FT, contact.distance_ft, 0.4), contact.distance_ft)
        boards = np.interp(feet, curve.distance_ft, curve.value)
        return feet, boards, None if curve.u is None else np.interp(feet, curve.distance_ft, curve.u)
    if angle is None:
        return None
    feet = np.array([FROM_FT, contact.distance_ft])
    ahead_in = (feet - contact.distance_ft) * INCHES_PER_FOOT
    return feet, contact.board + math.tan(math.radians(angle)) * ahead_in / BOARD_WIDTH_IN, None


def _exit(root: Element, panel: Panel, shot: ChartShot) -> None:
    """Where the ball leaves the deck, as read from the pictures; beyond the lane's edge it stays at the picture's."""
    found = shot.number("deck_exit_board")
    if found.value is None:
        return
    x = panel.x.at(found.value)
    whisker(root, panel, found.value, u=found.u, y=TOP - 7)
    arrow = add(root, "path", d=f"M{short(x)} {short(TOP - 14)}l6 13h-12z", fill=INK, data_marks="exit")
    add(arrow, "title", f"leaves the deck at board {quantity(found)}, as read from the pictures")
    told = f"out at board {_in_words(found)}"
    half = len(told) * BOLD_WIDTH / 2 + 4
    words(root, told, min(max(x, half), WIDTH - half), TOP - 28, anchor="middle", font_weight="600")


def _way_out(root: Element, panel: Panel, shot: ChartShot, *, contact: Contact) -> None:
    """A dashed line from contact to where it leaves: what is between is not followed."""
    found = shot.number("deck_exit_board")
    if found.value is None:
        return
    line = way([panel.x.at(contact.board), panel.x.at(found.value)], [panel.y.at(contact.distance_ft), TOP])
    add(root, "path", d=line, stroke=INK, stroke_width=1.2, stroke_dasharray="1.5 4", fill="none")


def _labels(root: Element, panel: Panel, shot: ChartShot, *, contact: Contact) -> None:
    """Contact and entry angle in words, on the side of the ball where the lane is wider."""
    x, y = panel.x.at(contact.board), panel.y.at(contact.distance_ft)
    on_left = x > MIDDLE
    beside = BALL_RADIUS_IN * PER_INCH + 10
    edge, anchor = (x - beside, "end") if on_left else (x + beside, "start")
    told = [
        (
            f"in at board {_value(Quantity(contact.board, contact.board_u))}",
            _interval(Quantity(contact.board, contact.board_u)),
        )
    ]
    angle = shot.number("entry_angle_deg")
    if angle.value is not None:
        told.append((f"at {_value(angle)}{DEGREE}", _interval(angle)))
    lines = [text for pair in told for text in pair if text]
    for k, text in enumerate(lines):
        bold = text == told[0][0] or text == told[-1][0]
        words(root, text, edge, y + 22 + 18 * k, anchor=anchor, halo=True, font_weight="600" if bold else "400")


def _value(q: Quantity) -> str:
    return number(q.value or 0.0, decimals_for(q.u))


def _interval(q: Quantity) -> str:
    """Two standard uncertainties either side in brackets; empty where it is not known."""
    interval = around(q)
    return f"({between(*interval, decimals_for(q.u))})" if interval else ""


def _in_words(q: Quantity) -> str:
    return f"{_value(q)} {_interval(q)}".rstrip()


def _legend(root: Element, shot: ChartShot, top: float) -> None:
    """Which pins stand in words, what filled and hollow pins mean, and what the dotted way out is."""
    y = top + 9
    if shot.standing is None:
        words(root, "which pins stand afterwards was not read surely", 4, y)
        words(root, "dotted pins: not known", 4, y + 19)
    else:
        words(root, f"standing afterwards: {_standing(shot.standing)}", 4, y)
        for x, filled, text in ((12, True, "stands"), (92, False, "down")):
            mark(root, "circle", (x, y + 19), size=6, filled=filled)
            words(root, text, x + 12, y + 19)
    if shot.number("deck_exit_board").value is not None:
        add(root, "path", d=f"M4 {short(y + 38)}h24", stroke=INK, stroke_width=1.2, stroke_dasharray="1.5 4")
        words(root, "not followed between contact and deck end", 36, y + 38)
    else:
        words(root, "where it leaves the deck was not read", 4, y + 38)


def _standing(pins: tuple[int, ...]) -> str:
    return "-".join(map(str, pins)) if pins else "none"


def _contacts(root: Element, panel: Panel, met: Sequence[Drawn]) -> None:
    """Places of contact with whiskers, tags below them."""
    spots = [(d, c) for d in met if (c := contact_of(d.shot)) is not None]
    left, _, right, bottom = panel.box
    wanted = [panel.x.at(c.board) for _, c in spots]
    places = spread(wanted, least_gap=_TAG_GAP, within=(left + 20, right - 20))
    for (drawn, contact), at in zip(spots, places, strict=True):
        x, y = panel.x.at(contact.board), panel.y.at(contact.distance_ft)
        line = f"M{short(x)} {short(y)}L{short(at)} {short(bottom - 22)}"
        add(root, "path", d=line, stroke=drawn.look.colour, stroke_width=0.8, fill="none")
        whisker(root, panel, contact.board, u=contact.board_u, y=y)
        spot = mark(root, drawn.look.shape, (x, y), colour=drawn.look.colour)
        add(spot, "title", f"{drawn.tag}, {drawn.name}: contact at board {with_u(contact.board, contact.board_u)}")
        words(root, drawn.tag, at, bottom - 12, anchor="middle", font_weight="600", halo=True, fill=drawn.look.colour)


def _description(drawn: Sequence[Drawn], hand: Hand) -> str:
    head = f"The pins from above, true to scale, boards counted from the {hand} edge."
    return joined([head, *(_one_described(d) for d in drawn), "After plus-minus stands one standard uncertainty."])


def _one_described(drawn: Drawn) -> str:
    shot = drawn.shot
    asked = (
        ("first contact at board", "a contact", "contact_board", ""),
        ("entry angle", "an entry angle", "entry_angle_deg", "deg"),
        ("leaves the deck at board", "a deck exit", "deck_exit_board", ""),
    )
    found = [(told, name, shot.number(column), unit) for told, name, column, unit in asked]
    parts = [f"{told} {quantity(q, unit)}" for told, _, q, unit in found if q.value is not None]
    known = shot.standing is not None
    parts.append(f"standing afterwards: {_standing(shot.standing or ())}" if known else "standing pins are not known")
    missing = [name for _, name, q, _ in found if q.value is None]
    parts += [f"without {listed(missing)}"] if missing else []
    name = f"{drawn.tag} {shot_name(shot)}".strip()
    return f"{name}: {', '.join(parts)}."
