"""Pictures with their times into an H.264 file that phones play, the same bytes for the same pictures."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import av
import av.codec
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]

ENCODER = "libx264"
CODING = {"preset": "veryfast", "crf": "21", "bf": "0", "threads": "1", "profile": "high"}
"""No picture waits for a later one, so that times begin at 0 in every player; one thread, so that bytes repeat."""
_BITEXACT = 1 << 23
"""Flag of the library under which it writes neither its name nor a date."""


def encoder_here() -> bool:
    """Whether the installed library can write H.264."""
    try:
        av.codec.Codec(ENCODER, "w")
    except ValueError:
        return False
    return True


class VideoWriter:
    """An MP4 file of H.264 pictures; a context manager that finishes the file.

    Nothing but pictures, their times and what their colours mean goes into it.

    Parameters
    ----------
    file : Path
        Written anew.
    size : (int, int)
        Width and height, even.
    tick : Fraction
        Length of one tick of the pictures' times in seconds.
    fps : float
        Usual pictures a second, for the encoder's choice of a level; times do not follow from it.
    codes : (int, int, int)
        Primaries, transfer and matrix of the pictures' colours (ITU-T H.273), 2 for unknown.

    Raises
    ------
    av.error.FFmpegError, ValueError, OSError
        Where the file cannot be written or there is no encoder.
    """

    def __init__(
        self, file: Path, size: tuple[int, int], tick: Fraction, *, fps: float, codes: tuple[int, int, int]
    ) -> None:
        options = {"movflags": "+faststart", "fflags": "+bitexact", "video_track_timescale": str(tick.denominator)}
        self._out = av.open(f"file:{file.absolute()}", "w", format="mp4", options=options)
        try:
            self._stream = self._add_stream(size, tick, fps, codes)
        except BaseException:
            self._out.close()
            raise
        self._tick = tick

    def _add_stream(self, size: tuple[int, int], tick: Fraction, fps: float, codes: tuple[int, int, int]) -> Any:
        stream: Any = self._out.add_stream(ENCODER, rate=Fraction(fps).limit_denominator(1001), options=CODING)
        stream.width, stream.height = size
        stream.pix_fmt = "yuv420p"
        context = stream.codec_context
        context.time_base = tick
        context.thread_count = 1
        context.flags |= _BITEXACT
        context.color_range = 1
        context.color_primaries, context.color_trc, context.colorspace = codes
        return stream

    def write(self, picture: Image, ticks: int) -> None:
        """Add a picture ``(3 H / 2, W)`` at a time in ticks, later than the one before."""
        frame = av.VideoFrame.from_ndarray(picture, format="yuv420p")
        frame.pts, frame.time_base = ticks, self._tick
        self._out.mux(self._stream.encode(frame))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                self._out.mux(self._stream.encode(None))
        finally:
            self._out.close()
