"""Rows, tables and the terminal's summary."""

from __future__ import annotations

import csv
import dataclasses
import io
import math
import os

import pytest

from calibration.errors import Failure
from tracker.columns import HEADER
from tracker.flags import REGISTRY
from tracker.report.files import OutputError, csv_text, natural_key, text_cell, write_tables
from tracker.report.rows import failed_row, failure_row, number_text, phase_at_pins, shot_row
from tracker.report.summary import summary_table
from tracker.results import Quantity


def read(file):
    return list(csv.DictReader(io.StringIO(file.read_bytes().decode("utf-8"), newline="")))


def lost(shot_id="lost", clip="lost.mp4"):
    failure = Failure("no_ball", "lost.mp4: nothing moves")
    return failed_row(clip, shot_id, failure), failure_row(clip, shot_id, failure.reason, failure.detail)


def test_row_has_every_column_and_the_sheet_s_words(shot):
    row = shot_row(shot, {"ball": "navy", "lane": "12", "hand": "left", "note": "private"})
    assert tuple(row) == HEADER
    assert (row["ball"], row["lane"], row["hand"]) == ("navy", "12", "right")
    assert (row["board_15ft"], row["board_15ft_u"]) == ("11.83", "0.050")
    assert (row["roll_ft"], row["roll_ft_u"]) == ("", "")
    assert "private" not in row.values()


def test_numbers_are_never_minus_zero_or_nan(shot):
    assert shot_row(shot)["launch_angle_deg"] == "0.00"
    assert number_text(math.nan, 2) == number_text(math.inf, 2) == number_text(None, 2) == ""
    assert number_text(-1.234, 1) == "-1.2"


@pytest.mark.parametrize(
    ("quantities", "phase"),
    [
        ({}, ""),
        ({"contact_ft": Quantity(59.4), "slip_end_ft": Quantity(48.0)}, "roll"),
        (
            {
                "contact_ft": Quantity(59.4),
                "onset_ft": Quantity(missing="straight_ball"),
                "slip_end_ft": Quantity(missing="after_contact"),
            },
            "skid",
        ),
        ({"contact_ft": Quantity(59.4), "slip_end_ft": Quantity(missing="after_contact")}, ""),
        (
            {
                "contact_ft": Quantity(59.4),
                "onset_ft": Quantity(30.0),
                "slip_end_ft": Quantity(missing="still_turning"),
            },
            "hook",
        ),
        ({"contact_ft": Quantity(59.4), "slip_end_ft": Quantity(missing="not_determined")}, ""),
    ],
)
def test_phase_at_pins(quantities, phase):
    assert phase_at_pins(quantities) == phase


def test_tables_add_and_replace_by_shot(tmp_path, shot):
    failed, failure = lost()
    write_tables(tmp_path, [shot_row(shot), failed], [failure])
    again = dataclasses.replace(shot, shot_id="lost", clip="lost.mp4")
    write_tables(tmp_path, [shot_row(again)], [])
    rows = read(tmp_path / "shots.csv")
    assert [(r["shot_id"], r["status"]) for r in rows] == [("lost", "measured"), ("made-up", "measured")]
    assert read(tmp_path / "failures.csv") == []


def test_a_failed_clip_has_a_row_and_says_what_to_do(tmp_path):
    failed, failure = lost()
    write_tables(tmp_path, [failed], [failure])
    assert read(tmp_path / "shots.csv")[0]["reason"] == "no_ball: no ball found"
    assert read(tmp_path / "failures.csv")[0]["what_to_do"] == REGISTRY["no_ball"].what_to_do


def test_gone_shots_leave_both_tables(tmp_path, shot):
    failed, failure = lost("a")
    write_tables(tmp_path, [failed], [failure])
    write_tables(tmp_path, [shot_row(dataclasses.replace(shot, shot_id="a-01"))], [], gone=["a"])
    assert [r["shot_id"] for r in read(tmp_path / "shots.csv")] == ["a-01"]
    assert read(tmp_path / "failures.csv") == []


