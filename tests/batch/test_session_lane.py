"""The session's lane in the results' folder: found once, used again, replaced when it does not hold."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from clips import even_times, write_clip

from calibration.anchors import choose_anchors
from calibration.store import load, save
from tracker.batch.lane import session_lane

MEDIA = Path(__file__).resolve().parents[2] / "sample_media"
CLIPS = [MEDIA / "practice-2.mp4", MEDIA / "practice-3.mp4"]


def asked(out: Path, clips: list[Path], pixel: tuple[float, float] | None = None, *, anew: bool = False):
    said: list[str] = []
    return session_lane(out, clips, pixel, anew=anew, say=said.append), said


@pytest.fixture(scope="module")
def known(tmp_path_factory) -> Path:
    out = tmp_path_factory.mktemp("known")
    lane, said = asked(out, CLIPS)
    assert lane is not None
    assert said[0].startswith("lane found on practice-2.mp4: good, ")
    assert "keep it to yourself" in said[1]
    return out


def test_the_folder_keeps_the_lane_and_its_picture(known):
    assert load(known / "lane.json").clip == "practice-2.mp4"
    assert (known / "lane.png").read_bytes().startswith(b"\x89PNG")


def test_it_is_used_again_and_left_alone(known):
    before = (known / "lane.json").read_bytes()
    lane, said = asked(known, CLIPS[1:])
    assert lane is not None
    assert said == ["lane as found before on practice-2.mp4 (lane.json)"]
    assert (known / "lane.json").read_bytes() == before


def test_it_is_found_anew_when_asked_for(known, tmp_path):
    (tmp_path / "lane.json").write_bytes((known / "lane.json").read_bytes())
    asked(tmp_path, CLIPS[1:], anew=True)
    assert load(tmp_path / "lane.json").clip == "practice-3.mp4"


def test_a_pixel_on_another_lane_finds_that_one(known, tmp_path):
    (tmp_path / "lane.json").write_bytes((known / "lane.json").read_bytes())
    mine = load(known / "lane.json")
    away = min(mine.neighbours_in, key=abs)
    u, v = mine.camera.project((away, 300.0, 0.0))
    other, _ = asked(tmp_path, CLIPS, (float(u), float(v)))
    assert other is not None
    assert other.camera.x_in == pytest.approx(mine.camera.x_in - away, abs=1.0)


def test_a_lane_of_another_place_is_replaced(known, tmp_path):
    stale = load(known / "lane.json")
    noise = np.random.default_rng(1).integers(0, 255, (720, 1280), dtype=np.uint8)
    save(tmp_path / "lane.json", replace(stale, clip="old.mp4", reference=choose_anchors(noise, stale.camera)))
    lane, _ = asked(tmp_path, CLIPS)
    assert lane is not None
    assert load(tmp_path / "lane.json").clip == "practice-2.mp4"


@pytest.mark.parametrize("harm", ["cut short", "reference"])
def test_a_damaged_lane_is_replaced(harm, known, tmp_path):
    data = json.loads((known / "lane.json").read_text(encoding="utf-8"))
    data["reference"]["coarse_factor"] = 0
    (tmp_path / "lane.json").write_text("{" if harm == "cut short" else json.dumps(data), encoding="utf-8")
    lane, _ = asked(tmp_path, CLIPS)
    assert lane is not None
    assert (tmp_path / "lane.json").read_bytes() == (known / "lane.json").read_bytes()


def test_the_next_clip_is_tried_and_none_is_told(tmp_path):
    blank = write_clip(tmp_path / "grey.mp4", even_times(10), luma=lambda _: np.full((360, 640), 80, np.uint8))
    lane, said = asked(tmp_path, [blank, CLIPS[0]])
    assert lane is not None
    assert said[0].startswith("no lane yet: grey.mp4: ")
    nothing, told = asked(tmp_path, [blank], anew=True)
    assert nothing is None
    assert len(told) == 1
