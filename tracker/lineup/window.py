"""The pocket as a window of contact board and entry angle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.session.simulate import Paths

FLUSH_BOARDS = (16.8, 18.2)
"""Best board 17.5, pocket 17 to 18: published by a federation's researchers (from secondary sources)."""
ENTRY_DEG = (3.0, 6.0)
"""Coaches ask for 3 to 5 degrees (common practice, no source), 4 to 6 were published as best (secondary sources)."""


@dataclass(frozen=True, slots=True)
class Window:
    """What counts as the pocket: boards of the ball's centre at first contact, from the hand's edge, and degrees.

    Raises
    ------
    ValueError
        If a range is empty.
    """

    low_board: float = FLUSH_BOARDS[0]
    high_board: float = FLUSH_BOARDS[1]
    low_deg: float = ENTRY_DEG[0]
    high_deg: float = ENTRY_DEG[1]

    def __post_init__(self) -> None:
        if not (self.low_board < self.high_board and self.low_deg < self.high_deg):
            msg = (
                f"window: boards {self.low_board:g} to {self.high_board:g} and degrees {self.low_deg:g} to "
                f"{self.high_deg:g} leave no room; give the lower number first"
            )
            raise ValueError(msg)

    def holds(self, paths: Paths) -> NDArray[np.bool_]:
        """Whether each path ``(m,)`` comes into the window without leaving the lane."""
        board, angle = paths.contact_board, paths.entry_angle_deg
        inside = (board >= self.low_board) & (board <= self.high_board)
        return np.asarray(inside & (angle >= self.low_deg) & (angle <= self.high_deg) & ~paths.gutter)
