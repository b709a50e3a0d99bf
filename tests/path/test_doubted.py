"""Sights that are probably of whatever hides the ball, and not of the ball."""

import numpy as np

from tracker.path.doubt import doubted

STEP_S = 1 / 30


def _doubted(t_s: np.ndarray, share: np.ndarray, *, open_lane: bool = True) -> list[int]:
    found = doubted(t_s, share, np.full(len(t_s), open_lane))
    return [int(k) for k in np.flatnonzero(found)]


def _times(*stretches: tuple[int, int]) -> np.ndarray:
    return np.concatenate([np.arange(a, b) for a, b in stretches]) * STEP_S


def test_steady_sights_are_all_kept():
    t = _times((0, 60))
    assert _doubted(t, np.full(60, 0.95)) == []


def test_few_sights_beyond_a_gap_are_dropped():
    t = _times((0, 40), (55, 57))
    assert _doubted(t, np.full(42, 0.95)) == [40, 41]


def test_ball_that_comes_into_sight_again_is_kept():
    t = _times((0, 40), (55, 62))
    assert _doubted(t, np.full(47, 0.95)) == []


def test_poor_rims_beyond_a_gap_confirm_nothing():
    t = _times((0, 40), (55, 62))
    share = np.where(np.arange(47) < 40, 1.0, 0.45)
    assert _doubted(t, share) == list(range(40, 47))


def test_half_hidden_ball_before_a_gap_is_dropped_and_at_the_pins_kept():
    t = _times((0, 40))
    share = np.where(np.arange(40) >= 38, 0.6, 1.0)
    assert _doubted(t, share) == [38, 39]
    assert _doubted(t, share, open_lane=False) == []


def test_ball_that_is_seen_now_and_then_keeps_its_sights():
    t = np.sort(np.random.default_rng(3).choice(90, 34, replace=False)) * STEP_S
    assert len(_doubted(t, np.full(34, 0.5))) <= 4


def test_half_hidden_ball_after_dropped_sights_is_dropped_too():
    t = _times((0, 2), (20, 60))
    share = np.where((np.arange(42) >= 2) & (np.arange(42) < 4), 0.6, 1.0)
    assert _doubted(t, share) == [0, 1, 2, 3]
