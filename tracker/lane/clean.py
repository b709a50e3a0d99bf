"""One picture of the view without who and what moved in it: the median of a few stills."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_fill_holes, label

from calibration.finding.profiles import HIDDEN_CELL_PX
from tracker.detection.background import plane_statistics
from tracker.lane.moved import moved_back
from tracker.video.reader import Crop
from tracker.video.stills import Stills

Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]

_DOUBT_LEVELS = (8, 4)
"""Means of a cell, of 255, differ by more than this (luma, chroma) where something else is seen: noise and compression
stay below in dim and strongly compressed clips."""
_STILL_PX = 0.25
_DOUBT_SHARE = 1 / 3
_CLOSED_SHARE = 0.04
"""Gaps up to this share of the frame's longer side are closed: the even middle of a body that hardly moved."""


@dataclass(frozen=True, slots=True)
class CleanPicture:
    """Median of stills and how far they scatter about it.

    Attributes
    ----------
    luma : uint8 array of shape (H, W)
    cb, cr : uint8 arrays of shape (H/2, W/2)
    spread : uint8 array of shape (H, W)
        Spread of luma over the stills as in :class:`tracker.detection.background.PlaneStatistics`: noise, hardly more
        where somebody passed. Over 1.349 it is a standard deviation, of nine stills about half of one.
    cb_spread, cr_spread : uint8 arrays of shape (H/2, W/2)
        The same of the chroma.
    doubt : bool array of shape (H/8, W/8), rounded up
        Cells of 8 x 8 pixels in which at least a third of the stills show something else than the median does, and
        narrow gaps between such cells: there the median may be the bowler, who stood where he was for half of the time.
        Something that stands for more than two thirds of the time cannot be told from the house, but for those gaps.
    t_s : tuple of float
        Times of the stills.
    """

    luma: Image
    cb: Image
    cr: Image
    spread: Image
    cb_spread: Image
    cr_spread: Image
    doubt: Mask
    t_s: tuple[float, ...]


def aligned(stills: Stills, shifts_px: Sequence[tuple[float, float] | None]) -> Stills:
    """Stills moved to their median view.

    Parameters
    ----------
    stills : Stills
    shifts_px : sequence of (float, float) or None
        How far the view lies from the first still's in each, see :class:`calibration.steady.ViewMotion`; a still
        without is left out. Where they hardly differ the stills are given back as they are.
    """
    return replace(stills, pictures=_aligned(stills.pictures, shifts_px))


def clean_picture(stills: Stills) -> CleanPicture:
    """Take the median over the stills, pixel by pixel, and say where it is in doubt."""
    pictures = stills.pictures
    luma = plane_statistics([p.luma for p in pictures])
    cb, cr = (plane_statistics(planes) for planes in ([p.cb for p in pictures], [p.cr for p in pictures]))
    medians = (luma.median, cb.median, cr.median)
    return CleanPicture(
        luma=luma.median,
        cb=cb.median,
        cr=cr.median,
        spread=luma.spread,
        cb_spread=cb.spread,
        cr_spread=cr.spread,
        doubt=_doubt(pictures, medians),
        t_s=tuple(p.t_s for p in pictures),
    )


def _aligned(pictures: tuple[Crop, ...], shifts_px: Sequence[tuple[float, float] | None]) -> tuple[Crop, ...]:
    known = np.array([s for s in shifts_px if s is not None], dtype=np.float64).reshape(-1, 2)
    if not len(known) or float(np.ptp(known, axis=0).max()) < _STILL_PX:
        return pictures
    middle = np.median(known, axis=0)
    return tuple(moved_back(p, s - middle) for p, s in zip(pictures, shifts_px, strict=True) if s is not None)


def _doubt(pictures: tuple[Crop, ...], medians: tuple[Image, Image, Image]) -> Mask:
    height, width = medians[0].shape
    size = (-(-width // HIDDEN_CELL_PX), -(-height // HIDDEN_CELL_PX))
    usual = [_cells(m, size) for m in medians]
    other = np.zeros((size[1], size[0]), dtype=np.int64)
    for p in pictures:
        parts = [cv2.absdiff(_cells(plane, size), m) for plane, m in zip((p.luma, p.cb, p.cr), usual, strict=True)]
        other += (parts[0] > _DOUBT_LEVELS[0]) | (parts[1] > _DOUBT_LEVELS[1]) | (parts[2] > _DOUBT_LEVELS[1])
    doubt = (other >= max(_DOUBT_SHARE * len(pictures), 1.0)).astype(np.uint8)
    across = max(3, round(_CLOSED_SHARE * max(size)))
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (across, across))
    return _filled(cv2.morphologyEx(doubt, cv2.MORPH_CLOSE, kernel) > 0)


def _filled(doubt: Mask) -> Mask:
    """Doubt and what lies within a patch of it and is the smaller part: whose outline moved stands there as well."""
    filled = doubt.copy()
    patches, count = label(doubt, np.ones((3, 3)))
    for k in range(1, count + 1):
        patch = patches == k
        inside = binary_fill_holes(patch) & ~patch
        if inside.sum() < patch.sum():
            filled |= inside
    return filled


def _cells(plane: Image, size: tuple[int, int]) -> Image:
    return np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
