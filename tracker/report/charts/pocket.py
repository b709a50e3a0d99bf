"""The last feet before the pins and the pin deck, true to scale: where and at what angle the ball comes in and leaves."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.lane import (
    BALL_RADIUS_IN,
    BOARD_WIDTH_IN,
    DECK_END_IN,
    GUTTER_WIDTH_IN,
    INCHES_PER_FOOT,
    PIN_BELLY_RADIUS_IN,
    Hand,
)
from tracker.report.charts.data import ChartShot
from tracker.report.charts.frame import Panel, Scale, mark, spread
from tracker.report.charts.ground import HIGH_EDGE, LOW_EDGE, BOARD_TICKS, band, board_scale, lane_ground, pin_places
from tracker.report.charts.looks import AXIS, GRID, INK, PAPER, SOFT, WIDTH
from tracker.report.charts.shots import (
    Drawn,
    dressed,
    finite,
    hand_of,
    needed,
    shot_list,
    shot_name,
    tags_in_words,
)
from tracker.report.charts.svg import Element, add, group, joined, picture, short, svg_text, tooltip, way, words
from tracker.report.charts.tell import around, between, decimals_for, listed, number, quantity, with_u
from tracker.results import Quantity

PER_INCH = 6.6
_TOP = 40.0
_FROM_FT = 57.6
_END_FT = DECK_END_IN / INCHES_PER_FOOT
_HIGH = (_END_FT - _FROM_FT) * INCHES_PER_FOOT * PER_INCH
_TAG_GAP = 18.0
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
        If there is no shot, none with a contact, a deck exit, or pins read, or shots of both hands; or if ``key`` cannot
        begin an id.
    """
    hand = hand_of(shots, "pocket chart")
    if not any(_has_something(s) for s in shots):
        raise needed("pocket chart", "no shot has a contact, a deck exit or pins read", "leave the picture out")
    drawn = dressed(shots)
    several = len(shots) > 1
    met = [d for d in drawn if _contact(d.shot) is not None]
    rows = len(met) if several else 2
    height = _TOP + _HIGH + 46 + 19 * rows + 22
    title = f"{tags_in_words(drawn) if not several else f'{len(shots)} shots'} at the pins"
    root = picture((WIDTH, height), key, title=title, desc=_description(drawn, hand))
    panel = _panel(hand)
    _ground(root, panel, hand)
    if several:
        _pins(root, panel, hand, standing=None)
        _contacts(root, panel, met)
        shot_list(root, met, _TOP + _HIGH + 46)
        words(root, "whiskers: two standard uncertainties of the contact board", 4, height - 12, fill=SOFT)
    else:
        _one(root, panel, drawn[0], hand=hand)
        _legend(root, shots[0], _TOP + _HIGH + 46)
        words(root, "whiskers: two standard uncertainties either side", 4, height - 12, fill=SOFT)
    return svg_text(root)


@dataclass(frozen=True, slots=True)
class _Contact:
    board: float
    board_u: float | None
    distance_ft: float


def _contact(shot: ChartShot) -> _Contact | None:
    board, feet = shot.number("contact_board"), shot.number("contact_ft")
    if board.value is None or feet.value is None:
        return None
    return _Contact(board.value, board.u, feet.value)


def _has_something(shot: ChartShot) -> bool:
    return _contact(shot) is not None or shot.number("deck_exit_board").value is not None or shot.standing is not None


def _panel(hand: Hand) -> Panel:
    """True to scale: as many units for an inch across as along."""
    gutter = GUTTER_WIDTH_IN / BOARD_WIDTH_IN
    low, high = LOW_EDGE - gutter, HIGH_EDGE + gutter
    half = (high - low) * BOARD_WIDTH_IN * PER_INCH / 2
    middle = WIDTH / 2 + 12
    across = board_scale(hand, low, high, left=middle - half, right=middle + half)
    return Panel(across, Scale(_FROM_FT, _END_FT, _TOP + _HIGH, _TOP))


def _ground(root: Element, panel: Panel, hand: Hand) -> None:
    lane_ground(root, panel)
    left, _, right, bottom = panel.box
    a, b = sorted((panel.x.at(LOW_EDGE), panel.x.at(HIGH_EDGE)))
    boards = "".join(f"M{short(panel.x.at(t))} {short(_TOP)}V{short(bottom)}" for t in BOARD_TICKS)
    feet = "".join(f"M{short(a)} {short(panel.y.at(f))}H{short(b)}" for f in range(58, 63))
    add(root, "path", d=boards + feet, stroke=GRID, fill="none")
    numbers = group(root, data_axis="board", text_anchor="middle", fill=SOFT)
    for board in BOARD_TICKS:
        words(numbers, str(board), panel.x.at(board), bottom + 13)
    words(root, f"board, from the {hand} edge", (left + right) / 2, bottom + 31, anchor="middle", fill=SOFT)
    along = group(root, data_axis="distance", text_anchor="end", fill=SOFT)
    for foot in range(58, 63):
        words(along, str(foot), left - 5, panel.y.at(foot))
    words(root, "feet", 4, _TOP - 12, fill=SOFT)


