"""A view that was knocked within a clip: windows of the reference as they look after a turn, and where pixels went."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.anchors import Anchors, checked_plane
from calibration.camera import Camera
from calibration.refind import bend, find_windows
from calibration.shake import ShakeMeter, meter_of_windows
from calibration.turning import CARRIED, moved_pixels, sight
from calibration.windows import MARGIN_PX, Plane

Array = NDArray[np.float64]

LEAST_IN_PLACE = 3
"""Of the windows of another view, one or two look right by chance."""
ENOUGH = 8
"""Windows of which most have to agree before a shift is believed, that people may hide some of them."""
_IN_PLACE_PX = 1.5
_IN_PLACE_SHARE = 0.5


def displacement(camera: Camera, pixels: Array, turn: Array) -> Array:
    """By how far pixels ``(n, 2)`` of a camera's picture move, pixels ``(n, 2)``.

    Parameters
    ----------
    camera : Camera
        The camera before.
    pixels : array of shape (n, 2)
        Pixels (u, v).
    turn : array of shape (4,)
        Yaw, pitch, roll (deg) and logarithm of the zoom.
    """
    return np.asarray(moved_pixels(sight(camera, pixels), _whole(turn)) - pixels)


def meter_after(anchors: Anchors, turn: Array, seen: NDArray[np.bool_] | None = None) -> ShakeMeter:
    """Meter of the shake about a view that has turned from the reference.

    The reference's own windows are used where the turn puts them, bent as it bends them: they show nobody, and errors
    do not add up from one knock to the next.

    Parameters
    ----------
    anchors : Anchors
        Of the reference.
    turn : array of shape (4,)
        As in :func:`displacement`.
    seen : bool array of shape (n,), optional
        Windows that nobody hides now; the others are used only where these are fewer than eight.
    """
    camera = anchors.camera
    at = anchors.pixels + displacement(camera, anchors.pixels, turn)
    border = anchors.half_px + MARGIN_PX
    size = np.array([camera.width, camera.height])
    inside = ((at > border) & (at < size - border)).all(axis=1)
    kept = np.flatnonzero(inside & seen if seen is not None and (inside & seen).sum() >= ENOUGH else inside)
    centres = np.floor(at[kept]).astype(np.intp)
    back = np.linalg.inv(bend(anchors, _whole(turn))[0][kept])
    around = np.arange(anchors.blocks.shape[1]) - anchors.blocks.shape[1] // 2
    offsets = np.stack(np.meshgrid(around, around), axis=-1) - (at[kept] - centres - 0.5)[:, None, None]
    places = np.einsum("nij,nrcj->nrci", back, offsets) + anchors.blocks.shape[1] // 2
    blocks = np.zeros((len(kept), *anchors.blocks.shape[1:]), dtype=np.uint8)
    for k, (window, place) in enumerate(zip(kept, places.astype(np.float32), strict=True)):
        blocks[k] = cv2.remap(
            anchors.blocks[window], place, np.empty(0), cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        )
    return meter_of_windows(centres, blocks, (camera.height, camera.width))


def windows_in_place(anchors: Anchors, luma: Plane, turn: Array, shift_px: Array) -> NDArray[np.bool_]:
    """Which windows ``(n,)`` are seen where a turn and a shift put them; none unless they are most of those seen.

    Where people hide most of the picture, what is left lies in its place; of a view that has moved away hardly a window
    does.

    Parameters
    ----------
    anchors : Anchors
        Of the reference.
    luma : array of shape (H, W)
        The picture, 8 bits (or 10 in uint16).
    turn : array of shape (4,)
        As in :func:`displacement`.
    shift_px : array of shape (2,)
        Shift (u, v) besides the turn, pixels.
    """
    found = find_windows(anchors, checked_plane(luma, anchors.camera), _whole(turn), bent=False)
    expected = anchors.pixels + displacement(anchors.camera, anchors.pixels, turn) + shift_px
    there = (found.usable > 0) & (np.hypot(*(found.pixels - expected).T) < _IN_PLACE_PX)
    enough = max(LEAST_IN_PLACE, _IN_PLACE_SHARE * float((found.usable > 0).sum()))
    return np.asarray(there if there.sum() >= enough else np.zeros_like(there))


def _whole(turn: Array) -> Array:
    """The turn as a move ``(7,)`` that carries the camera nowhere."""
    return np.concatenate([turn, np.zeros(CARRIED - len(turn))])
