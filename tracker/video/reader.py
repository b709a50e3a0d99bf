"""Read a clip: upright frames with container times, in one forward pass and constant memory."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.video.clock import Clock
from tracker.video.errors import ClipError
from tracker.video.facts import ClipFacts, timing_of, transfer_name
from tracker.video.planes import Plane, Planes, planes_of, turn_of, turned, turned_copy, turned_site
from tracker.video.source import Header, Pictures, clip_name, header_of, open_clip, video_stream

Image = NDArray[np.uint8]

_CHROMA_NEUTRAL = 128
_SAMPLE_FIRST, _SAMPLE_PITCH = 4, 8
_SAMPLE_ROWS = (slice(_SAMPLE_FIRST, None, 16 * _SAMPLE_PITCH), slice(_SAMPLE_FIRST, None, _SAMPLE_PITCH))
_REPEAT_LIMIT = 12
"""Largest difference, of 255, in the sampled rows of a repeated picture.

In re-encoded clips with doubled frames a repeat differed by 5 to 20 and the next picture of a filmed scene by 20 to
100; a repeat that goes unnoticed costs less than a picture taken for one.
"""
_MISSING_END_S = 0.5
_MISSING_END_SHARE = 0.05
"""Times that end before the header's duration by more than both are a truncated clip."""


@dataclass(frozen=True, slots=True)
class Crop:
    """A copied rectangle of one frame.

    Attributes
    ----------
    luma : uint8 array of shape (h, w)
        Contiguous, h and w even.
    cb, cr : uint8 arrays of shape (h/2, w/2)
        Contiguous; 128 everywhere in a clip without colour.
    index : int
        Index of the frame.
    t_s : float
        Its time in seconds.
    left, top : int
        Place of the first pixel in the upright frame, even.
    """

    luma: Image
    cb: Image
    cr: Image
    index: int
    t_s: float
    left: int = 0
    top: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One frame of a clip: upright views of the decoded planes, neither copied nor converted.

    Holding a frame (or one of its arrays) holds the decoder's picture, 3 MB at 1920 x 1080: keep crops instead.

    Attributes
    ----------
    index : int
        Position among the frames handed over, from 0.
    t_s : float
        Container time in seconds after the stream's start.
    luma : uint8 or uint16 array of shape (H, W)
        Limited or full range as stored.
    chroma : tuple of two arrays of shape (H/2, W/2), or None
        Cb and Cr.
    bit_depth : int
        Bits of one sample.
    repeated : bool
        The picture is that of the frame before again, but for small errors of compression.
    """

    index: int
    t_s: float
    luma: Plane
    chroma: tuple[Plane, Plane] | None
    bit_depth: int
    repeated: bool = False

    @property
    def nbytes(self) -> int:
        """Bytes of the decoder's picture, as much as it takes with chroma at full resolution."""
        return self.luma.nbytes * 3

    def crop(self, left: int, top: int, width: int, height: int) -> Crop:
        """Copy a rectangle, widened to even pixels, as 8-bit samples (further bits are cut off).

        Parameters
        ----------
        left, top, width, height : int
            Rectangle in pixels of the upright frame.

        Raises
        ------
        ValueError
            If the rectangle is empty or reaches outside the frame.
        """
        rows, columns = self.luma.shape
        if width <= 0 or height <= 0 or min(left, top) < 0 or left + width > columns or top + height > rows:
            msg = (
                f"crop left {left}, top {top}, width {width}, height {height} does not lie inside the frame of "
                f"{columns} x {rows} pixels; clip the rectangle to the frame first"
            )
            raise ValueError(msg)
        x0, y0, x1, y1 = left // 2, top // 2, (left + width + 1) // 2, (top + height + 1) // 2
        luma = _copied(self.luma[2 * y0 : 2 * y1, 2 * x0 : 2 * x1], self.bit_depth)
        if self.chroma is None:
            cb, cr = (np.full((y1 - y0, x1 - x0), _CHROMA_NEUTRAL, np.uint8) for _ in range(2))
        else:
            cb, cr = (_copied(plane[y0:y1, x0:x1], self.bit_depth) for plane in self.chroma)
        return Crop(luma, cb, cr, self.index, self.t_s, 2 * x0, 2 * y0)

    def whole(self) -> Crop:
        """Copy the whole frame as 8-bit samples."""
        rows, columns = self.luma.shape
        return self.crop(0, 0, columns, rows)


