"""Frames decoded some at a time: a decoder empties the processor's caches of everything that looks at its frames."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from tracker.video.reader import Frame

MOST = 8
MOST_BYTES = 64_000_000
"""So many frames wait at most: eight of 1080p in 8 bits, two of 4K, one of 4K in 10 bits."""


def in_bursts(frames: Iterable[Frame]) -> Iterator[list[Frame]]:
    """Frames in order, as many at a time as may wait; none of a list is kept once the next is asked for."""
    burst: list[Frame] = []
    waiting = 0
    for frame in frames:
        burst.append(frame)
        waiting += frame.nbytes
        if len(burst) >= MOST or waiting + frame.nbytes > MOST_BYTES:
            yield burst
            burst, waiting = [], 0
    if burst:
        yield burst
