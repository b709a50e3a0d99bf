"""Sub-pixel centre of a ball from its rim: contrast with the background along rays, the predicted size as prior.

The rim is where the difference to the clip's own background falls to half of its value just inside. The bottom of the
outline is left out, because the mirror image on the oil joins the ball there. The size is free within a prior: an edge
that is placed a little too far in or out all round then changes the size and not the centre.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from calibration.camera import Camera

Array = NDArray[np.float64]
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
POOLED_RAYS = 3
INSIDE_NEAR = 0.8
INSIDE_FAR = 1.9
EDGE_TURNS = 2
SHIFT_TURNS = 2
MIN_RAYS = 8
NO_SECOND_MAP: Any = None
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
        Whether the rim was followed (:func:`fit_ball`), the disc as a whole fitted
        (:func:`tracker.detection.disc.fit_disc`) or only the place seen (:func:`coarse_fit`).
    """

    centre_px: Array
    covariance: Array
    size_px: float
    rim_share: float
    contrast: float
    how: Literal["rim", "disc", "place"] = "rim"

    @property
    def sharp(self) -> bool:
        """Whether it is of a ball's outline, not only the place seen."""
        return self.how != "place"


def sphere_rim(camera: Camera, centre_in: Array, radius_in: float, rays: int = RAYS) -> Rim:
    """Outline of a sphere at ``centre_in`` ``(3,)`` inches: a cone of half-angle asin(R / d) about the sight line."""
    axis = camera.to_camera(centre_in)
    reach = math.sqrt(float(axis @ axis))
    axis = axis / reach
    half = math.asin(min(radius_in / reach, 0.999))
    level = math.hypot(axis[0], axis[2])
    across = np.array([axis[2], 0.0, -axis[0]]) / level
    down = np.array([-axis[0] * axis[1], level * level, -axis[2] * axis[1]]) / level
    angle = 2 * np.pi * np.arange(rays) / rays
    ring = np.outer(np.cos(angle), across) + np.outer(np.sin(angle), down)
    points = camera.project_directions(np.vstack([axis, math.cos(half) * axis + math.sin(half) * ring]))
    centre, offset = points[0], points[1:] - points[0]
    radius = np.hypot(offset[:, 0], offset[:, 1])
    return Rim(centre, offset / radius[:, None], radius)


@dataclass(frozen=True, slots=True)
class _Patch:
    """Difference to the background around one ball, and where its luma and chroma pixels begin in the crop."""

    luma: NDArray[np.float32]
    chroma: tuple[NDArray[np.float32], NDArray[np.float32]]
    left: int
    top: int
    chroma_site: tuple[float, float]


