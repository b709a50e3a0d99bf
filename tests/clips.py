"""Write tiny clips for tests: chosen times, turns, codecs and pixel formats, and files that are no clips."""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]

TIME_BASE = Fraction(1, 90000)
WIDTH, HEIGHT = 96, 64
HLG, PQ, BT709 = 18, 16, 1

# Rows a, b, c, d of the display matrix (ISO 14496-12, 8.3.2) for a counter-clockwise turn of the stored picture.
_TURNS = {0: (1, 0, 0, 1), 90: (0, -1, 1, 0), 180: (-1, 0, 0, -1), 270: (0, 1, -1, 0)}


def pattern(index: int, width: int = WIDTH, height: int = HEIGHT) -> Image:
    """Luma ``(height, width)`` without any symmetry: a slope in x and y, a bright corner, and a block that moves."""
    y, x = np.mgrid[:height, :width]
    luma = (40 + 80 * x / width + 40 * y / height).astype(np.uint8)
    luma[: height // 4, : width // 4] = 230
    left = (4 * index) % (width - 12)
    luma[height // 2 : height // 2 + 12, left : left + 12] = 20
    return luma


def picture(luma: Image, *, cb: int = 100, cr: int = 160, pix_fmt: str = "yuv420p") -> av.VideoFrame:
    """A picture of the given luma and even colour in any pixel format, without rounding through RGB."""
    height, width = luma.shape
    ten = pix_fmt.endswith("10le")
    frame = av.VideoFrame(width, height, "yuv420p10le" if ten else "yuv420p")
    values = (luma, np.full((height // 2, width // 2), cb, np.uint8), np.full((height // 2, width // 2), cr, np.uint8))
    for plane, value in zip(frame.planes, values, strict=True):
        samples = value.astype("<u2") * 4 + 1 if ten else value
        padded = np.zeros((plane.height, plane.line_size // samples.itemsize), samples.dtype)
        padded[:, : samples.shape[1]] = samples
        plane.update(padded.tobytes())
    return frame if frame.format.name == pix_fmt else frame.reformat(format=pix_fmt)


def write_clip(
    path: Path,
    times_s: Sequence[float],
    *,
    luma: Callable[[int], Image] = pattern,
    codec: str = "libx264",
    pix_fmt: str = "yuv420p",
    rotation_deg: int = 0,
    transfer: int = BT709,
    options: dict[str, str] | None = None,
    container: str = "mp4",
    time_base: Fraction = TIME_BASE,
) -> Path:
    """Write one picture for every time, in order; ``rotation_deg`` is the turn that makes it upright (mp4)."""
    first = luma(0)
    with av.open(
        str(path), "w", format=container, options={"movflags": "+faststart"} if container == "mp4" else {}
    ) as out:
        stream = out.add_stream(codec, rate=30, options=_coding(codec, options))
        stream.height, stream.width = first.shape
        stream.pix_fmt = pix_fmt
        stream.codec_context.time_base = time_base
        stream.codec_context.color_trc = transfer
        for index, t_s in enumerate(times_s):
            frame = picture(luma(index), pix_fmt=pix_fmt)
            frame.pts, frame.time_base = round(t_s / time_base), time_base
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    if rotation_deg:
        turn_clip(path, rotation_deg)
    return path


def _coding(codec: str, options: dict[str, str] | None) -> dict[str, str]:
    usual = {
        "libx264": {"crf": "10", "preset": "ultrafast", "threads": "1"},
        "libx265": {"preset": "ultrafast", "x265-params": "log-level=none:crf=10:pools=1:frame-threads=1"},
    }
    return {**usual.get(codec, {}), **(options or {})}


def turn_clip(path: Path, rotation_deg: int) -> None:
    """Set the display matrix in an mp4's first track header."""
    data = bytearray(path.read_bytes())
    at = data.index(b"tkhd") + 4
    start = at + (52 if data[at] == 1 else 40)
    a, b, c, d = (v << 16 for v in _TURNS[rotation_deg])
    data[start : start + 36] = struct.pack(">9i", a, b, 0, c, d, 0, 0, 0, 1 << 30)
    path.write_bytes(bytes(data))


def even_times(count: int, fps: float = 30.0) -> list[float]:
    """``count`` times at an even rate from 0, seconds."""
    return [k / fps for k in range(count)]


def write_sound(path: Path) -> Path:
    """An mp4 that holds only sound."""
    with av.open(str(path), "w", format="mp4") as out:
        stream = out.add_stream("aac", rate=48000)
        stream.layout = "mono"
        for k in range(8):
            frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = 48000, 1024 * k, Fraction(1, 48000)
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    return path


def cut(path: Path, share: float) -> Path:
    """Keep only the first part of a file."""
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    return path


def spoil(path: Path, share: float, length: int = 400) -> Path:
    """Overwrite some bytes at a place in the file with a fixed nonsense."""
    data = bytearray(path.read_bytes())
    start = int(len(data) * share)
    data[start : start + length] = np.random.default_rng(5).bytes(length)
    path.write_bytes(bytes(data))
    return path


def write_text(path: Path) -> Path:
    """A note named like a clip."""
    path.write_text("Practice on Tuesday, lanes 7 and 8.\n" * 40, encoding="utf-8")
    return path
