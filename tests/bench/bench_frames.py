"""Time watching a clip against decoding it, and the memory of a long one: ``python tests/bench/bench_frames.py``.

Decoding to luma alone and watching (decoding, who bowls where, shake, crops of lane and pin deck, their light, the ball
watcher and the pictures of the deck that are kept for each ball) take turns on one thread; opening the file and its
first frame are left out of both. What a clip costs once, whatever its length (is the camera where it was, windows for
the shake, whose lane it is), is printed apart. Clips are those of ``sample_media`` and, where there are any, the
rendered clips beside the checkout (``SIXTYFEET_CLIPS``); give stems to choose some. The lane is found in each. Prints
one line a number: name, value, unit. Processor times are the best of several runs.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import av
import cv2
import numpy as np

import sample_media
from calibration.errors import Failure
from calibration.lane import BALL_RADIUS_IN
from calibration.store import Calibration
from tracker.detection.region import LaneRegion, lane_region
from tracker.detection.watch import BallWatcher
from tracker.lane.attend import Attendance
from tracker.lane.check import check_place
from tracker.lane.hold import Holder
from tracker.lane.locate import locate
from tracker.pins.stands import deck_view
from tracker.pins.watch import DeckWatcher
from tracker.video.reader import ClipReader, Crop
from tracker.watching import lane_crops, told_to

sys.path.insert(0, str(Path(__file__).parents[1]))
from conftest import clips_folder
from hard_makes import Coding, make, noisy

RUNS = 5
LOOPS = 8
MEDIA = Path(sample_media.__file__).parent
SAMPLES = ("practice-1", "practice-4", "practice-7")


PHONE_NOISE = 2.0
PHONE_KBIT_S = {720: (8_000, 12_000), 1080: (17_000, 24_000)}
"""Of H.264 by picture height at 30 and at 60 frames a second: about what phones store (common practice, no source)."""


def as_phone(clip: Path, folder: Path) -> Path:
    """The clip with noise and as many bits as a phone gives."""
    with av.open(str(clip)) as container:
        stream = container.streams.video[0]
        height, fps = min(stream.codec_context.width, stream.codec_context.height), float(stream.average_rate or 30)
    rate = PHONE_KBIT_S[min(PHONE_KBIT_S, key=lambda own: abs(own - height))][fps > 45]
    coding = Coding(kbit_s=rate, preset="veryfast")
    return make(clip, folder / f"{clip.stem}-{rate // 1000}-Mbit.mp4", noisy(PHONE_NOISE), coding=coding)


def subjects() -> Iterator[Path]:
    """Clips."""
    yield from (MEDIA / f"{name}.mp4" for name in SAMPLES)
    folder = clips_folder()
    yield from sorted(folder.glob("*.mp4")) if folder else ()


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


def watch(path: Path, lane: Calibration) -> tuple[float, int, float]:
    """Processor seconds and frames of all that is done frame by frame, the first apart, and seconds of the rest."""
    region = region_of(lane)
    with ClipReader(path) as reader:
        begun = time.process_time()
        check_place(lane, reader.first_frame.luma)
        holder, watcher = (
            Holder(lane.camera, reader.first_frame, lane.reference),
            BallWatcher(region, reader.chroma_site),
        )
        attendance, view = Attendance(lane), deck_view(lane.camera)
        deck = None if view is None else DeckWatcher(view)
        start = time.process_time()
        crops = lane_crops(reader, region, holder, attendance=attendance, deck=deck)
        for _ in told_to(deck, watcher.watch(crops)):
            pass
        end = time.process_time()
        attendance.here()
        once = start - begun + time.process_time() - end
        return end - start, reader.facts().frames - 1, once


def say(name: str, value: float, unit: str) -> None:
    """One number a line."""
    sys.stdout.write(f"{name} {value:.3f} {unit}\n")
    sys.stdout.flush()


def region_of(lane: Calibration) -> LaneRegion:
    """The lane region of a calibration's camera."""
    region = lane_region(lane.camera, BALL_RADIUS_IN)
    if region is None:
        msg = "the lane lies outside the frame"
        raise SystemExit(msg)
    return region


def time_clip(path: Path, lane: Calibration) -> float:
    """Print the times of one clip and return watching over decoding; turns, so that other load meets both alike."""
    best = {"decode": np.inf, "watch": np.inf, "once": np.inf}
    for _ in range(RUNS):
        seconds, count = decode(path)
        best["decode"] = min(best["decode"], 1e3 * seconds / count)
        seconds, count, once = watch(path, lane)
        best["watch"] = min(best["watch"], 1e3 * seconds / count)
        best["once"] = min(best["once"], 1e3 * once)
    say(f"{path.stem}_decode_cpu", best["decode"], "ms/frame")
    say(f"{path.stem}_watch_cpu", best["watch"], "ms/frame")
    say(f"{path.stem}_once_cpu", best["once"], "ms/clip")
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


def memory(path: Path, times: int) -> None:
    """Print the largest memory of this process after watching a clip ``times`` times over."""
    region = region_of(lane_of(path))
    count = sum(1 for _ in BallWatcher(region).watch(looped(path, region, times)))
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    say(f"{path.stem}_memory_{count}_frames", peak_mb, "MB")


def lane_of(path: Path) -> Calibration:
    """The lane of a clip."""
    found = locate(path, None)
    if isinstance(found, Failure):
        msg = f"{path.name}: {found.detail}"
        raise SystemExit(msg)
    return found.calibration


def main() -> None:
    """Times of every clip, then memory of a short and of a long take, each in a process of its own."""
    cv2.setNumThreads(1)
    if sys.argv[1:2] == ["memory"]:
        memory(Path(sys.argv[2]), int(sys.argv[3]))
        return
    names = [name for name in sys.argv[1:] if name != "--as-phone"]
    chosen = [clip for clip in subjects() if not names or clip.stem in names]
    with tempfile.TemporaryDirectory() as folder:
        coded = [as_phone(clip, Path(folder)) for clip in chosen] if "--as-phone" in sys.argv else chosen
        ratios = [time_clip(clip, lane_of(clip)) for clip in coded]
    if not ratios:
        msg = "no clip of these names"
        raise SystemExit(msg)
    say("ratio_worst", max(ratios), f"times decoding, {len(ratios)} clips")
    for times in (1, LOOPS):
        subprocess.run([sys.executable, __file__, "memory", str(chosen[-1]), str(times)], check=True)


if __name__ == "__main__":
    main()
