"""Room for a miss: the chance of the pocket against the miss at 15 ft, outward on the hand's side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.lineup.room import ENOUGH
from tracker.report.charts.data import RoomCurves, RoomReach
from tracker.report.charts.frame import Panel, Scale, mark, upward
from tracker.report.charts.looks import AXIS, GRID, INK, LOOKS, SOFT, WIDTH, Look
from tracker.report.charts.shots import needed
from tracker.report.charts.svg import Element, add, clean, group, joined, picture, short, svg_text, tooltip, way, words
from tracker.report.charts.tell import between, number
from tracker.report.spacing import spread

_CHART = "room chart"
Array = NDArray[np.float64]

_LEFT, _RIGHT = 44.0, 436.0
_TOP, _BOTTOM = 36.0, 256.0
_ROW = 44.0


@dataclass(frozen=True, slots=True, eq=False)
class _Miss:
    """One kind of miss: its name, look, chances and reach."""

    name: str
    look: Look
    chance: Array
    reach: RoomReach


def room_chart(room: RoomCurves, key: str) -> str:
    """Draw the chance of the pocket with the laydown unchanged and with a parallel miss.

    Below the curves stand brackets as wide as the misses that come to the pocket, with the central 90 % over the lanes
    that the measured shots leave possible.

    Parameters
    ----------
    room : RoomCurves
    key : str
        Begins every id of the picture.

    Returns
    -------
    str
        An SVG.

    Raises
    ------
    ValueError
        If no chance is known, or ``key`` cannot begin an id.
    """
    misses = [
        _Miss("laydown kept", LOOKS[0], room.aside_chance, room.aside),
        _Miss("parallel", LOOKS[1], room.parallel_chance, room.parallel),
    ]
    if not any(np.isfinite(m.chance).any() for m in misses):
        raise needed(_CHART, "no chance is known for any miss", "leave the picture out")
    height = _BOTTOM + 62 + _ROW * 2 + 42
    title = "Room for a miss" + (f": {clean(room.ball)}, {clean(room.move)}" if room.ball else "")
    root = picture((WIDTH, height), key, title=title, desc=_description(room, misses))
    panel = _panel(room)
    _axes(root, panel, room, level=any(_reached(m.reach) for m in misses))
    for miss in misses:
        _draw_curve(root, panel, room, miss=miss)
    _draw_names(root, panel, misses)
    for k, miss in enumerate(misses):
        _draw_width(root, panel, miss, y=_BOTTOM + 72 + _ROW * k)
    words(root, _level_in_words(misses), 4, height - 31, fill=SOFT)
    words(root, "bars: how far it may miss; thin: 90 % of the lanes possible", 4, height - 12, fill=SOFT)
    return svg_text(root)


def _panel(room: RoomCurves) -> Panel:
    """Outward is on the bowling hand's side, as the bowler sees it."""
    reach = float(np.max(np.abs(room.miss_boards)))
    start, end = (_RIGHT, _LEFT) if room.hand == "right" else (_LEFT, _RIGHT)
    return Panel(Scale(-reach, reach, start, end), Scale(0.0, 100.0, _BOTTOM, _TOP))


def _axes(root: Element, panel: Panel, room: RoomCurves, *, level: bool) -> None:
    upward(root, panel, [0, 20, 40, 60, 80, 100], axis="chance", label="throws of 100 that come to the pocket")
    reach = int(panel.x.high)
    places = range(-reach, reach + 1)
    lines = "".join(f"M{short(panel.x.at(b))} {short(_TOP)}V{short(_BOTTOM)}" for b in places)
    add(root, "path", d=lines, stroke=GRID)
    middle = panel.x.at(0.0)
    add(
        root,
        "path",
        d=f"M{short(middle)} {short(_TOP)}V{short(_BOTTOM)}M{short(_LEFT)} {short(_BOTTOM)}H{short(_RIGHT)}",
        stroke=AXIS,
    )
    numbers = group(root, data_axis="miss", text_anchor="middle", fill=SOFT)
    for board in places:
        words(numbers, str(abs(board)), panel.x.at(board), _BOTTOM + 14)
    outward, inward = ("end", "start") if room.hand == "right" else ("start", "end")
    out_x, in_x = (_RIGHT, _LEFT) if room.hand == "right" else (_LEFT, _RIGHT)
    words(root, "outward: recovery", out_x, _BOTTOM + 33, anchor=outward, fill=SOFT)
    words(root, "inward: hold", in_x, _BOTTOM + 33, anchor=inward, fill=SOFT)
    words(root, "boards at 15 ft", middle, _BOTTOM + 33, anchor="middle", fill=SOFT)
    if not level:
        return
    height = panel.y.at(100 * ENOUGH)
    add(
        root,
        "path",
        d=f"M{short(_LEFT)} {short(height)}H{short(_RIGHT)}",
        stroke=INK,
        stroke_dasharray="1.5 3.5",
        data_marks="level",
    )


def _level_in_words(misses: Sequence[_Miss]) -> str:
    level = f"{100 * ENOUGH:.0f} of 100"
    if any(_reached(m.reach) for m in misses):
        return f"dotted line: {level}; up to there a miss counts as room"
    return f"no throw is sure to come in {level}, missed or not"


