"""Draw balls into small crops at known places: exact silhouettes, many samples to a pixel, blur and noise chosen."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import BALL_RADIUS_IN
from tracker.detection.outline import BallFit, Planes, Rim, Sought, apparent_blur_px, fit_balls, sphere_rims

Array = NDArray[np.float64]
FINE = 4
SITE = (0.5, 1.0)
FLOOR = (150.0, 118.0, 138.0)
"""Luma, Cb and Cr of bare boards in these pictures."""

CAMERA = Camera(32.0, -228.0, 67.0, -4.2, 8.6, 0.35, f_px=2460.0, k1=-0.02, width_scale=1.0, width=1920, height=1080)


@dataclass(frozen=True, slots=True)
class Look:
    """Colour of a ball (luma, Cb, Cr), blur of its edge and noise of the picture (luma sigma; chroma half of it)."""

    colour: tuple[float, float, float] = (40.0, 128.0, 128.0)
    blur_px: float = 0.8
    noise: float = 2.0


def fine_silhouette(camera: Camera, centre_in: Array, radius_in: float, box: tuple[int, int, int, int]) -> Array:
    """1 where a sample's ray meets the sphere and 0 elsewhere, ``(4 h, 4 w)``."""
    left, top, width, height = box
    u = left + (np.arange(width * FINE) + 0.5) / FINE
    v = top + (np.arange(height * FINE) + 0.5) / FINE
    rays = camera.rays(np.stack(np.meshgrid(u, v), axis=-1))
    to = centre_in * np.array([camera.width_scale, 1, 1]) - camera.position
    along = rays @ to / np.linalg.norm(rays, axis=-1)
    return np.asarray(to @ to - along**2 <= radius_in**2, dtype=np.float64)


def halved(plane: Array) -> Array:
    """Chroma of a full-size plane: on the left column of each pair, half-way between its rows."""
    rows = (plane[::2] + plane[1::2]) / 2
    padded = np.pad(rows, ((0, 0), (1, 1)), mode="edge")
    return np.asarray(padded[:, :-2] + 2 * padded[:, 1:-1] + padded[:, 2:])[:, ::2] / 4


def planes(layers: list[tuple[Array, tuple[float, float, float]]], noise: float, random: np.random.Generator) -> Planes:
    """Crop planes of layers (alpha ``(h, w)``, colour) painted in order on bare boards."""
    height, width = layers[0][0].shape
    full = [np.full((height, width), value) for value in FLOOR]
    for alpha, colour in layers:
        full = [old + alpha * (new - old) for old, new in zip(full, colour, strict=True)]
    made = (full[0], halved(full[1]), halved(full[2]))
    noisy = (p + s * noise * random.standard_normal(p.shape) for p, s in zip(made, (1.0, 0.5, 0.5), strict=True))
    luma, cb, cr = (np.clip(np.round(p), 0, 255).astype(np.uint8) for p in noisy)
    return Planes(luma, cb, cr, SITE)


@dataclass(frozen=True, slots=True)
class Drawing:
    """One ball drawn at a true place, the clean background, and the outline a tracker would predict."""

    frame: Planes
    background: Planes
    rim: Rim
    origin: tuple[int, int]
    radius_px: float
    true_px: Array
    noise: Array

    @property
    def sought(self) -> Sought:
        """What a tracker would look for."""
        return Sought(self.frame, self.rim, self.noise, apparent_blur_px(self.radius_px))

    def fit(self) -> BallFit | None:
        """What the sub-pixel fit makes of it."""
        return fit_balls([self.sought], self.background, origin=self.origin)[0]


