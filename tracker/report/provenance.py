"""Where numbers come from: versions, settings, hashes, clip and camera, free of paths and of the time of day."""

from __future__ import annotations

import dataclasses
import math
import platform
from collections.abc import Mapping, Sequence
from importlib import metadata
from pathlib import PurePath, PurePosixPath, PureWindowsPath
from typing import Any

import numpy as np

from calibration.camera import PARAMETERS
from calibration.store import Calibration
from tracker.version import VERSION
from tracker.video.facts import ClipFacts

LIBRARIES = {"numpy": "numpy", "opencv": "opencv-python-headless", "av": "av", "scipy": "scipy", "filterpy": "filterpy"}


def tool_versions() -> dict[str, str]:
    """Versions of this program, the interpreter, the libraries and the decoder, by name."""
    import av  # noqa: PLC0415  # only this needs the decoder loaded

    found = {name: _version(distribution) for name, distribution in LIBRARIES.items()}
    libav = {name: ".".join(map(str, number)) for name, number in sorted(av.library_versions.items())}
    return {"sixtyfeet": VERSION, "python": platform.python_version(), **found, **libav}


def clip_provenance(
    base: Mapping[str, Any], *, facts: ClipFacts | None = None, calibration: Calibration | None = None
) -> dict[str, Any]:
    """Join what a batch knows (versions, settings, hashes) with the clip's facts and the calibration's summary."""
    joined = dict(base)
    if facts is not None:
        joined["clip_facts"] = dataclasses.asdict(facts)
    if calibration is not None:
        joined["calibration"] = calibration_summary(calibration)
    return joined


def calibration_summary(calibration: Calibration) -> dict[str, Any]:
    """Camera parameters with standard uncertainties, and from what they were found."""
    sigma = np.sqrt(np.maximum(np.diag(calibration.covariance), 0.0))
    values = dict(zip(PARAMETERS, calibration.camera.vector, strict=True))
    return {
        "how": calibration.how,
        "clip": calibration.clip,
        "camera": {name: {"value": value, "u": u} for (name, value), u in zip(values.items(), sigma, strict=True)},
        "width": calibration.camera.width,
        "height": calibration.camera.height,
        "rotation_deg": calibration.rotation_deg,
        "marks": len(calibration.marks_px),
        "rms_px": calibration.rms_px,
        "notes": list(calibration.notes),
    }


def as_json(value: Any) -> Any:
    """Plain JSON value of nested results: numpy and dataclasses undone, no NaN, nothing that is an absolute path."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return as_json(dataclasses.asdict(value))
    if isinstance(value, Mapping):
        return {str(key): as_json(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return as_json(value.tolist())
    if isinstance(value, str | PurePath):
        return _without_folders(value)
    if isinstance(value, Sequence | set | frozenset):
        items = value if isinstance(value, Sequence) else sorted(value, key=str)
        return [as_json(item) for item in items]
    return _number(value)


def _number(value: Any) -> Any:
    plain = value.item() if isinstance(value, np.generic) else value
    if isinstance(plain, float):
        return round(plain, 9) if math.isfinite(plain) else None
    return plain if plain is None or isinstance(plain, bool | int) else str(plain)


def _without_folders(value: str | PurePath) -> str:
    text = str(value)
    for kind in (PurePosixPath, PureWindowsPath):
        if kind(text).is_absolute():
            return kind(text).name
    return text


def _version(distribution: str) -> str:
    try:
        return metadata.version(distribution)
    except metadata.PackageNotFoundError:
        return "not installed"
