"""The page that compares two sessions: what it tells apart, what it refuses to, and hostile names."""

from __future__ import annotations

import shutil

import pytest
from hostile import BALL, SHOT
from test_session_page import Reader

from tracker.columns import HEADER
from tracker.report.files import csv_text, read_table
from tracker.report.folder import read_folder
from tracker.report.page.compare import compare_page


def changed(hostile_out, out, **cells):
    """A copy of the session with cells set, and ``shift`` boards added to where the balls came in."""
    shutil.copytree(hostile_out, out)
    shift = cells.pop("shift", 0.0)
    rows = read_table(out / "shots.csv", HEADER)
    for row in rows:
        row.update(cells)
        if row["contact_board"]:
            row["contact_board"] = f"{float(row['contact_board']) + shift:.2f}"
    (out / "shots.csv").write_text(csv_text(HEADER, rows), encoding="utf-8")
    return out


def compared(first, last) -> Reader:
    return Reader(compare_page((first, last), (read_folder(first), read_folder(last))))


def test_a_session_beside_itself_differs_in_nothing(hostile_out, tmp_path):
    read = compared(hostile_out, changed(hostile_out, tmp_path / "again"))
    assert "No number is told apart" in read.text
    assert f"{BALL}, right-hander" in read.text
    assert read.open == []
    ids = [attributes["id"] for _, attributes in read.tags if "id" in attributes]
    assert len(ids) == len(set(ids))


def test_a_large_shift_is_told_with_its_sign(hostile_out, tmp_path):
    read = compared(hostile_out, changed(hostile_out, tmp_path / "later", shift=60.0))
    assert "contact differs by 60" in read.text
    assert "hook onset differs" not in read.text


def test_no_hand_in_common(hostile_out, tmp_path):
    read = compared(hostile_out, changed(hostile_out, tmp_path / "later", hand="left"))
    assert "no shots to compare" in read.text


def test_spare_shots_are_left_out(hostile_out, tmp_path):
    later = changed(hostile_out, tmp_path / "later", intent="spare")
    read = compared(hostile_out, later)
    assert "later: 0 shots at a full rack" in read.text
    assert "no shots to compare" in read.text


def test_equal_names_are_told_apart_and_no_folder_is_shown(hostile_out, tmp_path):
    later = changed(hostile_out, tmp_path / hostile_out.name)
    page = compare_page((hostile_out, later), (read_folder(hostile_out), read_folder(later)))
    read = Reader(page)
    assert f"{hostile_out.name} (earlier)" in read.text
    assert f"{hostile_out.name} (later)" in read.text
    assert str(tmp_path) not in page
    assert str(hostile_out.parent) not in page


def test_pocket_shares_are_counted(hostile_out, tmp_path):
    """Contact 17.0 and entry 4 lie in the window of common practice, 30.0 does not."""
    inside = changed(hostile_out, tmp_path / "in", contact_board="17.0", entry_angle_deg="4.0")
    outside = changed(hostile_out, tmp_path / "out", contact_board="30.0", entry_angle_deg="4.0")
    text = compared(outside, inside).text
    assert "in: 5 of 5" in text
    assert "Contact board 16.8 to 18.2 and entry 3 to 6 deg." in text
    assert "out: 0 of" in text


def test_names_come_out_as_text(hostile_out, tmp_path):
    read = compared(hostile_out, changed(hostile_out, tmp_path / "later"))
    kinds = {tag for tag, _ in read.tags}
    assert not kinds & {"i", "b", "img", "iframe"}
    assert not [a for _, attributes in read.tags for a in attributes if a.startswith("on")]


@pytest.mark.parametrize("broken", ["shot.json", "path.csv"])
def test_a_broken_shot_costs_its_path_alone(hostile_out, tmp_path, broken):
    later = changed(hostile_out, tmp_path / "later")
    (later / f"{SHOT}0" / broken).write_text("{", encoding="utf-8")
    assert "No number is told apart" in compared(hostile_out, later).text
