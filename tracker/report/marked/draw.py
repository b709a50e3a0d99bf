"""One picture of a marked-up video: arrays in, an array out."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.report.marked.sheet import Sheet
from tracker.report.marked.stamp import Planes, code_of, planes_in
from tracker.report.marked.view import Track

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

LINE, CASING = "#dcc2ff", "#26103f"
LINE_SHARE, CASING_SHARE = 0.0026, 0.0062
"""Widths of the line and of the dark below it over the rows by which letters are sized."""
BALL_ROOM = 1.12
"""So many of the ball's radii stay free of anything drawn."""
CARRIED_ROWS = 4
"""From so many rows on in which the ball was not measured the line is dashed."""
_SHIFT = 3


@dataclass(frozen=True, slots=True)
class Marks:
    """What is drawn on the pictures of one shot."""

    sheet: Sheet
    track: Track


def marked(picture: Image, marks: Marks, t_s: float) -> Image:
    """Draw scale, path so far and labels due onto a picture; the ball stays as it was filmed.

    Parameters
    ----------
    picture : uint8 array of shape (3 H / 2, W)
        Luma, Cb and Cr one after another, see :func:`tracker.report.marked.stamp.planes_in`.
    marks : Marks
    t_s : float
        Time of the picture in the clip.

    Returns
    -------
    uint8 array of shape (3 H / 2, W)
    """
    done = picture.copy()
    planes = planes_in(done)
    for stamp in marks.sheet.scale:
        stamp.press(planes)
    _draw_way(planes, marks.track, t_s, marks.sheet.view.letters)
    for timed in marks.sheet.timed:
        if timed.t_s <= t_s:
            for stamp in timed.stamps:
                stamp.press(planes)
    ball = marks.track.ball(t_s)
    if ball is not None:
        _uncover(planes, planes_in(picture), ball)
    return done


def _draw_way(planes: Planes, track: Track, t_s: float, rows: float) -> None:
    way = track.way(t_s)
    if len(way) < 2:
        return
    pieces = shown_pieces(way, track.seen)
    for colour, share in ((CASING, CASING_SHARE), (LINE, LINE_SHARE)):
        thick = max(round(share * rows), 2)
        for plane, code, half in zip((planes.luma, planes.cb, planes.cr), code_of(colour), (1, 2, 2), strict=True):
            lines = [np.rint((piece / half - 0.5) * (1 << _SHIFT)).astype(np.int32) for piece in pieces]
            cv2.polylines(plane, lines, False, code, max(round(thick / half), 1), cv2.LINE_AA, _SHIFT)  # noqa: FBT003


def shown_pieces(way: Array, seen: NDArray[np.bool_]) -> list[Array]:
    """Cut a way ``(k, 2)`` into the pieces that are drawn: every second step is left out where the ball was hidden.

    ``seen`` tells of the way's rows in order whether the ball was measured there; the way's last place may be between
    two of them.
    """
    count = len(way)
    hidden = ~np.resize(seen, count) if len(seen) < count else ~seen[:count]
    carried = np.zeros(count, dtype=bool)
    start = None
    for k, value in enumerate([*hidden, False]):
        if value and start is None:
            start = k
        elif not value and start is not None:
            carried[start:k] = k - start >= CARRIED_ROWS
            start = None
    drawn = np.array([np.isfinite(way[k : k + 2]).all() and not (carried[k] and k % 2) for k in range(count - 1)])
    ends = np.flatnonzero(np.diff(np.concatenate([[False], drawn, [False]]).astype(np.int8)))
    return [way[first : last + 1] for first, last in ends.reshape(-1, 2)]


def _uncover(planes: Planes, before: Planes, ball: tuple[float, float, float]) -> None:
    """Put the ball's own pixels back."""
    for plane, own, half in zip(
        (planes.luma, planes.cb, planes.cr), (before.luma, before.cb, before.cr), (1, 2, 2), strict=True
    ):
        u, v, r = (value / half for value in ball)
        r *= BALL_ROOM
        rows = slice(max(int(v - r), 0), max(int(np.ceil(v + r)) + 1, 0))
        columns = slice(max(int(u - r), 0), max(int(np.ceil(u + r)) + 1, 0))
        view, from_view = plane[rows, columns], own[rows, columns]
        if not view.size:
            continue
        y, x = np.ogrid[: view.shape[0], : view.shape[1]]
        inside = (x + columns.start + 0.5 - u) ** 2 + (y + rows.start + 0.5 - v) ** 2 <= r * r
        view[inside] = from_view[inside]
