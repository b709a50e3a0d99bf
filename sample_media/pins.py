"""The pins' picture: bodies of revolution seen from any side, many samples to a pixel."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from calibration.lane import PIN_BASE_RADIUS_IN, PIN_HEIGHT_IN, pin_positions
from sample_media.deck import DeckMotion
from sample_media.house import deck_light
from sample_media.layers import Patch, empty, frame_box, shrink
from sample_media.optics import View
from sample_media.spec import Rgb

Array = NDArray[np.float32]
Float = NDArray[np.float64]
# Pin profile: height over radius in inches, from memory of the equipment manual's table.
HEIGHTS_IN = np.array(
    [0, 0.75, 2.25, 3.375, 4.5, 5.875, 7.25, 8.625, 9.375, 10, 10.875, 11.75, 12.625, 13.5, 14.2, 14.7, 15]
)
DIAMETERS_IN = np.array(
    [2.031, 2.828, 3.906, 4.51, 4.766, 4.563, 3.703, 2.472, 1.965, 1.797, 1.87, 2.094, 2.406, 2.547, 2.30, 1.60, 0.25]
)
CHAIN_IN = np.linspace(1.0, 13.7, 22)
WHITE = np.array([0.80, 0.785, 0.74], dtype=np.float32)
STRIPE = np.array([0.50, 0.035, 0.04], dtype=np.float32)
SAMPLES = 5


def pin_radius_in(height_in: Float) -> Float:
    """Radius at a height above the base, inches (any shape); 0 outside 0 to 15 in."""
    return np.asarray(np.interp(height_in, HEIGHTS_IN, DIAMETERS_IN / 2, left=0.0, right=0.0))


def pin_patch(
    view: View, foot: Float, tilt: float, toward: float, *, light: Rgb = (1, 1, 1), mirror: bool = False
) -> Patch | None:
    """One pin, or its mirror image in the plane z = 0.

    Parameters
    ----------
    view : View
        The camera.
    foot : array (3,)
        Foot of the pin in inches; for a fallen pin the middle of its length lies over it.
    tilt, toward : float
        Tilt from upright and its direction, radians.
    light : Rgb
        Colour of the light.
    mirror : bool
        Draw the mirror image.

    Returns
    -------
    Patch or None
        None when it lies outside the frame.
    """
    axis = np.array([math.sin(tilt) * math.cos(toward), math.sin(tilt) * math.sin(toward), math.cos(tilt)])
    lean = math.sin(min(tilt, math.pi / 2))
    base = np.asarray(foot, dtype=np.float64) - 5.8 * lean * np.array([axis[0], axis[1], 0]) + [0, 0, 2.1 * lean**2]
    if mirror:
        axis, base = axis * [1, 1, -1], base * [1, 1, -1]
    ends = np.stack([base, base + axis * PIN_HEIGHT_IN])
    uv = view.project(ends)
    scale = view.f_px / float(np.maximum(view.depth(ends).mean(), 10.0))
    pad = 2.5 * scale
    box = frame_box(uv.min(axis=0) - pad, uv.max(axis=0) + pad, (view.height, view.width), 3 if mirror else 1)
    if empty(box) or (box[2] - box[0]) * (box[3] - box[1]) > 250_000:
        return None
    u = box[0] + (np.arange((box[2] - box[0]) * SAMPLES) + 0.5) / SAMPLES
    v = box[1] + (np.arange((box[3] - box[1]) * SAMPLES) + 0.5) / SAMPLES
    grid = np.stack(np.meshgrid(u, v), axis=-1)
    hit, height, side = _solid(grid - uv[0], (uv[1] - uv[0]) / scale, scale)
    colour = _colour(height, side) * float(deck_light(np.asarray(base[1:2], dtype=np.float32))[0]) * np.array(light)
    alpha, rgb = shrink(hit, SAMPLES), shrink(colour * hit[..., None], SAMPLES)
    if mirror:
        alpha, rgb = alpha * np.float32(0.8), rgb * np.float32(0.7)
    return Patch(box[0], box[1], alpha, rgb, "mirror" if mirror else "over")


def _solid(grid: Float, axis: Float, scale: float) -> tuple[NDArray[np.bool_], Float, Float]:
    """Hit, height along the pin in inches and side (-1 to 1, positive to the right) of picture points about the base.

    ``axis`` is the projected pin axis in inches of picture; the outline is the union of a profile (side view), a chain
    of spheres (any view) and the base's disc.
    """
    length = float(np.hypot(*axis))
    along_unit = axis / max(length, 1e-6)
    along = grid @ along_unit / scale
    across = (grid[..., 0] * -along_unit[1] + grid[..., 1] * along_unit[0]) / scale
    short = min(length / PIN_HEIGHT_IN, 1.0)
    height = along / max(short, 0.05)
    radius = pin_radius_in(height)
    seen = math.sqrt(max(1 - short**2, 0.0))
    hit = (np.abs(across) < radius) if short > 0.6 else np.zeros(along.shape, dtype=bool)
    hit |= (across / PIN_BASE_RADIUS_IN) ** 2 + (along / max(seen * PIN_BASE_RADIUS_IN, 1e-3)) ** 2 < 1
    side = across / np.maximum(radius, 0.3)
    if short < 0.97:
        hit, height, side = _chain(along, across, short, so_far=(hit, height, side))
    return hit, height, np.clip(side, -1, 1)


def _chain(
    along: Float, across: Float, short: float, *, so_far: tuple[NDArray[np.bool_], Float, Float]
) -> tuple[NDArray[np.bool_], Float, Float]:
    hit, height, side = so_far
    radius = pin_radius_in(CHAIN_IN)[:, None, None]
    inside = radius**2 - across**2 - (along - CHAIN_IN[:, None, None] * short) ** 2
    best = np.argmax(inside, axis=0)
    ball = inside.max(axis=0) > 0
    return hit | ball, np.where(ball, CHAIN_IN[best], height), np.where(ball, across / radius[best, 0, 0], side)


def _colour(height: Float, side: Float) -> Float:
    stripe = ((height > 9.3) & (height < 9.95)) | ((height > 10.35) & (height < 11.0))
    colour = np.where(stripe[..., None], STRIPE, WHITE)
    round_off = 0.58 + 0.42 * np.sqrt(np.clip(1 - side**2, 0, 1))
    low = 0.72 + 0.28 * np.clip(height / 6.0, 0, 1)
    return np.asarray(colour * (round_off * low)[..., None])


def rack_patches(view: View, rack: tuple[int, ...], offset_in: float = 0.0, light: Rgb = (1, 1, 1)) -> list[Patch]:
    """Mirror images and standing pins of a rack, far ones first; ``offset_in`` moves it to another lane."""
    spots = pin_positions()
    feet = [np.array([spots[n - 1, 0] + offset_in, spots[n - 1, 1], 0.0]) for n in sorted(rack, reverse=True)]
    made = [pin_patch(view, foot, 0.0, 0.0, light=light, mirror=mirror) for mirror in (True, False) for foot in feet]
    return [p for p in made if p is not None]


def deck_patches(
    view: View, motion: DeckMotion, t_s: float, *, rack: tuple[int, ...], light: Rgb
) -> list[tuple[float, Patch]]:
    """Pins of the moving deck at a time, each with its distance down the lane; pins in the pit's depth left out.

    Mirror images come with an infinite distance so that they are drawn first.
    """
    _, feet, tilt, toward = motion.at(t_s)
    out: list[tuple[float, Patch]] = []
    for n in rack:
        foot = feet[n - 1]
        if foot[2] < -15:
            continue
        pin = pin_patch(view, foot, float(tilt[n - 1]), float(toward[n - 1]), light=light)
        if pin is not None:
            out.append((float(foot[1]), pin))
        image = pin_patch(view, foot, float(tilt[n - 1]), float(toward[n - 1]), light=light, mirror=True)
        if image is not None and foot[2] > -0.5:
            out.append((math.inf, image))
    return out
