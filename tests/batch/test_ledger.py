"""Tables, manifest and folders after each clip, with a stand-in for the measuring."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from calibration.camera import Camera
from calibration.errors import Failure
from calibration.store import Calibration
from tracker.batch import task as task_module
from tracker.batch.engine import run_batch
from tracker.batch.ledger import Progress
from tracker.batch.manifest import load_manifest
from tracker.batch.plan import Request, diameter_of, hand_of, sheet_of_clip
from tracker.measure import MeasureSettings
from tracker.report.files import SHOTS_NAME
from tracker.results import ClipResult, ShotResult
from tracker.session.sheet import parse_balls, parse_session

CAMERA = Camera(30, -200, 66, -4, 8, 0, 1600, 0, 1, 1280, 720)
CALIBRATION = Calibration(CAMERA, np.eye(9))
Measure = Callable[[Path, Calibration, MeasureSettings], ClipResult]


def gives(*suffixes: str, status: str = "measured", reason: str = "") -> Measure:
    """A stand-in that gives a shot for every suffix of the stem."""

    def measure(path: Path, _calibration: Calibration, settings: MeasureSettings) -> ClipResult:
        shots = tuple(
            ShotResult(f"{path.stem}{suffix}", path.name, status, reason, "in words", hand=settings.hand)
            for suffix in suffixes
        )
        return ClipResult(path.name, None, shots)

    return measure


def fails(path: Path, _calibration: Calibration, _settings: MeasureSettings) -> ClipResult:
    return ClipResult(path.name, None, failure=Failure("no_ball", f"{path.name}: nothing rolls"))


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., list[Progress]]:
    """Run a batch on one clip ``a.mp4`` with a stand-in for measuring."""
    (tmp_path / "a.mp4").write_bytes(b"a clip")

    def run(measure: Measure, *clips: str, **wishes: object) -> list[Progress]:
        monkeypatch.setattr(task_module, "measure_clip", measure)
        paths = tuple(tmp_path / clip for clip in clips or ("a.mp4",))
        told: list[Progress] = []
        request = Request(paths, CALIBRATION, tmp_path / "out", **wishes)  # type: ignore[arg-type]
        run_batch(request, tell=told.append, stop=lambda: False)
        return told

    return run


def shots(folder: Path) -> dict[str, dict[str, str]]:
    with (folder / SHOTS_NAME).open(encoding="utf-8", newline="") as stream:
        return {row["shot_id"]: row for row in csv.DictReader(stream)}


def folders(out: Path) -> set[str]:
    return {p.name for p in out.iterdir() if p.is_dir()}


def test_takes_that_become_fewer_leave_nothing_behind(run: Callable[..., list[Progress]], tmp_path: Path) -> None:
    run(gives("-01", "-02", "-03"))
    assert folders(tmp_path / "out") == {"a-01", "a-02", "a-03"}
    run(gives("-01", "-02"), redo=True)
    assert folders(tmp_path / "out") == set(shots(tmp_path / "out")) == {"a-01", "a-02"}
    run(gives(""), redo=True)
    assert folders(tmp_path / "out") == set(shots(tmp_path / "out")) == {"a"}
    assert load_manifest(tmp_path / "out").entries["a"].shots == ("a",)


def test_clip_that_fails_and_then_succeeds_leaves_no_failure(
    run: Callable[..., list[Progress]], tmp_path: Path
) -> None:
    (failed,) = run(fails)
    assert failed.failed
    assert failed.lines == ("no shot: nothing rolls (no_ball)",)
    assert shots(tmp_path / "out")["a"]["status"] == "failed"
    (good,) = run(gives("-01", "-02"))
    assert not good.failed
    assert set(shots(tmp_path / "out")) == {"a-01", "a-02"}
    assert (tmp_path / "out" / "failures.csv").read_text(encoding="utf-8").count("\n") == 1


def test_shot_that_failed_counts_as_no_result_and_is_in_both_tables(
    run: Callable[..., list[Progress]], tmp_path: Path
) -> None:
    (told,) = run(gives("", status="failed", reason="track_implausible"))
    assert told.failed
    assert told.lines == ("failed: in words (track_implausible)",)
    assert shots(tmp_path / "out")["a"]["reason"].startswith("track_implausible")
    assert "a.mp4,a,track_implausible" in (tmp_path / "out" / "failures.csv").read_text(encoding="utf-8")


def test_partial_shot_is_a_result(run: Callable[..., list[Progress]]) -> None:
    (told,) = run(gives("", status="partial", reason="gutter"))
    assert not told.failed
    assert told.lines == ("partial: in words (gutter)",)


def test_fault_of_the_program_is_a_failure_of_the_clip(run: Callable[..., list[Progress]], tmp_path: Path) -> None:
    def broken(*_: object) -> ClipResult:
        return ClipResult("a.mp4", None, shots=[1 / 0])  # type: ignore[arg-type]

    (told,) = run(broken)
    assert told.failed
    assert "ZeroDivisionError" in told.trace
    assert shots(tmp_path / "out")["a"]["reason"].startswith("internal_error")


def test_sheet_gives_hand_ball_and_texts(run: Callable[..., list[Progress]], tmp_path: Path) -> None:
    seen: list[MeasureSettings] = []

    def measure(path: Path, calibration: Calibration, settings: MeasureSettings) -> ClipResult:
        seen.append(settings)
        return gives("")(path, calibration, settings)

    session = parse_session("clip,ball,hand,line,note\na,Test Grey,l,second arrow,private\n")
    balls = parse_balls("ball,diameter_in\nTEST grey,8.55\n")
    (tmp_path / "b.mp4").write_bytes(b"another clip")
    run(measure, "a.mp4", "b.mp4", session=session, balls=balls, hand="right", capture_fps=240.0)
    assert seen == [MeasureSettings("left", 8.55, 240.0), MeasureSettings("right", None, 240.0)]
    table = shots(tmp_path / "out")
    assert (table["a"]["ball"], table["a"]["line"], table["a"]["hand"]) == ("Test Grey", "second arrow", "left")
    assert table["b"]["ball"] == ""
    assert not [p for p in (tmp_path / "out").rglob("*") if p.is_file() and b"private" in p.read_bytes()]


def test_each_shot_of_a_take_gets_its_own_row_of_the_sheet(run: Callable[..., list[Progress]], tmp_path: Path) -> None:
    session = parse_session("clip,ball,hand\na.mp4,One,right\na.mp4,Two,right\na-03,Three,\n")
    run(gives("-01", "-02", "-03", "-04"), session=session)
    assert [row["ball"] for row in shots(tmp_path / "out").values()] == ["One", "Two", "Three", ""]


def test_changed_sheet_is_measured_again(run: Callable[..., list[Progress]], tmp_path: Path) -> None:
    """The stand-in writes no path, so the folder is completed by hand."""
    first = parse_session("clip,ball\na.mp4,One\n")
    run(gives(""), session=first)
    for name in ("path.csv", "overlay.png"):
        (tmp_path / "out" / "a" / name).write_bytes(b"")
    (same,) = run(fails, session=first)
    assert "skipped" in same.lines[0]
    (again,) = run(gives(""), session=parse_session("clip,ball\na.mp4,Two\n"))
    assert again.lines == ("measured",)
    assert shots(tmp_path / "out")["a"]["ball"] == "Two"


@pytest.mark.parametrize(
    ("sheet", "hand", "diameter"),
    [
        ("clip,hand,ball\na,left,A\na,,A\n", "left", 8.5),
        ("clip,hand,ball\na,left,A\na,right,B\n", None, None),
        ("clip,hand,ball\na,,A\na,,\n", "right", None),
        ("clip,hand,ball\nb,left,A\n", "right", None),
    ],
)
def test_rows_of_one_clip_must_agree(sheet: str, hand: str | None, diameter: float | None) -> None:
    rows = sheet_of_clip(parse_session(sheet), "a.mp4").rows
    balls = parse_balls("ball,diameter_in\nA,8.5\nB,8.59\n")
    assert hand_of(rows, "right") == hand
    assert diameter_of(rows, balls) == diameter


def test_other_content_under_the_same_name_replaces_and_says_so(
    run: Callable[..., list[Progress]], tmp_path: Path
) -> None:
    run(gives(""))
    (tmp_path / "a.mp4").write_bytes(b"another clip")
    (told,) = run(gives(""))
    assert told.lines == ("measured", "replaces an earlier a.mp4 with another content")


def test_clip_that_vanished_is_a_failure_and_not_an_error(run: Callable[..., list[Progress]]) -> None:
    (told,) = run(fails, "gone.mp4")
    assert told.failed
