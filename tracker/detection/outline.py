"""Sub-pixel centre of a ball from its rim: contrast with the background along rays, the predicted size as prior.

The rim is where the difference to the clip's own background falls to half of its value just inside. The bottom of the
outline is left out, because the mirror image on the oil joins the ball there. The size is free within a prior: an edge
that is placed a little too far in or out all round then changes the size and not the centre.

Many balls are fitted at a time: the arrays of one are so small that calls would cost more than the arithmetic.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera

Array = NDArray[np.float64]
Single = NDArray[np.float32]
Image = NDArray[np.uint8]

RAYS = 40
SAMPLES = 25
SIDE_SINE = 0.72
AGREE_PX = 0.7
SIZE_BIAS_PX = -0.25
SIZE_PRIOR_PX = 0.25
RIM_MODEL_PX = 0.3
MIN_CONTRAST = 1.5
MAX_MISFIT = 0.5
HUBER_SIGMA = 1.5
INSIDE_NEAR = 0.8
INSIDE_FAR = 1.9
EDGE_TURNS = 2
STEP_AREA = (math.sqrt(2) - 1) / math.sqrt(math.pi)
"""Integral of the squared difference of a step and of the same blurred by a Gaussian, over its standard deviation."""
SHIFT_TURNS = 2
MIN_RAYS = 8
TOGETHER = 24
"""Balls that are fitted at a time: what they need stays in the cache."""
GOOD_SHARE = 0.8
DOUBT_POWER = 6
COARSE_SHARE = (0.25, 0.4)
COARSE_RIM_SHARE = 0.2


@dataclass(frozen=True, slots=True)
class Planes:
    """Luma ``(h, w)`` and chroma ``(h/2, w/2)`` of one crop, uint8.

    ``chroma_site`` is where the first chroma sample lies in luma pixels (u, v): (0.5, 1.0) is on the left column,
    half-way between two rows, the default of H.264 and HEVC.
    """

    luma: Image
    cb: Image
    cr: Image
    chroma_site: tuple[float, float] = (0.5, 1.0)


@dataclass(frozen=True, slots=True)
class Rim:
    """Outline of a sphere around its projected centre.

    Attributes
    ----------
    centre : ndarray of shape (2,)
        Projected centre of the sphere in pixels of the upright frame.
    unit : ndarray of shape (n, 2)
        Outward unit directions (u, v) of the rays.
    radius_px : ndarray of shape (n,)
        Distance of the outline along each ray.
    """

    centre: Array
    unit: Array
    radius_px: Array


@dataclass(frozen=True, slots=True)
class BallFit:
    """Measured centre of a ball in one frame.

    Attributes
    ----------
    centre_px : ndarray of shape (2,)
        (u, v) of the sphere's projected centre in the upright frame.
    covariance : ndarray of shape (2, 2)
        Of the centre, from the rim's scatter, px^2.
    size_px : float
        Measured minus predicted radius.
    rim_share : float
        Share of the usable rays on which a rim was found where it should be.
    contrast : float
        Difference to the background in standard deviations of its noise: median over rays, root mean square of a disc.
    how : {'rim', 'disc', 'place'}
        Whether the rim was followed (:func:`fit_balls`), the disc as a whole fitted
        (:func:`tracker.detection.disc.fit_discs`) or only the place seen (:func:`coarse_fit`).
    blur_px : float
        Standard deviation of the blur of its sharper rays, up to a pixel and a half; NaN where no rim was followed.
    """

    centre_px: Array
    covariance: Array
    size_px: float
    rim_share: float
    contrast: float
    how: Literal["rim", "disc", "place"] = "rim"
    blur_px: float = math.nan

    @property
    def sharp(self) -> bool:
        """Whether it is of a ball's outline, not only the place seen."""
        return self.how != "place"


def sphere_rims(camera: Camera, centres_in: Array, radius_in: float, rays: int = RAYS) -> list[Rim]:
    """Outlines of spheres at ``centres_in`` ``(n, 3)``: cones of half-angle asin(R / d) about the sight lines."""
    axis = camera.to_camera(centres_in[:, None])[:, 0]
    reach = np.sqrt((axis[:, None] @ axis[:, :, None])[:, 0, 0])
    axis = axis / reach[:, None]
    half = [math.asin(min(radius_in / away, 0.999)) for away in reach.tolist()]
    inward, outward = (np.array([part(h) for h in half])[:, None, None] for part in (math.cos, math.sin))
    right, down, forward = axis.T
    level = np.array([math.hypot(*flat) for flat in axis[:, ::2].tolist()])
    across = np.stack([forward, np.zeros(len(axis)), -right], axis=1) / level[:, None]
    below = np.stack([-right * down, level * level, -forward * down], axis=1) / level[:, None]
    angle = 2 * np.pi * np.arange(rays)[:, None] / rays
    ring = np.cos(angle) * across[:, None] + np.sin(angle) * below[:, None]
    cones = np.concatenate([axis[:, None], inward * axis[:, None] + outward * ring], axis=1)
    points = camera.project_directions(cones)
    offset = points[:, 1:] - points[:, :1]
    radius = np.hypot(offset[..., 0], offset[..., 1])
    unit = offset / radius[..., None]
    return [Rim(*parts) for parts in zip(points[:, 0], unit, radius, strict=True)]


