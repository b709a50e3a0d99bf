"""The fan of the lanes: how strongly each line from the vanishing point to the foul line is an edge."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.finding.lines import AcrossLine
from calibration.finding.sampling import LEAST_NOISE, MAD_PER_SIGMA, sampled
from calibration.lane import GUTTER_WIDTH_IN, LANE_WIDTH_IN

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

GUTTER_SHARE = GUTTER_WIDTH_IN / LANE_WIDTH_IN
LANE_SHARES = (0.22, 0.97)
"""Part of the way from vanishing point to foul line that is looked at: short of the deck, off the line itself."""
BLOCKS = 12
_CLIP = 5.0

_BEYOND = 0.6
"""Lanes whose near end lies beside the frame, by this share of its width, still show their far part."""
_ROWS = 72
STEP_PX = 1.5
"""Half the distance over which a step is taken."""
_PEAK_APART_PX = 3
_WEAKEST = 6.0
_NARROWEST_SHARE, _WIDEST_SHARE = 0.035, 0.9
_GUTTER_SLACK = 0.08


@dataclass(frozen=True, slots=True)
class Fan:
    """Edges of the lines from a vanishing point to places on the foul line.

    Attributes
    ----------
    point : array (2,)
        The vanishing point, pixels.
    foul : AcrossLine
    t_px : array (n,)
        Columns where the lines meet the foul line, one pixel apart.
    edge : array (n,)
        Sum over blocks of rows of the step across the line (right minus left) over the picture's own noise of such
        steps, each block's at most 5: up to 60 for an edge that is clear all the way.
    sharp : array (n,)
        The same with larger steps counting for more, which tells where exactly the edge is.
    """

    point: Array
    foul: AcrossLine
    t_px: Array
    edge: Array
    sharp: Array

    def at(self, t: float, slack_px: float) -> float:
        """Strongest edge (with sign) within ``slack_px`` of a column; 0 outside the fan."""
        near = np.abs(self.t_px - t) <= max(slack_px, 1.0)
        if not near.any():
            return 0.0
        values = self.edge[near]
        return float(values[np.argmax(np.abs(values))])


def fan_of(luma: Image, point: Array, foul: AcrossLine) -> Fan:
    """Measure the fan of a picture ``(H, W)`` for a vanishing point and a foul line."""
    t, blocks = block_steps(luma, point, foul, LANE_SHARES, rows=_ROWS, beside=_BEYOND)
    known = np.where(np.isfinite(blocks).any(axis=1, keepdims=True), np.abs(blocks), 0.0)
    noise = np.nanmedian(known, axis=1, keepdims=True) / MAD_PER_SIGMA
    ratio = np.nan_to_num(blocks / np.maximum(noise, LEAST_NOISE))
    sharp = (np.sign(ratio) * np.sqrt(np.abs(ratio))).sum(axis=0)
    return Fan(point, foul, t, np.clip(ratio, -_CLIP, _CLIP).sum(axis=0), sharp)


def block_steps(
    luma: Image, point: Array, line: AcrossLine, shares: tuple[float, float], *, rows: int, beside: float
) -> tuple[Array, Array]:
    """Steps of brightness across the lines from a vanishing point to a line across them.

    Parameters
    ----------
    luma : uint8 array of shape (H, W)
    point : array of shape (2,)
        The vanishing point, pixels.
    line : AcrossLine
    shares : (float, float)
        Part of the way from the point (0) to the line (1) and beyond that is looked at.
    rows : int
        How many places on this part; a multiple of the blocks.
    beside : float
        Share of the frame's width beside it up to which lines reach the line across.

    Returns
    -------
    (array (n,), array (12, n))
        Columns where the lines meet the line across, a pixel apart, and by blocks of rows the mean step (right minus
        left) there; NaN outside the frame.
    """
    height, width = luma.shape
    t = np.arange(round(-beside * width), round((1.0 + beside) * width)) + 0.5
    share = np.linspace(*shares, rows)[:, None]
    u = point[0] + share * (t[None] - point[0])
    v = point[1] + share * (line.v_at(t)[None] - point[1])
    sides = [sampled(luma, np.stack([u + s * STEP_PX, v], axis=-1)) for s in (-1, 1)]
    step = sides[1] - sides[0]
    step[(u < 3) | (u > width - 3) | (v < 3) | (v > height - 3)] = np.nan
    return t, _block_means(step)


def _block_means(step: Array) -> Array:
    parts = step.reshape(BLOCKS, -1, step.shape[1])
    known = np.isfinite(parts)
    count = known.sum(axis=1)
    total = np.where(known, parts, 0.0).sum(axis=1)
    return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan))


@dataclass(frozen=True, slots=True)
class Strip:
    """A pair of fan lines that may be a lane's edges: columns on the foul line, and how much speaks for it."""

    left_px: float
    right_px: float
    score: float


