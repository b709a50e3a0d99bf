"""``measure`` without a calibration: the lane is found, kept with the results, used again, asked for, or refused."""

from __future__ import annotations

import json
import os
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from clips import even_times, write_clip
from program import Done, contents, run_program, table

from calibration.store import load
from tracker.lane.choose import lane_at


@pytest.fixture(scope="module")
def clips(media: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two clips of the sample session in a folder."""
    folder = tmp_path_factory.mktemp("found") / "clips"
    folder.mkdir()
    for name in ("practice-1.mp4", "practice-3.mp4"):
        shutil.copy(media / name, folder)
    return folder


@pytest.fixture(scope="module")
def measured(clips: Path) -> tuple[Path, Done]:
    """The output folder of both on two workers, and the process."""
    out = clips.parent / "out"
    return out, run_program("measure", clips, "--workers", "2", "-o", out, cwd=clips.parent)


@pytest.fixture(scope="module")
def greys(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of two clips that show nothing."""
    folder = tmp_path_factory.mktemp("greys")
    for name in ("a.mp4", "b.mp4"):
        write_clip(folder / name, even_times(8), luma=lambda _: np.full((360, 640), 80, np.uint8))
    return folder


def test_lane_and_picture_lie_with_the_results(measured: tuple[Path, Done]) -> None:
    out, done = measured
    assert done.returncode == 0, done.stderr
    assert done.stdout == f"{out}/shots.csv\n"
    assert done.stderr.count("lane found on practice-1.mp4: good, ") == 1
    assert load(out / "lane.json").how == "found"
    assert (out / "lane.png").read_bytes().startswith(b"\x89PNG")
    assert {row["status"] for row in table(out / "shots.csv").values()} == {"measured"}


def test_numbers_agree_with_the_truth(measured: tuple[Path, Done], media: Path) -> None:
    for shot_id, row in table(measured[0] / "shots.csv").items():
        truth = json.loads((media / f"{shot_id}.truth.json").read_text(encoding="utf-8"))["shot"]
        for name in ("board_15ft", "contact_board", "speed_release_mph"):
            assert abs(float(row[name]) - truth[name]) < 3 * float(row[f"{name}_u"])


def test_second_run_measures_nothing_and_keeps_every_byte(clips: Path, measured: tuple[Path, Done]) -> None:
    before = contents(measured[0])
    done = run_program("measure", clips, "-o", measured[0], cwd=clips.parent)
    assert done.returncode == 0
    assert done.stderr.count("skipped") == 2
    assert "lane found" not in done.stderr
    assert contents(measured[0]) == before


def test_another_folder_gets_the_same_bytes_even_where_a_clip_comes_later(
    clips: Path, measured: tuple[Path, Done], tmp_path: Path
) -> None:
    first = run_program("measure", clips / "practice-1.mp4", "--workers", "1", "-o", "out", cwd=tmp_path)
    assert first.returncode == 0, first.stderr
    both = run_program("measure", clips, "--workers", "1", "-o", "out", cwd=tmp_path)
    assert "lane as found before on practice-1.mp4 (lane.json)" in both.stderr
    mine, theirs = contents(tmp_path / "out"), contents(measured[0])
    assert {"lane.json", "shots.csv", "practice-1/path.csv", "practice-3/path.csv"} <= set(mine)
    assert mine == theirs


def test_calibrate_finds_the_same_lane_and_measure_takes_its_file(
    clips: Path, measured: tuple[Path, Done], tmp_path: Path
) -> None:
    clip = clips / "practice-1.mp4"
    found = run_program("calibrate", clip, "-o", "lane.json", cwd=tmp_path)
    assert found.stdout == "lane.json\n"
    assert contents(tmp_path) == {name: (measured[0] / name).read_bytes() for name in ("lane.json", "lane.png")}
    done = run_program("measure", clip, "--calibration", "lane.json", "-o", "out", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert not (tmp_path / "out" / "lane.json").exists()
    given, without = (table(out / "shots.csv")["practice-1"] for out in (tmp_path / "out", measured[0]))
    assert {name: given[name] for name in ("status", "board_15ft", "contact_board")} == {
        name: without[name] for name in ("status", "board_15ft", "contact_board")
    }


def test_a_pixel_on_the_next_lane_measures_that_lane(clips: Path, measured: tuple[Path, Done], tmp_path: Path) -> None:
    """The pixel is one that the first run names; nobody bowls there."""
    told = re.search(r"Other lanes in view: --lane-at (\d+),(\d+)", measured[1].stderr)
    assert told is not None
    place = f"{told[1]},{told[2]}"
    done = run_program("measure", clips / "practice-1.mp4", "--lane-at", place, "-o", "out", cwd=tmp_path)
    assert done.returncode == 3
    assert "lane found on practice-1.mp4" in done.stderr
    own, other = (load(out / "lane.json").camera for out in (measured[0], tmp_path / "out"))
    assert lane_at([own, other], (float(told[1]), float(told[2]))) == 1
    assert table(tmp_path / "out" / "failures.csv")["practice-1"]["reason"].split(":")[0] in ("no_ball", "ball_hidden")


def test_a_pixel_on_no_lane_is_no_result_that_names_pixels(clips: Path, tmp_path: Path) -> None:
    done = run_program("measure", clips / "practice-1.mp4", "--lane-at", "5,5", "-o", "out", cwd=tmp_path)
    assert done.returncode == 3
    assert re.search(r"no lane was found at 5,5; lanes found lie at \d+,\d+", done.stderr)
    assert table(tmp_path / "out" / "failures.csv")["practice-1"]["reason"].startswith("lane_not_there")
    assert not (tmp_path / "out" / "lane.json").exists()


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (["--lane-at", "9,9", "--calibration", "LANE"], "--calibration says which lane it is"),
        (["--lane-at", "9;9"], "'9;9' is not a pixel; give two numbers like 960,540"),
        (["--lane-at", "9,9,9"], "'9,9,9' is not a pixel"),
        (["--lane-at", "inf,9"], "lies outside any frame"),
    ],
)
def test_wrong_pixels_are_usage_errors(
    clips: Path, measured: tuple[Path, Done], tmp_path: Path, more: list[str], words: str
) -> None:
    lane = str(measured[0] / "lane.json")
    done = run_program("measure", clips, *(lane if m == "LANE" else m for m in more), "-o", "out", cwd=tmp_path)
    assert done.returncode == 2
    assert words in " ".join(done.stderr.split())
    assert list(tmp_path.iterdir()) == []


