"""What people give a program by mistake, beside a good clip, through the real entry point."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from clips import even_times, write_clip, write_sound, write_text
from numpy.typing import NDArray
from program import Done, run_program, table

from tracker.video.reader import ClipReader

EXPECTED = {
    "empty": "clip_empty",
    "text": "not_a_video",
    "truncated": "clip_truncated",
    "sound": "no_video_stream",
    "single": "frame_mismatch",
    "=small": "frame_mismatch",
}


@pytest.fixture(scope="module")
def batch(media: Path, lane_file: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Done]:
    """A folder of bad clips and a good one, measured on two workers: the output folder and the process."""
    work = tmp_path_factory.mktemp("hostile")
    folder = work / "clips"
    folder.mkdir()
    good = (media / "practice-1.mp4").read_bytes()
    (folder / "empty.mp4").write_bytes(b"")
    (folder / "truncated.mp4").write_bytes(good[:4000])
    (folder / "zz good \u00e4.mp4").write_bytes(good)
    write_text(folder / "text.mp4")
    write_sound(folder / "sound.mp4")
    write_clip(folder / "single.mp4", [0.0])
    write_clip(folder / "=small.mp4", even_times(12))
    done = run_program("measure", folder, "--calibration", lane_file, "--workers", "2", "-o", "out", cwd=work)
    return work / "out", done


def test_every_bad_clip_has_one_line_with_its_reason(batch: tuple[Path, Done]) -> None:
    lines = batch[1].stderr.splitlines()
    for stem, reason in EXPECTED.items():
        about = [line for line in lines if f"] {stem}.mp4: " in line]
        assert len(about) == 1, batch[1].stderr
        assert about[0].endswith(f"({reason})")
    assert "Traceback" not in batch[1].stderr


def test_every_bad_clip_has_a_row_in_both_tables(batch: tuple[Path, Done]) -> None:
    out = batch[0]
    failures, shots = table(out / "failures.csv"), table(out / "shots.csv")
    names = {stem.replace("=", "'="): reason for stem, reason in EXPECTED.items()}
    assert {k: row["reason"].split(":")[0] for k, row in failures.items()} == names
    assert all(row["what_to_do"] for row in failures.values())
    assert {k for k, row in shots.items() if row["status"] == "failed"} == set(names)


def test_the_good_clip_is_measured_beside_them(batch: tuple[Path, Done]) -> None:
    out, done = batch
    assert done.returncode == 3
    assert done.stdout.splitlines() == ["out/shots.csv"]
    assert table(out / "shots.csv")["zz good \u00e4"]["status"] == "measured"
    assert (out / "zz good \u00e4" / "path.csv").exists()


def test_nothing_temporary_and_no_absolute_path_is_left(batch: tuple[Path, Done]) -> None:
    out = batch[0]
    assert not [p.name for p in out.rglob("*") if ".tmp-" in p.name or ".old-" in p.name]
    for file in (p for p in out.rglob("*") if p.suffix in {".json", ".csv"}):
        assert str(out.parent) not in file.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def quiet(media: Path) -> NDArray[np.uint8]:
    """The calibrated place with nobody bowling."""
    with ClipReader(media / "practice-1.mp4") as reader:
        return reader.first_frame.whole().luma


def test_clip_of_one_frame_in_the_right_size(lane_file: Path, quiet: NDArray[np.uint8], tmp_path: Path) -> None:
    write_clip(tmp_path / "one.mp4", [0.0], luma=lambda _: quiet)
    done = run_program("measure", "one.mp4", "--calibration", lane_file, "-o", "out", cwd=tmp_path)
    assert done.returncode == 3
    assert "(too_few_frames)" in done.stderr


def test_clip_without_a_ball_is_no_shot(lane_file: Path, quiet: NDArray[np.uint8], tmp_path: Path) -> None:
    write_clip(tmp_path / "still.mp4", even_times(60), luma=lambda _: quiet)
    done = run_program("measure", "still.mp4", "--calibration", lane_file, "-o", "out", cwd=tmp_path)
    assert done.returncode == 3
    assert "(no_ball)" in done.stderr
    assert table(tmp_path / "out" / "failures.csv")["still"]["reason"].startswith("no_ball")


def test_clip_of_something_else_in_the_right_size_is_not_measured(lane_file: Path, tmp_path: Path) -> None:
    write_clip(tmp_path / "grey.mp4", even_times(30), luma=lambda _: np.full((720, 1280), 90, np.uint8))
    done = run_program("measure", "grey.mp4", "--calibration", lane_file, "-o", "out", cwd=tmp_path)
    assert done.returncode == 3
    assert table(tmp_path / "out" / "failures.csv")["grey"]["reason"].startswith("camera_moved")


def test_clip_shorter_than_any_shot_says_so(lane_file: Path, quiet: NDArray[np.uint8], tmp_path: Path) -> None:
    write_clip(tmp_path / "blink.mp4", even_times(12), luma=lambda _: quiet)
    done = run_program("measure", "blink.mp4", "--calibration", lane_file, "-o", "out", cwd=tmp_path)
    assert done.returncode == 3
    assert "(too_few_frames)" in done.stderr


@pytest.mark.parametrize("name", ["./-x.mp4", "two words.mp4", "\u30dc\u30fc\u30eb.mp4", "shots.csv.mp4"])
def test_odd_names_reach_the_reader(lane_file: Path, tmp_path: Path, name: str) -> None:
    write_text(tmp_path / name)
    done = run_program("measure", name, "--calibration", lane_file, "-o", "out", cwd=tmp_path)
    assert done.returncode == 3
    assert f"{Path(name).name}: no shot: " in done.stderr
    assert "(not_a_video)" in done.stderr
    assert (tmp_path / "out" / "shots.csv").is_file()


def test_output_folder_below_a_file_is_an_error_that_says_so(lane_file: Path, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("not a folder", encoding="utf-8")
    write_text(tmp_path / "a.mp4")
    below = run_program("measure", "a.mp4", "--calibration", lane_file, "-o", "taken/out", cwd=tmp_path)
    assert below.returncode == 1
    assert "cannot write results there" in below.stderr
    assert "Traceback" not in below.stderr
    itself = run_program("measure", "a.mp4", "--calibration", lane_file, "-o", "taken", cwd=tmp_path)
    assert itself.returncode == 2
    assert (tmp_path / "taken").read_text(encoding="utf-8") == "not a folder"


def test_folder_of_somebody_else_is_left_alone(lane_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "manifest.json").write_text("{}", encoding="utf-8")
    write_text(tmp_path / "a.mp4")
    done = run_program("measure", "a.mp4", "--calibration", lane_file, "-o", "out", cwd=tmp_path)
    assert done.returncode == 1
    assert "manifest.json: not a manifest of this program" in done.stderr
    assert (out / "manifest.json").read_text(encoding="utf-8") == "{}"


def test_folder_without_clips(lane_file: Path, tmp_path: Path) -> None:
    (tmp_path / "none").mkdir()
    done = run_program("measure", "none", "--calibration", lane_file, "-o", "out", cwd=tmp_path)
    assert done.returncode == 3
    assert done.stderr.startswith("none: no clips in this folder")
    assert done.stdout == ""


def test_equal_stems_of_two_folders_both_get_their_rows(media: Path, lane_file: Path, tmp_path: Path) -> None:
    for day, source in (("mon", "practice-1.mp4"), ("tue", "practice-3.mp4")):
        (tmp_path / day).mkdir()
        shutil.copy(media / source, tmp_path / day / "x.mp4")
    done = run_program("measure", "mon", "tue", "--calibration", lane_file, "-o", "out", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    first, second = sorted(table(tmp_path / "out" / "shots.csv"))
    assert first == "x"
    assert second.startswith("x-")
    assert (tmp_path / "out" / second / "shot.json").exists()
