"""What is said of slow motion: which rate to give, and what a shot's status becomes."""

from dataclasses import replace

import numpy as np
import pytest
from lines import ARROWS, RADIUS_IN, draws_of, parabola, smooth_of

from tracker.path.motion import VX, VY
from tracker.shot.analyse import analyse
from tracker.shot.status import status_of
from tracker.shot.tempo import Rate, Tempo


@pytest.mark.parametrize(
    ("stored", "mph", "rate"), [(30, 2.0, 240), (30, 4.1, 120), (30, 8.0, 60), (60, 4.2, 240), (24, 3.4, 120)]
)
def test_advice_names_the_rate_that_makes_a_usual_speed(stored, mph, rate):
    assert f"--capture-fps {rate} ({mph * rate / stored:.1f} mph)" in Rate(stored).advice(mph)


def test_advice_takes_the_files_word():
    assert "--capture-fps 240" in Rate(30.0, 240.0).advice(4.0)
    assert "the file says" in Rate(30.0, 240.0).advice(4.0)
    assert "the file says" not in Rate(240.0, 240.0).advice(4.0)


def test_advice_without_a_rate_that_fits_still_names_the_option():
    assert "--capture-fps" in Rate(240.0).advice(9.9)


def _status(tempo: Tempo, pace: float = 1.0) -> tuple[str, str, str]:
    states = parabola(17.5, 0.06, 0.0025)
    states[:, [VX, VY]] *= pace
    path = smooth_of(states)
    return status_of(path, analyse(path, draws_of(states), ARROWS, RADIUS_IN, hand=None), tempo)


def test_true_clock_is_measured():
    assert _status(Tempo())[0] == "measured"
    assert _status(Tempo(odds=-3.0, slow=True))[0] == "measured"


def test_slow_ball_is_measured_where_friction_says_that_the_clock_is_true():
    assert _status(Tempo(odds=-3.0, slow=True), 0.4)[0] == "measured"
    assert _status(Tempo(odds=-0.5, slow=True), 0.4)[:2] == ("failed", "speed_implausible")


def test_slowed_clip_fails_and_names_the_option():
    status, reason, detail = _status(Tempo(odds=3.0, slow=True, advice="give --capture-fps 60"))
    assert (status, reason) == ("failed", "speed_implausible")
    assert "--capture-fps 60" in detail


def test_clip_whose_speed_changes_fails_with_its_own_reason():
    status, reason, detail = _status(Tempo(changes=True))
    assert (status, reason) == ("failed", "speed_changes")
    assert "--capture-fps" in detail


def test_picture_in_which_the_ball_skips_all_along_does_not_blame_the_clock():
    status, reason, detail = _status(Tempo(skips=True))
    assert (status, reason) == ("failed", "track_implausible")
    assert "too few bits" in detail


@pytest.mark.parametrize(
    ("odds", "slow", "doubtful"),
    [(0.4, True, True), (None, True, True), (-2.0, True, False), (2.0, True, False), (None, False, False)],
)
def test_doubt_stands_where_a_slow_balls_friction_does_not_tell(odds, slow, doubtful):
    assert Tempo(odds=odds, slow=slow).doubtful == doubtful


def test_whether_one_ball_rolls_is_told_by_the_model_that_was_not_widened_for_it():
    states = parabola(17.5, 0.06, 0.0025)
    path = smooth_of(states)
    found = analyse(path, draws_of(states), ARROWS, RADIUS_IN, hand=None)
    jumps = replace(path, nis=np.full(len(path.t_s), 14.0))
    assert status_of(path, found)[0] == "measured"
    assert status_of(path, found, strict=jumps)[:2] == ("failed", "track_implausible")
    seldom = replace(path, nis=np.full(len(path.t_s), 4.0), seen=np.arange(len(path.t_s)) % 2 == 0)
    assert status_of(path, found, strict=seldom)[:2] == ("failed", "no_ball")
