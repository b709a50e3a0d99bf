"""The ball's picture: exact rays against the sphere, many to a pixel, with turning pattern, light and mirror image."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_media.layers import Patch, empty, frame_box, shrink
from sample_media.optics import View, sphere_outline
from sample_media.spec import BallSpec, Rgb

Array = NDArray[np.float32]
Float = NDArray[np.float64]
CELLS = 72
HOLES = ((0.10, 0.16), (-0.10, 0.16), (0.0, -0.20))


@dataclass(frozen=True, slots=True)
class BallLook:
    """A ball ready to draw: radius in inches, colours, shine, and the share of the second colour ``(72, 72, 72)``."""

    radius_in: float
    colours: Array
    shine: float
    share: Array
    light: Array


def ball_look(ball: BallSpec, light: Rgb, seed: int) -> BallLook:
    """Bake the pattern of a ball; the seed shapes its swirls."""
    rng = np.random.default_rng(seed)
    axis = np.linspace(-1, 1, CELLS)
    p = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), axis=-1)
    bend = sum(np.sin(p @ rng.normal(0, 2.2, (3, 3)) + rng.uniform(0, 6, 3)) for _ in range(2))
    field = sum(np.sin((p + 0.35 * bend) @ rng.normal(0, 2.6, 3) + rng.uniform(0, 6)) for _ in range(3)) / 1.6
    if ball.pattern == "plain":
        share = np.zeros_like(field)
    elif ball.pattern == "pearl":
        share = 0.5 + 0.5 * np.clip(field, -1, 1)
    else:
        share = np.clip(0.5 + 2.6 * (field + 0.25), 0, 1)
    colours = np.array([ball.colour, ball.second], dtype=np.float32)
    return BallLook(ball.radius_in, colours, ball.shine, share.astype(np.float32), np.array(light, dtype=np.float32))


def turn(rate: Float, dt_s: float) -> Float:
    """Rotation matrix ``(3, 3)`` of an angular velocity ``(3,)`` kept for a time (Rodrigues)."""
    angle = float(np.linalg.norm(rate)) * dt_s
    if abs(angle) < 1e-12:
        return np.eye(3)
    a = np.asarray(rate) / np.linalg.norm(rate)
    cross = np.array([[0, -a[2], a[1]], [a[2], 0, -a[0]], [-a[1], a[0], 0]])
    return np.asarray(np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross)


def ball_patch(view: View, centre: Float, look: BallLook, spin: Float, *, mirror: bool = False) -> Patch | None:
    """The ball, or its mirror image in the plane z = 0, as a patch.

    Parameters
    ----------
    view : View
        The camera.
    centre : array (3,)
        The ball's own centre in inches (also for the mirror image).
    look : BallLook
        Pattern, colours, light.
    spin : array (3, 3)
        Rotation from the ball's axes to the lane's.
    mirror : bool
        Draw the mirror image.

    Returns
    -------
    Patch or None
        None when it lies outside the frame.
    """
    at = np.array([centre[0], centre[1], -centre[2]]) if mirror else np.asarray(centre, dtype=np.float64)
    rim = sphere_outline(view, at, look.radius_in)
    box = frame_box(rim.min(axis=0), rim.max(axis=0), (view.height, view.width), 6 if mirror else 1)
    if empty(box):
        return None
    size = float(rim[:, 0].max() - rim[:, 0].min())
    n = 3 if mirror else (8 if size < 24 else 4)
    alpha, colour = _sample(view, at, look, (box, n, mirror, spin))
    if mirror:
        return _soften(box, alpha, colour, size)
    return Patch(box[0], box[1], alpha, colour)


def _sample(
    view: View, at: Float, look: BallLook, how: tuple[tuple[int, ...], int, bool, Float]
) -> tuple[Array, Array]:
    box, n, mirror, spin = how
    w, h = box[2] - box[0], box[3] - box[1]
    u = box[0] + (np.arange(w * n) + 0.5) / n
    v = box[1] + (np.arange(h * n) + 0.5) / n
    d = view.rays(np.stack(np.meshgrid(u, v), axis=-1))
    to = view.eye - at
    b = d @ to
    disc = b * b - (to @ to - look.radius_in**2)
    hit = disc > 0
    d_hit = d[hit]
    normal = (to + (-b[hit] - np.sqrt(disc[hit]))[:, None] * d_hit) / look.radius_in
    flip = np.array([1, 1, -1.0]) if mirror else np.ones(3)
    colour = np.zeros((h * n, w * n, 3), dtype=np.float32)
    colour[hit] = _shade(normal * flip, d_hit * flip, look, spin)
    return shrink(hit, n), shrink(colour, n)


def _shade(normal: Float, d: Float, look: BallLook, spin: Float) -> Array:
    """Colour of surface points by their normals ``(n, 3)`` and the rays' directions ``(n, 3)``."""
    own = normal @ spin
    cell = np.clip(((own + 1) * (CELLS / 2)).astype(np.int64), 0, CELLS - 1)
    share = look.share[cell[:, 0], cell[:, 1], cell[:, 2]][:, None]
    colour = look.colours[0] * (1 - share) + look.colours[1] * share
    for hx, hy in HOLES:
        hole = (own[:, 0] - hx) ** 2 + (own[:, 1] - hy) ** 2 < 0.010
        colour[hole & (own[:, 2] > 0)] *= 0.15
    up = normal[:, 2]
    light = 0.46 + 0.50 * up + 0.10 * np.clip(-normal[:, 1], 0, 1)
    bounce = np.clip(0.35 - up, 0, 1)[:, None] * np.array([0.16, 0.10, 0.05])
    facing = -np.einsum("ij,ij->i", normal, d)
    out = d + 2 * facing[:, None] * normal
    glint = np.zeros(len(up))
    for lamp, width in (((-0.35, 0.25, 0.90), 0.010), ((0.42, -0.35, 0.84), 0.014), ((0.05, 0.75, 0.66), 0.02)):
        unit = np.array(lamp) / np.linalg.norm(lamp)
        glint += np.exp((out @ unit - 1) / width)
    fresnel = 0.04 + 0.5 * (1 - np.clip(facing, 0, 1)) ** 5
    shine = look.shine * (1.1 * glint * (0.12 + fresnel) + 0.10 * fresnel * (out[:, 2] > -0.1))
    value = colour * (np.clip(light, 0.10, None)[:, None] + bounce) + shine[:, None]
    return np.asarray(value * look.light, dtype=np.float32)


