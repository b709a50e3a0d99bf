"""Small drawings prepared once and pressed onto the planes of many pictures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Wide = NDArray[np.uint16]

POINT_DPI = 72
"""At this resolution a point of a font or line is a pixel."""

# R, G, B from 0 to 255 to Y, Cb, Cr of ITU-R BT.709, luma 16 to 235; last column the offset.
_BT709 = np.array(
    [[0.182586, 0.614231, 0.062007, 16], [-0.100644, -0.338572, 0.439216, 128], [0.439216, -0.398942, -0.040274, 128]]
)


@dataclass(frozen=True, slots=True)
class Planes:
    """Views of one picture's samples: luma ``(H, W)``, Cb and Cr ``(H/2, W/2)``, H and W even."""

    luma: Image
    cb: Image
    cr: Image


def planes_in(picture: Image) -> Planes:
    """Views into a picture ``(3 H / 2, W)`` that holds its three planes one after another."""
    height, width = picture.shape[0] * 2 // 3, picture.shape[1]
    rest = picture[height:].reshape(2, height // 2, width // 2)
    return Planes(picture[:height], rest[0], rest[1])


@dataclass(frozen=True, slots=True)
class Stamp:
    """A drawing with its place; ``keep`` is what is left of the picture in 256ths, the rest is multiplied already.

    Attributes
    ----------
    left, top : int
        Place of its first pixel, even.
    luma, keep : uint16 arrays of shape (h, w)
    cb, cr, keep_half : uint16 arrays of shape (h/2, w/2)
    """

    left: int
    top: int
    luma: Wide
    keep: Wide
    cb: Wide
    cr: Wide
    keep_half: Wide

    def press(self, planes: Planes) -> None:
        """Draw it onto a picture that holds all of it."""
        height, width = self.luma.shape
        _blend(planes.luma[self.top : self.top + height, self.left : self.left + width], self.keep, self.luma)
        rows = slice(self.top // 2, (self.top + height) // 2)
        columns = slice(self.left // 2, (self.left + width) // 2)
        for plane, own in ((planes.cb, self.cb), (planes.cr, self.cr)):
            _blend(plane[rows, columns], self.keep_half, own)


def _blend(view: Image, keep: Wide, own: Wide) -> None:
    view[...] = (view * keep + own + np.uint16(128)) >> 8


def code_of(colour: str) -> tuple[int, int, int]:
    """Y, Cb and Cr of a colour like ``#24313b``."""
    y, cb, cr = np.rint(_BT709 @ np.array([*(255 * v for v in to_rgb(colour)), 1.0])).astype(int)
    return int(y), int(cb), int(cr)


def drawn(width: int, height: int, draw: Callable[[Figure], None]) -> Image:
    """Picture ``(height, width, 4)`` RGBA, not multiplied by alpha, of what ``draw`` puts onto an empty figure."""
    figure = Figure(figsize=(width / POINT_DPI, height / POINT_DPI), dpi=POINT_DPI, facecolor="none")
    canvas: Any = FigureCanvasAgg(figure)
    draw(figure)
    canvas.draw()
    return np.array(canvas.buffer_rgba(), dtype=np.uint8)[:height, :width]


def stamp_of(rgba: Image, left: int, top: int, within: tuple[int, int]) -> Stamp | None:
    """A stamp of a drawing at a place; None where nothing of it lies inside a picture of the size given.

    Parameters
    ----------
    rgba : uint8 array of shape (h, w, 4)
    left, top : int
        Place of its first pixel; may lie outside.
    within : (int, int)
        Width and height of the picture, even.
    """
    height, width = rgba.shape[:2]
    x0, y0 = max(left, 0) // 2 * 2, max(top, 0) // 2 * 2
    x1, y1 = (min(left + width, within[0]) + 1) // 2 * 2, (min(top + height, within[1]) + 1) // 2 * 2
    if x1 <= x0 or y1 <= y0:
        return None
    whole = np.zeros((y1 - y0, x1 - x0, 4), np.uint8)
    part = rgba[max(-top, 0) :, max(-left, 0) :]
    into = whole[max(top, 0) - y0 :, max(left, 0) - x0 :]
    rows, columns = min(part.shape[0], into.shape[0]), min(part.shape[1], into.shape[1])
    into[:rows, :columns] = part[:rows, :columns]
    alpha = whole[..., 3].astype(np.float64) * (256.0 / 255.0)
    codes = whole[..., :3].astype(np.float64) @ _BT709[:, :3].T + _BT709[:, 3]
    luma, cb, cr = (codes[..., k] * alpha for k in range(3))
    half = (alpha.shape[1] // 2, alpha.shape[0] // 2)
    small = [cv2.resize(plane, half, interpolation=cv2.INTER_AREA) for plane in (cb, cr, alpha)]
    own = [np.rint(plane).astype(np.uint16) for plane in (luma, *small[:2])]
    keep, keep_half = (np.rint(256.0 - plane).astype(np.uint16) for plane in (alpha, small[2]))
    return Stamp(x0, y0, own[0], keep, own[1], cr=own[2], keep_half=keep_half)


def stamps_in(rgba: Image) -> tuple[Stamp, ...]:
    """Stamps of everything on a drawing as large as the picture, each only as large as it has to be."""
    inked = (rgba[..., 3] > 0).astype(np.uint8)
    count, parts, stats, _ = cv2.connectedComponentsWithStats(cv2.dilate(inked, np.ones((9, 9), np.uint8)))
    stamps = []
    for k in range(1, count):
        left, top, width, height = (int(v) for v in stats[k, :4])
        cut = rgba[top : top + height, left : left + width].copy()
        cut[parts[top : top + height, left : left + width] != k] = 0
        stamps.append(stamp_of(cut, left, top, (rgba.shape[1], rgba.shape[0])))
    return tuple(stamp for stamp in stamps if stamp is not None)
