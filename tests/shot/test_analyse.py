"""Hand, gutter, missing numbers and uncertainties of a shot."""

import math

import numpy as np
import pytest
from lines import ARROWS, RADIUS_IN, draws_of, mirrored, parabola, smooth_of

from calibration.lane import BOARD_WIDTH_IN, Hand
from tracker.flags import REGISTRY
from tracker.path.posterior import PathDraws
from tracker.shot.analyse import Analysis, Arrows, analyse

HOOK = parabola(17.5, math.tan(math.radians(4.0)), 0.0025)
STRAIGHT = parabola(17.5, math.tan(math.radians(1.0)))


def _analyse(states: np.ndarray, *, hand: Hand | None = None, reaches_pins: bool = True) -> Analysis:
    path = smooth_of(states, reaches_pins=reaches_pins)
    return analyse(path, draws_of(states), ARROWS, RADIUS_IN, hand=hand)


def _missing(found: Analysis) -> dict[str, str]:
    return {name: q.missing for name, q in found.quantities.items() if q.missing is not None}


def test_hook_tells_the_hand():
    assert _analyse(HOOK).hand == "right"
    assert _analyse(mirrored(HOOK)).hand == "left"
    assert "hand_assumed" not in _analyse(HOOK).flags


def test_straight_ball_leaves_the_hand_open():
    found = _analyse(STRAIGHT)
    assert found.hand == "right"
    assert "hand_assumed" in found.flags
    assert _analyse(STRAIGHT, hand="left").hand == "left"
    assert "hand_assumed" not in _analyse(STRAIGHT, hand="left").flags


def test_told_hand_stands_against_the_hook_with_a_flag():
    found = _analyse(HOOK, hand="left")
    assert found.hand == "left"
    assert "hand_differs" in found.flags
    assert "hand_differs" not in _analyse(HOOK, hand="right").flags


def test_mirror_image_has_the_same_numbers_and_uncertainties():
    path, draws = smooth_of(HOOK), draws_of(HOOK)
    right = analyse(path, draws, ARROWS, RADIUS_IN, hand=None)
    turned = PathDraws(draws.t_s, mirrored(draws.mean), mirrored(draws.draws))
    left = analyse(smooth_of(mirrored(HOOK)), turned, ARROWS, RADIUS_IN, hand=None)
    assert left.flags == right.flags
    for name, q in right.quantities.items():
        other = left.quantities[name]
        assert (other.value, other.u, other.missing) == (
            pytest.approx(q.value, abs=1e-9), pytest.approx(q.u, abs=1e-9), q.missing
        ), name  # fmt: skip


def test_straight_ball_says_why_numbers_are_missing():
    missing = _missing(_analyse(STRAIGHT))
    assert missing["onset_ft"] == "straight_ball"
    assert missing["breakpoint_ft"] == missing["breakpoint_board"] == "no_breakpoint"
    assert missing["roll_ft"] == "still_turning"
    assert "contact_board" not in missing


def test_clip_that_ends_early_says_so():
    found = _analyse(parabola(17.5, math.tan(math.radians(4.0)), 0.0025, to_ft=50.0), reaches_pins=False)
    missing = _missing(found)
    for name in ("contact_board", "contact_ft", "entry_angle_deg", "board_60ft", "speed_pins_mph", "turn_deg"):
        assert missing[name] == "early_end"
    assert "early_end" in found.flags
    assert {"board_15ft", "onset_ft", "launch_angle_deg"}.isdisjoint(missing)


def test_first_sight_beyond_15_ft_says_so():
    found = _analyse(parabola(17.5, math.tan(math.radians(4.0)), 0.0025, from_ft=20.0))
    missing = _missing(found)
    for name in ("board_15ft", "onset_ft", "turn_deg", "arrows_board"):
        assert missing[name] == "late_start"
    assert missing["laydown_board"] == "laydown_unseen"
    assert {"contact_board", "entry_angle_deg"}.isdisjoint(missing)


def test_gutter_ball_has_no_numbers_from_the_gutter_on():
    states = parabola(-22.0, -0.08)
    found = _analyse(states)
    assert found.gutter
    missing = _missing(found)
    assert {"contact_board", "entry_angle_deg", "onset_ft", "breakpoint_ft"} <= set(missing)
    assert found.quantities["laydown_board"].value is not None
    assert not _analyse(HOOK).gutter


def test_a_glimpse_over_the_edge_is_no_gutter_ball():
    states = STRAIGHT.copy()
    states[40:42, 0] = 24.0
    assert not _analyse(states).gutter


def test_uncertainty_is_the_scatter_of_the_likely_paths():
    found = analyse(smooth_of(HOOK), draws_of(HOOK, 400, board_sd=0.3, slope_sd=0.0), ARROWS, RADIUS_IN, hand="right")
    for name in ("board_15ft", "first_seen_board"):
        q = found.quantities[name]
        assert q.u == pytest.approx(0.3 / BOARD_WIDTH_IN, rel=0.12)
    onset = found.quantities["onset_ft"]
    assert onset.u is not None
    assert onset.u < 0.5


def test_every_uncertainty_is_positive_and_every_missing_code_is_registered():
    for states in (HOOK, STRAIGHT, parabola(-22.0, -0.08), parabola(17.5, 0.05, from_ft=20.0)):
        found = _analyse(states)
        assert all(q.u is not None and q.u > 0 for q in found.quantities.values() if q.value is not None)
        assert set(found.flags) <= set(REGISTRY)
        assert set(_missing(found).values()) <= set(REGISTRY)


def test_unknown_arrows_widen_only_the_arrows_board():
    path, draws = smooth_of(HOOK), draws_of(HOOK)
    known = analyse(path, draws, Arrows(15.8, 0.01, 1.1, 0.01, modelled=False), RADIUS_IN, hand="right")
    guessed = analyse(path, draws, Arrows(15.8, 1.5, 1.1, 0.5, modelled=True), RADIUS_IN, hand="right")
    assert "arrows_modelled" in guessed.flags
    assert guessed.quantities["arrows_board"].u > 1.5 * known.quantities["arrows_board"].u
    assert guessed.quantities["board_15ft"] == known.quantities["board_15ft"]


def test_same_input_gives_the_same_numbers():
    assert _analyse(HOOK).quantities == _analyse(HOOK).quantities


def test_launch_and_release_of_a_ball_seen_late_are_not_those_of_another_place():
    found = _missing(_analyse(parabola(17.5, math.tan(math.radians(4.0)), 0.0025, from_ft=12.0)))
    assert found["launch_angle_deg"] == found["speed_release_mph"] == "late_start"
    assert "board_15ft" not in found


def test_codes_name_what_is_missing():
    straight = _missing(_analyse(STRAIGHT))
    assert straight["boards_out"] == straight["boards_back"] == "no_breakpoint"
    lost = _missing(_analyse(STRAIGHT[:80], reaches_pins=False))
    assert lost["onset_ft"] == lost["breakpoint_ft"] == "early_end"


def test_timing_widens_speeds_alone():
    path, draws = smooth_of(HOOK), draws_of(HOOK)
    plain = analyse(path, draws, ARROWS, RADIUS_IN, hand="right").quantities
    timed = analyse(path, draws, ARROWS, RADIUS_IN, hand="right", timing_u=(0.02, 0.001)).quantities
    release = plain["speed_release_mph"]
    assert timed["speed_release_mph"].u == pytest.approx(math.hypot(release.u, 0.02 * release.value))
    assert timed["entry_angle_deg"] == plain["entry_angle_deg"]
