"""A handful of whole upright pictures spread over a clip, without decoding all of it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import av
import numpy as np
from av.error import FFmpegError
from numpy.typing import NDArray

from tracker.video.clock import RESET_S
from tracker.video.errors import ClipError
from tracker.video.planes import planes_of, turned_site
from tracker.video.reader import Crop, nothing_decoded, rotation_of, upright
from tracker.video.source import Pictures, clip_name, header_of, open_clip, video_stream

Array = NDArray[np.float64]

ENOUGH_KEYS = 5
"""With fewer key pictures than this a clip is decoded on from its start: phones write one a second, messengers few."""
SPAN_S = 12.0
"""A clip that must be decoded on is looked at no further than this, which bounds the cost."""


@dataclass(frozen=True, slots=True)
class Stills:
    """Whole upright pictures of one clip in order of time.

    Attributes
    ----------
    name : str
        File name of the clip.
    pictures : tuple of Crop
        At least one; ``index`` counts the container's times from 0, -1 where the container did not list the time.
    width, height : int
        Size of the upright frame in pixels, even.
    rotation_deg : int
        Counter-clockwise turn that made the stored pictures upright.
    chroma_site : (float, float)
        Where the first chroma sample lies, see :class:`tracker.video.reader.ClipReader`.
    duration_s : float
        From the first time in the container to the end of the last interval; to the first jump back if clips were
        joined. The header's where the container lists no times.
    keys_only : bool
        The pictures are key pictures from all over the clip; otherwise they come from its first 12 s.
    """

    name: str
    pictures: tuple[Crop, ...]
    width: int
    height: int
    rotation_deg: int
    chroma_site: tuple[float, float]
    duration_s: float
    keys_only: bool


def read_stills(path: str | os.PathLike[str], count: int = 9, *, threads: int = 1) -> Stills:
    """Read a few whole pictures of a clip.

    Only key pictures are decoded where there are five (or ``count``, if that is less): then the cost is that of
    ``count`` pictures however long the clip. Otherwise the clip is decoded from its start for at most 12 s, without the
    pictures that no other one needs, and pictures at evenly spread container times are kept. A clip of a single picture
    gives that one.

    Parameters
    ----------
    path : path-like
        The clip.
    count : int
        Most pictures to give.
    threads : int
        Threads of the decoder.

    Raises
    ------
    ClipError
        As :class:`tracker.video.reader.ClipReader` on entering.
    ValueError
        For a count or threads below 1.
    """
    if min(count, threads) < 1:
        msg = f"count is {count} and threads is {threads}; give 1 or more of each"
        raise ValueError(msg)
    source = _Source(Path(path), threads)
    keys = source.listing.key_ticks
    enough = min(ENOUGH_KEYS, count)
    taken = _key_pictures(source, keys, count) if len(keys) >= enough else None
    keys_only = taken is not None and len(taken.pictures) >= enough
    if taken is None or not keys_only:
        taken = _spread_pictures(source, count)
    return taken.stills(keys_only=keys_only)


@dataclass(frozen=True, slots=True)
class _Listing:
    """Times of a stream's packets in ticks, rising, up to the first jump back, and the clock they are on."""

    ticks: tuple[int, ...]
    key_ticks: tuple[int, ...]
    start_ticks: int
    tick_s: float
    header_duration_s: float

    def seconds(self, ticks: int) -> float:
        return (ticks - self.start_ticks) * self.tick_s

    @property
    def duration_s(self) -> float:
        if not self.ticks:
            return self.header_duration_s
        steps = [later - earlier for earlier, later in pairwise(self.ticks)]
        return (self.ticks[-1] - self.ticks[0] + (float(np.median(steps)) if steps else 0.0)) * self.tick_s


class _Source:
    """A clip to be opened more than once, and what its packets say without being decoded."""

    def __init__(self, path: Path, threads: int) -> None:
        self.name = clip_name(path)
        self._path, self._threads = path, threads
        with open_clip(path) as container:
            stream = self.stream(container)
            header = header_of(container, stream)
            ticks, keys = _packet_ticks(container, stream, RESET_S / header.tick_s)
        self.listing = _Listing(ticks, keys, header.start_ticks, header.tick_s, header_duration_s=header.duration_s)

    def open(self) -> Any:
        return open_clip(self._path)

    def stream(self, container: Any) -> Any:
        return video_stream(container, self.name, self._threads)


