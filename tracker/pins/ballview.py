"""How likely the ball is at each place of a picture of the deck: its own colours against those of pins and pit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.pins.rack import Rack
from tracker.pins.stands import DeckView
from tracker.pins.still import placed
from tracker.video.reader import Crop

Array = NDArray[np.float64]
Float = NDArray[np.float32]

INNER_SHARE = 0.8
"""Share of the ball's radius within which its colours are taken."""
LEAST_SD = np.array([7.0, 3.0, 3.0])
"""Of luma and both colour differences: light changes on the way through the deck."""
OTHER_SHARE = 0.1
UNIFORM = 1.0 / (256.0 * 80.0 * 80.0)
HIDDEN_SHARE = 0.3
"""Share of the ball that pins before it may hide (own estimate)."""
TOGETHER_IN = 2.0
"""Pixels within about this distance err together."""
GROUPS = 2


@dataclass(frozen=True, slots=True, eq=False)
class Colours:
    """Normal distributions of (luma, Cb, Cr): means, standard deviations ``(k, 3)`` and shares ``(k,)``."""

    mean: Array
    sd: Array
    share: Array

    def density(self, pixels: Float) -> Float:
        """Density ``(h, w)`` of pixels ``(h, w, 3)``."""
        total = np.zeros(pixels.shape[:2], dtype=np.float32)
        for mean, sd, share in zip(self.mean, self.sd, self.share, strict=True):
            left = (pixels - mean.astype(np.float32)) / sd.astype(np.float32)
            height = np.float32(share / (np.prod(sd) * (2 * np.pi) ** 1.5))
            total += height * np.exp(np.float32(-0.5) * (left**2).sum(axis=-1))
        return total


def pixels_of(crop: Crop, place: Array) -> Float:
    """Luma, Cb and Cr ``(h, w, 3)`` of a crop, the pins where the model has them."""
    h, w = crop.luma.shape
    planes = [crop.luma, *(cv2.resize(p, (w, h), interpolation=cv2.INTER_LINEAR) for p in (crop.cb, crop.cr))]
    return np.dstack([placed(np.asarray(p, np.float32), place) for p in planes])


def ball_colours(samples: Array) -> Colours:
    """Colours ``(n, 3)`` of a ball's pixels as one or two groups, so that a ball of two colours keeps both."""
    data = np.ascontiguousarray(samples, dtype=np.float32)
    cv2.setRNGSeed(1)
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 20, 0.5)
    start = (data[:, 0] > np.median(data[:, 0])).astype(np.int32)[:, None]
    _, label, _ = cv2.kmeans(data, GROUPS, start, criteria, 1, cv2.KMEANS_USE_INITIAL_LABELS)
    groups = [data[label[:, 0] == k] for k in range(GROUPS)]
    kept = [g for g in groups if len(g) >= 0.05 * len(data)] or [data]
    sd = np.array([np.maximum(1.4826 * np.median(np.abs(g - np.median(g, axis=0)), axis=0), LEAST_SD) for g in kept])
    share = np.array([len(g) for g in kept], dtype=np.float64)
    return Colours(np.array([np.median(g, axis=0) for g in kept], dtype=np.float64), sd, share / share.sum())


@dataclass(frozen=True, slots=True, eq=False)
class BallView:
    """Scores discs of the ball's size in pictures of the deck.

    Attributes
    ----------
    view : DeckView
    rack : Rack
    ball : Colours
        Of the ball on its last feet before the pins.
    pins : Colours
        Of pins.
    behind, behind_sd : float32 arrays of shape (h, w, 3)
        Colours without pins and ball, and how much they vary.
    radius_px : float
    """

    view: DeckView
    rack: Rack
    ball: Colours
    pins: Colours
    behind: Float
    behind_sd: Float
    radius_px: float

    def scores(self, crop: Crop) -> Float:
        """Logarithm ``(h, w)`` of the likelihood of the ball's centre at each pixel, over that of no ball at all."""
        pixels = pixels_of(crop, self.rack.place)
        own = self.ball.density(pixels)
        left = (pixels - self.behind) / self.behind_sd
        empty = np.exp(np.float32(-0.5) * (left**2).sum(axis=-1)) / (self.behind_sd.prod(axis=-1) * 15.75)
        others = (1 - OTHER_SHARE) / 2 * (empty + self.pins.density(pixels)) + OTHER_SHARE * UNIFORM
        ratio = np.log((1 - HIDDEN_SHARE) * own / others + HIDDEN_SHARE).astype(np.float32)
        ratio = np.minimum(ratio, np.float32(3.0))
        score = cv2.filter2D(ratio, cv2.CV_32F, _disc(self.radius_px), borderType=cv2.BORDER_CONSTANT)
        return np.asarray(score / np.float32(1 + (TOGETHER_IN * self.view.px_per_in) ** 2), np.float32)


def ball_view(
    view: DeckView, rack: Rack, before: Sequence[Crop], near: Sequence[tuple[Crop, Array]], *, radius_px: float
) -> BallView | None:
    """Learn the ball's colours from pictures in which its place is known; None where it is not seen in them.

    Parameters
    ----------
    view : DeckView
    rack : Rack
    before : sequence of Crop
        Pictures without the ball.
    near : sequence of (Crop, array of shape (2,))
        Pictures with the ball's centre in the box, pixels, from before it meets the pins.
    radius_px : float
        Its radius there.
    """
    samples = [_inside(pixels_of(crop, rack.place), at, INNER_SHARE * radius_px) for crop, at in near]
    samples = [s for s in samples if len(s) > 12]
    if not samples:
        return None
    empty = np.median(np.stack([pixels_of(c, rack.place) for c in before]), axis=0).astype(np.float32)
    solid = np.max([rack.model.shapes[n - 1].alpha for n in rack.pins], axis=0) > 0.9 if rack.pins else None
    pins = _plain(empty[solid]) if solid is not None and solid.sum() > 12 else _plain(np.array([[200.0, 128, 128]] * 2))
    free = (rack.model.free.pixels,)
    chroma = [np.median(empty[..., k].ravel()[free]) for k in (1, 2)]
    h, w = empty.shape[:2]
    behind = np.dstack([rack.model.behind.luma, *(np.full((h, w), c, np.float32) for c in chroma)])
    sd = np.dstack([np.maximum(rack.model.behind.sd, 5.0), *(np.full((h, w), 3.5, np.float32) for _ in chroma)])
    return BallView(view, rack, ball_colours(np.vstack(samples)), pins, behind, sd.astype(np.float32), radius_px)


def _plain(pixels: NDArray[np.floating]) -> Colours:
    mean = np.median(pixels, axis=0)
    sd = np.maximum(1.4826 * np.median(np.abs(pixels - mean), axis=0), [0.15 * mean[0], 4.0, 4.0])
    return Colours(mean[None], sd[None], np.ones(1))


def _inside(pixels: Float, at: Array, radius_px: float) -> Array:
    v, u = np.mgrid[: pixels.shape[0], : pixels.shape[1]] + 0.5
    return np.asarray(pixels[np.hypot(u - at[0], v - at[1]) < radius_px], dtype=np.float64)


def _disc(radius_px: float) -> Float:
    reach = int(np.ceil(radius_px))
    v, u = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    return np.asarray(np.clip(radius_px + 0.5 - np.hypot(u, v), 0, 1), dtype=np.float32)
