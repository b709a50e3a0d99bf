"""How well a camera places points on the lane: its covariance carried there, and a verdict in a word."""

from __future__ import annotations

from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from calibration import lane
from calibration.camera import Camera

Array = NDArray[np.float64]
Verdict = Literal["good", "usable", "poor"]

CHECK_DISTANCES_FT = (15.0, 40.0, 60.0)
"""Where uncertainty is reported: arrows, end of the oil, pins."""

GOOD_BOARDS, GOOD_FT = 0.3, 0.6
USABLE_BOARDS, USABLE_FT = 0.8, 2.0

_STEPS = np.array([1e-2, 1e-2, 1e-2, 1e-4, 1e-4, 1e-4, 1e-2, 1e-5, 1e-6])


class Calibrated(Protocol):
    """Anything with a camera and the covariance ``(9, 9)`` of its parameters."""

    @property
    def camera(self) -> Camera:
        """The camera."""

    @property
    def covariance(self) -> Array:
        """Covariance ``(9, 9)`` of its parameters."""


def lane_jacobian(camera: Camera, y_ft: float, board: float = 20.0, z_in: float = 0.0) -> Array:
    """Jacobian ``(2, 9)`` of the back-projected (x, y) in inches by the parameters, at the point's own pixel."""
    x_in = float(lane.x_from_board(board, "right"))
    pixel = camera.project((x_in, y_ft * lane.INCHES_PER_FOOT, z_in))
    vector = camera.vector
    columns = []
    for k, step in enumerate(_STEPS):
        up, down = vector.copy(), vector.copy()
        up[k] += step
        down[k] -= step
        moved = [camera.with_vector(v).back_project(pixel, z_in) for v in (up, down)]
        columns.append((moved[0] - moved[1]) / (2 * step))
    return np.stack(columns, axis=1)


def lane_sigma(
    camera: Camera, covariance: Array, y_ft: float, *, board: float = 20.0, z_in: float = 0.0
) -> tuple[float, float]:
    """Uncertainty (boards, feet; 1 sigma) of a lane point placed by a camera with covariance ``(9, 9)``."""
    jac = lane_jacobian(camera, y_ft, board, z_in)
    spread = np.sqrt(np.maximum(np.diag(jac @ covariance @ jac.T), 0.0))
    return float(spread[0] / lane.BOARD_WIDTH_IN), float(spread[1] / lane.INCHES_PER_FOOT)


def lane_point_sigma(
    solution: Calibrated, y_ft: float, *, board: float = 20.0, z_in: float = 0.0
) -> tuple[float, float]:
    """Uncertainty (boards, feet; 1 sigma) that the camera's uncertainty gives a lane point.

    Parameters
    ----------
    solution : Solution or Calibration
        Anything with a camera and its covariance.
    y_ft : float
        Distance past the foul line.
    board : float
        Board from the right.
    z_in : float
        Height above the lane; a ball's centre rides at its radius.
    """
    return lane_sigma(solution.camera, solution.covariance, y_ft, board=board, z_in=z_in)


def verdict(solution: Calibrated) -> Verdict:
    """``good``, ``usable`` or ``poor`` by the worst sigma at :data:`CHECK_DISTANCES_FT`.

    Good: within 0.3 board and 0.6 ft everywhere, small beside what a shot's own noise costs. Usable: within 0.8 board
    and 2 ft, enough to tell lines apart. Poor: anything worse (limits are our own choice).
    """
    sigmas = np.array([lane_point_sigma(solution, y) for y in CHECK_DISTANCES_FT])
    boards, feet = sigmas.max(axis=0)
    if boards <= GOOD_BOARDS and feet <= GOOD_FT:
        return "good"
    return "usable" if boards <= USABLE_BOARDS and feet <= USABLE_FT else "poor"
