"""Made-up stills: several lanes before one camera, flat people on approaches, discs for balls, noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import BALL_RADIUS_IN
from tracker.detection.region import Box
from tracker.lane.hold import Holder
from tracker.video.reader import Crop, Frame
from tracker.video.stills import Stills

SIZE = (960, 540)
OFFSETS_IN = (-153.0, -76.0, 0.0, 76.0, 153.0)
OWN = Camera(12, -300, 67, -1.5, 8.6, 0.3, f_px=620, k1=-0.02, width_scale=1.0, width=SIZE[0], height=SIZE[1])
CAMERAS = [replace(OWN, x_in=OWN.x_in - offset) for offset in OFFSETS_IN]
"""The same view from the frame of each lane; lane 2 is the one the phone stands behind."""


@dataclass(frozen=True, slots=True)
class Shape:
    """Pixels ``(H, W)`` of a thing and its luma and red chroma."""

    mask: NDArray[np.bool_]
    luma: int
    cr: int


def _filled(outline: NDArray[np.float64]) -> NDArray[np.bool_]:
    mask = np.zeros(SIZE[::-1], np.uint8)
    cv2.fillConvexPoly(mask, np.round(outline).astype(np.int32), 1)
    return mask > 0


def person(lane: int, *, y_ft: float = -6.0, x_in: float = 0.0, luma: int = 50, height_in: float = 66.0) -> Shape:
    """A board of a person's size that stands on a lane's approach and faces down-lane."""
    corners = [(x_in + side, 12 * y_ft, z) for side, z in ((-7, 0), (7, 0), (9, height_in), (-9, height_in))]
    return Shape(_filled(CAMERAS[lane].project(corners)), luma, 150)


def ball(lane: int, y_ft: float, x_in: float = 0.0, luma: int = 40) -> Shape:
    """A ball's disc on a lane's surface."""
    camera, place = CAMERAS[lane], (x_in, 12 * y_ft, BALL_RADIUS_IN)
    radius_px = camera.f_px * BALL_RADIUS_IN / camera.to_camera(place)[2]
    turn = np.linspace(0, 2 * np.pi, 40)
    outline = camera.project(place) + radius_px * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    return Shape(_filled(outline), luma, 120)


def made_up(scenes: Sequence[Sequence[Shape]], noise: float = 2.0) -> Stills:
    """Stills every half second with the given shapes, later ones before earlier ones."""
    width, height = SIZE
    rng = np.random.default_rng(4)
    pictures = []
    for k, shapes in enumerate(scenes):
        luma = np.tile(120 + 40 * np.linspace(0, 1, height)[:, None], (1, width))
        cr = np.full((height // 2, width // 2), 134.0)
        for shape in shapes:
            luma[shape.mask] = shape.luma
            cr[shape.mask[::2, ::2]] = shape.cr
        planes = [luma, np.full_like(cr, 124.0), cr]
        eight = [np.round(p + rng.normal(0, noise, p.shape)).clip(0, 255).astype(np.uint8) for p in planes]
        pictures.append(Crop(*eight, 15 * k, t_s=0.5 * k))
    return Stills(
        "made-up.mp4", tuple(pictures), width, height, 0, (0.5, 1.0), duration_s=0.5 * len(scenes), keys_only=False
    )


def held(holder: Holder, frame: Frame, box: Box) -> Crop | None:
    """The holder's crop of the next frame."""
    holder.look(frame)
    return holder.crop(frame, box)
