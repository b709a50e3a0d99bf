"""Filter and smoother on simulated balls: near the truth, honest about it, whatever the frame times."""

from dataclasses import replace

import numpy as np
import pytest
from rolling import CAMERA, QUIET, RADIUS_IN, detection, hook, moved_px, run_of, seen_from, truth

from sample_media.physics import simulate
from sample_media.spec import BallSpec, LaneSpec, ShotSpec
from tracker.detection.watch import Detection, FrameLook
from tracker.path.motion import BU, SIZE, VX, VY, MotionModel, X, Y, measurement_matrix, predict_pixel
from tracker.path.smooth import SmoothPath, _sweep, _Tracker, pin_gap_in, smooth_run

TIMES_60 = np.arange(-30, 170) / 60
NIS_MEAN_OF_100 = (1.6273, 2.4106)
"""95 % two-sided for 2 degrees of freedom (chi-square; Bar-Shalom, Li and Kirubarajan, chapter 5, from memory)."""


def _smooth(looks: list[FrameLook], model: MotionModel = QUIET) -> SmoothPath:
    found = smooth_run(run_of(looks), looks, CAMERA, RADIUS_IN, model=model)
    assert found is not None
    return found[0]


def _misses(path: SmoothPath) -> np.ndarray:
    """Smoothed minus true x, vx, y, vy in units of the smoother's own sigma, ``(n, 4)``."""
    columns = [X, VX, Y, VY]
    sigma = np.sqrt(np.stack([path.covariance[:, k, k] for k in columns], axis=-1))
    return (path.mean[:, columns] - truth(hook(), path.t_s)) / sigma


def test_states_lie_near_the_truth_within_their_sigma():
    path = _smooth(seen_from(hook(), TIMES_60))
    rows = path.frame >= 0
    miss = (path.mean[:, [X, VX, Y, VY]] - truth(hook(), path.t_s))[rows]
    assert (np.sqrt(np.mean(miss**2, axis=0)) < [0.2, 2.0, 1.5, 6.0]).all()
    assert np.mean(np.abs(_misses(path)[rows]) < 2, axis=0).min() > 0.85
    assert path.reaches_pins
    assert pin_gap_in(path.mean[-1, X], path.mean[-1, Y], RADIUS_IN) <= 0


def test_path_begins_on_the_lane_and_ends_at_the_first_pin():
    looks = seen_from(hook(), TIMES_60)
    path = _smooth(looks)
    seen = [look.frame for look in looks if look.detections]
    assert path.frame[0] == seen[0]
    assert path.frame[path.last_seen] == seen[-1]
    assert path.t_s[path.frame >= 0] == pytest.approx(TIMES_60[path.frame[path.frame >= 0]])


