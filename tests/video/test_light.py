"""Light that changes from picture to picture is taken back; people and balls do not count."""

from dataclasses import replace

import numpy as np
import pytest
from hard_makes import relit

from tracker.video.light import Evener, as_lit, change_between, evened, light_of
from tracker.video.reader import Crop

ROWS, COLUMNS = 512, 256


def _crop(seed: int = 1) -> Crop:
    random = np.random.default_rng(seed)
    y, x = np.mgrid[:ROWS, :COLUMNS]
    luma = 70 + 60 * np.sin(x / 17) ** 2 + 50 * y / ROWS + random.normal(0, 1.5, (ROWS, COLUMNS))
    cb, cr = (np.full((ROWS // 2, COLUMNS // 2), v, np.uint8) for v in (112, 140))
    return Crop(np.clip(luma, 0, 255).astype(np.uint8), cb, cr, 0, 0.0)


def _with_person(crop: Crop) -> Crop:
    luma = crop.luma.copy()
    luma[40:, 60:130] = 40
    return replace(crop, luma=luma)


def _relit(crop: Crop, gain) -> Crop:
    return next(relit(lambda _t, row: gain(row))(iter([crop])))


@pytest.mark.parametrize("gain", [0.4, 0.8, 1.25])
def test_change_of_brightness_is_taken_back_whoever_stands_there(gain):
    crop = _crop()
    other = _with_person(_relit(crop, lambda row: gain * np.ones_like(row)))
    light = Evener()
    light.even(crop)
    back = light.even(other)
    outside = np.s_[:, 140:]
    assert np.abs(back.luma[outside].astype(float) - crop.luma[outside]).mean() < 1.2
    assert np.abs(back.cb.astype(float) - crop.cb).mean() < 1.2
    change = change_between(other, light_of(crop))
    assert change is not None
    assert change.gain == pytest.approx(gain ** (1 / 2.2), abs=0.02)


def test_bands_of_a_flickering_lamp_are_taken_back():
    crop = _crop()
    other = _relit(crop, lambda row: 1 + 0.3 * np.sin(2 * np.pi * 2 * row))
    change = change_between(other, light_of(crop))
    assert change is not None
    left = np.abs(as_lit(other, change).luma.astype(float) - crop.luma).mean()
    assert left < 0.25 * np.abs(other.luma.astype(float) - crop.luma).mean()


def test_coloured_light_is_taken_back():
    crop = _crop()
    other = _relit(crop, lambda _row: np.array([1.25, 1.0, 0.75]))
    change = change_between(other, light_of(crop))
    assert change is not None
    back = as_lit(other, change)
    for name in ("luma", "cb", "cr"):
        assert np.abs(getattr(back, name).astype(float) - getattr(crop, name)).mean() < 2.5


def test_even_light_leaves_pictures_as_they_are():
    first, second = _crop(1), _crop(2)
    light = Evener()
    assert light.even(first) is first
    assert light.even(second) is second
    assert evened([first, second]) == (first, second)


def test_pictures_too_dark_to_tell_stay():
    dark = replace(_crop(), luma=np.full((ROWS, COLUMNS), 18, np.uint8))
    assert change_between(dark, light_of(_crop())) is None


@pytest.mark.parametrize("begins", [0.0, 0.2])
def test_clip_that_begins_in_the_dark_is_brought_to_its_bright_part(begins):
    dark, bright = _relit(_crop(), lambda row: np.full_like(row, begins)), _crop()
    light = Evener()
    light.even(dark)
    assert light.even(bright) is bright
    dimmed = _relit(_crop(), lambda row: 0.6 * np.ones_like(row))
    assert np.abs(light.even(dimmed).luma.astype(float) - bright.luma).mean() < 1.5


def test_a_part_of_the_picture_takes_the_light_of_the_whole():
    crop = _crop()
    part = replace(
        crop, luma=crop.luma[64:192, 32:96], cb=crop.cb[32:96, 16:48], cr=crop.cr[32:96, 16:48], top=64, left=32
    )
    light = Evener()
    light.even(crop)
    assert light.even_as_last(part, 0) is part
    darker = _relit(crop, lambda row: 0.6 + 0.2 * row / ROWS)
    light.even(darker)
    dark = replace(part, luma=darker.luma[64:192, 32:96], cb=darker.cb[32:96, 16:48], cr=darker.cr[32:96, 16:48])
    back = light.even_as_last(dark, 0)
    assert np.abs(dark.luma.astype(float) - part.luma).mean() > 15
    assert np.abs(back.luma.astype(float) - part.luma).mean() < 3
