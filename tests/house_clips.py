"""The view as a clip of a random house gives it: the median of stills through which the bowler moves."""

from __future__ import annotations

import math

import cv2
import numpy as np
from house_looks import random_lane, random_rack
from house_things import exposed
from houses import (
    View,
    Wish,
    affordable,
    lit_frames,
    mirrored_camera,
    mirrored_pins,
    pin_words,
    place_words,
    random_camera,
    spec_of,
)
from numpy.typing import NDArray

from calibration.camera import Camera
from sample_media.encode import _planes, tone_curve
from tracker.lane.clean import clean_picture
from tracker.video.reader import Crop
from tracker.video.stills import Stills

Image = NDArray[np.uint8]
Linear = NDArray[np.float32]

CLIP_SIZES = (
    *((960, 540), (960, 540), (1280, 720), (1920, 1080)),
    *((540, 960), (540, 960), (720, 1280), (1080, 1920)),
)
STILLS = 7
EMPTY = (2, 4)
"""Of the stills so many are from before the approach or from after the bowler has walked back: 2 or 3 of 7."""
LEAST_LUMA = 16 + 25
"""A dimmer lane than this has no more than some ten grey levels of boards, arrows and edges."""


def clip_view(seed: int) -> View:
    """The clean picture of a clip and where it may show the bowler.

    As :func:`houses.random_view` in all that varies, but that frames are 960 x 540 to 1920 x 1080, that the bowler
    moves and is gone from most of the picture, and that the lane is exposed to at least 25 levels above black.
    """
    rng = np.random.default_rng([seed, 8])
    camera = random_camera(rng, Wish(sizes=CLIP_SIZES))
    lane, words = random_lane(rng)
    pins = random_rack(rng)
    flip = bool(rng.random() < 0.5)
    traced = affordable(mirrored_camera(camera) if flip else camera)
    frames, more, people = lit_frames(rng, spec_of(traced), lane, pins=pins, times_s=_times_s(rng))
    if flip:
        frames, pins = [np.ascontiguousarray(f[:, ::-1]) for f in frames], mirrored_pins(pins)
        traced = mirrored_camera(traced)
    level = _level(rng, np.median(frames, axis=0), traced)
    luma, cb, cr, hidden = _clean(rng, [f * level for f in frames], camera)
    bowler = "a bowler" if len(frames) > 1 else "no bowler"
    more = [word for word in more if not word.startswith("bowler")]
    words = [place_words(camera), *words, f"exposure {level:.2f}", f"pins {pin_words(pins)}", bowler, *more]
    return View(luma, cb, cr, camera, description="; ".join(words), people=people, pins=pins, hidden=hidden)


def _times_s(rng: np.random.Generator) -> list[float | None]:
    """Times of the stills from the release, None where the bowler is not in view; in a tenth nobody bowls at all."""
    if rng.random() < 0.1:
        return [None]
    empty = int(rng.integers(*EMPTY))
    seen = np.linspace(-1.1, 2.6, STILLS - empty) + rng.uniform(-0.2, 0.2, STILLS - empty)
    return [None] * empty + seen.tolist()


def _level(rng: np.random.Generator, house: Linear, camera: Camera) -> np.float32:
    """Exposure as of :func:`houses.random_view`, raised until the lane's middle is above :data:`LEAST_LUMA`."""
    kind = rng.choice(["dim", "bright", "usual"], p=(0.15, 0.15, 0.7))
    level = {"dim": 0.15, "bright": 2.2, "usual": math.exp(rng.uniform(-0.5, 0.5))}[str(kind)]
    y = np.linspace(20.0, 660.0, 60)
    u, v = camera.project(np.stack([np.full_like(y, 8.0), y, 0 * y], axis=-1)).astype(int).T
    inside = (u >= 0) & (v >= 0) & (u < camera.width) & (v < camera.height)
    lane = house[v[inside], u[inside]][None]
    while np.median(_toned(lane * np.float32(level))[0]) < LEAST_LUMA:
        level *= 1.15
    return np.float32(level)


def _toned(picture: Linear) -> Image:
    """Stacked planes of a picture without noise, padded to even sizes."""
    curve = tone_curve()
    even = np.pad(picture, ((0, picture.shape[0] % 2), (0, picture.shape[1] % 2), (0, 0)), mode="edge")
    return _planes(curve[np.clip(even * np.float32((len(curve) - 1) / 1.25), 0, len(curve) - 1).astype(np.uint16)])


def _clean(rng: np.random.Generator, frames: list[Linear], camera: Camera) -> tuple[Image, Image, Image, Image]:
    """Luma, cb, cr of the median with what noise and compression leave of a clip's; and where it is in doubt."""
    size = (camera.width, camera.height)
    median = np.median(frames, axis=0).astype(np.float32) if len(frames) > 1 else frames[0]
    if median.shape[1] != camera.width:
        median = np.maximum(cv2.resize(median, size, interpolation=cv2.INTER_CUBIC), 0)
    quality, noise = int(rng.integers(70, 96)), rng.uniform(0.5, 2.0)
    luma, cb, cr = exposed(median, rng, noise=noise, quality=quality)
    crops = tuple(_crop(frame, k, size) for k, frame in enumerate(frames))
    stills = Stills("made", crops, *size, rotation_deg=0, chroma_site=(0.0, 0.0), duration_s=4.0, keys_only=True)
    return luma, cb, cr, clean_picture(stills).doubt


def _crop(frame: Linear, index: int, size: tuple[int, int]) -> Crop:
    height, width = frame.shape[:2]
    planes = _toned(frame)
    chroma = planes[height:].reshape(2, height // 2, width // 2)
    luma, cb, cr = (
        cv2.resize(p, s, interpolation=cv2.INTER_LINEAR)
        for p, s in ((planes[:height], size), *((c, (size[0] // 2, size[1] // 2)) for c in chroma))
    )
    return Crop(luma, cb, cr, index, t_s=0.5 * index)
