"""The seven arrows of a solved lane: small marks on boards 5, 10, .. 35 along a chevron up to 18 ft down the lane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.optimize import least_squares

from calibration.camera import Camera
from calibration.finding.sampling import MAD_PER_SIGMA, sampled
from calibration.lane import ARROW_BOARDS, ARROW_CENTRE_FT, BOARD_WIDTH_IN, INCHES_PER_FOOT, x_from_board

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

SPAN_FT = (10.5, 18.0)
LENGTH_IN = 5.0
"""Arrows are up to 6 in long (from memory of the rules); houses lay shorter ones too."""
_STEP_IN = 0.5
_MARK_IN = (-0.3, 0.0, 0.3)
_BESIDE_IN = (-2.4, -1.9, 1.9, 2.4)
_CENTRES_FT = np.arange(12.0, 17.6, 0.1)
_SLOPES_FT = np.arange(0.4, 1.65, 0.1)
_CLIP = 6.0
_REACH_IN = 7.0
_TIP_FT = 0.1
_POINTED_FT = 0.1
"""The tip is drawn out to a point, which the picture blurs: half of the contrast is reached that much before it."""
_FOUND = 2.5
_LEAST_COUNT = 4
_ASIDE_IN = np.arange(-2.0, 2.01, 0.2)
LAID_FT = (ARROW_CENTRE_FT - 1.7, 17.0)
"""The rules lay arrows 12 to 16 ft past the foul line (from memory), houses mostly 15 to 16 ft (common practice, no
source): ones found much nearer or farther tell that another line was taken for the foul line, or of a wrong camera."""
MISS_BOARDS = 0.7
"""Arrows farther off their boards than this (root mean square) are not this lane's (own choice)."""
_MANY = 5
"""Arrows that no chance puts in a chevron (own choice): four were seen on a floor beside a lane."""


@dataclass(frozen=True, slots=True, eq=False)
class Arrows:
    """The chevron that was found.

    Attributes
    ----------
    centre_ft, slope_ft : float
        As in :func:`calibration.lane.arrow_distance_in`, at the arrows' tips.
    boards : tuple of float
        Boards (from the right) of the arrows that stand out.
    aside_boards : array (n,)
        How far each of them lies from its board, to the right positive, boards.
    pixels : array (n, 2)
        Their tips as they are seen in the picture, not as the chevron has them.
    """

    centre_ft: float
    slope_ft: float
    boards: tuple[float, ...]
    aside_boards: Array
    pixels: Array

    @property
    def aside_rms_boards(self) -> float:
        """Root mean square of their distances from their boards."""
        return float(np.sqrt(np.mean(np.square(self.aside_boards))))

    @property
    def many(self) -> bool:
        """Whether there are so many arrows, so well in place, that this is no chance."""
        laid = LAID_FT[0] < self.centre_ft < LAID_FT[1]
        return len(self.boards) >= _MANY and self.aside_rms_boards < MISS_BOARDS and laid


def find_arrows(luma: Image, camera: Camera) -> Arrows | None:
    """Look for the chevron on a picture ``(H, W)`` of a lane; None where fewer than four arrows stand out together."""
    y = np.arange(SPAN_FT[0] * INCHES_PER_FOOT - LENGTH_IN, SPAN_FT[1] * INCHES_PER_FOOT, _STEP_IN)
    marks = np.stack([_difference(luma, camera, float(board), y) for board in ARROW_BOARDS])
    if not np.isfinite(marks).all():
        return None
    contrast = np.stack([_contrast(row) for row in marks])
    sign = -1.0
    worth, best = _vote(sign * contrast, y)
    other, alternative = _vote(contrast, y)
    if other > worth:
        sign, best = 1.0, alternative
    centre, slope = best
    tips = (centre - slope * np.abs(np.array(ARROW_BOARDS) - 20.0) / 5.0) * INCHES_PER_FOOT
    heights = np.array([np.interp(tip, y, row) for tip, row in zip(tips, sign * contrast, strict=True)])
    seen = np.flatnonzero(heights > _FOUND)
    if len(seen) < _LEAST_COUNT:
        return None
    ends = np.array([_far_end(sign * marks[k], y, float(tips[k])) for k in seen])
    centre, slope = _chevron(np.array([ARROW_BOARDS[k] for k in seen]), ends)
    tips = (centre - slope * np.abs(np.array(ARROW_BOARDS) - 20.0) / 5.0) * INCHES_PER_FOOT
    boards = tuple(float(ARROW_BOARDS[k]) for k in seen)
    places = np.stack([x_from_board(np.array(boards), "right"), tips[seen], np.zeros(len(seen))], axis=1)
    aside = np.array([_aside(luma, camera, (float(x), float(y)), sign) for x, y, _ in places])
    seen_at = np.stack([places[:, 0] + aside, ends + _POINTED_FT * INCHES_PER_FOOT, places[:, 2]], axis=1)
    return Arrows(float(centre), float(slope), boards, aside / BOARD_WIDTH_IN, camera.project(seen_at))


