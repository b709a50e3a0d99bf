"""Shots drawn from the physical fit's priors, seen through known cameras, and what the chain makes of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from limit import SLIP, T0, VX0, VY0, X0, View, ball_paths, noise_covariances, pixels_at, prior_draw, states_at
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import ARROW_CENTRE_FT, ARROW_SLOPE_FT, LANE_WIDTH_IN, Hand
from tracker.detection.outline import BallFit
from tracker.detection.watch import Detection, FrameLook
from tracker.path.motion import MotionModel, X, Y
from tracker.path.physical import LAUNCHED, LOG_MU_RANGE, fit_physical, friction_of
from tracker.path.posterior import CommonErrors, PathDraws, draw_paths
from tracker.path.runs import find_runs
from tracker.path.smooth import SmoothPath, pin_gap_in, smooth_run
from tracker.shot.analyse import Analysis, Arrows, analyse

Array = NDArray[np.float64]

LANDSCAPE_60 = Camera(
    32.0, -228.0, 67.0, -4.2, 8.6, 0.35, f_px=2460.0, k1=-0.02, width_scale=1.0, width=1920, height=1080
)
UPRIGHT_30 = Camera(24.0, -215.0, 72.0, -3.0, 9.5, -0.6, f_px=2350.0, k1=0.01, width_scale=1.0, width=1080, height=1920)
FAST_120 = Camera(-28.0, -240.0, 64.0, 3.4, 7.6, 0.2, f_px=1640.0, k1=0.0, width_scale=1.0, width=1280, height=720)
FIRST_SIGHT_IN = 15.0
ENDS_IN, SLOWEST_IN_S = 12.0, 170.0
MOST_SLIP_RAD = 1.3
QUIET_PX = 1e-3
ARROWS = Arrows(ARROW_CENTRE_FT, 0.0, ARROW_SLOPE_FT, 0.0, modelled=False)
COUNT = 160


@dataclass(frozen=True, slots=True)
class Setup:
    """A camera and how its frames come: rate, jitter of the intervals and share of frames dropped."""

    name: str
    camera: Camera
    fps: float
    jitter_s: float = 0.0
    dropped: float = 0.0

    def times(self, random: np.random.Generator) -> Array:
        """Frame times in seconds from before the ball is on the lane until after the pins, none of them missed."""
        t = -0.2 + (np.arange(int(4.2 * self.fps)) + random.uniform()) / self.fps
        t = t + random.uniform(-self.jitter_s, self.jitter_s, len(t))
        return np.asarray(t[random.uniform(size=len(t)) >= self.dropped])


SETUPS = (
    Setup("landscape 1080p at 60", LANDSCAPE_60, 60.0),
    Setup("upright 1080p at 30, jitter 4 ms, 7 % dropped", UPRIGHT_30, 30.0, 0.004, 0.07),
    Setup("landscape 720p at 120", FAST_120, 120.0),
)


@dataclass(frozen=True, slots=True)
class Shot:
    """A shot of known parameters and the frame times of its clip; ``seen`` are the frames in which the ball shows."""

    parameters: Array
    hand: Hand
    t_s: Array
    seen: NDArray[np.bool_]
    contact_s: float


@dataclass(frozen=True, slots=True)
class Measured:
    """What the chain made of one realisation of the noise: by the physical fit (None where there is none) and plain."""

    path: SmoothPath
    model: MotionModel
    fitted: PathDraws | None
    agrees: bool
    physical: Analysis | None
    plain: Analysis


def _contact_s(parameters: Array, radius_in: float) -> float | None:
    """Time of first contact of a ball that stays on the lane and hits a pin at a fair speed; else None."""
    found = ball_paths(parameters[None])
    gaps = np.array([pin_gap_in(x, y, radius_in) for x, y in zip(found.x_in[0], found.y_in[0], strict=True) if y > 690])
    touch = np.flatnonzero(gaps <= 0)
    if not len(touch):
        return None
    row = int(np.searchsorted(found.y_in[0], 690, side="right")) + int(touch[0])
    on_lane = np.abs(found.x_in[0, : row + 1]).max() < LANE_WIDTH_IN / 2 - 1.0
    before = row - 1
    share = gaps[touch[0] - 1] / (gaps[touch[0] - 1] - gaps[touch[0]]) if touch[0] else 1.0
    time = found.t_s[0, before] + share * (found.t_s[0, row] - found.t_s[0, before])
    return float(time) if on_lane and found.vy_in_s[0, row] > SLOWEST_IN_S else None


def draw_shot(setup: Setup, random: np.random.Generator, radius_in: float) -> Shot:
    """A shot from the priors; launch place and direction, which have none, are such that it ends among the pins."""
    while True:
        p = prior_draw(random)
        p[T0], p[VY0] = 0.0, random.uniform(260.0, 340.0)
        end, lean = random.uniform(-ENDS_IN, ENDS_IN), random.uniform(-0.02, 0.06) * -np.sign(p[SLIP])
        p[VX0] = lean * p[VY0]
        aimed = ball_paths(p[None])
        p[X0] = end - float(np.interp(712.0, aimed.y_in[0], aimed.x_in[0]))
        contact = _contact_s(p, radius_in)
        friction = np.log(friction_of(p[None, LAUNCHED:], aimed.y_in[0] / 12))
        inside = LOG_MU_RANGE[0] < friction.min() and friction.max() < LOG_MU_RANGE[1]
        if contact is None or abs(p[SLIP]) > MOST_SLIP_RAD or not inside:
            continue
        times = setup.times(random)
        y = np.interp(times, aimed.t_s[0], aimed.y_in[0])
        seen = (times > 0) & (y >= FIRST_SIGHT_IN) & (times < contact)
        return Shot(p, "right" if p[SLIP] < 0 else "left", times, seen, contact)


def looks_at(view: View, shot: Shot, random: np.random.Generator) -> list[FrameLook]:
    """Looks at the ball with one realisation of the noise that the bound assumes.

    Detections are of the whole disc: for outlines before the pins the filter adds a variance that is not simulated.
    """
    t = shot.t_s[shot.seen]
    pixel = pixels_at(view, shot.parameters[None], t)[0]
    for axis, noise in enumerate(noise_covariances(view, shot.parameters, t)):
        pixel[:, axis] += np.linalg.cholesky(noise) @ random.standard_normal(len(t))
    place = view.camera.back_project(pixel, view.radius_in)
    shown = iter(zip(pixel, place, strict=True))
    return [
        FrameLook(k, float(now), (_detection(k, float(now), *next(shown), sigma_px=view.noise_px),) if seen else ())
        for k, (now, seen) in enumerate(zip(shot.t_s, shot.seen, strict=True))
    ]


def _detection(frame: int, t_s: float, pixel: Array, place: Array, *, sigma_px: float) -> Detection:
    fit = BallFit(pixel, np.eye(2) * sigma_px**2, 0.0, 1.0, 40.0, "disc")
    return Detection(frame, t_s, fit, float(place[0]), float(place[1]), 0.9)


def motion_of(view: View) -> MotionModel:
    """The chain's motion model with the rim bias that the view has."""
    if view.bias is None:
        return MotionModel(bias_px=(QUIET_PX, QUIET_PX))
    return MotionModel(bias_px=view.bias.bias_px, bias_time_s=view.bias.bias_time_s)


