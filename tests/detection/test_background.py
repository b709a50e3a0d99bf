"""Order statistics over time: equal to a plain sort, deaf to what passes and to what falls."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tracker.detection.background import IQR_PER_SIGMA, plane_statistics, sort_planes


@given(st.integers(1, 9).flatmap(lambda k: arrays(np.uint8, (k, 3, 4))))
def test_sort_is_a_sort_pixel_by_pixel(stack):
    assert np.array_equal(np.stack(sort_planes(list(stack))), np.sort(stack, axis=0))


def _noisy(count: int, sigma: float = 4.0) -> np.ndarray:
    return np.round(np.random.default_rng(1).normal(120, sigma, (count, 60, 60))).astype(np.uint8)


def test_spread_is_the_interquartile_range_of_noise():
    spread = plane_statistics(list(_noisy(17))).spread
    assert float(np.median(spread)) / IQR_PER_SIGMA == pytest.approx(4.0, rel=0.3)


def test_median_does_not_see_something_that_passes():
    still = _noisy(17)
    passed = still.copy()
    for k in range(6):
        passed[k, :, 10 * k : 10 * k + 20] = 20
    moved = plane_statistics(list(passed)).median.astype(int) - plane_statistics(list(still)).median
    assert np.abs(moved).max() <= 8
    assert abs(moved.mean()) < 1.5


def test_spread_hardly_grows_where_a_pin_falls_for_a_third_of_the_time():
    fallen = _noisy(17)
    fallen[11:, 20:40, 20:40] = 230
    spread = plane_statistics(list(fallen)).spread
    inside, outside = spread[20:40, 20:40], spread[:20, :]
    # the ranks shift, so it doubles; an interquartile range would be 20 times as wide
    assert inside.mean() < 2.6 * outside.mean()


def test_no_picture_is_refused():
    with pytest.raises(ValueError, match="at least one image is needed for a background, got none"):
        plane_statistics([])
