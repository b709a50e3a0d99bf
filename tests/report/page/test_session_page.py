"""The session's page: complete as text, safe with hostile names, and silent about what is private."""

from __future__ import annotations

import copy
import html.parser
import json
import shutil

import pytest
from hostile import BALL, LANE, LINE, NAMES, NOTE, OTHER, SHOT

from tracker.columns import HEADER, NUMBERS
from tracker.report.files import csv_text, read_table
from tracker.report.folder import read_folder
from tracker.report.page.said import decimals_for, say
from tracker.report.page.session import PARTS, session_page
from tracker.results import Quantity

VOID = {"meta", "link", "img", "input", "br", "hr"}


class Reader(html.parser.HTMLParser):
    """Tags with their attributes, and the text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.words: list[str] = []
        self.scripts: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        (self.scripts if self.open and self.open[-1] == "script" else self.words).append(data)

    @property
    def text(self) -> str:
        return " ".join(self.words)


@pytest.fixture(scope="module")
def page(hostile_out, hostile_folder) -> str:
    return session_page(hostile_out, hostile_folder)


@pytest.fixture(scope="module")
def read(page) -> Reader:
    return Reader(page)


def test_it_is_whole_and_well_nested(read):
    assert read.open == []
    ids = [attributes["id"] for _, attributes in read.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert {anchor for anchor, _ in PARTS} <= set(ids)


def test_names_come_out_as_text(read):
    for name in NAMES[:3]:
        assert name.replace("\u2028", "") in read.text.replace("\u2028", ""), name
    assert f"{SHOT}0" in read.text
    kinds = {tag for tag, _ in read.tags}
    assert not kinds & {"i", "b", "iframe", "object", "embed", "form[action]"}
    assert not [a for _, attributes in read.tags for a in attributes if a.startswith("on")]


def test_only_our_scripts_and_our_pictures(read):
    scripts = [attributes for tag, attributes in read.tags if tag == "script"]
    assert sorted(a.get("type") or "" for a in scripts) == ["", "application/json"]
    assert not any("src" in a for a in scripts)
    assert all(a["src"].startswith("data:image/webp;base64,") for tag, a in read.tags if tag == "img")
    places = [a["href"] for tag, a in read.tags if "href" in a]
    assert places
    assert all(place.startswith("#") or place == "data:," for place in places)


def test_private_things_stay_away(page, hostile_out):
    assert NOTE not in page
    assert str(hostile_out.parent) not in page


def test_every_number_is_defined_and_every_shot_has_its_own(read, hostile_folder):
    for column in NUMBERS:
        assert column.definition in read.text
    shots = [a for tag, a in read.tags if tag == "article" and a.get("class") == "shot"]
    assert len(shots) == sum(s.row["status"] != "failed" for s in hostile_folder.shots) == 5
    assert say(hostile_folder.shots[0].numbers["contact_ft"]).text in read.text


def test_the_line_up_comes_first_and_what_failed_has_its_reason(read):
    order = [a["id"] for tag, a in read.tags if tag == "section"]
    assert order == [anchor for anchor, _ in PARTS]
    assert "Ways to play" in read.text
    assert f"nothing rolls in {BALL}" in read.text


def test_pictures_of_every_shot_and_what_they_show(read):
    alternatives = [a["alt"] for tag, a in read.tags if tag == "img"]
    assert len(alternatives) == 5
    assert all(alternatives)
    drawn = [a for tag, a in read.tags if tag == "svg"]
    assert all(a["role"] == "img" for a in drawn)
    assert len(drawn) >= 4 + 5 * 2


def test_reasons_of_empty_numbers_are_written_out(read):
    assert "end of hook" in read.text
    assert "The ball still slips when it meets the pins" in read.text


def test_same_bytes_again(page, hostile_out, hostile_folder):
    assert session_page(hostile_out, hostile_folder) == page


def test_without_line_up_and_with_a_broken_shot(hostile_out, tmp_path):
    out = tmp_path / "OUT"
    shutil.copytree(hostile_out, out)
    (out / "lineup.json").unlink()
    (out / f"{SHOT}1" / "shot.json").write_text("{", encoding="utf-8")
    (out / f"{SHOT}2" / "overlay.png").write_bytes(b"no picture")
    read = Reader(session_page(out, read_folder(out)))
    assert "No line-up was made" in read.text
    assert "measure that clip again with --redo" in read.text
    assert len([tag for tag, _ in read.tags if tag == "img"]) == 4


def test_a_folder_without_shots(tmp_path):
    (tmp_path / "shots.csv").write_text("shot_id,clip\r\n", encoding="utf-8")
    read = Reader(session_page(tmp_path, read_folder(tmp_path)))
    assert "No clip gave a shot" in read.text
    assert "No shots." in read.text


def test_hidden_marks_of_the_line_are_no_formula_here(read):
    assert LINE.replace("\u0007", "\ufffd") in read.text
    assert OTHER in read.text
    assert LANE.partition("\u2028")[0] in read.text


@pytest.mark.parametrize(
    ("value", "u", "unit", "text"),
    [
        (16.394, 0.153, "board", "16.39 \u00b1 0.15"),
        (32.23, 0.369, "ft", "32.2 \u00b1 0.4 ft"),
        (-0.004, 0.3, "deg", "0.0 \u00b1 0.3\u00b0"),
        (-2.5, 0.7, "ft", "\u22122.5 \u00b1 0.7 ft"),
        (312.0, 8.7, "rpm", "312 \u00b1 9 rpm"),
    ],
)
def test_no_more_digits_than_the_uncertainty_merits(value, u, unit, text):
    """At most two significant digits of u: JCGM 100:2008, 7.2.6 (from memory)."""
    assert say(Quantity(value, u), unit).text == text


def test_digits_of_odd_uncertainties():
    assert [decimals_for(u) for u in (0.0, float("nan"), 0.0001, 1.0, 0.3, 150.0)] == [1, 1, 2, 1, 1, 0]


def test_each_hand_has_its_own_picture_of_a_lane(hostile_out, tmp_path):
    """Boards count from the hand's edge, so one picture cannot serve both."""
    out = tmp_path / "OUT"
    shutil.copytree(hostile_out, out)
    data = json.loads((out / "lineup.json").read_text(encoding="utf-8"))
    data["line_ups"].append(copy.deepcopy(data["line_ups"][0]) | {"hand": "left"})
    (out / "lineup.json").write_text(json.dumps(data), encoding="utf-8")
    read = Reader(session_page(out, read_folder(out)))
    assert {"friction-0", "friction-1"} <= {a["id"] for tag, a in read.tags if tag == "svg"}
    assert "board, from the right edge" in read.text
    assert "board, from the left edge" in read.text
    captions = [w for w in read.words if "friction by the lane model" in w]
    assert ["right-hander" in c for c in captions] == [True, False]
    assert "left-hander" in captions[1]


@pytest.mark.parametrize(
    ("read", "noted", "said"),
    [
        ("10", None, "Pins left: 10."),
        (None, "10", "as the sheet notes them; the pictures do not tell surely"),
        ("10", "10", "as the sheet notes and the pictures say"),
        ("7", "10", "as the sheet notes; by the pictures 7"),
    ],
)
def test_pins_say_where_they_are_from(hostile_out, tmp_path, read, noted, said):
    out = tmp_path / "OUT"
    shutil.copytree(hostile_out, out)
    rows = read_table(out / "shots.csv", HEADER)
    rows[0]["standing_pins"] = "10"
    (out / "shots.csv").write_text(csv_text(HEADER, rows), encoding="utf-8")
    file = out / rows[0]["shot_id"] / "shot.json"
    data = json.loads(file.read_text(encoding="utf-8"))
    data["pins"] = {"standing": {"read": read, "noted": noted}}
    file.write_text(json.dumps(data), encoding="utf-8")
    assert said in Reader(session_page(out, read_folder(out))).text
