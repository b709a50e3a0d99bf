"""Files that are damaged, cut off, oddly named, or no clips at all."""

import os
import pickle
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from clips import cut, even_times, pattern, spoil, write_clip, write_sound, write_text

from tracker.video import reader
from tracker.video.errors import REASONS, ClipError
from tracker.video.reader import ClipReader


def noise(index):
    return np.random.default_rng(index).integers(30, 220, (64, 96)).astype(np.uint8)


def write_empty(path):
    path.write_bytes(b"")
    return path


def write_without_index(path):
    return cut(write_clip(path, even_times(20), container="mov"), 0.5)


def write_folder(path):
    path.mkdir()
    return path


def write_playlist(path):
    write_clip(path.with_name("inner.mp4"), even_times(5))
    path.write_text("ffconcat version 1.0\nfile inner.mp4\n", encoding="utf-8")
    return path


CASES = {
    "clip_missing": lambda path: path,
    "clip_empty": write_empty,
    "no_video_stream": write_sound,
    "clip_truncated": write_without_index,
    "not_a_video": write_text,
}


@pytest.mark.parametrize("reason", CASES)
def test_each_kind_of_bad_file_has_its_reason(tmp_path, reason):
    path = CASES[reason](tmp_path / "shot.mp4")
    with pytest.raises(ClipError, match=r"shot.mp4: .+; .+") as caught, ClipReader(path):
        pass
    assert caught.value.reason == reason
    assert reason in REASONS
    assert str(tmp_path) not in str(caught.value)


@pytest.mark.parametrize("write", [write_folder, write_playlist])
def test_folders_and_playlists_are_not_clips(tmp_path, write):
    with pytest.raises(ClipError) as caught, ClipReader(write(tmp_path / "list.mp4")):
        pass
    assert caught.value.reason == "not_a_video"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes are of POSIX")
def test_named_pipe_does_not_hang(tmp_path):
    os.mkfifo(tmp_path / "pipe.mp4")
    with pytest.raises(ClipError, match="not a file"), ClipReader(tmp_path / "pipe.mp4"):
        pass


