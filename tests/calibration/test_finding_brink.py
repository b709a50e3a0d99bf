"""Places of blurred edges, and how far they are in doubt."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from calibration.finding.brink import PLACES_PX, Courses, brinks_of

FINE_PX = np.arange(-12.0, 12.0, 0.02)


def level(count, sd_in=0.02):
    """Stretches that lie in one line."""
    return Courses(np.zeros(count), np.array([0.0, *[sd_in] * (count - 1)]))


def profile(at_px, levels, lip_px=0.6, blur_px=0.8, rise=0.0):
    """Lane, lip and gutter of these levels from ``at_px`` on, the gutter rising by so much a pixel, blurred."""
    x = FINE_PX - at_px
    lane, lip, gutter = levels
    sharp = np.where(x < 0, lane, np.where(x < lip_px, lip, gutter + rise * np.maximum(x - lip_px, 0.0)))
    return np.interp(PLACES_PX, FINE_PX, gaussian_filter1d(sharp, blur_px / 0.02))


def stations(rng, at_px, levels, **shape):
    return profile(at_px, levels, **shape) + rng.normal(0, 0.8, (10, len(PLACES_PX)))


@pytest.mark.parametrize("levels", [(140, 60, 60), (60, 40, 140), (120, 60, 120), (100, 50, 130), (120, 80, 100)])
@pytest.mark.parametrize("at_px", [-1.2, 0.0, 0.7])
def test_the_edge_is_where_the_lane_ends(levels, at_px):
    """Seen smaller and smaller down the lane, as is its lip."""
    rng = np.random.default_rng(1)
    inches = np.array([4.0, 3.0, 2.0])
    parts = [stations(rng, at_px * k / 4.0, levels, lip_px=0.15 * k, rise=2.0 * 4.0 / k) for k in inches]
    found = brinks_of(parts, inches.tolist(), 0.0, level(3))
    misses = found.off_px - at_px * inches / 4.0
    assert np.abs(misses).max() < 0.45
    assert np.abs(misses / inches).max() < 2.5 * np.hypot(found.common_in, 0.03)


def test_doubt_covers_the_scatter_over_many_edges():
    """Levels, lips, blur and view by chance; the lip's width as the method assumes it."""
    rng = np.random.default_rng(2)
    misses, doubts = [], []
    for _ in range(120):
        slant, inch = rng.uniform(-0.5, 1.2), rng.uniform(2.0, 6.0)
        lane, gutter = rng.uniform(60, 180, 2)
        lip = min(lane, gutter) * rng.uniform(0.4, 1.0)
        width = 0.2 * max(1 - 0.9 * slant, 0.15) * np.exp(rng.normal(0, 0.5)) * inch
        at = rng.uniform(-1.0, 1.0)
        shape = {"lip_px": width, "blur_px": rng.uniform(0.5, 1.2), "rise": rng.uniform(0.0, 3.0)}
        found = brinks_of(
            [stations(rng, at, (lane, lip, gutter), **shape) for _ in range(2)], [inch, inch], slant, level(2)
        )
        misses.append(found.off_px.mean() - at)
        doubts.append(np.hypot(found.common_in * inch, 0.12))
    sigmas = np.abs(np.array(misses)) / doubts
    assert np.mean(sigmas < 2.0) > 0.9
    assert np.mean(sigmas > 0.3) > 0.3


def test_nothing_but_lane_tells_nothing():
    rng = np.random.default_rng(3)
    found = brinks_of([stations(rng, 0.0, (120, 120, 120))], [4.0], 0.0, level(1))
    assert found.common_in * 4.0 > 1.0
    clear = brinks_of([stations(rng, 0.0, (120, 50, 50))], [4.0], 0.0, level(1))
    assert clear.common_in * 4.0 < 0.3


def test_a_stretch_that_shows_no_edge_lies_where_its_course_has_it():
    rng = np.random.default_rng(4)
    near, far = stations(rng, 0.8, (120, 50, 50)), stations(rng, 0.0, (120, 120, 120))
    found = brinks_of([near, far], [4.0, 2.0], 0.0, Courses(np.array([0.0, 0.2]), np.array([0.0, 0.05])))
    assert found.off_px[0] == pytest.approx(0.8, abs=0.25)
    assert found.off_px[1] == pytest.approx((0.8 / 4.0 + 0.2) * 2.0, abs=0.25)
    assert found.own_px[1] < 0.3
