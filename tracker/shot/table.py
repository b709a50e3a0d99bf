"""The path as a table: one row a frame looked at, in boards, feet and the clip's own time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.lane import BOARD_WIDTH_IN, INCHES_PER_FOOT, Hand, board_from_x
from tracker.path.motion import VX, VY, X, Y
from tracker.path.posterior import PathDraws
from tracker.path.smooth import SmoothPath
from tracker.results import PathTable, ShotResult
from tracker.shot.curves import MPH_PER_IN_S

SAME_BOARDS, SAME_FT = 1.0, 2.0
"""Nearer to each other than a ball's diameter, two paths are of one ball."""
SAME_SHARE = 0.5


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
        if not any(_same_ball(shot.path, other.path) for other in kept):
            kept.append(shot)
    return [shot for shot in shots if any(shot is other for other in kept)]


def _sights(shot: ShotResult) -> int:
    return 0 if shot.path is None else int(shot.path.seen.sum())


def _same_ball(one: PathTable | None, other: PathTable | None) -> bool:
    """Whether two paths lie within a ball of each other for most of the shorter one's time."""
    if one is None or other is None or not len(one.frame) or not len(other.frame):
        return False
    _, here, there = np.intersect1d(one.frame, other.frame, return_indices=True)
    if len(here) <= SAME_SHARE * min(len(one.frame), len(other.frame)):
        return False
    boards = np.median(np.abs(one.board[here] - other.board[there]))
    feet = np.median(np.abs(one.distance_ft[here] - other.distance_ft[there]))
    return bool(boards < SAME_BOARDS and feet < SAME_FT)
