"""A clip filmed again by a camera that turned, trembled or was knocked: every picture resampled, times kept."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import islice
from pathlib import Path

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera

Image = NDArray[np.uint8]
Warp = Callable[[int, Image], Image]


def warped_clip(source: Path, target: Path, warp: Warp, *, every: int = 1, count: int | None = None) -> Path:
    """Write ``source`` with ``warp(index, bgr)`` in place of its pictures (frames are not turned).

    Only each ``every``-th of the first ``count`` pictures is kept, at its own time; the size is what ``warp`` gives.
    """
    with av.open(str(source)) as given, av.open(str(target), "w") as taken:
        stream = given.streams.video[0]
        out = taken.add_stream("libx264", rate=Fraction(60, every), options={"preset": "ultrafast", "crf": "16"})
        out.pix_fmt = "yuv420p"
        assert stream.time_base is not None
        out.codec_context.time_base = stream.time_base
        for k, picture in islice(enumerate(given.decode(stream)), 0, count, every):
            bgr = warp(k, picture.to_ndarray(format="bgr24"))
            if k == 0:
                out.height, out.width = bgr.shape[:2]
            moved = av.VideoFrame.from_ndarray(bgr, format="bgr24")
            moved.pts, moved.time_base = picture.pts, stream.time_base
            taken.mux(out.encode(moved))
        taken.mux(out.encode())
    return target


def turned(camera: Camera, yaw_deg: float, pitch_deg: float, roll_deg: float) -> Warp:
    """What the camera sees after a turn, by its own rays."""
    after = replace(
        camera,
        yaw_deg=camera.yaw_deg + yaw_deg,
        pitch_deg=camera.pitch_deg + pitch_deg,
        roll_deg=camera.roll_deg + roll_deg,
    )
    u, v = np.meshgrid(np.arange(camera.width) + 0.5, np.arange(camera.height) + 0.5)
    rays = after.rays(np.stack([u, v], axis=-1)) @ camera.rotation.T
    grid = (camera.project_directions(rays) - 0.5).astype(np.float32)
    return lambda _, bgr: np.asarray(cv2.remap(bgr, grid, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE))


def shifted(shift_px: Callable[[int], tuple[float, float]]) -> Warp:
    """A picture whose content lies ``shift_px(index)`` (u, v) pixels farther to the right and down."""

    def warp(k: int, bgr: Image) -> Image:
        du, dv = shift_px(k)
        matrix = np.array([[1.0, 0.0, du], [0.0, 1.0, dv]])
        size = (bgr.shape[1], bgr.shape[0])
        return np.asarray(
            cv2.warpAffine(bgr, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE), dtype=np.uint8
        )

    return warp


def zoomed(factor: Callable[[int], float], aim: tuple[float, float]) -> Warp:
    """A picture enlarged about a pixel (u, v) by ``factor(index)``."""

    def warp(k: int, bgr: Image) -> Image:
        f = factor(k)
        matrix = np.array([[f, 0.0, aim[0] * (1 - f)], [0.0, f, aim[1] * (1 - f)]])
        size = (bgr.shape[1], bgr.shape[0])
        return np.asarray(cv2.warpAffine(bgr, matrix, size, borderMode=cv2.BORDER_REPLICATE), dtype=np.uint8)

    return warp


def resized(width: int, height: int) -> Warp:
    """The whole picture on a frame of another size."""
    return lambda _, bgr: np.asarray(cv2.resize(bgr, (width, height), interpolation=cv2.INTER_AREA), dtype=np.uint8)
