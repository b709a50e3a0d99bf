"""The path over the boards seen from above, stretched across so that half a board shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes

from calibration.lane import (
    ARROW_BOARDS,
    INCHES_PER_FOOT,
    Hand,
    arrow_distance_in,
    board_from_x,
    pin_positions,
)
from tracker.report.ink import BAND, FAINT, INK, LANE_TINT, MARKER, PATH, PIN, PIN_EDGE
from tracker.report.markers import Marker
from tracker.results import PathTable

LEAST_BOARDS = 12.0
"""Fewer boards than this are not shown, so that a straight ball does not look like a wild one."""

MOST_FT = 63.5


def draw_top_view(axes: Axes, path: PathTable, markers: Sequence[Marker], hand: Hand) -> None:
    """Draw path, 2-sigma band, frames and markers over the boards; the bowler looks upward.

    Boards run as the bowler sees them: from the right for a right-hander, from the left for a left-hander.
    """
    low, high = board_limits(path, markers)
    _boards(axes, (low, high), hand)
    _lane_marks(axes, hand)
    axes.fill_betweenx(
        path.distance_ft,
        path.board - 2 * path.board_u,
        path.board + 2 * path.board_u,
        color=BAND,
        alpha=0.45,
        linewidth=0,
        zorder=3,
    )
    axes.plot(path.board, path.distance_ft, color=PATH, linewidth=1.2, zorder=4)
    _to_contact(axes, path, markers)
    seen = path.seen > 0
    axes.plot(path.board[seen], path.distance_ft[seen], "o", color=PATH, markersize=2.6, zorder=5)
    hollow: dict[str, Any] = {"markerfacecolor": LANE_TINT, "markeredgewidth": 0.8}
    axes.plot(path.board[~seen], path.distance_ft[~seen], "o", color=PATH, markersize=3.2, zorder=5, **hollow)
    for marker in markers:
        place = ([marker.board], [marker.distance_ft])
        axes.plot(*place, marker.symbol, color=MARKER, markeredgecolor=INK, markersize=8, zorder=7)


def board_limits(path: PathTable, markers: Sequence[Marker]) -> tuple[float, float]:
    """Boards to show: the path with its band and at least :data:`LEAST_BOARDS`, on whole boards' edges."""
    boards = [*(path.board - 2 * path.board_u), *(path.board + 2 * path.board_u), *(m.board for m in markers)]
    within = np.clip([b for b in boards if math.isfinite(b)] or [20.0], -8.0, 48.0)
    low, high = float(within.min()) - 1.5, float(within.max()) + 1.5
    spare = max(LEAST_BOARDS - (high - low), 0.0) / 2
    return math.floor(low - spare) + 0.5, math.ceil(high + spare) + 0.5


def _boards(axes: Axes, limits: tuple[float, float], hand: Hand) -> None:
    low, high = limits
    axes.set_xlim((high, low) if hand == "right" else (low, high))
    axes.set_ylim(-1.0, MOST_FT)
    axes.axvspan(max(low, 0.5), min(high, 39.5), color=LANE_TINT, zorder=0)
    for edge in np.arange(max(low, 0.5), min(high, 39.5) + 0.1):
        axes.axvline(edge, color=FAINT, linewidth=0.5, zorder=1)
    whole = [b for b in range(1, 40) if low < b < high]
    labelled = whole if len(whole) <= 24 else [b for b in whole if b % 5 == 0]
    axes.set_xticks(labelled, [str(b) for b in labelled])
    feet = list(range(0, 61, 10))
    axes.set_yticks(feet, [str(f) for f in feet])
    for foot in feet:
        axes.axhline(foot, color=INK if foot == 0 else FAINT, linewidth=1.4 if foot == 0 else 0.8, zorder=1)
    axes.tick_params(colors=INK, labelsize=9, length=3)
    for side in axes.spines.values():
        side.set_color(FAINT)
    axes.set_xlabel(f"board, counted from the {hand} edge", color=INK, fontsize=10)
    axes.set_title("feet past the foul line", color=INK, fontsize=10, loc="left")


def _lane_marks(axes: Axes, hand: Hand) -> None:
    arrows = np.array(ARROW_BOARDS, dtype=np.float64)
    axes.plot(arrows, arrow_distance_in(arrows) / INCHES_PER_FOOT, marker=6, color=FAINT, linestyle="", zorder=2)
    low, high = sorted(axes.get_xlim())
    for number, (x, y) in enumerate(pin_positions(), start=1):
        board, feet = float(board_from_x(x, hand)), y / INCHES_PER_FOOT
        if low + 0.3 < board < high - 0.3:
            axes.plot([board], [feet], "o", color=PIN, markeredgecolor=PIN_EDGE, markersize=11, zorder=2)
            axes.text(board, feet - 0.05, str(number), color=PIN_EDGE, fontsize=7, ha="center", va="center", zorder=2)


def _to_contact(axes: Axes, path: PathTable, markers: Sequence[Marker]) -> None:
    """Dash from the last row of the path to a contact beyond it."""
    for marker in markers:
        if marker.name == "contact" and marker.distance_ft > path.distance_ft[-1] + 0.05:
            boards = [path.board[-1], marker.board]
            axes.plot(boards, [path.distance_ft[-1], marker.distance_ft], "--", color=PATH, linewidth=1.0, zorder=4)
