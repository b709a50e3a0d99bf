"""Where a clip's view lies, picture by picture: shake about a place of rest, and another place after a knock.

The shake's meter is cheap and reaches some pixels. A picture that it loses, or that only some of its windows agree on,
is registered as a whole, the next such one too, and then ever more seldom until the meter is sure again.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.anchors import Anchors, choose_anchors
from calibration.camera import Camera
from calibration.drift import Move, register
from calibration.errors import Failure
from calibration.follow import ENOUGH, displacement, meter_after, windows_in_place
from calibration.lane import BALL_RADIUS_IN, INCHES_PER_FOOT
from calibration.shake import Shake, ShakeMeter, measure, shake_meter
from tracker.video.reader import Frame

Array = NDArray[np.float64]

SURE_SHARE = 0.7
SURE_PX = 4.0
"""Beyond this shift, or with fewer windows that agree, the meter may have settled on a wrong place (up to 11 px off in
pictures that were shifted by 6 to 40 px; never within both limits)."""
REST_PX = 3.0
"""A view that lies farther from its place of rest gets another one."""
BENT_PX = 0.3
"""So does one whose points on the lane lie apart by more than a shift of all would put them: a lens that focuses
breathes, which makes the picture larger or smaller."""
JUMP_PX = 1.0
"""Of pictures between two whose places differ by more, nobody knows which of them they belong to."""
LONGEST_WAIT = 8
"""Registering takes as long as a hundred looks of the meter: one picture in eight of those that stay lost."""
PAN_RESTS = 8
PAN_S = 6.0
"""More new places of rest within this time than a knocked tripod has while it comes to rest: the view pans."""
_ALONG_FT = (15.0, 40.0, 58.0)
_NO_TURN = np.zeros(4)


@dataclass(frozen=True, slots=True, eq=False)
class Rest:
    """A place of rest of the view.

    Attributes
    ----------
    meter : ShakeMeter
        Tells the shake about it.
    offset_px : array of shape (2,)
        What the meter reads (u, v) when the view lies there.
    turn : array of shape (4,)
        Yaw, pitch, roll (deg) and log zoom from the reference to it.
    on_lane_px : array of shape (k, 2)
        By how far points on the lane moved from the reference to it.
    move : Move or None
        The turn with its uncertainty; None for the first picture's own place.
    """

    meter: ShakeMeter
    offset_px: Array
    turn: Array
    on_lane_px: Array
    move: Move | None = None


class View:
    """Follows the view through the pictures of a clip in order of time.

    Parameters
    ----------
    camera : Camera
        Camera of the first picture.
    first : Frame
        The clip's first picture.
    reference : Anchors or None
        Windows of another picture of the same view that lies within a few pixels, which saves choosing new ones.

    Attributes
    ----------
    rest : Rest
        Where the view rests, or did when it was last seen.
    shift_px : array of shape (2,)
        Shift (u, v) from there.
    settled : bool
        The meter was sure of the last picture.
    gone : bool
        Nothing tells where the view is now.
    moves : list of Move
        From the reference to each further place of rest.
    doubtful : set of int
        Indices of frames between two places, which belong to either.
    """

    def __init__(self, camera: Camera, first: Frame, reference: Anchors | None = None) -> None:
        y = np.array(_ALONG_FT) * INCHES_PER_FOOT
        self._points_px = camera.project(np.stack([np.zeros_like(y), y, np.full_like(y, BALL_RADIUS_IN)], axis=-1))
        self.anchors, self.rest = self._first_rest(camera, first, reference)
        self._start = self.rest
        self.shift_px = np.zeros(2)
        self.settled, self.gone = False, False
        self.moves: list[Move] = []
        self.doubtful: set[int] = set()
        self._sure_at, self._sure_index = self._on_lane_px(), first.index
        self._wait, self._waited = 1, 0
        self._places: deque[tuple[float, Array]] = deque([(first.t_s, self.rest.on_lane_px)], maxlen=4 * PAN_RESTS)
        self._pans = False

    def look(self, frame: Frame) -> Shake:
        """Look at one frame: its shift from the place of rest, unknown where it could not be told."""
        if self._pans:
            return Shake(np.nan, np.nan, np.nan, 0.0)
        du, dv = self.rest.offset_px
        near = (float(self.shift_px[0] + du), float(self.shift_px[1] + dv)) if self.settled else None
        seen = measure(self.rest.meter, frame.luma, bit_depth=frame.bit_depth, near=near)
        shake = replace(seen, du_px=seen.du_px - du, dv_px=seen.dv_px - dv)
        self.settled = bool(shake.share >= SURE_SHARE and np.hypot(shake.du_px, shake.dv_px) <= SURE_PX)
        if self.settled:
            self._wait, self._waited = 1, 0
            return self._sure(frame, shake)
        self._waited += 1
        if self._waited < self._wait:
            return replace(shake, du_px=np.nan, dv_px=np.nan)
        self._wait, self._waited = min(2 * self._wait, LONGEST_WAIT), 0
        return self._search(frame, shake)

    def displacement_px(self, pixels: Array) -> Array:
        """By how far pixels ``(n, 2)`` of the first picture lie from there now, ``(n, 2)``, without the shift."""
        first_px = self._start.offset_px
        return displacement(self.anchors.camera, pixels - first_px, self.rest.turn) - first_px

    @property
    def knocked(self) -> bool:
        """Whether the view rests elsewhere than in the first picture."""
        return self.rest.move is not None

    def _first_rest(self, camera: Camera, first: Frame, reference: Anchors | None) -> tuple[Anchors, Rest]:
        """Windows, and the shift at which they see the first picture."""
        if reference is not None:
            meter = shake_meter(reference)
            seen = measure(meter, first.luma, bit_depth=first.bit_depth)
            if seen.known:
                offset = np.array([seen.du_px, seen.dv_px])
                return reference, Rest(meter, offset, _NO_TURN, np.tile(offset, (len(self._points_px), 1)))
        anchors = choose_anchors(first.luma, camera)
        return anchors, Rest(shake_meter(anchors), np.zeros(2), _NO_TURN, np.zeros_like(self._points_px))

    def _on_lane_px(self) -> Array:
        """By how far points of the lane moved ``(k, 2)`` from the reference."""
        return self.rest.on_lane_px + self.shift_px

    def _sure(self, frame: Frame, shake: Shake) -> Shake:
        self.shift_px = np.array([shake.du_px, shake.dv_px])
        self.gone = False
        now = self._on_lane_px()
        if _apart_px(now, self._sure_at) > JUMP_PX:
            self._doubt(frame)
            self._wait = 1
        self._sure_at, self._sure_index = now, frame.index
        return shake

    def _doubt(self, frame: Frame) -> None:
        """Since the view was last seen it may have moved at any time."""
        self.doubtful.update(range(self._sure_index + 1, frame.index))

    def _search(self, frame: Frame, shake: Shake) -> Shake:
        """Register the whole picture: it shows where the view is, or that it is only hidden, or nothing."""
        move = register(self.anchors, frame.luma)
        if isinstance(move, Failure):
            self._hidden_or_gone(frame)
            return replace(shake, du_px=np.nan, dv_px=np.nan)
        turn = np.array([*move.turn_deg, move.log_zoom])
        on_lane = displacement(self.anchors.camera, self._points_px, turn)
        away = np.asarray((on_lane - self.rest.on_lane_px).mean(axis=0))
        if self._elsewhere(on_lane):
            seen = windows_in_place(self.anchors, frame.luma, turn, np.zeros(2))
            self._settle(frame.t_s, Rest(meter_after(self.anchors, turn, seen), np.zeros(2), turn, on_lane, move))
            away = np.zeros(2)
        else:
            self._read_others(frame, away)
        if self._pans:
            return replace(shake, du_px=np.nan, dv_px=np.nan)
        sigma = np.radians(np.sqrt(np.trace(move.covariance[:2, :2]) / 2)) * self.anchors.camera.f_px
        return self._sure(frame, Shake(float(away[0]), float(away[1]), float(sigma), move.share))

    def _elsewhere(self, on_lane_px: Array) -> bool:
        """Whether points on the lane lie where no shift about the place of rest puts them."""
        moved = on_lane_px - self.rest.on_lane_px
        bent = float(np.abs(moved - moved.mean(axis=0)).max())
        return _apart_px(on_lane_px, self.rest.on_lane_px) > REST_PX or bent > BENT_PX

    def _hidden_or_gone(self, frame: Frame) -> None:
        still = self._read_others(frame, self.shift_px)
        if still:
            self._sure_index = frame.index
        elif not self.gone:
            self._doubt(frame)
        self.gone = not still

    def _read_others(self, frame: Frame, shift_px: Array) -> bool:
        """Let the meter read windows that nobody hides now; whether any lies where it would at this shift."""
        rest = self.rest
        seen = windows_in_place(self.anchors, frame.luma, rest.turn, shift_px + rest.offset_px)
        if seen.sum() >= ENOUGH:
            self.rest = replace(rest, meter=meter_after(self.anchors, rest.turn, seen))
        return bool(seen.any())

    def _settle(self, t_s: float, rest: Rest) -> None:
        """Take another place of rest; too many new ones in short time are a pan."""
        if rest.move is not None:
            self.moves.append(rest.move)
        self.rest = rest
        if all(_apart_px(rest.on_lane_px, known) > REST_PX for _, known in self._places):
            self._places.append((t_s, rest.on_lane_px))
            self._pans = sum(t_s - t <= PAN_S for t, _ in self._places) > PAN_RESTS
            self.gone = self._pans


def _apart_px(one: Array, other: Array) -> float:
    return float(np.hypot(*(one - other).T).max())
