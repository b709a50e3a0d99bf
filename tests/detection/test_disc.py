"""The whole disc on drawn balls with known places: faint shading, pins behind, mirror images, and beside a rim."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from discs import FLOOR, SITE, Drawing, Look, draw_ball

from tracker.detection.disc import _rivals, fit_discs
from tracker.detection.outline import BallFit, Planes, fit_balls

DRAWS = 12
SHAPES = ((1080, 1920), (540, 960), (540, 960))
DARK, AS_BOARDS, IVORY = (40.0, 128.0, 128.0), FLOOR, (205.0, 124.0, 132.0)
Fitted = Callable[[Drawing], BallFit | None]


def by_disc(drawing: Drawing) -> BallFit | None:
    return fit_discs([drawing.sought], [None], drawing.background, origin=drawing.origin)[0]


def by_rim(drawing: Drawing) -> BallFit | None:
    return drawing.fit()


def together(fit: BallFit, drawing: Drawing) -> BallFit:
    both = fit_discs([drawing.sought], [fit], drawing.background, origin=drawing.origin)[0]
    assert both is not None
    return both


def by_both(drawing: Drawing) -> BallFit | None:
    fit = drawing.fit()
    return fit and together(fit, drawing)


@dataclass(frozen=True)
class Case:
    """A ball, and how far its centre may be off on average and in scatter, shares of its radius."""

    name: str
    y_ft: float
    look: Look
    bias: float = 0.03
    scatter: float = 0.04
    extra: str = ""
    away: float = 0.5
    pins: bool = False

    def draws(self) -> list[Drawing]:
        random, radius = np.random.default_rng(11), 4.295 * 2460 / (self.y_ft * 12 + 228)
        return [
            draw_ball(self.y_ft, self.look, random, extra=self.extra, away_px=self.away * radius, pins=self.pins)
            for _ in range(DRAWS)
        ]


CASES = (
    Case("light above, dark below, near", 12, Look(AS_BOARDS, noise=6), extra="shade"),
    Case("light above, dark below, far", 45, Look(AS_BOARDS, noise=4), bias=0.05, scatter=0.06, extra="shade"),
    Case("dark", 30, Look(DARK)),
    Case("dark over its mirror image", 30, Look(DARK), extra="image"),
    Case("dark before pins", 57, Look(DARK), pins=True),
    Case("ivory before pins", 57, Look(IVORY, noise=3), bias=0.05, scatter=0.05, pins=True),
)


def errors(drawings: list[Drawing], fitted: Fitted) -> tuple[np.ndarray, np.ndarray]:
    """Errors ``(n, 2)`` and claimed sigmas of the centres that were found, in radii."""
    fits = [(d, fitted(d)) for d in drawings]
    kept = [(d, f) for d, f in fits if f is not None]
    off = np.array([(f.centre_px - d.true_px) / d.radius_px for d, f in kept]).reshape(-1, 2)
    return off, np.array([np.sqrt(np.diag(f.covariance)) / d.radius_px for d, f in kept]).reshape(-1, 2)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_bias_and_scatter_stay_within_the_table_and_below_the_claimed_sigma(case):
    off, claimed = errors(case.draws(), by_disc)
    assert len(off) == DRAWS
    assert np.abs(off.mean(axis=0)).max() < case.bias
    assert off.std(axis=0).max() < case.scatter
    assert (np.sqrt(np.mean(off**2, axis=0)) < 1.25 * np.median(claimed, axis=0)).all()


def test_a_rim_that_fades_all_round_is_not_followed_where_the_disc_is():
    drawings = [replace_noise(d) for d in CASES[0].draws()]
    rim, _ = errors(drawings, by_rim)
    disc, _ = errors(drawings, by_disc)
    assert len(disc) == DRAWS
    assert len(rim) < DRAWS or np.abs(rim).max() > 2 * np.abs(disc).max()


def replace_noise(drawing: Drawing) -> Drawing:
    """As a clip's background at rest has it: compression takes most of its noise away."""
    return replace(drawing, noise=np.array([1.5, 3.0, 3.0]))


def test_pins_behind_a_ball_pull_its_rim_and_not_its_disc():
    case = CASES[5]
    drawings = replace(case, away=0.1).draws()
    rim, _ = errors(drawings, by_rim)
    disc, _ = errors(drawings, by_disc)
    assert len(rim) < DRAWS / 2 or np.sqrt(np.mean(rim**2)) > 2 * np.sqrt(np.mean(disc**2))


@pytest.mark.parametrize("case", CASES[2:4], ids=lambda case: case.name)
def test_together_they_are_nearer_to_the_better_of_both(case):
    drawings = replace(case, away=0.1).draws()
    rim, disc, both = (np.sqrt(np.mean(errors(drawings, how)[0] ** 2)) for how in (by_rim, by_disc, by_both))
    assert both < 0.6 * (rim + disc)


