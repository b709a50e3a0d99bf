"""A made-up shot: a smooth hook before a plain camera, and a lane with somebody standing in front of it."""

from __future__ import annotations

import numpy as np

from calibration.camera import Camera
from tracker.results import PathTable, Scene

CAMERA = Camera(
    20.0,
    -200.0,
    70.0,
    yaw_deg=-2.0,
    pitch_deg=8.0,
    roll_deg=0.0,
    f_px=1100.0,
    k1=0.02,
    width_scale=1.0,
    width=960,
    height=720,
)


def wooden_scene(person: bool = True, colour: tuple[int, int, int] = (150, 60, 40)) -> Scene:
    """A grained lane in the whole frame; a body of one colour stands upright before its left half."""
    rng = np.random.default_rng(5)
    picture = np.full((CAMERA.height, CAMERA.width, 3), (110, 150, 180), np.float64)
    picture += rng.normal(0, 3, picture.shape) + np.linspace(-20, 20, CAMERA.height)[:, None, None]
    if person:
        foot = CAMERA.project(np.array([-14.0, -10.0, 0.0]))
        left = int(foot[0])
        picture[: int(foot[1]), left - 40 : left + 40] = colour
    return Scene(np.clip(picture, 0, 255).astype(np.uint8), 0, 0)


def hook(n: int = 60) -> PathTable:
    feet = np.linspace(3.0, 59.4, n)
    board = 16.0 - 8.0 * np.sin(feet / 59.4 * 2.2)
    return PathTable(
        frame=np.arange(n),
        t_s=feet / 25.0,
        board=board,
        distance_ft=feet,
        board_u=np.full(n, 0.08),
        distance_ft_u=np.full(n, 0.1),
        speed_mph=np.full(n, 17.0),
        heading_deg=np.zeros(n),
        seen=(np.arange(n) % 9 != 0).astype(np.int64),
    )