def _copied(plane: Plane, bit_depth: int) -> Image:
    turn = turn_of(plane)
    stored = turned(plane, -turn % 360)
    eight = (stored if bit_depth == 8 else stored >> (bit_depth - 8)).astype(np.uint8, copy=False)
    return turned_copy(eight, turn)


def rotation_of(picture: av.VideoFrame) -> int:
    """Counter-clockwise turn in degrees (0, 90, 180 or 270) that makes a decoded picture upright."""
    return round(picture.rotation / 90) * 90 % 360


def upright(planes: Planes, rotation_deg: int, index: int, t_s: float, *, repeated: bool = False) -> Frame:
    """A frame of a picture's planes, turned."""
    chroma = planes.chroma and (turned(planes.chroma[0], rotation_deg), turned(planes.chroma[1], rotation_deg))
    return Frame(index, t_s, turned(planes.luma, rotation_deg), chroma, planes.layout.bit_depth, repeated)


def nothing_decoded(name: str, *, damaged: bool, skipped: int) -> ClipError:
    """The error of a clip of which not one frame could be read."""
    if damaged:
        detail = f"{name}: the picture data is damaged or cut off from its start; copy the clip again."
        return ClipError(reason="clip_truncated", detail=detail)
    why = f" ({skipped} had no time or were damaged)" if skipped else ""
    return ClipError("no_frames", f"{name}: no frame could be read{why}; export or record the clip again.")


