"""Stretches of an edge lie to one another as what is beside them does."""

import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.finding.section import courses_of, sections_of
from calibration.lane import LANE_WIDTH_IN

TRUE = Camera(14.0, -220.0, 66.0, -2.0, 9.0, 1.0, 1300.0, 0.02, 1.0, width=960, height=540)
HALF = LANE_WIDTH_IN / 2
NEAR_FT, FAR_FT = np.linspace(2, 12, 12), np.linspace(30, 45, 12)
PARTS = [np.arange(12), np.arange(12, 24)]
"""Nearest station first; a sheen and a cover stand beside an edge that is not seen: lane and gutter are alike."""
Y_IN = 12 * np.concatenate([NEAR_FT, FAR_FT])


def drawn(lane=120.0, sheen=60.0):
    v, u = (np.mgrid[: 3 * 540, : 3 * 960] + 0.5) / 3
    x, _ = np.moveaxis(TRUE.back_project(np.stack([u, v], axis=-1), 0.0), -1, 0)
    beyond = np.abs(x) - HALF
    gutter = 120.0 + sheen * np.exp(-(((beyond - 4.0) / 1.0) ** 2))
    tone = np.where(beyond < 0, lane, np.where(beyond < 9.25, gutter, 60.0))
    small = cv2.resize(np.nan_to_num(tone).astype(np.float32), (960, 540), interpolation=cv2.INTER_AREA)
    noisy = cv2.GaussianBlur(small, (0, 0), 0.7) + np.random.default_rng(3).normal(0, 2.0, small.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)


def inches_px(x_in):
    at, beside = (TRUE.project(np.stack([np.full(24, x_in + d), Y_IN, np.zeros(24)], axis=1)) for d in (0.0, 1.0))
    inch = np.hypot(*(beside - at).T)
    return [float(np.median(inch[part])) for part in PARTS]


@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize("aside_in", [-0.5, 0.0, 0.4])
@pytest.mark.parametrize("lane", [60.0, 120.0, 180.0])
def test_a_stretch_that_was_looked_for_aside_is_told(side, aside_in, lane):
    """To a small part of an inch, whatever the lane's brightness beside the gutter's."""
    taken = np.full(24, side * HALF)
    taken[12:] += side * aside_in
    sections = sections_of(drawn(lane), TRUE, taken, Y_IN, outward=side)
    found = courses_of(sections, PARTS, inches_px(side * HALF))
    assert found.off_in[0] == 0.0
    assert found.off_in[1] == pytest.approx(-aside_in, abs=0.1)
    assert abs(found.off_in[1] + aside_in) < 3.0 * found.sd_in[1]


def test_where_nothing_is_beside_the_edge_nothing_is_told():
    blank = np.full((540, 960), 90, np.uint8)
    sections = sections_of(blank, TRUE, np.full(24, HALF), Y_IN, outward=1.0)
    found = courses_of(sections, PARTS, inches_px(HALF))
    assert found.sd_in[1] > 0.25


def test_what_is_out_of_the_frame_tells_nothing():
    sections = np.full((24, 141), np.nan)
    found = courses_of(sections, PARTS, [4.0, 2.0])
    assert found.sd_in[1] > 0.25
