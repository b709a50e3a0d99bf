"""Facts of a clip: format, size, and how even its frames are in time."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

VARIABLE_SHARE = 0.05
"""Intervals that differ from the median by more than this share, and by more than clock ticks explain, vary."""

_TICKS_OF_ROUNDING = 1.5

_TRANSFERS = {
    1: "bt709",
    4: "gamma22",
    5: "gamma28",
    6: "smpte170m",
    7: "smpte240m",
    8: "linear",
    11: "iec61966-2-4",
    13: "iec61966-2-1",
    14: "bt2020-10",
    15: "bt2020-12",
    16: "smpte2084",
    18: "arib-std-b67",
}


@dataclass(frozen=True, slots=True)
class ClipFacts:
    """What a clip is. Nothing of where, when or by whom it was filmed is kept.

    Attributes
    ----------
    name : str
        File name, never a path.
    codec, pixel_format : str
        Names of the codec and of the decoded pixel layout (``h264``, ``yuv420p10le``).
    bit_depth : int
        Bits of one luma sample.
    transfer : str
        Transfer characteristic: ``bt709``, ``arib-std-b67`` (HLG), ``smpte2084`` (PQ) .. or ``unknown``.
    width, height : int
        Size of the upright frame in pixels; an odd last column or row of the stored picture is left out.
    rotation_deg : int
        0, 90, 180 or 270: counter-clockwise turn that made the stored pictures upright.
    frames : int
        Frames handed over (before the pass: what the header claims, 0 if it does not say).
    duration_s : float
        From the first frame to the end of the last, container time (before the pass: the header's, 0 if it has none).
    nominal_fps : float or None
        One over the usual interval, the mean of those close to the median (before the pass: the header's average); None
        where there is none.
    interval_median_s, interval_min_s, interval_max_s : float
        Intervals between frames in seconds, NaN before the pass.
    variable_rate : bool
        Some interval differs from the median by more than 5 % and more than the clock's ticks explain.
    missing_frames, duplicate_frames : int
        Estimated from the times alone: places left empty by intervals of 2, 3 .. usual ones, and frames at the time of
        the one before or less than half a usual interval after it.
    repeated_frames : int
        Frames that show the picture before again (but for small errors of compression): repeated by a conversion to
        another rate, or a scene in which nothing at all moves.
    out_of_order, skipped_frames, time_resets : int
        Frames left out because their time lay just before that of an earlier one; left out because they had no time,
        were damaged or had another size; and places where time jumped back and was continued from the frame before.
    truncated : bool
        The data ends or is damaged before the end that the header promises.
    complete : bool
        False for facts given before the clip was read to its end.
    decoder : str
        Versions of the decoding libraries.
    capture_fps : float or None
        Frames a second at which the file says that it was recorded; None where it says nothing.
    bits_per_pixel : float or None
        Bits of the stored picture data over pixels of all frames; None before the pass. A phone stores 0.03 to 0.2.
    """

    name: str
    codec: str
    pixel_format: str
    bit_depth: int
    transfer: str
    width: int
    height: int
    rotation_deg: int
    frames: int
    duration_s: float
    nominal_fps: float | None
    interval_median_s: float
    interval_min_s: float
    interval_max_s: float
    variable_rate: bool
    missing_frames: int
    duplicate_frames: int
    repeated_frames: int
    out_of_order: int
    skipped_frames: int
    time_resets: int
    truncated: bool
    complete: bool
    decoder: str
    capture_fps: float | None = None
    bits_per_pixel: float | None = None


@dataclass(frozen=True, slots=True)
class Timing:
    """How even the times of frames are; fields as in :class:`ClipFacts`."""

    duration_s: float
    nominal_fps: float | None
    interval_median_s: float
    interval_min_s: float
    interval_max_s: float
    variable_rate: bool
    missing_frames: int
    duplicate_frames: int


BETWEEN = 0.25
"""Intervals farther from whole multiples of the usual one are of another kind; so many of them, and there is no usual
rate but the mean one."""


def timing_of(times_s: ArrayLike, tick_s: float = 0.0) -> Timing:
    """Describe rising times.

    Parameters
    ----------
    times_s : array_like of shape (n,)
        Times of frames in seconds, strictly rising.
    tick_s : float
        Resolution of the container's clock: times are rounded to it, so intervals may differ by one tick.

    Returns
    -------
    Timing
        With NaN intervals and no rate for fewer than two times.
    """
    intervals = np.diff(np.asarray(times_s, dtype=np.float64))
    if not intervals.size:
        return Timing(0.0, None, math.nan, math.nan, math.nan, False, 0, 0)  # noqa: FBT003
    median = float(np.median(intervals))
    # of two kinds of interval in equal numbers the median lies between both, where none is
    usual = float(np.partition(intervals, (len(intervals) - 1) // 2)[(len(intervals) - 1) // 2])
    tolerance = max(VARIABLE_SHARE * usual, _TICKS_OF_ROUNDING * tick_s)
    # A coarse clock biases the median by up to half a tick; the mean of the single intervals does not suffer from it.
    period_s = float(intervals[np.abs(intervals - usual) <= tolerance].mean())
    steps = np.rint(intervals / period_s)
    # two and three ticks by turns are no frames of the shorter interval with some missing
    between = np.abs(intervals / period_s - steps) > BETWEEN
    steps[between] = 1
    uneven = np.count_nonzero(between) > BETWEEN * len(intervals)
    return Timing(
        duration_s=float(intervals.sum() + period_s),
        nominal_fps=round(float(1.0 / (intervals.mean() if uneven else period_s)), 3),
        interval_median_s=median,
        interval_min_s=float(intervals.min()),
        interval_max_s=float(intervals.max()),
        variable_rate=bool((np.abs(intervals - usual) > tolerance).any()),
        missing_frames=int(np.maximum(steps - 1, 0).sum()),
        duplicate_frames=int((steps == 0).sum()),
    )


def transfer_name(code: int | None) -> str:
    """Name of a transfer characteristic's code (ITU-T H.273 table 3)."""
    return _TRANSFERS.get(int(code or 0), "unknown")
