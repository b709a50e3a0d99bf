"""Rate, missing and duplicate frames from times alone."""

import dataclasses
import math

import numpy as np
import pytest

from tracker.video.clock import Clock
from tracker.video.facts import ClipFacts, timing_of, transfer_name


@pytest.mark.parametrize("fps", [24, 30, 30000 / 1001, 60, 120, 240])
def test_even_times_are_constant(fps):
    timing = timing_of(np.arange(50) / fps)
    assert timing.nominal_fps == pytest.approx(fps, abs=1e-3)
    assert timing.duration_s == pytest.approx(50 / fps)
    assert (timing.variable_rate, timing.missing_frames, timing.duplicate_frames) == (False, 0, 0)


@pytest.mark.parametrize(("fps", "ticks"), [(60000 / 1001, 600), (30, 1000), (240, 1000)])
def test_rounding_to_a_coarse_clock_is_not_a_variable_rate(fps, ticks):
    times = np.rint(np.arange(200) / fps * ticks) / ticks
    timing = timing_of(times, 1 / ticks)
    assert not timing.variable_rate
    assert timing.nominal_fps == pytest.approx(fps, rel=3e-3)
    assert timing.missing_frames == 0


def test_dropped_frames_leave_gaps():
    times = np.delete(np.arange(60) / 30, [10, 20, 21, 22])
    timing = timing_of(times)
    assert timing.variable_rate
    assert timing.missing_frames == 4
    assert timing.nominal_fps == pytest.approx(30)
    assert timing.interval_max_s == pytest.approx(4 / 30)


def test_frame_right_behind_another_is_a_duplicate():
    timing = timing_of([0, 1 / 30, 2 / 30, 2.2 / 30, 3 / 30, 4 / 30])
    assert timing.duplicate_frames == 1
    assert timing.missing_frames == 0


def test_rate_that_wanders_is_variable_without_missing_frames():
    times = np.cumsum(1 / 30 + 0.004 * np.sin(np.arange(90) / 5))
    timing = timing_of(times)
    assert timing.variable_rate
    assert timing.missing_frames == 0


@pytest.mark.parametrize("times", [[], [0.4]])
def test_too_few_times_have_no_rate(times):
    timing = timing_of(times)
    assert timing.nominal_fps is None
    assert math.isnan(timing.interval_median_s)


def test_transfer_names():
    # Codes of ITU-T H.273, table 3.
    assert [transfer_name(c) for c in (1, 16, 18, 2, None)] == [
        "bt709",
        "smpte2084",
        "arib-std-b67",
        "unknown",
        "unknown",
    ]


def test_facts_hold_no_place_person_or_moment():
    names = {f.name for f in dataclasses.fields(ClipFacts)}
    assert not names & {"path", "folder", "location", "gps", "creation_time", "make", "model", "metadata"}


def test_clock_leaves_out_equal_and_earlier_times():
    clock = Clock(100, 0.01)
    assert [clock.seconds(t) for t in (100, 103, 103, 102, 106)] == pytest.approx([0, 0.03, None, None, 0.06])
    assert (clock.equal, clock.backward, clock.resets) == (1, 1, 0)


def test_clock_continues_after_a_jump_back():
    clock = Clock(0, 0.01)
    given = [clock.seconds(t) for t in (0, 3, 6, 300, 303, 10, 13, 16)]
    assert given == pytest.approx([0, 0.03, 0.06, 3.0, 3.03, 3.06, 3.09, 3.12])
    assert clock.resets == 1


def test_clock_survives_a_jump_back_of_the_second_frame():
    clock = Clock(0, 0.01)
    assert [clock.seconds(t) for t in (500, 0, 3)] == pytest.approx([5.0, 5.01, 5.04])


def test_two_and_three_ticks_by_turns_are_the_mean_rate_with_none_missing():
    """60 pictures a second thinned to 24, as films are shown on such screens."""
    timing = timing_of(np.cumsum([0.0, *[2 / 60, 3 / 60] * 20]))
    assert timing.nominal_fps == pytest.approx(24.0, abs=0.01)
    assert timing.missing_frames == 0
    assert timing.variable_rate
