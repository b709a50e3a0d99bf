"""The physical fit on synthetic measurements of a known ball."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import Camera
from tracker.path import physical
from tracker.path.motion import SIZE, VX, VY, MotionModel, X, Y, along_slip
from tracker.path.physical import fit_physical
from tracker.path.posterior import CommonErrors
from tracker.path.smooth import SmoothPath
from tracker.physics.slide import Launch, slide

RADIUS_IN = 4.27
CAMERA = Camera(28.0, -220.0, 70.0, -2.5, 7.8, 0.3, 1900.0, 0.01, 1.0, 1600, 900)
MODEL = MotionModel(bias_px=(0.02, 0.03))


USUAL = (0.0, 3.0, 13.0, 304.0, -0.52, 58.0)


def measured(
    seed: int,
    noise_px: float = 0.15,
    *,
    keep: slice = slice(None),
    oil: tuple[float, float, float] = (40.5, 1.5, 0.16),
    thrown: tuple[float, ...] = USUAL,
) -> tuple[SmoothPath, np.ndarray]:
    """A path whose means are the truth, with noisy pixels; and the true states.

    ``oil`` is where it ends, over which scale, feet, and by how much friction rises.
    """
    y = np.arange(18.0, 760.0, 1.0)
    friction = 0.035 + oil[2] / (1 + np.exp(-(y / 12 - oil[0]) / oil[1]))
    launch = Launch(*(np.array([v]) for v in thrown))
    path = slide(launch, friction[None], y)
    t = np.arange(0.03, float(np.interp(713.0, y, path.t_s[0])), 1 / 60)[keep]
    columns = (path.x_in, path.vx_in_s, path.ax_in_s2, path.y_in, path.vy_in_s, path.ay_in_s2)
    truth = np.zeros((len(t), SIZE))
    for k, values in enumerate(columns):
        truth[:, k] = np.interp(t, path.t_s[0], values[0])
    centre = np.column_stack([truth[:, X], truth[:, Y], np.full(len(t), RADIUS_IN)])
    random = np.random.default_rng(seed)
    pixel = CAMERA.project(centre) + noise_px * random.standard_normal((len(t), 2))
    n = len(t)
    smooth = SmoothPath(
        frame=np.arange(n),
        t_s=t,
        mean=truth,
        covariance=np.broadcast_to(np.eye(SIZE) * 0.01, (n, SIZE, SIZE)),
        pixel=pixel,
        pixel_covariance=np.broadcast_to(np.eye(2) * noise_px**2, (n, 2, 2)),
        seen=np.ones(n, dtype=bool),
        nis=np.full(n, 2.0),
    )
    return smooth, truth


def errors(scale: float = 0.0) -> CommonErrors:
    spread = np.diag(np.square([0.3, 1.0, 0.3, 0.05, 0.05, 0.05, 5.0, 0.005, 0.001])) * scale
    return CommonErrors(CAMERA, spread, RADIUS_IN, 0.01 * scale)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_truth_lies_within_the_claimed_uncertainty(seed):
    smooth, truth = measured(seed)
    found = fit_physical(smooth, errors(), MODEL)
    assert found is not None
    assert found.agrees
    for column, floor in ((X, 0.02), (Y, 0.05), (VX, 0.15), (VY, 0.3)):
        sigma = np.hypot(found.draws.draws[:, :, column].std(axis=0), floor)
        z = (found.draws.mean[:, column] - truth[:, column]) / sigma
        assert np.sqrt(np.mean(z**2)) < 2.0


def test_the_end_is_known_better_than_by_any_single_frame():
    smooth, truth = measured(5)
    found = fit_physical(smooth, errors(), MODEL)
    assert found is not None
    heading = np.degrees(np.arctan(found.draws.mean[-1, VX] / found.draws.mean[-1, VY]))
    assert heading == pytest.approx(np.degrees(np.arctan(truth[-1, VX] / truth[-1, VY])), abs=0.2)
    assert np.hypot(*found.draws.mean[-1, [VX, VY]]) == pytest.approx(np.hypot(*truth[-1, [VX, VY]]), rel=0.01)


def test_camera_errors_widen_the_draws_together():
    smooth, _ = measured(6)
    sharp, vague = fit_physical(smooth, errors(), MODEL), fit_physical(smooth, errors(1.0), MODEL)
    assert sharp is not None
    assert vague is not None
    np.testing.assert_allclose(vague.draws.mean, sharp.draws.mean)
    assert np.all(vague.draws.draws[:, 5:, X].std(axis=0) > 1.5 * sharp.draws.draws[:, 5:, X].std(axis=0))


def test_a_path_that_no_rolling_ball_takes_disagrees():
    smooth, _ = measured(7)
    bent = smooth.mean.copy()
    bent[:, X] += 6.0 * np.sin(np.linspace(0, 12, len(bent)))
    odd = SmoothPath(
        smooth.frame,
        smooth.t_s,
        bent,
        smooth.covariance,
        CAMERA.project(np.column_stack([bent[:, X], bent[:, Y], np.full(len(bent), RADIUS_IN)])),
        smooth.pixel_covariance,
        smooth.seen,
        smooth.nis,
    )
    found = fit_physical(odd, errors(), MODEL)
    assert found is None or not found.agrees


def test_same_input_same_draws():
    smooth, _ = measured(8)
    one, two = fit_physical(smooth, errors(1.0), MODEL), fit_physical(smooth, errors(1.0), MODEL)
    assert one is not None
    assert two is not None
    np.testing.assert_array_equal(one.draws.draws, two.draws.draws)


def test_jerk_is_tied_to_the_direction_of_friction():
    tied = along_slip(MODEL, np.array([-3.0, -4.0]))
    jerk = np.array([[tied.jerk_xx, tied.jerk_xy], [tied.jerk_xy, tied.jerk_yy]])
    values, vectors = np.linalg.eigh(jerk)
    assert values[1] > 10 * values[0]
    np.testing.assert_allclose(np.abs(vectors[:, 1]), [0.6, 0.8])
    assert along_slip(MODEL, np.zeros(2)) is MODEL


@pytest.mark.parametrize("change_in_s", [58.0, 95.0])
def test_a_fit_that_creeps_along_a_valley_goes_on_until_it_ends(change_in_s):
    smooth, truth = measured(1, oil=(50.0, 1.5, 0.25), thrown=(0.0, 3.0, 13.0, 330.0, -0.5, change_in_s))
    found = fit_physical(smooth, errors(), MODEL)
    assert found is not None
    for column, floor in ((X, 0.02), (VX, 0.3)):
        sigma = np.hypot(found.draws.draws[:, :, column].std(axis=0), floor)
        assert np.sqrt(np.mean(((found.draws.mean[:, column] - truth[:, column]) / sigma) ** 2)) < 2.0


@pytest.mark.parametrize(
    ("seed", "oil", "speed_in_s", "change_in_s"),
    [(1, (47.0, 0.4, 0.25), 330.0, 95.0), (40, (48.52, 1.5, 0.25), 304.5, 80.1)],
)
def test_a_fit_ends_no_higher_than_the_best_of_many_starts_around_the_oil_that_was_there(
    seed, oil, speed_in_s, change_in_s
):
    """Begun at the usual end of the oil alone these two stay in a valley that explains the pixels far worse."""
    smooth, _ = measured(seed, oil=oil, thrown=(0.0, 3.0, 13.0, speed_in_s, -0.5, change_in_s))
    problem = physical._problem(smooth, errors(), MODEL)
    start = physical._start(smooth, float(problem.y_in[0]))
    costs = []
    for feet, grip in itertools.product((-4.0, 0.0, 4.0), (0.75, 1.0)):
        there = start.copy()
        there[[physical.OIL_END, physical.GRIP]] = oil[0] + feet, np.log(grip * change_in_s)
        costs.append(float(physical._one_fit(problem, there).cost))
    ends = physical._ended(problem, start)
    assert ends[0].cost < min(costs) + 1.0


def test_two_answers_that_are_nearly_as_likely_both_go_into_the_draws(monkeypatch):
    """An end within the limit and far from the first is one of its own; the same end again, or a worse one, is none."""
    smooth, _ = measured(3)
    problem = physical._problem(smooth, errors(), MODEL)
    best = physical._ended(problem, physical._start(smooth, float(problem.y_in[0])))[0]
    aside = best.parameters.copy()
    aside[[physical.SLIP, 1]] += 0.2, 1.5
    ends = [best, replace(best, cost=best.cost + 0.01), physical._Best(aside, best.cost + 0.5)]
    modes = physical._modes(problem, ends)
    assert [mode.parameters[1] for mode in modes] == [best.parameters[1], aside[1]]
    assert sum(mode.share for mode in modes) == pytest.approx(1.0)
    assert (
        len(physical._modes(problem, [best, physical._Best(aside, best.cost + physical.NEARLY_AS_LIKELY + 0.1)])) == 1
    )
    one = fit_physical(smooth, errors(), MODEL)
    monkeypatch.setattr(physical, "_ended", lambda *_, **__: ends)
    both = fit_physical(smooth, errors(), MODEL)
    assert one is not None
    assert both is not None
    assert both.draws.mean == pytest.approx(one.draws.mean)
    away = both.draws.draws[:, 0, X] - one.draws.mean[0, X]
    shown = np.mean(away > 0.75)
    assert modes[1].share > 0.1
    assert shown == pytest.approx(modes[1].share, abs=0.05)
    assert np.mean(one.draws.draws[:, 0, X] - one.draws.mean[0, X] > 0.75) == 0.0
