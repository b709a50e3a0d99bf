"""``measure --video``: what the files are, when they are made, what they never hold; the line ends at the ball."""

from __future__ import annotations

import csv
import json
import shutil
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from click.testing import CliRunner
from program import contents, run_program, table

from calibration.camera import PARAMETERS, Camera
from tracker.batch.clips import safe_id
from tracker.cli.main import cli
from tracker.report.marked import make
from tracker.report.marked.draw import LINE
from tracker.report.marked.stamp import code_of
from tracker.report.marked.view import view_of

HOSTILE = '=$x^2$ {0} %s <b>&\u202e"\\n.mp4'
"""Letters that a formula, a template, a page or a drawing library could take for more than letters."""
TOLD = {
    "location": "+59.9139+010.7522/",
    "com.apple.quicktime.model": "spyphone 9",
    "creation_time": "2026-03-04T05:06:07Z",
}


def with_sound_and_metadata(clip: Path, target: Path) -> Path:
    """The same pictures at the same times, with a silent track and what phones write about place, phone and time."""
    with av.open(str(clip)) as given, av.open(str(target), "w", options={"movflags": "+use_metadata_tags"}) as out:
        out.metadata.update(TOLD)
        stream = out.add_stream_from_template(given.streams.video[0])
        sound = out.add_stream("aac", rate=48000)
        sound.layout = "mono"
        for k in range(100):
            silence = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
            silence.sample_rate, silence.pts, silence.time_base = 48000, 1024 * k, Fraction(1, 48000)
            out.mux(sound.encode(silence))
        out.mux(sound.encode())
        for packet in given.demux(given.streams.video[0]):
            if packet.size:
                packet.stream = stream
                out.mux(packet)
    return target