def _draw_curve(root: Element, panel: Panel, room: RoomCurves, *, miss: _Miss) -> None:
    x, y = panel.x(room.miss_boards), panel.y(100 * miss.chance)
    add(
        root,
        "path",
        d=way(x, y),
        stroke=miss.look.colour,
        stroke_width=2.2,
        stroke_dasharray=miss.look.dash,
        stroke_linejoin="round",
        fill="none",
        data_curve=miss.name,
    )
    for signed in _reached(miss.reach):
        mark(root, miss.look.shape, (panel.x.at(signed), panel.y.at(100 * ENOUGH)), colour=miss.look.colour)
    hovers = group(root, fill="#fff", fill_opacity="0")
    for board, chance in zip(room.miss_boards.tolist(), miss.chance.tolist(), strict=True):
        if np.isfinite(chance) and board == round(board):
            told = f"{miss.name}, {_side(board)}: {100 * chance:.0f} of 100"
            tooltip(hovers, (panel.x.at(board), panel.y.at(100 * chance)), told, miss_boards=board, value=chance)


def _reached(reach: RoomReach) -> list[float]:
    """Misses, inside positive, up to which the chance is enough."""
    out = [] if reach.recovery_boards is None else [-reach.recovery_boards]
    return out if reach.hold_boards is None else [*out, reach.hold_boards]


def _side(board: float) -> str:
    if board == 0:
        return "no miss"
    boards = "board" if abs(board) == 1 else "boards"
    return f"{abs(board):g} {boards} {'inward' if board > 0 else 'outward'}"


def _draw_names(root: Element, panel: Panel, misses: Sequence[_Miss]) -> None:
    """Names over the curves at that end of the picture where they lie farther apart."""
    known = [m for m in misses if np.isfinite(m.chance[[0, -1]]).all()]
    if not known:
        return
    apart = [abs(float(known[0].chance[k] - known[-1].chance[k])) for k in (0, -1)]
    end = 0 if apart[0] >= apart[1] else -1
    x = panel.x.at(panel.x.low if end == 0 else panel.x.high)
    on_left = x < (_LEFT + _RIGHT) / 2
    wanted = [panel.y.at(100 * float(m.chance[end])) - 13 for m in known]
    for miss, y in zip(known, spread(wanted, least_gap=18, within=(_TOP + 10, _BOTTOM - 12)), strict=True):
        anchor = "start" if on_left else "end"
        words(root, miss.name, x + 4 if on_left else x - 4, y, anchor=anchor, halo=True, fill=miss.look.colour)


def _draw_width(root: Element, panel: Panel, miss: _Miss, *, y: float) -> None:
    """Words, and under them a bracket over the misses of an otherwise perfect throw that come to the pocket."""
    width, middle = miss.reach.width_boards, miss.reach.middle_boards
    if width is None or middle is None:
        words(root, f"{miss.name}: the width is not known", _LEFT, y)
        return
    told = f"{miss.name}: {number(width.value, 1)} boards wide ({between(width.low, width.high)})"
    words(root, told, panel.x.at(0.0), y, anchor="middle", font_weight="600")
    low, value, high = (_ends(panel, middle, w) for w in (width.low, width.value, width.high))
    line = y + 19
    thin = f"M{short(high[0])} {short(line)}H{short(low[0])}M{short(low[1])} {short(line)}H{short(high[1])}"
    ends = "".join(f"M{short(x)} {short(line - 3)}v6" for x in (*high, *low))
    add(root, "path", d=thin + ends, stroke=miss.look.colour, stroke_width=1, fill="none")
    thick = f"M{short(value[0])} {short(line - 7)}v14m0-7H{short(value[1])}m0-7v14"
    add(root, "path", d=thick, stroke=miss.look.colour, stroke_width=2.6, fill="none", data_width=miss.name)


def _ends(panel: Panel, middle: float, width: float) -> tuple[float, float]:
    a, b = sorted(panel.x.at(float(np.clip(middle + s * width / 2, panel.x.low, panel.x.high))) for s in (-1, 1))
    return a, b


def _description(room: RoomCurves, misses: Sequence[_Miss]) -> str:
    head = f"Chance of the pocket against the miss at 15 ft, {room.hand}-hander, outward toward the hand's gutter."
    return joined([head, *(_one_described(m, room) for m in misses)])


def _one_described(miss: _Miss, room: RoomCurves) -> str:
    told = np.flatnonzero(np.isfinite(miss.chance))
    if not len(told):
        return f"With the miss {miss.name} nothing is known."
    top = int(told[np.argmax(miss.chance[told])])
    board = float(room.miss_boards[top])
    where = _side(board)
    reach = miss.reach
    if reach.recovery_boards is None or reach.hold_boards is None:
        level = f"{100 * ENOUGH:.0f} of 100 are not reached"
    else:
        sides = f"{reach.recovery_boards:g} boards outward and {reach.hold_boards:g} inward"
        level = f"at least {100 * ENOUGH:.0f} of 100 up to {sides}"
    width = reach.width_boards
    wide = (
        "the width is not known"
        if width is None
        else f"{number(width.value, 1)} boards wide, {between(width.low, width.high)} over the possible lanes"
    )
    return f"{miss.name.capitalize()}: at most {100 * miss.chance[top]:.0f} of 100, {where}; {level}; {wide}."
