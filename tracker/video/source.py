"""Open a file as a clip: the checks before decoding, and decoded pictures until the data ends or is damaged."""

from __future__ import annotations

import os
import statistics
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
from av.error import FFmpegError

from tracker.video.errors import ClipError

CONTAINERS = "mov,mp4,matroska,webm,avi,mpegts,mpeg,gif"
"""Containers that are opened; playlists, still pictures and text, which the libraries would also take, are not."""

CAPTURE_KEY = "com.android.capture.fps"
"""Entry of a container's metadata in which many phones note the rate at which a clip was recorded."""
_ISO_BOXES = frozenset({b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"})
_HEAD_BYTES = 16
_MAX_BAD_STARTS = 300


def clip_name(path: Path) -> str:
    """File name as printable text; undecodable bytes and control characters become escapes."""
    text = os.fsencode(path.name).decode("utf-8", "backslashreplace")
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def open_clip(path: Path) -> Any:
    """Open a container for reading.

    Raises
    ------
    ClipError
        ``clip_missing``, ``clip_empty``, ``clip_unreadable``, ``clip_truncated`` or ``not_a_video``.
    """
    name = clip_name(path)
    head = _head(path, name)
    try:
        return av.open(_address(path), options={"format_whitelist": CONTAINERS, "protocol_whitelist": "file"})
    except (FFmpegError, UnicodeError) as exc:
        if head[4:8] in _ISO_BOXES:
            detail = (
                f"{name}: the file begins like a clip but its index is missing, so it was cut off while it was "
                "recorded or copied; copy it from the phone again."
            )
            raise ClipError(reason="clip_truncated", detail=detail) from exc
        detail = (
            f"{name}: this is not a video file that can be read; give a clip as the phone recorded it (mp4 or mov)."
        )
        raise ClipError(reason="not_a_video", detail=detail) from exc


def _head(path: Path, name: str) -> bytes:
    """First bytes of a regular file."""
    try:
        if path.exists() and not path.is_file():
            raise ClipError(reason="not_a_video", detail=f"{name}: this is not a file; give the clip itself.")
        with path.open("rb") as stream:
            head = stream.read(_HEAD_BYTES)
    except FileNotFoundError as exc:
        raise ClipError(
            reason="clip_missing", detail=f"{name}: there is no such file; check the name and the folder."
        ) from exc
    except OSError as exc:
        detail = f"{name}: the file cannot be read ({exc.strerror or exc}); check its permissions."
        raise ClipError(reason="clip_unreadable", detail=detail) from exc
    if not head:
        raise ClipError(reason="clip_empty", detail=f"{name}: the file is empty; copy it from the phone again.")
    return head


def _address(path: Path) -> str:
    """Give a file name that is never taken for a protocol (``a:b.mp4``) or an option."""
    return f"file:{path.absolute()}"


def video_stream(container: Any, name: str, threads: int) -> Any:
    """Choose the first moving picture of a container and set its decoder's threads.

    Raises
    ------
    ClipError
        ``no_video_stream``, or ``clip_unreadable`` where the codec has no decoder here.
    """
    streams = [s for s in container.streams.video if not _is_cover(s)]
    if not streams:
        detail = f"{name}: the file holds no moving picture (sound only?); give the video clip."
        raise ClipError(reason="no_video_stream", detail=detail)
    stream = streams[0]
    if stream.codec_context is None:
        detail = f"{name}: the installed decoder does not know this clip's codec; convert the clip to H.264."
        raise ClipError(reason="clip_unreadable", detail=detail)
    stream.codec_context.thread_count = threads
    stream.codec_context.thread_type = "SLICE" if threads == 1 else "AUTO"
    return stream


@dataclass(frozen=True, slots=True)
class Header:
    """What the container says of a stream before anything is decoded.

    Attributes
    ----------
    codec : str
    frames : int
        0 if it does not say.
    duration_s : float
        0 if it does not say.
    average_fps : float or None
    start_ticks : int
        Start time of the stream on its own clock.
    tick_s : float
        Length of one tick in seconds.
    transfer_code : int or None
        Transfer characteristic (ITU-T H.273).
    capture_fps : float or None
        Frames a second at which the file says that it was recorded; slow motion is stored at fewer.
    """

    codec: str
    frames: int
    duration_s: float
    average_fps: float | None
    start_ticks: int
    tick_s: float
    transfer_code: int | None
    capture_fps: float | None = None


def header_of(container: Any, stream: Any) -> Header:
    """Read a stream's header."""
    tick_s = float(stream.time_base)
    whole_file_s = (container.duration or 0) / av.time_base
    duration_s = whole_file_s if stream.duration is None else stream.duration * tick_s
    return Header(
        codec=str(stream.codec_context.name),
        frames=int(stream.frames or 0),
        duration_s=max(float(duration_s), 0.0),
        average_fps=float(stream.average_rate) if stream.average_rate else None,
        start_ticks=int(stream.start_time or 0),
        tick_s=tick_s,
        transfer_code=getattr(stream.codec_context, "color_trc", None),
        capture_fps=_capture_fps({**container.metadata, **stream.metadata}),
    )


def _capture_fps(metadata: dict[str, str]) -> float | None:
    try:
        rate = float(metadata.get(CAPTURE_KEY, ""))
    except ValueError:
        return None
    return rate if 1.0 <= rate < 1e5 else None


def _is_cover(stream: Any) -> bool:
    flags = getattr(stream, "disposition", None)
    return flags is not None and "attached_pic" in str(flags).lower()


class Pictures:
    """Decoded pictures of one stream in order, one pass; an error in the data ends the pass and sets ``damaged``.

    ``bytes`` counts the data read so far.

    Errors before the first picture are passed over: a stream may start between two key pictures.

    Parameters
    ----------
    container, stream
        Open container and one of its streams.
    wanted : callable, optional
        Says of a packet with data whether to decode it; the rest of the packets are only read.
    """

    def __init__(self, container: Any, stream: Any, wanted: Callable[[Any], bool] | None = None) -> None:
        self.damaged = False
        self.bytes = 0
        self._wanted = wanted
        self._container = container
        self._stream = stream
        self._bad_starts = 0

    def __iter__(self) -> Iterator[av.VideoFrame]:
        started = False
        for packet in self._packets():
            if self._wanted is not None and packet.size and not self._wanted(packet):
                continue
            try:
                pictures = packet.decode()
            except FFmpegError:
                if started or self._bad_starts >= _MAX_BAD_STARTS:
                    self.damaged = True
                    break
                self._bad_starts += 1
                continue
            started = started or bool(pictures)
            yield from pictures
        if self.damaged:
            yield from self._rest()

    def _packets(self) -> Iterator[Any]:
        """Packets until the data ends; a broken one counts as the end only if nothing follows it."""
        broken = None
        try:
            for packet in self._container.demux(self._stream):
                if broken is not None and packet.size:
                    yield broken
                    broken = None
                self.bytes += packet.size
                if packet.is_corrupt:
                    broken = packet
                else:
                    yield packet
        except FFmpegError:
            self.damaged = True
        self.damaged = self.damaged or broken is not None

    def _rest(self) -> Iterator[av.VideoFrame]:
        """Pictures the decoder had finished but not yet handed over."""
        try:
            yield from self._stream.codec_context.decode(None)
        except FFmpegError:
            return


def median_interval_s(path: Path) -> float:
    """Median interval between pictures in seconds by the container's times alone, without decoding.

    Raises
    ------
    ClipError
        If the clip cannot be opened or has fewer than two times.
    """
    with open_clip(path) as container:
        stream = video_stream(container, clip_name(path), threads=1)
        times = sorted(float(p.pts) * float(stream.time_base) for p in container.demux(stream) if p.pts is not None)
    if len(times) < 2:
        reason, detail = "too_few_frames", f"{clip_name(path)}: fewer than two pictures carry a time"
        raise ClipError(reason, detail)
    return statistics.median(later - earlier for earlier, later in pairwise(times))
