"""The closed form gives back the camera whose vanishing point and foul corners it is given."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.camera import Camera
from calibration.finding.pose import camera_of, poses_of
from calibration.lane import LANE_WIDTH_IN

HALF = LANE_WIDTH_IN / 2
places = st.tuples(st.floats(-50, 50), st.floats(-500, -60), st.floats(30, 110))
turns = st.tuples(st.floats(-8, 8), st.floats(2, 15), st.floats(-4, 4))


def seen(camera):
    point = camera.project_directions(camera.rotation @ [0.0, 1.0, 0.0])
    return point, camera.project([-HALF, 0.0, 0.0]), camera.project([HALF, 0.0, 0.0])


@given(places, turns, st.floats(600, 3000))
@settings(max_examples=60, deadline=None)
def test_round_trip(place, turn, f_px):
    camera = Camera.from_vector((*place, *turn, f_px, 0.0, 1.0), 960, 540)
    point, left, right = seen(camera)
    found = camera_of(point, left, right, f_px=f_px, size=(960, 540))
    assert found is not None
    assert found.vector == pytest.approx(camera.vector, abs=1e-5, rel=1e-6)


def test_many_at_once_hold_the_true_ones():
    """Two lanes side by side and three focal lengths: strip and length of the truth give its picture of the deck."""
    camera = Camera.from_vector((12, -230, 66, -1.5, 8, 1.0, 1300, 0.0, 1.0), 960, 540)
    beside = camera.with_vector([12 - 61.5, *camera.vector[1:]])
    point, *corners = seen(camera)
    _, *others = seen(beside)
    poses = poses_of(point, np.array([corners, others]), np.array([900.0, 1300.0, 1700.0]), (960, 540))
    deck = np.array([[0.0, 720.0, 0.0], [6.0, 730.4, 15.0]])
    found = poses.project(deck)
    assert poses.possible.all()
    assert found[0, 1] == pytest.approx(camera.project(deck), abs=1e-6)
    assert found[1, 1] == pytest.approx(beside.project(deck), abs=1e-6)
    assert np.abs(found[0, 0] - camera.project(deck)).max() > 5.0


def test_no_camera_above_the_lane():
    """Corners above the vanishing point are a ceiling's."""
    point = np.array([480.0, 400.0])
    assert camera_of(point, np.array([300.0, 100.0]), np.array([600.0, 100.0]), f_px=900.0, size=(960, 540)) is None
