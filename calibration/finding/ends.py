"""Where the lines toward a vanishing point end: which line across them is the foul line, and where the deck ends."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.finding.fan import BLOCKS, block_steps
from calibration.finding.lines import AcrossLine, Segments, across_lines
from calibration.finding.sampling import noise_of

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

_LINES = 12
_LEAST_ROOM = 0.08
"""A lane takes at least this share of the picture's height between vanishing point and foul line."""
_BEFORE, _BEYOND = (0.82, 0.97), (1.04, 1.2)
_NEXT = (1.03, 1.08)
"""Parts of the way from vanishing point (0) to foul line (1) where lanes' lines are seen, and where they are not: all
of it, and only what is next to the line. Own choices, tried on 90 drawn views."""
_ROWS = 24
_LEAST_BLOCKS = 3
_BESIDE = 0.3
"""Share of the frame's width beside it up to which lines reach the foul line and are looked at farther up."""
_CLIP, _CLEAR, _KNOWN = 6.0, 1.4, 2.0
"""What a step counts at most and from where it is a line, roots of sigmas; from where its end is told, sigmas."""
_APART_PX = 3
_UNSEEN = 0.5
"""What a line still counts that runs out of the frame beyond the foul line: nobody knows whether it ends."""
_WHOLE_SHARE = 0.35
"""Segments that cover this share of the frame's width make a whole foul line."""
_SAME_SHARE = 0.012
"""Lines closer than this share of the picture's height are one."""


@dataclass(frozen=True, slots=True)
class FoulLine:
    """What may be the foul line: the vanishing point of the lanes, the line, and how many clear lines end at it."""

    point: Array
    line: AcrossLine
    worth: float


def foul_lines(luma: Image, scale: float, segments: Segments, points: list[Array]) -> list[FoulLine]:
    """Lines across at which the lines toward a vanishing point end, the likeliest first.

    Parameters
    ----------
    luma : uint8 array of shape (h, w)
        The picture, made smaller by ``scale``.
    scale : float
        Pixels of ``luma`` over those of ``segments`` and ``points``.
    segments : Segments
    points : list of array (2,)
        Vanishing points.
    """
    height, width = luma.shape
    found = []
    for point in points:
        for line in across_lines(segments, point, _LINES):
            small = _scaled(line, scale)
            if float(small.v_at(point[0] * scale)) - point[1] * scale < _LEAST_ROOM * height:
                continue
            whole = np.sqrt(min(1.0, small.length_px / (_WHOLE_SHARE * width)))
            found.append(FoulLine(point, line, float(whole) * _ending(luma, point * scale, small)))
    kept: list[FoulLine] = []
    for one in sorted(found, key=lambda one: -one.worth):
        if all(_apart(one, other) > _SAME_SHARE * height / scale for other in kept):
            kept.append(one)
    return kept


def _scaled(line: AcrossLine, scale: float) -> AcrossLine:
    """The line in a picture that is smaller by ``scale``."""
    return AcrossLine(line.u_px * scale, line.v_px * scale, line.slope, line.length_px * scale)


def _apart(one: FoulLine, other: FoulLine) -> float:
    """How far apart two lines are where the first is, pixels; infinite for other vanishing points."""
    if one.point is not other.point:
        return float("inf")
    return abs(float(other.line.v_at(one.line.u_px)) - one.line.v_px)


def _ending(luma: Image, point: Array, line: AcrossLine) -> float:
    """Sum over the clear lines before a line of how much of each is gone beyond it, in roots of sigmas of noise."""
    before, beyond = (_steps(luma, point, line, shares) for shares in (_BEFORE, _BEYOND))
    noise = noise_of(np.concatenate([before, beyond]))
    near = np.abs(_bounded(before / noise).sum(axis=0)) / BLOCKS
    seen = np.isfinite(beyond).sum(axis=0)
    far = np.abs(_bounded(beyond / noise).sum(axis=0)) / np.maximum(seen, 1)
    far = np.where(seen >= _LEAST_BLOCKS, far, _UNSEEN * near)
    peaks = (near >= _highest(near) - 1e-5) & (near > _CLEAR)
    return float(np.maximum(near - _highest(far), 0.0)[peaks].sum())


def _bounded(steps: Array) -> Array:
    """Steps in sigmas with their sign, large ones counting for less, so that a faint seam does not pass for an edge."""
    size = np.sqrt(np.abs(np.nan_to_num(steps)))
    return np.asarray(np.sign(np.nan_to_num(steps)) * np.minimum(size, _CLIP))


def _highest(values: Array) -> Array:
    """Largest value ``(n,)`` within a few columns of each."""
    window = np.ones((1, 2 * _APART_PX + 1), np.uint8)
    return np.asarray(cv2.dilate(values.astype(np.float32)[None], window)[0], dtype=np.float64)


def _steps(luma: Image, point: Array, line: AcrossLine, shares: tuple[float, float]) -> Array:
    """Mean step ``(blocks, n)`` across the lines to every column, by blocks of rows; NaN outside the frame."""
    return block_steps(luma, point, line, shares, rows=_ROWS, beside=_BESIDE)[1]


def going_on(luma: Image, scale: float, foul: FoulLine, columns: Array) -> Array:
    """How much of the step across lines ``(n,)`` before a foul line there is beyond it, 0 to 1; NaN where unknown.

    Parameters
    ----------
    luma, scale
        As in :func:`foul_lines`.
    foul : FoulLine
    columns : array of shape (n,)
        Where the lines meet the foul line, pixels of the whole picture.
    """
    small = _scaled(foul.line, scale)
    before, beyond = (_steps(luma, foul.point * scale, small, shares) for shares in (_BEFORE, _NEXT))
    noise = noise_of(before)
    first = round(-_BESIDE * luma.shape[1])
    shares = []
    for column in columns * scale:
        k = int(np.floor(column)) - first
        near = before[:, max(k - _APART_PX, 0) : k + _APART_PX + 1]
        far = beyond[:, max(k - _APART_PX, 0) : k + _APART_PX + 1]
        shares.append(_share_beyond(near, far, noise))
    return np.array(shares)


def _share_beyond(near: Array, far: Array, noise: float) -> float:
    """The same of the columns ``(blocks, k)`` about one line; NaN where it is not clear or leaves the frame."""
    if not near.size or not np.isfinite(near).any() or not np.isfinite(far).any():
        return float("nan")
    own, beyond = _medians(near), _medians(far)
    k = int(np.argmax(np.abs(own)))
    if abs(own[k]) < _KNOWN * noise:
        return float("nan")
    return float(np.clip((beyond * np.sign(own[k])).max() / abs(own[k]), 0.0, 1.0))


def _medians(steps: Array) -> Array:
    """Median ``(k,)`` of each column's blocks, 0 where there are none."""
    found = np.zeros(steps.shape[1])
    known = np.isfinite(steps).any(axis=0)
    found[known] = np.nanmedian(steps[:, known], axis=0)
    return found