@dataclass(frozen=True, slots=True)
class Sought:
    """A ball to measure.

    Attributes
    ----------
    planes : Planes
        Crop of the frame.
    rim : Rim
        Predicted outline in pixels of the upright frame; within about a third of a radius of the true one.
    noise : ndarray of shape (3,)
        Standard deviation of luma, Cb and Cr noise at this place.
    blur_px : float
        Half-width of the edge by motion and focus; widens the window in which the edge is sought.
    """

    planes: Planes
    rim: Rim
    noise: Array
    blur_px: float


@dataclass(frozen=True, slots=True)
class _Patches:
    """Differences to the background around b balls: planes of luma, Cb and Cr each, None outside the crop.

    ``luma_at`` and ``chroma_at`` ``(b, 2)`` say where the planes' first samples lie in the crop.
    """

    planes: list[tuple[Single, Single, Single] | None]
    luma_at: Array
    chroma_at: Array

    def sample(self, points: Single) -> Single:
        """Differences in luma, Cb, Cr ``(3, b, n, m)`` at crop pixels ``(2, b, n, m)`` (u, v), bilinear; 0 outside."""
        luma = points - self.luma_at.T.astype(np.float32)[:, :, None, None]
        chroma = (points - self.chroma_at.T.astype(np.float32)[:, :, None, None]) * np.float32(0.5)
        out = np.zeros((3, *points.shape[1:]), dtype=np.float32)
        for k, planes in enumerate(self.planes):
            if planes is not None:
                for plane, at, into in zip(planes, (luma[:, k], chroma[:, k], chroma[:, k]), out[:, k], strict=True):
                    cv2.remap(plane, at[0], at[1], cv2.INTER_LINEAR, dst=into, borderMode=cv2.BORDER_REPLICATE)
        return out


def _patches(frames: Sequence[Planes], background: Planes, middle: Array, reach_px: Array) -> _Patches:
    """Differences to the background within ``reach_px`` ``(b,)`` of ``middle`` ``(b, 2)`` (crop pixels)."""
    size = np.array(background.luma.shape[::-1])
    low = np.clip(np.floor(middle - reach_px[:, None]), 0, size).astype(int) // 2 * 2
    high = np.clip(np.ceil(middle + reach_px[:, None]) + 2, 0, size).astype(int) // 2 * 2
    planes = [
        None if min(right - left, bottom - top) < 4 else _difference(frame, background, (left, top, right, bottom))
        for frame, (left, top), (right, bottom) in zip(frames, low.tolist(), high.tolist(), strict=True)
    ]
    site = np.array([frame.chroma_site for frame in frames])
    return _Patches(planes, low + 0.5, low + site)


