"""Make ``docs/gallery.md`` and its pictures again: ``python docs/make_gallery.py --keep /tmp/scenes``.

The clips are those of ``tests/hard_scenes.py``, rendered where they are not there yet, and measured.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
from hard_cases import HardCase
from hard_scenes import all_hard, cases_of

from calibration.lane import x_from_board
from tracker.flags import describe
from tracker.measure import MeasureSettings, measure_clip
from tracker.report.ink import CASING, PATH
from tracker.results import ClipResult, ShotResult
from tracker.video.reader import ClipReader

Image = NDArray[np.uint8]
PAGE = Path(__file__).with_name("gallery.md")
FOLDER = Path(__file__).with_name("gallery")
WIDTH, QUALITY = 480, 62
INTRODUCTION = """\
# What is measured and what is refused

Made by `python docs/make_gallery.py`. Every clip here is rendered: house, balls and people are drawn, nobody was
filmed. The violet line is the measured path, drawn on the lane under the ball. Under each picture stands what the
program answers: the status, its reason and its sentence. [hard.md](hard.md) has the accuracy of these and many more.
"""


@dataclass(frozen=True, slots=True)
class Scene:
    """One picture: family and severity of the clip, the heading, and the time in the clip at which it is shown."""

    family: str
    severity: str
    heading: str
    at_s: float


SCENES = (
    Scene("gloss", "x3.6, rowan", "Very glossy oil", 1.9),
    Scene("light ball, light lane", "maple, lane x1, right", "Ball of the lane's own colour", 1.7),
    Scene("ball before pins", "white 15.5, gloss x2.6", "White ball before white pins", 3.1),
    Scene("person walks by", "at 45 ft, 1 of walking pace, right", "Somebody walks by at the end", 2.7),
    Scene("first seen late", "30 ft, right", "Ball hidden for half the lane", 4.5),
    Scene("ball on the next lane", "both sides", "Balls on both neighbouring lanes", 2.0),
    Scene("dies on the lane", "stops at 45 ft", "Ball that stops", 4.5),
    Scene("nobody throws", "walks up", "Nobody throws", 1.4),
    Scene("starts late", "ball at 25 ft, right", "Clip that starts late", 0.1),
    Scene("ends early", "ball at 40 ft, right", "Clip that ends early", 2.2),
)


def main() -> None:
    """Render, measure, draw and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keep", type=Path, help="folder in which the clips stay and are used again")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        folder = given.keep or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        made = {(h.family, h.severity): h for h in all_hard()}
        parts = [_part(scene, next(iter(cases_of(made[scene.family, scene.severity], folder)))) for scene in SCENES]
    PAGE.write_text("\n".join([INTRODUCTION, *parts]), encoding="utf-8")


def _part(scene: Scene, case: HardCase) -> str:
    """Heading, picture and answer; writes the picture."""
    result = measure_clip(case.clip, None, MeasureSettings(lane_at=case.lane_at))
    name = "-".join(scene.heading.lower().replace("'", "").replace(",", "").split()) + ".jpg"
    cv2.imwrite(str(FOLDER / name), _picture(case, result, scene.at_s), [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    return f"## {scene.heading}\n\n![{scene.heading}](gallery/{name})\n\n" + "\n".join(_answers(result)) + "\n"


def _answers(result: ClipResult) -> list[str]:
    if result.failure is not None:
        sentence = result.failure.detail.partition(": ")[2] or result.failure.detail
        return [f"`failed`, `{result.failure.reason}`: {sentence}."]
    return [_answer(shot) for shot in result.shots]


def _answer(shot: ShotResult) -> str:
    if shot.status == "failed":
        return f"`failed`, `{shot.reason}`: {shot.detail}."
    names = {"board_15ft": "board at 15 ft", "entry_angle_deg": "entry angle", "speed_release_mph": "mph at release"}
    told = [(word, shot.quantities[name]) for name, word in names.items() if name in shot.quantities]
    numbers = ", ".join(
        f"{word} {q.value:.2f} ± {q.u:.2f}" for word, q in told if q.value is not None and q.u is not None
    )
    flags = [f"`{f}` ({describe(f).title})" for f in ("gap", "late_start", "other_ball") if f in shot.flags]
    why = f", `{shot.reason}`: {shot.detail}" if shot.reason else ""
    return f"`{shot.status}`{why}. {numbers[:1].upper()}{numbers[1:]}." + (f" {', '.join(flags)}." if flags else "")


def _picture(case: HardCase, result: ClipResult, at_s: float) -> Image:
    bgr = _frame(case.clip, at_s)
    for shot in result.shots:
        if shot.path is not None and shot.camera is not None and shot.status != "failed":
            x = x_from_board(shot.path.board, shot.hand)
            points = np.stack([x, shot.path.distance_ft * 12, np.zeros(len(x))], axis=-1)
            line = np.round(shot.camera.project(points) * 16).astype(np.int32)
            for colour, width in ((CASING, 5), (PATH, 3)):
                cv2.polylines(
                    bgr, [line], isClosed=False, color=_bgr(colour), thickness=width, lineType=cv2.LINE_AA, shift=4
                )
    size = (WIDTH, WIDTH * bgr.shape[0] // bgr.shape[1])
    return np.asarray(cv2.resize(bgr, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _bgr(colour: str) -> tuple[int, int, int]:
    return int(colour[5:7], 16), int(colour[3:5], 16), int(colour[1:3], 16)


def _frame(clip: Path, at_s: float) -> Image:
    with ClipReader(clip) as reader:
        frame = next(islice((f for f in reader if f.t_s >= at_s), 1), None)
        if frame is None:
            msg = f"{clip}: has no picture at {at_s} s"
            raise ValueError(msg)
        whole = frame.whole()
    size = (whole.luma.shape[1], whole.luma.shape[0])
    chroma = [np.asarray(cv2.resize(p, size, interpolation=cv2.INTER_LINEAR)) for p in (whole.cr, whole.cb)]
    return np.asarray(cv2.cvtColor(np.dstack([whole.luma, *chroma]), cv2.COLOR_YCrCb2BGR), dtype=np.uint8)


if __name__ == "__main__":
    main()
