"""Crops that hold still: untouched while the view rests, moved back when it does not."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from stands import held
from warped import shifted, warped_clip

from calibration.camera import Camera
from calibration.store import Calibration
from tracker.detection.region import Box
from tracker.lane import follow
from tracker.lane.hold import Holder
from tracker.video.reader import ClipReader

MEDIA = Path(__file__).resolve().parents[2] / "sample_media"
CLIP = MEDIA / "practice-1.mp4"
BOX = Box(560, 180, 240, 420)


@pytest.fixture(scope="module")
def camera() -> Camera:
    c = json.loads((MEDIA / "practice-1.truth.json").read_text(encoding="utf-8"))["camera"]
    return Camera(
        *c["position_in"], c["yaw_deg"], c["pitch_deg"], c["roll_deg"], f_px=c["f_px"], k1=c["k1"], width_scale=1.0,
        width=c["width"], height=c["height"],
    )  # fmt: skip


def handed_on(clip: Path, camera: Camera, count: int = 40):
    with ClipReader(clip) as reader:
        holder = Holder(camera, reader.first_frame)
        pairs = []
        for frame, _ in zip(reader, range(count), strict=False):
            pairs.append((frame.crop(BOX.left, BOX.top, BOX.width, BOX.height), held(holder, frame, BOX)))
        return holder, pairs


def test_a_resting_view_is_handed_on_byte_by_byte_and_costs_no_registration(camera, monkeypatch):
    monkeypatch.setattr(follow, "register", lambda *_: pytest.fail("a resting view was registered"))
    holder, pairs = handed_on(CLIP, camera)
    assert all(np.array_equal(plain.luma, crop.luma) and np.array_equal(plain.cb, crop.cb) for plain, crop in pairs)
    assert not holder.corrected
    assert holder.failure() is None
    calibration = Calibration(camera, np.eye(9) * 1e-6)
    assert holder.widened(calibration) is calibration


def test_a_moved_picture_is_put_back(camera, tmp_path):
    clip = warped_clip(
        CLIP, tmp_path / "moved.mp4", shifted(lambda k: (2.4, -1.6) if k >= 10 else (0.0, 0.0)), count=40
    )
    holder, pairs = handed_on(clip, camera)
    before, (plain, crop) = pairs[0][1].luma.astype(float), pairs[25]
    inner = (slice(12, -12), slice(12, -12))
    off = np.abs(plain.luma.astype(float) - before)[inner].mean()
    left = np.abs(crop.luma.astype(float) - before)[inner].mean()
    assert left < 0.5 * off
    assert holder.corrected
    assert holder.summary().largest_px == pytest.approx(np.hypot(2.4, 1.6), abs=0.9)
    calibration = Calibration(camera, np.eye(9) * 1e-8)
    assert holder.widened(calibration).covariance[3, 3] > calibration.covariance[3, 3]