def test_together_the_covariance_grows_where_they_disagree():
    drawing = draw_ball(40, Look(DARK), np.random.default_rng(3))
    fit = drawing.fit()
    assert fit is not None
    there = together(fit, drawing)
    aside = replace(fit, centre_px=fit.centre_px + np.array([0.25, 0.0]) * drawing.radius_px)
    beside = together(aside, drawing)
    assert np.trace(beside.covariance) > 3 * np.trace(there.covariance)
    assert drawing.true_px[0] < beside.centre_px[0] < aside.centre_px[0]


@pytest.mark.parametrize("y_ft", [10, 57])
def test_nothing_there_is_no_fit(y_ft):
    random = np.random.default_rng(5)
    drawings = [draw_ball(y_ft, Look(noise=4), random, extra="nothing") for _ in range(6)]
    assert [by_disc(d) for d in drawings] == [None] * 6


def test_a_rim_with_no_disc_stays_and_knows_what_pulls_at_it():
    drawing = draw_ball(30, Look(noise=3), np.random.default_rng(5), extra="nothing")
    fit = BallFit(drawing.true_px, np.eye(2), 0.0, 0.8, 9.0)
    alone = together(fit, drawing)
    assert alone.centre_px == pytest.approx(fit.centre_px)
    assert np.diag(alone.covariance) == pytest.approx([1.01, 1.1225])


def test_says_how_it_was_placed():
    drawing = draw_ball(30, Look(DARK), np.random.default_rng(2))
    fit = by_disc(drawing)
    assert fit is not None
    assert (fit.how, fit.sharp) == ("disc", True)


@pytest.mark.parametrize("best", [-5000.0, -10.0, 0.0, 900.0])
def test_rivals_widen_by_no_more_than_their_distance(best):
    """Also where the whole search explains less than the empty lane: likelihoods beside the best are below 1."""
    away = np.array([(8.0, 0.0), (0.0, 8.0), (1.0, 0.0)])
    spread = _rivals(away, np.array([best, best - 3.0, best - 400.0]), 10.0)
    assert np.all(np.isfinite(spread))
    assert np.trace(spread) < 64.0


def test_balls_fitted_together_are_those_fitted_one_by_one():
    """Of all sizes and looks, more than are fitted at a time, in one crop's background."""
    random = np.random.default_rng(3)
    looks = (Look(DARK), Look((165.0, 118.0, 138.0)), Look((150.0, 80.0, 190.0)))
    drawings = [draw_ball(y_ft, looks[k % 3], random, away_px=6.0) for k, y_ft in enumerate(np.linspace(8, 58, 26))]
    empty = Planes(*(np.full(shape, level, np.uint8) for shape, level in zip(SHAPES, FLOOR, strict=True)), SITE)
    sought = [replace(d.sought, planes=in_frame(d, empty)) for d in drawings]
    rims = [fit if k % 2 else None for k, fit in enumerate(fit_balls(sought, empty, origin=(0, 0)))]
    together = fit_discs(sought, rims, empty, origin=(0, 0))
    alone = [fit_discs([ball], [rim], empty, origin=(0, 0))[0] for ball, rim in zip(sought, rims, strict=True)]
    assert sum(fit is not None for fit in together) > 20
    for one, other in zip(together, alone, strict=True):
        assert (one is None) == (other is None)
        if one is not None and other is not None:
            assert one.centre_px == pytest.approx(other.centre_px, abs=1e-3)
            assert one.covariance == pytest.approx(other.covariance, rel=0.02)
            assert one.contrast == pytest.approx(other.contrast, rel=1e-3)


def in_frame(drawing: Drawing, empty: Planes) -> Planes:
    """The drawn crop in its frame."""
    (left, top), (height, width) = drawing.origin, drawing.frame.luma.shape
    planes = []
    for whole, drawn, part in zip(
        (empty.luma, empty.cb, empty.cr),
        (drawing.frame.luma, drawing.frame.cb, drawing.frame.cr),
        (1, 2, 2),
        strict=True,
    ):
        own = whole.copy()
        first, end = max(top, 0) // part, min(top + height, SHAPES[0][0]) // part
        own[first:end, left // part : (left + width) // part] = drawn[first - top // part : end - top // part]
        planes.append(own)
    return Planes(*planes, SITE)


def test_a_ball_beside_the_crop_is_none():
    """No pixel of the ring around it tells a noise."""
    drawing = draw_ball(30, Look(DARK), np.random.default_rng(2))
    away = replace(drawing.rim, centre=drawing.rim.centre + 8 * drawing.radius_px)
    assert fit_discs([replace(drawing.sought, rim=away)], [None], drawing.background, origin=drawing.origin) == [None]
