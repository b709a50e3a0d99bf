"""A measured session read back: stations as written, numbers on the lane, what is left out and why, broken files."""

from __future__ import annotations

import dataclasses
import json

import numpy as np
import pytest

from tracker.columns import HEADER
from tracker.report.files import OutputError, read_table, write_tables
from tracker.report.measured import read_measured, read_stations
from tracker.report.rows import shot_row
from tracker.report.shot import write_shot
from tracker.results import Stations
from tracker.session.sheet import parse_session

SHEET = parse_session("clip,lane,ball,feet\na.mp4,7,red,22\nb.mp4,7,blue,about 20\nc.mp4,8,red,\n")


@pytest.fixture
def stations() -> Stations:
    random = np.random.default_rng(3)
    feet = np.array([3.0, 10.0, 20.0, 30.0, 40.0, 50.0])
    root = 0.05 * random.standard_normal((11, 11))
    return Stations(feet, 16 - feet / 5, (feet[1:] - 3) / 25, root @ root.T + 1e-6 * np.eye(11))


@pytest.fixture
def folder(tmp_path, shot, stations):
    rows = []
    for name, found, status in (("a", stations, "measured"), ("b", None, "failed"), ("c", stations, "partial")):
        one = dataclasses.replace(
            shot, shot_id=name, clip=f"{name}.mp4", stations=found, status=status, scene=None, camera=None,
            reason="" if status == "measured" else "gutter",
        )  # fmt: skip
        write_shot(tmp_path, one, {})
        rows.append(shot_row(one, SHEET.for_shot(one.clip).texts))
    write_tables(tmp_path, rows, [])
    return tmp_path


def test_stations_come_back_as_they_were_written(folder, stations):
    found = read_stations(folder / "a" / "shot.json")
    np.testing.assert_allclose(found.board, stations.board, atol=1e-4)
    np.testing.assert_allclose(found.elapsed_s, stations.elapsed_s, atol=1e-6)
    u = np.sqrt(np.diag(stations.covariance))
    np.testing.assert_allclose(found.covariance, stations.covariance, atol=1e-3 * np.max(np.outer(u, u)))
    assert np.linalg.eigvalsh(found.covariance).min() > -1e-5


def test_shots_with_what_was_noted_and_those_left_out(folder):
    found = read_measured(folder, SHEET)
    assert [(t.shot_id, t.lane, t.ball, t.number, t.feet) for t in found.throws] == [
        ("a", "7", "red", 1, 22.0),
        ("c", "8", "red", 1, None),
    ]
    assert [(s.shot_id, s.why) for s in found.left_out] == [("b", "gutter: gutter ball")]
    assert read_measured(folder).throws[0].feet is None


def test_a_shot_at_pins_that_were_left_is_a_spare_shot(folder):
    rows = read_table(folder / "shots.csv", HEADER)
    write_tables(folder, [row | {"flags": "weak_contrast rack_not_full"} for row in rows if row["shot_id"] == "a"], [])
    assert [t.intent for t in read_measured(folder, SHEET).throws] == ["spare", ""]


def test_a_file_of_an_older_program_asks_for_a_new_measurement(folder):
    file = folder / "a" / "shot.json"
    data = json.loads(file.read_text("utf-8"))
    del data["stations"]
    file.write_text(json.dumps(data), "utf-8")
    assert read_measured(folder).left_out[0].shot_id == "a"
    assert "measure again" in read_measured(folder).left_out[0].why


@pytest.mark.parametrize("text", ["{", "[]", '{"stations": {"board": [1]}}', '{"stations": 5}'])
def test_a_broken_file_is_named(folder, text):
    (folder / "a" / "shot.json").write_text(text, "utf-8")
    with pytest.raises(OutputError, match=r"a/shot.json: cannot be read as a shot"):
        read_measured(folder)
