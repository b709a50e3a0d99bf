"""Container ticks to rising seconds."""

from __future__ import annotations

from array import array

import numpy as np

RESET_S = 0.5
"""A jump back in time by more than this is a new beginning; by less, a frame out of order."""

_RECENT = 50


class Clock:
    """Times of the frames of one clip, strictly rising.

    Parameters
    ----------
    start_ticks : int
        Presentation time that becomes 0.
    tick_s : float
        Length of one tick in seconds.

    Attributes
    ----------
    times_s : array of float
        Times given so far.
    equal, backward, resets : int
        Frames at the time of the one before, frames a little before it, jumps back that were continued.
    """

    def __init__(self, start_ticks: int, tick_s: float) -> None:
        self.times_s: array[float] = array("d")
        self.equal = 0
        self.backward = 0
        self.resets = 0
        self._start_ticks = start_ticks
        self._tick_s = tick_s

    def seconds(self, ticks: int) -> float | None:
        """Time of the next frame in seconds; None if the frame must be left out to keep times rising."""
        t_s = (ticks - self._start_ticks) * self._tick_s
        if self.times_s:
            last_s = self.times_s[-1]
            if t_s < last_s - RESET_S:
                self.resets += 1
                t_s = last_s + self._recent_interval_s()
                self._start_ticks = ticks - round(t_s / self._tick_s)
            elif t_s <= last_s:
                self.equal += t_s == last_s
                self.backward += t_s < last_s
                return None
        self.times_s.append(t_s)
        return t_s

    def _recent_interval_s(self) -> float:
        intervals = np.diff(self.times_s[-_RECENT:])
        return float(np.median(intervals)) if intervals.size else self._tick_s
