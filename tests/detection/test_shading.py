"""Sums over a ball's pixels, prepared: against least squares on the same places, and what places count."""

import numpy as np
import pytest

from tracker.detection.shading import FLAT, NARROW, OUTER, PEAK, WIDE, search_of


@pytest.mark.parametrize("kind", [WIDE, NARROW[0], PEAK])
def test_prepared_sums_explain_as_much_as_weighted_least_squares(kind):
    random, search = np.random.default_rng(4), search_of(kind, 18.0)
    value = random.normal(size=len(search.luma.places.at)).astype(np.float32)
    for part, terms in zip(search.luma.parts, (6, FLAT), strict=True):
        m = len(search.steps) // 2
        right = (part.sums @ value).reshape(len(search.steps), terms)[m]
        explained = float(right @ part.solve[m] @ right)
        root = np.sqrt(part.weight[m])
        design = (search.luma.basis[:terms] * root).T
        left = root * value - design @ np.linalg.lstsq(design, root * value, rcond=None)[0]
        assert explained == pytest.approx(float(np.sum((root * value) ** 2) - np.sum(left**2)), rel=1e-2)


def test_disc_of_the_middle_step_weighs_its_own_area():
    search = search_of(PEAK, 25.0)
    weight = search.luma.parts[0].weight[len(search.steps) // 2]
    share = float(weight.sum()) / len(weight)
    assert share == pytest.approx(1 / OUTER**2, rel=0.02)


def test_small_balls_count_no_more_pixels_than_they_have():
    small, large = search_of(PEAK, 5.0), search_of(PEAK, 40.0)
    assert small.luma.density == pytest.approx(5.0**2, rel=0.25)
    assert large.luma.share == 1.0
    assert small.chroma.share < large.chroma.share


def test_what_cannot_be_seen_weighs_nothing():
    search = search_of(PEAK, 12.0)
    seen = search.luma.places.at[:, 0] < 0.3
    ball, image = search.luma.seen_only(seen)
    assert not ball.weight[:, ~seen].any()
    assert not image.weight[:, ~seen].any()
