"""Reference windows in the calibration file: read back the same, and refused when damaged."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from calibration.anchors import choose_anchors
from calibration.camera import Camera
from calibration.drift import Move, register
from calibration.errors import CalibrationFileError
from calibration.reference import reference_data, reference_from
from calibration.store import Calibration, from_json, to_json

CAMERA = Camera(20.0, -220.0, 66.0, -3.0, 8.0, roll_deg=0.3, f_px=800.0, k1=0.0, width_scale=1.0, width=640, height=360)


@pytest.fixture(scope="module")
def picture():
    noise = np.random.default_rng(2).normal(120, 60, (46, 81))
    rows, columns = np.linspace(0, 44.9, 360), np.linspace(0, 79.9, 640)
    i, j = rows.astype(int), columns.astype(int)
    a, b = (rows - i)[:, None], (columns - j)[None]
    smooth = (
        (1 - a) * (1 - b) * noise[np.ix_(i, j)] + a * (1 - b) * noise[np.ix_(i + 1, j)]
        + (1 - a) * b * noise[np.ix_(i, j + 1)] + a * b * noise[np.ix_(i + 1, j + 1)]
    )  # fmt: skip
    return np.clip(smooth, 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def calibration(picture) -> Calibration:
    reference = choose_anchors(picture, CAMERA)
    return Calibration(
        CAMERA, np.eye(9) * 1e-6, clip="a.mp4", how="found", reference=reference, neighbours_in=(-71.0, 82.5),
        verdict="usable", lane_doubtful=True,
    )  # fmt: skip


def test_reading_back_gives_the_same_text(calibration):
    text = to_json(calibration)
    again = from_json(text)
    assert to_json(again) == text
    assert (again.neighbours_in, again.verdict, again.lane_doubtful) == ((-71.0, 82.5), "usable", True)


def test_what_is_read_back_registers_as_the_original_does(calibration, picture):
    moved = np.roll(picture, 2, axis=1)
    again = from_json(to_json(calibration)).reference
    assert again is not None
    first, second = register(calibration.reference, moved), register(again, moved)
    assert isinstance(first, Move)
    assert isinstance(second, Move)
    assert np.array_equal(first.turn_deg, second.turn_deg)
    assert first.moved_px == pytest.approx(2.0, abs=0.1)


def test_a_file_without_reference_is_taken_as_it_is(calibration):
    data = json.loads(to_json(replace(calibration, reference=None)))
    assert "reference" not in data
    for name in ("neighbours_in", "verdict", "lane_doubtful"):
        del data[name]
    old = from_json(json.dumps(data))
    assert (old.reference, old.neighbours_in, old.verdict, old.lane_doubtful) == (None, (), "", False)


def damaged(**changes):
    def change(data):
        for name, value in changes.items():
            data[name] = value(data[name]) if callable(value) else value
        return data

    return change


@pytest.mark.parametrize(
    "change",
    [
        damaged(half_px="many"),
        damaged(centres=lambda c: c[:-1]),
        damaged(centres=[[0]]),
        damaged(blocks=lambda b: {**b, "zlib_base64": "@@@"}),
        damaged(blocks=lambda b: {**b, "zlib_base64": b["zlib_base64"][:400]}),
        damaged(blocks=lambda b: {**b, "shape": [40000, 40000, 9]}),
        damaged(coarse=lambda b: {**b, "shape": [*b["shape"], 1]}),
        damaged(coarse=None),
        # Sizes that only fit by overflow would be unpacked without a limit.
        damaged(blocks=lambda b: {**b, "shape": [2**32, 2**32, 1]}),
        damaged(blocks=lambda b: {**b, "shape": [math.inf, 37, 37]}),
        damaged(half_px=math.inf),
        damaged(half_px=-3),
        damaged(half_px=10**9),
        damaged(worth=lambda w: [math.nan, *w[1:]]),
        damaged(centres=lambda c: [[10**30, 5], *c[1:]]),
        damaged(centres=lambda c: [[9999, 5], *c[1:]]),
        damaged(centres=lambda c: [[-50, 50], *c[1:]]),
        damaged(coarse_factor=0),
        damaged(coarse_factor=lambda f: f + 4),
        damaged(coarse_centres=lambda c: [[9999, 9], *c[1:]]),
        lambda _: {},
    ],
)
def test_damaged_windows_are_refused_with_what_to_do(calibration, change):
    data = change(reference_data(calibration.reference))
    with pytest.raises(CalibrationFileError, match=r"lane\.json: .*damaged .*calibrate again"):
        reference_from(data, CAMERA, "lane.json")


def test_sizes_beyond_the_limit_are_refused_before_anything_is_unpacked(calibration):
    data = reference_data(calibration.reference)
    data["blocks"]["shape"] = [2**32, 2**32, 1]
    with pytest.raises(CalibrationFileError, match="a picture of shape"):
        reference_from(data, CAMERA)
