"""The bound against a closed form, and the program's scatter and claims against the bound."""

from __future__ import annotations

import numpy as np
import pytest
from limit import (
    PARAMETERS,
    T0,
    VX0,
    VY0,
    X0,
    View,
    bound_of,
    information,
    inverse,
    noise_covariances,
    number_bounds,
    prior_draw,
    prior_information,
)
from limit_checks import Squares, chi_square_bounds, matched, path_nis, place_squares
from limit_shots import LANDSCAPE_60, SETUPS, Measured, Shot, draw_shot, looks_at, measure, smoothed_of

from calibration.camera import Camera
from tracker.path.motion import MotionModel

WHITE = View(LANDSCAPE_60, 0.3, None)
ABOVE = Camera(0.0, 360.0, 2000.0, 0.0, 90.0, 0.0, f_px=1000.0, k1=0.0, width_scale=1.0, width=1000, height=1000)
"""Looks straight down, so that pixels are inches times a constant and the path is a straight line in them."""
COLUMNS = ("board_15ft", "entry_angle_deg", "speed_release_mph", "speed_pins_mph")
SHOTS, NOISES = 8, 2

Trials = list[tuple[Shot, dict[str, float], dict[str, float], Measured]]


def _straight() -> np.ndarray:
    """A ball on hardly any friction that has no grip left: it goes straight at constant speed."""
    p = np.zeros(PARAMETERS)
    p[[T0, X0, VX0, VY0]] = 0.1, 2.0, -4.0, 300.0
    p[5], p[6] = -20.0, np.log(0.04)
    return p


def test_straight_ball_at_constant_speed_is_a_line_fit():
    """Variance of an intercept and of a slope: s^2 (1/n + m^2/S) and s^2/S, S the sum of squares about the mean m."""
    view, t = View(ABOVE, 0.4, None), np.arange(0.2, 2.2, 0.05)
    launch = information(view, _straight(), t)[:4, :4]
    found = inverse(launch)
    px_per_in = 1000.0 / (2000.0 - view.radius_in)
    s, since = 0.4 / px_per_in, t - 0.1
    total = np.sum((since - since.mean()) ** 2)
    assert found[VX0, VX0] == pytest.approx(s**2 / total, rel=1e-3)
    assert found[VY0, VY0] == pytest.approx(s**2 / total, rel=1e-3)
    assert found[T0, T0] == pytest.approx(s**2 * (1 / len(t) + since.mean() ** 2 / total) / 300.0**2, rel=1e-3)
    # x at launch: both lines' intercepts, as the time of launch is not known
    assert found[X0, X0] == pytest.approx(
        s**2 * (1 / len(t) + since.mean() ** 2 / total) * (1 + (4 / 300) ** 2), rel=1e-3
    )


def test_bound_of_a_linear_number_is_its_propagated_variance():
    random = np.random.default_rng(3)
    root = random.standard_normal((4, 4))
    covariance, weights = root @ root.T, random.standard_normal(4)
    found = number_bounds(lambda p: {"n": p @ weights, "gone": np.full(len(p), np.nan)}, np.ones(4), covariance)
    assert found.sigma == {"n": pytest.approx(np.sqrt(weights @ covariance @ weights))}


def test_more_noise_and_fewer_frames_tell_less():
    shot = draw_shot(SETUPS[0], np.random.default_rng(4), WHITE.radius_in)
    t = shot.t_s[shot.seen]
    one = information(WHITE, shot.parameters, t)
    assert information(View(LANDSCAPE_60, 0.6, None), shot.parameters, t) == pytest.approx(one / 4)
    halves = information(WHITE, shot.parameters, t[::2]) + information(WHITE, shot.parameters, t[1::2])
    assert halves == pytest.approx(one)
    stays = information(View(LANDSCAPE_60, 0.3, MotionModel(bias_px=(0.2, 0.3))), shot.parameters, t)
    assert np.linalg.eigvalsh(_scaled(one - stays)).min() > -1e-6


def _scaled(matrix: np.ndarray) -> np.ndarray:
    scale = np.sqrt(np.maximum(np.diag(matrix), 1e-12))
    return matrix / np.outer(scale, scale)


