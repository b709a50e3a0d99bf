"""Patches: small premultiplied pictures laid over a crop of the frame, in linear light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from sample_media.scene import Scene

Array = NDArray[np.float32]
Kind = Literal["over", "mirror", "shade"]
Box = tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class Patch:
    """A picture with its place.

    Attributes
    ----------
    left, top : int
        Place of its first pixel in the frame.
    alpha : array (h, w)
        Coverage, or strength of a shadow.
    rgb : array (h, w, 3)
        Colour times coverage.
    kind : {'over', 'mirror', 'shade'}
        Covers what lies below; is mirrored by the lane; darkens.
    """

    left: int
    top: int
    alpha: Array
    rgb: Array
    kind: Kind = "over"

    @property
    def box(self) -> Box:
        """Left, top, right, bottom in pixels, right and bottom exclusive."""
        return self.left, self.top, self.left + self.alpha.shape[1], self.top + self.alpha.shape[0]


def frame_box(
    low: NDArray[np.float64], high: NDArray[np.float64], scene_shape: tuple[int, ...], margin: int = 2
) -> Box:
    """The box of whole pixels around a range of pixel coordinates, cut to the frame ``(h, w, ..)``."""
    left, top = (int(np.floor(v)) - margin for v in low)
    right, bottom = (int(np.ceil(v)) + margin for v in high)
    h, w = scene_shape[:2]
    return max(left, 0), max(top, 0), min(right, w), min(bottom, h)


def empty(box: Box) -> bool:
    """Whether a box holds no pixel."""
    return box[2] <= box[0] or box[3] <= box[1]


def union(patches: Sequence[Patch]) -> Box:
    """The box around patches; ``(0, 0, 0, 0)`` for none."""
    if not patches:
        return 0, 0, 0, 0
    boxes = np.array([p.box for p in patches])
    return int(boxes[:, 0].min()), int(boxes[:, 1].min()), int(boxes[:, 2].max()), int(boxes[:, 3].max())


def shrink(samples: NDArray[Any], n: int) -> Array:
    """Mean over blocks of n by n samples of an array ``(h n, w n)`` or ``(h n, w n, 3)``."""
    h, w = samples.shape[:2]
    return np.asarray(cv2.resize(samples.astype(np.float32), (w // n, h // n), interpolation=cv2.INTER_AREA))


def hidden_by(patch: Patch, *covers: Array) -> Patch:
    """The patch with the parts removed that frame-sized coverages hide."""
    left, top, right, bottom = patch.box
    keep = np.ones_like(patch.alpha)
    for cover in covers:
        keep *= 1 - cover[top:bottom, left:right]
    return replace(patch, alpha=patch.alpha * keep, rgb=patch.rgb * keep[..., None])


def apply(crop: Array, origin: tuple[int, int], patch: Patch, scene: Scene) -> None:
    """Lay one patch over a crop ``(h, w, 3)`` whose first pixel is ``origin`` (left, top), in place."""
    left, top, right, bottom = patch.box
    part = crop[top - origin[1] : bottom - origin[1], left - origin[0] : right - origin[0]]
    alpha = patch.alpha[..., None]
    if patch.kind == "over":
        part *= 1 - alpha
        part += patch.rgb
    elif patch.kind == "shade":
        part *= 1 - alpha
    else:
        view = slice(top, bottom), slice(left, right)
        part += scene.mirror[view][..., None] * (patch.rgb - alpha * scene.mirrored[view])


def composite(base: Array, exposures: Sequence[Sequence[Patch]], scene: Scene) -> Array:
    """A frame ``(h, w, 3)``: the mean over sub-exposures of the base with their patches laid over it in order."""
    box = union([p for patches in exposures for p in patches])
    out = base.copy()
    if empty(box):
        return out
    left, top, right, bottom = box
    total = np.zeros((bottom - top, right - left, 3), dtype=np.float32)
    for patches in exposures:
        crop = base[top:bottom, left:right].copy()
        for patch in patches:
            apply(crop, (left, top), patch, scene)
        total += crop
    out[top:bottom, left:right] = total / len(exposures)
    return out
