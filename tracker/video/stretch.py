"""A stretch of a clip decoded once more, from the key picture before it on: frames with the container's times."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import av
from av.error import FFmpegError

from tracker.video.clock import Clock
from tracker.video.facts import transfer_name
from tracker.video.planes import planes_of
from tracker.video.reader import Frame, nothing_decoded, rotation_of, upright
from tracker.video.source import Header, Pictures, clip_name, header_of, open_clip, video_stream

FULL_RANGE = 2
"""Code of a picture that uses all values from 0 on (the library's own)."""


@dataclass(frozen=True, slots=True)
class Colour:
    """What the samples of a clip mean; codes of ITU-T H.273, 2 where the file says nothing.

    Attributes
    ----------
    full_range : bool
        Luma from 0 to 255 instead of 16 to 235.
    transfer : str
        As in :class:`tracker.video.facts.ClipFacts`.
    primaries, transfer_code, matrix : int
    """

    full_range: bool = False
    transfer: str = "unknown"
    primaries: int = 2
    transfer_code: int = 2
    matrix: int = 2


class StretchReader:
    """Frames of a clip from the key picture before a time on; a context manager that closes the decoder.

    Times and turns are those of :class:`tracker.video.reader.ClipReader`, and one picture is held at a time.

    Parameters
    ----------
    path : path-like
        The clip.
    from_s : float
        Time in seconds; 0 reads from the clip's start, which a clip whose times jump back needs.
    threads : int
        Threads of the decoder.

    Attributes
    ----------
    tick : Fraction
        Length of one tick of the container's clock in seconds; times are whole ticks.
    colour : Colour
    first_frame : Frame
        The first frame decoded, at or before ``from_s`` where the clip has one there.

    Raises
    ------
    ClipError
        On entering, as :class:`tracker.video.reader.ClipReader`.
    """

    tick: Fraction
    colour: Colour
    first_frame: Frame

    def __init__(self, path: str | os.PathLike[str], from_s: float = 0.0, *, threads: int = 1) -> None:
        self._path = Path(path)
        self._name = clip_name(self._path)
        self._from_s = from_s
        self._threads = threads
        self._container: Any = None

    def __enter__(self) -> Self:
        try:
            if self._from_s <= 0 or not self._begins(self._from_s):
                self._begins(0.0)
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __iter__(self) -> Iterator[Frame]:
        """Frames in order of time, once."""
        yield self.first_frame
        yield from self._pass

    def close(self) -> None:
        """Close the decoder and the file."""
        if self._container is not None:
            self._container.close()
            self._container = None

    def _begins(self, from_s: float) -> bool:
        """Open, go to the key picture before a time and decode it; false where the file leads to a later one."""
        self.close()
        self._container = open_clip(self._path)
        stream = video_stream(self._container, self._name, self._threads)
        header = header_of(self._container, stream)
        self.tick = Fraction(stream.time_base)
        if from_s > 0 and not _sought(self._container, stream, header, from_s):
            return False
        self._pictures = Pictures(self._container, stream)
        self._pass = self._frames(header)
        first = next(self._pass, None)
        if first is None:
            if from_s > 0:
                return False
            raise nothing_decoded(self._name, damaged=self._pictures.damaged, skipped=0)
        self.first_frame = first
        return from_s <= 0 or first.t_s <= from_s

    def _frames(self, header: Header) -> Iterator[Frame]:
        clock = Clock(header.start_ticks, header.tick_s)
        stored: tuple[object, ...] | None = None
        rotation_deg = 0
        for picture in self._pictures:
            kind = (picture.width, picture.height, picture.format.name)
            if picture.pts is None or picture.is_corrupt or (stored is not None and kind != stored):
                continue
            index = len(clock.times_s)
            t_s = clock.seconds(picture.pts)
            if t_s is None:
                continue
            if stored is None:
                stored, rotation_deg, self.colour = kind, rotation_of(picture), _colour_of(picture, header)
            yield upright(planes_of(picture), rotation_deg, index, t_s)


def _sought(container: Any, stream: Any, header: Header, from_s: float) -> bool:
    try:
        container.seek(header.start_ticks + int(from_s / header.tick_s), stream=stream)
    except FFmpegError:
        return False
    return True


def _colour_of(picture: av.VideoFrame, header: Header) -> Colour:
    code = int(getattr(picture, "color_trc", None) or header.transfer_code or 2)
    full = int(picture.color_range) == FULL_RANGE or picture.format.name.startswith("yuvj")
    return Colour(full, transfer_name(code), int(picture.color_primaries), code, matrix=int(picture.colorspace))