def _difference(frame: Planes, empty: Planes, area: tuple[int, int, int, int]) -> tuple[Single, Single, Single]:
    left, top, right, bottom = area
    near, half = np.s_[top:bottom, left:right], np.s_[top // 2 : bottom // 2, left // 2 : right // 2]
    pairs = ((frame.luma[near], empty.luma[near]), (frame.cb[half], empty.cb[half]), (frame.cr[half], empty.cr[half]))
    luma, cb, cr = (np.asarray(cv2.subtract(*pair, dtype=cv2.CV_32F), dtype=np.float32) for pair in pairs)
    return luma, cb, cr


@dataclass(frozen=True, slots=True)
class _Edges:
    """Edges of b balls along n rays each, all ``(b, n)``."""

    at_px: Single
    sigma_px: Single
    blur_px: Single
    contrast: Single
    usable: NDArray[np.bool_]


def _edges(diff: Single, offset_px: Single, noise: Array, window_px: Array) -> _Edges:
    """Half-contrast position along each ray from the difference ``(3, b, n, m)`` at ``offset_px`` ``(b, m)``.

    The difference is projected on its own mean just inside, which makes it about 1 inside and 0 outside whatever the
    colours; the edge is where an ideal step has the same area in a window ``(b,)`` around it.
    """
    weight = (1.0 / noise.T**2).astype(np.float32)[:, :, None]
    wide = window_px.astype(np.float32)[:, None, None]
    step = (offset_px[:, 1] - offset_px[:, 0])[:, None]
    low, high = offset_px[:, :1] + wide[:, 0], offset_px[:, -1:] - wide[:, 0] / 2
    edge = np.zeros(diff.shape[1:3], np.float32)
    for _ in range(EDGE_TURNS):
        distance = offset_px[:, None, :] - edge[:, :, None]
        inside = ((distance < -INSIDE_NEAR * wide) & (distance > -INSIDE_FAR * wide)).astype(np.float32)
        level = np.einsum("kbnm,bnm->kbn", diff, inside) / np.maximum(inside.sum(axis=2), 1)
        level = _pooled(level)
        weighted = weight * level
        power = (weighted * level).sum(axis=0)
        share = np.einsum("kbn,kbnm->bnm", weighted, diff) / np.maximum(power, 1e-9)[:, :, None]
        np.clip(share, -0.5, 1.5, out=share)
        window = np.clip((wide - np.abs(distance)) / step[:, :, None] + np.float32(0.5), 0, 1)
        moved = edge + np.einsum("bnm,bnm->bn", share, window) * step - wide[:, :, 0]
        edge = np.clip(moved, low, high)
    off = share - (distance < 0)
    misfit = np.sqrt(np.einsum("bnm,bnm,bnm->bn", off, off, window) / np.maximum(window.sum(axis=2), 1))
    contrast = np.sqrt(power)
    sigma = np.hypot(np.float32(RIM_MODEL_PX), misfit * np.sqrt(2 * wide[:, :, 0]))
    blur = 2 * wide[:, :, 0] * np.square(misfit) / np.float32(STEP_AREA)
    return _Edges(edge, sigma, blur, contrast, (contrast > MIN_CONTRAST) & (misfit < MAX_MISFIT))


def _pooled(level: Single) -> Single:
    """Mean over each ray and its two neighbours around the rim; rays are the last axis."""
    around = np.concatenate([level[..., -1:], level, level[..., :1]], axis=-1)
    return np.asarray((around[..., :-2] + around[..., 1:-1] + around[..., 2:]) / np.float32(3), dtype=np.float32)


@dataclass(frozen=True, slots=True)
class _Shift:
    """Shift (du, dv) and change of size ``(b, 3)``, covariance ``(b, 3, 3)``, and what each ray counted ``(b, n)``."""

    values: Array
    covariance: Array
    weight: Array


def _shift(design: Array, edges: _Edges, use: NDArray[np.bool_]) -> _Shift:
    """Shift and change of size that explain the edges; Huber-weighted least squares with a size prior."""
    prior = np.diag([1e-6, 1e-6, 1.0 / SIZE_PRIOR_PX**2])
    target = prior @ np.array([0.0, 0.0, SIZE_BIAS_PX])
    at, sigma = edges.at_px.astype(np.float64), edges.sigma_px.astype(np.float64)
    weight = use.astype(np.float64)
    for _ in range(SHIFT_TURNS):
        weighted = (design * (weight / sigma**2)[:, :, None]).transpose(0, 2, 1)
        covariance = np.linalg.inv(weighted @ design + prior)
        values = (covariance @ (weighted @ at[:, :, None] + target[:, None]))[:, :, 0]
        scaled = np.abs(at - (design @ values[:, :, None])[:, :, 0]) / sigma
        weight = use * np.minimum(1.0, HUBER_SIGMA / np.maximum(scaled, 1e-9))
    return _Shift(values, np.asarray(covariance, dtype=np.float64), weight)


def _consensus(design: Array, edges: _Edges) -> tuple[_Shift, NDArray[np.bool_]]:
    """Fit the sides first, then with every ray above that agrees; and which balls have enough sides ``(b,)``.

    Lamps mirrored in the top of a ball and its mirror image on the oil below pull those edges by several pixels, always
    inward above and outward below; the sides are clean.
    """
    down = design[:, :, 1]
    side = edges.usable & (np.abs(down) < SIDE_SINE)
    first = _shift(design, edges, side)
    off = np.abs(edges.at_px - (design @ first.values[:, :, None])[:, :, 0])
    agree = edges.usable & (down < 0) & (off < AGREE_PX)
    return _shift(design, edges, side | agree), side.sum(axis=1) >= MIN_RAYS


def fit_balls(sought: Sequence[Sought], background: Planes, *, origin: tuple[int, int]) -> list[BallFit | None]:
    """Measure the centres of balls near predicted outlines.

    Parameters
    ----------
    sought : sequence of Sought
        Balls, of one frame or of many.
    background : Planes
        The same crop of the clip's background.
    origin : tuple of int
        Left and top of the crop in the upright frame.

    Returns
    -------
    list of BallFit or None
        None where no outline of the predicted size fits: too few rays with contrast, or they do not agree.
    """
    fits: list[BallFit | None] = []
    for first in range(0, len(sought), TOGETHER):
        fits += _fit_some(sought[first : first + TOGETHER], background, np.array(origin))
    return fits


def _fit_some(sought: Sequence[Sought], background: Planes, origin: Array) -> list[BallFit | None]:
    radius = np.array([ball.rim.radius_px for ball in sought])
    unit = np.array([ball.rim.unit for ball in sought])
    centre = np.array([ball.rim.centre for ball in sought]) - origin
    size = radius.mean(axis=1)
    patches = _patches([ball.planes for ball in sought], background, centre, 1.65 * size + 8.0)
    fine = np.minimum(0.7 + 0.3 * np.array([ball.blur_px for ball in sought]), 0.4 * size)
    noise = np.array([ball.noise for ball in sought])
    design = np.concatenate([unit, np.ones((*unit.shape[:2], 1))], axis=2)
    found = np.array([planes is not None for planes in patches.planes])
    turns = ((0.3 * size, np.maximum(fine, 0.15 * size)), (np.maximum(0.12 * size, 3.0), fine))
    for reach, window in turns:
        low, high = -reach - INSIDE_FAR * window, reach + window
        offset = (low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, SAMPLES)).astype(np.float32)
        edges = _edges(_samples(patches, centre, (radius, unit), offset), offset, noise, window)
        shift, enough = _consensus(design, edges)
        found &= enough & (np.hypot(*shift.values[:, :2].T) <= 1.5 * reach)
        centre = np.where(found[:, None], centre + shift.values[:, :2], centre)
    return _told(centre + origin, shift, edges, found, visible=unit[:, :, 1] < SIDE_SINE)


