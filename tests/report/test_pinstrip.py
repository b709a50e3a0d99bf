"""The strip of the pins, and what shot file and table say of them."""

from __future__ import annotations

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest

from tracker.report.pinstrip import pins_png
from tracker.report.rows import shot_row
from tracker.report.shot import shot_json, write_shot
from tracker.results import PinPicture, PinsReading, PinState, Quantity

STAND = (7, 10)


def outline(pin):
    x, y = 12.0 * pin, 20.0 + pin
    return np.array([[x, y + 20], [x, y], [x + 6, y], [x + 6, y + 20]])


@pytest.fixture
def reading() -> PinsReading:
    grey = np.full((60, 140, 3), 60, np.uint8)
    names = ("before", "contact", "among the pins", "after")
    return PinsReading(
        pins=tuple(
            PinState(n, 1.0, 0.99 if n in STAND else 0.3 if n == 4 else 0.0, ("pin_moved",) if n == 10 else (),
                     (1.5, 0.0) if n == 10 else None)
            for n in range(1, 11)
        ),
        before="1-2-3-4-5-6-7-8-9-10", standing="7-10", before_sure=1.0, sure=0.97,
        numbers={"contact_offset_in": Quantity(2.5, 0.2), "deflection_deg": Quantity(missing="exit_unseen")},
        exit=Quantity(19.2, 0.8), exit_words="between the 8 and 9",
        first_pin=1, first_moved=(1, 3), model_pins=(1, 3, 5),
        pictures=tuple(PinPicture(n, 0.5 * k, grey, (60.0, 30.0) if k == 1 else None) for k, n in enumerate(names)),
        outlines_px=tuple(outline(n) for n in range(1, 11)),
    )  # fmt: skip


def picture(png):
    return cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_COLOR).astype(int)


def test_strip_shows_what_was_read(reading):
    png = pins_png(reading)
    assert png == pins_png(reading)
    shown = picture(png)
    other = picture(pins_png(replace(reading, pins=tuple(replace(p, after=0.0, codes=()) for p in reading.pins))))
    changed = np.flatnonzero(np.abs(shown - other).sum(axis=(0, 2)))
    # only the last of four pictures differs: who stands after
    assert changed.size
    assert changed.min() > 0.72 * shown.shape[1]
    no_ball = tuple(replace(p, ball_px=None) for p in reading.pictures)
    ringless = picture(pins_png(replace(reading, pictures=no_ball)))
    assert 0 < np.abs(shown - ringless).sum(axis=2).astype(bool).sum() < 600


def test_strip_without_pictures_is_an_error(reading):
    with pytest.raises(ValueError, match="pictures of the deck"):
        pins_png(replace(reading, pictures=()))


def test_table_takes_the_sheet_before_the_reading(shot, reading):
    read = replace(shot, pins=reading)
    assert shot_row(read)["standing_pins"] == "7-10"
    assert shot_row(read, {"standing_pins": "10"})["standing_pins"] == "10"
    assert shot_row(replace(read, pins=replace(reading, standing="")))["standing_pins"] == ""
    assert shot_row(shot)["standing_pins"] == ""


def test_shot_file_keeps_both(shot, reading):
    pins = json.loads(shot_json(replace(shot, pins=reading), {}, noted_standing="10"))["pins"]
    assert pins["standing"] == {"read": "7-10", "probability": 0.97, "noted": "10"}
    assert pins["before"]["read"] == "1-2-3-4-5-6-7-8-9-10"
    assert [p["after"] for p in pins["each"]][3] == 0.3
    assert pins["each"][9]["beside_in"] == {"right": 1.5, "behind": 0.0}
    assert pins["each"][9]["codes"][0]["code"] == "pin_moved"
    assert pins["exit_words"] == "between the 8 and 9"
    assert pins["numbers"]["contact_offset_in"]["value"] == 2.5
    assert pins["numbers"]["deflection_deg"]["missing"]["code"] == "exit_unseen"
    assert json.loads(shot_json(shot, {}))["pins"] is None


def test_folder_has_the_strip_only_with_pictures(shot, reading, tmp_path):
    write_shot(tmp_path, replace(shot, pins=reading), {})
    assert (tmp_path / shot.shot_id / "pins.png").read_bytes().startswith(b"\x89PNG")
    write_shot(tmp_path, replace(shot, pins=replace(reading, pictures=())), {})
    assert not (tmp_path / shot.shot_id / "pins.png").exists()
