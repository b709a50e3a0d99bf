"""What stands in a rendered house besides the lanes (people, boxes), and how a phone turns its light into a picture."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_media.balls import BallLook, ball_look, ball_patch, contact_shadow
from sample_media.bowler import Rod, Stance, ball_in_hand, bowler_patches, figure, rod_patch
from sample_media.encode import _planes, tone_curve
from sample_media.layers import Patch, composite
from sample_media.optics import View as Lens
from sample_media.scene import Scene
from sample_media.spec import BallSpec, BowlerSpec, Rgb

Linear = NDArray[np.float32]
Image = NDArray[np.uint8]
Rng = np.random.Generator
ROLL_IN_PER_S = 290.0
NEAR_IN = 70.0
MEDIAN_OF = 7
# Scatter of the median of seven normal values over that of one (computed from 10^6 draws).
MEDIAN_NOISE = 0.459
SHIRTS: tuple[Rgb, ...] = (
    (0.42, 0.075, 0.05),
    (0.05, 0.08, 0.3),
    (0.7, 0.7, 0.68),
    (0.03, 0.03, 0.03),
    (0.1, 0.3, 0.1),
)
TROUSERS: tuple[Rgb, ...] = ((0.045, 0.05, 0.065), (0.3, 0.25, 0.17), (0.08, 0.12, 0.25))


@dataclass(frozen=True, slots=True)
class Box:
    """An upright box: centre x, y of its foot, size along x, y, z, inches; colour."""

    centre: tuple[float, float]
    size: tuple[float, float, float]
    colour: Rgb


def dressed(rng: Rng) -> BowlerSpec:
    """A bowler in drawn clothes."""
    shirt, trousers = SHIRTS[rng.integers(len(SHIRTS))], TROUSERS[rng.integers(len(TROUSERS))]
    return BowlerSpec(shirt=shirt, trousers=trousers)


def bowler_layers(
    lens: Lens, scene: Scene, *, rng: Rng, light: Rgb, t_s: float
) -> tuple[list[Patch], list[tuple[float, Patch]]]:
    """Shadows, and parts with their depth, of a bowler with his ball ``t_s`` seconds after the release.

    Nothing when he would stand at or behind the camera.
    """
    hand = "left" if rng.random() < 0.3 else "right"
    stance = Stance(
        np.array([rng.uniform(-12, 12), 2.0, 6.0]), hand, replace(dressed(rng), x_offset_in=rng.uniform(-6, 6))
    )
    if _nearest_in(lens, figure(stance, t_s)) < NEAR_IN:
        return [], []
    shadows, parts = bowler_patches(lens, scene.ground, stance, t_s=t_s, light=light)
    look = _look(tuple(rng.uniform(0.02, 0.3, 3)), light, int(rng.integers(1000)))
    at = (
        ball_in_hand(stance, t_s) if t_s < 0 else stance.ball + np.array([0, ROLL_IN_PER_S * t_s, 4.3 - stance.ball[2]])
    )
    spin = np.eye(3)
    if t_s > 0:
        below = [contact_shadow(lens, scene.ground, at, 4.3), ball_patch(lens, at, look, spin, mirror=True)]
        shadows = shadows + [p for p in below if p is not None]
    ball = ball_patch(lens, at, look, spin) if lens.depth(at) > 24 else None
    return shadows, parts + ([] if ball is None else [(float(lens.depth(at)), ball)])


@lru_cache(maxsize=4)
def _look(colour: Rgb, light: Rgb, seed: int) -> BallLook:
    """A ball's look, made once for all stills of a clip."""
    return ball_look(BallSpec(colour=colour), light, seed)


def bystander(lens: Lens, place: tuple[float, float], *, rng: Rng, light: Rgb) -> list[tuple[float, Patch]]:
    """Parts with their depth of a person who stands with the feet about ``place`` (x, y in inches)."""
    stance = Stance(np.array([0.0, 0.0, 6.0]), "right", dressed(rng))
    rods = figure(stance, float(rng.uniform(2.7, 3.6)))
    feet = np.mean([r.b[:2] for r in rods if r.shoe], axis=0)
    move = np.append(np.asarray(place) - feet, 0.0)
    moved = [replace(rod, a=rod.a + move, b=rod.b + move) for rod in rods]
    if _nearest_in(lens, moved) < NEAR_IN:
        return []
    made = [(float(lens.depth((rod.a + rod.b) / 2)), rod_patch(lens, rod, light)) for rod in moved]
    return [(depth, patch) for depth, patch in made if patch is not None]


def _nearest_in(lens: Lens, rods: list[Rod]) -> float:
    return float(min(lens.depth(np.stack([r.a, r.b])).min() for r in rods))


