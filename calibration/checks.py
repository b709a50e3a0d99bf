"""Why marks cannot give a camera: the reasons, as values."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calibration import lane
from calibration.camera import Camera
from calibration.errors import Failure
from calibration.observations import ArrowPoint, EdgePoint, LanePoint, Observed
from calibration.quality import lane_sigma

Array = NDArray[np.float64]

SET_ASIDE_WEIGHT = 0.3
"""Below this weight a mark is named to the user."""

_EQUATIONS_MIN = 10
_ORDER_SLACK_PX = 3.0
_COLLINEAR_PX = 4.0
_OUTLYING_SIGMAS = 5.0
_OUTLYING_SHARE = 0.25
_TYPICAL_SIGMAS = 2.5
_SPARE_EQUATIONS = 3
_UNDETERMINED_BOARDS = 2.0
_UNDETERMINED_FT = 5.0


def too_few(observed: Observed) -> Failure | None:
    """``marks_too_few`` when a side, the foul line or a far distance is missing, or there are too few equations."""
    missing = [
        f"a point on the {side} edge ({side}_edge_1 or foul_{side})"
        for side in ("left", "right")
        if not any(e.side == side for e in observed.edges) and not _has_corner(observed, side)
    ]
    if not any(p.xyz_in[1] == 0 for p in observed.points) and observed.edge_along.all():
        missing.append("a corner of the foul line (foul_left or foul_right)")
    if not any(p.xyz_in[1] > 0 for p in observed.points) and not observed.arrows:
        missing.append("a distance down the lane (pin bases, best pin_1_base, pin_7_base, pin_10_base)")
    equations = int(observed.dimensions.sum()) - len(observed.arrows)
    if not missing and equations >= _EQUATIONS_MIN:
        return None
    if not missing:
        missing.append("more points on both edges and more pin bases")
    count = len(observed.names)
    marks = "1 mark" if count == 1 else f"{count} marks"
    return Failure("marks_too_few", f"{marks} do not fix the camera; still needed: {'; '.join(missing)}")


def _has_corner(observed: Observed, side: str) -> bool:
    half = lane.LANE_WIDTH_IN / 2 * (-1 if side == "left" else 1)
    return any(p.xyz_in[0] == half for p in observed.points)


def degenerate(observed: Observed) -> Failure | None:
    """``marks_degenerate`` when the marks lie on one line of the picture or hardly apart."""
    pixels = observed.pixels
    spread = np.linalg.svd(pixels - pixels.mean(axis=0), compute_uv=False) / np.sqrt(len(pixels))
    if spread[1] >= _COLLINEAR_PX:
        return None
    detail = (
        f"all {len(pixels)} marks lie within {spread[1]:.1f} px of one line of the picture; "
        "that does not fix the camera, mark both edges, the foul line and the pins"
    )
    return Failure("marks_degenerate", detail)


def mirrored(observed: Observed) -> Failure | None:
    """``marks_mirrored`` when left marks of the lane lie right in the picture, or far ones below near ones."""
    sideways = [*_point_swaps(observed), *_edge_swaps(observed)]
    below = _upside_down(observed)
    if below:
        detail = f"{below[0]} lies below {below[1]} in the picture: turn it the right way up, or rename these marks"
        return Failure("marks_mirrored", detail)
    if sideways:
        pairs = ", ".join(f"{a} and {b}" for a, b in sideways[:4])
        detail = (
            f"left and right are exchanged between {pairs}; arrows and boards count from the right. Click them again"
        )
        return Failure("marks_mirrored", detail)
    return None


def _rows(observed: Observed) -> list[list[tuple[float, str, Array]]]:
    """Points that stand side by side: corners, arrows, pins of one row, each as (x, name, pixel)."""
    rows: dict[float, list[tuple[float, str, Array]]] = {}
    everything: list[LanePoint | ArrowPoint] = [*observed.points, *observed.arrows]
    for point, xyz, pixel in zip(everything, observed.point_xyz_in, observed.point_px, strict=True):
        key = float(xyz[1]) if isinstance(point, LanePoint) else -1.0
        rows.setdefault(key, []).append((float(xyz[0]), point.name, pixel))
    return list(rows.values())


def _point_swaps(observed: Observed) -> list[tuple[str, str]]:
    swaps = []
    for row in _rows(observed):
        for (_, left, p), (_, right, q) in itertools.pairwise(sorted(row, key=lambda item: item[:2])):
            if p[0] > q[0] + _ORDER_SLACK_PX:
                swaps.append((left, right))
    return swaps


def _edge_swaps(observed: Observed) -> list[tuple[str, str]]:
    """Pairs of a left and a right edge point of about the same height of the picture, left one lying right."""
    left = [e for e in observed.edges if e.side == "left"]
    right = [e for e in observed.edges if e.side == "right"]
    if not left or not right:
        return []
    near = [(a, min(right, key=lambda b: abs(b.v_px - a.v_px))) for a in left]
    return [(a.name, b.name) for a, b in near if abs(a.v_px - b.v_px) < 30 and a.u_px > b.u_px + _ORDER_SLACK_PX]


def _upside_down(observed: Observed) -> tuple[str, str] | None:
    """Find a far mark and a near one with the far one lower in the picture by more than the foul line's own slant."""
    near: list[LanePoint | EdgePoint] = [p for p in observed.points if p.xyz_in[1] == 0]
    near += [e for e in observed.edges if e.side == "foul"]
    far: list[LanePoint | ArrowPoint] = [*observed.arrows, *(p for p in observed.points if p.xyz_in[1] > 0)]
    slack = 0.3 * abs(near[0].u_px - near[-1].u_px) + _ORDER_SLACK_PX
    for f, n in itertools.product(far, near):
        if f.v_px > n.v_px + slack:
            return f.name, n.name
    return None


