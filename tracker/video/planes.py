"""Planes of a decoded picture as arrays, without copying or converting them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import av
import cv2
import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.uint8] | NDArray[np.uint16]

_BYTE: np.dtype[np.uint8] = np.dtype("u1")
_WORD: np.dtype[np.uint16] = np.dtype("<u2")

LEFT_SITED = (0.5, 1.0)

_TURNS = {90: cv2.ROTATE_90_COUNTERCLOCKWISE, 180: cv2.ROTATE_180, 270: cv2.ROTATE_90_CLOCKWISE}


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the samples of a pixel format lie.

    Attributes
    ----------
    bit_depth : int
        Bits of one sample; above 8 samples are little-endian 16-bit words with the value in the low bits.
    step_x, step_y : int
        Every which chroma sample is taken to halve the luma's resolution; 0 for a format without chroma.
    interleaved : bool
        Cb and Cr alternate in one plane.
    site : (float, float)
        Where the first chroma sample taken lies, in luma pixels (u, v) with pixel centres at +0.5.
    """

    bit_depth: int = 8
    step_x: int = 1
    step_y: int = 1
    interleaved: bool = False
    site: tuple[float, float] = LEFT_SITED


_HALF = Layout()
_ROWS = Layout(step_y=2, site=(0.5, 0.5))
_FULL = Layout(step_x=2, step_y=2, site=(0.5, 0.5))
_GRAY = Layout(step_x=0, step_y=0)

LAYOUTS = {
    "yuv420p": _HALF,
    "yuvj420p": _HALF,
    "yuv422p": _ROWS,
    "yuvj422p": _ROWS,
    "yuv444p": _FULL,
    "yuvj444p": _FULL,
    "nv12": Layout(interleaved=True),
    "gray": _GRAY,
    "yuv420p10le": Layout(bit_depth=10),
    "yuv422p10le": Layout(bit_depth=10, step_y=2, site=(0.5, 0.5)),
    "gray10le": Layout(bit_depth=10, step_x=0, step_y=0),
}
"""Pixel formats that are read as they are; every other is converted to ``yuv420p`` first."""


@dataclass(frozen=True, slots=True)
class Planes:
    """Luma ``(H, W)`` and chroma ``(H/2, W/2)`` of one picture as stored, H and W even."""

    luma: Plane
    chroma: tuple[Plane, Plane] | None
    layout: Layout


def planes_of(picture: av.VideoFrame) -> Planes:
    """Give views of a decoded picture's planes (a converted copy if its format is not in :data:`LAYOUTS`)."""
    layout = LAYOUTS.get(picture.format.name)
    if layout is None:
        picture = picture.reformat(format="yuv420p")
        layout = LAYOUTS["yuv420p"]
    rows, columns = picture.height // 2, picture.width // 2
    first, *others = picture.planes
    luma = _view(first, (2 * rows, 2 * columns), layout.bit_depth)
    if not layout.step_x:
        return Planes(luma, None, layout)
    size, step = (rows, columns), (layout.step_y, layout.step_x)
    if layout.interleaved:
        cb, cr = (_view(others[0], size, layout.bit_depth, step=(1, 2), first=k) for k in (0, 1))
    else:
        cb, cr = (_view(plane, size, layout.bit_depth, step=step) for plane in others[:2])
    return Planes(luma, (cb, cr), layout)


def _view(
    plane: Any, shape: tuple[int, int], bit_depth: int, *, step: tuple[int, int] = (1, 1), first: int = 0
) -> Plane:
    """Every ``step``-th row and sample of a plane, from one of its first samples; the array keeps the picture alive."""
    kind: np.dtype[np.uint8] | np.dtype[np.uint16] = _BYTE if bit_depth == 8 else _WORD
    strides = (step[0] * plane.line_size, step[1] * kind.itemsize)
    return np.ndarray(shape, kind, plane, first * kind.itemsize, strides)


def turned(plane: Plane, rotation_deg: int) -> Plane:
    """View of a plane turned counter-clockwise by 0, 90, 180 or 270 degrees."""
    if rotation_deg == 90:
        return plane.T[::-1]
    if rotation_deg == 180:
        return plane[::-1, ::-1]
    if rotation_deg == 270:
        return plane.T[:, ::-1]
    return plane


def turn_of(plane: Plane) -> int:
    """The turn by which :func:`turned` made this view (or a part of it), by its strides; 0 for any other view."""
    down, across = plane.strides
    if abs(down) < abs(across):
        return 0 if (down < 0) == (across < 0) else 90 if down < 0 else 270
    return 180 if down < 0 and across < 0 else 0


def turned_copy(plane: NDArray[np.uint8], rotation_deg: int) -> NDArray[np.uint8]:
    """Contiguous copy of a plane as stored, turned like :func:`turned`; far faster than copying that view."""
    turn = _TURNS.get(rotation_deg)
    return np.array(plane, order="C") if turn is None else np.asarray(cv2.rotate(plane, turn), dtype=np.uint8)


def turned_site(site: tuple[float, float], rotation_deg: int) -> tuple[float, float]:
    """Where the first chroma sample lies in luma pixels after the same turn (sizes are even, samples two apart)."""
    u, v = site
    return {90: (v, 2.0 - u), 180: (2.0 - u, 2.0 - v), 270: (2.0 - v, u)}.get(rotation_deg, site)