@pytest.fixture(scope="module")
def clip(media: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    found = with_sound_and_metadata(media / "practice-1.mp4", tmp_path_factory.mktemp("filmed") / HOSTILE)
    with av.open(str(found)) as container:
        assert container.metadata["com.apple.quicktime.model"] == "spyphone 9"
        assert len(container.streams.audio) == 1
    return found


@pytest.fixture(scope="module")
def out(clip: Path, lane_file: Path) -> Path:
    """The clip measured with its video."""
    folder = clip.parent / "out"
    done = run_program("measure", clip, "--calibration", lane_file, "--video", "-o", folder, cwd=clip.parent)
    assert done.returncode == 0, done.stderr
    assert "no marked-up video" not in done.stderr
    return folder


@pytest.fixture(scope="module")
def shot(clip: Path, out: Path) -> Path:
    """The shot's folder."""
    return out / safe_id(clip)


def times(file: Path) -> list[Fraction]:
    with av.open(str(file)) as container:
        stream = container.streams.video[0]
        assert stream.time_base is not None
        return sorted(p.pts * stream.time_base for p in container.demux(stream) if p.pts is not None and p.size)


def test_phones_play_the_file_and_it_holds_pictures_only(shot: Path) -> None:
    """H.264 High up to level 4.2 in 4:2:0 is what phones decode (common practice, no source)."""
    data = (shot / "marked.mp4").read_bytes()
    assert data.index(b"moov") < data.index(b"mdat"), "the index comes first, so that it plays while it loads"
    with av.open(str(shot / "marked.mp4")) as container:
        assert [s.type for s in container.streams] == ["video"]
        stream = container.streams.video[0]
        context = stream.codec_context
        assert (context.name, context.pix_fmt, stream.start_time) == ("h264", "yuv420p", 0)
        assert context.width % 2 == context.height % 2 == 0
        assert max(context.width, context.height) <= 1920
        assert bytes(context.extradata or b"")[3] <= 42, "level of the decoder configuration (ISO 14496-15)"
        assert next(container.decode(stream)).rotation == 0


def test_nothing_of_place_phone_date_or_name_is_in_the_file(clip: Path, shot: Path) -> None:
    data = (shot / "marked.mp4").read_bytes()
    with av.open(str(shot / "marked.mp4")) as container:
        told = {**container.metadata, **container.streams.video[0].metadata}
    assert set(told) <= {"major_brand", "minor_version", "compatible_brands", "language", "handler_name"}
    for word in (b"59.9139", b"spyphone", b"2026", b"Lavf", clip.stem.encode()):
        assert word not in data
    # ISO 14496-12: after 'mvhd' version and flags follow creation and modification times
    at = data.index(b"mvhd") + 8
    assert data[at : at + 8] == bytes(8)


def test_times_are_the_clip_s_own_from_before_the_ball_to_after_the_pins(clip: Path, shot: Path) -> None:
    filmed, drawn = times(clip), times(shot / "marked.mp4")
    with (shot / "path.csv").open(encoding="utf-8", newline="") as stream:
        path_s = [float(row["t_s"]) for row in csv.DictReader(stream)]
    first = next(t for t in filmed if t - filmed[0] >= path_s[0] - 0.5)
    stretch = [t for t in filmed if t >= first][: len(drawn)]
    assert np.diff(drawn).tolist() == np.diff(stretch).tolist()
    assert stretch[-1] == max(t for t in filmed if t - filmed[0] <= path_s[-1] + 1.5)


def test_the_line_follows_the_ball(media: Path, shot: Path) -> None:
    """Against the rendered truth: the line ends at the ball, nothing is drawn ahead of it or on it."""
    truth = json.loads((media / "practice-1.truth.json").read_text(encoding="utf-8"))["frames"]
    camera = json.loads((shot / "shot.json").read_text(encoding="utf-8"))["provenance"]["calibration"]
    values = [camera["camera"][name]["value"] for name in PARAMETERS]
    view = view_of(Camera.from_vector(values, camera["width"], camera["height"]))
    assert view is not None
    start = times(media / "practice-1.mp4")
    begin = len(start) - len(times(shot / "marked.mp4"))
    with av.open(str(shot / "marked.mp4")) as container:
        pictures = dict(enumerate(container.decode(video=0), start=begin))
    for index, drawn in ((40, False), (90, True), (110, True), (140, True)):
        frame = next(f for f in truth if f["i"] == index)
        scale = view.out_height / view.height
        line = line_places(pictures[index].to_ndarray(format="yuv420p"))
        if not drawn:
            assert line.size == 0
            continue
        # columns are counted from the picture's own left edge, wherever the dark columns are
        left = (pictures[index].width - view.out_width) if line[:, 0].max() > view.out_width else 0
        assert left >= 0
        ball_row = (frame["px"][1] - view.top) * scale
        radius = frame["radius_px"] * scale
        end = line[line[:, 1].argmin()]
        assert ball_row + 0.8 * radius < end[1] < ball_row + 1.6 * radius
        assert len(line) > 40


def line_places(picture: np.ndarray) -> np.ndarray:
    """Columns and rows ``(n, 2)`` of pixels of the line's colour in planes ``(3 H / 2, W)``, counted in half pixels."""
    height, width = picture.shape[0] * 2 // 3, picture.shape[1]
    luma = picture[:height:2, ::2].astype(int)
    cb, cr = picture[height:].reshape(2, height // 2, width // 2).astype(int)
    wanted = code_of(LINE)
    close = (abs(luma - wanted[0]) < 45) & (abs(cb - wanted[1]) < 7) & (abs(cr - wanted[2]) < 7)
    return 2 * np.argwhere(close)[:, ::-1]


def test_a_missing_video_is_made_without_measuring_and_is_the_same(
    clip: Path, out: Path, shot: Path, lane_file: Path, tmp_path: Path
) -> None:
    shutil.copytree(out, tmp_path / "out")
    (tmp_path / "out" / shot.name / "marked.mp4").unlink()
    done = run_program("measure", clip, "--calibration", lane_file, "--video", "-o", "out", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "skipped (--redo" in done.stderr
    assert f"marked-up video added: {shot.name}" in done.stderr
    assert contents(tmp_path / "out") == contents(out)


def test_without_the_option_a_video_stays_and_none_is_made(
    clip: Path, out: Path, shot: Path, lane_file: Path, tmp_path: Path
) -> None:
    shutil.copytree(out, tmp_path / "out")
    args = ["measure", str(clip), "--calibration", str(lane_file), "-o", str(tmp_path / "out")]
    assert CliRunner().invoke(cli, args).exit_code == 0
    assert contents(tmp_path / "out") == contents(out)
    (tmp_path / "out" / shot.name / "marked.mp4").unlink()
    assert CliRunner().invoke(cli, args).exit_code == 0
    assert not (tmp_path / "out" / shot.name / "marked.mp4").exists()


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        ("encoder_here", "--video: the installed decoding library cannot write H.264"),
        ("VideoWriter", "no marked-up video: ZeroDivisionError: no luck (video_failed)"),
    ],
)
def test_no_encoder_or_a_failing_one_is_told_and_costs_nothing(
    clip: Path, out: Path, shot: Path, lane_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    broken: str, words: str,
) -> None:  # fmt: skip
    def fail(*args: object, **more: object) -> None:
        msg = "no luck"
        raise ZeroDivisionError(msg)

    if broken == "encoder_here":
        monkeypatch.setattr("tracker.report.marked.encode.ENCODER", "lib-that-is-nowhere")
    else:
        monkeypatch.setattr(make, broken, fail)
    shutil.copytree(out, tmp_path / "out")
    (tmp_path / "out" / shot.name / "marked.mp4").unlink()
    args = ["measure", str(clip), "--calibration", str(lane_file), "--video", "-o", str(tmp_path / "out")]
    done = CliRunner().invoke(cli, args)
    assert done.exit_code == 0
    assert done.stderr.count(words) == 1
    kept = {name: data for name, data in contents(out).items() if not name.endswith("marked.mp4")}
    assert contents(tmp_path / "out") == kept
    assert set(table(tmp_path / "out" / "shots.csv")) == {f"'{shot.name}"}
