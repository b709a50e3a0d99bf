"""A reference picture's windows as JSON values: what a calibration file keeps to notice that the camera has moved."""

from __future__ import annotations

import base64
import math
import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.anchors import COARSE_HALF_PX, FINE_SIGMA_PX, FINE_STEP_PX, WIDE_SIGMA_PX, WIDE_STEP_PX, Anchors
from calibration.camera import Camera
from calibration.errors import CalibrationFileError
from calibration.windows import MARGIN_PX, make_template

MAX_BYTES = 4_000_000
"""More pixels than this no reference has."""


def reference_data(anchors: Anchors) -> dict[str, Any]:
    """Windows as JSON values; the camera is not among them."""
    return {
        "half_px": anchors.half_px,
        "centres": anchors.centres.tolist(),
        "worth": anchors.worth.tolist(),
        "blocks": _packed(anchors.blocks),
        "coarse": _packed(anchors.coarse),
        "coarse_factor": anchors.coarse_factor,
        "coarse_centres": anchors.coarse_centres.tolist(),
    }


def reference_from(data: Mapping[str, Any], camera: Camera, where: str = "reference") -> Anchors:
    """Windows of JSON values, for the camera of the same picture; ``where`` begins every message.

    Raises
    ------
    CalibrationFileError
        If something is missing or does not fit together.
    """
    try:
        half = int(data["half_px"])
        blocks, coarse = _unpacked(data["blocks"], 3), _unpacked(data["coarse"], 2)
        centres, coarse_centres = (
            np.array(data[name], dtype=np.intp).reshape(-1, 2) for name in ("centres", "coarse_centres")
        )
        worth = np.array(data["worth"], dtype=np.float64)
        factor = int(data["coarse_factor"])
        _check(blocks, centres, worth, half=half)
        _check_places(centres, half + MARGIN_PX, (camera.height, camera.width))
        _check_coarse(coarse, factor, camera)
        _check_places(coarse_centres, COARSE_HALF_PX, coarse.shape)
        wide = make_template(blocks, half, WIDE_STEP_PX, WIDE_SIGMA_PX)
        fine = make_template(blocks, half, FINE_STEP_PX, FINE_SIGMA_PX)
    except (KeyError, TypeError, ValueError, OverflowError, zlib.error) as error:
        msg = f"{where}: the reference windows are damaged ({error}); calibrate again"
        raise CalibrationFileError(msg) from error
    return Anchors(
        camera, centres, worth, half, blocks=blocks, wide=wide, fine=fine,
        coarse=coarse, coarse_factor=factor, coarse_centres=coarse_centres,
    )  # fmt: skip


def _packed(pixels: NDArray[np.uint8]) -> dict[str, Any]:
    squeezed = zlib.compress(np.ascontiguousarray(pixels).tobytes(), 6)
    return {"shape": list(pixels.shape), "zlib_base64": base64.b64encode(squeezed).decode("ascii")}


def _unpacked(data: Mapping[str, Any], dimensions: int) -> NDArray[np.uint8]:
    shape = tuple(int(n) for n in data["shape"])
    size = math.prod(shape)
    if len(shape) != dimensions or min(shape) < 1 or size > MAX_BYTES:
        msg = f"a picture of shape {shape}"
        raise ValueError(msg)
    raw = zlib.decompressobj().decompress(base64.b64decode(data["zlib_base64"], validate=True), size)
    return np.frombuffer(raw, np.uint8).reshape(shape)


def _check(blocks: NDArray[Any], centres: NDArray[Any], worth: NDArray[Any], *, half: int) -> None:
    if len(blocks) != len(centres) or worth.shape != (len(centres),) or blocks.shape[1] != blocks.shape[2]:
        msg = f"{len(blocks)} windows for {len(centres)} places"
        raise ValueError(msg)
    if half < 1 or blocks.shape[1] != 2 * (half + MARGIN_PX) + 1:
        msg = f"windows of {blocks.shape[1]} pixels for a half of {half}"
        raise ValueError(msg)
    if not np.isfinite(worth).all():
        msg = "worth is not finite"
        raise ValueError(msg)


def _check_coarse(coarse: NDArray[Any], factor: int, camera: Camera) -> None:
    if factor < 1 or coarse.shape != (camera.height // factor, camera.width // factor):
        msg = f"a small picture of shape {coarse.shape}, {factor} times smaller than the frame"
        raise ValueError(msg)


def _check_places(centres: NDArray[np.intp], border: int, shape: tuple[int, ...]) -> None:
    last = np.array([shape[1], shape[0]]) - 1 - border
    if not ((centres >= border) & (centres <= last)).all():
        msg = f"a window outside its picture of shape {tuple(shape)}"
        raise ValueError(msg)
