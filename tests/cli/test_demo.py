"""``demo``: the README's first command, from another folder."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from program import Done, run_program, table


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Done]:
    """Folder of the demo's results and the process."""
    work = tmp_path_factory.mktemp("demo")
    return work / "demo_out", run_program("demo", "-o", "demo_out", cwd=work)


def test_every_clip_of_the_session_is_measured(shown: tuple[Path, Done], media: Path) -> None:
    out, done = shown
    assert done.returncode == 0, done.stderr
    shots = table(out / "shots.csv")
    assert len(shots) == len(list(media.glob("*.mp4"))) == 8
    assert {row["status"] for row in shots.values()} <= {"measured", "partial"}


def test_it_ends_with_the_table_and_where_the_files_are(shown: tuple[Path, Done]) -> None:
    _, done = shown
    lines = done.stderr.splitlines()
    (where,) = [
        k for k, line in enumerate(lines) if line.startswith("table demo_out/shots.csv, lane grid demo_out/lane")
    ]
    assert any(line.startswith("practice-8") for line in lines[where - 5 : where])
    assert done.stdout == "demo_out/shots.csv\ndemo_out/lineup.json\ndemo_out/session.html\n"


def test_it_lines_up_the_session(shown: tuple[Path, Done]) -> None:
    """Three balls whose order of strength is that of the truth (Rowan Twist, Tern Lagoon, Fen Slate)."""
    out, done = shown
    data = json.loads((out / "lineup.json").read_text(encoding="utf-8"))
    (found,) = data["line_ups"]
    assert found["verdict"] in {"decided", "tie"}
    assert all(line in done.stderr for line in found["words"])
    grip = {ball: one["grip"]["value"] for ball, one in data["model"]["balls"].items()}
    assert grip["Rowan Twist"] > grip["Tern Lagoon"] > grip["Fen Slate"]
    assert [s["shot_id"] for s in found["shots"]] == [f"practice-{k}" for k in range(1, 9)]


def test_sheets_reach_the_table(shown: tuple[Path, Done]) -> None:
    shots = table(shown[0] / "shots.csv")
    assert all(row["ball"] and row["hand"] == "right" for row in shots.values())


def test_numbers_agree_with_the_truth_of_the_clips(shown: tuple[Path, Done], media: Path) -> None:
    """Coarse: that this is the lane, in boards and feet; accuracy has its own tests."""
    for shot_id, row in table(shown[0] / "shots.csv").items():
        truth = json.loads((media / f"{shot_id}.truth.json").read_text(encoding="utf-8"))["shot"]
        assert float(row["board_15ft"]) == pytest.approx(truth["board_15ft"], abs=0.6)
        assert float(row["contact_board"]) == pytest.approx(truth["contact_board"], abs=1.5)
