"""From a clip to the calibration of the bowler's lane: stills, a clean picture, its lanes, and which one is his."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.anchors import choose_anchors
from calibration.errors import Failure
from calibration.find import FoundLane, LaneSearch, find_lanes
from calibration.steady import view_motion
from calibration.store import Calibration, from_solution
from tracker.lane.choose import choose_lane, lane_at
from tracker.lane.clean import CleanPicture, aligned, clean_picture
from tracker.video.light import evened
from tracker.video.stills import Stills, read_stills

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Located:
    """The lane of a clip.

    Attributes
    ----------
    calibration : Calibration
        Camera in that lane's frame, with its reference windows.
    lane : FoundLane
        What the finder found of it.
    clean : CleanPicture
        The picture it was found in.
    others_px : tuple of (int, int)
        Pixels on further lanes in view that could be measured on.
    """

    calibration: Calibration
    lane: FoundLane
    clean: CleanPicture
    others_px: tuple[tuple[int, int], ...]


def locate(path: Path, pixel: tuple[float, float] | None = None) -> Located | Failure:
    """Find the lane of a clip.

    Parameters
    ----------
    path : Path
        The clip.
    pixel : (float, float), optional
        A pixel (u, v) of the upright frame on the lane to take.

    Returns
    -------
    Located or Failure
        Reasons: those of :func:`calibration.steady.view_motion` and :func:`calibration.find.find_lanes`, and
        ``lane_not_there``.

    Raises
    ------
    ClipError
        If the clip cannot be read.
    """
    stills = read_stills(path)
    stills = replace(stills, pictures=evened(stills.pictures))
    motion = view_motion([p.luma for p in stills.pictures])
    if isinstance(motion, Failure):
        return _of(path, motion)
    stills = aligned(stills, motion.shifts_px)
    clean = clean_picture(stills)
    found = find_lanes(clean.luma, clean.doubt)
    if found.failure is not None:
        return _of(path, found.failure)
    return _chosen(path, found, clean, stills=stills, pixel=pixel)


def _of(path: Path, failure: Failure) -> Failure:
    return Failure(failure.reason, f"{path.name}: {failure.detail}")


def _chosen(
    path: Path, found: LaneSearch, clean: CleanPicture, *, stills: Stills, pixel: tuple[float, float] | None
) -> Located | Failure:
    everything = (*found.lanes, *found.refused)
    cameras = [lane.camera for lane in everything]
    choice = choose_lane(cameras, clean, stills)
    index: int | None = choice.index if pixel is None else lane_at(cameras, pixel)
    if index is None:
        return Failure("lane_not_there", f"{path.name}: {_no_lane_at(pixel, _middles_px(found))}")
    lane = everything[index]
    if lane.failure is not None:
        return _of(path, lane.failure)
    ambiguous = pixel is None and choice.ambiguous and len(everything) > 1
    neighbours = tuple(sorted(lane.camera.x_in - camera.x_in for k, camera in enumerate(cameras) if k != index))
    calibration = replace(
        from_solution(lane.solution, lane.marks_px(), clip=path.name, rotation_deg=stills.rotation_deg, how="found"),
        reference=choose_anchors(clean.luma, lane.camera, spread=clean.spread),
        neighbours_in=neighbours,
        verdict=lane.verdict,
        lane_doubtful=ambiguous,
    )
    others = tuple(place for one, place in zip(found.lanes, _middles_px(found), strict=True) if one is not lane)
    return Located(calibration, lane, clean, others_px=others)


def _middles_px(found: LaneSearch) -> list[tuple[int, int]]:
    """Pixels of the middle of every lane found, 20 ft down-lane."""
    at = [lane.camera.project((0.0, 240.0, 0.0)) for lane in found.lanes]
    return [(round(float(u)), round(float(v))) for u, v in at]


def _no_lane_at(pixel: tuple[float, float] | None, places: list[tuple[int, int]]) -> str:
    u, v = pixel or (0.0, 0.0)
    listed = ", ".join(f"{a},{b}" for a, b in places)
    return f"no lane was found at {u:g},{v:g}; lanes found lie at {listed}: give --lane-at one of these"
