"""The limit of knowledge: how well a shot's numbers can be known from pixels of known noise, through a known camera.

State and priors are those of the physical fit: launch (time, place and velocity free), direction of slip, grip, and
the friction along the lane. The information of the pixels and that of the priors add (van Trees, Detection, Estimation
and Modulation Theory I, 1968, section 2.4, from memory); a number g of the parameters is known to g' J^-1 g'^T at best.
J is taken at each shot's own truth and the variances are averaged over shots drawn from the priors; the bound proper
averages the information first, which is never larger (J -> J^-1 is convex).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular

from calibration.camera import Camera
from calibration.lane import ARROW_CENTRE_FT, ARROW_SLOPE_FT, Hand
from tracker.path.motion import AX, AY, BIAS_RADIUS_PX, SIZE, VX, VY, MotionModel, X, Y
from tracker.path.physical import (
    GRIP_IN_S,
    GRIP_LOG_SD,
    KNOT_SD,
    KNOTS_FT,
    LAUNCHED,
    PROFILE,
    PROFILE_SD,
    PROFILED,
    SLIP_SD_RAD,
    STEP_SD,
    friction_of,
)
from tracker.physics.slide import Launch, Slide, slide
from tracker.shot.analyse import LAYDOWN_USUAL_FT
from tracker.shot.curves import Curves, curves
from tracker.shot.numbers import Chevron, shot_numbers

Array = NDArray[np.float64]

PARAMETERS = PROFILED + len(KNOTS_FT)
T0, X0, VX0, VY0, SLIP, GRIP = range(LAUNCHED)
GRID_IN = np.arange(0.0, 781.0, 0.5)
"""Launch at the foul line; six times finer than the fit's grid, so that what that one rounds shows in the scatter."""
FINE_S = 0.002
PIXEL_STEPS = np.array([1e-4, 1e-2, 1e-2, 1e-2, *[1e-3] * (PARAMETERS - 4)])
NEAR_REACH, FAR_REACH = 0.25, 1.5
"""Steps of a number's derivative in standard deviations of what is left open."""
SMOOTH_WITHIN = 0.3
FROM_FRAMES = ("first_seen_ft", "first_seen_board", "laydown_ft")
"""Where the first frame happens to be, or taken as usual: no numbers of the shot."""


@dataclass(frozen=True, slots=True)
class View:
    """What a ball is seen with.

    Attributes
    ----------
    camera : Camera
        Known without error.
    noise_px : float
        Standard deviation of the white noise of u and of v.
    bias : MotionModel or None
        Rim bias that stays for a while (its ``bias_px`` and ``bias_time_s``); None for white noise alone.
    radius_in : float
        Ball's radius, known without error.
    """

    camera: Camera
    noise_px: float
    bias: MotionModel | None
    radius_in: float = 4.295


@dataclass(frozen=True, slots=True)
class Bound:
    """Limit of one shot.

    Attributes
    ----------
    truth, sigma : dict of str to float
        Each smooth number's true value and the least standard deviation of an estimate.
    covariance : ndarray of shape (p, p)
        Of the parameters.
    """

    truth: dict[str, float]
    sigma: dict[str, float]
    covariance: Array


def ball_paths(parameters: Array) -> Slide:
    """Paths of parameter sets ``(m, p)`` on the fine grid."""
    p = parameters.T
    friction = friction_of(parameters[:, LAUNCHED:], GRID_IN / 12.0)
    return slide(Launch(p[T0], p[X0], p[VX0], p[VY0], p[SLIP], np.exp(p[GRIP])), friction, GRID_IN)


def states_at(found: Slide, t_s: Array) -> Array:
    """States ``(m, n, 8)`` of paths at times ``t_s`` ``(n,)``."""
    out = np.zeros((len(found.t_s), len(t_s), SIZE))
    names = {X: "x_in", VX: "vx_in_s", AX: "ax_in_s2", Y: "y_in", VY: "vy_in_s", AY: "ay_in_s2"}
    for column, name in names.items():
        for k, values in enumerate(getattr(found, name)):
            out[k, :, column] = np.interp(t_s, found.t_s[k], values)
    return out


def pixels_at(view: View, parameters: Array, t_s: Array) -> Array:
    """True pixels ``(m, n, 2)`` of the ball's centre."""
    states = states_at(ball_paths(parameters), t_s)
    centre = np.stack([states[..., X], states[..., Y], np.full(states.shape[:2], view.radius_in)], axis=-1)
    return view.camera.project(centre)


def prior_information() -> Array:
    """Information ``(p, p)`` of the physical fit's priors; launch time, place and velocity have none."""
    k = len(KNOTS_FT)
    steps = np.diff(np.eye(k), axis=0)
    out = np.zeros((PARAMETERS, PARAMETERS))
    out[SLIP, SLIP], out[GRIP, GRIP] = SLIP_SD_RAD**-2, GRIP_LOG_SD**-2
    out[LAUNCHED:PROFILED, LAUNCHED:PROFILED] = np.diag(PROFILE_SD**-2.0)
    out[PROFILED:, PROFILED:] = np.eye(k) / KNOT_SD**2 + steps.T @ steps / STEP_SD**2
    return out


