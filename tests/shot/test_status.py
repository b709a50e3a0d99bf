"""What a path is called: a shot, a part of one, or nothing that was thrown; each with its own reason."""

from dataclasses import replace

import numpy as np
import pytest
from lines import ARROWS, RADIUS_IN, draws_of, parabola, smooth_of

from tracker.detection.watch import FrameLook
from tracker.flags import REGISTRY
from tracker.path.motion import VX, VY, Y
from tracker.path.smooth import SmoothPath
from tracker.shot.analyse import analyse
from tracker.shot.status import no_shot, status_of

WHOLE = parabola(17.5, 0.06, 0.002)
LONG_CLIP = (-1.0, 9.0)


def _status(path: SmoothPath, clip_s: tuple[float, float] = LONG_CLIP) -> tuple[str, str, str]:
    found = analyse(path, draws_of(path.mean), ARROWS, RADIUS_IN, hand="right")
    status, reason, detail = status_of(path, found, clip_s=clip_s)
    assert not reason or REGISTRY[reason].kind == "reason"
    return status, reason, detail


def _part(from_ft: float, to_ft: float, *, reaches_pins: bool = False) -> SmoothPath:
    return smooth_of(parabola(17.5, 0.06, 0.002, from_ft=from_ft, to_ft=to_ft), reaches_pins=reaches_pins)


def _with_speeds(path: SmoothPath, share: np.ndarray) -> SmoothPath:
    mean = path.mean.copy()
    mean[:, [VX, VY]] *= share[:, None]
    return replace(path, mean=mean)


def test_whole_path_is_measured():
    assert _status(smooth_of(WHOLE)) == ("measured", "", "")


@pytest.mark.parametrize(("nis", "share", "reason"), [(5.0, 0.55, "no_ball"), (5.0, 0.95, ""), (1.0, 0.55, "")])
def test_what_jumps_about_and_is_seldom_there_is_no_ball(nis, share, reason):
    path = smooth_of(WHOLE)
    seen = np.arange(len(path.seen)) % 20 < 20 * share
    seen[-1] = True
    assert _status(replace(path, nis=np.full(len(seen), nis), seen=seen))[1] == reason


@pytest.mark.parametrize(
    ("rows", "clip_end_s", "reason"), [(6, 9.0, "no_ball"), (30, 9.0, "ball_lost"), (6, 0.2, "pins_unseen")]
)
def test_glimpse_before_the_first_half_is_no_ball_unless_the_clip_ends(rows, clip_end_s, reason):
    path = smooth_of(WHOLE[:rows], reaches_pins=False)
    assert _status(path, (-1.0, clip_end_s))[1] == reason


def test_ball_that_loses_its_speed_does_not_arrive():
    path = _part(1.0, 40.0)
    slowing = np.linspace(1.0, 0.2, len(path.t_s))
    status, reason, detail = _status(_with_speeds(path, slowing))
    assert (status, reason) == ("partial", "ball_stops")
    assert "40 ft" in detail


def test_clip_that_ends_with_the_ball_on_its_way_does_not_say_that_it_stops():
    """A clip eased into slow motion shows a ball that loses half of its speed."""
    path = _part(1.0, 40.0)
    slowing = np.linspace(1.0, 0.4, len(path.t_s))
    ends = (float(path.t_s[0]) - 1.0, float(path.t_s[-1]) + 0.03)
    assert _status(_with_speeds(path, slowing))[1] == "ball_stops"
    assert _status(_with_speeds(path, slowing), ends)[1] == "pins_unseen"


def test_friction_alone_is_no_stopping():
    path = _part(1.0, 40.0)
    assert _status(_with_speeds(path, np.linspace(1.0, 0.75, len(path.t_s))))[1] == "ball_lost"


@pytest.mark.parametrize(("after_s", "reason"), [(0.05, "pins_unseen"), (1.0, "ball_lost")])
def test_clip_that_ends_before_the_pins_says_so(after_s, reason):
    path = _part(1.0, 40.0)
    status, found, detail = _status(path, (-1.0, float(path.t_s[-1]) + after_s))
    assert (status, found) == ("partial", reason)
    assert "40 ft" in detail or "39.7 ft" in detail
    assert ("clip ends" in detail) == (reason == "pins_unseen")


@pytest.mark.parametrize(("before_s", "reason"), [(0.0, "clip_starts_late"), (0.6, "path_short")])
def test_clip_that_begins_with_the_ball_on_its_way_says_so(before_s, reason):
    path = _part(25.0, 59.8, reaches_pins=True)
    status, found, detail = _status(path, (-before_s, 9.0))
    assert (status, found) == ("partial", reason)
    assert "25" in detail


def test_first_feet_missing_at_the_begin_are_no_late_start():
    path = _part(6.0, 59.8, reaches_pins=True)
    assert path.mean[0, Y] == pytest.approx(72.0)
    assert _status(path, (0.0, 9.0))[0] == "measured"


@pytest.mark.parametrize(
    ("covered_s", "lasts_s", "reason", "words"),
    [
        (0.0, 4.0, "no_ball", "no ball rolls down this lane"),
        (0.8, 4.0, "no_ball", "nobody throws"),
        (2.0, 4.0, "ball_hidden", "covers much of it for 2.0 s"),
        (2.0, 0.6, "too_few_frames", "0.6 s"),
    ],
)
def test_no_shot_tells_why(covered_s, lasts_s, reason, words):
    looks = [FrameLook(k, k / 30, (), covered=0.5 if 20 <= k < 20 + 30 * covered_s else 0.1) for k in range(120)]
    failure = no_shot(looks, lasts_s)
    assert failure.reason == reason
    assert words in failure.detail
    assert REGISTRY[reason].kind == "reason"
