"""Find the windows of a reference picture in another one: roughly in small pictures, then to a few hundredths."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.anchors import COARSE_HALF_PX, Anchors, coarse_picture
from calibration.camera import Camera
from calibration.turning import CARRIED, fit_move, moved_pixels, sight
from calibration.windows import MARGIN_PX, Template, cut_blocks, read_samples, resample

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

LARGEST_MOVE = 0.06
"""Share of the frame's longer side by which the picture may have moved."""
BENT_PX = 0.05
"""A move that shifts a window's rim against its middle by more than this is undone before windows are compared."""
_LIKENESS = 0.6
_LEAST_COARSE = 4
_WINDOW_FLOOR_PX = 0.02
_COARSE_NOISE = 6.0
_COARSE_FLOOR_PX = 0.5
_ALONG_EDGE_PX = 30.0
_STEP_LIMIT_PX = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Where windows were found.

    Attributes
    ----------
    pixels : array of shape (n, 2)
        Where the windows' middles lie now.
    covariance : array of shape (n, 2, 2)
        Of those, from noise; large along an edge.
    usable : array of shape (n,)
        1 for a window that looks like the reference there, else 0.
    inside : array of shape (n,)
        Whether the window was expected inside the frame.
    """

    pixels: Array
    covariance: Array
    usable: Array
    inside: NDArray[np.bool_]


def coarse_move(anchors: Anchors, plane: Image) -> Array:
    """First guess ``(7,)`` from the small pictures: windows sought by correlation, a robust fit to where they lie."""
    camera, half, factor = anchors.camera, COARSE_HALF_PX, anchors.coarse_factor
    small, _ = coarse_picture(plane)
    reach = int(np.ceil(LARGEST_MOVE * max(small.shape)))
    places, covariances, targets, usable = [], [], [], []
    for column, row in anchors.coarse_centres:
        window = anchors.coarse[row - half : row + half + 1, column - half : column + half + 1]
        top, left = max(row - half - reach, 0), max(column - half - reach, 0)
        area = small[top : row + half + reach + 1, left : column + half + reach + 1]
        likeness = cv2.matchTemplate(area, window, cv2.TM_CCOEFF_NORMED)
        _, best, _, (right, down) = cv2.minMaxLoc(likeness)
        gy, gx = np.gradient(window.astype(np.float64))
        tensor = np.array([[np.sum(gx * gx), np.sum(gx * gy)], [np.sum(gx * gy), np.sum(gy * gy)]])
        noise = np.linalg.inv(tensor / _COARSE_NOISE**2 + np.eye(2) / reach**2)
        places.append((column + 0.5, row + 0.5))
        covariances.append((noise + _COARSE_FLOOR_PX**2 * np.eye(2)) * factor**2)
        targets.append((left + right + half + 0.5, top + down + half + 0.5))
        usable.append(float(best > _LIKENESS))
    start = np.zeros(CARRIED)
    if sum(usable) < _LEAST_COARSE:
        return start
    seen = sight(camera, np.array(places) * factor)
    target, trust = np.array(targets) * factor, np.array(usable)
    start[:2] = _middle_turn(camera, (target - seen.pixels)[trust > 0])
    return fit_move(seen, target, np.array(covariances), start=start, free=CARRIED, usable=trust).move


def _middle_turn(camera: Camera, motion: Array) -> Array:
    """Yaw and pitch (deg) of the median motion ``(n, 2)``: the picture goes the other way, up for a look down."""
    du, dv = np.median(motion, axis=0)
    return np.asarray(np.degrees(np.arctan2(np.array([-du, -dv]), camera.f_px)))


def bend(anchors: Anchors, move: Array) -> tuple[Array, float]:
    """Local linear maps ``(n, 2, 2)`` of the move and by how many pixels they bend a window's rim at most."""
    half = float(anchors.half_px)
    sides = [
        moved_pixels(sight(anchors.camera, anchors.pixels + half * step), move)
        - moved_pixels(sight(anchors.camera, anchors.pixels - half * step), move)
        for step in np.eye(2)
    ]
    maps = np.nan_to_num(np.stack(sides, axis=-1) / (2 * half))
    return maps, float(np.max(np.abs(maps - np.eye(2)), initial=0.0)) * half


def find_windows(anchors: Anchors, plane: Image, move: Array, *, bent: bool) -> Found:
    """Find the windows near where a move puts them."""
    at = moved_pixels(sight(anchors.camera, anchors.pixels), move)
    rows, columns = plane.shape
    border = anchors.half_px
    inside = np.asarray(((at > border) & (at < np.array([columns, rows]) - border)).all(axis=1))
    at = np.where(inside[:, None], at, anchors.pixels)
    maps = bend(anchors, move)[0] if bent else None
    predicted = at
    for template, rounds in ((anchors.wide, 0 if bent else 3), (anchors.fine, 4)):
        for _ in range(rounds):
            samples = _samples(template, plane, at, maps=maps)
            reading = read_samples(template, samples)
            at = at + np.clip(reading.shift, -_STEP_LIMIT_PX, _STEP_LIMIT_PX)
            at = np.where(np.abs(at - predicted) < 2 * _STEP_LIMIT_PX, at, predicted)
    precision = anchors.fine.information / (reading.noise**2)[:, None, None]
    floor = (_WINDOW_FLOOR_PX**2) * np.eye(2)
    covariance = np.asarray(np.linalg.inv(precision + np.eye(2) / _ALONG_EDGE_PX**2) + floor)
    settled = np.hypot(*reading.shift.T) < 0.5
    usable = (inside & settled & (reading.likeness > _LIKENESS)).astype(np.float64)
    return Found(at, covariance, usable, inside)


def _samples(template: Template, plane: Image, at: Array, *, maps: Array | None) -> NDArray[np.float32]:
    reach = template.half_px + MARGIN_PX
    if maps is None:
        whole = np.floor(at).astype(np.intp)
        return resample(template, cut_blocks(plane, whole, reach), at - whole - 0.5)
    around = np.arange(-reach, reach + 1, dtype=np.float64)
    offsets = np.stack(np.meshgrid(around, around), axis=-1)
    places = (at[:, None, None] - 0.5 + np.einsum("nij,rcj->nrci", maps, offsets)).astype(np.float32)
    n, m = len(at), len(around)
    flat = places.reshape(n * m, m, 2)
    picture = cv2.remap(plane, flat[..., 0], flat[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    blocks = np.asarray(picture, dtype=np.float32).reshape(n, m, m)
    return resample(template, blocks, np.zeros((n, 2)))