def blurred(fine: Array, blur_px: float) -> Array:
    """Fine samples blurred by a Gaussian of ``blur_px`` and averaged to pixels."""
    soft = cv2.GaussianBlur(fine, (0, 0), blur_px * FINE) if blur_px else fine
    return np.asarray(cv2.resize(soft, (fine.shape[1] // FINE, fine.shape[0] // FINE), interpolation=cv2.INTER_AREA))


def draw_ball(
    y_ft: float,
    look: Look,
    random: np.random.Generator,
    *,
    extra: str = "",
    away_px: float = 1.0,
    true_size: float = 1.0,
    pins: bool = False,
) -> Drawing:
    """Draw a ball near the lane's middle at ``y_ft``; the predicted place is off by up to ``away_px`` pixels.

    ``extra`` adds a ``lamp`` mirrored in its top, its own ``image`` on the oil, a ``screen`` that hides its left half,
    a ``shade`` from light above to dark below, or draws ``nothing`` at all. ``true_size`` is the drawn radius over the
    expected one. With ``pins`` white pins before a dark pit stand behind its upper part.
    """
    true_in = np.array([random.uniform(-10, 10), y_ft * 12 + random.uniform(-6, 6), BALL_RADIUS_IN])
    true_px = CAMERA.project(true_in)
    guess_px = true_px + random.uniform(-away_px, away_px, 2)
    guess_in = np.array([*CAMERA.back_project(guess_px, BALL_RADIUS_IN), BALL_RADIUS_IN])
    rim = sphere_rims(CAMERA, guess_in[None], BALL_RADIUS_IN)[0]
    radius = float(np.mean(rim.radius_px))
    reach = int(2.2 * radius + 16) // 2 * 2
    left, top = (int(v) // 2 * 2 - reach for v in true_px)
    box = (left, top, 2 * reach, 2 * reach)
    ball = fine_silhouette(CAMERA, true_in, true_size * BALL_RADIUS_IN, box)
    layers = [] if extra == "nothing" else [(blurred(ball, look.blur_px), look.colour)]
    layers += _extra(extra, ball, true_px - np.array([left, top]), radius, look)
    if extra == "image":
        mirror = fine_silhouette(CAMERA, true_in * np.array([1, 1, -1]), BALL_RADIUS_IN, box)
        half = tuple(0.5 * c + 0.5 * f for c, f in zip(look.colour, FLOOR, strict=True))
        layers.insert(0, (blurred(mirror, look.blur_px), half))
    behind = _pins(true_px - np.array([left, top]), radius, reach) if pins else []
    empty = [(np.zeros((2 * reach, 2 * reach)), FLOOR), *behind]
    layers = [*behind, *layers]
    return Drawing(
        planes(layers or empty, look.noise, random),
        planes(empty, 0.0, random),
        rim,
        (left, top),
        radius,
        true_px,
        np.array([max(look.noise, 1.5), 3.0, 3.0]),
    )


def _extra(name: str, ball: Array, at: Array, radius: float, look: Look) -> list[tuple[Array, tuple[float, ...]]]:
    v, u = np.mgrid[: ball.shape[0], : ball.shape[1]] / FINE
    if name == "lamp":
        cap = ball * (np.hypot((u - at[0]) / 0.5, (v - at[1] + 0.85 * radius) / 0.25) < radius)
        return [(blurred(cap, look.blur_px), (235.0, 128.0, 128.0))]
    if name == "shade":
        height = (at[1] - v) / radius
        sides = ((np.clip(height, 0, 1), 235.0), (np.clip(-height, 0, 1), 60.0))
        return [(blurred(0.7 * ball * share, look.blur_px), (luma, 118.0, 138.0)) for share, luma in sides]
    if name == "screen":
        return [(blurred((u < at[0] - 0.1 * radius).astype(float), look.blur_px), (90.0, 140.0, 120.0))]
    return []


def _pins(at: Array, radius: float, reach: int) -> list[tuple[Array, tuple[float, ...]]]:
    """A dark pit above the ball's middle, and a white pin every 1.4 radii in it."""
    v, u = np.mgrid[: 2 * reach * FINE, : 2 * reach * FINE] / FINE
    above = v < at[1] + 0.2 * radius
    pin = above & (np.abs((u - at[0]) / radius % 1.4 - 0.7) < 0.28)
    return [(blurred(part.astype(float), 0.8), (luma, 128.0, 128.0)) for part, luma in ((above, 25.0), (pin, 215.0))]
