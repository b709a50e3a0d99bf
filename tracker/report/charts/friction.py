"""A lane's friction as labelled contour lines over boards and feet; where nothing was thrown it stays blank."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from contourpy import contour_generator
from numpy.typing import NDArray

from calibration.lane import BOARD_COUNT, Hand
from tracker.report.charts.data import FrictionGrid, Span
from tracker.report.charts.frame import Panel, ticks
from tracker.report.charts.ground import Box, arrows, lane_axes, lane_ground, lane_lines, small_pins, stretched
from tracker.report.charts.looks import INK, PAPER, SOFT, WIDTH, WOOD
from tracker.report.charts.shots import needed
from tracker.report.charts.svg import Element, add, clean, joined, picture, short, svg_text, way, words
from tracker.report.charts.tell import between, number
from tracker.report.spacing import spread

_CHART = "friction chart"
Array = NDArray[np.float64]

_TOP, _BOTTOM = 46.0, 566.0
_LEFT, _RIGHT = 30.0, 352.0
_LEVELS = 10
_LABEL_GAP = 17.0
_SHORTEST = 22.0
_BLANK = "not thrown over"


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """A contour line in the picture: its level and its places ``(n, 2)``."""

    level: float
    places: Array


def friction_chart(grid: FrictionGrid, key: str, hand: Hand = "right") -> str:
    """Draw friction as contour lines, with the end of the oil as a bracket.

    Parameters
    ----------
    grid : FrictionGrid
        Boards counted from the right edge; for a left-hander the picture counts them from the left.
    key : str
        Begins every id of the picture.
    hand : {'right', 'left'}
        Hand whose edge boards are counted from.

    Returns
    -------
    str
        An SVG.

    Raises
    ------
    ValueError
        If nowhere was thrown, the grid's shapes do not fit, or ``key`` cannot begin an id.
    """
    friction, boards = _checked(grid, hand)
    panel = stretched(Box(_LEFT, _TOP, _RIGHT, _BOTTOM), hand)
    levels = _levels(friction)
    height = _BOTTOM + 92
    title = f"Friction of lane {clean(grid.lane)}" if grid.lane else "Friction of the lane"
    root = picture((WIDTH, height), key, title=title, desc=_description(grid, hand, levels))
    lane_ground(root, panel, PAPER)
    _draw_outline(root, panel, (boards, grid.distance_ft), told=np.isfinite(friction))
    lane_lines(root, panel)
    arrows(root, panel, size=3.0)
    small_pins(root, panel, hand, radius=5.0)
    lane_axes(root, panel, hand)
    lines = _contours(panel, (boards, grid.distance_ft), friction, levels=levels)
    _draw_lines(root, lines, friction)
    inside = _blank_side(panel, boards, friction)
    _draw_labels(root, panel, lines, inside=inside)
    words(
        root,
        _BLANK,
        *_blank_place(panel, (boards, grid.distance_ft), friction),
        anchor="middle",
        halo=True,
        fill=SOFT,
        font_style="italic",
    )
    if grid.oil_end_ft is not None:
        _draw_oil_end(root, panel, grid.oil_end_ft)
    add(root, "path", d=f"M4 {short(height - 31)}h24", stroke=SOFT, stroke_dasharray="1 3", stroke_width=1.4)
    words(root, "edge of what was thrown over, by a ball that slipped", 36, height - 31, fill=SOFT)
    words(root, "the higher the number and the line's weight, the more grip", 4, height - 12, fill=SOFT)
    return svg_text(root)


def _checked(grid: FrictionGrid, hand: Hand) -> tuple[Array, Array]:
    """Friction with boards from the hand's edge, ascending."""
    shape = (len(grid.distance_ft), len(grid.board))
    if grid.friction.shape != shape:
        raise needed(_CHART, f"friction has shape {grid.friction.shape}", f"give one of {shape}")
    if not np.isfinite(grid.friction).any():
        raise needed(_CHART, "no place of the lane was thrown over", "leave the picture out")
    if hand == "right":
        return grid.friction, grid.board
    return grid.friction[:, ::-1], BOARD_COUNT + 1.0 - grid.board[::-1]


def _levels(friction: Array) -> list[float]:
    low, high = float(np.nanmin(friction)), float(np.nanmax(friction))
    return [v for v in ticks(low, high, _LEVELS) if low < v < high]


def _contours(panel: Panel, axes: tuple[Array, Array], friction: Array, *, levels: list[float]) -> list[_Line]:
    boards, feet = axes
    found = contour_generator(x=boards, y=feet, z=np.ma.masked_invalid(friction))
    lines = []
    for level in levels:
        for line in found.lines(level):
            points = np.asarray(line, dtype=np.float64)
            lines.append(_Line(level, np.column_stack([panel.x(points[:, 0]), panel.y(points[:, 1])])))
    return lines


def _draw_outline(root: Element, panel: Panel, axes: tuple[Array, Array], *, told: NDArray[np.bool_]) -> None:
    """Dotted edge of the boards and feet that were sampled."""
    boards = np.concatenate([[axes[0][0] - 1], axes[0], [axes[0][-1] + 1]])
    feet = np.concatenate([[axes[1][0] - 1], axes[1], [axes[1][-1] + 1]])
    edge = contour_generator(x=boards, y=feet, z=np.pad(told.astype(np.float64), 1))
    d = "".join(way(panel.x(line[:, 0]), panel.y(line[:, 1])) for line in map(np.asarray, edge.lines(0.4)))
    add(
        root,
        "path",
        d=d,
        stroke=SOFT,
        stroke_width=1.4,
        stroke_dasharray="1 3",
        fill=WOOD,
        data_marks="sampled",
    )


