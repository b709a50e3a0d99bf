"""Standing pins as a camera sees them: where the deck lies in the picture, and the outline of each pin."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import (
    DECK_END_IN,
    GUTTER_EDGE_IN,
    HEAD_PIN_IN,
    PIN_HEIGHT_IN,
    pin_positions,
    pin_radius_in,
)
from tracker.detection.region import Box

Array = NDArray[np.float64]
Float = NDArray[np.float32]

SIDE_IN = GUTTER_EDGE_IN + 1.0
FRONT_IN, BEHIND_IN = HEAD_PIN_IN - 30.0, DECK_END_IN + 6.0
OVER_IN = PIN_HEIGHT_IN + 5.0
FINE = 8
"""Outlines are drawn this many times finer than the picture and averaged over its pixels."""
HEIGHTS_IN = np.linspace(0.0, PIN_HEIGHT_IN, 61)
CROWN = slice(48, None, 2)
"""Circles of the head that an eye above sees behind one another."""
CIRCLE = np.linspace(0.0, 2 * np.pi, 24, endpoint=False)
LEAST_HEIGHT_PX = 9.0
"""Of smaller pins a picture tells little but noise."""


@dataclass(frozen=True, slots=True, eq=False)
class PinShape:
    """One pin's picture in the deck's box.

    Attributes
    ----------
    alpha : float32 array of shape (h, w)
        Share of each pixel that the pin covers where nothing stands before it, the picture's blur included.
    height_in : float32 array of shape (h, w)
        Height on the pin's axis above the deck, inches; beyond its ends it goes on.
    side : float32 array of shape (h, w)
        Place across the pin, -1 at its left edge and 1 at its right one, limited to that.
    """

    alpha: Float
    height_in: Float
    side: Float


@dataclass(frozen=True, slots=True, eq=False)
class DeckView:
    """The deck in a camera's picture.

    Attributes
    ----------
    camera : Camera
        Camera of the upright frame.
    box : Box
        Rectangle of the frame with deck, gutters beside it and the pins' heads.
    px_per_in : float
        Pixels an inch across, at the middle of the deck.
    cut : tuple of bool
        For each pin whether a part of it lies outside the frame.
    """

    camera: Camera
    box: Box
    px_per_in: float
    cut: tuple[bool, ...]

    @property
    def origin(self) -> Array:
        """The box's corner ``(2,)`` in the frame, pixels."""
        return np.array([self.box.left, self.box.top], dtype=np.float64)

    def pixels(self, points: Array) -> Array:
        """Places ``(..., 2)`` (u, v) in the box of lane points ``(..., 3)``, pixel centres at +0.5."""
        return self.camera.project(points) - self.origin


