"""Curves written into a shot's file and read back, and files that somebody changed."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tracker.columns import CURVE_COLUMNS
from tracker.report.curves import read_curves
from tracker.report.files import OutputError
from tracker.report.shot import shot_json
from tracker.results import PathCurves, ShotResult


@pytest.fixture
def curves() -> PathCurves:
    feet = np.arange(2.0, 60.0)
    values = {c.name: np.sin(feet + k) * 9.87654321 for k, c in enumerate(CURVE_COLUMNS)}
    u = {c.u_name: np.full(len(feet), 0.123456789 + k) for k, c in enumerate(CURVE_COLUMNS)}
    return PathCurves(feet, **values, **u)


@pytest.fixture
def file(tmp_path, curves):
    path = tmp_path / "one" / "shot.json"
    path.parent.mkdir()
    path.write_text(shot_json(ShotResult("one", "one.mp4", "measured", curves=curves), {}), encoding="utf-8")
    return path


def test_what_is_written_is_read_within_its_last_digit(file, curves):
    found = read_curves(file)
    assert np.array_equal(found.distance_ft, curves.distance_ft)
    for column in CURVE_COLUMNS:
        assert getattr(found, column.name) == pytest.approx(
            getattr(curves, column.name), abs=0.6 * 10**-column.decimals
        )
        assert getattr(found, column.u_name) == pytest.approx(
            getattr(curves, column.u_name), abs=0.06 * 10**-column.decimals
        )


def test_the_file_tells_units_and_definitions_and_is_short(file, curves):
    data = json.loads(file.read_text(encoding="utf-8"))
    assert data["layout"] == 4
    assert data["curves"]["sideways_ft_s2"]["unit"] == "ft/s2"
    assert "positive toward the pocket" in data["curves"]["sideways_ft_s2"]["definition"]
    without = shot_json(ShotResult("one", "one.mp4", "measured"), {})
    assert len(file.read_bytes()) - len(without.encode()) < 9_000


def test_a_file_of_an_older_layout_has_none(file):
    data = json.loads(file.read_text(encoding="utf-8"))
    del data["curves"]
    file.write_text(json.dumps(data), encoding="utf-8")
    assert read_curves(file) is None


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda c: c.pop("board"), "no 'board' in its curves"),
        (lambda c: c["board"]["u"].pop(), "board u has 57 entries for 58 distances"),
        (lambda c: c["speed_mph"]["value"].__setitem__(3, None), "speed_mph value"),
        (lambda c: c["heading_deg"]["u"].__setitem__(3, -1.0), "heading_deg u is negative"),
        (lambda c: c["distance_ft"].reverse(), "ascending distances"),
        (lambda c: c.update(distance_ft="x"), "could not convert"),
    ],
)
def test_a_changed_file_is_refused_in_one_line(file, change, words):
    data = json.loads(file.read_text(encoding="utf-8"))
    change(data["curves"])
    file.write_text(json.dumps(data), encoding="utf-8")
    with pytest.raises(OutputError, match=words) as caught:
        read_curves(file)
    assert str(caught.value).startswith("one/shot.json: cannot be read as a shot")
    assert "\n" not in str(caught.value)


def test_no_json_is_refused(file):
    file.write_text("curves", encoding="utf-8")
    with pytest.raises(OutputError, match="measure that clip again with --redo"):
        read_curves(file)
