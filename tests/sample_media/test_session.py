"""The committed session: it decodes, is small, and sheet, truth and simulation say the same."""

import csv
import json
from pathlib import Path

import av
import numpy as np
import pytest

import sample_media
from sample_media.session import ball_sheet, practice, session_sheet
from sample_media.timeline import build_timeline

FOLDER = Path(sample_media.__file__).parent
CLIPS = sorted(FOLDER.glob("*.mp4"))
PHASES = ("hand", "air", "lane", "gutter", "deck", "pit")


@pytest.fixture(scope="module")
def truths():
    return {p.stem: json.loads(p.with_suffix(".truth.json").read_text(encoding="utf-8")) for p in CLIPS}


def test_eight_clips_under_ten_megabytes():
    assert len(CLIPS) == 8
    sizes = [p.stat().st_size for p in CLIPS]
    assert sum(sizes) < 10e6
    assert max(sizes) <= 1.2e6


@pytest.mark.parametrize("path", CLIPS, ids=lambda p: p.stem)
def test_packets_carry_the_truths_times(path, truths):
    with av.open(str(path)) as file:
        stream = file.streams.video[0]
        times = sorted(float(p.pts * p.time_base) for p in file.demux(stream) if p.pts is not None)
        assert (stream.codec_context.width, stream.codec_context.height) == (1280, 720)
    assert times == pytest.approx([f["t_video"] for f in truths[path.stem]["frames"]], abs=2e-5)
    assert np.median(np.diff(times)) == pytest.approx(1 / 60, abs=1e-4)


def test_one_clip_has_a_variable_interval(truths):
    uneven = [s for s, t in truths.items() if np.ptp(np.diff([f["t_video"] for f in t["frames"]])) > 1e-3]
    assert uneven == ["practice-5"]


def test_first_clip_decodes_to_a_lit_picture():
    with av.open(str(CLIPS[0])) as file:
        luma = next(file.decode(video=0)).to_ndarray(format="gray")
    assert 40 < luma.mean() < 200


def test_sheet_truth_and_simulation_agree(truths):
    text = (FOLDER / "session.csv").read_text(encoding="utf-8")
    entries = practice()
    assert text == session_sheet(entries)
    assert (FOLDER / "balls.csv").read_text(encoding="utf-8") == ball_sheet(entries)
    for row, entry in zip(csv.DictReader(text.splitlines()), entries, strict=True):
        truth = truths[Path(row["clip"]).stem]
        assert row["ball"] == truth["ball"] == entry.clip.ball.name
        assert row["hand"] == truth["hand"]
        assert row["standing"] == truth["shot"]["standing_pins"]
        assert build_timeline(entry.clip).path.x_in[-1] == pytest.approx(truth["path"][-1][1], abs=1e-4)


def test_pins_that_stand_when_the_clip_ends_go_on_standing():
    for entry in practice():
        deck = build_timeline(entry.clip).deck
        assert deck.standing_at(entry.clip.tail_s) == deck.standing_at(deck.t_s[-1])


def test_frames_lie_on_the_path(truths):
    for truth in truths.values():
        path = np.array(truth["path"])
        start = truth["t_video_of_laydown"]
        rolling = [f for f in truth["frames"] if f["phase"] == "lane"]
        t = np.array([f["t_video"] for f in rolling]) - start
        xyz = np.array([f["xyz"] for f in rolling])
        assert xyz[:, 1] == pytest.approx(np.interp(t, path[:, 0], path[:, 2]), abs=0.02)
        order = [PHASES.index(f["phase"]) for f in truth["frames"]]
        assert order == sorted(order)


def test_far_ball_and_foul_line_are_in_view(truths):
    for truth in truths.values():
        last = [f for f in truth["frames"] if f["phase"] == "lane"][-1]
        assert last["radius_px"] >= 6
        for name in ("foul_left", "foul_right"):
            u, v = truth["marks_px"][name]
            assert 0 < u < 1280
            assert 0 < v < 720


def test_marks_are_careful_clicks(truths):
    marks = json.loads((FOLDER / "marks.json").read_text(encoding="utf-8"))
    true = next(iter(truths.values()))["marks_px"]
    errors = np.array([np.subtract(at, true[name]) for name, at in marks["marks_px"].items()])
    assert len(errors) >= 18
    assert 0.4 < np.sqrt((errors**2).mean()) < 1.3