def _pins(root: Element, panel: Panel, hand: Hand, *, standing: tuple[int, ...] | None) -> None:
    """Ten pins to scale, filled where they stand afterwards; dotted where that is not known."""
    discs = group(root, data_marks="pins", text_anchor="middle")
    for pin, (x, y) in enumerate(pin_places(panel, hand).tolist(), start=1):
        stands = standing is not None and pin in standing
        look = {
            "fill": INK if stands else PAPER,
            "stroke": INK,
            "stroke_dasharray": "2 2" if standing is None else None,
        }
        state = "not known" if standing is None else "stands" if stands else "down"
        add(
            discs,
            "circle",
            cx=x,
            cy=y,
            r=PIN_BELLY_RADIUS_IN * PER_INCH,
            stroke_width=1.2,
            data_pin=str(pin),
            data_state=state,
            **look,
        )
        words(discs, str(pin), x, y, fill=PAPER if stands else INK)


def _one(root: Element, panel: Panel, drawn: Drawn, *, hand: Hand) -> None:
    shot, colour = drawn.shot, drawn.look.colour
    contact = _contact(shot)
    _pins(root, panel, hand, standing=shot.standing)
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
    _whisker(root, panel, contact.board, u=contact.board_u, y=y)
    dot = mark(root, "circle", (x, y), size=3.5, colour=colour)
    add(dot, "title", f"contact: board {with_u(contact.board, contact.board_u)} at {contact.distance_ft:.2f} ft")
    _way_out(root, panel, shot, contact=contact)
    _labels(root, panel, shot, contact=contact)


def _way_in(root: Element, panel: Panel, drawn: Drawn, *, contact: _Contact) -> None:
    """The path to contact with its band; by the entry angle alone where there is no curve."""
    colour = drawn.look.colour
    curve = finite(drawn.shot.board)
    angle = drawn.shot.number("entry_angle_deg").value
    if curve is not None and curve.distance_ft[-1] > _FROM_FT:
        feet = np.append(np.arange(_FROM_FT, contact.distance_ft, 0.4), contact.distance_ft)
        known = np.append(curve.distance_ft[curve.distance_ft < contact.distance_ft - 0.05], contact.distance_ft)
        at_end = np.append(curve.value[: len(known) - 1], contact.board)
        boards = np.interp(feet, known, at_end)
        if curve.u is not None:
            u = 2 * np.interp(feet, curve.distance_ft, curve.u)
            y = panel.y(feet)
            band(root, (panel.x(boards - u), y), (panel.x(boards + u), y), colour)
    elif angle is not None:
        feet = np.array([_FROM_FT, contact.distance_ft])
        ahead_in = (feet - contact.distance_ft) * INCHES_PER_FOOT
        boards = contact.board + math.tan(math.radians(angle)) * ahead_in / BOARD_WIDTH_IN
    else:
        return
    add(
        root,
        "path",
        d=way(panel.x(boards), panel.y(feet)),
        stroke=colour,
        stroke_width=2.2,
        fill="none",
        data_marks="entry",
    )


def _whisker(root: Element, panel: Panel, board: float, *, u: float | None, y: float) -> None:
    if u is None:
        return
    a, b = (panel.x.at(board + s * 2 * u) for s in (-1, 1))
    add(
        root,
        "path",
        d=f"M{short(a)} {short(y - 5)}v10m0-5H{short(b)}m0-5v10",
        stroke=INK,
        stroke_width=1.4,
        fill="none",
    )


def _exit(root: Element, panel: Panel, shot: ChartShot) -> None:
    """Where the ball leaves the deck, as read from the pictures."""
    found = shot.number("deck_exit_board")
    if found.value is None:
        return
    x = panel.x.at(found.value)
    _whisker(root, panel, found.value, u=found.u, y=_TOP)
    body = f"M{short(x)} {short(_TOP)}l5.5-10h-11z"
    arrow = add(root, "path", d=body, fill=INK, data_marks="exit")
    add(arrow, "title", f"leaves the deck at board {quantity(found)}, as read from the pictures")
    told = f"out at board {_in_words(found)}"
    right_half = x > WIDTH / 2 + 12
    words(
        root,
        told,
        x - 12 if right_half else x + 12,
        _TOP - 18,
        anchor="end" if right_half else "start",
        font_weight="600",
    )


