"""Motion and measurement of the rolling ball as a linear-Gaussian model over true time intervals.

State ``(8,)``: x, vx, ax, y, vy, ay of the ball's centre in inches and seconds, then the rim bias (u, v) in pixels: the
part of the measured centre's error that stays from frame to frame (texture, highlights), a first-order Gauss-Markov
process. Acceleration is a random walk (white jerk; Bar-Shalom, Li and Kirubarajan, Estimation with Applications to
Tracking and Navigation, section 6.2.3, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera

Array = NDArray[np.float64]

SIZE = 8
X, VX, AX, Y, VY, AY, BU, BV = range(SIZE)
BIAS_RADIUS_PX = 14.0
JERK_ALONG = 8000.0
"""That of the sharpest hook: while detections are chosen, no ball may turn out of the gate."""
TURN_SHARPNESS = 3.0
"""How much stronger the jerk is than spread evenly over the path: friction changes within a few feet of it."""
JERK_ACROSS = 100.0


@dataclass(frozen=True, slots=True)
class MotionModel:
    """Strength of the process noise.

    Attributes
    ----------
    jerk_xx, jerk_xy, jerk_yy : float
        Spectral density of the white jerk across (x) and along (y) the lane and between both, in^2/s^5.
    bias_px : tuple of float
        Standard deviation of the rim bias (u, v) of a ball of up to 14 px radius, pixels; it grows with the ball.
    bias_time_s : float
        Its correlation time.
    """

    jerk_xx: float = 4000.0
    jerk_xy: float = 0.0
    jerk_yy: float = 150.0
    bias_px: tuple[float, float] = (0.2, 0.35)
    bias_time_s: float = 0.15

    def transition(self, dt_s: float) -> Array:
        """State transition ``(8, 8)`` over ``dt_s`` seconds (either sign)."""
        f = np.eye(SIZE)
        block = np.array([[1.0, dt_s, dt_s**2 / 2], [0.0, 1.0, dt_s], [0.0, 0.0, 1.0]])
        f[:3, :3] = f[3:6, 3:6] = block
        f[BU, BU] = f[BV, BV] = np.exp(-abs(dt_s) / self.bias_time_s)
        return f

    def noise(self, dt_s: float) -> Array:
        """Process noise covariance ``(8, 8)`` over ``dt_s`` seconds (either sign: backward steps diffuse as well)."""
        h, sign = abs(dt_s), np.sign(dt_s) if dt_s else 1.0
        turn = np.diag([1.0, sign, 1.0])
        block = np.array([[h**5 / 20, h**4 / 8, h**3 / 6], [h**4 / 8, h**3 / 3, h**2 / 2], [h**3 / 6, h**2 / 2, h]])
        block = turn @ block @ turn
        q = np.zeros((SIZE, SIZE))
        q[:3, :3], q[3:6, 3:6] = self.jerk_xx * block, self.jerk_yy * block
        q[:3, 3:6] = q[3:6, :3] = self.jerk_xy * block
        kept = 1.0 - np.exp(-2 * h / self.bias_time_s)
        q[BU, BU], q[BV, BV] = kept * self.bias_px[0] ** 2, kept * self.bias_px[1] ** 2
        return q


def along_slip(model: MotionModel, velocity_change: Array, span_s: float | None = None) -> MotionModel:
    """The model with its jerk tied to the direction in which friction acts.

    While a ball slips, friction points against the slip, whose direction does not change for any friction that depends
    on place or time only (sphere, point contact, Coulomb; from du/dt = -mu g (1 + R^2/k^2) u/|u|). The change of
    velocity over the shot, ``velocity_change`` (dvx, dvy) in in/s, shows that direction; across it little can happen.
    With ``span_s``, the seconds that the change took, it shows how strong the jerk is as well: white jerk of density q
    moves velocity by a variance of q T^3 / 3 within T (the double integral of white noise). Without, the jerk is that
    of the sharpest hook.
    """
    size = float(np.hypot(*velocity_change))
    if size < 1e-6:
        return model
    along = np.asarray(velocity_change) / size
    strong = JERK_ALONG if span_s is None else min(TURN_SHARPNESS * 3.0 * size**2 / span_s**3, JERK_ALONG)
    jerk = max(strong, JERK_ACROSS) * np.outer(along, along) + JERK_ACROSS * (np.eye(2) - np.outer(along, along))
    return replace(model, jerk_xx=float(jerk[0, 0]), jerk_xy=float(jerk[0, 1]), jerk_yy=float(jerk[1, 1]))


def bias_scale(camera: Camera, state: Array, ball_radius_in: float) -> float:
    """How much larger the rim bias is on a large, near ball than on a small, far one."""
    reach = float(np.linalg.norm(camera.to_camera(np.array([state[X], state[Y], ball_radius_in]))))
    return max(1.0, camera.f_px * ball_radius_in / reach / BIAS_RADIUS_PX)


def predict_pixel(camera: Camera, state: Array, ball_radius_in: float) -> Array:
    """Expected measured pixel ``(2,)`` of a state ``(8,)``: projection of the centre at z = R plus the rim bias."""
    pixel = camera.project(np.array([state[X], state[Y], ball_radius_in]))
    return np.asarray(pixel + bias_scale(camera, state, ball_radius_in) * state[[BU, BV]])


def measurement_matrix(camera: Camera, state: Array, ball_radius_in: float) -> Array:
    """Derivative ``(2, 8)`` of the measured pixel by the state, central differences of 0.1 in."""
    step = 0.1
    around = np.array(
        [
            [state[X] + step, state[Y], ball_radius_in],
            [state[X] - step, state[Y], ball_radius_in],
            [state[X], state[Y] + step, ball_radius_in],
            [state[X], state[Y] - step, ball_radius_in],
        ]
    )
    p = camera.project(around)
    h = np.zeros((2, SIZE))
    h[:, X], h[:, Y] = (p[0] - p[1]) / (2 * step), (p[2] - p[3]) / (2 * step)
    h[0, BU] = h[1, BV] = bias_scale(camera, state, ball_radius_in)
    return h
