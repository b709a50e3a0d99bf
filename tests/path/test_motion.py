"""The motion model against closed forms and its measurement against the camera."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rolling import CAMERA, RADIUS_IN

from tracker.path.motion import (
    BU,
    BV,
    JERK_ACROSS,
    JERK_ALONG,
    SIZE,
    VX,
    VY,
    MotionModel,
    X,
    Y,
    along_slip,
    measurement_matrix,
    predict_pixel,
)

MODEL = MotionModel(jerk_xx=900.0, jerk_xy=-350.0, jerk_yy=400.0)
STEPS = st.floats(0.002, 0.4)
SIGNS = st.sampled_from([-1.0, 1.0])
FAR = np.array([3.0, -12.0, 15.0, 520.0, 270.0, -20.0, 0.3, -0.4])


@given(STEPS, STEPS, SIGNS)
def test_transitions_compose(first, second, sign):
    a, b = sign * first, sign * second
    assert MODEL.transition(b) @ MODEL.transition(a) == pytest.approx(MODEL.transition(a + b), abs=1e-12)


@given(STEPS, STEPS, SIGNS)
def test_noise_composes(first, second, sign):
    a, b = sign * first, sign * second
    f = MODEL.transition(b)
    both = f @ MODEL.noise(a) @ f.T + MODEL.noise(b)
    assert both == pytest.approx(MODEL.noise(a + b), rel=1e-9, abs=1e-12)


@given(st.floats(-0.5, 0.5).filter(lambda dt: abs(dt) > 1e-3))
def test_noise_is_a_covariance(dt):
    q = MODEL.noise(dt)
    assert q == pytest.approx(q.T)
    scale = np.sqrt(np.diag(q))
    assert np.linalg.eigvalsh(q / np.outer(scale, scale)).min() > 0


def test_transition_is_constant_acceleration():
    moved = MODEL.transition(0.2) @ np.array([1.0, 10.0, 30.0, 2.0, 250.0, -20.0, 1.0, 1.0])
    fade = np.exp(-0.2 / MODEL.bias_time_s)
    expected = [1 + 2 + 0.6, 16, 30, 2 + 50 - 0.4, 246, -20, fade, fade]
    assert moved == pytest.approx(expected)


def test_noise_is_the_integral_of_white_jerk():
    """Numerical integral of G S G' with G the response of the state to a jerk s seconds ago."""
    dt = 0.3
    s = (np.arange(3000) + 0.5) / 3000 * dt
    g = np.stack([s**2 / 2, s, np.ones_like(s)])
    block = (g[:, None] * g[None]).mean(axis=2) * dt
    q = MODEL.noise(dt)
    assert q[:3, :3] == pytest.approx(MODEL.jerk_xx * block, rel=1e-5)
    assert q[:3, 3:6] == pytest.approx(MODEL.jerk_xy * block, rel=1e-5)
    assert q[3:6, 3:6] == pytest.approx(MODEL.jerk_yy * block, rel=1e-5)


def test_rim_bias_keeps_its_size():
    f, q = MODEL.transition(0.07), MODEL.noise(0.07)
    still = np.diag(np.square(MODEL.bias_px))
    assert (f[6:, 6:] @ still @ f[6:, 6:].T + q[6:, 6:]) == pytest.approx(still)


@pytest.mark.parametrize("y_in", [20.0, 200.0, 520.0, 700.0])
def test_measurement_matrix_is_the_derivative_of_the_pixel(y_in):
    state = FAR.copy()
    state[Y] = y_in
    h = measurement_matrix(CAMERA, state, RADIUS_IN)
    for k in (X, Y, BU, BV):
        step = np.zeros(SIZE)
        step[k] = 1e-3
        slope = (predict_pixel(CAMERA, state + step, RADIUS_IN) - predict_pixel(CAMERA, state - step, RADIUS_IN)) / 2e-3
        # the scale of the rim bias changes with distance too, by far less than the pixel does
        assert h[:, k] == pytest.approx(slope, rel=5e-3, abs=5e-3)
    assert not h[:, [VX, VY]].any()


def test_pixel_without_bias_is_the_projection_at_the_height_of_the_centre():
    state = FAR.copy()
    state[[BU, BV]] = 0.0
    assert predict_pixel(CAMERA, state, RADIUS_IN) == pytest.approx(CAMERA.project([3.0, 520.0, RADIUS_IN]))


@given(st.floats(-180, 180), st.floats(1.0, 80.0), st.none() | st.floats(0.5, 3.0))
def test_jerk_points_along_the_change_of_velocity(angle_deg, size, span_s):
    along = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    model = along_slip(MotionModel(), size * along, span_s)
    jerk = np.array([[model.jerk_xx, model.jerk_xy], [model.jerk_xy, model.jerk_yy]])
    across = np.array([-along[1], along[0]])
    assert JERK_ACROSS * 0.999 < along @ jerk @ along < JERK_ALONG * 1.001
    assert across @ jerk @ across == pytest.approx(JERK_ACROSS)
    assert along @ jerk @ across == pytest.approx(0.0, abs=1e-6)


def test_no_change_of_velocity_leaves_the_model():
    assert along_slip(MODEL, np.zeros(2)) is MODEL


def test_jerk_is_three_times_what_moves_velocity_as_much_as_was_seen():
    """Variance of velocity under white jerk q is q T^3 / 3: here 60 in/s within 2 s; unknown, it is the sharpest."""
    model = along_slip(MotionModel(), np.array([0.0, -60.0]), 2.0)
    assert model.noise(2.0)[VY, VY] == pytest.approx(3.0 * 60.0**2)
    assert along_slip(MotionModel(), np.array([0.0, -60.0])).jerk_yy == pytest.approx(JERK_ALONG)
