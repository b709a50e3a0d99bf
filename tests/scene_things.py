"""What moves in a rendered clip besides the shot: people who walk by, screens, sweep bars, balls on the return."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from house_things import Box, box_layers
from numpy.typing import NDArray

from calibration.lane import DECK_END_IN, GUTTER_WIDTH_IN, LANE_WIDTH_IN
from sample_media.balls import BallLook, ball_look, ball_patch
from sample_media.bowler import Stance, figure, rod_patch
from sample_media.layers import Patch, frame_box, hidden_by
from sample_media.optics import View
from sample_media.scene import Scene
from sample_media.spec import BallSpec, BowlerSpec, Rgb

Array = NDArray[np.float64]
Parts = tuple[list[Patch], list[tuple[float, Patch]]]
"""Patches laid first (shadows, mirror images), and parts with their depth."""
NOTHING: Parts = ([], [])
PLAIN = BowlerSpec()
RED = BallSpec(colour=(0.35, 0.06, 0.03))
NEAR_IN = 60.0
STEP_S = 1.1
OPENING_IN = LANE_WIDTH_IN / 2 + GUTTER_WIDTH_IN
SWEEP_S = (0.25, 0.75, 1.3, 1.6)
"""Since its start: the bar is down, has swept to the deck's end, is back at the front, is up."""
SWEEP_IN = (698.0, DECK_END_IN + 2)


@dataclass(frozen=True, slots=True)
class Walker:
    """A person in drawn clothes; ``way`` rows are time from the release in seconds, x and y of the feet in inches.

    Not there before the first row or after the last one.
    """

    way: tuple[tuple[float, float, float], ...]
    clothes: BowlerSpec = PLAIN

    def parts(self, view: View, scene: Scene, *, t_s: float, light: Rgb) -> Parts:
        """What is seen of the person at a time."""
        del scene
        rows = np.array(self.way)
        if not rows[0, 0] <= t_s <= rows[-1, 0]:
            return NOTHING
        place = [float(np.interp(t_s, rows[:, 0], rows[:, k])) for k in (1, 2)]
        moving = any(abs(float(np.interp(t_s + 0.05, rows[:, 0], rows[:, k])) - place[k - 1]) > 0.1 for k in (1, 2))
        phase = abs((t_s / STEP_S) % 1.0 - 0.5) * 2 if moving else 1.0
        rods = figure(Stance(np.array([0.0, 0.0, 6.0]), "right", self.clothes), 1.4 + 0.7 * phase)
        feet = np.mean([r.b[:2] for r in rods if r.shoe], axis=0)
        shift = np.append(np.array(place) - feet, 0.0)
        moved = [replace(rod, a=rod.a + shift, b=rod.b + shift) for rod in rods]
        if min(view.depth(np.stack([r.a, r.b])).min() for r in moved) < NEAR_IN:
            return NOTHING
        made = [(float(view.depth((rod.a + rod.b) / 2)), rod_patch(view, rod, light)) for rod in moved]
        return [], [(depth, patch) for depth, patch in made if patch is not None]


@dataclass(frozen=True, slots=True)
class Screen:
    """An upright screen across the lanes: middle (x, y, z) and size (width, height), inches; changes all the time."""

    middle: tuple[float, float, float]
    size: tuple[float, float]
    bright: float = 0.8
    period_s: float = 1.3
    mirrored: bool = True

    def parts(self, view: View, scene: Scene, *, t_s: float, light: Rgb) -> Parts:
        """The screen's picture at a time, and its image in the lane."""
        del scene, light
        (x, y, z), (w, h) = self.middle, self.size
        corners = np.array([[x - w / 2, y, z + h / 2], [x + w / 2, y, z + h / 2], [x + w / 2, y, z - h / 2],
                            [x - w / 2, y, z - h / 2]])  # fmt: skip
        shown = self._picture(t_s)
        front = _laid(view, corners, shown)
        first = []
        if self.mirrored:
            image = _laid(view, corners * [1, 1, -1], shown, blur_px=1.5)
            first = [] if image is None else [replace(image, kind="mirror")]
        depth = float(view.depth(np.array(self.middle)))
        return first, [] if front is None else [(depth, front)]

    def _picture(self, t_s: float) -> NDArray[np.float32]:
        v, u = np.mgrid[:18, :32] / np.array([18.0, 32.0])[:, None, None]
        turn = 2 * np.pi * t_s / self.period_s
        waves = [0.5 + 0.5 * np.sin(turn * k + 9 * u * (k + 1) + 7 * v * k) for k in (1, 2, 3)]
        cut = 1.0 if int(t_s / (1.7 * self.period_s)) % 2 else 0.35
        return np.asarray(self.bright * cut * np.stack(waves, axis=-1), dtype=np.float32)


