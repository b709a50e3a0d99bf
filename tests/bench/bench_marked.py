"""Processor time of marked-up videos beside how long they play and beside decoding.

``python bench_marked.py OUT CLIP``: OUT is a folder in which CLIP is measured (``sixtyfeet measure CLIP -o OUT``). For
every shot: seconds of processor time of its video, divided by its duration and by the time that decoding the same
stretch takes, and the largest memory of the process so far.
"""

from __future__ import annotations

import json
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import av

from tracker.report.marked.make import marked_video
from tracker.report.marked.told import read_told
from tracker.report.marked.view import stretch_s
from tracker.video.source import clip_name
from tracker.video.stretch import StretchReader

RUNS = 2


def best(work: Callable[[], object]) -> float:
    """Least processor time of a few runs, seconds."""
    taken = []
    for _ in range(RUNS):
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return min(taken)


def decode(clip: Path, begin_s: float, end_s: float) -> None:
    """Read the stretch and do nothing with it."""
    with StretchReader(clip, begin_s) as reader:
        for frame in reader:
            if frame.t_s > end_s:
                return


def bench(folder: Path, clip: Path, file: Path) -> str:
    """One line about a shot's video."""
    shot_json, path_csv = (folder / "shot.json").read_bytes(), (folder / "path.csv").read_bytes()
    told = read_told(shot_json, path_csv)
    if told is None:
        return f"{folder.name}: no video"
    making = best(lambda: marked_video(clip, shot_json, path_csv, file))
    decoding = best(lambda: decode(clip, *stretch_s(told)))
    with av.open(str(file)) as container:
        stream = container.streams.video[0]
        plays = float((stream.duration or 0) * (stream.time_base or 0))
        size = f"{stream.width}x{stream.height}, {stream.frames} pictures"
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return (
        f"{folder.name}: {size}, plays {plays:.2f} s; {making:.2f} s = {making / plays:.2f} of its duration, "
        f"{making / decoding:.1f} of decoding ({decoding:.2f} s); {memory:.0f} MB"
    )


def main(out: Path, clip: Path) -> None:
    """Print a line a shot."""
    with tempfile.TemporaryDirectory() as folder:
        for file in sorted(out.glob("*/shot.json")):
            if json.loads(file.read_text(encoding="utf-8"))["clip"] == clip_name(clip):
                sys.stdout.write(f"{bench(file.parent, clip, Path(folder) / 'v.mp4')}\n")


if __name__ == "__main__":
    main(*(Path(argument) for argument in sys.argv[1:3]))