def prior_draw(random: np.random.Generator) -> Array:
    """Parameters ``(p,)`` from the priors; those without one are zero."""
    out = np.zeros(PARAMETERS)
    information = prior_information()[SLIP:, SLIP:]
    # x = L^-T z has covariance (L L^T)^-1
    root = np.linalg.cholesky(information)
    out[SLIP:] = solve_triangular(root.T, random.standard_normal(len(root)))
    out[GRIP] += np.log(GRIP_IN_S)
    out[LAUNCHED:PROFILED] += PROFILE
    return out


def noise_covariances(view: View, parameters: Array, t_s: Array) -> tuple[Array, Array]:
    """Covariances ``(n, n)`` of the errors of all u and of all v."""
    white = view.noise_px**2 * np.eye(len(t_s))
    if view.bias is None:
        return white, white
    state = states_at(ball_paths(parameters[None]), t_s)[0]
    centre = np.column_stack([state[:, X], state[:, Y], np.full(len(t_s), view.radius_in)])
    reach = np.linalg.norm(view.camera.to_camera(centre), axis=1)
    scale = np.maximum(1.0, view.camera.f_px * view.radius_in / reach / BIAS_RADIUS_PX)
    alike = np.exp(-np.abs(t_s[:, None] - t_s) / view.bias.bias_time_s) * np.outer(scale, scale)
    u, v = (white + sd**2 * alike for sd in view.bias.bias_px)
    return u, v


def information(view: View, parameters: Array, t_s: Array) -> Array:
    """Fisher information ``(p, p)`` of the pixels at times ``t_s`` ``(n,)`` for Gaussian noise of known covariance."""
    moved = np.vstack([parameters + np.diag(PIXEL_STEPS), parameters - np.diag(PIXEL_STEPS)])
    pixel = pixels_at(view, moved, t_s)
    slope = (pixel[:PARAMETERS] - pixel[PARAMETERS:]) / (2 * PIXEL_STEPS[:, None, None])
    out = np.zeros((PARAMETERS, PARAMETERS))
    for axis, noise in enumerate(noise_covariances(view, parameters, t_s)):
        white = solve_triangular(np.linalg.cholesky(noise), slope[..., axis].T, lower=True)
        out += white.T @ white
    return out


def inverse(information: Array) -> Array:
    """Inverse of an information matrix whose parameters have very different units."""
    scale = 1.0 / np.sqrt(np.diag(information))
    return np.asarray(np.linalg.inv(information * np.outer(scale, scale)) * np.outer(scale, scale))


def root_of(covariance: Array) -> Array:
    """Square root ``(p, p)`` of a covariance, columns are directions of one standard deviation."""
    scale = np.sqrt(np.diag(covariance))
    values, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    return np.asarray(scale[:, None] * vectors * np.sqrt(np.maximum(values, 0.0)))


def numbers_of(c: Curves) -> dict[str, Array]:
    """All numbers ``(m,)`` with arrows as modelled and the laydown as usual."""
    count = len(c.board)
    chevron = Chevron(np.full(count, ARROW_CENTRE_FT), np.full(count, ARROW_SLOPE_FT))
    laydown = np.full(count, max(1.0, min(LAYDOWN_USUAL_FT, c.first_ft)))
    values = shot_numbers(c, laydown, chevron).values
    return {name: v for name, v in values.items() if name not in FROM_FRAMES}


def true_numbers(view: View, parameters: Array, t_s: tuple[float, float], hand: Hand) -> dict[str, Array]:
    """Numbers ``(m,)`` of parameter sets ``(m, p)`` by the program's definitions, on a path of states 2 ms apart.

    ``t_s`` is from the first sight to the first contact.
    """
    states = states_at(ball_paths(parameters), np.arange(t_s[0], t_s[1], FINE_S))
    return numbers_of(curves(states, states.shape[1] - 1, hand, view.radius_in, reaches_pins=True))


def number_bounds(numbers: Callable[[Array], dict[str, Array]], middle: Array, covariance: Array) -> Bound:
    """Bounds of the numbers from the covariance of the parameters.

    With L L^T = J^-1 the bound's square is the sum of the squares of the derivatives along the columns of L, which
    central differences give in steps that suit each direction. A number that is missing within the steps, or whose
    bound depends on their size, does not exist smoothly and is left out: so the last feet of a ball of which the pixels
    do not tell whether it slips to the pins or comes to roll just before them.
    """
    root = root_of(covariance).T
    far, near = (
        numbers(np.vstack([middle, middle + reach * root, middle - reach * root])) for reach in (FAR_REACH, NEAR_REACH)
    )
    truth, sigma = {}, {}
    k = len(root)
    for name, values in far.items():
        both = [
            float(np.sqrt(np.sum(((v[1 : k + 1] - v[k + 1 :]) / (2 * reach)) ** 2)))
            for v, reach in ((values, FAR_REACH), (near[name], NEAR_REACH))
        ]
        if np.all(np.isfinite(both)) and abs(both[0] - both[1]) < SMOOTH_WITHIN * both[1]:
            truth[name], sigma[name] = float(near[name][0]), both[1]
    return Bound(truth, sigma, covariance)


def bound_of(view: View, parameters: Array, t_s: Array, *, contact_s: float, hand: Hand) -> Bound:
    """The limit of one shot seen at times ``t_s`` ``(n,)``, which touches the first pin at ``contact_s``."""
    covariance = inverse(information(view, parameters, t_s) + prior_information())
    span = (float(t_s[0]), contact_s)
    return number_bounds(lambda sets: true_numbers(view, sets, span, hand), parameters, covariance)
