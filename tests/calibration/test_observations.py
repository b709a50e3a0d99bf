import numpy as np
import pytest
from numpy.testing import assert_allclose

from calibration.camera import Camera
from calibration.observations import (
    UNSEEN_PX,
    EdgePoint,
    LanePoint,
    edge_residuals,
    gather,
    lane_places,
    misfits,
    offsets,
)
from calibration.solve import mark_residuals


@pytest.fixture
def bent(camera: Camera) -> Camera:
    values = camera.vector
    values[7] = 0.15
    return camera.with_vector(values)


def test_points_on_the_curved_edge_have_no_residual(bent):
    y = np.linspace(0, 750, 9)
    pixels = bent.project(np.stack([np.full(9, 20.75), y, np.zeros(9)], axis=1))
    distance, _ = edge_residuals(bent, np.full(9, 20.75), pixels)
    assert_allclose(distance, 0, atol=1e-6)


def test_edge_residual_is_the_perpendicular_distance(bent):
    near, at, far = bent.project([(20.75, y, 0.0) for y in (299.0, 300.0, 301.0)])
    tangent = (far - near) / np.hypot(*(far - near))
    normal = np.array([-tangent[1], tangent[0]])
    distance, direction = edge_residuals(bent, np.array([20.75]), (at + 3 * normal + 5 * tangent)[None])
    assert abs(distance[0]) == pytest.approx(3.0, rel=0.02)
    assert_allclose(distance[0] * direction[0], 3 * normal, atol=0.1)


def test_pins_keep_their_spacing_on_a_wide_lane(camera):
    wide = camera.with_vector([*camera.vector[:8], 1.012])
    pin = LanePoint("pin_10_base", (18.0, 751.0, 0.0), 0, 0, 1, true_inches=True)
    corner = LanePoint("foul_right", (20.75, 0.0, 0.0), 0, 0, 1)
    places = lane_places(gather([pin, corner], 1920, 1080), wide, (15.8, 1.1))
    assert places[0, 0] * 1.012 == pytest.approx(18.0)
    assert places[1, 0] == pytest.approx(20.75)


def test_front_of_a_base_is_toward_the_camera(camera):
    pin = LanePoint("pin_7_base", (-18.0, 751.0, 0.0), 0, 0, 1, true_inches=True, front_radius_in=1.0)
    place = lane_places(gather([pin], 1920, 1080), camera, (15.8, 1.1))[0] * (camera.width_scale, 1, 1)
    shift = place[:2] - (-18.0, 751.0)
    toward = np.array([camera.x_in + 18.0, camera.y_in - 751.0])
    assert np.hypot(*shift) == pytest.approx(1.0)
    assert shift @ toward == pytest.approx(np.hypot(*toward))


def test_misfits_are_offsets_over_sigma(camera):
    edge, corner = (
        EdgePoint("left", 700, 800, 0.5, "left_edge_1"),
        LanePoint("foul_left", (-20.75, 0, 0), 500, 900, 2.0),
    )
    seen = gather([corner, edge], 1920, 1080)
    edges, points = misfits(seen, camera, (15.8, 1.1))
    shift = offsets(seen, camera, (15.8, 1.1))
    assert seen.names == ("left_edge_1", "foul_left")
    assert np.hypot(*shift[0]) == pytest.approx(abs(edges[0]) * 0.5)
    assert_allclose(shift[1], points[0] * 2.0)


def test_a_point_behind_the_camera_is_far_but_finite(camera):
    behind = gather([LanePoint("foul_left", (0.0, -400.0, 0.0), 500, 900, 1.0)], 1920, 1080)
    assert_allclose(misfits(behind, camera, (15.8, 1.1))[1], UNSEEN_PX)


def test_a_gutters_edge_is_compared_with_its_true_place_on_a_wide_lane(camera):
    """Lane and both gutters measure 60 to 60 1/4 in (web pages quoting the specification), however wide the lane is."""
    wide = camera.with_vector([*camera.vector[:8], 1.01])
    feet = (20.0, 40.0)
    pixels = wide.project([(60.125 / 2 / 1.01, 12 * y, 0.0) for y in feet])
    edges = [EdgePoint("right_gutter", *map(float, p), 0.5, f"right_gutter_{k}") for k, p in enumerate(pixels)]
    seen = gather(edges, 1920, 1080)
    assert_allclose(misfits(seen, wide, (15.8, 1.1))[0], 0, atol=1e-6)
    residuals = mark_residuals(seen, wide, (15.8, 1.1), np.ones(2))
    assert [r.across_boards for r in residuals] == pytest.approx([0.0, 0.0], abs=1e-6)