def _way_out(root: Element, panel: Panel, shot: ChartShot, *, contact: _Contact) -> None:
    """A dashed line from contact to where it leaves: what is between is not followed."""
    found = shot.number("deck_exit_board")
    if found.value is None:
        return
    line = way([panel.x.at(contact.board), panel.x.at(found.value)], [panel.y.at(contact.distance_ft), _TOP])
    add(root, "path", d=line, stroke=INK, stroke_width=1.2, stroke_dasharray="1.5 4", fill="none")


def _labels(root: Element, panel: Panel, shot: ChartShot, *, contact: _Contact) -> None:
    """Contact and entry angle in words, on the side of the ball where the lane is wider."""
    x, y = panel.x.at(contact.board), panel.y.at(contact.distance_ft)
    on_left = x > WIDTH / 2 + 12
    beside = BALL_RADIUS_IN * PER_INCH + 8
    edge, anchor = (x - beside, "end") if on_left else (x + beside, "start")
    board = Quantity(contact.board, contact.board_u)
    told = [f"in at board {_in_words(board)}"]
    angle = shot.number("entry_angle_deg")
    if angle.value is not None:
        told.append(f"at {_in_words(angle, DEGREE)}")
    for k, text in enumerate(told):
        words(root, text, edge, y + 12 + 19 * k, anchor=anchor, halo=True, font_weight="600")


def _in_words(q: Quantity, unit: str = "") -> str:
    decimals = decimals_for(q.u)
    interval = around(q)
    value = number(q.value or 0.0, decimals) + unit
    return value + (f" ({between(*interval, decimals)})" if interval else "")


def _legend(root: Element, shot: ChartShot, top: float) -> None:
    """What filled and hollow pins mean, and which pins stand, in words."""
    y = top + 9
    if shot.standing is None:
        words(root, "which pins stand afterwards was not read surely", 4, y)
    else:
        for x, filled, text in ((14, True, "stands afterwards"), (164, False, "down")):
            mark(root, "circle", (x, y), size=6, filled=filled)
            words(root, text, x + 12, y)
        words(root, f"standing: {_standing(shot.standing)}", 240, y)
    if shot.number("deck_exit_board").value is not None:
        add(root, "path", d=f"M4 {short(y + 19)}h24", stroke=INK, stroke_width=1.2, stroke_dasharray="1.5 4")
        words(root, "not followed between contact and deck end", 36, y + 19)
    else:
        words(root, "where it leaves the deck was not read", 4, y + 19)


def _standing(pins: tuple[int, ...]) -> str:
    return "-".join(map(str, pins)) if pins else "none"


def _contacts(root: Element, panel: Panel, met: Sequence[Drawn]) -> None:
    """Places of contact with whiskers, tags below them."""
    spots = [(d, c) for d in met if (c := _contact(d.shot)) is not None]
    left, _, right, bottom = panel.box
    wanted = [panel.x.at(c.board) for _, c in spots]
    places = spread(wanted, _TAG_GAP, left + 20, high=right - 20)
    for (drawn, contact), at in zip(spots, places, strict=True):
        x, y = panel.x.at(contact.board), panel.y.at(contact.distance_ft)
        line = f"M{short(x)} {short(y)}L{short(at)} {short(bottom - 22)}"
        add(root, "path", d=line, stroke=drawn.look.colour, stroke_width=0.8, fill="none")
        _whisker(root, panel, contact.board, u=contact.board_u, y=y)
        spot = mark(root, drawn.look.shape, (x, y), colour=drawn.look.colour)
        add(spot, "title", f"{drawn.tag}, {drawn.name}: contact at board {with_u(contact.board, contact.board_u)}")
        words(root, drawn.tag, at, bottom - 12, anchor="middle", font_weight="600", halo=True, fill=drawn.look.colour)


def _description(drawn: Sequence[Drawn], hand: Hand) -> str:
    head = f"The pins from above, true to scale, boards counted from the {hand} edge."
    return joined([head, *(_one_described(d) for d in drawn), "After plus-minus stands one standard uncertainty."])


def _one_described(drawn: Drawn) -> str:
    shot = drawn.shot
    contact, angle, out = (shot.number(n) for n in ("contact_board", "entry_angle_deg", "deck_exit_board"))
    parts = []
    known, missing = [], []
    for told, name, q, unit in (
        ("first contact at board {}", "a contact", contact, ""),
        ("entry angle {}", "an entry angle", angle, "deg"),
        ("leaves the deck at board {}", "a deck exit", out, ""),
    ):
        (known if q.value is not None else missing).append(
            told.format(quantity(q, unit)) if q.value is not None else name
        )
    parts += known
    parts.append(
        "standing pins are not known" if shot.standing is None else f"standing afterwards: {_standing(shot.standing)}"
    )
    parts += [f"without {listed(missing)}"] if missing else []
    name = f"{drawn.tag} {shot_name(shot)}".strip()
    return f"{name}: {', '.join(parts)}."