def _difference(luma: Image, camera: Camera, board: float, y: Array) -> Array:
    """Brightness ``(n,)`` on a board's middle minus that beside it, along the lane."""
    x = float(x_from_board(board, "right"))
    mark, beside = (_strip(luma, camera, x + np.array(across), y) for across in (_MARK_IN, _BESIDE_IN))
    return np.asarray(mark - beside)


def _contrast(difference: Array) -> Array:
    """Mean difference ``(n,)`` over the 5 in before each distance, in the board's own scatter of such means."""
    window = round(LENGTH_IN / _STEP_IN)
    mean = uniform_filter1d(difference, window, mode="nearest", origin=window // 2 - (window % 2 == 0))
    middle = np.median(mean)
    scatter = np.median(np.abs(mean - middle)) / MAD_PER_SIGMA
    return np.asarray((mean - middle) / max(float(scatter), 0.4))


def _far_end(difference: Array, y: Array, tip: float) -> float:
    """Where the mark near ``tip`` ends on the pins' side: the half height of its contrast there, inches."""
    near = np.abs(y - tip + LENGTH_IN / 2) <= _REACH_IN
    smooth = uniform_filter1d(difference - np.median(difference), 3)
    top = int(np.argmax(np.where(near, smooth, -np.inf)))
    beyond = np.flatnonzero(smooth[top:] < 0.5 * smooth[top])
    return float(y[top + beyond[0]]) if len(beyond) else tip


def _chevron(boards: Array, ends: Array) -> tuple[float, float]:
    """Centre and slope in ft through the arrows' tips, single strays counting for little."""
    rows = np.stack([np.ones(len(boards)), -np.abs(boards - 20.0) / 5.0], axis=1)
    found = least_squares(
        lambda v: rows @ v - ends / INCHES_PER_FOOT, (15.5, 1.0), loss="soft_l1", f_scale=_TIP_FT, max_nfev=50
    )
    return float(found.x[0]) + _POINTED_FT, float(found.x[1])


def _strip(luma: Image, camera: Camera, x: Array, y: Array) -> Array:
    return np.asarray(sampled(luma, camera.project(_ground(x, y))).mean(axis=1))


def _vote(contrast: Array, y: Array) -> tuple[float, tuple[float, float]]:
    """Best chevron (centre, slope in ft) by the sum of bounded contrasts at the seven tips."""
    bounded = np.clip(contrast, -_CLIP, _CLIP)
    total = np.zeros((len(_CENTRES_FT), len(_SLOPES_FT)))
    for row, board in zip(bounded, ARROW_BOARDS, strict=True):
        tips = (_CENTRES_FT[:, None] - _SLOPES_FT[None] * abs(board - 20.0) / 5.0) * INCHES_PER_FOOT
        total += np.interp(tips, y, row, left=-_CLIP, right=-_CLIP)
    k, j = np.unravel_index(int(np.argmax(total)), total.shape)
    return float(total[k, j]), (float(_CENTRES_FT[k]), float(_SLOPES_FT[j]))


def _aside(luma: Image, camera: Camera, tip_in: tuple[float, float], sign: float) -> float:
    """How far to the right of its tip's place a mark lies, inches: centroid of its contrast across the lane."""
    x, y = tip_in[0] + _ASIDE_IN, np.arange(tip_in[1] - LENGTH_IN, tip_in[1], _STEP_IN)
    values = sign * sampled(luma, camera.project(_ground(x, y))).mean(axis=0)
    weight = np.maximum(values - np.median(values), 0.0)
    return float(np.sum(weight * _ASIDE_IN) / max(np.sum(weight), 1e-9))


def _ground(x: Array, y: Array) -> Array:
    """Lane points ``(ny, nx, 3)`` on the floor."""
    return np.stack([*np.meshgrid(x, y), np.zeros((len(y), len(x)))], axis=-1)