def disagree(observed: Observed, squares: Array) -> bool:
    """Whether marks with these squared misfits (sigmas) disagree more than single bad clicks can explain."""
    size = np.sqrt(squares / observed.dimensions)
    outlying = size > _OUTLYING_SIGMAS
    spare = int(observed.dimensions[~outlying].sum()) - 9 - 2 * bool(observed.arrows)
    few_left = bool(outlying.any()) and spare < _SPARE_EQUATIONS
    many = outlying.sum() > max(1.0, _OUTLYING_SHARE * len(size))
    return bool(many or few_left or np.median(size) > _TYPICAL_SIGMAS)


def contradictory(name: str, offset_px: float, boards: float) -> Failure:
    """``marks_contradictory``, naming the mark that fits the others least."""
    where = f" ({abs(boards):.1f} boards)" if np.isfinite(boards) else ""
    place = f"{name} is {offset_px:.1f} px{where} from where the others put it"
    detail = f"the marks contradict each other; {place}. Click it again"
    return Failure("marks_contradictory", detail)


def no_start() -> Failure:
    """``marks_degenerate`` when no camera above the lane explains the marks even roughly."""
    detail = "no camera above the lane fits the marks even roughly; check the names and that the frame is upright"
    return Failure("marks_degenerate", detail)


def implausible(camera: Camera) -> Failure | None:
    """``camera_implausible`` when the fit ends at a camera nobody would set up."""
    larger = max(camera.width, camera.height)
    limits: Sequence[tuple[str, float, float, float, str]] = (
        ("height above the lane", camera.z_in / 12, 1.5, 14.0, "ft"),
        ("distance behind the foul line", -camera.y_in / 12, 1.0, 60.0, "ft"),
        ("distance to the side", abs(camera.x_in) / 12, 0.0, 15.0, "ft"),
        ("roll", abs(camera.roll_deg), 0.0, 20.0, "deg"),
        ("focal length", camera.f_px / larger, 0.35, 6.0, "frame sides"),
        ("lens distortion k1", abs(camera.k1), 0.0, 0.35, ""),
    )
    for what, value, low, high, unit in limits:
        if not low <= value <= high:
            found = f"the marks give a {what} of {value:.2f} {unit}, outside {low:g} to {high:g}"
            detail = f"{found}; check the marks' names and the frame's size"
            return Failure("camera_implausible", detail)
    return None


def undetermined(camera: Camera, covariance: Array) -> Failure | None:
    """``marks_degenerate`` when the marks leave a point at 40 ft uncertain beyond use."""
    boards, feet = lane_sigma(camera, covariance, 40.0)
    if boards <= _UNDETERMINED_BOARDS and feet <= _UNDETERMINED_FT:
        return None
    detail = (
        f"the marks leave a point at 40 ft uncertain by {boards:.1f} boards and {feet:.1f} ft; "
        "add marks at the far end (pin bases) and along both edges"
    )
    return Failure("marks_degenerate", detail)
