import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from calibration.homography import apply_homography, fit_homography, focal_length, plane_jacobian

small = st.floats(-0.2, 0.2)


@given(st.lists(small, min_size=8, max_size=8))
def test_fit_returns_the_homography_of_exact_points(values):
    h = np.eye(3) + np.array([*values, 0.0]).reshape(3, 3)
    points = np.array([(0, 0), (1, 0), (1, 1), (0, 1), (0.4, 0.7)], dtype=float)
    assert_allclose(fit_homography(points, apply_homography(h, points)), h, atol=1e-9)


def test_points_on_a_line_determine_nothing():
    points = np.array([(0, 0), (1, 1), (2, 2), (3, 0)], dtype=float)
    assert fit_homography(points, points * 3 + 1) is None


def test_too_few_points_are_a_mistake():
    with pytest.raises(ValueError, match=r"n >= 4, 2\), got \(3, 2\)"):
        fit_homography(np.zeros((3, 2)), np.zeros((3, 2)))


def test_jacobian_is_the_derivative():
    h = np.array([[3, 0.2, 5], [0.1, 2, -1], [0.01, 0.03, 1]])
    point, step = np.array([2.0, 7.0]), 1e-6
    columns = [(apply_homography(h, point + d) - apply_homography(h, point - d)) / (2 * step) for d in np.eye(2) * step]
    assert_allclose(plane_jacobian(h, point), np.stack(columns, axis=1), atol=1e-8)


def test_view_straight_down_tells_no_focal_length():
    estimate = focal_length(np.diag([2.0, 2.0, 1.0]), (0.0, 0.0), np.eye(9) * 1e-6)
    assert np.isnan(estimate.f_px)
    assert estimate.sd_px == np.inf
