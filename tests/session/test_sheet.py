"""Session and ball sheets as people write them."""

from __future__ import annotations

import pickle

import pytest

from tracker.session.sheet import SheetError, parse_balls, parse_session, read_balls, read_session

FULL = (
    "clip,ball,hand,lane,line,feet,target,intent,execution,standing,note,weather\n"
    'A1.MP4,navy,R,12,"second arrow, up",25,10,Same,good,none,private,dry\n'
    "a2,pearl,left,,,,,,,,,\n"
)


def test_all_columns_are_read():
    row = parse_session(FULL).rows[0]
    assert (row.hand, row.ball, row.line, row.intent, row.execution) == (
        "right",
        "navy",
        "second arrow, up",
        "same",
        "good",
    )
    assert (row.feet, row.target, row.standing, row.other) == ("25", "10", "none", {"weather": "dry"})


def test_notes_stay_out_of_the_table():
    row = parse_session(FULL).rows[0]
    assert row.note == "private"
    assert set(row.texts) == {"lane", "ball", "hand", "line", "intent", "execution"}


@pytest.mark.parametrize("clip", ["A1.mp4", "a1.MP4", "A1.mov"])
def test_clips_match_by_name_in_any_case_or_by_stem(clip):
    sheet = parse_session("clip\nA1.mp4\n" if clip != "A1.mov" else "clip\na1\n")
    assert sheet.for_shot(clip) is sheet.rows[0]


def test_a_full_name_is_not_another_file():
    assert parse_session("clip\nA1.mp4\n").for_shot("A1.mov") is None
    assert parse_session("clip\nA1.mp4\n").for_shot("A11.mp4") is None


def test_folders_in_the_sheet_do_not_matter():
    assert parse_session("clip\nclips\\A1.mp4\n").for_shot("A1.mp4") is not None
    assert parse_session("clip\nclips/A1.mp4\n").for_shot("A1.mp4") is not None


def test_rows_of_one_clip_are_its_shots_in_order():
    sheet = parse_session("clip,ball\nday.mp4,one\nother.mp4,x\nday.mp4,two\n")
    assert [row.ball for row in sheet.for_clip("day.mp4")] == ["one", "two"]
    assert sheet.for_shot("day.mp4", 2).ball == "two"
    assert sheet.for_shot("day.mp4", 3) is None


def test_one_row_stands_for_every_shot():
    assert parse_session("clip,ball\nday.mp4,one\n").for_shot("day.mp4", 7).ball == "one"


def test_shot_ids_name_their_shot():
    sheet = parse_session("clip,ball\nday-02,two\nday-01,one\nday,all\n")
    assert [sheet.for_shot("day.mp4", k).ball for k in (1, 2, 3)] == ["one", "two", "all"]


def test_rows_without_a_clip_are_found():
    sheet = parse_session("clip\nA1.mp4\nA3.mp4\nday-02\n")
    assert [row.clip for row in sheet.without_clip(["A1.mp4", "day.mp4"])] == ["A3.mp4"]


def test_semicolons_mark_and_crlf(tmp_path):
    file = tmp_path / "s.csv"
    file.write_bytes("\ufeffClip;Ball;hand\r\nA1.mp4;gr\u00fcn, matt;l\r\n;;\r\n".encode())
    (row,) = read_session(file).rows
    assert (row.clip, row.ball, row.hand) == ("A1.mp4", "gr\u00fcn, matt", "left")


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (
            "clip,hand\nA1.mp4,right\nA2.mp4,both\n",
            r"s\.csv, row 3, column hand: 'both' is not usable; use right, r, left or l",
        ),
        (
            "clip,intent\nA1.mp4,practice\n",
            "row 2, column intent: 'practice' is not usable; use same, move, test or spare",
        ),
        ("clip,execution\nA1.mp4,great\n", "row 2, column execution: 'great'"),
        ("clip,ball\n,navy\n", "row 2, column clip: is empty; fill it in"),
        ("name,ball\nA1,navy\n", r"names no column 'clip' \(name, ball\)"),
        ("", "names no column 'clip'"),
        ("clip,ball,ball\nA1,b,c\n", "column 'ball' stands twice"),
        (
            "clip,ball\nA1.mp4,navy,extra\n",
            "row 2, column 3: 'extra' is not usable; put a cell with a comma into quotes",
        ),
        ('clip,ball\n"A1.mp4,navy\n', "cannot be read as CSV"),
    ],
)
def test_what_is_wrong_is_said(text, match):
    with pytest.raises(SheetError, match=match):
        parse_session(text, "s.csv")


def test_other_encodings_are_refused(tmp_path):
    file = tmp_path / "s.csv"
    file.write_bytes("clip,ball\nA1.mp4,gr\u00fcn\n".encode("cp1252"))
    with pytest.raises(SheetError, match="not UTF-8"):
        read_session(file)


def test_a_missing_sheet_is_one_sentence(tmp_path):
    with pytest.raises(SheetError, match=r"none\.csv: cannot be read"):
        read_balls(tmp_path / "none.csv")


def test_errors_can_be_sent_between_processes():
    assert str(pickle.loads(pickle.dumps(SheetError("s.csv: x")))) == "s.csv: x"  # noqa: S301


def test_balls():
    balls = parse_balls("ball;surface;strength rank;diameter_in\nNavy;2000 grit;1;8,55\nSpare;;;\n")
    assert (balls["navy"].surface, balls["navy"].strength, balls["navy"].diameter_in) == ("2000 grit", 1, 8.55)
    assert (balls["spare"].strength, balls["spare"].diameter_in) == (None, None)


@pytest.mark.parametrize(
    ("cells", "match"),
    [
        ("navy,,strong,", "column strength: 'strong' is not usable"),
        ("navy,,,217", "column diameter_in: '217' is not usable; give inches"),
        ("navy,,,nan", "column diameter_in"),
        ("navy,,,\nNAVY,,,", "row 3, column ball: 'NAVY' is not usable; each ball needs one row"),
    ],
)
def test_balls_that_cannot_be(cells, match):
    with pytest.raises(SheetError, match=match):
        parse_balls(f"ball,surface,strength,diameter_in\n{cells}\n")


@pytest.mark.parametrize(
    ("written", "named"),
    [("none", "none"), ("X", "none"), ("10 7", "7-10"), ("4-7-10", "4-7-10"), ("3,6, 10", "3-6-10"), ("washout", ""),
     ("11", ""), ("7 or 10", ""), ("", ""), ("-3", "3")],
)  # fmt: skip
def test_standing_pins_as_tables_name_them(written, named):
    sheet = parse_session(f'clip,standing\nday.mp4,"{written}"\n')
    assert sheet.standing_pins("day.mp4", 1, 1) == named


def test_standing_pins_of_one_row_are_not_those_of_several_shots():
    sheet = parse_session("clip,standing\nday.mp4,7\n")
    assert sheet.standing_pins("day.mp4", 1, 1) == "7"
    assert sheet.standing_pins("day.mp4", 1, 3) == ""
    rows = parse_session("clip,standing\nday.mp4,7\nday.mp4,none\n")
    assert [rows.standing_pins("day.mp4", k, 2) for k in (1, 2)] == ["7", "none"]