def smoothed_of(view: View, looks: Sequence[FrameLook]) -> tuple[SmoothPath, MotionModel] | None:
    """The chain from looks to the smoothed path; None where none is found."""
    ahead = view.camera.project(np.array([[0.0, 715.0, view.radius_in], [0.0, 725.0, view.radius_in]]))
    runs = find_runs(list(looks), 10.0 / abs(float(ahead[1, 1] - ahead[0, 1])))
    return smooth_run(runs[0], list(looks), view.camera, view.radius_in, model=motion_of(view)) if runs else None


def measure(view: View, looks: Sequence[FrameLook], hand: Hand) -> Measured | None:
    """The chain from looks to numbers with a camera and a ball that are known; None where no path is found."""
    smoothed = smoothed_of(view, looks)
    if smoothed is None:
        return None
    path, model = smoothed
    errors = CommonErrors(view.camera, np.zeros((9, 9)), view.radius_in, 0.0)
    fitted, plain = fit_physical(path, errors, model, COUNT), draw_paths(path, errors, model, COUNT)
    by_fit = analyse(path, fitted.draws, ARROWS, view.radius_in, hand=hand) if fitted is not None else None
    by_smoother = analyse(path, plain, ARROWS, view.radius_in, hand=hand)
    return Measured(
        path,
        model,
        fitted.draws if fitted is not None else None,
        fitted is not None and fitted.agrees,
        by_fit,
        by_smoother,
    )


def place_misses(path: SmoothPath, shot: Shot) -> Array:
    """Smoothed minus true x and y ``(n, 2)`` of the rows of a path, inches."""
    true = states_at(ball_paths(shot.parameters[None]), path.t_s)[0]
    return np.asarray(path.mean[:, [X, Y]] - true[:, [X, Y]])
