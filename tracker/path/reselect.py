"""Second thoughts about which detection was the ball, once a path of the whole shot is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from tracker.detection.watch import Detection, FrameLook
from tracker.path.motion import MotionModel, X, Y
from tracker.path.posterior import PathDraws
from tracker.path.smooth import SmoothPath

Array = NDArray[np.float64]

GATE = 30.0
CHOSEN_GATE = 100.0
"""Wide, because what is left in a frame has been chosen by the path as a whole."""
WORTH_ROWS = 3


def overlooked(path: SmoothPath, looks: list[FrameLook]) -> int:
    """Rows of a path in whose frames something ball-like was detected but not taken for the ball."""
    by_frame = {look.frame: look for look in looks}
    return sum(
        1
        for frame, seen in zip(path.frame, path.seen, strict=True)
        if not seen and frame in by_frame and by_frame[frame].detections
    )


def reselect(
    looks: list[FrameLook], draws: PathDraws, path: SmoothPath, camera: Camera, *, radius_in: float, model: MotionModel
) -> list[FrameLook]:
    """The looks with, in the frames of a path, only the detection that agrees with the path as a whole.

    Parameters
    ----------
    looks : list of FrameLook
        All frames of the clip.
    draws : PathDraws
        Equally likely paths of the shot, at the rows of ``path``.
    path : SmoothPath
        Gives the frames of the rows.
    camera : Camera
        Camera of the upright frame.
    radius_in : float
        Ball radius.
    model : MotionModel
        Its rim bias widens the gate.
    """
    both = np.concatenate([draws.mean[None], draws.draws])
    centre = np.stack([both[..., X], both[..., Y], np.full(both.shape[:2], radius_in)], axis=-1)
    pixels = camera.project(centre)
    expected = {
        int(frame): (pixels[0, k], np.cov(pixels[1:, k].T) + np.diag(np.square(model.bias_px)))
        for k, frame in enumerate(path.frame)
    }
    return [
        replace(look, detections=_agreeing(look.detections, *expected[look.frame])) if look.frame in expected else look
        for look in looks
    ]


def _agreeing(detections: tuple[Detection, ...], expected: Array, spread: Array) -> tuple[Detection, ...]:
    best: tuple[Detection, ...] = ()
    least = np.inf
    for d in detections:
        total = spread + d.fit.covariance
        miss = d.fit.centre_px - expected
        distance = float(miss @ np.linalg.solve(total, miss))
        unlikely = distance + float(np.log(np.linalg.det(total)))
        if distance < GATE and unlikely < least:
            best, least = (d,), unlikely
    return best
