"""``measure``: resume, several workers, what is printed where, and wrong command lines."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from program import ROOT, contents, run_program, table

from tracker.cli.main import cli


@pytest.fixture(scope="module")
def two_clips(media: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two clips of the sample session in a folder."""
    folder = tmp_path_factory.mktemp("two") / "clips"
    folder.mkdir()
    for name in ("practice-1.mp4", "practice-3.mp4"):
        shutil.copy(media / name, folder)
    return folder


@pytest.fixture(scope="module")
def measured(two_clips: Path, lane_file: Path) -> Path:
    """The two clips measured on two workers: the output folder."""
    out = two_clips.parent / "out"
    done = run_program("measure", two_clips, "--calibration", lane_file, "--workers", "2", "-o", out, cwd=out.parent)
    assert done.returncode == 0, done.stderr
    return out


def test_one_worker_writes_the_same_bytes_as_two(
    two_clips: Path, lane_file: Path, measured: Path, tmp_path: Path
) -> None:
    done = run_program("measure", two_clips, "--calibration", lane_file, "--workers", "1", "-o", "out", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert contents(tmp_path / "out") == contents(measured)


def test_second_run_skips_and_changes_nothing(two_clips: Path, lane_file: Path, measured: Path, tmp_path: Path) -> None:
    shutil.copytree(measured, tmp_path / "out")
    done = run_program("measure", two_clips, "--calibration", lane_file, "-o", "out", cwd=tmp_path)
    assert done.returncode == 0
    assert done.stderr.count("skipped (--redo measures it again)") == 2
    assert contents(tmp_path / "out") == contents(measured)


def test_incomplete_folder_and_other_settings_are_measured_again(
    two_clips: Path, lane_file: Path, measured: Path, tmp_path: Path
) -> None:
    shutil.copytree(measured, tmp_path / "out")
    (tmp_path / "out" / "practice-1" / "path.csv").unlink()
    done = run_program("measure", two_clips, "--calibration", lane_file, "-o", "out", cwd=tmp_path)
    assert "practice-1.mp4: measured\n" in done.stderr
    assert done.stderr.count("skipped") == 1
    assert contents(tmp_path / "out") == contents(measured)
    one = two_clips / "practice-1.mp4"
    other = run_program("measure", one, "--calibration", lane_file, "--hand", "right", "-o", "out", cwd=tmp_path)
    assert "skipped" not in other.stderr
    assert set(table(tmp_path / "out" / "shots.csv")) == {"practice-1", "practice-3"}


def test_manifest_and_shot_say_what_was_measured(measured: Path) -> None:
    clips = json.loads((measured / "manifest.json").read_text(encoding="utf-8"))["clips"]
    shot = json.loads((measured / "practice-1" / "shot.json").read_text(encoding="utf-8"))
    assert clips["practice-1"]["shots"] == ["practice-1"]
    assert shot["provenance"]["clip_sha256"] == clips["practice-1"]["inputs"]["clip_sha256"]
    assert shot["provenance"]["versions"]["sixtyfeet"] == clips["practice-1"]["inputs"]["version"]


def test_only_the_path_of_the_table_is_on_stdout(measured: Path, two_clips: Path, lane_file: Path) -> None:
    args = ("measure", two_clips, "--calibration", lane_file, "-o", measured)
    usual = run_program(*args, cwd=measured.parent)
    assert usual.stdout == f"{measured}/shots.csv\n"
    quiet = run_program(*args, "-q", cwd=measured.parent)
    assert (quiet.stdout, quiet.stderr) == ("", "")


def test_no_bar_where_there_is_no_terminal(measured: Path, two_clips: Path, lane_file: Path) -> None:
    done = run_program("measure", two_clips, "--calibration", lane_file, "-o", measured, cwd=measured.parent)
    assert "\r" not in done.stderr
    assert "[##" not in done.stderr


@pytest.mark.skipif(os.name == "nt", reason="signals to a process group are a POSIX matter")
def test_interrupt_keeps_what_is_written_and_says_how_to_go_on(media: Path, lane_file: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-m", "tracker.cli.main", "measure", str(media), "--calibration", str(lane_file)]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        [*command, "--workers", "1", "-o", "out"],
        cwd=tmp_path,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as process:
        manifest = tmp_path / "out" / "manifest.json"
        deadline = time.monotonic() + 60
        while not manifest.exists() and time.monotonic() < deadline:
            time.sleep(0.05)
        os.killpg(process.pid, signal.SIGINT)
        _, words = process.communicate(timeout=60)
    assert process.returncode == 1
    assert "stopping after the clips in work" in words
    assert "the same command goes on from here" in words
    written = json.loads(manifest.read_text(encoding="utf-8"))["clips"]
    assert 1 <= len(written) < 8
    assert set(table(tmp_path / "out" / "shots.csv")) == set(written)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["a.mp4", "-o", "out", "--calibration", "LANE", "--lane-at", "9,9"], "--calibration says which lane it is"),
        (["a.mp4", "-o", "out", "--lane-at", "nine"], "'nine' is not a pixel; give two numbers like 960,540"),
        (["a.mp4", "-o", "out", "--lane-at=-3,5"], "lies outside any frame"),
        (["a.mp4", "--calibration", "LANE"], "'-o'"),
        (["-o", "out", "--calibration", "LANE"], "CLIP|FOLDER"),
        (["missing.mp4", "-o", "out", "--calibration", "LANE"], "missing.mp4"),
        (["a.mp4", "-o", "out", "--calibration", "a.mp4"], "'--calibration': a.mp4: not JSON"),
        (["a.mp4", "-o", "out", "--calibration", "LANE", "--hand", "both"], "'both'"),
        (["a.mp4", "-o", "out", "--calibration", "LANE", "--capture-fps", "nan"], "nan is not a positive number"),
        (["a.mp4", "-o", "out", "--calibration", "LANE", "--workers", "0"], "--workers"),
    ],
)
def test_wrong_command_lines_are_usage_errors(
    lane_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, args: list[str], words: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.mp4").write_text("a", encoding="utf-8")
    result = CliRunner().invoke(cli, ["measure", *(str(lane_file) if a == "LANE" else a for a in args)])
    assert result.exit_code == 2
    assert words in result.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="named pipes are a POSIX matter")
def test_named_pipe_is_refused_and_does_not_hang(lane_file: Path, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.mp4")
    result = CliRunner().invoke(
        cli, ["measure", str(tmp_path / "pipe.mp4"), "--calibration", str(lane_file), "-o", str(tmp_path / "out")]
    )
    assert result.exit_code == 2
    assert "neither a file nor a folder" in result.stderr
