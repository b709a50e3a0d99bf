"""What the physical fit says of launch and lane, on simulated balls, ordinary and special ones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from rolling import CAMERA, CONTACT_IN, HOOK, QUIET, RADIUS_IN, run_of, seen_from

from sample_media.physics import DensePath, simulate
from sample_media.spec import BallSpec, LaneSpec, ShotSpec
from tracker.columns import FIT_NUMBERS
from tracker.detection.watch import FrameLook
from tracker.path.motion import MotionModel, Y
from tracker.path.physical import PhysicalPath, fit_physical
from tracker.path.posterior import CommonErrors
from tracker.path.smooth import SmoothPath, smooth_run
from tracker.results import LaunchFit, Quantity, no_launch_fit

BALL = BallSpec(diameter_in=2 * RADIUS_IN)
ERRORS = CommonErrors(CAMERA, np.zeros((9, 9)), RADIUS_IN, 0.005)
TIMES_60 = np.arange(-10, 190) / 60
ROLLING = ("change_mph", "forward_spin_rpm", "side_spin_rpm")
ON_HOOK = ("change_direction_deg", "oil_friction", "dry_friction", "oil_end_ft")


@dataclass(frozen=True)
class Shot:
    """A simulated shot, its fit and its true numbers (``+x`` is the positive side)."""

    dense: DensePath
    path: SmoothPath
    fit: PhysicalPath
    truth: Mapping[str, float]

    @property
    def said(self) -> Mapping[str, Quantity]:
        return self.fit.launch.quantities


def true_numbers(dense: DensePath, seen_in: tuple[float, float]) -> dict[str, float]:
    """The fit's quantities by their definitions, from the simulated ball's own columns.

    Transition of the simulated lane is 2.5 ft to either side of its middle: oil and dry are what lies beyond.
    """
    at = {n: float(np.interp(seen_in[0], dense.y_in, getattr(dense, n))) for n in ("vx", "vy", "wx", "wy", "slip")}
    speed = float(np.hypot(at["vx"], at["vy"]))
    ux, uy = at["vx"] - BALL.radius_in * at["wy"], at["vy"] + BALL.radius_in * at["wx"]
    share = BALL.gyration_in**2 / (BALL.gyration_in**2 + BALL.radius_in**2)
    felt = (dense.y_in >= seen_in[0]) & (dense.y_in <= seen_in[1]) & (dense.slip > 0)
    wet, dry = dense.mu[felt][0], dense.mu[dense.y_in < seen_in[1]][-1]
    half_in = dense.y_in[np.argmax(dense.mu >= np.sqrt(wet * dry))]
    oiled = felt & (dense.y_in < half_in - 24)
    return {
        "speed_mph": speed / 17.6,
        "heading_deg": float(np.degrees(np.arctan2(at["vx"], at["vy"]))),
        "change_direction_deg": float(np.degrees(np.arctan2(-ux, uy))),
        "change_mph": share * at["slip"] / 17.6,
        "forward_spin_rpm": (at["wy"] * at["vx"] - at["wx"] * at["vy"]) / speed * 30 / np.pi,
        "side_spin_rpm": (at["wx"] * at["vx"] + at["wy"] * at["vy"]) / speed * 30 / np.pi,
        "oil_friction": float(np.exp(np.mean(np.log(dense.mu[oiled])))),
        "dry_friction": float(dry),
        "oil_end_ft": float(half_in / 12),
    }


def shot_of(spec: ShotSpec, lane: LaneSpec, seed: int = 1, *, looks: list[FrameLook] | None = None) -> Shot:
    dense = simulate(spec, BALL, lane)
    looks = seen_from(dense, TIMES_60, seed=seed) if looks is None else looks
    smoothed = smooth_run(run_of(looks), looks, CAMERA, RADIUS_IN, model=QUIET)
    assert smoothed is not None
    fit = fit_physical(smoothed[0], ERRORS, smoothed[1])
    assert fit is not None
    seen = float(fit.draws.mean[0, Y]), float(fit.draws.mean[smoothed[0].last_seen, Y])
    return Shot(dense, smoothed[0], fit, true_numbers(dense, seen))


@cache
def hook() -> Shot:
    return shot_of(HOOK, LaneSpec())


def assert_told(shot: Shot, *, empty: Mapping[str, set[str]]) -> None:
    """Every number within three of its u, except the empty ones, which carry one of their flags."""
    assert list(shot.said) == [c.name for c in FIT_NUMBERS]
    for name, q in shot.said.items():
        if name in empty:
            assert q.value is None, name
            assert q.missing in empty[name], name
        else:
            assert q.value is not None, (name, q.missing)
            assert q.u is not None
            assert abs(q.value - shot.truth[name]) < 3 * q.u, name


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_an_ordinary_hook_is_told_whole(seed):
    shot = shot_of(HOOK, LaneSpec(), seed)
    assert shot.fit.agrees
    assert_told(shot, empty={})


def test_claimed_uncertainty_is_the_scatter_of_errors():
    """Over nine draws of the noise; spin is left out, whose u is mostly that of a gyration that does not vary here."""
    shots = [shot_of(HOOK, LaneSpec(), seed) for seed in range(11, 20)]
    names = [c.name for c in FIT_NUMBERS if not c.name.endswith("_rpm")]
    off = np.array([[(s.said[n].value - s.truth[n]) / s.said[n].u for n in names] for s in shots])
    assert 0.6 < np.sqrt(np.mean(off**2)) < 1.4
    assert np.sqrt(np.mean(off**2, axis=0)).max() < 1.8


# What is told should also be worth telling: limits are twice what these simulated pixels gave, gyration's share in spin
# included.
def test_an_ordinary_hook_is_told_closely():
    limits = dict(zip((c.name for c in FIT_NUMBERS), (0.05, 0.05, 0.6, 0.08, 60, 30, 0.003, 0.04, 1.6), strict=True))
    assert {name for name, q in hook().said.items() if q.u is None or q.u > limits[name]} == set()


def test_a_ball_that_never_hooks():
    """Forward roll only, straight down the middle: friction shows in its speed alone."""
    straight = replace(HOOK, rev_rpm=200.0, rotation_deg=0.0, launch_deg=0.3, laydown_board=20.0)
    for seed in (1, 2):
        assert_told(shot_of(straight, LaneSpec(), seed), empty={name: {"straight_ball"} for name in ON_HOOK})


def test_a_ball_that_still_hooks_at_the_pins():
    """How much change is left, and so how much spin there was, is beyond the pins.

    The fit may as well have it roll within the last feet; the flag tells which of both it took.
    """
    fast = replace(HOOK, speed_mph=20.0, rev_rpm=420.0, rotation_deg=60.0)
    shot = shot_of(fast, LaneSpec(oil_ft=44.0, mu_oil=0.025, mu_dry=0.11))
    assert shot.dense.slip[shot.dense.y_in < CONTACT_IN][-1] > 0
    assert_told(shot, empty={name: {"still_turning", "not_determined"} for name in ROLLING})


def test_a_ball_that_has_rolled_for_a_foot_before_the_pins_is_not_told_from_one_that_slips():
    late = replace(HOOK, speed_mph=19.0, rotation_deg=60.0)
    shot = shot_of(late, LaneSpec(oil_ft=44.0, mu_oil=0.03, mu_dry=0.19))
    rolls_in = shot.dense.y_in[np.argmax(shot.dense.slip == 0)]
    assert CONTACT_IN - 60 < rolls_in < CONTACT_IN
    assert_told(shot, empty={name: {"not_determined", "still_turning"} for name in ROLLING})


def test_a_ball_that_rolls_out_at_35_ft():
    early = replace(HOOK, speed_mph=16.0, rev_rpm=330.0, rotation_deg=40.0, laydown_board=18.0, launch_deg=1.8)
    shot = shot_of(early, LaneSpec(oil_ft=28.5, mu_oil=0.05))
    assert shot.dense.y_in[np.argmax(shot.dense.slip == 0)] / 12 == pytest.approx(35.0, abs=1.0)
    assert_told(shot, empty={})


def test_a_ball_that_brushes_the_gutter_s_edge():
    """Its centre comes within an inch of the edge, and the ball comes back."""
    wide = replace(HOOK, laydown_board=8.4)
    shot = shot_of(wide, LaneSpec())
    assert 0 < 20.75 - np.abs(shot.dense.x_in).max() < 1.0
    assert shot.dense.on_lane.all()
    assert_told(shot, empty={})


def bouncing(dense: DensePath, first_in: float, height_in: float) -> list[FrameLook]:
    """Looks at a ball that hops over its first stretch: seen where the line of sight to it meets the lane's ball."""
    looks = []
    for look in seen_from(dense, TIMES_60):
        moved = []
        for d in look.detections:
            t = np.clip(look.t_s, 0, None)
            x, y = (float(np.interp(t, dense.t_s, getattr(dense, n))) for n in ("x_in", "y_in"))
            share = (y - dense.y_in[0]) / first_in
            lift = 4 * height_in * share * (1 - share) if share < 1 else 0.0
            off = CAMERA.project(np.array([x, y, RADIUS_IN + lift])) - CAMERA.project(np.array([x, y, RADIUS_IN]))
            place = CAMERA.back_project(d.fit.centre_px + off, RADIUS_IN)
            moved.append(
                replace(
                    d, fit=replace(d.fit, centre_px=d.fit.centre_px + off), x_in=float(place[0]), y_in=float(place[1])
                )
            )
        looks.append(replace(look, detections=tuple(moved)))
    return looks