class ClipReader:
    """One forward pass over a clip; a context manager that always closes the decoder.

    Times are the container's presentation times in seconds, less the start time of the video stream, so the first frame
    is normally at 0. Equal times and small steps back are left out and counted; a jump back of more than half a second
    (joined clips) continues one median interval after the frame before and is counted in ``time_resets``.

    Data that ends or breaks in the middle ends the pass quietly: the frames so far stand and the facts say
    ``truncated``.

    Parameters
    ----------
    path : path-like
        The clip.
    threads : int
        Threads of the decoder. Give 1 (the default) in a process of a batch; more pay only when one clip is read on an
        idle machine. Decoder threads must never call back into Python: do not switch the libraries' logging on while
        threads run, and start worker processes before, not while, a clip is open, or the two can wait for each other.
    min_frames : int
        Fewer frames than this at the end of the pass are an error.

    Attributes
    ----------
    width, height : int
        Size of the upright frame in pixels.
    rotation_deg : int
        0, 90, 180 or 270: counter-clockwise turn that makes the stored pictures upright.
    chroma_site : (float, float)
        Where the first chroma sample lies in luma pixels (u, v) of the upright frame, pixel centres at +0.5 (the usual
        left siting is assumed; files rarely say).
    first_frame : Frame
        Frame 0. It, the sizes and the rotation are known after ``__enter__``.

    Raises
    ------
    ClipError
        On entering, with the reason; at the end of the pass ``too_few_frames``.
    """

    width: int
    height: int
    rotation_deg: int
    chroma_site: tuple[float, float]
    first_frame: Frame

    def __init__(self, path: str | os.PathLike[str], *, threads: int = 1, min_frames: int = 2) -> None:
        if threads < 1:
            msg = f"threads is {threads}; give 1 or more"
            raise ValueError(msg)
        self._path = Path(path)
        self._name = clip_name(self._path)
        self._threads = threads
        self._min_frames = min_frames
        self._container: Any = None
        self._used = False
        self._complete = False
        self._skipped = 0
        self._repeated = 0
        self._last: Plane | None = None

    def __enter__(self) -> Self:
        self._container = open_clip(self._path)
        try:
            self._start()
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __iter__(self) -> Iterator[Frame]:
        """Frames in order of time, once.

        Raises
        ------
        RuntimeError
            If the reader is not open or was iterated before.
        ClipError
            ``too_few_frames`` at the end.
        """
        if self._container is None or self._used:
            msg = "a clip reader gives its frames once, inside its with block; open the clip again for another pass"
            raise RuntimeError(msg)
        self._used = True
        return self._whole_pass()

    def close(self) -> None:
        """Close the decoder and the file; frames already handed over and the facts stay."""
        if self._container is not None:
            self._container.close()
            self._container = None

    def facts(self) -> ClipFacts:
        """Facts of the clip: complete after the pass, before it what the header and the first frame say."""
        timing = timing_of(self._clock.times_s if self._complete else (), self._header.tick_s)
        header, done = self._header, self._complete
        return ClipFacts(
            name=self._name,
            codec=header.codec,
            pixel_format=self._pixel_format,
            bit_depth=self.first_frame.bit_depth,
            transfer=self._transfer,
            width=self.width,
            height=self.height,
            rotation_deg=self.rotation_deg,
            frames=len(self._clock.times_s) if done else header.frames,
            duration_s=timing.duration_s if done else header.duration_s,
            nominal_fps=timing.nominal_fps if done else header.average_fps,
            interval_median_s=timing.interval_median_s,
            interval_min_s=timing.interval_min_s,
            interval_max_s=timing.interval_max_s,
            variable_rate=timing.variable_rate,
            missing_frames=timing.missing_frames,
            duplicate_frames=timing.duplicate_frames + self._clock.equal,
            repeated_frames=self._repeated,
            out_of_order=self._clock.backward,
            skipped_frames=self._skipped,
            time_resets=self._clock.resets,
            truncated=self._pictures.damaged or (done and self._ends_early(timing.duration_s)),
            complete=done,
            decoder=decoder_versions(),
            capture_fps=header.capture_fps,
            bits_per_pixel=self._bits_per_pixel() if done else None,
        )

    def _bits_per_pixel(self) -> float:
        return 8.0 * self._pictures.bytes / (len(self._clock.times_s) * self.width * self.height)

    def _start(self) -> None:
        """Choose the stream and decode its first frame."""
        stream = video_stream(self._container, self._name, self._threads)
        self._header: Header = header_of(self._container, stream)
        self._clock = Clock(self._header.start_ticks, self._header.tick_s)
        self._pictures = Pictures(self._container, stream)
        self._pass = self._frames()
        try:
            self.first_frame = next(self._pass)
        except StopIteration:
            raise nothing_decoded(self._name, damaged=self._pictures.damaged, skipped=self._skipped) from None
        self.height, self.width = self.first_frame.luma.shape

    def _whole_pass(self) -> Iterator[Frame]:
        yield self.first_frame
        yield from self._pass
        self._complete = True
        count = len(self._clock.times_s)
        if count < self._min_frames:
            detail = (
                f"{self._name}: only {count} of at least {self._min_frames} frames could be read; "
                "give the whole clip, not a still or its first moments."
            )
            raise ClipError(reason="too_few_frames", detail=detail)

    def _frames(self) -> Iterator[Frame]:
        stored: tuple[object, ...] | None = None
        for picture in self._pictures:
            kind = (picture.width, picture.height, picture.format.name)
            if picture.pts is None or picture.is_corrupt or (stored is not None and kind != stored):
                self._skipped += 1
                continue
            index = len(self._clock.times_s)
            t_s = self._clock.seconds(picture.pts)
            if t_s is None:
                continue
            if stored is None:
                stored = kind
                self._look_at(picture)
            yield self._frame(picture, index, t_s)

    def _look_at(self, first: av.VideoFrame) -> None:
        """Note what the first picture says of all."""
        self._pixel_format = str(first.format.name)
        self._transfer = transfer_name(getattr(first, "color_trc", None) or self._header.transfer_code)
        self.rotation_deg = rotation_of(first)
        self.chroma_site = turned_site(planes_of(first).layout.site, self.rotation_deg)

    def _frame(self, picture: av.VideoFrame, index: int, t_s: float) -> Frame:
        planes = planes_of(picture)
        repeated = self._last is not None and self._is_repeat(planes.luma, self._last)
        self._last = planes.luma
        self._repeated += repeated
        return upright(planes, self.rotation_deg, index, t_s, repeated=repeated)

    def _is_repeat(self, luma: Plane, last: Plane) -> bool:
        """Compare the middle one of some rows, which settles nearly every frame, then a few of them, then all."""
        limit = _REPEAT_LIMIT << (self.first_frame.bit_depth - 8)
        middle = luma.shape[0] // 2 // _SAMPLE_PITCH * _SAMPLE_PITCH + _SAMPLE_FIRST
        samples = slice(middle, middle + 1), *_SAMPLE_ROWS
        return all(cv2.norm(luma[rows], last[rows], cv2.NORM_INF) <= limit for rows in samples)

    def _ends_early(self, duration_s: float) -> bool:
        missing_s = self._header.duration_s - duration_s
        return missing_s > max(_MISSING_END_S, _MISSING_END_SHARE * self._header.duration_s)


def decoder_versions() -> str:
    """Versions of the decoding libraries, for provenance."""
    codec, container = (
        ".".join(map(str, av.library_versions.get(name, ("?",)))) for name in ("libavcodec", "libavformat")
    )
    return f"PyAV {av.__version__}, libavcodec {codec}, libavformat {container}"