def test_same_input_same_bytes_in_any_order(tmp_path, shot):
    rows = [shot_row(dataclasses.replace(shot, shot_id=name)) for name in ("s10", "s2", "S3")]
    write_tables(tmp_path / "a", rows, [])
    for row in reversed(rows):
        write_tables(tmp_path / "b", [row], [])
    assert (tmp_path / "a" / "shots.csv").read_bytes() == (tmp_path / "b" / "shots.csv").read_bytes()
    assert [r["shot_id"] for r in read(tmp_path / "a" / "shots.csv")] == ["s2", "S3", "s10"]
    assert sorted(p.name for p in (tmp_path / "a").iterdir()) == ["failures.csv", "shots.csv"]


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@x", "\t=1", "\r=1", "\n=1", " =1", "\uff1d1", "=cmd|' /C calc'!A0"]
)
def test_no_text_runs_as_a_formula(text):
    cell = text_cell(text)
    assert cell.startswith("'")
    assert text_cell(cell) == cell


def test_hostile_names_survive_a_round_trip(tmp_path, shot):
    hostile = dataclasses.replace(shot, shot_id="-x", clip='=HYPERLINK("a;b"),\n1\x00.mp4')
    for _ in range(2):
        write_tables(tmp_path, [shot_row(hostile, {"ball": "@ball"})], [])
    (row,) = read(tmp_path / "shots.csv")
    assert (row["shot_id"], row["ball"]) == ("'-x", "'@ball")
    assert row["clip"] == '\'=HYPERLINK("a;b"),\n1\ufffd.mp4'


def test_negative_numbers_stay_numbers(shot):
    row = shot_row(dataclasses.replace(shot, quantities={"turn_deg": Quantity(-1.5, 0.1)}))
    assert "'" not in csv_text(HEADER, [row])
    assert ",-1.50,0.100," in csv_text(HEADER, [row])


def test_lines_end_as_the_standard_says(shot):
    text = csv_text(HEADER, [shot_row(shot)])
    assert text.count("\r\n") == 2
    assert "\n" not in text.replace("\r\n", "")


def test_a_foreign_table_is_refused(tmp_path, shot):
    (tmp_path / "shots.csv").write_text("a,b\n1,2\n")
    with pytest.raises(OutputError, match=r"shots\.csv: has no column shot_id"):
        write_tables(tmp_path, [shot_row(shot)], [])
    assert (tmp_path / "shots.csv").read_text() == "a,b\n1,2\n"


def test_a_folder_that_cannot_be_written_is_one_sentence(tmp_path, shot):
    blocked = tmp_path / "file"
    blocked.write_text("not a folder")
    with pytest.raises(OutputError, match="cannot write into the output folder file") as caught:
        write_tables(blocked / "out" if os.name == "nt" else blocked, [shot_row(shot)], [])
    assert isinstance(caught.value, OSError)
    assert "\n" not in str(caught.value)


def test_natural_order():
    assert sorted(["b10", "B9", "b2", "a"], key=natural_key) == ["a", "b2", "B9", "b10"]


def test_summary_fits_and_tells_all(shot):
    partial = dataclasses.replace(shot, shot_id="x" * 60, status="partial", reason="ball_lost")
    rows = [shot_row(shot, {"ball": "a ball with a very long name"}), shot_row(partial), lost()[0]]
    lines = summary_table(rows).splitlines()
    assert max(map(len, lines)) <= 118
    assert "8.0@42.4" in lines[2]
    assert "26.0±0.3" in lines[2]
    assert lines[1].split("  ")[-1] == "failed, no_ball: no ball found"
    assert any("partial, ball_lost" in line for line in lines)
    assert summary_table([]) == ""


def test_negative_numbers_stay_numbers_in_any_column():
    assert csv_text(("heading_deg", "note"), [{"heading_deg": "-7.636", "note": "-1+2"}]) == (
        "heading_deg,note\r\n-7.636,'-1+2\r\n"
    )


def test_summary_shows_serious_flags_and_what_plus_minus_means(shot):
    plain = summary_table([shot_row(dataclasses.replace(shot, flags=()))])
    flagged = summary_table([shot_row(dataclasses.replace(shot, flags=("hand_assumed", "hdr")))])
    assert "hand_assumed" not in plain
    assert "hand_assumed: " in flagged
    assert "hdr" not in flagged
    assert "standard uncertainty" in plain


def test_long_names_are_cut_in_the_middle(shot):
    rows = [shot_row(dataclasses.replace(shot, shot_id=f"uncut_session-0{k}")) for k in (1, 2)]
    first, second = (line for line in summary_table(rows).splitlines() if line.startswith("uncut"))
    assert first.split()[0].endswith("-01")
    assert second.split()[0].endswith("-02")