def test_unreadable_file(tmp_path, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    path = write_clip(tmp_path / "mine.mp4", even_times(3))
    monkeypatch.setattr(Path, "open", refuse)
    with (
        pytest.raises(ClipError, match=r"mine.mp4: the file cannot be read .Permission denied.") as caught,
        ClipReader(path),
    ):
        pass
    assert caught.value.reason == "clip_unreadable"


def test_one_frame_is_too_few_for_a_shot_but_can_be_looked_at(tmp_path):
    path = write_clip(tmp_path / "still.mp4", [0.0])
    with ClipReader(path) as clip:
        np.testing.assert_allclose(clip.first_frame.luma, pattern(0), atol=3)
        with pytest.raises(ClipError, match="only 1 of at least 2 frames") as caught:
            list(clip)
    assert caught.value.reason == "too_few_frames"
    with ClipReader(path, min_frames=1) as clip:
        assert len(list(clip)) == 1


@pytest.mark.parametrize("container", ["mp4", "matroska"])
def test_cut_off_data_gives_the_frames_so_far(tmp_path, container):
    path = cut(write_clip(tmp_path / "cut.mp4", even_times(60), luma=noise, container=container), 0.6)
    with ClipReader(path) as clip:
        frames = list(clip)
        facts = clip.facts()
    assert facts.truncated
    assert 30 <= facts.frames == len(frames) < 40
    np.testing.assert_allclose(frames[-1].luma.astype(int), noise(len(frames) - 1), atol=40)


def test_cut_off_before_the_first_picture(tmp_path):
    path = write_clip(tmp_path / "cut.mp4", even_times(20), luma=noise)
    data = path.read_bytes()
    path.write_bytes(data[: data.index(b"mdat") + 8])
    with pytest.raises(ClipError, match="cut off") as caught, ClipReader(path):
        pass
    assert caught.value.reason == "clip_truncated"


def test_spoiled_bytes_lose_few_frames_and_never_order(tmp_path):
    for share in (0.3, 0.5, 0.7, 0.8):
        options = {"preset": "medium"}
        path = spoil(write_clip(tmp_path / "spoilt.mp4", even_times(40), luma=noise, options=options), share)
        with ClipReader(path) as clip:
            times = [f.t_s for f in clip]
            facts = clip.facts()
        assert np.all(np.diff(times) > 0)
        assert len(times) == 40 - facts.skipped_frames or facts.truncated


def test_reset_of_the_clock_inside_a_file(tmp_path):
    one = write_clip(tmp_path / "one.ts", even_times(30), container="mpegts")
    both = tmp_path / "both.ts"
    both.write_bytes(one.read_bytes() * 2)
    with ClipReader(both) as clip:
        times = [f.t_s for f in clip]
        facts = clip.facts()
    assert np.all(np.diff(times) > 0)
    assert facts.time_resets == 1
    assert len(times) >= 58


@pytest.mark.parametrize(
    "name",
    [
        "-dash.mp4",
        "two words.mp4",
        "a:b.mp4",
        "http:x.mp4",
        "pipe:0",
        "x%03d.mp4",
        "a?b#c.mp4",
        "día é 測.mp4",
        ".hidden",
    ],
)
def test_odd_file_names(small_clip, tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    try:
        shutil.copy(small_clip, tmp_path / name)
    except OSError:
        pytest.skip("this file system does not take the name")
    with ClipReader(name) as clip:
        assert len(list(clip)) == 12
        assert clip.facts().name == name


def test_undecodable_file_name_stays_printable(small_clip, tmp_path):
    name = os.fsdecode(b"shot\xff.mp4")
    try:
        shutil.copy(small_clip, tmp_path / name)
    except (OSError, UnicodeError):
        pytest.skip("this file system does not take the name")
    with ClipReader(tmp_path / name) as clip:
        assert len(list(clip)) == 12
        assert clip.facts().name == r"shot\xff.mp4"


def test_errors_survive_pickling():
    error = ClipError(reason="clip_empty", detail="a.mp4: the file is empty; copy it again.")
    again = pickle.loads(pickle.dumps(error))  # noqa: S301
    assert (again.reason, again.detail, str(again)) == (error.reason, error.detail, error.detail)


def test_decoder_is_closed_when_the_start_fails(tmp_path, monkeypatch):
    closed = []
    original = reader.open_clip
    monkeypatch.setattr(reader, "open_clip", lambda path: _Noting(original(path), closed))
    with pytest.raises(ClipError), ClipReader(write_sound(tmp_path / "sound.mp4")):
        pass
    assert closed == [True]


def test_reader_is_closed_when_its_block_ends(small_clip, monkeypatch):
    closed = []
    original = reader.open_clip
    monkeypatch.setattr(reader, "open_clip", lambda path: _Noting(original(path), closed))
    with ClipReader(small_clip) as clip:
        next(iter(clip))
    assert closed == [True]
    with pytest.raises(RuntimeError, match="with block"):
        iter(clip)


class _Noting:
    def __init__(self, container, closed):
        self._container, self._closed = container, closed

    def __getattr__(self, name):
        return getattr(self._container, name)

    def close(self):
        self._closed.append(True)
        self._container.close()


def test_damaged_clips_leave_stderr_clean(tmp_path):
    spoilt = spoil(write_clip(tmp_path / "spoilt.mp4", even_times(40), luma=noise), 0.3)
    short = cut(write_clip(tmp_path / "short.mp4", even_times(40), luma=noise), 0.5)
    program = (
        "import sys\nfrom tracker.video.reader import ClipReader\n"
        "for path in sys.argv[1:]:\n    with ClipReader(path) as clip: list(clip)"
    )
    run = subprocess.run([sys.executable, "-c", program, spoilt, short], capture_output=True, check=True)
    assert (run.stdout, run.stderr) == (b"", b"")
