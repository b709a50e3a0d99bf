"""The changes that make a clip harder do what their names say."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest
from clips import even_times, pattern, write_clip
from hard_cases import HardCase
from hard_makes import (
    Coding,
    at_rate,
    averaged,
    between,
    breathing,
    dropped,
    every,
    hlg_planes,
    jittered,
    make,
    noisy,
    pictures_of,
    ramp_clock,
    relit,
    resized,
    retimed,
    without,
)

from tracker.video.reader import ClipReader, Crop


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> list[Crop]:
    clip = write_clip(tmp_path_factory.mktemp("made") / "clip.mp4", even_times(24, 60.0))
    return list(pictures_of(clip))


def _times(change, pictures: list[Crop]) -> np.ndarray:
    return np.array([p.t_s for p in change(iter(pictures))])


def test_rates_keep_the_times_of_the_pictures_they_keep(pictures):
    assert _times(every(2), pictures) == pytest.approx(np.arange(12) / 30, abs=1e-4)
    kept = _times(at_rate(24), pictures)
    assert len(kept) == 10
    assert np.isin(kept, [p.t_s for p in pictures]).all()
    assert 8 < len(_times(dropped(0.5), pictures)) < 18
    assert np.all(np.diff(_times(jittered(0.004), pictures)) > 0)


def test_trimmed_and_cut_clips_run_on(pictures):
    assert _times(between(0.1, 0.3), pictures) == pytest.approx(np.arange(12) / 60, abs=1e-4)
    cut = _times(without(0.1, 0.2), pictures)
    assert len(cut) == 18
    assert np.diff(cut) == pytest.approx(np.full(17, 1 / 60), abs=1e-4)


def test_slow_motion_and_its_clock_agree(pictures):
    clock = ramp_clock((0.1, 0.2), 4.0, 1.0)
    case = HardCase("f", "s", Path("x.mp4"), {}, clock=clock)
    slow = _times(retimed(clock), pictures)
    assert slow == pytest.approx(case.file_time_s(np.array([p.t_s for p in pictures])), abs=1e-9)
    assert slow[-1] == pytest.approx(pictures[-1].t_s + 0.3, abs=2e-3)
    assert np.diff(slow).max() == pytest.approx(4 / 60, rel=0.01)


def test_true_path_is_in_the_files_time():
    truth = {"path": [[0.0, 1.0, 12.0], [1.0, 2.0, 300.0]], "t_video_of_laydown": 0.5, "shot": {"board_15ft": 3.0}}
    case = HardCase("f", "s", Path("x.mp4"), truth, clock=((0.0, 0.0), (1.0, 2.0)))
    assert case.true_path()[:, 0] == pytest.approx([1.0, 3.0])
    assert case.true_numbers() == {"board_15ft": 3.0}
    assert HardCase("f", "s", Path("x.mp4"), {}).true_path().shape == (0, 3)


def test_light_noise_and_exposure_change_the_picture_as_told(pictures):
    first = pictures[0]
    half = next(relit(lambda _t, row: 0.5 * np.ones_like(row))(iter([first])))
    assert (half.luma - 16.0).mean() == pytest.approx(0.5 ** (1 / 2.2) * (first.luma - 16.0).mean(), rel=0.01)
    even = replace(first, luma=np.full_like(first.luma, 120))
    assert next(noisy(5.0)(iter([even]))).luma.std() == pytest.approx(5.0, rel=0.1)
    both = list(averaged(4, 2)(iter(pictures)))
    assert len(both) == 6
    mean = (pictures[0].luma.astype(float) + pictures[1].luma) / 2
    assert np.abs(both[0].luma - mean).max() <= 0.5
    assert both[0].t_s == pytest.approx((pictures[0].t_s + pictures[1].t_s) / 2)


def test_breathing_moves_the_rim_and_not_the_middle(pictures):
    x = np.mgrid[:64, :96][1]
    slope = replace(pictures[0], luma=np.asarray(100 + x - 47.5, dtype=np.uint8))
    wide = next(breathing(lambda _t: 1.1)(iter([slope]))).luma.astype(float)
    inside = wide[32, 20:76]
    assert np.polyfit(np.arange(56), inside, 1)[0] == pytest.approx(1 / 1.1, rel=0.02)
    assert inside[27] == pytest.approx(float(slope.luma[32, 47]), abs=1.0)


def test_size_and_coding_are_stored(tmp_path):
    clip = write_clip(tmp_path / "clip.mp4", even_times(4), luma=lambda k: pattern(k, 192, 128))
    made = make(clip, tmp_path / "hlg.mp4", resized(96, 64), coding=Coding("libx265", hlg=True))
    with ClipReader(made) as reader:
        frames = [f.whole() for f in reader]
        facts = reader.facts()
    assert (facts.codec, facts.bit_depth, facts.transfer) == ("hevc", 10, "arib-std-b67")
    assert frames[0].luma.shape == (64, 96)


def test_hlg_puts_white_at_three_quarters(pictures):
    white = replace(pictures[0], luma=np.full((64, 96), 235, np.uint8), cb=np.full((32, 48), 128, np.uint8),
                    cr=np.full((32, 48), 128, np.uint8))  # fmt: skip
    luma, cb, _ = hlg_planes(white)
    assert float(luma.mean()) == pytest.approx(64 + 0.75 * 876, abs=6)
    assert float(cb.mean()) == pytest.approx(512, abs=2)


def test_capture_rate_of_the_file_is_a_fact(tmp_path):
    path = tmp_path / "slow.mp4"
    with av.open(str(path), "w", options={"movflags": "use_metadata_tags"}) as out:
        out.metadata["com.android.capture.fps"] = "240.000000"
        stream = out.add_stream("libx264", rate=30)
        stream.width, stream.height, stream.pix_fmt = 96, 64, "yuv420p"
        for _ in range(3):
            out.mux(stream.encode(av.VideoFrame.from_ndarray(np.full((96, 96), 90, np.uint8), format="yuv420p")))
        out.mux(stream.encode())
    with ClipReader(path) as reader:
        assert reader.facts().capture_fps == pytest.approx(240.0)
