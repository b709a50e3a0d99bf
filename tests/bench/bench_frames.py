"""Time watching a clip against decoding it, and the memory of a long one: ``python tests/bench/bench_frames.py``.

Decoding to luma alone and watching (decoding, lane crops, their light and the ball watcher) take turns on one thread;
opening the file and its first frame are left out of both. Clips are those of ``sample_media`` and, where there are any,
the rendered clips beside the checkout (``SIXTYFEET_CLIPS``); give stems to choose some. Prints one line a number: name,
value, unit. Processor times are the best of several runs.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import av
import cv2
import numpy as np

import sample_media
from calibration.camera import Camera
from calibration.lane import BALL_RADIUS_IN
from calibration.marks import read_marks
from calibration.solve import Solution, solve
from tracker.detection.region import LaneRegion, lane_region
from tracker.detection.watch import BallWatcher, Pace
from tracker.video.light import Evener
from tracker.video.reader import ClipReader, Crop

sys.path.insert(0, str(Path(__file__).parents[1]))
from conftest import clips_folder

RUNS = 5
LOOPS = 8
MEDIA = Path(sample_media.__file__).parent
SAMPLES = ("practice-1", "practice-4", "practice-7")


def camera_of(marks: Path) -> Camera:
    """The camera of a marks file."""
    read = read_marks(marks)
    solution = solve(read.marks_px, width=read.width, height=read.height)
    if not isinstance(solution, Solution):
        msg = f"{marks.name}: {solution.detail}"
        raise SystemExit(msg)
    return solution.camera


def subjects() -> Iterator[tuple[Path, Path]]:
    """Clips and the marks of their cameras."""
    for name in SAMPLES:
        yield MEDIA / f"{name}.mp4", MEDIA / "marks.json"
    folder = clips_folder()
    for clip in sorted(folder.glob("*.mp4")) if folder else ():
        marks = clip.with_name(f"marks_{clip.stem[:2]}.json")
        if marks.exists():
            yield clip, marks


def decode(path: Path) -> tuple[float, int]:
    """Processor seconds and frames of decoding to luma, the first frame apart."""
    total, count = 0, 0
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        stream.codec_context.thread_count, stream.codec_context.thread_type = 1, "SLICE"
        frames = container.decode(stream)
        next(frames)
        start = time.process_time()
        for frame in frames:
            total += int(np.frombuffer(frame.planes[0], np.uint8)[0])
            count += 1
        return time.process_time() - start, count


def watch(path: Path, region: LaneRegion) -> tuple[float, int]:
    """Processor seconds and frames of reading, cropping and watching, the first frame apart."""
    box = region.box
    with ClipReader(path) as reader:
        watcher = BallWatcher(region, reader.chroma_site)
        start = time.process_time()
        pace, count = Pace(), 0

        def crops() -> Iterator[Crop]:
            nonlocal count
            for frame in reader:
                count += 1
                if pace.due(frame.t_s):
                    yield frame.crop(box.left, box.top, box.width, box.height)

        for _ in watcher.watch(Evener().each(crops())):
            pass
        return time.process_time() - start, count - 1


def say(name: str, value: float, unit: str) -> None:
    """One number a line."""
    sys.stdout.write(f"{name} {value:.3f} {unit}\n")
    sys.stdout.flush()


def region_of(marks: Path) -> LaneRegion:
    """The lane region of a marks file's camera."""
    region = lane_region(camera_of(marks), BALL_RADIUS_IN)
    if region is None:
        msg = f"{marks.name}: the lane lies outside the frame"
        raise SystemExit(msg)
    return region


def time_clip(path: Path, marks: Path) -> float:
    """Print the times of one clip and return watching over decoding; turns, so that other load meets both alike."""
    region = region_of(marks)
    best = {"decode": np.inf, "watch": np.inf}
    for _ in range(RUNS):
        for name, (seconds, count) in (("decode", decode(path)), ("watch", watch(path, region))):
            best[name] = min(best[name], 1e3 * seconds / count)
    for name, value in best.items():
        say(f"{path.stem}_{name}_cpu", value, "ms/frame")
    say(f"{path.stem}_ratio", best["watch"] / best["decode"], "times decoding")
    return best["watch"] / best["decode"]


def looped(path: Path, region: LaneRegion, times: int) -> Iterator[Crop]:
    """The crops of a clip again and again as one long take."""
    box, index, later_s = region.box, 0, 0.0
    for _ in range(times):
        last_s = later_s
        with ClipReader(path) as reader:
            for frame in reader:
                crop = frame.crop(box.left, box.top, box.width, box.height)
                last_s = later_s + crop.t_s
                yield replace(crop, index=index, t_s=last_s)
                index += 1
        later_s = last_s + 1 / 30


def memory(path: Path, marks: Path, times: int) -> None:
    """Print the largest memory of this process after watching a clip ``times`` times over."""
    region = region_of(marks)
    count = sum(1 for _ in BallWatcher(region).watch(looped(path, region, times)))
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    say(f"{path.stem}_memory_{count}_frames", peak_mb, "MB")


def main() -> None:
    """Times of every clip, then memory of a short and of a long take, each in a process of its own."""
    cv2.setNumThreads(1)
    if sys.argv[1:2] == ["memory"]:
        memory(Path(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4]))
        return
    chosen = [(clip, marks) for clip, marks in subjects() if not sys.argv[1:] or clip.stem in sys.argv[1:]]
    ratios = [time_clip(clip, marks) for clip, marks in chosen]
    if not ratios:
        msg = "no clip of these names"
        raise SystemExit(msg)
    say("ratio_worst", max(ratios), f"times decoding, {len(ratios)} clips")
    clip, marks = chosen[-1]
    for times in (1, LOOPS):
        subprocess.run([sys.executable, __file__, "memory", str(clip), str(marks), str(times)], check=True)


if __name__ == "__main__":
    main()