def test_dropped_frames_and_unsteady_times_give_the_same_path():
    steady = _smooth(seen_from(hook(), TIMES_60, sigma_px=0.05))
    keep = np.sort(np.random.default_rng(8).permutation(len(TIMES_60))[: len(TIMES_60) * 2 // 3])
    shaken = TIMES_60[keep] + np.random.default_rng(9).uniform(-0.004, 0.004, len(keep))
    other = _smooth(seen_from(hook(), shaken, sigma_px=0.05, seed=2))
    where = np.linspace(max(steady.t_s[0], other.t_s[0]), min(steady.t_s[-1], other.t_s[-1]), 50)
    for column, room in ((X, 0.2), (Y, 1.5)):
        one, two = (np.interp(where, p.t_s, p.mean[:, column]) for p in (steady, other))
        assert one == pytest.approx(two, abs=room)


def test_clip_that_starts_later_gives_the_same_path():
    looks = seen_from(hook(), TIMES_60)
    late = [FrameLook(k.frame + 7, k.t_s + 300.0, tuple(_moved(d, 7, 300.0) for d in k.detections)) for k in looks]
    here, there = _smooth(looks), _smooth(late)
    assert there.mean == pytest.approx(here.mean, abs=1e-5)
    assert (there.frame[there.frame >= 0] - here.frame[here.frame >= 0] == 7).all()


def _moved(d: Detection, frames: int, seconds: float) -> Detection:
    return replace(d, frame=d.frame + frames, t_s=d.t_s + seconds)


def test_half_a_second_out_of_sight_shows_in_the_uncertainty():
    hidden = _smooth(seen_from(hook(), TIMES_60, hidden_s=(1.2, 1.7)))
    whole = _smooth(seen_from(hook(), TIMES_60))
    row = int(np.argmin(abs(hidden.t_s - 1.45)))
    same = int(np.argmin(abs(whole.t_s - 1.45)))
    assert not hidden.seen[row]
    for column in (X, Y):
        assert hidden.covariance[row, column, column] > 4 * whole.covariance[same, column, column]
    assert np.abs(_misses(hidden)[row]).max() < 3
    assert hidden.reaches_pins


def test_first_sight_at_25_ft_is_enough():
    path = _smooth(seen_from(hook(), TIMES_60, from_in=300.0))
    assert path.mean[0, Y] == pytest.approx(300.0, abs=8.0)
    assert path.reaches_pins
    assert np.mean(np.abs(_misses(path)[path.frame >= 0]) < 2) > 0.8


def test_clip_that_ends_early_does_not_reach_the_pins():
    path = _smooth(seen_from(hook(), TIMES_60, until_in=500.0))
    assert not path.reaches_pins
    assert path.mean[-1, Y] == pytest.approx(500.0, abs=8.0)


def test_ball_lost_a_moment_before_the_pins_is_carried_on_to_them():
    path = _smooth([look for look in seen_from(hook(), TIMES_60) if truth(hook(), look.t_s)[2] < 690])
    assert path.reaches_pins
    assert (path.frame[-1], bool(path.seen[-1])) == (-1, False)


def test_wild_detections_are_gated_out():
    clean = seen_from(hook(), TIMES_60)
    wild = list(clean)
    for k in (60, 61, 90, 120):
        d = clean[k].detections[0]
        wild[k] = FrameLook(k, d.t_s, (moved_px(d, 25.0, -18.0),))
    path, same = _smooth(wild), _smooth(clean)
    assert [int(k) for k in path.frame[: path.last_seen][~path.seen[: path.last_seen]]] == [60, 61, 90, 120]
    assert path.mean[:, X] == pytest.approx(same.mean[: len(path.mean), X], abs=0.5)


def _elsewhere(d: Detection, x_in: float, y_in: float) -> Detection:
    pixel = CAMERA.project(np.array([x_in, y_in, RADIUS_IN]))
    return replace(d, x_in=x_in, y_in=y_in, fit=replace(d.fit, centre_px=pixel))


def test_an_arm_at_first_does_not_lose_the_ball():
    """From where the filter begins an arm swings aside: a line through its places leads off the lane."""
    looks = [
        FrameLook(
            k.frame,
            k.t_s,
            tuple(_elsewhere(d, 0.4 * (d.y_in - 40), d.y_in) if 40 < d.y_in < 120 else d for d in k.detections),
        )
        for k in seen_from(hook(), TIMES_60)
    ]
    path = _smooth(looks)
    assert path.reaches_pins
    assert path.mean[0, Y] < 240.0
    assert path.seen.mean() > 0.9
    late = path.t_s > np.interp(250.0, hook().y_in, hook().t_s)
    assert np.mean(np.abs(_misses(path)[late & (path.frame >= 0)]) < 2) > 0.8


def test_a_ball_that_leaves_for_the_gutter_keeps_its_first_feet():
    """In the gutter it is seen in more frames than on the lane, but what it did on the lane is what is asked for."""
    looks = [
        FrameLook(k.frame, k.t_s, tuple(_elsewhere(d, 23.0, d.y_in) if d.y_in > 200 else d for d in k.detections))
        for k in seen_from(hook(), TIMES_60)
    ]
    path = _smooth(looks)
    assert path.mean[0, Y] < 24.0
    assert abs(path.mean[path.mean[:, Y] < 190, X]).max() < 20.0


def test_three_detections_are_no_path():
    looks = seen_from(hook(), TIMES_60, from_in=100.0, until_in=114.0)
    assert 1 <= len(run_of(looks).detections) <= 3
    assert smooth_run(run_of(looks), looks, CAMERA, RADIUS_IN, model=QUIET) is None


@pytest.mark.parametrize("shot", [ShotSpec(), ShotSpec(hand="left")], ids=["right", "left"])
def test_jerk_is_tied_to_the_direction_of_the_hook(shot):
    path = simulate(shot, BallSpec(diameter_in=2 * RADIUS_IN), LaneSpec())
    looks = seen_from(path, TIMES_60)
    found = smooth_run(run_of(looks), looks, CAMERA, RADIUS_IN, model=QUIET)
    assert found is not None
    slip = np.array([path.vx[0] - RADIUS_IN * path.wy[0], path.vy[0] + RADIUS_IN * path.wx[0]])
    along = -slip / np.hypot(*slip)
    jerk = np.array([[found[1].jerk_xx, found[1].jerk_xy], [found[1].jerk_xy, found[1].jerk_yy]])
    main = np.linalg.eigh(jerk)[1][:, -1]
    assert abs(main @ along) > np.cos(np.radians(20))


def _matched(model: MotionModel, seed: int) -> tuple[list[FrameLook], np.ndarray, np.ndarray]:
    """Looks at a ball that moves exactly as the model says, with the prior it was drawn from."""
    random = np.random.default_rng(seed)
    middle = np.array([2.0, -8.0, 5.0, 30.0, 300.0, -14.0, 0.0, 0.0])
    spread = np.array([2.0, 6.0, 8.0, 6.0, 10.0, 8.0, *model.bias_px])
    state = middle + spread * random.standard_normal(SIZE)
    looks, now = [], 0.0
    for frame in range(100):
        dt = float(random.uniform(0.01, 0.025)) if frame else 0.0
        now += dt
        noise = model.noise(dt) if dt else np.zeros((SIZE, SIZE))
        values, vectors = np.linalg.eigh(noise)
        kick = vectors @ (np.sqrt(np.maximum(values, 0)) * random.standard_normal(SIZE))
        state = model.transition(dt) @ state + kick
        pixel = predict_pixel(CAMERA, state, RADIUS_IN) + 0.25 * random.standard_normal(2)
        looks.append(FrameLook(frame, now, (detection(frame, now, pixel, 0.25),)))
    return looks, middle, np.diag(spread**2)


def test_innovations_are_as_large_as_the_filter_says():
    model = MotionModel(jerk_xx=900.0, jerk_xy=200.0, jerk_yy=300.0)
    means = []
    for seed in range(6):
        looks, middle, spread = _matched(model, seed)
        tracker = _Tracker(CAMERA, RADIUS_IN, model, (middle, spread))
        record = _sweep(tracker, looks, looks[0].t_s, RADIUS_IN, until_lost=False)
        means.append(float(np.mean(record.nis)))
        assert len(record.nis) == 100
    inside = [NIS_MEAN_OF_100[0] <= m <= NIS_MEAN_OF_100[1] for m in means]
    assert sum(inside) >= 5
    assert np.mean(means) == pytest.approx(2.0, abs=3 * 2 / np.sqrt(600))


def test_innovations_of_a_simulated_hook_are_not_too_large():
    path = _smooth(seen_from(hook(), TIMES_60, until_in=676.0))
    assert np.nanmean(path.nis[5:]) < NIS_MEAN_OF_100[1]


def test_rim_bias_that_stays_is_not_taken_for_motion():
    model = MotionModel()
    looks = seen_from(hook(), TIMES_60)
    path = _smooth(looks, model)
    h = np.array([measurement_matrix(CAMERA, state, RADIUS_IN) for state in path.mean])
    assert np.sqrt(path.covariance[:, BU, BU]).max() <= model.bias_px[0] * 1.01
    quiet = _smooth(looks)
    assert (path.covariance[20:100, X, X] > quiet.covariance[20:100, X, X]).all()
    assert np.isfinite(h).all()


def test_gap_to_the_pins_is_from_surface_to_surface():
    assert pin_gap_in(0.0, 700.0, RADIUS_IN) == pytest.approx(20.0 - RADIUS_IN - 2.383)
    assert pin_gap_in(6.0, 720 + 10.3923 - 5.0, RADIUS_IN) == pytest.approx(5.0 - RADIUS_IN - 2.383, abs=1e-4)
