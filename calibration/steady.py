"""Whether the view holds still: shift, zoom and turn between pictures of one clip, people in it left aside.

Corners of the first picture are followed into every other one (pyramidal Lucas-Kanade, forward and back) and a
similarity is fitted to those that agree with each other all over the frame. Where the direct way fails the pictures are
chained through their neighbours, and where even corners fail the phase correlation gives the shift.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import Failure

Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]
Points = NDArray[np.float32]
Places = NDArray[np.complex128]

PAN_SHARE = 0.015
"""A shift by more than this share of the frame's width, over the clip, is a pan: twice the shake of a held phone that
is meant to stand still (own estimate, no source)."""
ZOOM_SHARE = 0.02
TURN_DEG = 1.2
"""At half the frame's width this turn moves a pixel by about as much as the limit of a pan."""
LOST_SHARE = 1 / 3
"""More pictures than this in which nothing of the first is found are another view."""

_SIDE_PX = 960
_CORNERS = 400
_CORNER_QUALITY = 0.01
_LEAST_CORNERS = 16
_WINDOW = (21, 21)
_PYRAMID = 4
_BACK_PX = 0.7
_AGREE_PX = 1.0
_DRAWS = 300
_APART_SHARE = 0.1
_CELLS = 6
_LEAST_CELLS = 5
_CELL_SHARE = 0.25
"""Agreeing corners must lie in a quarter of the cells (of 6 x 6) with corners: a person or a label fills fewer."""
_CORRELATION = 0.25
"""Height of the phase correlation's peak: 0.45 and more between pictures of a resting view with people, below 0.06
between different ones."""


@dataclass(frozen=True, slots=True)
class ViewMotion:
    """How far a view moved over pictures that were taken for resting.

    Attributes
    ----------
    shift_px : float
        Largest shift of the frame's middle between any two pictures, pixels of the full frame.
    zoom_ratio : float
        Largest ratio of scales between any two, 1 or more.
    turn_deg : float
        Largest turn about the view's axis between any two.
    compared : int
        Pictures that could be compared with the first; 0 of one picture or of a view without any texture, of which
        nothing can be said.
    lost : int
        Pictures in which nothing of the first was found (somebody in front of the lens).
    shifts_px : tuple of (float, float) or None
        How far the frame's middle lies from where it lay in the first picture, (u, v) in pixels, one a picture; None
        where nothing was found.
    """

    shift_px: float
    zoom_ratio: float
    turn_deg: float
    compared: int
    lost: int
    shifts_px: tuple[tuple[float, float] | None, ...] = ()


@dataclass(frozen=True, slots=True)
class _Step:
    """Similarity from one picture to another: ``z -> scale * z + shift`` on complex places about the middle."""

    scale: complex
    shift: complex

    def after(self, first: _Step) -> _Step:
        return _Step(self.scale * first.scale, self.scale * first.shift + self.shift)


def view_motion(lumas: Sequence[Image]) -> ViewMotion | Failure:
    """Say how far the view moved over a clip, or that it moves too much to be measured from.

    Parameters
    ----------
    lumas : sequence of uint8 arrays (H, W)
        Luma of pictures in order of time, all of one size.

    Returns
    -------
    ViewMotion or Failure
        The failure is ``view_pans`` (shift, turn, or another view altogether) or ``view_zooms``; a zoom counts before a
        shift, since a zoom off the middle shifts too.

    Raises
    ------
    ValueError
        If there is no picture or sizes differ.
    """
    if not lumas or any(luma.shape != lumas[0].shape for luma in lumas):
        msg = f"lumas: give at least one picture, all of one size; got {sorted({luma.shape for luma in lumas})}"
        raise ValueError(msg)
    factor = 2 ** max(0, math.ceil(math.log2(max(lumas[0].shape) / _SIDE_PX)))
    small = [_smaller(luma, factor) for luma in lumas]
    if len(_corners(small[0])) < _LEAST_CORNERS:
        return ViewMotion(0.0, 1.0, 0.0, 0, lost=0, shifts_px=((0.0, 0.0),) * len(lumas))
    steps = _steps(small)
    found = [s for s in steps if s is not None]
    lost = len(steps) - len(found)
    if lost > LOST_SHARE * len(steps) or (len(steps) > 1 and steps[-1] is None and steps[-2] is None):
        return _other_view(lost, len(lumas))
    shift, zoom, turn = _largest([_Step(1, 0), *found])
    shifts = tuple(None if s is None else (factor * s.shift.real, factor * s.shift.imag) for s in steps)
    motion = ViewMotion(shift * factor, zoom, turn, compared=len(found), lost=lost, shifts_px=((0.0, 0.0), *shifts))
    failure = _too_much(motion, lumas[0].shape[1])
    return motion if failure is None else failure


