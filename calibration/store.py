"""The calibration file: where the camera of a clip is, as JSON that reads back to the same numbers."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from calibration import lane
from calibration.anchors import Anchors
from calibration.camera import PARAMETERS, Camera
from calibration.errors import CalibrationFileError
from calibration.reference import reference_data, reference_from
from calibration.solve import MarkResidual, Solution

Array = NDArray[np.float64]
T = TypeVar("T")

FORMAT = "sixtyfeet-calibration"
VERSION = 1
ROTATIONS_DEG = (0, 90, 180, 270)


@dataclass(frozen=True, slots=True, eq=False)
class Calibration:
    """Where the camera of a clip is, how well that is known and from what.

    Attributes
    ----------
    camera : Camera
        Camera of the upright frame.
    covariance : array of shape (9, 9)
        Of the camera's parameters in the order of :data:`calibration.camera.PARAMETERS`.
    rotation_deg : int
        Counter-clockwise turn (0, 90, 180, 270) that made the clip's stored pictures upright.
    clip : str
        File name of the clip the marks were set on, never a path.
    how : str
        Where the camera comes from: ``marks`` that somebody clicked, or ``found`` in the picture.
    marks_px : mapping of str to (float, float)
        The marks' pixels (u, v) in the upright frame.
    residuals : tuple of MarkResidual
        How far each mark is from where the camera puts it.
    rms_px : float
        Root mean square length of the residuals.
    arrow_centre_ft, arrow_centre_sd_ft, arrow_slope_ft, arrow_slope_sd_ft : float
        The arrows' chevron and its standard deviations; the prior where no arrow was marked.
    notes : tuple of str
        Sentences for a person.
    reference : Anchors or None
        Fixed windows of the picture the camera belongs to, by which a moved camera is noticed.
    neighbours_in : tuple of float
        How far to the right of this lane's middle those of the other lanes that were found lie, inches.
    verdict : str
        The finder's word, ``good`` or ``usable``; empty for marks.
    lane_doubtful : bool
        Nobody was clearly seen to bowl on this lane when it was found among several.
    version : int
        Version of the file's layout.
    """

    camera: Camera
    covariance: Array
    rotation_deg: int = 0
    clip: str = ""
    how: str = "marks"
    marks_px: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    residuals: tuple[MarkResidual, ...] = ()
    rms_px: float = 0.0
    arrow_centre_ft: float = lane.ARROW_CENTRE_FT
    arrow_centre_sd_ft: float = lane.ARROW_CENTRE_SD_FT
    arrow_slope_ft: float = lane.ARROW_SLOPE_FT
    arrow_slope_sd_ft: float = lane.ARROW_SLOPE_SD_FT
    notes: tuple[str, ...] = ()
    reference: Anchors | None = None
    neighbours_in: tuple[float, ...] = ()
    verdict: str = ""
    lane_doubtful: bool = False
    version: int = VERSION


def from_solution(
    solution: Solution,
    marks_px: Mapping[str, tuple[float, float]],
    *,
    clip: str = "",
    rotation_deg: int = 0,
    how: str = "marks",
) -> Calibration:
    """Calibration of a clip from a solved camera; ``clip`` is cut down to its file name."""
    return Calibration(
        camera=solution.camera,
        covariance=solution.covariance,
        rotation_deg=rotation_deg % 360,
        clip=Path(clip).name,
        how=how,
        marks_px={name: (float(u), float(v)) for name, (u, v) in sorted(marks_px.items())},
        residuals=solution.residuals,
        rms_px=solution.rms_px,
        arrow_centre_ft=solution.arrow_centre_ft,
        arrow_centre_sd_ft=solution.arrow_centre_sd_ft,
        arrow_slope_ft=solution.arrow_slope_ft,
        arrow_slope_sd_ft=solution.arrow_slope_sd_ft,
        notes=solution.notes,
    )


def check_frame(calibration: Calibration, width: int, height: int, rotation_deg: int) -> None:
    """Refuse a clip whose upright frame or rotation is not the calibration's.

    Raises
    ------
    CalibrationFileError
        If ``width``, ``height`` (upright, pixels) or ``rotation_deg`` (modulo 360) differ.
    """
    camera = calibration.camera
    if (width, height) != (camera.width, camera.height):
        msg = (
            f"calibration of {calibration.clip or 'another clip'} is for a {camera.width}x{camera.height} frame, "
            f"this clip is {width}x{height}; calibrate on a clip of the same size from the same place"
        )
        raise CalibrationFileError(msg)
    if rotation_deg % 360 != calibration.rotation_deg:
        msg = (
            f"calibration of {calibration.clip or 'another clip'} has the rotation {calibration.rotation_deg} "
            f"degrees, this clip has {rotation_deg % 360}; the phone was turned, calibrate again"
        )
        raise CalibrationFileError(msg)


def to_json(calibration: Calibration) -> str:
    """Write the calibration as JSON text: same calibration, same bytes, and every float reads back exactly."""
    camera = calibration.camera
    data: dict[str, Any] = {
        "format": FORMAT,
        "version": calibration.version,
        "clip": calibration.clip,
        "how": calibration.how,
        "frame": {"width": camera.width, "height": camera.height, "rotation_deg": calibration.rotation_deg},
        "camera": dict(zip(PARAMETERS, (float(v) for v in camera.vector), strict=True)),
        "covariance": [[float(v) for v in row] for row in calibration.covariance],
        "arrows": {
            "centre_ft": calibration.arrow_centre_ft,
            "centre_sd_ft": calibration.arrow_centre_sd_ft,
            "slope_ft": calibration.arrow_slope_ft,
            "slope_sd_ft": calibration.arrow_slope_sd_ft,
        },
        "rms_px": calibration.rms_px,
        "marks_px": {name: list(pixel) for name, pixel in calibration.marks_px.items()},
        "residuals": [_residual_data(r) for r in calibration.residuals],
        "notes": list(calibration.notes),
        "neighbours_in": list(calibration.neighbours_in),
        "verdict": calibration.verdict,
        "lane_doubtful": calibration.lane_doubtful,
    }
    if calibration.reference is not None:
        data["reference"] = reference_data(calibration.reference)
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _residual_data(residual: MarkResidual) -> dict[str, Any]:
    across = residual.across_boards if math.isfinite(residual.across_boards) else None
    return {
        "name": residual.name,
        "du_px": residual.du_px,
        "dv_px": residual.dv_px,
        "across_boards": across,
        "along_in": residual.along_in,
        "weight": residual.weight,
    }


def save(path: str | Path, calibration: Calibration) -> None:
    """Write the file; it appears whole or not at all.

    Raises
    ------
    CalibrationFileError
        If the file cannot be written.
    """
    target = Path(path)
    temporary = target.with_name(f".{target.name}.tmp-{os.getpid()}")
    try:
        temporary.write_bytes(to_json(calibration).encode("utf-8"))
        temporary.replace(target)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        msg = f"{target.name}: cannot write the calibration ({error}); check that the folder exists and is writable"
        raise CalibrationFileError(msg) from error


def load(path: str | Path) -> Calibration:
    """Read a calibration file.

    Raises
    ------
    CalibrationFileError
        If the file cannot be read, is of another kind or version, or something in it is missing or impossible.
    """
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        msg = f"{file.name}: cannot read the calibration ({error}); check the path"
        raise CalibrationFileError(msg) from error
    return from_json(text, file.name)


def from_json(text: str, where: str = "calibration") -> Calibration:
    """Calibration of a JSON text; ``where`` begins every message.

    Raises
    ------
    CalibrationFileError
        See :func:`load`.
    """
    try:
        data = json.loads(text)
    except json.JSONDecodeError as error:
        msg = f"{where}: not JSON, line {error.lineno} column {error.colno}: {error.msg}; calibrate again"
        raise CalibrationFileError(msg) from error
    if not isinstance(data, Mapping) or data.get("format") != FORMAT:
        msg = f"{where}: not a calibration file (no format {FORMAT!r} in it); give the file that `calibrate` wrote"
        raise CalibrationFileError(msg)
    if data.get("version") != VERSION:
        msg = f"{where}: layout version {data.get('version')!r}, this program reads {VERSION}; calibrate again"
        raise CalibrationFileError(msg)
    return _calibration(_Reader(data, where))


@dataclass(frozen=True, slots=True)
class _Reader:
    """Typed access to a JSON object; every complaint says where, which key, what was found."""

    data: Mapping[str, Any]
    where: str

    def get(self, key: str, check: Callable[[Any], T | None], expected: str) -> T:
        found = self.data.get(key)
        result = check(found)
        if result is None:
            msg = f"{self.where}: {key} must be {expected}, found {found!r}; calibrate again or repair the file"
            raise CalibrationFileError(msg)
        return result

    def number(self, key: str) -> float:
        return self.get(key, _number, "a finite number")

    def size(self, key: str) -> int:
        return self.get(key, _size, "a positive whole number")

    def text(self, key: str) -> str:
        return self.get(key, lambda v: v if isinstance(v, str) else None, "text")

    def inner(self, key: str) -> _Reader:
        found = self.get(key, lambda v: v if isinstance(v, Mapping) else None, "an object")
        return _Reader(found, f"{self.where}: {key}")

    def each(self, key: str) -> list[_Reader]:
        items = self.get(key, _objects, "a list of objects")
        return [_Reader(item, f"{self.where}: {key}[{i}]") for i, item in enumerate(items)]


def _calibration(reader: _Reader) -> Calibration:
    frame, arrows = reader.inner("frame"), reader.inner("arrows")
    camera = reader.inner("camera")
    values = [camera.number(name) for name in PARAMETERS]
    camera.get("f_px", lambda v: v if v > 0 else None, "a positive number")
    camera.get("z_in", lambda v: v if v > 0 else None, "a positive height above the lane")
    place = Camera.from_vector(values, frame.size("width"), frame.size("height"))
    return Calibration(
        camera=place,
        covariance=reader.get("covariance", _covariance, "a symmetric 9x9 matrix without negative variance"),
        rotation_deg=frame.get("rotation_deg", _rotation, "0, 90, 180 or 270"),
        clip=reader.text("clip"),
        how=reader.text("how"),
        marks_px=reader.get("marks_px", _marks, "an object of names and pixels [u, v]"),
        residuals=tuple(_residual(r) for r in reader.each("residuals")),
        rms_px=reader.number("rms_px"),
        arrow_centre_ft=arrows.number("centre_ft"),
        arrow_centre_sd_ft=arrows.number("centre_sd_ft"),
        arrow_slope_ft=arrows.number("slope_ft"),
        arrow_slope_sd_ft=arrows.number("slope_sd_ft"),
        notes=tuple(reader.get("notes", _texts, "a list of texts")),
        reference=_reference(reader, place),
        neighbours_in=tuple(reader.get("neighbours_in", _numbers, "a list of finite numbers"))
        if "neighbours_in" in reader.data
        else (),
        verdict=reader.text("verdict") if "verdict" in reader.data else "",
        lane_doubtful=reader.data.get("lane_doubtful") is True,
    )


def _reference(reader: _Reader, camera: Camera) -> Anchors | None:
    """Windows of the file; files of before there were any, or written by hand, have none."""
    if "reference" not in reader.data:
        return None
    return reference_from(reader.inner("reference").data, camera, reader.where)


def _residual(reader: _Reader) -> MarkResidual:
    across, along = reader.data.get("across_boards"), reader.data.get("along_in")
    return MarkResidual(
        name=reader.text("name"),
        du_px=reader.number("du_px"),
        dv_px=reader.number("dv_px"),
        across_boards=float("nan") if across is None else reader.number("across_boards"),
        along_in=None if along is None else reader.number("along_in"),
        weight=reader.number("weight"),
    )


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value)


def _size(value: object) -> int | None:
    return value if isinstance(value, int) and not isinstance(value, bool) and value > 0 else None


def _rotation(value: object) -> int | None:
    return value if isinstance(value, int) and not isinstance(value, bool) and value in ROTATIONS_DEG else None


def _objects(value: object) -> list[Mapping[str, Any]] | None:
    return value if isinstance(value, list) and all(isinstance(v, Mapping) for v in value) else None


def _numbers(value: object) -> list[float] | None:
    found = [_number(v) for v in value] if isinstance(value, list) else [None]
    return None if None in found else [float(v) for v in found if v is not None]


def _texts(value: object) -> list[str] | None:
    return value if isinstance(value, list) and all(isinstance(v, str) for v in value) else None


def _marks(value: object) -> dict[str, tuple[float, float]] | None:
    if not isinstance(value, Mapping):
        return None
    pairs = {str(name): _pair(pixel) for name, pixel in value.items()}
    return {name: pair for name, pair in pairs.items() if pair} if all(pairs.values()) else None


def _pair(value: object) -> tuple[float, float] | None:
    if not isinstance(value, list) or len(value) != 2:
        return None
    u, v = (_number(c) for c in value)
    return None if u is None or v is None else (u, v)


def _covariance(value: object) -> Array | None:
    """Matrix ``(9, 9)``, symmetric within rounding, no eigenvalue of its correlations clearly below 0."""
    rows = value if isinstance(value, list) else []
    if len(rows) != 9 or not all(isinstance(row, list) and len(row) == 9 for row in rows):
        return None
    if any(_number(v) is None for row in rows for v in row):
        return None
    matrix = np.array(rows, dtype=np.float64)
    sd = np.sqrt(np.maximum(np.diag(matrix), 0.0))
    scale = np.outer(np.where(sd > 0, sd, 1.0), np.where(sd > 0, sd, 1.0))
    correlation = matrix / scale
    if np.any(np.diag(matrix) < 0) or np.abs(correlation - correlation.T).max() > 1e-6:
        return None
    return matrix if np.linalg.eigvalsh(correlation).min() > -1e-6 else None
