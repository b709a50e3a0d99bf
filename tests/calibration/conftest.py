"""Synthetic cameras and the marks a person would click through them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from calibration import lane
from calibration.camera import Camera

Marks = dict[str, tuple[float, float]]
EDGE_DISTANCES_FT = (17, 32, 45, 57)


def exact_marks(camera: Camera, chevron_ft: tuple[float, float]) -> Marks:
    """Every usual mark exactly where the camera sees it."""
    half = lane.LANE_WIDTH_IN / 2
    places = {"foul_left": (-half, 0.0), "foul_right": (half, 0.0)}
    for k, board in enumerate(lane.ARROW_BOARDS):
        y = float(lane.arrow_distance_in(board, *chevron_ft))
        places[f"arrow_{k + 1}"] = (float(lane.x_from_board(board, "right")), y)
    for k, feet in enumerate(EDGE_DISTANCES_FT):
        places[f"left_edge_{k + 1}"] = (-half, 12.0 * feet)
        places[f"right_edge_{k + 1}"] = (half, 12.0 * feet)
    for pin in (1, 7, 10):
        spot = lane.pin_positions()[pin - 1]
        toward = np.array([camera.x_in, camera.y_in]) - spot
        front = spot + lane.PIN_BASE_RADIUS_IN * toward / np.hypot(*toward)
        # Pins keep their spacing on a wide lane, so their place as a share of the lane's width shrinks.
        places[f"pin_{pin}_base"] = (float(front[0]) / camera.width_scale, float(front[1]))
    pixels = {name: camera.project((x, y, 0.0)) for name, (x, y) in places.items()}
    return {name: (float(p[0]), float(p[1])) for name, p in pixels.items()}


@pytest.fixture
def camera() -> Camera:
    return Camera(20, -230, 70, -2.0, 7.5, 0.6, 2250, 0.02, 1.003, width=1920, height=1080)


@pytest.fixture(scope="session")
def clicked() -> Callable[..., Marks]:
    """Marks of a camera with Gaussian clicks of ``sigma_px``, seeded."""

    def click(
        camera: Camera, sigma_px: float = 0.0, seed: int = 0, chevron_ft: tuple[float, float] = (15.8, 1.1)
    ) -> Marks:
        rng = np.random.default_rng(seed)
        marks = exact_marks(camera, chevron_ft)
        noise = rng.normal(0.0, 1.0, (len(marks), 2)) * sigma_px
        return {n: (u + float(d[0]), v + float(d[1])) for (n, (u, v)), d in zip(marks.items(), noise, strict=True)}

    return click
