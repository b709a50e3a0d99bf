"""Files of a run that somebody changed: a key less, or of another kind, costs a part of the page, never the page."""

from __future__ import annotations

import copy
import json
import shutil

import pytest

from tracker.columns import HEADER
from tracker.report.files import csv_text, read_table
from tracker.report.folder import read_folder, table_hash
from tracker.report.page.session import session_page
from tracker.report.shape import holds


def places(data, depth=6):
    """Ways to every key of nested mappings, of lists their first element."""
    if depth == 0:
        return
    if isinstance(data, dict):
        for key, value in data.items():
            yield (key,)
            yield from ((key, *rest) for rest in places(value, depth - 1))
    elif isinstance(data, list) and data:
        yield from ((0, *rest) for rest in places(data[0], depth - 1))


def changed(data, way, value):
    """A copy with the value at that place, or without it."""
    out = copy.deepcopy(data)
    inner = out
    for step in way[:-1]:
        inner = inner[step]
    if value is None:
        del inner[way[-1]]
    else:
        inner[way[-1]] = value
    return out


@pytest.fixture
def session(hostile_out, tmp_path):
    """Only the first shot, without pictures, so that its page is made in no time."""
    out = tmp_path / "OUT"
    rows = read_table(hostile_out / "shots.csv", HEADER)[:1]
    shutil.copytree(hostile_out / rows[0]["shot_id"], out / rows[0]["shot_id"], ignore=shutil.ignore_patterns("*.png"))
    (out / "shots.csv").write_text(csv_text(HEADER, rows), encoding="utf-8")
    data = json.loads((hostile_out / "lineup.json").read_text(encoding="utf-8"))
    data["made_from"]["shots_sha256"] = table_hash(out)
    data["line_ups"][0]["ways"] = data["line_ups"][0]["ways"][:1]
    (out / "lineup.json").write_text(json.dumps(data), encoding="utf-8")
    return out


def test_any_key_of_the_line_up(session):
    """Every key in turn, with the ways to break it taking turns as well."""
    data = json.loads((session / "lineup.json").read_text(encoding="utf-8"))
    assert read_folder(session).lineup is not None
    pages, refused = 0, 0
    for k, way in enumerate(places(data)):
        value = (None, "text", [], {}, 1.5)[k % 5]
        (session / "lineup.json").write_text(json.dumps(changed(data, way, value)), encoding="utf-8")
        folder = read_folder(session)
        refused += folder.lineup is None
        if folder.lineup is not None:
            assert session_page(session, folder).endswith("</html>\n"), (way, value)
            pages += 1
    assert pages > 20
    assert refused > 20


def test_any_key_of_a_shot(session):
    shot = read_folder(session).shots[0].shot_id
    data = json.loads((session / shot / "shot.json").read_text(encoding="utf-8"))
    filmed = {"width": 1280, "height": 720, "nominal_fps": 60.0}
    data["provenance"] = {"clip_facts": filmed, "calibration": {"how": "found"}}
    data["numbers"] = {"roll_ft": data["numbers"]["roll_ft"]}
    for k, way in enumerate(places(data, 3)):
        value = (None, "text", [])[k % 3]
        if way[0] not in ("physical_fit", "path"):
            (session / shot / "shot.json").write_text(json.dumps(changed(data, way, value)), encoding="utf-8")
            assert session_page(session, read_folder(session)).endswith("</html>\n"), (way, value)


def test_shapes():
    shape = {"a": [{"u": (float, int, None)}], "b": str}
    assert holds({"a": [{"u": 1}, {"u": None}], "b": "x", "more": []}, shape)
    assert not holds({"a": [{"u": True}], "b": "x"}, shape)
    assert not holds({"a": [{"u": "1"}], "b": "x"}, shape)
    assert not holds({"a": {}, "b": "x"}, shape)
    assert not holds({"b": "x"}, shape)
    assert not holds([], shape)
    assert holds(True, bool)
