"""A stretch read again: the same pictures at the same times as in one pass over the clip."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from clips import even_times, write_clip

from tracker.video.errors import ClipError
from tracker.video.reader import ClipReader
from tracker.video.stretch import Colour, StretchReader

UNEVEN = [0.0, 0.03, 0.07, 0.1, 0.18, 0.2, 0.24, 0.3, 0.33, 0.41, 0.44, 0.5, 0.53, 0.6, 0.64, 0.7]


@pytest.mark.parametrize("container", ["mp4", "matroska", "mpegts"])
@pytest.mark.parametrize("from_s", [0.0, 0.31, 0.69, 5.0])
def test_frames_from_a_time_on_are_those_of_the_whole_clip(tmp_path: Path, container: str, from_s: float) -> None:
    options = {"g": "4", "keyint_min": "4", "sc_threshold": "0", "bf": "2", "crf": "10", "preset": "fast"}
    clip = write_clip(tmp_path / "clip", UNEVEN, options=options, container=container)
    with ClipReader(clip) as whole:
        every = [(frame.t_s, frame.whole().luma) for frame in whole]
    with StretchReader(clip, from_s) as stretch:
        begun = stretch.first_frame.t_s
        got = [(frame.t_s, frame.whole().luma) for frame in stretch]
    assert begun == 0.0 or begun <= from_s
    assert [t for t, _ in got] == [t for t, _ in every if t >= begun]
    for (_, luma), (_, same) in zip(reversed(got), reversed(every), strict=False):
        np.testing.assert_array_equal(luma, same)


def test_it_begins_at_the_key_picture_before_and_not_at_the_start(tmp_path: Path) -> None:
    options = {"g": "5", "keyint_min": "5", "sc_threshold": "0"}
    clip = write_clip(tmp_path / "clip.mp4", even_times(30), options=options)
    with StretchReader(clip, 0.62) as stretch:
        assert stretch.first_frame.t_s == pytest.approx(15 / 30)


def test_it_is_upright_and_says_what_its_colours_mean(tmp_path: Path) -> None:
    clip = write_clip(tmp_path / "clip.mp4", even_times(3), rotation_deg=90, pix_fmt="yuvj420p")
    with StretchReader(clip) as stretch, ClipReader(clip) as whole:
        assert stretch.first_frame.luma.shape == whole.first_frame.luma.shape == (96, 64)
        assert stretch.colour == Colour(True, "bt709", 2, 1, matrix=2)
        assert stretch.tick.denominator == 90000


def test_what_is_no_clip_is_a_clip_error(tmp_path: Path) -> None:
    with pytest.raises(ClipError, match="there is no such file"), StretchReader(tmp_path / "none.mp4", 2.0):
        pass
