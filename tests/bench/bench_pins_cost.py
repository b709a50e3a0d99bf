"""What reading the pins adds to measuring a clip: ``python tests/bench/bench_pins_cost.py CLIP [CLIP ..]``.

Each clip is measured in turn with and without the pins, from the same camera, several times; printed are the least
processor seconds of each and their ratio, pictures of the shot's folder included.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from unittest import mock

import cv2

from calibration.errors import Failure
from tracker import measure
from tracker.lane.locate import locate
from tracker.measure import MeasureSettings, measure_clip
from tracker.report.overlay import overlay_png
from tracker.report.pinstrip import pins_png


def seconds(clip: Path, *, pins: bool) -> tuple[float, float]:
    """Processor seconds of finding the lane, and of measuring and drawing one clip."""
    begun = time.process_time()
    located = locate(clip, None)
    found = time.process_time()
    if isinstance(located, Failure):
        raise SystemExit(located.detail)
    with mock.patch.object(measure, "deck_view", measure.deck_view if pins else lambda _: None):
        result = measure_clip(clip, located.calibration, MeasureSettings())
    for shot in result.shots:
        if shot.path is not None:
            overlay_png(shot)
        if shot.pins is not None and shot.pins.pictures:
            pins_png(shot.pins)
    return found - begun, time.process_time() - found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("clips", nargs="+", type=Path)
    parser.add_argument("--runs", type=int, default=3)
    given = parser.parse_args()
    cv2.setNumThreads(1)
    sys.stdout.write("clip | lane s | without pins s | with s | measuring alone | with finding the lane\n")
    for clip in given.clips:
        runs = {pins: [seconds(clip, pins=pins) for _ in range(given.runs)] for pins in (False, True)}
        lane = min(r[0] for both in runs.values() for r in both)
        off, on = (min(r[1] for r in runs[pins]) for pins in (False, True))
        sys.stdout.write(
            f"{clip.name} | {lane:.2f} | {off:.2f} | {on:.2f} | {on / off:.3f} | {(lane + on) / (lane + off):.3f}\n"
        )
        sys.stdout.flush()


if __name__ == "__main__":
    main()
