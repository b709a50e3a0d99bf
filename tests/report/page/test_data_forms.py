"""The table in other forms, read back by the standard library and by pandas-like rules."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.columns import COLUMNS, HEADER, NUMBERS
from tracker.flags import FLAGS, REASONS
from tracker.report.dataforms import DICTIONARY_HEADER, dictionary_text, excel_text, long_text, table_texts
from tracker.report.files import FORMULA_STARTS


def excel_rows(text):
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""), delimiter=";"))


def test_the_twin_has_the_same_numbers_with_commas(hostile_folder):
    text = excel_text(HEADER, [s.row for s in hostile_folder.shots])
    assert text.startswith("\ufeffshot_id;clip;")
    rows = excel_rows(text)
    assert len(rows) == len(hostile_folder.shots)
    for row, shot in zip(rows, hostile_folder.shots, strict=True):
        for column in NUMBERS:
            assert row[column.name].replace(",", ".") == shot.row[column.name]
            assert "." not in row[column.u_name]


def test_no_cell_of_any_form_can_run(hostile_folder):
    texts = table_texts(hostile_folder.shots, excel=True)
    for name, text in texts.items():
        delimiter = ";" if name == "shots_excel.csv" else ","
        rows = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), delimiter=delimiter)
        for cell in (cell for row in rows for cell in row):
            number = cell.replace(",", ".").lstrip("-").replace(".", "", 1).isdecimal()
            assert number or not cell.startswith(FORMULA_STARTS), (name, cell)


@given(st.text(max_size=30))
def test_any_ball_name_survives_the_twin(name):
    row = dict.fromkeys(HEADER, "") | {"shot_id": "s1", "ball": name, "onset_ft": "-3.25"}
    (back,) = excel_rows(excel_text(HEADER, [row]))
    assert not back["ball"].startswith(FORMULA_STARTS)
    assert back["onset_ft"] == "-3,25"
    if name and name.isprintable() and name.isascii() and name[0].isalnum():
        assert back["ball"] == name


def test_a_number_among_texts_keeps_its_point():
    """A ball called 10.5 is a name."""
    row = dict.fromkeys(HEADER, "") | {"ball": "10.5", "contact_board": "10.5"}
    (back,) = excel_rows(excel_text(HEADER, [row]))
    assert (back["ball"], back["contact_board"]) == ("10.5", "10,5")


def test_pins_are_no_date():
    """Spreadsheets make a date of 4-7-10 (common practice, no source)."""
    row = dict.fromkeys(HEADER, "") | {"standing_pins": "4-7-10"}
    assert excel_rows(excel_text(HEADER, [row]))[0]["standing_pins"] == "4 7 10"


def test_long_has_a_row_a_number_with_unit_and_reason(hostile_folder):
    rows = list(csv.DictReader(io.StringIO(long_text(hostile_folder.shots), newline="")))
    assert len(rows) == len(NUMBERS) * len(hostile_folder.shots)
    first = [r for r in rows if r["shot_id"] == rows[0]["shot_id"]]
    by_name = {r["name"]: r for r in first}
    assert by_name["contact_ft"]["value"] == "59.41"
    assert by_name["contact_ft"]["unit"] == "ft"
    assert by_name["roll_ft"]["value"] == ""
    assert by_name["roll_ft"]["missing"] == "still_turning"


def test_the_dictionary_names_every_column_and_code():
    rows = list(csv.DictReader(io.StringIO(dictionary_text(), newline="")))
    assert tuple(rows[0]) == DICTIONARY_HEADER
    named = {r["name"] for r in rows if r["file"] == "shots.csv"}
    assert set(HEADER) <= named
    assert {c.code for c in (*FLAGS, *REASONS)} <= named
    meaning = {r["name"]: r["meaning"] for r in rows if r["file"] == "shots.csv"}
    for column in COLUMNS:
        assert meaning[column.name] == column.definition
    assert {"path.csv", "failures.csv", "shots_long.csv"} <= {r["file"] for r in rows}


def test_the_same_bytes_again(hostile_folder):
    assert table_texts(hostile_folder.shots, excel=True) == table_texts(hostile_folder.shots, excel=True)


@pytest.mark.parametrize("excel", [True, False])
def test_the_twin_only_on_request(hostile_folder, excel):
    assert ("shots_excel.csv" in table_texts(hostile_folder.shots, excel=excel)) == excel