def test_a_ball_that_bounces_where_it_is_set_down():
    dense = simulate(HOOK, BALL, LaneSpec())
    shot = shot_of(HOOK, LaneSpec(), looks=bouncing(dense, first_in=24.0, height_in=2.5))
    assert_told(shot, empty={})


def test_a_ball_seen_only_on_oil_says_nothing_of_dry_boards():
    looks = seen_from(simulate(HOOK, BALL, LaneSpec()), TIMES_60, until_in=26 * 12.0)
    smoothed = smooth_run(run_of(looks), looks, CAMERA, RADIUS_IN, model=QUIET)
    assert smoothed is not None
    fit = fit_physical(smoothed[0], ERRORS, smoothed[1])
    assert fit is not None
    for name in ("dry_friction", "oil_end_ft", *ROLLING):
        assert fit.launch.quantities[name].value is None


def test_sides_count_toward_the_pocket():
    fit = hook().fit.launch
    told, back = fit.toward_pocket("right"), fit.toward_pocket("left")
    assert back is fit
    side, push = (told.quantities[n].value for n in ("side_spin_rpm", "change_direction_deg"))
    assert side is not None
    assert push is not None
    assert min(side, push) > 0
    k, other = fit.names.index("side_spin_rpm"), fit.names.index("speed_mph")
    assert told.covariance[k, k] == fit.covariance[k, k]
    assert told.covariance[k, other] == -fit.covariance[k, other]


