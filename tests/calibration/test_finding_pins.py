"""Pins of a drawn deck: which stand, where they are, and that one pin is not taken for two."""

import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.finding.deck import likeness_of
from calibration.finding.pins import STANDING, pin_points
from calibration.lane import PIN_HEIGHT_IN, pin_positions, pin_radius_in

CAMERA = Camera(10.0, -260.0, 66.0, -0.8, 6.0, 0.5, 2400.0, 0.0, 1.0, width=1280, height=720)
OTHER = CAMERA.with_vector([*CAMERA.vector[:4], CAMERA.pitch_deg + 0.05, *CAMERA.vector[5:]])
ALL = tuple(range(1, 11))


def deck(standing, noise=2.0):
    """Light pins before a dark pit, the far ones first."""
    luma = np.full((720, 1280), 40.0, np.float32)
    heights = np.linspace(0.0, PIN_HEIGHT_IN, 60)
    radius = pin_radius_in(heights)
    for pin in sorted(standing, key=lambda n: -pin_positions()[n - 1][1]):
        x, y = pin_positions()[pin - 1]
        outline = [(x - r, y, h) for r, h in zip(radius, heights, strict=True)]
        outline += [(x + r, y, h) for r, h in zip(radius[::-1], heights[::-1], strict=True)]
        pixels = np.round((CAMERA.project(outline) - 0.5) * 16).astype(np.int32)
        cv2.fillPoly(luma, [pixels], 185.0 if pin % 2 else 180.0, cv2.LINE_8, 4)
    luma = cv2.GaussianBlur(luma, (0, 0), 0.8) + np.random.default_rng(2).normal(0, noise, luma.shape)
    return np.clip(luma, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("standing", [ALL, (1, 3), (3, 6, 10), (7, 10), ()])
def test_who_stands(standing):
    _, likeness = pin_points(deck(standing), CAMERA, 3.0)
    assert tuple(int(n) for n in np.flatnonzero(likeness > STANDING) + 1) == standing


@pytest.mark.parametrize("standing", [ALL, (3, 6, 10), (4, 7, 10)])
def test_pins_are_found_to_a_fraction_of_a_pixel(standing):
    """From a camera that puts the deck 2 px elsewhere."""
    points, _ = pin_points(deck(standing), OTHER, 4.0)
    off = np.array([[p.u_px, p.v_px] - CAMERA.project(p.xyz_in) for p in points])
    assert np.abs(OTHER.project([0.0, 740.0, 8.0]) - CAMERA.project([0.0, 740.0, 8.0])).max() > 1.5
    assert len(points) >= min(len(standing), 7)
    assert np.abs(off).max() < 0.5


def test_a_pin_that_may_be_the_one_behind_is_in_doubt_upward():
    """Of a lone pin 5 the picture does not tell whether it is pin 1 nearer by."""
    alone, _ = pin_points(deck((5,)), CAMERA, 3.0)
    beside, _ = pin_points(deck((5, 7, 10)), CAMERA, 3.0)
    (lone,) = alone
    assert lone.sigma_v_px > 2.0 * min(p.sigma_v_px / np.sqrt(len(beside)) for p in beside)


def test_whoever_stands_before_a_pin_leaves_it_out():
    hidden = np.zeros((90, 160), dtype=bool)
    u, v = CAMERA.project([*pin_positions()[6], 8.0])
    hidden[int(v / 8), int(u / 8)] = True
    names = {p.name for p in pin_points(deck(ALL), CAMERA, 3.0, hidden=hidden)[0]}
    assert "pin_7" not in names
    assert "pin_10" in names


def test_likeness_needs_light_pins():
    assert likeness_of(deck(ALL), CAMERA).min() > 0.9
    assert likeness_of(255 - deck(ALL), CAMERA).max() <= 0.0


def test_shapes_of_a_few_grey_levels_are_no_pins():
    """Hills on a wall were taken for a rack: pins are among the lightest things in view."""
    faint = deck(ALL, noise=0.0) // 20 + 90
    assert likeness_of(faint, CAMERA).min() > STANDING
    faint[600:, :600], faint[600:, 600:] = 20, 200
    assert likeness_of(faint, CAMERA).max() < STANDING


def test_the_end_of_a_light_deck_is_no_rack():
    """A light deck before a dark pit, without pins: half of each template is light."""
    luma = np.full((720, 1280), 30, np.uint8)
    v = CAMERA.project([0.0, 745.0, 8.0])[1]
    luma[int(v) :] = 150
    assert likeness_of(cv2.GaussianBlur(luma, (0, 0), 0.8), CAMERA).max() < STANDING
