"""The lane in outside clips, from a few stills alone, beside the camera that made them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from house_runs import ALONG_FT, misses, sigma_of

from calibration.camera import Camera
from calibration.errors import Failure
from calibration.find import FoundLane, find_lanes
from calibration.steady import view_motion
from tracker.lane.clean import aligned, clean_picture
from tracker.video.stills import read_stills

pytestmark = pytest.mark.shared


def truth_of(path: Path) -> Camera:
    """Camera of a truth file: place and point aimed at; the roll's sign is the one that puts the ball on its pixels."""
    told = json.loads(path.read_text(encoding="utf-8"))
    camera = told["camera"]
    place = np.array(camera["pos"], dtype=float)
    aim = np.array(camera["aim"], dtype=float) - place
    yaw, pitch = np.degrees([np.arctan2(aim[0], aim[1]), np.arctan2(-aim[2], np.hypot(aim[0], aim[1]))])
    frames = [f for f in told["frames"] if f.get("px")]
    xyz, pixels = (np.array([f[key] for f in frames], dtype=float) for key in ("xyz", "px"))
    made = [
        Camera.from_vector((*place, yaw, pitch, sign * camera.get("roll", 0.0), camera["f"], camera["k1"], 1.0), *size)
        for sign in (1.0, -1.0)
        for size in [(camera["w"], camera["h"])]
    ]
    return min(made, key=lambda c: float(np.nanmean(np.hypot(*(c.project(xyz) - pixels).T))))


def found(folder: Path, name: str) -> tuple[FoundLane, Camera]:
    stills = read_stills(folder / f"{name}.mp4")
    motion = view_motion([p.luma for p in stills.pictures])
    assert not isinstance(motion, Failure)
    clean = clean_picture(aligned(stills, motion.shifts_px))
    truth = truth_of(folder / f"{name}.truth.json")
    search = find_lanes(clean.luma, clean.doubt)
    return next(lane for lane in search.lanes if abs(lane.camera.x_in - truth.x_in) < 12.0), truth


@pytest.mark.parametrize("name", ["DA1", "DB1"])
def test_lane_of_a_clear_clip_lies_within_the_bounds(name, shared_clips):
    lane, truth = found(shared_clips, name)
    across, along = misses(lane.camera, truth)
    assert lane.verdict == "good"
    assert np.abs(across).max() < 0.15
    assert np.all(np.abs(along) < ALONG_FT[:, None])


@pytest.mark.parametrize("name", ["DC1", "DD1"])
def test_lane_of_a_poor_clip_is_as_uncertain_as_it_says(name, shared_clips):
    lane, truth = found(shared_clips, name)
    across, along = misses(lane.camera, truth)
    assert lane.verdict in ("good", "usable")
    off = np.abs(np.stack([across[:, 1], along[:, 1]], axis=1)) / sigma_of(lane)
    assert off.max() < 2.0
    assert np.abs(across[:, 1]).max() < 0.15
