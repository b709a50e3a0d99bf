"""Detections of a simulated ball through a camera, without pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from sample_media.physics import DensePath, simulate
from sample_media.spec import BallSpec, LaneSpec, ShotSpec
from tracker.detection.outline import BallFit
from tracker.detection.watch import Detection, FrameLook
from tracker.path.motion import MotionModel
from tracker.path.runs import Run

Array = NDArray[np.float64]
CAMERA = Camera(32.0, -228.0, 67.0, -4.2, 8.6, 0.35, f_px=2460.0, k1=-0.02, width_scale=1.0, width=1920, height=1080)
RADIUS_IN = 4.295
HOOK = ShotSpec(laydown_board=15.3, launch_deg=2.28, speed_mph=17.3, rev_rpm=310.0, rotation_deg=48.0)
CONTACT_IN = 713.0
"""The simulated ball knows no pins: what lies beyond their front is not shown."""
QUIET = MotionModel(bias_px=(1e-3, 1e-3))
"""For detections whose noise is white: no part of it stays from frame to frame."""


@cache
def hook() -> DensePath:
    """A hooking ball over the usual oil."""
    return simulate(HOOK, BallSpec(diameter_in=2 * RADIUS_IN), LaneSpec())


def truth(path: DensePath, t_s: Array) -> Array:
    """True x, vx, y, vy ``(n, 4)`` at times since the first contact with the lane."""
    return np.stack([np.interp(t_s, path.t_s, getattr(path, name)) for name in ("x_in", "vx", "y_in", "vy")], axis=-1)


def detection(frame: int, t_s: float, pixel: Array, sigma_px: float, *, score: float = 0.8) -> Detection:
    """A detection at a pixel."""
    fit = BallFit(pixel, np.eye(2) * sigma_px**2, 0.0, 1.0, 40.0)
    x, y = CAMERA.back_project(pixel, RADIUS_IN)
    return Detection(frame, t_s, fit, float(x), float(y), score)


def moved_px(d: Detection, du_px: float, dv_px: float) -> Detection:
    """The detection with its pixel moved; its place on the lane stays, as nothing but a first guess."""
    return replace(d, fit=replace(d.fit, centre_px=d.fit.centre_px + np.array([du_px, dv_px])))


def seen_from(
    path: DensePath,
    times_s: Sequence[float] | Array,
    *,
    sigma_px: float = 0.25,
    hidden_s: tuple[float, float] = (9.0, 9.0),
    from_in: float = 0.0,
    until_in: float = CONTACT_IN,
    seed: int = 1,
) -> list[FrameLook]:
    """Looks at a simulated ball at times since its first contact, with white noise; none while it is hidden."""
    random, looks = np.random.default_rng(seed), []
    for frame, t_s in enumerate(np.asarray(times_s, dtype=np.float64)):
        at = truth(path, t_s)
        pixel = CAMERA.project(np.array([at[0], at[2], RADIUS_IN])) + sigma_px * random.standard_normal(2)
        shown = t_s >= 0 and not hidden_s[0] <= t_s < hidden_s[1] and from_in <= at[2] < until_in
        looks.append(FrameLook(frame, float(t_s), (detection(frame, t_s, pixel, sigma_px),) if shown else ()))
    return looks


def run_of(looks: Sequence[FrameLook]) -> Run:
    """All detections as one run."""
    return Run(tuple(d for look in looks for d in look.detections))
