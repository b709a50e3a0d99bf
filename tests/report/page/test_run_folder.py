"""A run's folder read back: what is broken costs what it is, and nothing outside the folder is read."""

from __future__ import annotations

import json
import shutil

import pytest

from tracker.columns import HEADER
from tracker.report.files import OutputError, csv_text, read_table
from tracker.report.folder import read_folder


@pytest.fixture
def copy(hostile_out, tmp_path):
    out = tmp_path / "copy"
    shutil.copytree(hostile_out, out)
    return out


def test_a_whole_folder(hostile_folder):
    shot = hostile_folder.shots[0]
    assert set(shot.pictures) == {"overlay.png"}
    assert shot.numbers["roll_ft"].missing == "still_turning"
    assert shot.numbers["contact_ft"].value == 59.41
    assert hostile_folder.lineup is not None
    assert not hostile_folder.lineup_trouble
    assert [row["shot_id"] for row in hostile_folder.failures] == ["zz-lost"]


@pytest.mark.parametrize("broken", ["{", "[]", '{"numbers": 3}', ""])
def test_a_broken_shot_file_costs_that_shot_alone(copy, broken):
    name = read_folder(copy).shots[0].shot_id
    (copy / name / "shot.json").write_text(broken, encoding="utf-8")
    found = read_folder(copy)
    assert "--redo" in found.shots[0].trouble
    assert found.shots[0].numbers["contact_ft"].value == 59.41
    assert not any(shot.trouble for shot in found.shots[1:])


def test_a_broken_table_of_failures_costs_that_table_alone(copy):
    (copy / "failures.csv").write_bytes(b"\xff\xfe\x00")
    found = read_folder(copy)
    assert found.failures == ()
    assert "failures.csv" in found.failures_trouble
    assert len(found.shots) == 6


@pytest.mark.parametrize("cell", ["nan", "inf", "seventeen"])
def test_a_cell_that_is_no_number_is_none(copy, cell):
    rows = read_table(copy / "shots.csv", HEADER)
    rows[0]["contact_ft"] = cell
    (copy / "shots.csv").write_text(csv_text(HEADER, rows), encoding="utf-8")
    assert read_folder(copy).shots[0].numbers["contact_ft"].value is None


def test_a_line_up_of_another_table_is_not_shown(copy):
    with (copy / "shots.csv").open("a", encoding="utf-8", newline="") as table:
        table.write("late" + "," * (len(HEADER) - 1) + "\r\n")
    found = read_folder(copy)
    assert found.lineup is None
    assert "run sixtyfeet lineup again" in found.lineup_trouble


@pytest.mark.parametrize("text", ["{", "[1]", json.dumps({"format": "sixtyfeet-lineup", "layout": 1})])
def test_a_broken_line_up(copy, text):
    (copy / "lineup.json").write_text(text, encoding="utf-8")
    found = read_folder(copy)
    assert found.lineup is None
    assert "cannot be read" in found.lineup_trouble


def test_no_line_up(copy):
    (copy / "lineup.json").unlink()
    assert "sixtyfeet lineup" in read_folder(copy).lineup_trouble


@pytest.mark.parametrize("name", ["../secret", "..", "a/b", "."])
def test_a_shots_name_leads_nowhere_else(tmp_path, name):
    (tmp_path / "secret").mkdir()
    (tmp_path / "secret" / "shot.json").write_text('{"numbers": {}}', encoding="utf-8")
    out = tmp_path / "OUT"
    (out / "a" / "b").mkdir(parents=True)
    row = dict.fromkeys(HEADER, "") | {"shot_id": name, "status": "measured"}
    (out / "shots.csv").write_text(csv_text(HEADER, [row]), encoding="utf-8")
    shot = read_folder(out).shots[0]
    assert not shot.data
    assert not shot.pictures


def test_a_link_out_of_the_folder_is_not_followed(copy, tmp_path):
    name = read_folder(copy).shots[0].shot_id
    (copy / name).rename(tmp_path / "elsewhere")
    (copy / name).symlink_to(tmp_path / "elsewhere", target_is_directory=True)
    assert not read_folder(copy).shots[0].data


def test_a_broken_table_is_one_sentence(copy):
    (copy / "shots.csv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(OutputError, match=r"shots\.csv"):
        read_folder(copy)
