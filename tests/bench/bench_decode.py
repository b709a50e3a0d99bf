"""Time decoding alone and through the reader: ``python tests/bench/bench_decode.py CLIP [threads ..]``.

Prints one line a number: name, value, unit. Processor time and wall time are the best of several runs.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import av

from tracker.video.reader import ClipReader

RUNS = 7


def decode_bare(path: Path, threads: int) -> int:
    """Decode without looking at the pictures."""
    count = 0
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.codec_context.thread_count = threads
        stream.codec_context.thread_type = "SLICE" if threads == 1 else "AUTO"
        for _ in container.decode(stream):
            count += 1
    return count


def decode_read(path: Path, threads: int) -> int:
    """Read through the reader without looking at the frames."""
    with ClipReader(path, threads=threads) as clip:
        return sum(1 for _ in clip)


def decode_crop(path: Path, threads: int) -> int:
    """Read and keep a crop of the middle half by half of each frame, as a measurement does."""
    count = 0
    with ClipReader(path, threads=threads) as clip:
        for frame in clip:
            frame.crop(clip.width // 4, clip.height // 4, clip.width // 2, clip.height // 2)
            count += 1
    return count


def milliseconds_a_frame(run: Callable[[Path, int], int], path: Path, threads: int) -> tuple[float, float]:
    """Processor and wall milliseconds a frame of one run."""
    wall, processor = time.perf_counter(), time.process_time()
    count = run(path, threads)
    return 1e3 * (time.process_time() - processor) / count, 1e3 * (time.perf_counter() - wall) / count


def overhead_us(path: Path, rounds: int = 1000) -> float:
    """Microseconds a frame of the reader itself on pictures already decoded, far below the scatter of decoding."""
    best = float("inf")
    with ClipReader(path) as clip:
        pictures = [picture for picture, _ in zip(clip._pictures, range(3), strict=False)]
        for _ in range(RUNS):
            start = time.process_time()
            for k in range(rounds):
                clip._frame(pictures[k % 3], k, 0.0)
            best = min(best, time.process_time() - start)
    return 1e6 * best / rounds


def main() -> None:
    """Take turns between the ways so that other load on the machine meets all of them alike."""
    path = Path(sys.argv[1])
    for threads in map(int, sys.argv[2:] or ["1", "2"]):
        ways = {"bare": decode_bare, "reader": decode_read, "reader_crop": decode_crop}
        best = dict.fromkeys(ways, (float("inf"), float("inf")))
        for _ in range(RUNS):
            for name, run in ways.items():
                now = milliseconds_a_frame(run, path, threads)
                best[name] = (min(best[name][0], now[0]), min(best[name][1], now[1]))
        for name, (processor_ms, wall_ms) in best.items():
            sys.stdout.write(f"{name}_threads{threads}_cpu {processor_ms:.3f} ms/frame\n")
            sys.stdout.write(f"{name}_threads{threads}_wall {wall_ms:.3f} ms/frame\n")
    sys.stdout.write(f"reader_alone {overhead_us(path):.1f} us/frame\n")


if __name__ == "__main__":
    main()
