"""``sixtyfeet lineup`` through its real entry point."""

import json
import subprocess
import sys

import pytest
from lineup.folder import write_practice
from lineup.practice import practise


def run(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "tracker.cli.main", "lineup", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


@pytest.fixture(scope="module")
def out(tmp_path_factory):
    folder = tmp_path_factory.mktemp("lineup") / "OUT"
    write_practice(folder, practise(2, 5), execution="good")
    return folder


def test_a_session_is_lined_up(out):
    done = run(out, "--shots-left", 2)
    assert done.returncode == 0
    assert done.stdout.strip() == str(out / "lineup.json")
    first = (out / "lineup.json").read_bytes()
    data = json.loads(first)
    (one,) = data["line_ups"]
    assert one["verdict"] in {"decided", "tie"}
    assert one["words"][0] in done.stderr
    assert "Stop on pain" in done.stderr
    assert data["window"] == {"contact_board": [16.8, 18.2], "entry_angle_deg": [3.0, 6.0]}
    assert run(out, "--shots-left", 2).returncode == 0
    assert (out / "lineup.json").read_bytes() == first


def test_no_practice_shot_left_and_another_window(out):
    done = run(out, "--shots-left", 0, "--window", "15,20,2,8")
    data = json.loads((out / "lineup.json").read_text(encoding="utf-8"))
    assert done.returncode == 0
    assert data["line_ups"][0]["next"] == {"why": "no_shots_left", "shot": None}
    assert data["window"]["contact_board"] == [15.0, 20.0]


def test_one_shot_cannot_tell(tmp_path):
    practice = practise(2, 1)
    write_practice(tmp_path / "OUT", practice)
    done = run(tmp_path / "OUT")
    assert done.returncode == 0
    assert "Cannot tell" in done.stderr
    data = json.loads((tmp_path / "OUT" / "lineup.json").read_text(encoding="utf-8"))
    assert data["doubts"][0]["code"] == "few_shots"


@pytest.mark.parametrize("window", ["16.8,18.2,3", "18,17,3,6", "a,b,c,d", "-inf,inf,3,6", "1,50,3,6"])
def test_a_wrong_window_is_a_usage_error(out, window):
    done = run(out, f"--window={window}")
    assert done.returncode == 2
    assert window in done.stderr


def test_a_folder_without_a_session_is_left_alone(tmp_path):
    done = run(tmp_path)
    assert done.returncode == 3
    assert "no shots.csv here" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_cell_that_is_no_number_is_a_number_less(tmp_path):
    out = tmp_path / "OUT"
    write_practice(out, practise(2, 4), contact_board="abc", turn_deg="inf")
    done = run(out)
    assert done.returncode == 0, done.stderr
    assert "inf" not in done.stderr.replace("information", "")


def test_a_row_twice_is_named(tmp_path):
    out = tmp_path / "OUT"
    write_practice(out, practise(2, 4))
    text = (out / "shots.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (out / "shots.csv").write_text("".join([*text, text[-1]]), encoding="utf-8")
    done = run(out)
    assert done.returncode == 1
    assert "has two rows" in done.stderr


def test_a_sheet_that_names_what_was_not_measured_is_told(tmp_path):
    out, sheet = tmp_path / "OUT", tmp_path / "sheet.csv"
    write_practice(out, practise(2, 1))
    sheet.write_text("clip,ball\ns01.mp4,Ball 0\ns01,Boulder\ns77.mp4,Pebble\n", encoding="utf-8")
    done = run(out, "--session", sheet)
    assert done.returncode == 0
    (clips,) = [line for line in done.stderr.splitlines() if "not measured" in line]
    assert "'s77.mp4'" in clips
    assert "s01" not in clips
    (balls,) = [line for line in done.stderr.splitlines() if "no measured shot has" in line]
    assert "'Boulder'" in balls
    assert "Ball 0" not in balls


def test_an_older_folder_is_to_be_measured_again_and_not_filmed_again(tmp_path):
    out = tmp_path / "OUT"
    write_practice(out, practise(2, 2))
    for file in out.glob("*/shot.json"):
        told = json.loads(file.read_text(encoding="utf-8"))
        del told["stations"]
        file.write_text(json.dumps(told), encoding="utf-8")
    done = run(out)
    assert "Measure the 2 shots named below again" in done.stderr
    assert done.stderr.count("measure again with --redo") == 2
    assert "film" not in done.stderr.replace("were filmed", "")
