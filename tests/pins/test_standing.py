"""Standing pins read from drawn decks: whom the renderer set up is whom the reading finds."""

from dataclasses import replace

import numpy as np
import pytest
from deck_pictures import LYING, SMALL, UPRIGHT, House, Pose, drawn, film, upright

from sample_media.spec import LaneSpec
from tracker.pins.rack import read_rack
from tracker.pins.read import SURE, place_u_px
from tracker.pins.standing import read_standing
from tracker.pins.still import picture_noise, still_of

ALL = tuple(range(1, 11))
QUICK = {"fps": 20, "preset": "ultrafast"}
DESK = House(replace(SMALL, **QUICK))
DIM = House(replace(UPRIGHT, **QUICK), LaneSpec(light=(0.3, 0.3, 0.3)), 3)


def read(house, rack, after, folder, seconds=0.45):
    """The rack before and what stands after it, by pictures of both."""
    made = drawn(house)
    crops = film(made, [(0.5, [upright(n) for n in rack]), (seconds, after)], folder / "deck.mp4")
    early = [c for c in crops if c.t_s < 0.48]
    noise = picture_noise(np.stack([c.luma for c in early]).astype(np.float32))
    found = read_rack(made.view, still_of(early, noise), noise, place_u_px(made.known, made.covariance))
    assert found is not None
    return found, read_standing(made.view, found, [c for c in crops if c.t_s > 0.55], 0.0)


def test_all_single_pins(tmp_path):
    for pin in ALL:
        rack, standing = read(DESK, ALL, [upright(pin)], tmp_path, seconds=0.3)
        assert rack.pins == ALL
        assert standing.pins == (pin,)
        assert standing.sure > SURE


@pytest.mark.parametrize("house", [DESK, DIM], ids=["desk", "dim-upright"])
@pytest.mark.parametrize("stand", [(4, 6, 7, 10), (2, 8), (3, 9), (1, 5), ()])
def test_leaves_among_pins_that_lie(house, stand, tmp_path):
    lie = [
        Pose((-14.0, 738.0, 0.0), LYING, 0.4),
        Pose((9.0, 747.0, 0.0), LYING, 2.6),
        Pose((24.0, 730.0, -2.5), LYING, 1.2),
    ]
    rack, standing = read(house, ALL, [*(upright(n) for n in stand), *lie], tmp_path)
    assert rack.pins == ALL
    assert standing.pins == stand


@pytest.mark.parametrize("before", [(10,), (2, 8), (3, 6, 10)])
def test_spares(before, tmp_path):
    rack, standing = read(DESK, before, [upright(before[-1])], tmp_path)
    assert rack.pins == before
    assert float(rack.sets.max()) > SURE
    assert standing.pins == before[-1:]


def test_a_pin_that_lies_across_a_spot_does_not_stand(tmp_path):
    spot = upright(5).foot
    _, standing = read(DESK, ALL, [Pose((spot[0] - 4.0, spot[1], 0.0), LYING, 0.0)], tmp_path)
    assert 5 not in standing.pins
    assert standing.probability[4] < 0.1


def test_a_pin_that_slid_stands_beside_its_spot(tmp_path):
    _, standing = read(DESK, ALL, [upright(6, 3.0, 0.0)], tmp_path)
    assert standing.pins == (6,)
    (place,) = standing.beside
    assert place.pin == 6
    assert place.across_in == pytest.approx(3.0, abs=1.0)


def test_a_pin_that_rocks_wobbles_and_one_at_rest_does_not(tmp_path):
    rocking = replace(upright(7), rocks=(0.05, 2.5))
    _, standing = read(DESK, ALL, [rocking, upright(10)], tmp_path)
    assert standing.pins == (7, 10)
    assert standing.wobbling == (7,)


def test_a_pin_that_topples_is_not_given_as_standing_for_sure(tmp_path):
    _, standing = read(DESK, ALL, [replace(upright(4), tilt=0.35, rocks=(0.2, 1.5))], tmp_path)
    assert standing.flying or standing.sure < SURE or not standing.pins


def test_too_early_an_end_gives_nothing(tmp_path):
    _, standing = read(DESK, ALL, [upright(10)], tmp_path, seconds=0.1)
    assert standing is None or standing.still.t_s >= 0.5
    made = drawn(DESK)
    crops = film(made, [(0.5, [upright(n) for n in ALL])], tmp_path / "short.mp4")
    noise = picture_noise(np.stack([c.luma for c in crops]).astype(np.float32))
    rack = read_rack(made.view, still_of(crops, noise), noise, 1.0)
    assert read_standing(made.view, rack, crops, 0.3) is None


def test_a_covered_deck_and_a_new_rack_end_the_reading(tmp_path):
    """After the leave something grey covers the deck, then a full rack stands: the leave is what counts."""
    made = drawn(DESK)
    stretches = [
        (0.5, [upright(n) for n in ALL]),
        (0.6, [upright(7)]),
        (0.5, [upright(7)]),
        (0.6, [upright(n) for n in ALL]),
    ]
    crops = film(made, stretches, tmp_path / "deck.mp4")
    cover = [replace(c, luma=np.full_like(c.luma, 120)) if 1.1 < c.t_s < 1.6 else c for c in crops]
    early = [c for c in crops if c.t_s < 0.48]
    noise = picture_noise(np.stack([c.luma for c in early]).astype(np.float32))
    rack = read_rack(made.view, still_of(early, noise), noise, 1.0)
    later = [c for c in cover if c.t_s > 0.55]
    standing = read_standing(made.view, rack, later, 0.0)
    assert standing.pins == (7,)
    assert standing.still.t_s < 1.2
    uncovered = read_standing(made.view, rack, [c for c in crops if c.t_s > 0.55], 0.0)
    assert uncovered.pins == (7,)
    assert read_standing(made.view, rack, [c for c in cover if 1.1 < c.t_s < 1.6], 0.0) is None


def test_a_dark_deck_without_pins_is_not_read(tmp_path):
    made = drawn(DIM)
    crops = film(made, [(0.4, [])], tmp_path / "empty.mp4")
    dark = [replace(c, luma=(c.luma // 8 + 16).astype(np.uint8)) for c in crops]
    noise = picture_noise(np.stack([c.luma for c in dark]).astype(np.float32))
    assert read_rack(made.view, still_of(dark, noise), noise, 1.0) is None