def test_without_a_lane_every_clip_has_its_own_row(greys: Path, tmp_path: Path) -> None:
    done = run_program("measure", greys, "-o", "out", cwd=tmp_path)
    assert done.returncode == 3
    failures = table(tmp_path / "out" / "failures.csv")
    assert set(failures) == {"a", "b"}
    assert {row["reason"].split(":")[0] for row in failures.values()} == {"no_lane"}
    assert all(row["what_to_do"] for row in failures.values())
    assert not {"lane.json", "lane.png"} & {p.name for p in (tmp_path / "out").iterdir()}


def test_a_lane_that_cannot_be_written_ends_with_one_sentence(clips: Path, tmp_path: Path) -> None:
    (tmp_path / "out" / "lane.json").mkdir(parents=True)
    done = run_program("measure", clips / "practice-1.mp4", "-o", "out", cwd=tmp_path)
    assert done.returncode == 1
    last = done.stderr.splitlines()[-1]
    assert last.startswith("sixtyfeet: ")
    assert "cannot write the calibration" in last
    assert "Traceback" not in done.stderr


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="whoever may write everywhere meets no such folder")
def test_read_only_folder_is_refused_before_anything_is_measured(greys: Path, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir(mode=0o555)
    done = run_program("measure", greys, "-o", "out", cwd=tmp_path)
    assert done.returncode == 1
    assert "cannot write results there" in done.stderr


def test_out_that_is_a_file_is_refused(greys: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    below = run_program("measure", greys, "-o", "file/out", cwd=tmp_path)
    assert below.returncode == 1
    assert "cannot write results there" in below.stderr
    assert "lane" not in below.stderr