def _draw_lines(root: Element, lines: list[_Line], friction: Array) -> None:
    low, high = float(np.nanmin(friction)), float(np.nanmax(friction))
    for line in lines:
        weight = 0.9 + 1.7 * (line.level - low) / max(high - low, 1e-9)
        d = way(line.places[:, 0], line.places[:, 1])
        drawn = add(
            root,
            "path",
            d=d,
            stroke=INK,
            stroke_width=weight,
            stroke_linejoin="round",
            fill="none",
            data_friction=f"{line.level:g}",
        )
        add(drawn, "title", f"friction {line.level:g}")


def _blank_side(panel: Panel, boards: Array, friction: Array) -> bool:
    """Whether the larger blank part of the picture is on the left."""
    told = panel.x(boards[np.isfinite(friction).any(axis=0)])
    left, _, right, _ = panel.box
    return bool(told.min() - left > right - told.max())


def _draw_labels(root: Element, panel: Panel, lines: list[_Line], *, inside: bool) -> None:
    """Each level once, in the blank part beside the end of its longest line, a thin line between."""
    longest: dict[float, _Line] = {}
    for line in lines:
        if line.level not in longest or _length(line) > _length(longest[line.level]):
            longest[line.level] = line
    shown = [line for line in longest.values() if _length(line) >= _SHORTEST]
    if not shown:
        return
    pick = np.argmin if inside else np.argmax
    ends = [line.places[int(pick(line.places[:, 0]))] for line in shown]
    heights = spread([float(y) for _, y in ends], least_gap=_LABEL_GAP, within=(_TOP + 60, _BOTTOM - 10))
    decimals = 2 if all(round(line.level, 2) == round(line.level, 6) for line in shown) else 3
    for line, (x, y), at in zip(shown, ends, heights, strict=True):
        step = -30.0 if inside else 30.0
        edge = float(np.clip(x + step, panel.box[0] + 40, panel.box[2] - 40))
        add(root, "path", d=f"M{short(x)} {short(y)}L{short(edge)} {short(at)}", stroke=SOFT, stroke_width=0.8)
        words(
            root,
            f"{line.level:.{decimals}f}",
            edge - 3 if inside else edge + 3,
            at,
            anchor="end" if inside else "start",
            halo=True,
            data_level=f"{line.level:g}",
        )


def _length(line: _Line) -> float:
    return float(np.hypot(*np.diff(line.places, axis=0).T).sum())


def _blank_place(panel: Panel, grid: tuple[Array, Array], friction: Array) -> tuple[float, float]:
    """Middle of the widest blank stretch across the lane, the farthest down of equals."""
    boards, feet = grid
    best, place = -1.0, (0.0, 0.0)
    for k in range(len(feet) - 2, 0, -1):
        told = np.isfinite(friction[k - 1 : k + 2]).any(axis=0)
        edges = np.flatnonzero(np.diff(np.concatenate([[True], told, [True]]).astype(int)))
        for first, last in zip(edges[::2], edges[1::2], strict=True):
            a, b = panel.x.at(float(boards[first])), panel.x.at(float(boards[last - 1]))
            if abs(a - b) > best + 1e-9:
                best, place = abs(a - b), ((a + b) / 2, panel.y.at(float(feet[k])))
    return place


def _draw_oil_end(root: Element, panel: Panel, end: Span) -> None:
    """A bracket beside the lane over the interval of the oil's end, its value as a tick."""
    x = _RIGHT + 10
    low, value, high = (
        panel.y.at(float(np.clip(v, panel.y.low, panel.y.high))) for v in (end.low, end.value, end.high)
    )
    d = f"M{short(x)} {short(low)}h8V{short(high)}h-8M{short(x)} {short(value)}h14"
    add(root, "path", d=d, stroke=INK, stroke_width=1.8, fill="none", data_marks="oil-end")
    told = ("oil ends", f"{number(end.value, 1)} ft", f"{between(end.low, end.high)}")
    first = high - 44 if high - 52 > _TOP else low + 18
    for k, text in enumerate(told):
        words(root, text, _RIGHT + 10, first + 17 * k, font_weight="600" if k < 2 else "400")


def _description(grid: FrictionGrid, hand: Hand, levels: list[float]) -> str:
    friction = grid.friction
    share = 100.0 * float(np.isfinite(friction).mean())
    low, high = float(np.nanmin(friction)), float(np.nanmax(friction))
    feet = grid.distance_ft[np.isfinite(friction).any(axis=1)]
    boards = grid.board[np.isfinite(friction).any(axis=0)]
    if hand == "left":
        boards = BOARD_COUNT + 1.0 - boards[::-1]
    head = f"Friction of a ball of usual grip over the lane from above, boards counted from the {hand} edge:"
    where = f"boards {boards.min():.0f} to {boards.max():.0f} and {feet.min():.0f} to {feet.max():.0f} ft."
    told = f"from {low:.3f} to {high:.3f} where balls slipped, {where}"
    lines = f"Lines at {', '.join(f'{v:g}' for v in levels)}." if levels else "It hardly changes, so there is no line."
    blank = f"The other {100 - share:.0f} % of the lane was not thrown over and is left blank."
    end = grid.oil_end_ft
    oil = (
        "Where the oil ends is not known."
        if end is None
        else f"The oil ends at {end.value:.1f} ft, between {end.low:.1f} and {end.high:.1f} ft."
    )
    return joined([head, told, lines, blank, oil])
