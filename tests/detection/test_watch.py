"""One pass over crops of a drawn rolling ball: order, memory, and where the ball is found."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from discs import CAMERA, FLOOR, Look, blurred, fine_silhouette, halved

from calibration.camera import Camera
from calibration.lane import BALL_RADIUS_IN
from tracker.detection import watch
from tracker.detection.region import LaneRegion, lane_region
from tracker.detection.watch import BallWatcher, FrameLook
from tracker.video.reader import Crop

SMALL = Camera(
    *CAMERA.vector[:3], CAMERA.yaw_deg, CAMERA.pitch_deg, CAMERA.roll_deg, 1230.0, -0.02, 1.0, width=960, height=540
)
SPEED_IN_S = 290.0


def where(t_s: float) -> np.ndarray:
    """The ball's centre in inches: on the lane from 0.5 s on."""
    return np.array([6.0 - 5.0 * t_s, 12.0 + SPEED_IN_S * (t_s - 0.5), BALL_RADIUS_IN])


@cache
def _region() -> LaneRegion:
    region = lane_region(SMALL, BALL_RADIUS_IN)
    assert region is not None
    return region


def _crops(times_s: Sequence[float], look: Look | None = None, seed: int = 3) -> Iterator[Crop]:
    box, random, look = _region().box, np.random.default_rng(seed), look or Look()
    for index, t_s in enumerate(times_s):
        full = [np.full((box.height, box.width), value) for value in FLOOR]
        _paint(full, where(t_s), look)
        made = (full[0], halved(full[1]), halved(full[2]))
        noisy = (p + s * random.standard_normal(p.shape) for p, s in zip(made, (2.0, 1.0, 1.0), strict=True))
        luma, cb, cr = (np.clip(np.round(p), 0, 255).astype(np.uint8) for p in noisy)
        yield Crop(luma, cb, cr, index=index, t_s=t_s, left=box.left, top=box.top)


def _paint(full: list[np.ndarray], centre: np.ndarray, look: Look) -> None:
    if not 0 < centre[1] < 725:
        return
    box, reach = _region().box, 28
    u, v = (int(c) // 2 * 2 for c in SMALL.project(centre))
    left, top = max(u - reach, box.left), max(v - reach, box.top)
    width = min(u + reach, box.left + box.width) - left
    height = min(v + reach, box.top + box.height) - top
    alpha = blurred(fine_silhouette(SMALL, centre, BALL_RADIUS_IN, (left, top, width, height)), look.blur_px)
    near = np.s_[top - box.top : top - box.top + height, left - box.left : left - box.left + width]
    for plane, colour in zip(full, look.colour, strict=True):
        plane[near] += alpha * (colour - plane[near])


def _looks(times_s: Sequence[float]) -> list[FrameLook]:
    return list(BallWatcher(_region()).watch(_crops(times_s)))


def _found_share(looks: list[FrameLook], within_in: tuple[float, float] = (1.0, 12.0)) -> float:
    """Share of the frames with the ball on the lane in which it was found where it is."""
    seen = []
    for look in looks:
        truth = where(look.t_s)
        if 60 < truth[1] < 650:
            miss = [(abs(d.x_in - truth[0]), abs(d.y_in - truth[1])) for d in look.detections]
            seen.append(any(x < within_in[0] and y < within_in[1] for x, y in miss))
    return float(np.mean(seen))


def test_every_frame_is_looked_at_once_in_order_and_the_ball_is_found():
    looks = _looks(np.arange(90) / 30)
    assert [look.frame for look in looks] == list(range(90))
    assert [look.t_s for look in looks] == pytest.approx(np.arange(90) / 30)
    assert _found_share(looks) > 0.95
    assert sum(len(look.detections) for look in looks if look.t_s < 0.45) <= 1


def test_unsteady_frame_times_do_not_matter():
    kept = np.sort(np.random.default_rng(5).permutation(150)[:100])
    looks = _looks(kept / 50)
    assert len(looks) == 100
    assert _found_share(looks) > 0.9


@pytest.mark.parametrize("count", [0, 1, 2, 7])
def test_short_clips_lose_no_frame(count):
    assert [look.frame for look in _looks(0.8 + np.arange(count) / 30)] == list(range(count))


def test_buffer_is_bounded_however_long_the_clip(monkeypatch):
    box = _region().box
    one = box.width * box.height * 3 // 2
    monkeypatch.setattr(watch, "BUFFER_BYTES", 15 * one)
    watcher = BallWatcher(_region())
    most, waiting = [], []

    def feed() -> Iterator[Crop]:
        for crop in _crops(np.arange(80) / 30):
            most.append(watcher._bytes)
            waiting.append(len(watcher._waiting))
            yield crop

    looks = list(watcher.watch(feed()))
    assert [look.frame for look in looks] == list(range(80))
    assert max(most) <= 15 * one
    assert max(waiting) <= 15
    assert len(watcher._samples) <= watch.SAMPLES_KEPT
    assert watcher._bytes == 0


def test_time_that_waits_is_bounded_at_any_frame_rate():
    watcher = BallWatcher(_region())
    spans = []

    def feed() -> Iterator[Crop]:
        for crop in _crops(np.arange(100) / 60):
            spans.append(crop.t_s - watcher._waiting[0].t_s if watcher._waiting else 0.0)
            yield crop

    list(watcher.watch(feed()))
    assert max(spans) <= watch.BLOCK_S + watch.AHEAD_S + 2 / 60


def test_background_of_the_whole_clip_has_no_ball_in_it():
    watcher = BallWatcher(_region())
    assert watcher.median() is None
    list(watcher.watch(_crops(np.arange(75) / 30)))
    planes = watcher.median()
    assert planes is not None
    assert np.abs(planes.luma.astype(float) - FLOOR[0]).max() < 12


def test_same_crops_give_the_same_looks():
    times = np.arange(45) / 30
    first, second = _looks(times), _looks(times)
    assert [[d.x_in for d in look.detections] for look in first] == [
        [d.x_in for d in look.detections] for look in second
    ]


def test_a_brighter_picture_and_a_later_start_change_nothing_but_the_times():
    times = np.arange(60) / 30
    plain = _looks(times)
    shifted = [replace(crop, luma=crop.luma + np.uint8(9), t_s=crop.t_s + 700.0) for crop in _crops(times)]
    moved = list(BallWatcher(_region()).watch(shifted))
    assert [len(look.detections) for look in moved] == [len(look.detections) for look in plain]
    for one, two in zip(plain, moved, strict=True):
        assert two.t_s == pytest.approx(one.t_s + 700.0)
        for d, e in zip(one.detections, two.detections, strict=True):
            assert e.fit.centre_px == pytest.approx(d.fit.centre_px, abs=1e-3)
