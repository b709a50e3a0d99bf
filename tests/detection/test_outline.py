"""The sphere's outline against brute force, and the sub-pixel fit on drawn balls with known places."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from discs import CAMERA, Look, draw_ball

from calibration.lane import BALL_RADIUS_IN
from tracker.detection.outline import fit_balls, sphere_rims

DRAWS = 16
DARK, LIGHT, RED = (40.0, 128.0, 128.0), (225.0, 128.0, 128.0), (150.0, 80.0, 190.0)


@pytest.mark.parametrize("centre_in", [(-3.7, 20.0), (12.0, 300.0), (-17.0, 700.0)])
def test_rim_is_the_silhouette_of_the_sphere(centre_in):
    centre = np.array([*centre_in, BALL_RADIUS_IN])
    _, rim = sphere_rims(CAMERA, np.array([[5.0, 90.0, BALL_RADIUS_IN], centre]), BALL_RADIUS_IN, rays=360)
    assert rim.centre == pytest.approx(CAMERA.project(centre), abs=1e-9)
    k = np.arange(40_000) + 0.5
    polar, turn = np.arccos(1 - 2 * k / len(k)), np.pi * (1 + 5**0.5) * k
    sphere = np.stack([np.cos(turn) * np.sin(polar), np.sin(turn) * np.sin(polar), np.cos(polar)], axis=-1)
    seen = CAMERA.project(centre + BALL_RADIUS_IN * sphere) - rim.centre
    angle = 2 * np.pi * np.arange(24) / 24
    normals = np.stack([np.cos(angle), np.sin(angle)])
    widest = (rim.unit * rim.radius_px[:, None]) @ normals
    assert widest.max(axis=0) == pytest.approx((seen @ normals).max(axis=0), abs=0.03)


def test_rim_directions_are_unit_vectors():
    rim = sphere_rims(CAMERA, np.array([[5.0, 400.0, BALL_RADIUS_IN]]), BALL_RADIUS_IN)[0]
    assert np.hypot(*rim.unit.T) == pytest.approx(1.0)


@dataclass(frozen=True)
class Case:
    """A ball, and how far its centre may be off on average and in scatter, pixels (u and v alike)."""

    name: str
    y_ft: float
    look: Look
    bias_px: float
    scatter_px: float
    extra: str = ""


CASES = (
    Case("dark near", 20, Look(DARK), 0.06, 0.04),
    Case("dark far", 57, Look(DARK), 0.06, 0.04),
    Case("light", 45, Look(LIGHT), 0.06, 0.04),
    Case("chroma only", 45, Look(RED), 0.08, 0.07),
    Case("faint", 45, Look((135, 118, 138)), 0.10, 0.13),
    Case("noisy", 45, Look(DARK, noise=6), 0.07, 0.07),
    Case("soft", 45, Look(DARK, blur_px=2.0), 0.20, 0.13),
    Case("lamp mirrored in its top", 40, Look(DARK), 0.25, 0.08, "lamp"),
    Case("mirror image below", 40, Look(DARK), 0.06, 0.04, "image"),
    Case("left half hidden", 40, Look(DARK), 0.40, 0.10, "screen"),
)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_bias_and_scatter_stay_within_the_table_and_below_the_claimed_sigma(case):
    random = np.random.default_rng(7)
    errors, claims = [], []
    for _ in range(DRAWS):
        drawing = draw_ball(case.y_ft, case.look, random, extra=case.extra)
        fit = drawing.fit()
        assert fit is not None
        errors.append(fit.centre_px - drawing.true_px)
        claims.append(np.sqrt(np.diag(fit.covariance)))
    bias, scatter, claimed = np.mean(errors, axis=0), np.std(errors, axis=0), np.median(claims, axis=0)
    assert np.abs(bias).max() < case.bias_px
    assert scatter.max() < case.scatter_px
    assert (np.sqrt(np.mean(np.square(errors), axis=0)) < 1.25 * claimed).all()


def test_hidden_half_claims_more_uncertainty_and_fewer_rays():
    whole = draw_ball(40, Look(DARK), np.random.default_rng(3)).fit()
    half = draw_ball(40, Look(DARK), np.random.default_rng(3), extra="screen").fit()
    assert whole is not None
    assert half is not None
    assert half.rim_share < 0.7 < whole.rim_share
    assert np.trace(half.covariance) > 4 * np.trace(whole.covariance)


@pytest.mark.parametrize("y_ft", [10, 57])
def test_nothing_there_is_no_fit(y_ft):
    random = np.random.default_rng(5)
    assert [draw_ball(y_ft, Look(noise=2.5), random, extra="nothing").fit() for _ in range(4)] == [None] * 4


def test_contrast_is_in_sigmas_of_the_noise():
    fit = draw_ball(30, Look((150.0 - 60.0, 118, 138), noise=3.0), np.random.default_rng(2)).fit()
    assert fit is not None
    assert fit.contrast == pytest.approx(60.0 / 3.0, rel=0.1)


@pytest.mark.parametrize("ratio", [0.9, 1.1])
def test_ball_of_another_size_shows_as_size_and_not_as_a_shift(ratio):
    drawing = draw_ball(40, Look(DARK), np.random.default_rng(4), away_px=0.0, true_size=ratio)
    fit = drawing.fit()
    assert fit is not None
    assert np.sign(fit.size_px) == np.sign(ratio - 1)
    assert fit.centre_px == pytest.approx(drawing.true_px, abs=0.6)


@pytest.mark.parametrize(("blur_px", "low", "high"), [(0.6, 0.4, 0.8), (1.0, 0.75, 1.15), (2.0, 1.2, 2.2)])
def test_blur_of_the_rim_is_told_up_to_what_its_window_shows(blur_px, low, high):
    random = np.random.default_rng(5)
    fits = [draw_ball(30, Look(DARK, blur_px=blur_px), random).fit() for _ in range(DRAWS)]
    assert low < np.median([fit.blur_px for fit in fits if fit is not None]) < high


def test_balls_fitted_together_are_those_fitted_alone():
    random = np.random.default_rng(3)
    drawing = draw_ball(40, Look(DARK), random)
    rims = [replace(drawing.rim, centre=drawing.rim.centre + random.normal(0, 1.0, 2)) for _ in range(30)]
    sought = [replace(drawing.sought, rim=rim) for rim in rims]
    together = fit_balls(sought, drawing.background, origin=drawing.origin)
    for ball, fit in zip(sought, together, strict=True):
        (alone,) = fit_balls([ball], drawing.background, origin=drawing.origin)
        assert fit is not None
        assert alone is not None
        assert fit.centre_px == pytest.approx(alone.centre_px, abs=1e-3)
