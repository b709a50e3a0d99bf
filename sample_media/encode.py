"""From linear light to an H.264 file: sensor noise, tone curve, encoding without wall-clock metadata."""

from __future__ import annotations

import struct
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from sample_media.spec import CameraSpec

Array = NDArray[np.float32]
Image = NDArray[np.uint8]
TIME_BASE = Fraction(1, 90000)
LEVELS = 4096
NOISE_TILES = 5
# RGB to Y, Cb, Cr of ITU-R BT.709 in video range (16 to 235 and 16 to 240), last column the offset.
BT709 = np.array(
    [[0.182586, 0.614231, 0.062007, 16], [-0.100644, -0.338572, 0.439216, 128], [0.439216, -0.398942, -0.040274, 128]]
)


def tone_curve() -> Image:
    """Table ``(4096,)`` from linear light to the 8-bit code: the sRGB curve (IEC 61966-2-1) with a soft shoulder."""
    x = np.linspace(0, 1.25, LEVELS)
    x = np.where(x < 0.7, x, 0.7 + 0.3 * (1 - np.exp(-(x - 0.7) / 0.3)))
    code = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-9) ** (1 / 2.4) - 0.055)
    return np.asarray(np.round(255 * np.clip(code, 0, 1)), dtype=np.uint8)


class Sensor:
    """Turns frames of linear light into 8-bit pictures with noise that grows with the signal.

    Parameters
    ----------
    camera : CameraSpec
        Frame size and noise factor.
    seed : int
        Seed of the noise.
    """

    def __init__(self, camera: CameraSpec, seed: int) -> None:
        self._rng = np.random.default_rng(seed)
        self._curve = tone_curve()
        self._noise = camera.noise
        shape = (camera.height + 64, camera.width + 64, 3)
        raw = [self._rng.standard_normal(shape, dtype=np.float32) for _ in range(NOISE_TILES if camera.noise else 0)]
        self._tiles = [np.asarray(cv2.GaussianBlur(t, (0, 0), 0.6) * np.float32(1.9)) for t in raw]

    def expose(self, linear: Array) -> Image:
        """The 8-bit picture ``(h, w, 3)`` of a frame of linear light."""
        h, w = linear.shape[:2]
        signal = linear
        if self._tiles:
            dx, dy, k = (int(v) for v in self._rng.integers(0, (64, 64, NOISE_TILES)))
            tile = self._tiles[k][dy : dy + h, dx : dx + w]
            sigma = cv2.sqrt(np.maximum(linear, 0) * np.float32(1.1e-4) + np.float32(3.5e-6))
            signal = linear + sigma * tile * np.float32(self._noise)
        index = np.clip(signal * np.float32((LEVELS - 1) / 1.25), 0, LEVELS - 1).astype(np.uint16)
        return np.asarray(self._curve[index])


def write_clip(path: Path, frames: Iterable[tuple[float, Image]], camera: CameraSpec) -> None:
    """Encode pictures with their time stamps.

    Parameters
    ----------
    path : Path
        File to write (MP4, fast start).
    frames : iterable of (float, uint8 array (h, w, 3))
        Time in seconds from the start of the file and the upright RGB picture.
    camera : CameraSpec
        Frame size, rate, rate factor, and whether to store the frame sideways with a rotation flag.
    """
    w, h = (camera.height, camera.width) if camera.sideways else (camera.width, camera.height)
    options = {"movflags": "+faststart", "fflags": "+bitexact", "video_track_timescale": str(TIME_BASE.denominator)}
    with av.open(str(path), "w", format="mp4", options=options) as out:
        rate = Fraction(camera.fps).limit_denominator(1001)
        coding = {"crf": str(camera.crf), "preset": camera.preset, "threads": "1", "tune": "film"}
        stream = out.add_stream("libx264", rate=rate, options=coding)
        stream.width, stream.height, stream.pix_fmt = w, h, "yuv420p"
        context = stream.codec_context
        context.time_base = TIME_BASE
        context.thread_count = 1
        context.flags |= 1 << 23
        context.color_range, context.colorspace, context.color_primaries, context.color_trc = 1, 1, 1, 1
        for t_s, picture in frames:
            stored = np.ascontiguousarray(np.rot90(picture)) if camera.sideways else picture
            frame = av.VideoFrame.from_ndarray(_planes(stored), format="yuv420p")
            frame.pts, frame.time_base = round(t_s / TIME_BASE), TIME_BASE
            for packet in stream.encode(frame):
                out.mux(packet)
        for packet in stream.encode():
            out.mux(packet)
    if camera.sideways:
        _flag_rotation(path, w, h)


def _planes(picture: Image) -> Image:
    """Luma and half-size chroma ``(3 h / 2, w)`` of an RGB picture; chroma sits on even columns, between rows."""
    h, w = picture.shape[:2]
    y, u, v = cv2.split(cv2.transform(picture, BT709))
    planes = [y.ravel()]
    for plane in (u, v):
        rows = cv2.resize(plane, (w, h // 2), interpolation=cv2.INTER_AREA)
        smooth = cv2.filter2D(
            rows, -1, np.array([[0.25, 0.5, 0.25]], dtype=np.float32), borderType=cv2.BORDER_REPLICATE
        )
        planes.append(smooth[:, ::2].ravel())
    return np.asarray(np.concatenate(planes).reshape(h * 3 // 2, w), dtype=np.uint8)


def _flag_rotation(path: Path, width: int, height: int) -> None:
    """Write the track header's display matrix that turns the stored frame 90 degrees clockwise."""
    del width
    data = bytearray(path.read_bytes())
    at = data.index(b"tkhd") + 4
    start = at + (52 if data[at] == 1 else 40)
    one = 1 << 16
    data[start : start + 36] = struct.pack(">9i", 0, one, 0, -one, 0, 0, height * one, 0, 1 << 30)
    path.write_bytes(bytes(data))
