"""The path as a table: one row a frame looked at, in boards, feet and the clip's own time."""

from __future__ import annotations

import numpy as np

from calibration.lane import BOARD_WIDTH_IN, INCHES_PER_FOOT, Hand, board_from_x
from tracker.path.motion import VX, VY, X, Y
from tracker.path.posterior import PathDraws
from tracker.path.smooth import SmoothPath
from tracker.results import PathTable
from tracker.shot.curves import MPH_PER_IN_S


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
