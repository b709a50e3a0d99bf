"""A camera that trembles within a clip: the shift of every frame against a reference, cheap enough for all of them.

A dozen of the best windows are read in every frame; a shift common to all is found in three steps of alignment, one
through a wide Gaussian, which reaches four pixels, and two through a narrow one. Windows that somebody hides stop
looking like the reference and drop out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.anchors import Anchors, checked_plane
from calibration.camera import Camera
from calibration.lane import BALL_RADIUS_IN, BOARD_WIDTH_IN, INCHES_PER_FOOT
from calibration.votes import Stage, Vote, common_shift, make_stage, projections, read_votes, scatter
from calibration.windows import MARGIN_PX, Plane, make_template

Array = NDArray[np.float64]
Float = NDArray[np.float32]

WINDOWS = 12
HALF_PX = 8
REACH_PX = 8.0
"""Largest shift that is believed, pixels: beyond it the windows leave what was read of the frame."""
BUDGET_BOARDS = 0.025
NEAR_PX, NEAR_SHARE = 0.4, 0.8
"""A third step of alignment moves a shift by less; what so many windows agree on so near is no wrong place."""
_WIDE_SIGMA_PX, _WIDE_STEP_PX = 3.0, 2
_FINE_SIGMA_PX, _FINE_STEP_PX = 1.2, 1
_SCALES_PX = (2.0, 0.3, 0.12)
_LEAST_WINDOWS = 4
_DRIFT_S = 0.5
_GREY = 128.0


@dataclass(frozen=True, slots=True)
class Shake:
    """Shift of one frame.

    Attributes
    ----------
    du_px, dv_px : float
        Where the reference's pixels lie in this frame, less where they were; NaN where too few windows were seen.
    sigma_px : float
        Standard deviation of either, from noise and from how the windows scatter.
    share : float
        Share of the windows that agree.
    """

    du_px: float
    dv_px: float
    sigma_px: float
    share: float

    @property
    def known(self) -> bool:
        """Whether there is a shift."""
        return math.isfinite(self.du_px)


@dataclass(frozen=True, slots=True)
class ShakeSummary:
    """Shake over a clip.

    Attributes
    ----------
    frames : int
        Frames whose shift is known.
    rms_px, largest_px : float
        Length of the shifts against their mean.
    drift_px : float
        Largest distance between two of the shifts averaged over half a second.
    jitter_px : float
        Root mean square length of what is left of those averages.
    sigma_px : float
        Median standard deviation of a shift.
    """

    frames: int
    rms_px: float
    largest_px: float
    drift_px: float
    jitter_px: float
    sigma_px: float


@dataclass(frozen=True, slots=True, eq=False)
class ShakeMeter:
    """Windows made ready for :func:`measure`.

    Attributes
    ----------
    shape : (int, int)
        Rows and columns of the frame.
    places : tuple of (slice, slice)
        Rows and columns of the pixels read.
    stages : tuple
        The windows through each step's Gaussian.
    """

    shape: tuple[int, int]
    places: tuple[tuple[slice, slice], ...]
    stages: tuple[Stage, ...]


def shake_meter(anchors: Anchors, box: tuple[int, int, int, int] | None = None, count: int = WINDOWS) -> ShakeMeter:
    """Choose and prepare windows.

    Parameters
    ----------
    anchors : Anchors
        Windows of the reference, in which nobody stands before them.
    box : (int, int, int, int), optional
        Left, top, right and bottom of the part of the frame that is read; the whole frame if left out.
    count : int
        Windows; each costs time in every frame.
    """
    shape = (anchors.camera.height, anchors.camera.width)
    return meter_of_windows(anchors.centres, anchors.blocks, shape, box=box, count=count)


def meter_of_windows(
    centres: NDArray[np.intp],
    blocks: NDArray[np.uint8],
    shape: tuple[int, int],
    *,
    box: tuple[int, int, int, int] | None = None,
    count: int = WINDOWS,
) -> ShakeMeter:
    """Choose and prepare the best windows of some that need not be those of a picture as it was taken.

    Parameters
    ----------
    centres : int array of shape (n, 2)
        Column and row of each window's middle pixel.
    blocks : uint8 array of shape (n, m, m)
        Pixels around it.
    shape : (int, int)
        Rows and columns of the frame.
    box, count
        As in :func:`shake_meter`.
    """
    reach = HALF_PX + MARGIN_PX
    spare = blocks.shape[1] // 2 - reach
    left, top, right, bottom = box or (0, 0, shape[1], shape[0])
    low, high = np.array([left, top]) + reach, np.array([right, bottom]) - reach - 1
    inside = ((centres >= low) & (centres <= high)).all(axis=1)
    blocks = blocks[:, spare : spare + 2 * reach + 1, spare : spare + 2 * reach + 1]
    fine = make_template(blocks, HALF_PX, _FINE_STEP_PX, _FINE_SIGMA_PX)
    worth = np.where(inside, np.linalg.eigvalsh(fine.information)[:, 0], -1.0)
    chosen = _spread_out(np.asarray(centres + 0.5, dtype=np.float64), worth, count)
    wide, narrow = (
        make_stage(make_template(blocks[chosen], HALF_PX, step, sigma))
        for step, sigma in ((_WIDE_STEP_PX, _WIDE_SIGMA_PX), (_FINE_STEP_PX, _FINE_SIGMA_PX))
    )
    return ShakeMeter(
        shape,
        tuple(
            (slice(int(r) - reach, int(r) + reach + 1), slice(int(c) - reach, int(c) + reach + 1))
            for c, r in centres[chosen]
        ),
        (wide, narrow, narrow),
    )


def shake(anchors: Anchors, luma: Plane) -> Shake:
    """Shift of one frame; for many frames prepare a :func:`shake_meter` once and call :func:`measure`.

    Raises
    ------
    ValueError
        If the picture is not of the reference's frame size.
    """
    return measure(shake_meter(anchors), checked_plane(luma, anchors.camera))


def measure(
    meter: ShakeMeter, luma: Plane, *, bit_depth: int | None = None, near: tuple[float, float] | None = None
) -> Shake:
    """Shift of one frame against the reference.

    Parameters
    ----------
    meter : ShakeMeter
    luma : array of shape (H, W)
        The frame's full plane, a view of any strides; uint8, or uint16 with ``bit_depth`` bits (10 if not given).
    near : (float, float), optional
        A shift (u, v) near which this one is expected: where it is, one step of alignment will do.

    Raises
    ------
    ValueError
        If the picture is not of the reference's frame size.
    """
    if luma.shape != meter.shape:
        msg = f"the frame is {luma.shape} (rows, columns) and the reference {meter.shape}; give the whole upright frame"
        raise ValueError(msg)
    n = len(meter.places)
    if n < _LEAST_WINDOWS:
        return _unknown(0.0)
    pixels = _read(meter, luma, bit_depth)
    if near is not None:
        shake = _aligned(meter, pixels, near, len(meter.stages) - 1)
        if shake.share >= NEAR_SHARE and math.hypot(shake.du_px - near[0], shake.dv_px - near[1]) <= NEAR_PX:
            return shake
    return _aligned(meter, pixels, (0.0, 0.0), 0)


def _aligned(meter: ShakeMeter, pixels: Float, start: tuple[float, float], first: int) -> Shake:
    """Shift from ``start`` by the steps of alignment from the ``first`` on."""
    n = len(meter.places)
    du, dv = start
    votes: list[Vote] = []
    for stage, scale in zip(meter.stages[first:], _SCALES_PX[first:], strict=True):
        votes = read_votes(stage, *projections(stage, pixels, (du, dv)))
        if len(votes) < _LEAST_WINDOWS:
            return _unknown(len(votes) / n)
        step_u, step_v = common_shift(votes, scale)
        du, dv = du + step_u, dv + step_v
        if max(abs(du), abs(dv)) > REACH_PX:
            return _unknown(len(votes) / n)
    sigma, agreeing = scatter(votes, step_u, step_v, _SCALES_PX[-1])
    if agreeing < _LEAST_WINDOWS:
        return _unknown(agreeing / n)
    return Shake(du, dv, sigma, agreeing / n)


def judge(times_s: Sequence[float], shakes: Sequence[Shake]) -> ShakeSummary:
    """Sum up the shifts of a clip.

    Parameters
    ----------
    times_s : sequence of float
        Container times, increasing.
    shakes : sequence of Shake
        One a time; unknown ones are left out. With none known all lengths are NaN.
    """
    known = [(t, s) for t, s in zip(times_s, shakes, strict=True) if s.known]
    if not known:
        return ShakeSummary(0, *[math.nan] * 5)
    t = np.array([time for time, _ in known])
    at = np.array([(s.du_px, s.dv_px) for _, s in known])
    away = np.hypot(*(at - at.mean(axis=0)).T)
    slow = _running_mean(t, at)
    rest = at - slow
    spans = slow[:, None, :] - slow[:: max(len(slow) // 200, 1)][None]
    return ShakeSummary(
        len(known),
        rms_px=float(np.sqrt(np.mean(away**2))),
        largest_px=float(away.max()),
        drift_px=float(np.hypot(spans[..., 0], spans[..., 1]).max()),
        jitter_px=float(np.sqrt(np.mean((rest**2).sum(axis=1)))),
        sigma_px=float(np.median([s.sigma_px for _, s in known])),
    )


def shake_budget_px(camera: Camera) -> float:
    """Shake (px) from which it matters.

    It is the sideways shift that moves a ball at 58 ft, where a pixel is worth most, by a quarter of a tenth of a
    board: errors of a tenth of a board are what the path is to be known to, and a quarter of them adds 3 % to such an
    error when both are independent.
    """
    y = 58.0 * INCHES_PER_FOOT
    ends = camera.project([(-BOARD_WIDTH_IN, y, BALL_RADIUS_IN), (BOARD_WIDTH_IN, y, BALL_RADIUS_IN)])
    return float(np.hypot(*(ends[1] - ends[0])) / 2 * BUDGET_BOARDS)


def _spread_out(pixels: Array, worth: Array, count: int) -> NDArray[np.intp]:
    """Indices of up to ``count`` windows: of twice as many of the best, each next the farthest from those taken."""
    order = [int(i) for i in np.argsort(-worth, kind="stable")[: 2 * count] if worth[i] > 0]
    taken: list[int] = order[:1]
    while len(taken) < min(count, len(order)):
        rest = [i for i in order if i not in taken]
        away = [float(np.min(np.hypot(*(pixels[taken] - pixels[i]).T))) * float(worth[i]) ** 0.25 for i in rest]
        taken.append(rest[int(np.argmax(away))])
    return np.array(sorted(taken), dtype=np.intp)


def _read(meter: ShakeMeter, luma: Plane, bit_depth: int | None) -> Float:
    """Pixels ``(m, n, m)`` (row, window, column) of all windows; slices are copied faster than places are gathered."""
    m = 2 * (HALF_PX + MARGIN_PX) + 1
    pixels = np.empty((m, len(meter.places), m), dtype=np.float32)
    if luma.dtype == np.uint8:
        for k, place in enumerate(meter.places):
            pixels[:, k] = luma[place]
    else:
        bits = (bit_depth or 10) - 8
        for k, place in enumerate(meter.places):
            pixels[:, k] = luma[place] >> bits
    # Sums of squares are taken in single precision: near 0 they keep the noise.
    pixels -= _GREY
    return pixels


def _unknown(share: float) -> Shake:
    return Shake(math.nan, math.nan, math.nan, share)


def _running_mean(t_s: Array, values: Array) -> Array:
    """Mean ``(n, 2)`` of values over half a second around each time."""
    sums = np.vstack([np.zeros(2), np.cumsum(values, axis=0)])
    first = np.searchsorted(t_s, t_s - _DRIFT_S / 2, side="left")
    last = np.searchsorted(t_s, t_s + _DRIFT_S / 2, side="right")
    return np.asarray((sums[last] - sums[first]) / (last - first)[:, None])
