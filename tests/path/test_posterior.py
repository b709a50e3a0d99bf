"""Drawn paths against the smoother's own covariance, and what camera and ball size add to all frames at once."""

from dataclasses import replace

import numpy as np
import pytest
from rolling import CAMERA, RADIUS_IN, hook, moved_px, run_of, seen_from

from calibration.camera import PARAMETERS, Camera
from tracker.detection.watch import FrameLook
from tracker.path.motion import VX, VY, MotionModel, X, Y
from tracker.path.posterior import CommonErrors, draw_paths, widen, widen_by_scatter
from tracker.path.smooth import SmoothPath, smooth_run

TIMES_30 = np.arange(-6, 85) / 30
COUNT = 3000
LOOKS: list[FrameLook] = seen_from(hook(), TIMES_30)
NO_ERRORS = CommonErrors(CAMERA, np.zeros((9, 9)), RADIUS_IN, 0.0)


@pytest.fixture(scope="module")
def smoothed() -> tuple[SmoothPath, MotionModel]:
    found = smooth_run(run_of(LOOKS), LOOKS, CAMERA, RADIUS_IN, model=MotionModel())
    assert found is not None
    return found


def test_draws_have_the_smoothers_mean_and_covariance(smoothed):
    path, model = smoothed
    drawn = draw_paths(path, NO_ERRORS, model, COUNT)
    assert drawn.draws.shape == (COUNT, len(path.t_s), 8)
    sigma = np.sqrt(np.diagonal(path.covariance, axis1=1, axis2=2))
    off = (drawn.draws.mean(axis=0) - path.mean) / sigma
    assert np.abs(off).max() < 5 / np.sqrt(COUNT)
    # Monte-Carlo error 1.3 %; the rest is where the camera was linearised (predicted or smoothed place)
    assert drawn.draws.std(axis=0)[:, [X, VX, Y, VY]] / sigma[:, [X, VX, Y, VY]] == pytest.approx(1.0, abs=0.10)