def test_prior_draws_have_the_prior_information():
    random = np.random.default_rng(5)
    drawn = np.array([prior_draw(random) for _ in range(4000)])[:, 4:]
    expected = np.linalg.inv(prior_information()[4:, 4:])
    scale = np.sqrt(np.diag(expected))
    assert np.cov(drawn.T) / np.outer(scale, scale) == pytest.approx(expected / np.outer(scale, scale), abs=0.08)


def test_noise_is_as_the_bound_takes_it():
    view = View(LANDSCAPE_60, 0.3, MotionModel(bias_px=(0.2, 0.35)))
    t = np.array([0.3, 0.45, 2.2])
    u, v = noise_covariances(view, draw_shot(SETUPS[0], np.random.default_rng(4), 4.295).parameters, t)
    assert u[2, 2] == pytest.approx(0.3**2 + 0.2**2)
    assert v[2, 2] == pytest.approx(0.3**2 + 0.35**2)
    # 0.15 s apart, one correlation time; both scaled by the ball's size on the picture
    assert u[0, 1] == pytest.approx(np.sqrt((u[0, 0] - 0.09) * (u[1, 1] - 0.09)) * np.exp(-1))


MEDIAN_OF_NORMAL = 0.6745
"""Median size of a normal variable in its standard deviations: third quartile of the normal distribution."""


@pytest.fixture(scope="module")
def trials() -> Trials:
    """Shots at 60 frames a second with white noise, measured by the program's chain."""
    out = []
    for k in range(SHOTS):
        random = np.random.default_rng([7, k])
        shot = draw_shot(SETUPS[0], random, WHITE.radius_in)
        bound = bound_of(WHITE, shot.parameters, shot.t_s[shot.seen], contact_s=shot.contact_s, hand=shot.hand)
        for _ in range(NOISES):
            found = measure(WHITE, looks_at(WHITE, shot, random), shot.hand)
            assert found is not None
            assert found.physical is not None
            out.append((shot, bound.truth, bound.sigma, found))
    return out


@pytest.mark.parametrize("name", COLUMNS)
def test_scatter_is_near_the_bound(trials, name):
    own = [
        (f.physical.quantities[name].value - true[name], sigma[name]) for _, true, sigma, f in trials if name in sigma
    ]
    error, bound = np.array(own).T
    assert len(own) >= SHOTS
    # by the median, as for a ball that slips to the pins or rolls just before them the likelier of both may be wrong
    assert np.median(np.abs(error / bound)) / MEDIAN_OF_NORMAL < 1.5


def test_breakpoint_is_near_the_bound(trials):
    name = "breakpoint_board"
    own = [
        (f.physical.quantities[name].value - true[name], sigma[name])
        for _, true, sigma, f in trials
        if name in sigma and f.physical.quantities[name].value is not None
    ]
    error, bound = np.array(own).T
    assert len(own) >= 4
    assert np.sqrt(np.mean(error**2) / np.mean(bound**2)) < 1.5


def test_claimed_place_is_the_scatter_of_errors(trials):
    at = np.array([10.0, 30.0, 50.0])
    for draws in (False, True):
        found = np.array([place_squares(f.path, s, at, f.fitted if draws else None) for s, _, _, f in trials])
        for k in range(len(at)):
            assert Squares(found[:, k], 2).inside


def test_innovations_are_as_large_as_the_filter_says():
    found = []
    for k in range(24):
        random = np.random.default_rng([9, k])
        smoothed = smoothed_of(WHITE, looks_at(WHITE, draw_shot(SETUPS[0], random, WHITE.radius_in), random))
        assert smoothed is not None
        found.append(path_nis(smoothed[0]))
    assert Squares(np.concatenate(found), 2).inside


def test_filter_and_world_agree_where_the_ball_moves_as_the_model_says():
    random = np.random.default_rng(11)
    own = [matched(WHITE, random) for _ in range(40)]
    assert Squares(np.concatenate([nis for nis, _ in own]), 2).inside
    assert Squares(np.array([nees[50] for _, nees in own]), 2).inside


@pytest.mark.parametrize(("count", "low", "high"), [(50, 1.4844, 2.5912), (100, 1.6273, 2.4106)])
def test_chi_square_bounds(count, low, high):
    """From chi-square tables: 74.22 and 129.56 of 100 degrees of freedom, 162.73 and 241.06 of 200."""
    assert chi_square_bounds(count, 2) == pytest.approx((low, high), abs=2e-4)