def test_covariance_s_diagonal_is_u_squared():
    fit = hook().fit.launch
    u = [fit.quantities[name].u for name in fit.names]
    np.testing.assert_allclose(np.sqrt(np.diag(fit.covariance)), u)
    np.testing.assert_allclose(np.diag(fit.correlation), 1.0)
    assert np.linalg.eigvalsh(fit.correlation).min() > -1e-9


def test_doubt_about_times_widens_what_rests_on_speed_and_leaves_the_values():
    path, model = hook().path, MotionModel(bias_px=(1e-3, 1e-3))
    sharp, vague = (fit_physical(path, ERRORS, model, timing_u=u) for u in ((0.0, 0.0), (0.01, 0.001)))
    assert sharp is not None
    assert vague is not None
    for name, q in vague.launch.quantities.items():
        assert q.value == sharp.launch.quantities[name].value
    u = {n: (sharp.launch.quantities[n].u or 0, q.u or 0) for n, q in vague.launch.quantities.items()}
    assert u["speed_mph"][1] == pytest.approx(0.01 * 17.26, rel=0.25)
    assert u["change_mph"][1] > 3 * u["change_mph"][0]
    assert u["heading_deg"][1] == pytest.approx(u["heading_deg"][0])


def test_a_fit_without_numbers_says_why():
    none: LaunchFit = no_launch_fit("gutter")
    assert {q.missing for q in none.quantities.values()} == {"gutter"}
    assert none.correlation.shape == (0, 0)