def _samples(patches: _Patches, centre: Array, rims: tuple[Array, Array], offset_px: Single) -> Single:
    """Differences to the background ``(3, b, n, m)`` along the rays of b rims (radii, directions) about centres."""
    radius, unit = (part.astype(np.float32) for part in rims)
    reach = radius[:, :, None] + offset_px[:, None, :]
    points = reach * unit.transpose(2, 0, 1)[..., None]
    points += centre.T.astype(np.float32)[:, :, None, None]
    return patches.sample(points)


def _told(
    centre_px: Array, shift: _Shift, edges: _Edges, found: NDArray[np.bool_], *, visible: NDArray[np.bool_]
) -> list[BallFit | None]:
    counted = shift.weight > 0.5
    share = (counted & visible).sum(axis=1) / visible.sum(axis=1)
    contrast = _medians(edges.contrast, visible)
    # few agreeing rays: the others saw something else there, and so may these
    doubt = [max(1.0, GOOD_SHARE / max(own, 0.1)) ** DOUBT_POWER for own in share.tolist()]
    covariance = shift.covariance[:, :2, :2] * np.array(doubt)[:, None, None]
    agree, sharp = counted.sum(axis=1), np.sort(np.where(counted, edges.blur_px, np.float32(np.inf)), axis=1)
    blur = np.where(agree > 0, sharp[np.arange(len(agree)), agree // 4], np.nan)
    size = shift.values[:, 2]
    return [
        BallFit(
            centre_px[k], covariance[k], float(size[k]), float(share[k]), float(contrast[k]), blur_px=float(blur[k])
        )
        if found[k]
        else None
        for k in range(len(found))
    ]  # fmt: skip


def _medians(values: Single, kept: NDArray[np.bool_]) -> Single:
    """Medians of those values in each row that are kept, at least one."""
    count, rows = kept.sum(axis=1), np.arange(len(values))
    ranked = np.sort(np.where(kept, values, np.float32(np.inf)), axis=1)
    return np.asarray((ranked[rows, (count - 1) // 2] + ranked[rows, count // 2]) / 2, dtype=np.float32)


def coarse_fit(centre_px: Array, radius_px: float) -> BallFit:
    """What a place of the ball-sized view tells of a ball whose rim cannot be followed, light on light wood say."""
    sigma = np.array(COARSE_SHARE) * radius_px
    return BallFit(centre_px, np.diag(sigma**2), 0.0, COARSE_RIM_SHARE, MIN_CONTRAST, "place")


def apparent_blur_px(radius_px: float) -> float:
    """Usual half-width of a moving ball's edge: optics, compression, and motion that grows as the ball comes near."""
    return 1.0 + 0.05 * radius_px