def _patch(planes: Planes, background: Planes, middle: Array, reach_px: float) -> _Patch | None:
    """Difference to the background within ``reach_px`` of ``middle`` (crop pixels); None outside the crop."""
    height, width = planes.luma.shape
    left, top = (int(v) // 2 * 2 for v in np.clip(np.floor(middle - reach_px), 0, [width, height]))
    right, bottom = (int(v) // 2 * 2 for v in np.clip(np.ceil(middle + reach_px) + 2, 0, [width, height]))
    if right - left < 4 or bottom - top < 4:
        return None
    near, half = np.s_[top:bottom, left:right], np.s_[top // 2 : bottom // 2, left // 2 : right // 2]
    luma = cv2.subtract(planes.luma[near], background.luma[near], dtype=cv2.CV_32F)
    cb = cv2.subtract(planes.cb[half], background.cb[half], dtype=cv2.CV_32F)
    cr = cv2.subtract(planes.cr[half], background.cr[half], dtype=cv2.CV_32F)
    return _Patch(np.asarray(luma), (np.asarray(cb), np.asarray(cr)), left, top, planes.chroma_site)


def _sample(patch: _Patch, points: Array) -> NDArray[np.float32]:
    """Difference to the background ``(3, n, m)`` in luma, Cb, Cr at crop pixels ``(n, m, 2)``, bilinear."""
    local = points - np.array([patch.left, patch.top])
    luma = (local - 0.5).astype(np.float32)
    chroma = ((local - np.array(patch.chroma_site)) / 2).astype(np.float32)
    out = np.empty((3, *points.shape[:2]), dtype=np.float32)
    for k, (plane, at) in enumerate(((patch.luma, luma), (patch.chroma[0], chroma), (patch.chroma[1], chroma))):
        out[k] = cv2.remap(plane, at, NO_SECOND_MAP, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return out


@dataclass(frozen=True, slots=True)
class _Edges:
    at_px: Array
    sigma_px: Array
    contrast: Array
    usable: NDArray[np.bool_]


def _edges(diff: NDArray[np.float32], offset_px: Array, noise: Array, window_px: float) -> _Edges:
    """Half-contrast position along each ray from the difference ``(3, n, m)`` at ``offset_px`` ``(m,)`` from the rim.

    The difference is projected on its own mean just inside, which makes it about 1 inside and 0 outside whatever the
    colours; the edge is where an ideal step has the same area in a window around it.
    """
    weight = 1.0 / noise**2
    edge = np.zeros(diff.shape[1])
    step = float(offset_px[1] - offset_px[0])
    for _ in range(EDGE_TURNS):
        distance = offset_px[None, :] - edge[:, None]
        inside = ((distance < -INSIDE_NEAR * window_px) & (distance > -INSIDE_FAR * window_px)).astype(np.float32)
        level = np.einsum("knm,nm->kn", diff, inside) / np.maximum(inside.sum(axis=1), 1)
        level = uniform_filter1d(level, POOLED_RAYS, axis=1, mode="wrap")
        power = np.einsum("k,kn->n", weight, level**2)
        share = np.einsum("kn,knm->nm", weight[:, None] * level, diff) / np.maximum(power, 1e-9)[:, None]
        share = np.clip(share, -0.5, 1.5)
        window = np.clip((window_px - np.abs(distance)) / step + 0.5, 0, 1)
        moved = edge + np.sum(share * window, axis=1) * step - window_px
        edge = np.clip(moved, offset_px[0] + window_px, offset_px[-1] - 0.5 * window_px)
    ideal = (distance < 0).astype(np.float64)
    misfit = np.sqrt(np.sum((share - ideal) ** 2 * window, axis=1) / np.maximum(np.sum(window, axis=1), 1))
    contrast = np.sqrt(power)
    sigma = np.hypot(RIM_MODEL_PX, misfit * math.sqrt(2 * window_px))
    return _Edges(edge, sigma, contrast, (contrast > MIN_CONTRAST) & (misfit < MAX_MISFIT))


@dataclass(frozen=True, slots=True)
class _Shift:
    values: Array
    covariance: Array
    weight: Array


def _shift(design: Array, edges: _Edges, use: NDArray[np.bool_]) -> _Shift:
    """Shift (du, dv) and change of size that explain the edges; Huber-weighted least squares with a size prior."""
    prior = np.diag([1e-6, 1e-6, 1.0 / SIZE_PRIOR_PX**2])
    target = prior @ np.array([0.0, 0.0, SIZE_BIAS_PX])
    weight = use.astype(np.float64)
    covariance = prior
    for _ in range(SHIFT_TURNS):
        weighted = design * (weight / edges.sigma_px**2)[:, None]
        covariance = np.asarray(cv2.invert(design.T @ weighted + prior, flags=cv2.DECOMP_CHOLESKY)[1], dtype=np.float64)
        value = covariance @ (weighted.T @ edges.at_px + target)
        scaled = np.abs(edges.at_px - design @ value) / edges.sigma_px
        weight = use * np.minimum(1.0, HUBER_SIGMA / np.maximum(scaled, 1e-9))
    return _Shift(value, covariance, weight)


def _consensus(design: Array, edges: _Edges) -> _Shift | None:
    """Fit the sides first, then with every ray above that agrees.

    Lamps mirrored in the top of a ball and its mirror image on the oil below pull those edges by several pixels, always
    inward above and outward below; the sides are clean.
    """
    down = design[:, 1]
    side = edges.usable & (np.abs(down) < SIDE_SINE)
    if side.sum() < MIN_RAYS:
        return None
    first = _shift(design, edges, side)
    agree = edges.usable & (down < 0) & (np.abs(edges.at_px - design @ first.values) < AGREE_PX)
    return _shift(design, edges, side | agree)


def fit_ball(
    planes: Planes, background: Planes, rim: Rim, noise: Array, *, origin: tuple[int, int], blur_px: float
) -> BallFit | None:
    """Measure the ball's centre near a predicted outline.

    Parameters
    ----------
    planes, background : Planes
        Crop of the frame and of the clip's background.
    rim : Rim
        Predicted outline in pixels of the upright frame; within about a third of a radius of the true one.
    noise : ndarray of shape (3,)
        Standard deviation of luma, Cb and Cr noise at this place.
    origin : tuple of int
        Left and top of the crop in the upright frame.
    blur_px : float
        Half-width of the edge by motion and focus; widens the window in which the edge is sought.

    Returns
    -------
    BallFit or None
        None where no outline of the predicted size fits: too few rays with contrast, or they do not agree.
    """
    radius = float(np.mean(rim.radius_px))
    fine = min(0.7 + 0.3 * blur_px, 0.4 * radius)
    centre = rim.centre - np.array(origin)
    patch = _patch(planes, background, centre, 1.8 * radius + 12.0)
    if patch is None:
        return None
    design = np.column_stack([rim.unit, np.ones(len(rim.unit))])
    shift: _Shift | None = None
    for reach, window in ((0.3 * radius, max(fine, 0.15 * radius)), (max(0.12 * radius, 3.0), fine)):
        offset = np.linspace(-reach - INSIDE_FAR * window, reach + window, SAMPLES)
        points = centre + (rim.radius_px[:, None] + offset)[..., None] * rim.unit[:, None, :]
        edges = _edges(_sample(patch, points), offset, noise, window)
        shift = _consensus(design, edges)
        if shift is None or np.hypot(*shift.values[:2]) > 1.5 * reach:
            return None
        centre = centre + shift.values[:2]
    if shift is None:
        return None
    visible = rim.unit[:, 1] < SIDE_SINE
    share = float(np.mean(shift.weight[visible] > 0.5))
    contrast = float(np.median(edges.contrast[visible]))
    # few agreeing rays: the others saw something else there, and so may these
    doubt = max(1.0, GOOD_SHARE / max(share, 0.1)) ** DOUBT_POWER
    covariance = shift.covariance[:2, :2] * doubt
    return BallFit(centre + np.array(origin), covariance, float(shift.values[2]), share, contrast)


def coarse_fit(centre_px: Array, radius_px: float) -> BallFit:
    """What a place of the ball-sized view tells of a ball whose rim cannot be followed, light on light wood say."""
    sigma = np.array(COARSE_SHARE) * radius_px
    return BallFit(centre_px, np.diag(sigma**2), 0.0, COARSE_RIM_SHARE, MIN_CONTRAST, "place")


def apparent_blur_px(radius_px: float) -> float:
    """Usual half-width of a moving ball's edge: optics, compression, and motion that grows as the ball comes near."""
    return 1.0 + 0.05 * radius_px
