"""Time finding the lanes beside the line detector and decoding: ``python tests/bench/bench_finder.py CLIP [CLIP ..]``.

Prints one line a number: name, value, unit. Processor time, the best of several runs, on one thread.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import av
import cv2

from calibration.find import find_lanes
from calibration.finding.lines import find_segments
from tracker.lane.clean import clean_picture
from tracker.video.stills import read_stills

RUNS = 5


def seconds(run: Callable[[], object]) -> float:
    """Processor seconds of one call."""
    start = time.process_time()
    run()
    return time.process_time() - start


def decode_a_second(path: Path) -> None:
    """Decode what the first second of the clip holds."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.codec_context.thread_count = 1
        for frame in container.decode(stream):
            if frame.time is not None and frame.time > 1.0:
                return


def main() -> None:
    """Take turns between the ways so that other load on the machine meets all of them alike."""
    cv2.setNumThreads(1)
    for name in sys.argv[1:]:
        path = Path(name)
        clean = clean_picture(read_stills(path))
        ways: dict[str, Callable[[], object]] = {
            "find_lanes": lambda clean=clean: find_lanes(clean.luma, clean.doubt),
            "segments": lambda clean=clean: find_segments(clean.luma),
            "decode_1s": lambda path=path: decode_a_second(path),
        }
        best = dict.fromkeys(ways, float("inf"))
        for _ in range(RUNS):
            best = {way: min(best[way], seconds(run)) for way, run in ways.items()}
        height, width = clean.luma.shape
        for way, value in best.items():
            sys.stdout.write(f"{path.stem}_{width}x{height}_{way} {value:.3f} s\n")
        for other in ("segments", "decode_1s"):
            sys.stdout.write(f"{path.stem}_find_lanes_over_{other} {best['find_lanes'] / best[other]:.1f}\n")


if __name__ == "__main__":
    main()