def strips_of(fan: Fan, count: int) -> list[Strip]:
    """Pairs of edges with gutters of the right width outside, the likeliest first.

    The distance of a gutter's outer edge to the lane's is a fixed share of the lane's width (the cross ratio of the
    four lines, nearly affine along the foul line).
    """
    peaks = np.array(edge_peaks(fan), dtype=int)
    width = len(fan.t_px) / (1.0 + 2.0 * _BEYOND)
    a, b = (k.ravel() for k in np.meshgrid(peaks, peaks, indexing="ij"))
    span = fan.t_px[b] - fan.t_px[a]
    kept = (span >= _NARROWEST_SHARE * width) & (span <= _WIDEST_SHARE * width)
    a, b = a[kept], b[kept]
    worth = _worth(fan, a, b)
    order = np.argsort(-worth, kind="stable")[:count]
    return [Strip(float(fan.t_px[a[k]]), float(fan.t_px[b[k]]), float(worth[k])) for k in order]


def edge_peaks(fan: Fan) -> list[int]:
    """Indices of the columns that are edges, where they are sharpest."""
    size = np.abs(fan.sharp)
    window = np.ones((1, 2 * _PEAK_APART_PX + 1), np.uint8)
    highest = np.asarray(cv2.dilate(size.astype(np.float32)[None], window))[0]
    return [int(k) for k in np.flatnonzero((size >= highest - 1e-4) & (np.abs(fan.edge) > _WEAKEST))]


def _worth(fan: Fan, a: NDArray[np.int64], b: NDArray[np.int64]) -> Array:
    """Edges of pairs ``(n,)`` and of the gutters outside, those of opposite sign counting for more."""
    left, right = fan.edge[a], fan.edge[b]
    gutter = GUTTER_SHARE * (fan.t_px[b] - fan.t_px[a])
    outer = nearest_edges(fan, fan.t_px[a] - gutter, _GUTTER_SLACK * gutter) + nearest_edges(
        fan, fan.t_px[b] + gutter, _GUTTER_SLACK * gutter
    )
    own = np.minimum(np.abs(left), np.abs(right)) + 0.5 * np.maximum(np.abs(left), np.abs(right))
    return np.asarray(own * np.where(left * right < 0, 1.25, 1.0) + 0.5 * outer)


def nearest_edges(fan: Fan, t: Array, slack: Array) -> Array:
    """Size of the strongest edge within a slack of each column ``(n,)``; 0 outside the fan."""
    reach = np.arange(int(max(np.max(slack, initial=1.0), 1.0)) + 1)
    offsets = np.concatenate([-reach[:0:-1], reach])
    index = np.rint(t - fan.t_px[0]).astype(int)[:, None] + offsets
    allowed = (np.abs(offsets) <= np.maximum(slack, 1.0)[:, None]) & (index >= 0) & (index < len(fan.edge))
    sizes = np.abs(fan.edge[np.clip(index, 0, len(fan.edge) - 1)])
    return np.asarray(np.where(allowed, sizes, 0.0).max(axis=1, initial=0))
