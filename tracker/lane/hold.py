"""Crops that hold still: what moves the view within a clip is measured and taken out where it matters."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.anchors import Anchors
from calibration.camera import Camera
from calibration.drift import Move, move_in_boards, turned
from calibration.errors import Failure
from calibration.shake import Shake, ShakeSummary, judge, shake_budget_px
from calibration.store import Calibration
from tracker.detection.region import Box
from tracker.detection.watch import FrameLook
from tracker.lane.follow import Rest, View
from tracker.lane.moved import Places, moved_back, places_after, turned_back
from tracker.video.reader import Crop, Frame

Array = NDArray[np.float64]

LEAST_PX = 0.12
"""Shifts below are not told from noise surely enough to move a picture by them."""
REST_S, LONG_REST_S = 0.048, 0.096
"""While the view rests, a look every so often is enough; the longer where it has rested for so many looks."""
LONG_REST_LOOKS = 12
SHAKY_PX = 0.5
PANS_SHARE = 0.25
_LEFT_OVER = 0.05


class Holder:
    """Measures how the view moves, in order of time, and gives crops without that.

    Parameters
    ----------
    camera : Camera
        Camera of the first picture.
    first : Frame
        The clip's first picture, to which crops are held.
    reference : Anchors or None
        Windows of another picture of the same view that lies within a few pixels, which saves choosing new ones.
    """

    def __init__(self, camera: Camera, first: Frame, reference: Anchors | None = None) -> None:
        self._camera = camera
        self._view = View(camera, first, reference)
        self._limit_px = max(shake_budget_px(camera), LEAST_PX)
        self._times: list[float] = []
        self._rested = 0
        self._shakes: list[Shake] = []
        self._moved, self._gone, self._given = 0, 0, 0
        self._places: dict[Box, tuple[Rest, Places]] = {}

    def crop(self, frame: Frame, box: Box) -> Crop | None:
        """The box of the frame last looked at as the first picture would show it; None where nobody knows its place."""
        view = self._view
        if view.gone:
            return None
        if view.knocked:
            self._moved += 1
            return turned_back(frame, self._places_of(box), view.shift_px)
        crop = frame.crop(box.left, box.top, box.width, box.height)
        if float(np.hypot(*view.shift_px)) <= self._limit_px:
            return crop
        self._moved += 1
        return moved_back(crop, view.shift_px)

    def sure(self, looks: Iterable[FrameLook]) -> list[FrameLook]:
        """The looks, those emptied at whose time the view was on the way from one place to another."""
        doubtful = self._view.doubtful
        return [replace(look, detections=()) if look.frame in doubtful else look for look in looks]

    def summary(self) -> ShakeSummary:
        """Shake over the clip so far, each about the place where the view rested then."""
        return judge(self._times, self._shakes)

    @property
    def corrected(self) -> bool:
        """Whether any crop was moved by enough to be told."""
        return self._moved > 0 and (bool(self._view.moves) or self.summary().largest_px > SHAKY_PX)

    def knock(self) -> tuple[float, float]:
        """How far the view was knocked away at most, in pixels and boards on the lane; 0 where it was not."""
        moves = self._view.moves
        px = max((move.moved_px for move in moves), default=0.0)
        return px, max((self._boards(move) for move in moves), default=0.0)

    def failure(self) -> Failure | None:
        """``view_pans`` where the view left what can be followed."""
        lost = self._gone / max(self._given, 1)
        if lost < PANS_SHARE:
            return None
        px, boards = self.knock()
        size = f"by {px:.0f} px or {boards:.1f} boards, and" if px else "it"
        detail = (
            f"the view moves during the clip: {size} is out of reach in {lost:.0%} of the pictures; "
            "put the phone on a tripod and leave it alone while it films"
        )
        return Failure("view_pans", detail)

    def widened(self, calibration: Calibration) -> Calibration:
        """The calibration with what is left of shake and knocks in its uncertainty."""
        summary = self.summary()
        if not self._moved or not summary.frames:
            return calibration
        left_px = np.hypot(summary.sigma_px, _LEFT_OVER * summary.rms_px)
        covariance = calibration.covariance.copy()
        covariance[[3, 4], [3, 4]] += np.degrees(left_px / calibration.camera.f_px) ** 2
        worst = max(self._view.moves, key=lambda move: float(np.trace(move.covariance)), default=None)
        if worst is not None:
            covariance[3:6, 3:6] += worst.covariance[:3, :3]
            covariance[6, 6] += worst.covariance[3, 3] * calibration.camera.f_px**2
        return replace(calibration, covariance=covariance)

    def look(self, frame: Frame) -> None:
        """Follow the view to the next frame; every frame is to be given, in order of time."""
        self._follow(frame)
        self._given += 1
        self._gone += self._view.gone

    def _follow(self, frame: Frame) -> None:
        resting = self._view.settled and float(np.hypot(*self._view.shift_px)) < 0.5 * self._limit_px
        wait_s = LONG_REST_S if self._rested >= LONG_REST_LOOKS else REST_S
        if self._times and resting and frame.t_s - self._times[-1] < wait_s:
            return
        self._rested = self._rested + 1 if resting else 0
        self._shakes.append(self._view.look(frame))
        self._times.append(frame.t_s)

    def _places_of(self, box: Box) -> Places:
        """Where the box lies now; worked out once for each box and place of rest."""
        rest = self._view.rest
        known = self._places.get(box)
        if known is None or known[0] is not rest:
            known = self._places[box] = rest, places_after(box, self._view.displacement_px)
        return known[1]

    def _boards(self, move: Move) -> float:
        return move_in_boards(self._camera, turned(self._camera, move))