def deck_view(camera: Camera) -> DeckView | None:
    """The deck in a camera's picture; None where it lies outside the frame or is too small to read."""
    x, y, z = np.meshgrid([-SIDE_IN, SIDE_IN], [FRONT_IN, BEHIND_IN], [-2.0, OVER_IN])
    corners = camera.project(np.stack([x, y, z], axis=-1).reshape(-1, 3))
    middle = np.array([[-5.0, HEAD_PIN_IN + 18, 0.0], [5.0, HEAD_PIN_IN + 18, 0.0], [0, HEAD_PIN_IN + 18, 15.0]])
    at = camera.project(middle)
    if not (np.all(np.isfinite(corners)) and np.all(np.isfinite(at))):
        return None
    low, high = np.floor(corners.min(axis=0)), np.ceil(corners.max(axis=0))
    size = (camera.width, camera.height)
    left, top = (int(np.clip(v, 0, n)) // 2 * 2 for v, n in zip(low, size, strict=True))
    right, bottom = (int(np.clip(v, 0, n)) // 2 * 2 for v, n in zip(high, size, strict=True))
    if right - left < 16 or bottom - top < 16 or at[0, 1] - at[2, 1] < LEAST_HEIGHT_PX:
        return None
    px = float(np.hypot(*(at[1] - at[0]))) / 10.0
    outlines = [pin_outline(camera, spot) for spot in pin_positions()]
    cut = tuple(bool((o < 1).any() or (o > np.array(size) - 1).any()) for o in outlines)
    return DeckView(camera, Box(left, top, right - left, bottom - top), px, cut)


def pin_outline(camera: Camera, spot: Array) -> Array:
    """Outline ``(n, 2)`` in pixels of the frame of a pin that stands at a spot ``(2,)``, clockwise from its left foot.

    Left and right ends of the horizontal circles of its profile, closed by the nearer half of the lowest circle and
    the outline of the crown.
    """
    radius = np.maximum(pin_radius_in(HEIGHTS_IN), 0.05)
    ring = np.stack([np.cos(CIRCLE), np.sin(CIRCLE)], axis=-1)
    across = np.array([camera.rotation[0, 0], camera.rotation[0, 1]]) / np.hypot(*camera.rotation[0, :2])
    sides = [
        np.column_stack([spot[0] + s * radius * across[0], spot[1] + s * radius * across[1], HEIGHTS_IN])
        for s in (-1.0, 1.0)
    ]
    foot = np.column_stack([spot + radius[0] * ring, np.zeros(len(ring))])
    crown = [
        np.column_stack([spot + r * ring, np.full(len(ring), h)])
        for r, h in zip(radius[CROWN], HEIGHTS_IN[CROWN], strict=True)
    ]
    hull = camera.project(np.vstack([foot, *crown]))
    edge = camera.project(np.vstack([sides[0], sides[1][::-1]]))
    return np.vstack([edge, hull])


def pin_shape(view: DeckView, spot: Array, blur_px: float) -> PinShape:
    """A pin at a spot ``(2,)`` in inches as a picture with a Gaussian blur of ``blur_px`` shows it.

    Lens, sensor and compression all blur; ``blur_px`` is their standard deviation together.
    """
    outline = pin_outline(view.camera, spot) - view.origin
    count = 2 * len(HEIGHTS_IN)
    rows, columns = view.box.height, view.box.width
    low = np.clip(np.floor(outline.min(axis=0)).astype(int) - 1, 0, [columns - 1, rows - 1])
    high = np.clip(np.ceil(outline.max(axis=0)).astype(int) + 1, low + 1, [columns, rows])
    size = high - low
    fine = np.zeros((size[1] * FINE, size[0] * FINE), dtype=np.uint8)
    circles = outline[count:].reshape(-1, len(CIRCLE), 2)
    for polygon in (outline[:count], *circles):
        cv2.fillPoly(fine, [np.round(((polygon - low) * FINE - 0.5) * 16).astype(np.int32)], 255, shift=4)
    coarse = np.zeros((rows, columns), dtype=np.float32)
    part = cv2.resize(fine, (int(size[0]), int(size[1])), interpolation=cv2.INTER_AREA)
    coarse[low[1] : high[1], low[0] : high[0]] = part.astype(np.float32) / np.float32(255)
    alpha = cv2.GaussianBlur(coarse, (0, 0), blur_px) if blur_px > 0 else coarse
    ends = view.pixels(np.array([[*spot, 0.0], [*spot, PIN_HEIGHT_IN]]))
    axis = ends[1] - ends[0]
    length = float(np.hypot(*axis))
    unit = axis / length
    grid = np.stack(np.meshgrid(np.arange(columns) + 0.5, np.arange(rows) + 0.5), axis=-1) - ends[0]
    height = (grid @ unit) * (PIN_HEIGHT_IN / length)
    across = (grid @ np.array([-unit[1], unit[0]])) * (PIN_HEIGHT_IN / length)
    radius = np.maximum(pin_radius_in(np.clip(height, 0.4, PIN_HEIGHT_IN - 0.3)), 0.4)
    side = np.clip(across / radius, -1, 1)
    return PinShape(np.asarray(alpha, np.float32), height.astype(np.float32), side.astype(np.float32))
