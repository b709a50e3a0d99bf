"""One clip of the table of hard clips: what makes it hard, how hard, and what is true of it.

Any module that makes hard clips plugs into ``tests/bench/bench_hard.py`` by one function::

    def cases(folder: Path) -> Iterator[HardCase]: ...

It writes its clips (or finds them, made before from the same description) in ``folder`` and yields one
:class:`HardCase` a clip, lazily: the bench measures a clip before it asks for the next. Give the module to the bench
with ``--cases NAME`` (importable from ``tests/``, so ``--cases hard_scenes`` for ``tests/hard_scenes.py``).

The truth is what ``sample_media.render.render_clip`` returns or writes: ``hand``, ``shot`` (numbers by column name;
None where a number does not exist), ``path`` (rows t, x, y, .. in seconds from laydown and inches, at 100 Hz or more)
and ``t_video_of_laydown``, in the time of the clip's own pictures. Outside clips have ``numbers`` for ``shot`` and
start their path at ``t_video_of_release``.
A case whose file runs on another clock (trimmed, slowed) says so by ``clock``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.lane import Hand

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HardCase:
    """One clip with its truth.

    Attributes
    ----------
    family : str
        What makes it hard, one row group of the table ("flicker", "people before the lane").
    severity : str
        How hard, one row ("60->30, 8 %"). Family, severity and clip together name the case.
    clip : Path
        The file to measure.
    truth : Path or dict
        Truth of the clip (see above), read when it is needed. ``{}`` where nothing is true of it (nobody throws).
    hand, ball_diameter_in, capture_fps, lane_at
        What the program is told (:class:`tracker.measure.MeasureSettings`); None: not told.
    clock : tuple of (float, float)
        Pairs (seconds in the truth's time, seconds in the file), both rising, between which times are interpolated and
        beyond which they go on; empty where both are the same.
    wanted : tuple of str
        What it may answer: any of ``measured``, ``partial``, ``failed``, and ``flag:CODE`` where the answer may only be
        measured if it carries that flag. Anything else is printed as unwanted. Numbers count whatever is wanted.
    base : str
        Name of the clip that was made harder; empty for a clip of its own.
    like : Path or None
        The clip as it was before: its measured path is what this one's is compared with besides the truth.
    """

    family: str
    severity: str
    clip: Path
    truth: Path | dict[str, Any]
    hand: Hand | None = None
    ball_diameter_in: float | None = None
    capture_fps: float | None = None
    lane_at: tuple[float, float] | None = None
    clock: tuple[tuple[float, float], ...] = ()
    wanted: tuple[str, ...] = ("measured",)
    base: str = ""
    like: Path | None = None

    def read_truth(self) -> dict[str, Any]:
        """The truth as a dictionary."""
        if isinstance(self.truth, dict):
            return self.truth
        read: dict[str, Any] = json.loads(self.truth.read_text(encoding="utf-8"))
        return read

    def true_numbers(self) -> dict[str, Any]:
        """True numbers by column name."""
        truth = self.read_truth()
        numbers: dict[str, Any] = truth["numbers"] if "numbers" in truth else truth.get("shot", {})
        return numbers

    def true_path(self) -> Array:
        """True path on the lane, rows (time in the file in seconds, x, y in inches); shape ``(0, 3)`` without one."""
        truth = self.read_truth()
        if not truth.get("path"):
            return np.zeros((0, 3))
        start_s = truth.get("t_video_of_laydown", truth.get("t_video_of_release", 0.0))
        path = np.array([row[:3] for row in truth["path"]], dtype=float)
        path[:, 0] = self.file_time_s(path[:, 0] + start_s)
        return path

    def file_time_s(self, true_s: Array) -> Array:
        """Times in the file of times of the truth."""
        if not self.clock:
            return true_s
        true, file = (np.array(side, dtype=float) for side in zip(*self.clock, strict=True))
        inside = np.interp(true_s, true, file)
        before = file[0] + (true_s - true[0]) * (file[1] - file[0]) / (true[1] - true[0])
        after = file[-1] + (true_s - true[-1]) * (file[-1] - file[-2]) / (true[-1] - true[-2])
        return np.where(true_s < true[0], before, np.where(true_s > true[-1], after, inside))