def test_draws_have_the_smoothers_correlations(smoothed):
    path, model = smoothed
    drawn = draw_paths(path, NO_ERRORS, model, COUNT).draws
    for row in (10, len(path.t_s) // 2, len(path.t_s) - 10):
        scale = np.sqrt(np.diag(path.covariance[row]))
        expected = path.covariance[row] / np.outer(scale, scale)
        assert np.corrcoef(drawn[:, row], rowvar=False) == pytest.approx(expected, abs=0.10)


def test_same_seed_gives_the_same_draws(smoothed):
    path, model = smoothed
    first, second = (draw_paths(path, NO_ERRORS, model, 5).draws for _ in range(2))
    assert np.array_equal(first, second)
    assert not np.array_equal(first, draw_paths(path, NO_ERRORS, model, 5, seed=61).draws)


STEPS = {
    "x_in": 1.0, "y_in": 4.0, "z_in": 0.5, "yaw_deg": 0.05, "pitch_deg": 0.05,
    "roll_deg": 0.1, "f_px": 8.0, "k1": 0.01, "width_scale": 0.005,
}  # fmt: skip


@pytest.mark.parametrize("name", PARAMETERS)
def test_an_error_of_the_camera_moves_the_path_as_smoothing_with_another_camera_does(smoothed, name):
    path, model = smoothed
    k, step = PARAMETERS.index(name), STEPS[name]
    covariance = np.zeros((9, 9))
    covariance[k, k] = step**2
    share = _common_share(path, model, replace(NO_ERRORS, camera_covariance=covariance))
    moved = []
    for sign in (1, -1):
        camera = replace(CAMERA, **{name: getattr(CAMERA, name) + sign * step})
        moved.append(_on(path, _again(camera, RADIUS_IN)))
    _assert_same(share, (moved[0] - moved[1]) / 2)


def test_an_error_of_the_balls_size_moves_the_path_as_smoothing_with_another_size_does(smoothed):
    path, model = smoothed
    share = _common_share(path, model, replace(NO_ERRORS, ball_radius_u_in=0.05))
    moved = [_on(path, _again(CAMERA, RADIUS_IN + step)) for step in (0.05, -0.05)]
    _assert_same(share, (moved[0] - moved[1]) / 2)


def _common_share(path: SmoothPath, model: MotionModel, errors: CommonErrors) -> np.ndarray:
    """Effect ``(n, 2)`` on x and y of one sigma of a single common error: same seed with and without it."""
    own = draw_paths(path, NO_ERRORS, model, 60).draws
    both = draw_paths(path, errors, model, 60).draws
    parts = (both - own)[..., [X, Y]].reshape(60, -1)
    _, values, rows = np.linalg.svd(parts, full_matrices=False)
    assert values[1] < 1e-6 * values[0]
    return np.asarray(rows[0] * np.sqrt(np.mean((parts @ rows[0]) ** 2))).reshape(-1, 2)


def _again(camera: Camera, radius_in: float) -> SmoothPath:
    found = smooth_run(run_of(LOOKS), LOOKS, camera, radius_in, model=MotionModel())
    assert found is not None
    return found[0]


def _on(path: SmoothPath, again: SmoothPath) -> np.ndarray:
    rows = slice(0, min(len(path.t_s), len(again.t_s)))
    assert again.t_s[rows] == pytest.approx(path.t_s[rows])
    short = np.full((len(path.t_s), 2), np.nan)
    short[rows] = again.mean[rows][:, [X, Y]]
    return short


def _assert_same(share: np.ndarray, moved: np.ndarray) -> None:
    """Up to the common sign; the scale of ``share`` comes from 60 draws, so only its shape and rough size count."""
    use = np.isfinite(moved).all(axis=1)
    a, b = (v[use] / np.array([1.0, 5.0]) for v in (share, moved))
    cosine = float(np.sum(a * b) / np.sqrt(np.sum(a * a) * np.sum(b * b)))
    assert abs(cosine) > 0.97
    assert np.sqrt(np.sum(a * a) / np.sum(b * b)) == pytest.approx(1.0, abs=0.35)


def test_faint_balls_get_a_wider_rim_bias():
    strong, weak = widen(MotionModel(), 50.0), widen(MotionModel(), 3.0)
    assert weak.bias_px[0] > strong.bias_px[0] > 0
    assert weak.bias_px[1] > strong.bias_px[1] > 0
    assert widen(MotionModel(), 0.0) == widen(MotionModel(), 2.0)
    assert widen(MotionModel(), 50.0, 0.1).bias_px == pytest.approx(strong.bias_px, rel=1e-3)
    assert min(widen(MotionModel(), 50.0, 0.0018).bias_px) > 0.5
    assert widen(MotionModel(), 50.0, 0.1, 0.75) == widen(MotionModel(), 50.0, 0.1)
    assert widen(MotionModel(), 50.0, 0.1, 1.3).bias_px[1] > 3 * strong.bias_px[1]


def _pulled(pull_px: float, turns_s: float) -> list[FrameLook]:
    """Sights of a ball whose patches pull at it in turn."""
    phase = np.array([0.0, 1.0])
    return [
        replace(
            k,
            detections=tuple(
                moved_px(d, *(pull_px * np.sin(2 * np.pi * turns_s * d.t_s + phase)).tolist()) for d in k.detections
            ),
        )
        for k in seen_from(hook(), np.arange(150) / 60, sigma_px=0.25)
    ]


def _off(path: SmoothPath) -> float:
    """Root mean square of what x is off by, in its own sigma."""
    miss = path.mean[:, X] - np.interp(path.t_s, hook().t_s, hook().x_in)
    return float(np.sqrt(np.mean((miss**2 / path.covariance[:, X, X])[path.frame >= 0])))


@pytest.mark.parametrize("turns_s", [1.6, 3.2, 4.8])
def test_patches_that_pull_at_a_ball_in_turn_widen_the_model_until_the_path_covers_the_truth(turns_s):
    model = MotionModel(bias_px=(0.05, 0.05))
    looks = _pulled(1.0, turns_s)
    first = smooth_run(run_of(looks), looks, CAMERA, RADIUS_IN, model=model)
    assert first is not None
    wider = widen_by_scatter(model, first[0])
    assert wider is not None
    again = smooth_run(run_of(looks), looks, CAMERA, RADIUS_IN, model=wider)
    assert again is not None
    assert _off(again[0]) < 1.5
    assert _off(first[0]) > 2.5


def test_sights_that_scatter_as_they_say_leave_the_model_as_it_is():
    model = MotionModel(bias_px=(0.05, 0.05))
    found = smooth_run(run_of(_pulled(0.0, 1.0)), _pulled(0.0, 1.0), CAMERA, RADIUS_IN, model=model)
    assert found is not None
    assert widen_by_scatter(model, found[0]) is None