def _smaller(luma: Image, factor: int) -> Image:
    if factor == 1:
        return luma
    size = (luma.shape[1] // factor, luma.shape[0] // factor)
    return np.asarray(cv2.resize(luma, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _largest(steps: list[_Step]) -> tuple[float, float, float]:
    """Largest shift, ratio of scales and turn in degrees between any two pictures."""
    shifts, scales = np.array([s.shift for s in steps]), np.array([s.scale for s in steps])
    turns = np.degrees(np.angle(scales))
    ratio = float(np.abs(scales).max() / np.abs(scales).min())
    return float(np.abs(shifts[:, None] - shifts).max()), ratio, float(np.ptp(turns))


def _other_view(lost: int, count: int) -> Failure:
    detail = (
        f"the view pans or is cut: in {lost} of {count} pictures of the clip nothing of the first one is found; "
        "give one take without cuts, filmed from a phone on a tripod"
    )
    return Failure("view_pans", detail)


def _too_much(motion: ViewMotion, width: int) -> Failure | None:
    again = "put the phone on a tripod, leave it alone while it films, and film again"
    if motion.zoom_ratio > 1 + ZOOM_SHARE:
        detail = (
            f"the view zooms by {100 * (motion.zoom_ratio - 1):.1f} % over the clip, more than {100 * ZOOM_SHARE:g} %"
        )
        return Failure("view_zooms", f"{detail}; keep one zoom setting, {again}")
    if motion.shift_px > PAN_SHARE * width:
        detail = (
            f"the view pans: it shifts by {motion.shift_px:.0f} px over the clip "
            f"({100 * motion.shift_px / width:.1f} % of the frame's width, more than {100 * PAN_SHARE:g} %)"
        )
        return Failure("view_pans", f"{detail}; {again}")
    if motion.turn_deg > TURN_DEG:
        detail = f"the view pans: it rolls by {motion.turn_deg:.1f} deg over the clip, more than {TURN_DEG:g} deg"
        return Failure("view_pans", f"{detail}; {again}")
    return None


def _steps(pictures: list[Image]) -> list[_Step | None]:
    """Step from the first picture to each other one; None where nothing is found again."""
    steps: list[_Step | None] = []
    before: tuple[Image, _Step] = pictures[0], _Step(1, 0)
    for picture in pictures[1:]:
        step = _followed(pictures[0], picture, _Step(1, 0)) or _followed(pictures[0], picture, before[1])
        if step is None:
            link = _followed(before[0], picture, _Step(1, 0)) or _correlated(before[0], picture)
            step = link and link.after(before[1])
        if step is not None:
            before = picture, step
        steps.append(step)
    return steps


def _corners(picture: Image) -> Points:
    """Strong corners ``(n, 1, 2)`` spread over the picture."""
    apart = max(4.0, max(picture.shape) / 60)
    corners = cv2.goodFeaturesToTrack(picture, _CORNERS, _CORNER_QUALITY, apart)
    return np.zeros((0, 1, 2), dtype=np.float32) if corners is None else np.asarray(corners, dtype=np.float32)


def _followed(one: Image, other: Image, guess: _Step) -> _Step | None:
    """Similarity from corners found again, if enough of them all over the frame agree on one."""
    corners = _corners(one)
    if len(corners) < _LEAST_CORNERS:
        return None
    height, width = one.shape
    middle = complex(width / 2, height / 2)
    start = _complex(corners) - middle
    ahead = _pairs(guess.scale * start + guess.shift + middle)
    there, forth = _flow(one, other, corners, ahead)
    back, home = _flow(other, one, there, corners)
    sound = forth & home & (np.abs(_complex(back) - _complex(corners)) < _BACK_PX)
    end = _complex(there) - middle
    cell = _cell_of(start, (height, width))
    agree, step = _consensus(start, end, sound, cell)
    return step if _all_over(cell, agree) else None


def _flow(one: Image, other: Image, places: Points, guess: Points) -> tuple[Points, Mask]:
    """Where corners went, ``(n, 1, 2)``, and which of them were followed, ``(n,)``."""
    ends, status, _ = cv2.calcOpticalFlowPyrLK(
        one, other, places, guess.copy(), winSize=_WINDOW, maxLevel=_PYRAMID, flags=cv2.OPTFLOW_USE_INITIAL_FLOW
    )
    return np.asarray(ends, dtype=np.float32), np.asarray(status).ravel() > 0


def _complex(points: Points) -> Places:
    flat = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    return np.asarray(flat[:, 0] + 1j * flat[:, 1])


def _pairs(places: Places) -> Points:
    return np.ascontiguousarray(np.stack([places.real, places.imag], axis=-1), dtype=np.float32).reshape(-1, 1, 2)


def _consensus(start: Places, end: Places, sound: Mask, cell: NDArray[np.int64]) -> tuple[Mask, _Step]:
    """Corners that agree on one similarity and that similarity: seeded draws of two corners, then least squares."""
    best = _most_votes(start[sound], end[sound], cell[sound])
    agree = sound & _close(best, start, end)
    for _ in range(3):
        if agree.sum() < _LEAST_CORNERS:
            break
        best = _least_squares(start[agree], end[agree])
        agree = sound & _close(best, start, end)
    return agree, best


def _close(step: _Step, start: Places, end: Places) -> Mask:
    return np.asarray(np.abs(step.scale * start + step.shift - end) < _AGREE_PX)


def _most_votes(start: Places, end: Places, cell: NDArray[np.int64]) -> _Step:
    """The step, of resting and of those through two drawn corners, that most cells' corners ``(n,)`` agree on.

    A cell has one vote however many corners lie in it, so that a patterned shirt does not outvote the house.
    """
    if start.size < _LEAST_CORNERS:
        return _Step(1, 0)
    (a, b), (c, d) = (z[np.random.default_rng(0).integers(0, start.size, (_DRAWS, 2))].T for z in (start, end))
    far = np.abs(b - a) > _APART_SHARE * np.abs(start).max()
    scales = np.append((d - c)[far] / (b - a)[far], 1.0)
    shifts = np.append(c[far] - scales[:-1] * a[far], 0.0)
    votes = np.abs(scales[:, None] * start + shifts[:, None] - end) < _AGREE_PX
    _, which, crowd = np.unique(cell, return_inverse=True, return_counts=True)
    k = int(np.argmax(votes @ (1.0 / crowd[which])))
    return _Step(complex(scales[k]), complex(shifts[k]))


def _least_squares(start: Places, end: Places) -> _Step:
    """Similarity in closed form: complex linear regression."""
    s, e = start - start.mean(), end - end.mean()
    scale = complex(np.vdot(s, e) / max(float(np.vdot(s, s).real), 1e-9))
    return _Step(scale, complex(end.mean() - scale * start.mean()))


def _cell_of(places: Places, shape: tuple[int, int]) -> NDArray[np.int64]:
    """Which cell of the picture a place about its middle lies in."""
    height, width = shape
    column = np.floor((places.real / width + 0.5) * _CELLS)
    row = np.floor((places.imag / height + 0.5) * _CELLS)
    return np.asarray(row * _CELLS + column, dtype=np.int64)


def _all_over(cell: NDArray[np.int64], agree: Mask) -> bool:
    """Whether the agreeing corners lie in many of the cells in which there are corners."""
    usual, found = np.unique(cell).size, np.unique(cell[agree]).size
    return int(agree.sum()) >= _LEAST_CORNERS and found >= max(_LEAST_CELLS, _CELL_SHARE * usual)


def _correlated(one: Image, other: Image) -> _Step | None:
    """Shift by phase correlation, if its peak is clear."""
    height, width = one.shape
    window = cv2.createHanningWindow((width, height), cv2.CV_32F)
    (dx, dy), peak = cv2.phaseCorrelate(one.astype(np.float32), other.astype(np.float32), window)
    return _Step(1, complex(dx, dy)) if peak > _CORRELATION else None
