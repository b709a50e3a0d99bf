"""The pin deck and the last feet before it, true to scale: boards, feet, pins, and where a ball meets them."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.lane import BOARD_WIDTH_IN, DECK_END_IN, INCHES_PER_FOOT, PIN_BELLY_RADIUS_IN, Hand
from tracker.report.charts.data import ChartShot
from tracker.report.charts.frame import Panel, Scale
from tracker.report.charts.ground import BOARD_TICKS, HIGH_EDGE, LOW_EDGE, board_scale, lane_ground, pin_places
from tracker.report.charts.looks import GRID, INK, PAPER, SOFT, WIDTH
from tracker.report.charts.svg import Element, add, group, short, words

PER_INCH = 8.0
SIDE_IN = 4.0
"""Inches of each gutter that are shown."""
TOP = 50.0
FROM_FT = 57.7
END_FT = DECK_END_IN / INCHES_PER_FOOT
HIGH = (END_FT - FROM_FT) * INCHES_PER_FOOT * PER_INCH
MIDDLE = WIDTH / 2 + 16


@dataclass(frozen=True, slots=True)
class Contact:
    """Where the ball first meets a pin: board, its standard uncertainty, distance."""

    board: float
    board_u: float | None
    distance_ft: float


def contact_of(shot: ChartShot) -> Contact | None:
    """Contact of a shot; None where there is none."""
    board, feet = shot.number("contact_board"), shot.number("contact_ft")
    if board.value is None or feet.value is None:
        return None
    return Contact(board.value, board.u, feet.value)


def deck_panel(hand: Hand) -> Panel:
    """True to scale: as many units for an inch across as along."""
    gutter = SIDE_IN / BOARD_WIDTH_IN
    low, high = LOW_EDGE - gutter, HIGH_EDGE + gutter
    half = (high - low) * BOARD_WIDTH_IN * PER_INCH / 2
    middle = MIDDLE
    across = board_scale(hand, low, high, left=middle - half, right=middle + half)
    return Panel(across, Scale(FROM_FT, END_FT, TOP + HIGH, TOP))


def deck_ground(root: Element, panel: Panel, hand: Hand) -> None:
    """Wood, lines and numbers of boards and feet."""
    lane_ground(root, panel)
    left, _, right, bottom = panel.box
    a, b = sorted((panel.x.at(LOW_EDGE), panel.x.at(HIGH_EDGE)))
    boards = "".join(f"M{short(panel.x.at(t))} {short(TOP)}V{short(bottom)}" for t in BOARD_TICKS)
    feet = "".join(f"M{short(a)} {short(panel.y.at(f))}H{short(b)}" for f in range(58, 63))
    add(root, "path", d=boards + feet, stroke=GRID, fill="none")
    numbers = group(root, data_axis="board", text_anchor="middle", fill=SOFT)
    for board in BOARD_TICKS:
        words(numbers, str(board), panel.x.at(board), bottom + 13)
    words(root, f"board, from the {hand} edge", (left + right) / 2, bottom + 31, anchor="middle", fill=SOFT)
    along = group(root, data_axis="distance", text_anchor="end", fill=SOFT)
    for foot in range(58, 63):
        words(along, f"{foot} ft", left - 5, panel.y.at(foot))


def deck_pins(root: Element, panel: Panel, hand: Hand, *, standing: tuple[int, ...] | None) -> None:
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


def whisker(root: Element, panel: Panel, board: float, *, u: float | None, y: float) -> None:
    """A bracket of two standard uncertainties either side of a board."""
    if u is None:
        return
    a, b = (panel.x.at(board + s * 2 * u) for s in (-1, 1))
    add(
        root,
        "path",
        d=f"M{short(a)} {short(y - 7)}v14m0-7H{short(b)}m0-7v14",
        stroke=INK,
        stroke_width=1.4,
        fill="none",
    )
