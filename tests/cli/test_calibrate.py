"""``calibrate``: the file, the picture, the words, and marks that are wrong."""

from __future__ import annotations

import json
import threading
import urllib.error
import urllib.request
from pathlib import Path

import click
import cv2
import numpy as np
import pytest
from click.testing import CliRunner, Result
from clips import even_times, write_clip, write_text

from calibration.store import load
from tracker.cli.main import cli


def calibrate(*args: str | Path) -> Result:
    return CliRunner().invoke(cli, ["calibrate", *map(str, args)])


@pytest.fixture
def marks(media: Path, tmp_path: Path) -> dict[str, object]:
    """The sample session's marks, to be spoiled."""
    found: dict[str, object] = json.loads((media / "marks.json").read_text(encoding="utf-8"))
    return found


def write_marks(path: Path, marks: dict[str, object]) -> Path:
    path.write_text(json.dumps(marks), encoding="utf-8")
    return path


def test_file_and_picture_appear_and_only_the_path_is_on_stdout(media: Path, tmp_path: Path) -> None:
    out = tmp_path / "new" / "lane.json"
    result = calibrate(media / "practice-1.mp4", "--marks", media / "marks.json", "-o", out)
    assert result.exit_code == 0, result.stderr
    assert result.stdout == f"{out}\n"
    assert "At 60 ft: +- " in result.stderr
    assert load(out).clip == "practice-1.mp4"
    picture = cv2.imdecode(np.frombuffer(out.with_suffix(".png").read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    assert picture is not None
    assert picture.shape == (720, 1280, 3)
    assert sorted(p.name for p in out.parent.iterdir()) == ["lane.json", "lane.png"]


def test_picture_has_the_colours_of_the_clip(media: Path, tmp_path: Path) -> None:
    """A clip of one colour: Y 90, Cb 100, Cr 160 is r 130, g 67, b 30 (BT.601, limited range, by hand)."""
    write_clip(tmp_path / "even.mp4", even_times(2), luma=lambda _: np.full((720, 1280), 90, np.uint8))
    result = calibrate(tmp_path / "even.mp4", "--marks", media / "marks.json", "-o", tmp_path / "lane.json")
    assert result.exit_code == 0, result.stderr
    picture = cv2.imdecode(np.frombuffer((tmp_path / "lane.png").read_bytes(), np.uint8), cv2.IMREAD_COLOR)
    assert picture is not None
    red = 1.164 * (90 - 16) + 1.596 * (160 - 128)
    blue = 1.164 * (90 - 16) + 2.017 * (100 - 128)
    middle = np.median(picture.reshape(-1, 3), axis=0)
    assert middle[2] == pytest.approx(red, abs=4)
    assert middle[0] == pytest.approx(blue, abs=4)


def test_marks_that_determine_no_camera_are_no_result(media: Path, tmp_path: Path, marks: dict[str, object]) -> None:
    marks["marks_px"] = {"foul_left": [500, 600], "foul_right": [700, 600]}
    few = write_marks(tmp_path / "few.json", marks)
    result = calibrate(media / "practice-1.mp4", "--marks", few, "-o", tmp_path / "lane.json")
    assert result.exit_code == 3
    assert "(marks_too_few)" in result.stderr
    assert not (tmp_path / "lane.json").exists()


def test_marks_of_another_frame_size_are_a_usage_error(media: Path, tmp_path: Path, marks: dict[str, object]) -> None:
    marks["width"] = 1920
    other = write_marks(tmp_path / "other.json", marks)
    result = calibrate(media / "practice-1.mp4", "--marks", other, "-o", tmp_path / "lane.json")
    assert result.exit_code == 2
    assert "for a 1920x720 frame, the clip's upright frame is 1280x720" in result.stderr


def test_marks_file_that_is_none_is_a_usage_error(media: Path, tmp_path: Path) -> None:
    text = write_text(tmp_path / "marks.json")
    result = calibrate(media / "practice-1.mp4", "--marks", text, "-o", tmp_path / "lane.json")
    assert result.exit_code == 2
    assert "'--marks': marks.json: not JSON" in result.stderr


def test_clip_that_is_none_is_no_result(media: Path, tmp_path: Path) -> None:
    text = write_text(tmp_path / "clip.mp4")
    result = calibrate(text, "--marks", media / "marks.json", "-o", tmp_path / "lane.json")
    assert result.exit_code == 3
    assert "(not_a_video)" in result.stderr


def test_without_marks_the_lane_is_found(media: Path, tmp_path: Path) -> None:
    result = calibrate(media / "practice-1.mp4", "-o", tmp_path / "lane.json")
    assert result.exit_code == 0
    assert "lane found on practice-1.mp4: good" in result.stderr
    assert load(tmp_path / "lane.json").how == "found"
    assert (tmp_path / "lane.png").read_bytes().startswith(b"\x89PNG")


def test_a_pixel_says_which_lane_is_found_and_marks_need_none(media: Path, tmp_path: Path) -> None:
    clip, marks, out = media / "practice-1.mp4", media / "marks.json", tmp_path / "lane.json"
    for more in (["--marks", marks], ["--page"]):
        both = calibrate(clip, *more, "--lane-at", "640,500", "-o", out)
        assert both.exit_code == 2
        assert "marks say which lane it is" in both.stderr
    nowhere = calibrate(clip, "--lane-at", "5,5", "-o", out)
    assert nowhere.exit_code == 3
    assert "(lane_not_there)" in nowhere.stderr
    assert "--page" not in nowhere.stderr
    assert list(tmp_path.iterdir()) == []


def test_clip_without_a_lane_points_at_the_page(tmp_path: Path) -> None:
    grey = write_clip(tmp_path / "grey.mp4", even_times(8), luma=lambda _: np.full((360, 640), 80, np.uint8))
    result = calibrate(grey, "-o", tmp_path / "lane.json")
    assert result.exit_code == 3
    assert "no calibration: grey.mp4: " in result.stderr
    assert "(no_lane)" in result.stderr
    assert "--page lets you click the marks yourself" in result.stderr
    assert not (tmp_path / "lane.json").exists()


def test_plain_picture_gives_a_file_that_reads_back_without_reference(media: Path, tmp_path: Path) -> None:
    """As where a clip fades in from black: the marks hold, but nothing shows whether a camera has moved."""
    write_clip(tmp_path / "even.mp4", even_times(2), luma=lambda _: np.full((720, 1280), 90, np.uint8))
    result = calibrate(tmp_path / "even.mp4", "--marks", media / "marks.json", "-o", tmp_path / "lane.json")
    assert result.exit_code == 0, result.stderr
    assert load(tmp_path / "lane.json").reference is None
    assert "too plain to notice" in result.stderr
    calibrate(media / "practice-1.mp4", "--marks", media / "marks.json", "-o", tmp_path / "full.json")
    assert load(tmp_path / "full.json").reference is not None


def test_name_of_the_picture_is_refused(media: Path, tmp_path: Path) -> None:
    clip, marks = media / "practice-1.mp4", media / "marks.json"
    result = calibrate(clip, "--marks", marks, "-o", tmp_path / "lane.png")
    assert result.exit_code == 2
    assert "is the name of the picture" in result.stderr


def post(address: str, name: str, data: object) -> tuple[int, str]:
    """Send JSON to the page: status and the words it answers."""
    body = json.dumps(data).encode()
    request = urllib.request.Request(address + name, body, {"Content-Type": "application/json"})  # noqa: S310 -- our page
    try:
        with urllib.request.urlopen(request, timeout=10) as reply:  # noqa: S310
            return reply.status, json.load(reply)["message"]
    except urllib.error.HTTPError as error:
        with error:
            return error.code, json.load(error)["message"]


def test_marks_saved_on_the_page_become_the_calibration(
    media: Path, tmp_path: Path, marks: dict[str, object], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page is answered as a browser would, from where the browser would be opened."""
    answers: list[tuple[int, str]] = []

    def browse(address: str) -> None:
        few = {"marks_px": {"foul_left": [500, 600], "foul_right": [700, 600]}}
        answers.extend(post(address, *step) for step in (("save", few), ("save", marks), ("finish", {})))

    threads: list[threading.Thread] = []

    def launch(address: str) -> None:
        threads.append(threading.Thread(target=browse, args=(address,)))
        threads[0].start()

    monkeypatch.setattr(click, "launch", launch)
    result = calibrate(media / "practice-1.mp4", "--page", "-o", tmp_path / "lane.json")
    threads[0].join()
    assert [status for status, _ in answers] == [422, 200, 200], answers
    assert answers[1][1].startswith("Calibration good: ")
    assert result.exit_code == 0, result.stderr
    assert "mark the lane on http://127.0.0.1:" in result.stderr
    direct = tmp_path / "direct.json"
    assert calibrate(media / "practice-1.mp4", "--marks", media / "marks.json", "-o", direct).exit_code == 0
    assert (tmp_path / "lane.json").read_bytes() == direct.read_bytes()


def test_page_that_is_left_without_marks_gives_no_result(
    media: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        click, "launch", lambda address: threading.Thread(target=post, args=(address, "stop", {})).start()
    )
    result = calibrate(media / "practice-1.mp4", "--page", "-o", tmp_path / "lane.json")
    assert result.exit_code == 3
    assert "no marks were saved" in result.stderr
    assert not (tmp_path / "lane.json").exists()