def _packet_ticks(container: Any, stream: Any, reset_ticks: float) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Presentation times of all packets and of the key ones; data that breaks off ends the list."""
    every: set[int] = set()
    keys: set[int] = set()
    latest: int | None = None
    try:
        for packet in container.demux(stream):
            ticks = packet.dts if packet.pts is None else packet.pts
            if ticks is None or not packet.size:
                continue
            order = ticks if packet.dts is None else packet.dts
            if latest is not None and order < latest - reset_ticks:
                break
            latest = order if latest is None else max(order, latest)
            every.add(ticks)
            if packet.is_keyframe:
                keys.add(ticks)
    except FFmpegError:
        pass
    return tuple(sorted(every)), tuple(sorted(keys))


class _Taken:
    """Pictures kept so far, all of the first one's size and format."""

    def __init__(self, source: _Source) -> None:
        self.pictures: list[Crop] = []
        self.damaged = False
        self._source = source
        self._skipped = 0
        self._kind: tuple[object, ...] | None = None
        self._rotation_deg = 0
        self._chroma_site = (0.0, 0.0)

    def usable(self, pictures: Iterator[av.VideoFrame]) -> Iterator[tuple[int, av.VideoFrame]]:
        """Sound pictures of one kind with their times in ticks, rising."""
        last: int | None = None
        for picture in pictures:
            kind = (picture.width, picture.height, picture.format.name)
            ticks = picture.pts
            if ticks is None or picture.is_corrupt or (self._kind is not None and kind != self._kind):
                self._skipped += 1
            elif last is None or ticks > last:
                if self._kind is None:
                    self._look_at(picture, kind)
                last = ticks
                yield ticks, picture

    def take(self, ticks: int, picture: av.VideoFrame) -> None:
        """Copy one picture."""
        listing = self._source.listing
        place = int(np.searchsorted(listing.ticks, ticks))
        index = place if place < len(listing.ticks) and listing.ticks[place] == ticks else -1
        frame = upright(planes_of(picture), self._rotation_deg, index, listing.seconds(ticks))
        self.pictures.append(frame.whole())

    def stills(self, *, keys_only: bool) -> Stills:
        """What was read; ClipError if that is nothing."""
        if not self.pictures:
            raise self._nothing()
        height, width = self.pictures[0].luma.shape
        return Stills(
            name=self._source.name,
            pictures=tuple(self.pictures),
            width=width,
            height=height,
            rotation_deg=self._rotation_deg,
            chroma_site=self._chroma_site,
            duration_s=self._source.listing.duration_s,
            keys_only=keys_only,
        )

    def _nothing(self) -> ClipError:
        return nothing_decoded(self._source.name, damaged=self.damaged, skipped=self._skipped)

    def _look_at(self, first: av.VideoFrame, kind: tuple[object, ...]) -> None:
        self._kind = kind
        self._rotation_deg = rotation_of(first)
        self._chroma_site = turned_site(planes_of(first).layout.site, self._rotation_deg)


def _key_pictures(source: _Source, key_ticks: tuple[int, ...], count: int) -> _Taken:
    """Decode key pictures spread evenly over all of them; nothing else is handed to the decoder."""
    chosen = {key_ticks[round(k)] for k in np.linspace(0, len(key_ticks) - 1, min(count, len(key_ticks)))}
    taken = _Taken(source)
    with source.open() as container:
        stream = source.stream(container)
        stream.codec_context.skip_frame = "NONKEY"
        pictures = Pictures(
            container, stream, lambda p: p.is_keyframe and (p.dts if p.pts is None else p.pts) in chosen
        )
        for ticks, picture in taken.usable(iter(pictures)):
            if len(taken.pictures) < count:
                taken.take(ticks, picture)
        taken.damaged = pictures.damaged
    return taken


def _spread_pictures(source: _Source, count: int) -> _Taken:
    """Decode from the start and keep the first picture at or after each of ``count`` even times, and the last one."""
    wanted = list(_even_ticks(source.listing, count))
    taken = _Taken(source)
    with source.open() as container:
        stream = source.stream(container)
        stream.codec_context.skip_frame = "NONREF"
        pictures = Pictures(container, stream)
        last: tuple[int, av.VideoFrame] | None = None
        for ticks, picture in taken.usable(iter(pictures)):
            last = ticks, picture
            if ticks >= wanted[0]:
                taken.take(ticks, picture)
                wanted, last = [w for w in wanted if w > ticks], None
            if not wanted:
                break
        if wanted and last is not None:
            taken.take(*last)
        taken.damaged = pictures.damaged
    return taken


def _even_ticks(listing: _Listing, count: int) -> Array:
    """Even times in ticks ``(count,)`` over the clip or its first 12 s."""
    if not listing.ticks:
        return np.full(1, listing.start_ticks, dtype=np.float64)
    first = listing.ticks[0]
    last = min(listing.ticks[-1], first + SPAN_S / listing.tick_s)
    return np.linspace(first, last, count)
