"""A shot's folder: whole or not at all, equal bytes, no paths, meanings beside numbers."""

from __future__ import annotations

import csv
import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest

from calibration.camera import PARAMETERS
from calibration.store import Calibration
from tracker.columns import FIT_NUMBERS
from tracker.report import shot as shot_files
from tracker.report.files import OutputError
from tracker.report.provenance import as_json, clip_provenance, tool_versions
from tracker.report.shot import path_csv, remove_shot, shot_json, write_shot

PROVENANCE = {"versions": {"sixtyfeet": "0"}, "settings": {"out": "/home/somebody/clips", "rate": np.float64("nan")}}


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def test_folder_holds_all_and_twice_the_same_bytes(tmp_path, shot):
    write_shot(tmp_path, shot, PROVENANCE)
    first = contents(tmp_path / "made-up")
    write_shot(tmp_path, shot, PROVENANCE)
    assert set(first) == {"path.csv", "shot.json", "overlay.png"}
    assert contents(tmp_path / "made-up") == first
    assert [p.name for p in tmp_path.iterdir()] == ["made-up"]


def test_a_failure_on_the_way_leaves_the_old_folder(tmp_path, shot, monkeypatch):
    write_shot(tmp_path, shot, PROVENANCE)
    before = contents(tmp_path / "made-up")

    def fail(self: Path, target: Path) -> Path:
        if ".tmp-" in self.name:
            raise OSError(28, "No space left on device")
        return original(self, target)

    original = Path.rename
    monkeypatch.setattr(Path, "rename", fail)
    with pytest.raises(OutputError, match="No space left"):
        write_shot(tmp_path, dataclasses.replace(shot, status="partial", reason="ball_lost"), PROVENANCE)
    assert contents(tmp_path / "made-up") == before
    assert [p.name for p in tmp_path.iterdir()] == ["made-up"]


def test_a_shot_without_a_path_has_only_its_numbers(tmp_path, shot):
    write_shot(tmp_path, dataclasses.replace(shot, status="failed", reason="no_ball", path=None), {})
    assert set(contents(tmp_path / "made-up")) == {"shot.json"}


@pytest.mark.parametrize("shot_id", ["../up", "", "..", "a\\b"])
def test_an_id_that_leaves_the_folder_is_refused(tmp_path, shot, shot_id):
    with pytest.raises(OutputError, match="not a folder's name"):
        write_shot(tmp_path, dataclasses.replace(shot, shot_id=shot_id), {})


def test_removed_shots_are_gone(tmp_path, shot, monkeypatch):
    monkeypatch.setattr(shot_files, "overlay_png", lambda _shot: b"")
    write_shot(tmp_path, shot, {})
    remove_shot(tmp_path, shot.shot_id)
    remove_shot(tmp_path, shot.shot_id)
    assert list(tmp_path.iterdir()) == []


def test_numbers_stand_with_unit_meaning_and_cause(shot):
    data = json.loads(shot_json(shot, PROVENANCE))
    number = data["numbers"]["board_15ft"]
    assert (number["value"], number["u"], number["unit"], number["missing"]) == (11.83, 0.05, "board", None)
    assert data["numbers"]["roll_ft"]["missing"]["code"] == "still_turning"
    assert data["flags"][0]["title"] == "pins not read"
    assert data["phase_at_pins"] == "hook"


def test_the_physical_fit_stands_under_one_key(shot):
    fit = json.loads(shot_json(shot, PROVENANCE))["physical_fit"]
    side, change = fit["numbers"]["side_spin_rpm"], fit["numbers"]["change_mph"]
    assert (side["value"], side["u"], side["unit"], side["missing"]) == (216.0, 13.0, "rpm", None)
    assert "pocket" in side["definition"]
    assert (change["value"], change["missing"]["code"]) == (None, "still_turning")
    assert fit["correlation"] == {"names": ["speed_mph", "side_spin_rpm"], "rows": [[1.0, 0.5], [0.5, 1.0]]}


def test_a_shot_without_a_physical_fit_has_its_numbers_empty(shot):
    fit = json.loads(shot_json(dataclasses.replace(shot, launch=None), PROVENANCE))["physical_fit"]
    assert [c.name for c in FIT_NUMBERS] == list(fit["numbers"])
    assert {n["value"] for n in fit["numbers"].values()} == {None}
    assert fit["correlation"] == {"names": [], "rows": []}


def test_nothing_says_where_the_files_lay(shot):
    text = shot_json(shot, PROVENANCE)
    assert "somebody" not in text
    assert "NaN" not in text
    assert json.loads(text)["provenance"]["settings"] == {"out": "clips", "rate": None}


def test_path_csv_reads_back(shot):
    rows = list(csv.DictReader(path_csv(shot.path).splitlines()))
    assert " ".join(rows[0]) == "frame t_s board distance_ft board_u distance_ft_u speed_mph heading_deg seen"
    np.testing.assert_allclose([float(r["board"]) for r in rows], shot.path.board, atol=5e-5)
    np.testing.assert_allclose([float(r["t_s"]) for r in rows], shot.path.t_s, atol=5e-7)
    assert [int(r["seen"]) for r in rows] == list(shot.path.seen)


def test_provenance_joins_what_is_known(shot):
    covariance = np.diag(np.arange(9.0))
    joined = as_json(clip_provenance({"clip_sha256": "ab"}, calibration=Calibration(shot.camera, covariance)))
    assert joined["clip_sha256"] == "ab"
    assert list(joined["calibration"]["camera"]) == list(PARAMETERS)
    assert joined["calibration"]["camera"]["k1"] == {"value": 0.02, "u": round(7**0.5, 9)}


def test_versions_name_the_decoder():
    assert {"sixtyfeet", "python", "numpy", "opencv", "av", "libavcodec"} <= set(tool_versions())


def test_plain_values():
    odd = {"a": np.int64(3), "b": np.array([1.0, np.inf]), "c": Path("/x/y.mp4"), "d": "C:\\x\\y.mp4", "e": {2, 1}}
    assert as_json(odd) == {"a": 3, "b": [1.0, None], "c": "y.mp4", "d": "y.mp4", "e": [1, 2]}