def _soften(box: tuple[int, ...], alpha: Array, colour: Array, size: float) -> Patch:
    """Blur a mirror image as the oil does, and let it fade away from the contact."""
    sigma = max(0.035 * size, 0.45)
    stack = cv2.GaussianBlur(np.dstack([colour, alpha]), (0, 0), sigmaX=0.7 * sigma, sigmaY=1.3 * sigma)
    fade = np.linspace(1.0, 0.45, stack.shape[0], dtype=np.float32)[:, None, None]
    out: Array = np.asarray(stack * fade, dtype=np.float32)
    return Patch(box[0], box[1], out[..., 3], out[..., :3], "mirror")


def contact_shadow(view: View, ground: Array, centre: Float, radius_in: float) -> Patch | None:
    """The soft shadow under a ball whose centre ``(3,)`` is near the lane; None when too high or outside the frame."""
    gap = max(centre[2] - radius_in, 0.0)
    spread = radius_in * (0.85 + 0.12 * gap)
    strength = 0.62 / (1 + 0.35 * gap)
    if strength < 0.06:
        return None
    return floor_shadow(view, ground, (float(centre[0]), float(centre[1])), size=(spread, strength))


def floor_shadow(view: View, ground: Array, at: tuple[float, float], *, size: tuple[float, float]) -> Patch | None:
    """A round soft shadow on the floor; None outside the frame.

    Parameters
    ----------
    view : View
        The camera.
    ground : array (h, w, 2)
        Floor point of every pixel, inches.
    at : (float, float)
        Its middle, x and y in inches.
    size : (float, float)
        Spread in inches and strength, 0 to 1.
    """
    reach = 1.8 * size[0]
    corners = np.array([(at[0] + i * reach, at[1] + j * reach, 0) for i in (-1, 1) for j in (-1, 1)])
    uv = view.project(corners)
    box = frame_box(uv.min(axis=0), uv.max(axis=0), (view.height, view.width), 0)
    if empty(box):
        return None
    crop = ground[box[1] : box[3], box[0] : box[2]]
    dx, dy = (crop[..., 0] - at[0]) / size[0], (crop[..., 1] - at[1]) / size[0]
    alpha = np.asarray(size[1] * np.exp(-1.6 * (dx * dx + dy * dy)), dtype=np.float32)
    return Patch(box[0], box[1], alpha, np.zeros((*alpha.shape, 3), dtype=np.float32), "shade")
