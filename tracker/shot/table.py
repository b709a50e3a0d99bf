"""The path as a table: one row a frame looked at, in boards, feet and the clip's own time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from calibration.lane import (
    BALL_DIAMETER_MAX_IN,
    BOARD_WIDTH_IN,
    INCHES_PER_FOOT,
    LANE_WIDTH_IN,
    Hand,
    board_from_x,
    x_from_board,
)
from tracker.path.motion import VX, VY, X, Y
from tracker.path.posterior import PathDraws
from tracker.path.smooth import SmoothPath
from tracker.results import PathTable, ShotResult
from tracker.shot.curves import MPH_PER_IN_S

SAME_IN, SAME_FT = 1.0, 2.0
"""Two balls, 8.5 in wide, cannot come so near to each other."""
SAME_SHARE = 0.5
KEPT_SHARE = 0.6
"""Of its speed a ball keeps at least this, and gains none."""


def path_table(path: SmoothPath, draws: PathDraws, hand: Hand, time_scale: float) -> PathTable:
    """Rows of the path's frames; the clip's own times where it plays ``time_scale`` times too slowly."""
    rows = path.frame >= 0
    mean, drawn = draws.mean[rows], draws.draws[:, rows]
    toward_pocket = -1.0 if hand == "right" else 1.0
    return PathTable(
        frame=path.frame[rows],
        t_s=path.t_s[rows] / time_scale,
        board=board_from_x(mean[:, X], hand),
        distance_ft=mean[:, Y] / INCHES_PER_FOOT,
        board_u=np.std(drawn[..., X], axis=0) / BOARD_WIDTH_IN,
        distance_ft_u=np.std(drawn[..., Y], axis=0) / INCHES_PER_FOOT,
        speed_mph=np.hypot(mean[:, VX], mean[:, VY]) * MPH_PER_IN_S,
        heading_deg=np.degrees(np.arctan(toward_pocket * mean[:, VX] / mean[:, VY])),
        seen=path.seen[rows].astype(np.int64),
    )


def distinct(shots: Sequence[ShotResult]) -> list[ShotResult]:
    """Shots without those that follow the ball of another one; of these the one that saw more of it is kept."""
    kept: list[ShotResult] = []
    for shot in sorted(shots, key=lambda s: -_sights(s)):
        if not any(_same_ball(shot, other) for other in kept):
            kept.append(shot)
    return [shot for shot in shots if any(shot is other for other in kept)]


def rejoined(shots: Sequence[ShotResult]) -> list[ShotResult]:
    """Shots in order of time; a ball lost at the lane's edge and seen again in the gutter there is one gutter ball.

    Of it stand the numbers of what was seen on the lane.
    """
    joined: list[ShotResult] = []
    for shot in shots:
        if joined and shot.reason == "gutter" and shot.status == "failed" and _goes_on(joined[-1], shot):
            joined[-1] = replace(joined[-1], reason="gutter", detail="the ball leaves the lane for the gutter")
        else:
            joined.append(shot)
    return joined


def _goes_on(lost: ShotResult, gutter: ShotResult) -> bool:
    """Whether a ball lost at the edge is where the other one is first seen by then, at its own speed."""
    before, after = lost.path, gutter.path
    if lost.reason != "ball_lost" or before is None or after is None:
        return False
    seen = np.flatnonzero(before.seen)
    if not len(seen) or not np.any(after.seen):
        return False
    last, first = int(seen[-1]), int(np.argmax(after.seen))
    x, aside = x_from_board(before.board, lost.hand or "right"), x_from_board(after.board, gutter.hand or "right")
    at_edge = LANE_WIDTH_IN / 2 - abs(float(x[last])) < BALL_DIAMETER_MAX_IN and x[last] * aside[first] > 0
    gap_s = float(after.t_s[first] - before.t_s[last])
    reach_ft = float(before.speed_mph[last]) / MPH_PER_IN_S / INCHES_PER_FOOT * gap_s
    gone_ft = float(after.distance_ft[first] - before.distance_ft[last])
    return bool(at_edge and gap_s > 0 and KEPT_SHARE * reach_ft - SAME_FT < gone_ft < reach_ft + SAME_FT)


def _sights(shot: ShotResult) -> int:
    return 0 if shot.path is None else int(shot.path.seen.sum())


def _same_ball(shot: ShotResult, another: ShotResult) -> bool:
    """Whether two paths lie within a ball of each other for most of the shorter one's time, whatever hand was read."""
    one, other = shot.path, another.path
    if one is None or other is None or not len(one.frame) or not len(other.frame):
        return False
    _, here, there = np.intersect1d(one.frame, other.frame, return_indices=True)
    if len(here) <= SAME_SHARE * min(len(one.frame), len(other.frame)):
        return False
    x, other_x = x_from_board(one.board, shot.hand or "right"), x_from_board(other.board, another.hand or "right")
    aside_in = np.median(np.abs(x[here] - other_x[there]))
    along_ft = np.median(np.abs(one.distance_ft[here] - other.distance_ft[there]))
    return bool(aside_in < SAME_IN and along_ft < SAME_FT)