@dataclass(frozen=True, slots=True)
class Sweep:
    """The bar that comes down before the pins ``start_s`` after the release, pushes to the deck's end and back."""

    start_s: float
    colour: Rgb = (0.30, 0.31, 0.33)

    @property
    def end_s(self) -> float:
        """When it is up again."""
        return self.start_s + SWEEP_S[-1]

    def parts(self, view: View, scene: Scene, *, t_s: float, light: Rgb) -> Parts:
        """The bar, where plates and panel do not hide it."""
        since = t_s - self.start_s
        if not 0 <= since <= SWEEP_S[-1]:
            return NOTHING
        y = float(np.interp(since, SWEEP_S[:3], (SWEEP_IN[0], SWEEP_IN[1], SWEEP_IN[0])))
        low = float(np.interp(since, (0, SWEEP_S[0], *SWEEP_S[2:]), (27.0, 2.0, 2.0, 27.0)))
        corners = np.array([[-1, y, low + 9], [1, y, low + 9], [1, y, low], [-1, y, low]]) * [OPENING_IN - 0.5, 1, 1]
        flat = np.full((4, 4, 3), np.array(self.colour) * np.array(light), dtype=np.float32)
        bar, image = _laid(view, corners, flat), _laid(view, corners * [1, 1, -1], flat, blur_px=1.5)
        first = [] if image is None else [replace(image, kind="mirror")]
        return first, [] if bar is None else [(float(view.depth(corners.mean(axis=0))), hidden_by(bar, scene.front))]


@dataclass(frozen=True, slots=True)
class BallReturn:
    """A ball return beside the lane's approach, on which a ball comes up and rolls toward the camera."""

    x_in: float = -41.0
    ball: BallSpec = RED
    start_s: float = 0.2

    def parts(self, view: View, scene: Scene, *, t_s: float, light: Rgb) -> Parts:
        """Its box and its ball."""
        del scene
        parts = box_layers(view, Box((self.x_in, -70.0), (14.0, 46.0, 20.0), (0.06, 0.06, 0.07)), light)
        since = t_s - self.start_s
        if 0 <= since <= 1.4:
            at = np.array([self.x_in, -46.0 - 32.0 * since, 20.0 + 4.3])
            spin = np.array(
                [[1, 0, 0], [0, np.cos(9 * since), -np.sin(9 * since)], [0, np.sin(9 * since), np.cos(9 * since)]]
            )
            ball = ball_patch(view, at, _look(self.ball, light), spin)
            parts += [] if ball is None else [(float(view.depth(at)) - 20.0, ball)]
        return [], parts


Thing = Walker | Screen | Sweep | BallReturn


@lru_cache(maxsize=8)
def _look(ball: BallSpec, light: Rgb) -> BallLook:
    return ball_look(ball, light, 3)


def _laid(view: View, corners: Array, texture: NDArray[np.float32], blur_px: float = 0.0) -> Patch | None:
    """A texture ``(h, w, 3)`` on a flat quadrilateral (its corners clockwise from the texture's first), as a patch."""
    if view.depth(corners).min() < NEAR_IN:
        return None
    uv = view.project(corners)
    left, top, right, bottom = frame_box(uv.min(axis=0), uv.max(axis=0), (view.height, view.width), 3)
    if right <= left or bottom <= top:
        return None
    fine, (h, w) = 4, texture.shape[:2]
    to = ((uv - [left, top]) * fine - 0.5).astype(np.float32)
    grid = np.array([[-0.5, -0.5], [w - 0.5, -0.5], [w - 0.5, h - 0.5], [-0.5, h - 0.5]], dtype=np.float32)
    size = ((right - left) * fine, (bottom - top) * fine)
    sheet = np.dstack([texture, np.ones((h, w), np.float32)])
    layer = cv2.warpPerspective(sheet, cv2.getPerspectiveTransform(grid, to), size, flags=cv2.INTER_NEAREST)
    layer = cv2.resize(layer, (right - left, bottom - top), interpolation=cv2.INTER_AREA)
    if blur_px:
        layer = cv2.GaussianBlur(layer, (0, 0), sigmaX=blur_px, sigmaY=2 * blur_px)
    return Patch(left, top, np.ascontiguousarray(layer[..., 3]), np.ascontiguousarray(layer[..., :3]))
