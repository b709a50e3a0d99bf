"""Outlines of standing pins against the renderer's, which draws them in another way."""

from dataclasses import replace

import numpy as np
import pytest
from deck_pictures import SMALL, UPRIGHT, House, drawn

from calibration.lane import pin_positions
from sample_media.pins import pin_patch
from tracker.pins.stands import deck_view, pin_shape


@pytest.mark.parametrize("camera", [SMALL, UPRIGHT], ids=["level", "upright"])
@pytest.mark.parametrize("pin", [1, 5, 7, 10])
def test_outline_is_that_of_the_renderer(camera, pin):
    made = drawn(House(camera))
    spot = pin_positions()[pin - 1]
    known = replace(made.view, camera=made.known)
    shape = pin_shape(known, spot, 0.0)
    patch = pin_patch(made.eye, np.array([*spot, 0.0]), 0.0, 0.0)
    other = np.zeros_like(shape.alpha)
    left, top, right, bottom = patch.box
    other[top:bottom, left:right] = patch.alpha
    weights = np.stack([shape.alpha, other]).reshape(2, -1)
    v, u = np.mgrid[: shape.alpha.shape[0], : shape.alpha.shape[1]].reshape(2, -1)
    middles = np.stack([(weights * u).sum(axis=1), (weights * v).sum(axis=1)]) / weights.sum(axis=1)
    # the camera is solved from clicked marks, a pixel off
    np.testing.assert_allclose(middles[:, 0], middles[:, 1], atol=1.0)
    assert shape.alpha.sum() == pytest.approx(other.sum(), rel=0.06)


def test_height_and_side_run_along_and_across_the_pin():
    made = drawn(House(SMALL))
    spot = pin_positions()[6]
    shape = pin_shape(made.view, spot, 0.0)
    for height in (2.0, 7.0, 13.0):
        u, v = made.view.pixels(np.array([*spot, height]))
        assert shape.height_in[int(v), int(u)] == pytest.approx(height, abs=0.7)
        assert abs(shape.side[int(v), int(u)]) < 0.5
    inside = shape.alpha > 0.99
    assert shape.side[inside].min() > -1
    assert shape.side[inside].max() < 1


def test_deck_out_of_the_frame_or_too_small_is_none():
    camera = drawn(House(SMALL)).known
    assert deck_view(replace(camera, pitch_deg=-25.0)) is None
    assert deck_view(replace(camera, f_px=300.0)) is None


def test_pins_cut_by_the_frame_are_known():
    camera = drawn(House(SMALL)).known
    assert not any(deck_view(camera).cut)
    lowered = [deck_view(replace(camera, pitch_deg=camera.pitch_deg + 0.25 * k)) for k in range(48)]
    seen = [view for view in lowered if view is not None]
    assert not any(seen[0].cut)
    assert any(seen[-1].cut)
