"""Who bowls on which lane, told while a clip is watched: small pictures kept by the way, judged at its end."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.store import Calibration
from calibration.windows import eight_bit
from tracker.lane.choose import Choice, choose_lane
from tracker.lane.clean import clean_picture
from tracker.video.light import evened
from tracker.video.planes import Plane, turn_of, turned, turned_copy
from tracker.video.reader import Crop, Frame
from tracker.video.stills import Stills

Image = NDArray[np.uint8]

EVERY_S = 0.4
KEPT = 16
LONGER_PX = 640
"""About how long the longer side of a picture is: people and balls up to the pins are told in it."""
_ENOUGH = 4
_FASTER_BLURRED = (3, 5)
"""Odd squares, whose means never lie half-way between two levels, so that both ways of taking them give the same."""


class Attendance:
    """Keeps a small picture now and then: at most 16, thinned out as the clip goes on.

    Parameters
    ----------
    calibration : Calibration
        Of the lane that is being measured, with its neighbours.
    """

    def __init__(self, calibration: Calibration) -> None:
        self._calibration = calibration
        self._pictures: list[Crop] = []
        self._every_s = EVERY_S
        camera = calibration.camera
        self._shrink = max(round(max(camera.width, camera.height) / LONGER_PX), 2)

    def see(self, frame: Frame) -> None:
        """Take a picture if it is time."""
        if not self._calibration.neighbours_in:
            return
        if self._pictures and frame.t_s - self._pictures[-1].t_s < self._every_s:
            return
        self._pictures.append(_small(frame, self._shrink))
        if len(self._pictures) > KEPT:
            del self._pictures[1::2]
            self._every_s *= 2

    def here(self) -> bool | None:
        """Whether somebody bowls on the measured lane: False if clearly on another one, None where it is not clear."""
        if len(self._pictures) < _ENOUGH:
            return None
        choice = self._choice()
        return None if choice.ambiguous else choice.index == 0

    def _choice(self) -> Choice:
        """Lanes by what happens on them: 0 is the measured one, then its neighbours in order."""
        luma = self._pictures[0].luma
        stills = Stills(
            "", evened(self._pictures), luma.shape[1], luma.shape[0], rotation_deg=0, chroma_site=(0.5, 0.5),
            duration_s=self._pictures[-1].t_s, keys_only=False,
        )  # fmt: skip
        return choose_lane(_cameras(self._calibration, self._shrink), clean_picture(stills), stills)


def _cameras(calibration: Calibration, shrink: int) -> list[Camera]:
    """Cameras of small pictures in the frames of this lane and its neighbours."""
    camera = calibration.camera
    small = replace(camera, f_px=camera.f_px / shrink, width=camera.width // shrink, height=camera.height // shrink)
    return [replace(small, x_in=small.x_in - moved) for moved in (0.0, *calibration.neighbours_in)]


def _small(frame: Frame, shrink: int) -> Crop:
    """A frame's picture at a fraction of its size, in even rows and columns."""
    rows, columns = (n // (2 * shrink) * 2 for n in frame.luma.shape)
    luma = _shrunk(frame.luma[: rows * shrink, : columns * shrink], shrink, frame.bit_depth)
    if frame.chroma is None:
        grey = np.full((rows // 2, columns // 2), 128, np.uint8)
        return Crop(luma, grey, grey, frame.index, frame.t_s)
    cb, cr = (
        _shrunk(plane[: rows // 2 * shrink, : columns // 2 * shrink], shrink, frame.bit_depth) for plane in frame.chroma
    )
    return Crop(luma, cb, cr, frame.index, frame.t_s)


def _shrunk(plane: Plane, shrink: int, bit_depth: int) -> Image:
    """Means of squares of ``shrink`` pixels; turned pictures are made small as they are stored and turned then."""
    turn = turn_of(plane)
    stored = eight_bit(turned(plane, -turn % 360), bit_depth)
    if shrink in _FASTER_BLURRED:
        small = cv2.blur(stored, (shrink, shrink), anchor=(0, 0))[::shrink, ::shrink]
    else:
        size = (stored.shape[1] // shrink, stored.shape[0] // shrink)
        small = cv2.resize(stored, size, interpolation=cv2.INTER_AREA)
    return turned_copy(np.asarray(small, dtype=np.uint8), turn)
