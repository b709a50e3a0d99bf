"""Whether a path's clip plays at true speed: friction tells, and jumps of speed or place."""

from dataclasses import replace

import numpy as np
import pytest
from rolling import CAMERA, HOOK, QUIET, RADIUS_IN, hook, run_of, seen_from

from sample_media.physics import DensePath, simulate
from sample_media.spec import BallSpec, LaneSpec, ShotSpec
from tracker.detection.watch import FrameLook
from tracker.path.motion import X, Y
from tracker.path.posterior import CommonErrors
from tracker.path.smooth import SmoothPath, smooth_run
from tracker.path.tempo import place_jumps, quickened, slowed_odds, speed_jumps

ERRORS = CommonErrors(CAMERA, np.zeros((9, 9)), RADIUS_IN, 0.0)
BALL = BallSpec(diameter_in=2 * RADIUS_IN)


def _retimed(looks: list[FrameLook], clock: np.ndarray) -> list[FrameLook]:
    """The looks at other times: rows (time before, time after)."""

    def at(t_s: float) -> float:
        return float(np.interp(t_s, *clock.T))

    return [replace(k, t_s=at(k.t_s), detections=tuple(replace(d, t_s=at(d.t_s)) for d in k.detections)) for k in looks]


def _path(ball: DensePath, clock: list[tuple[float, float]], gate: float = 25.0) -> SmoothPath:
    times = np.arange(0.05, ball.t_s[-1], 1 / 60)
    looks = _retimed(seen_from(ball, times), np.array(clock, dtype=float))
    found = smooth_run(run_of(looks), looks, CAMERA, RADIUS_IN, model=QUIET, gate=gate)
    assert found is not None
    return found[0]


def _even(factor: float) -> list[tuple[float, float]]:
    return [(0.0, 0.0), (10.0, 10.0 * factor)]


@pytest.mark.parametrize(
    "shot",
    [
        ShotSpec(laydown_board=15, launch_deg=0.0, speed_mph=9.0, rev_rpm=60, rotation_deg=3),
        ShotSpec(laydown_board=18, launch_deg=1.5, speed_mph=11.0, rev_rpm=200, rotation_deg=40),
    ],
)
def test_slow_ball_at_true_speed_is_the_likelier(shot):
    odds = slowed_odds(_path(simulate(shot, BALL, LaneSpec()), _even(1)), ERRORS, QUIET, 2.0)
    assert odds is not None
    assert odds < -1.0


@pytest.mark.parametrize("shot", [HOOK, ShotSpec(laydown_board=15, launch_deg=0.0, rev_rpm=60, rotation_deg=3)])
def test_ball_of_a_clip_at_half_speed_is_too_little_slowed(shot):
    path = _path(simulate(shot, BALL, LaneSpec()), _even(2))
    odds = slowed_odds(path, ERRORS, QUIET, 2.0)
    assert odds is not None
    assert odds > 1.5


def test_quickened_path_has_speeds_and_accelerations_of_the_faster_clock():
    path = _path(hook(), _even(1))
    faster = quickened(path, 2.0)
    assert faster.mean[5, 4] == pytest.approx(2 * path.mean[5, 4])
    assert faster.mean[5, 5] == pytest.approx(4 * path.mean[5, 5])
    assert np.diff(faster.t_s) == pytest.approx(np.diff(path.t_s) / 2)


def test_even_clocks_have_no_jumps():
    for factor in (1.0, 2.0):
        path = _path(hook(), _even(factor))
        assert not speed_jumps(path)
        assert not place_jumps(path, CAMERA, RADIUS_IN)


@pytest.mark.parametrize("factor", [0.6, 1.6])
def test_ramp_of_the_clips_speed_is_a_jump_of_the_balls(factor):
    eased = np.linspace(0.9, 1.5, 30)
    rate = np.interp(eased, [0.9, 1.5], [1.0, factor])
    file = 0.9 + np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2 * np.diff(eased))])
    clock = [(0.0, 0.0), *zip(eased, file, strict=True), (4.0, file[-1] + factor * 2.5)]
    assert speed_jumps(_path(hook(), clock, gate=1e4))


def test_piece_cut_out_is_a_jump_of_the_place():
    looks = seen_from(hook(), np.arange(0.05, 2.4, 1 / 60))
    cut = [k for k in looks if not 1.2 <= k.t_s < 1.3]
    clock = np.array([(0.0, 0.0), (1.2, 1.2), (1.3, 1.2001), (4.0, 3.9001)])
    closed = _retimed(cut, clock)
    found = smooth_run(run_of(closed), closed, CAMERA, RADIUS_IN, model=QUIET, gate=1e4)
    hidden = smooth_run(run_of(cut), cut, CAMERA, RADIUS_IN, model=QUIET)
    assert found is not None
    assert hidden is not None
    assert place_jumps(found[0], CAMERA, RADIUS_IN)
    assert not place_jumps(hidden[0], CAMERA, RADIUS_IN)


@pytest.mark.parametrize(("from_ft", "cut"), [(54.4, False), (40, True)])
def test_steps_among_the_pins_are_no_cut(from_ft, cut):
    """Pins and their reflections are taken for the ball there, two feet on."""
    path = _path(hook(), _even(1))
    rows = path.seen & (path.mean[:, Y] > from_ft * 12)
    assert rows.sum() > 6
    ahead = np.column_stack([path.mean[rows, X], path.mean[rows, Y] + 24.0, np.full(rows.sum(), RADIUS_IN)])
    pixel = path.pixel.copy()
    pixel[rows] = CAMERA.project(ahead)
    assert place_jumps(replace(path, pixel=pixel), CAMERA, RADIUS_IN) == cut