def hidden_share(parts: list[tuple[float, Patch]], pixels: NDArray[np.float64]) -> float:
    """Share of pixels ``(n, 2)`` inside the frame that parts cover by more than half."""
    covered = np.zeros(len(pixels), dtype=bool)
    for _, patch in parts:
        left, top, right, bottom = patch.box
        u, v = np.floor(pixels).astype(int).T
        on = (u >= left) & (u < right) & (v >= top) & (v < bottom)
        covered[on] |= patch.alpha[v[on] - top, u[on] - left] > 0.5
    return float(covered.mean()) if len(pixels) else 0.0


def box_layers(lens: Lens, box: Box, light: Rgb) -> list[tuple[float, Patch]]:
    """The visible faces of a box, each with the depth of the box's middle; none if it reaches behind the camera."""
    (x, y), (dx, dy, dz) = box.centre, box.size
    corners = np.array([[x + i * dx / 2, y + j * dy / 2, k * dz] for k in (0, 1) for j in (-1, 1) for i in (-1, 1)])
    if lens.depth(corners).min() < 24:
        return []
    uv = lens.project(corners)
    faces = (((0, 1, 5, 4), 0.55), ((0, 4, 6, 2), 0.4), ((1, 3, 7, 5), 0.4), ((4, 5, 7, 6), 1.0))
    seen = (lens.eye[1] < y - dy / 2, lens.eye[0] < x - dx / 2, lens.eye[0] > x + dx / 2, lens.eye[2] > dz)
    depth = float(lens.depth(np.array([x, y, dz / 2])))
    made = [
        _face(lens, uv[list(f)], shade, (box.colour, light)) for (f, shade), on in zip(faces, seen, strict=True) if on
    ]
    return [(depth, p) for p in made if p is not None]


def _face(lens: Lens, corners: NDArray[np.float64], shade: float, colours: tuple[Rgb, Rgb]) -> Patch | None:
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 1, 0)
    high = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 1, (lens.width, lens.height))
    if (high <= low).any():
        return None
    width, height = high - low
    mask = np.zeros((height, width), np.uint8)
    # the fill counts from pixel centres
    points = np.round((corners - low - 0.5) * 16).astype(np.int32)
    cv2.fillConvexPoly(mask, points, 255, cv2.LINE_AA, 4)
    alpha = mask.astype(np.float32) / 255
    colour = (shade * np.array(colours[0]) * np.array(colours[1])).astype(np.float32)
    return Patch(int(low[0]), int(low[1]), alpha, alpha[..., None] * colour)


def laid_over(base: Linear, scene: Scene, shadows: list[Patch], parts: list[tuple[float, Patch]]) -> Linear:
    """The frame with shadows and then parts laid over it, the far ones first."""
    order = sorted(range(len(parts)), key=lambda i: -parts[i][0])
    return composite(base, [shadows + [parts[i][1] for i in order]], scene)


def uneven_light(scene: Scene, rng: Rng) -> Linear:
    """Factor ``(h, w, 1)`` on the light: a lit or dark pin deck, a dark or lit approach, the lens's dark corners."""
    y = np.clip(scene.ground[..., 1], -500, 760)
    deck, near = np.exp(rng.uniform(-0.5, 0.7)), np.exp(rng.uniform(-0.7, 0.4))
    along = np.interp(y, [-200, 20, 300, 620, 720, 760], [near, near**0.5, 1, 1, deck, deck])
    h, w = y.shape
    v, u = np.mgrid[:h, :w]
    r2 = ((u - w / 2) ** 2 + (v - h / 2) ** 2) / (w * w + h * h) * 4
    return (along * (1 - rng.uniform(0, 0.35) * r2))[..., None].astype(np.float32)


def exposed(linear: Linear, rng: Rng, *, noise: float, quality: int) -> tuple[Image, Image, Image]:
    """Luma, cb and cr of a still from a clip: the sensor's noise, the tone curve, a JPEG's loss, studio range.

    ``noise`` is the factor of one frame; the median of seven keeps 46 % of it.
    """
    h, w = linear.shape[:2]
    grain = cv2.GaussianBlur(rng.standard_normal((h, w, 3), dtype=np.float32), (0, 0), 0.6) * np.float32(1.9)
    sigma = cv2.sqrt(np.maximum(linear, 0) * np.float32(1.1e-4) + np.float32(3.5e-6))
    signal = linear + sigma * grain * np.float32(noise * MEDIAN_NOISE)
    curve = tone_curve()
    picture = curve[np.clip(signal * np.float32((len(curve) - 1) / 1.25), 0, len(curve) - 1).astype(np.uint16)]
    _, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
    planes = _planes(cv2.imdecode(data, cv2.IMREAD_COLOR))
    cb, cr = planes[h:].reshape(2, h // 2, w // 2)
    return planes[:h], cb, cr
