"""What goes down the lane at a speed that no bowled ball has."""

from dataclasses import replace

import numpy as np
import pytest
from rolling import CAMERA, QUIET, RADIUS_IN, hook, run_of, seen_from

from tracker.path.passes import Places, pace_beyond, slow_pass
from tracker.path.smooth import SmoothPath, smooth_run


def _places(y_of, seconds: float, *, fps: float = 30.0, noise: int = 2) -> Places:
    """Places of something at ``y_of(t)`` down the middle, among others by chance."""
    random = np.random.default_rng(2)
    frames = np.arange(0, seconds, 1 / fps)
    t = np.repeat(frames, noise + 1)
    y, x = random.uniform(0, 720, len(t)), random.uniform(-20, 20, len(t))
    y[:: noise + 1] = [y_of(now) for now in frames]
    x[:: noise + 1] = 3.0
    return Places(t, x, y, frames)


@pytest.mark.parametrize("speed", [37.0, 74.0, 140.0])
def test_slow_ball_is_seen_with_its_speed(speed):
    found = slow_pass(_places(lambda t: speed * t, 700 / speed))
    assert found is not None
    assert found.speed_in_s == pytest.approx(speed, rel=0.06)
    assert not found.changes


def test_ball_at_two_speeds_is_seen_to_change():
    found = slow_pass(_places(lambda t: 60 * t if t < 6 else 360 + 290 * (t - 6), 7.2))
    assert found is not None
    assert found.changes


def test_nothing_and_chance_and_what_stands_still_are_no_pass():
    nowhere = np.zeros(0)
    assert slow_pass(Places(nowhere, nowhere, nowhere, nowhere)) is None
    assert slow_pass(_places(lambda _t: 300.0, 10.0)) is None


def test_bowled_ball_is_no_slow_pass():
    assert slow_pass(_places(lambda t: 290 * t, 2.5)) is None


def _half_path(until_s: float) -> SmoothPath:
    looks = seen_from(hook(), np.arange(0.05, until_s, 1 / 60))
    found = smooth_run(run_of(looks), looks, CAMERA, RADIUS_IN, model=QUIET)
    assert found is not None
    return found[0]


@pytest.mark.parametrize(("share", "seen"), [(0.25, True), (0.5, True), (2.0, True), (1.0, False)])
def test_ball_that_goes_on_at_another_pace_is_noticed(share, seen):
    path = _half_path(1.0)
    last = path.mean[path.last_seen]
    end_s, speed = float(path.t_s[path.last_seen]), float(last[4])
    places = _places(lambda t: last[3] + share * speed * (t - end_s), end_s + 4.0, fps=60.0)
    along = places.y_in - last[3]
    ours = np.arange(len(places.t_s)) % 3 == 0
    places = replace(places, x_in=np.where(ours, last[0] + along * last[1] / last[4], places.x_in))
    pace = pace_beyond(places, path)
    assert (pace is not None) == seen
    if pace is not None:
        assert pace == pytest.approx(share, rel=0.15)


def test_clip_that_starts_with_the_ball_says_nothing_of_before():
    looks = seen_from(hook(), np.arange(1.2, 2.4, 1 / 60))
    found = smooth_run(run_of(looks), looks, CAMERA, RADIUS_IN, model=QUIET)
    assert found is not None
    rows = [(d.t_s, d.x_in, d.y_in) for k in looks for d in k.detections]
    t, x, y = np.array(rows).T
    assert pace_beyond(Places(t, x, y, np.array([k.t_s for k in looks])), found[0]) is None
