"""Crops that hold still: the shake of a clip measured against its first picture and taken out where it matters."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.anchors import Anchors, choose_anchors
from calibration.camera import Camera
from calibration.drift import register
from calibration.errors import Failure
from calibration.shake import Shake, ShakeMeter, ShakeSummary, judge, measure, shake_budget_px, shake_meter
from calibration.store import Calibration
from calibration.windows import Plane
from tracker.detection.region import Box
from tracker.lane.moved import moved_back
from tracker.video.reader import Crop, Frame

Array = NDArray[np.float64]

LEAST_PX = 0.12
"""Shifts below are not told from noise surely enough to move a picture by them."""
REST_S = 0.028
"""While the view rests, a look every so often is enough."""
SHAKY_PX = 0.5
PANS_PX = 5.0
PANS_SHARE = 0.25
_LEFT_OVER = 0.05


class Holder:
    """Measures shifts in order of time and gives crops without them.

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
        self._anchors, self._meter, self._base = _begin(camera, first, reference)
        self._limit_px = max(shake_budget_px(camera), LEAST_PX)
        self._times: list[float] = []
        self._shakes: list[Shake] = []
        self._shift = np.zeros(2)
        self._moved = 0
        self._lost: list[Plane] = []

    def crop(self, frame: Frame, box: Box) -> Crop:
        """The box of a frame as the first picture would show it."""
        self._look(frame)
        crop = frame.crop(box.left, box.top, box.width, box.height)
        if float(np.hypot(*self._shift)) <= self._limit_px:
            return crop
        self._moved += 1
        return moved_back(crop, self._shift)

    def _look(self, frame: Frame) -> None:
        resting = float(np.hypot(*self._shift)) < 0.5 * self._limit_px
        if self._times and resting and frame.t_s - self._times[-1] < REST_S:
            return
        seen = measure(self._meter, frame.luma, bit_depth=frame.bit_depth)
        shifted = replace(seen, du_px=seen.du_px - self._base[0], dv_px=seen.dv_px - self._base[1])
        self._times.append(frame.t_s)
        self._shakes.append(shifted)
        if shifted.known:
            self._shift = np.array([shifted.du_px, shifted.dv_px])
        else:
            self._lost[1:] = [frame.luma.copy()]

    def summary(self) -> ShakeSummary:
        """Shake over the clip so far."""
        return judge(self._times, self._shakes)

    @property
    def corrected(self) -> bool:
        """Whether any crop was moved by enough to be told."""
        return self._moved > 0 and self.summary().largest_px > SHAKY_PX

    def failure(self) -> Failure | None:
        """``view_pans`` where the view left what can be followed."""
        known = [s for s in self._shakes if s.known]
        lost = 1.0 - len(known) / max(len(self._shakes), 1)
        if lost < PANS_SHARE:
            return None
        followed = max((float(np.hypot(s.du_px, s.dv_px)) for s in known), default=0.0)
        farthest = max(followed, self._lost_px())
        if farthest < PANS_PX:
            return None
        detail = (
            f"the view moves during the clip: by {farthest:.0f} px, and out of reach in {lost:.0%} of the pictures; "
            "put the phone on a tripod and leave it alone while it films"
        )
        return Failure("view_pans", detail)

    def _lost_px(self) -> float:
        """How far the first or last picture out of reach lies; 0 where people only hide the windows, or too far off."""
        moves = [register(self._anchors, luma) for luma in self._lost]
        away = [move.moved_px for move in moves if not isinstance(move, Failure)]
        return max(away, default=0.0) - float(np.hypot(*self._base))

    def widened(self, calibration: Calibration) -> Calibration:
        """The calibration with what is left of the shake in its uncertainty."""
        summary = self.summary()
        if not self._moved or not summary.frames:
            return calibration
        left_px = np.hypot(summary.sigma_px, _LEFT_OVER * summary.rms_px)
        covariance = calibration.covariance.copy()
        covariance[[3, 4], [3, 4]] += np.degrees(left_px / calibration.camera.f_px) ** 2
        return replace(calibration, covariance=covariance)


def _begin(camera: Camera, first: Frame, reference: Anchors | None) -> tuple[Anchors, ShakeMeter, Array]:
    """Windows, those of them that are read in every frame, and the shift at which they see the first picture."""
    if reference is not None:
        meter = shake_meter(reference)
        seen = measure(meter, first.luma, bit_depth=first.bit_depth)
        if seen.known:
            return reference, meter, np.array([seen.du_px, seen.dv_px])
    anchors = choose_anchors(first.luma, camera)
    return anchors, shake_meter(anchors), np.zeros(2)
