"""Clicked marks: their names, the marks file, and what each mark says about the camera."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from calibration import lane
from calibration.errors import CalibrationFileError
from calibration.observations import ArrowPoint, EdgePoint, LanePoint, Observation

CLICK_SIGMA_PX = 1.0
"""Standard deviation of a careful click in u and in v; single clicks may be several pixels off."""

KNOWN_NAMES = (
    "foul_left, foul_right, arrow_1 .. arrow_7, pin_1_base .. pin_10_base, left_edge_K, right_edge_K (K = 1, 2, ..)"
)

_ARROW = re.compile(r"arrow_([1-7])")
_PIN = re.compile(r"pin_([1-9]|10)_base")
_EDGE = re.compile(r"(left|right)_edge_([0-9]+)")


@dataclass(frozen=True, slots=True)
class Marks:
    """Marks clicked on one upright frame.

    Attributes
    ----------
    width, height : int
        Size of the upright frame in pixels.
    marks_px : mapping of str to (float, float)
        Pixel (u, v) of each mark by name, pixel centres at +0.5.
    """

    width: int
    height: int
    marks_px: Mapping[str, tuple[float, float]]


def observe_mark(name: str, pixel: tuple[float, float], sigma_px: float = CLICK_SIGMA_PX) -> Observation:
    """Tell what a mark of this name at this pixel (u, v) says.

    Raises
    ------
    CalibrationFileError
        If the name is not one of :data:`KNOWN_NAMES`.
    """
    u, v = pixel
    half = lane.LANE_WIDTH_IN / 2
    if name in {"foul_left", "foul_right"}:
        return LanePoint(name, (-half if name == "foul_left" else half, 0.0, 0.0), u, v, sigma_px)
    if found := _ARROW.fullmatch(name):
        return ArrowPoint(name, float(lane.ARROW_BOARDS[int(found[1]) - 1]), u, v, sigma_px)
    if found := _PIN.fullmatch(name):
        x, y = (float(c) for c in lane.pin_positions()[int(found[1]) - 1])
        base = lane.PIN_BASE_RADIUS_IN
        return LanePoint(name, (x, y, 0.0), u, v, sigma_px, true_inches=True, front_radius_in=base)
    if found := _EDGE.fullmatch(name):
        side: Literal["left", "right"] = "left" if found[1] == "left" else "right"
        return EdgePoint(side, u, v, sigma_px, name)
    msg = f"marks: unknown mark {name!r}; known names are {KNOWN_NAMES}. Rename or remove it"
    raise CalibrationFileError(msg)


def observe_marks(
    marks: Mapping[str, tuple[float, float]], sigma_px: float = CLICK_SIGMA_PX
) -> tuple[Observation, ...]:
    """Tell what marks ``{name: (u, v)}`` say, in the order of their names (so the order in a file does not matter)."""
    return tuple(observe_mark(name, marks[name], sigma_px) for name in sorted(marks))


def read_marks(path: str | Path) -> Marks:
    """Read a marks file: JSON with ``width``, ``height`` and ``marks_px`` ``{name: [u, v]}``.

    Raises
    ------
    CalibrationFileError
        If the file cannot be read, is no JSON, or something in it is missing, misnamed or outside the frame.
    """
    file = Path(path)
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        msg = f"{file.name}: cannot read the marks file ({error}); check the path"
        raise CalibrationFileError(msg) from error
    except json.JSONDecodeError as error:
        msg = f"{file.name}: not JSON, line {error.lineno} column {error.colno}: {error.msg}; save the marks again"
        raise CalibrationFileError(msg) from error
    return parse_marks(data, file.name)


def parse_marks(data: object, where: str = "marks") -> Marks:
    """Check the content of a marks file; ``where`` begins every message.

    Raises
    ------
    CalibrationFileError
        See :func:`read_marks`.
    """
    if not isinstance(data, Mapping):
        msg = f"{where}: expected an object with width, height and marks_px, found {type(data).__name__}"
        raise CalibrationFileError(msg)
    width, height = (_size(data.get(key), f"{where}: {key}") for key in ("width", "height"))
    marks = data.get("marks_px")
    if not isinstance(marks, Mapping) or not marks:
        msg = f"{where}: marks_px must be an object of mark names and pixels [x, y], found {marks!r}"
        raise CalibrationFileError(msg)
    return Marks(width, height, {str(n): _pixel(str(n), p, (width, height), where) for n, p in marks.items()})


def _size(value: object, what: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value <= 0:
        msg = f"{what} must be a positive whole number of pixels, found {value!r}; write the upright frame's size"
        raise CalibrationFileError(msg)
    return value


def _pixel(name: str, value: object, size: tuple[int, int], where: str) -> tuple[float, float]:
    """One mark's pixel, checked for name, form and frame."""
    pair = value if isinstance(value, list | tuple) else ()
    if len(pair) != 2 or not all(_is_number(c) for c in pair):
        msg = f"{where}: mark {name!r} must be two numbers [x, y] in pixels, found {value!r}"
        raise CalibrationFileError(msg)
    u, v = float(pair[0]), float(pair[1])
    try:
        observe_mark(name, (u, v))
    except CalibrationFileError as error:
        msg = f"{where}: {error}"
        raise CalibrationFileError(msg) from error
    if not (0 <= u <= size[0] and 0 <= v <= size[1]):
        frame = f"{size[0]}x{size[1]}"
        msg = f"{where}: mark {name!r} at ({u:g}, {v:g}) lies outside the {frame} frame; is the frame upright?"
        raise CalibrationFileError(msg)
    return u, v


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
