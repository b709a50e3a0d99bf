"""Fit the slip-and-roll ball to a smoothed path's measurements: launch and friction with priors, full covariance.

Friction along the path goes smoothly from oil to dry, with piecewise linear departures from that in its logarithm, so
that it takes in oil that tapers in steps or is thinner outside without a map of the lane. The measurements' errors stay
from frame to frame (rim bias), which the residuals' covariance knows; camera and ball size shift everything together
and are carried linearly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.optimize import least_squares
from scipy.special import expit

from calibration.lane import INCHES_PER_FOOT
from tracker.path.launch import Sets, launch_fit
from tracker.path.motion import AX, AY, SIZE, VX, VY, MotionModel, X, Y, bias_scale
from tracker.path.posterior import CommonErrors, PathDraws, matrix_root, shared_shifts
from tracker.path.smooth import SmoothPath
from tracker.physics.slide import Launch, Slide, slide
from tracker.results import LaunchFit

Array = NDArray[np.float64]

KNOTS_FT = np.array([0.0, 14.0, 24.0, 31.0, 36.0, 40.0, 44.0, 48.0, 53.0, 60.0])
PROFILE = np.array([np.log(0.04), np.log(5.0), 41.0, np.log(1.2)])
PROFILE_SD = np.array([0.45, 0.5, 4.5, 0.7])
"""Log friction of oiled boards, log ratio of dry to oil, where one becomes the other in ft, and log of the scale of
that logistic step in ft, of which 4.4 take it from 10 to 90 % (wide: secondary sources and common practice)."""
KNOT_SD, STEP_SD = 0.15, 0.12
"""How far friction departs from that at a knot, and differently from one knot to the next, in its logarithm."""
LOG_MU_RANGE = (np.log(0.003), np.log(0.6))
GRIP_IN_S, GRIP_LOG_SD = 50.0, 0.6
SLIP_SD_RAD = 0.7
GRID_IN = 3.0
BEYOND_IN = 60.0
BEFORE_IN = 18.0
LAUNCHED, PROFILED = 6, 10
STEPS = np.array([1e-4, 1e-2, 1e-2, 1e-2, 1e-3, 1e-3, 1e-3, 1e-3, 1e-2, 1e-2] + [1e-3] * len(KNOTS_FT))
SLIP, GRIP, OIL_END = 4, 5, 8
_FREE = [np.inf] * (len(STEPS) - LAUNCHED)
LOWEST = -np.array([*[np.inf] * SLIP, 1.5, -np.log(5.0), *_FREE])
HIGHEST = np.array([*[np.inf] * SLIP, 1.5, np.log(400.0), *_FREE])
"""Friction slows a ball, and eight times the usual change of velocity or a tenth of it is no ball's: without limits a
fit can walk to the same direction one turn further, or to a ball that does not slip at all, and end there."""
ROLLS_AFTER = 0.9
"""Share of the change of velocity after which a ball that seemed to slip to the end is tried to roll."""
BEHIND_PX = 1e4
"""How far off a ball counts that a trial puts beside the camera or behind it."""
EVALUATIONS, EVALUATIONS_ASIDE = 100, 50
WORTH_GOING_ON = 15.0
"""Fits that have not come to an end go on where their cost is by less above the least: a valley ends that far below."""
ENDS_ASIDE_FT = (-6.0, 8.0, 12.0)
"""Of two places at which friction could rise a fit finds the one that it begins nearer to: it is begun with others as
well, and those that have not come to an end after so many evaluations creep along a valley."""
NEARLY_AS_LIKELY, APART = 4.0, 25.0
"""Ends within this cost of the least, and five sigma from it, are answers of their own: draws come from each."""
BENT_TURNS = 6
RULED_OUT, LEAST_SHARE = 8.0, 0.2
"""A draw whose cost is larger by this than a draw of that distance should have is four sigma off."""
SOFT_SIGMA = 2.5
ENOUGH = 1e-5
"""A change of the cost by less than this share moves no number by a hundredth of its uncertainty."""
DISAGREE = 4.0


@dataclass(frozen=True, slots=True)
class PhysicalPath:
    """A physical fit.

    Attributes
    ----------
    draws : PathDraws
        Best path and equally likely ones at the rows of the smoothed path (rim bias columns are zero).
    disagreement : float
        Mean square difference across the lane between this path and the smoother's, in their joint sigmas.
    launch : LaunchFit
        What the fit says of launch and lane, sides positive toward +x.
    """

    draws: PathDraws
    disagreement: float
    launch: LaunchFit

    @property
    def agrees(self) -> bool:
        """Whether the smoother, which knows no physics, tells the same path."""
        return self.disagreement < DISAGREE


@dataclass(frozen=True, slots=True)
class _Problem:
    """What the residuals need: measurements whitened by their joint covariance, priors, and the grid."""

    path: SmoothPath
    errors: CommonErrors
    rows: NDArray[np.intp]
    factors: tuple[Array, Array]
    y_in: Array
    knot_weight: Array


def _knot_weight() -> Array:
    """Rows that pull the departures at the knots ``(k,)`` and their differences toward 0."""
    k = len(KNOTS_FT)
    return np.vstack([np.eye(k) / KNOT_SD, np.diff(np.eye(k), axis=0) / STEP_SD])


def friction_of(profile: Array, distance_ft: Array) -> Array:
    """Friction coefficients ``(m, n)`` at distances ``(n,)`` of profiles ``(m, 4 + k)``."""
    return np.asarray(np.exp(_log_friction(profile, distance_ft, _dry_share(profile, distance_ft))))


def _dry_share(profile: Array, distance_ft: Array) -> Array:
    """Share of dry ``(m, n)``, 0 on oiled boards and 1 on dry ones."""
    end, taper = profile[:, 2, None], profile[:, 3, None]
    return np.asarray(expit((distance_ft - end) / np.exp(np.clip(taper, -2.0, 3.0))))


def _log_friction(profile: Array, distance_ft: Array, dry: Array | float) -> Array:
    """Logarithm of friction ``(m, n)`` at distances with some share of dry."""
    departures = np.stack([np.interp(distance_ft, KNOTS_FT, row) for row in profile[:, 4:]])
    return np.asarray(np.clip(profile[:, 0, None] + profile[:, 1, None] * dry + departures, *LOG_MU_RANGE))


def _paths(parameters: Array, y_in: Array) -> Slide:
    """Paths of parameter sets ``(m, p)``."""
    p = parameters.T
    friction = friction_of(parameters[:, LAUNCHED:], y_in / INCHES_PER_FOOT)
    return slide(Launch(p[0], p[1], p[2], p[3], p[SLIP], _grip_in_s(parameters)), friction, y_in)


def _grip_in_s(parameters: Array) -> Array:
    """Change of velocity until rolling ``(m,)``; trials far off are kept to what a number can hold."""
    return np.asarray(np.exp(np.clip(parameters[:, GRIP], 0.0, 6.0)))


def slip_end_ft(found: Slide) -> Array:
    """Where slip ends ``(m,)``, in the middle of the grid's step; infinite for a ball that slips over all of it."""
    first = np.argmin(found.slipping, axis=1)
    rows = np.arange(len(first))
    ends = ~found.slipping[rows, first]
    place = found.y_in[rows, first] - np.where(first > 0, GRID_IN / 2, 0.0)
    return np.where(ends, place / INCHES_PER_FOOT, np.inf)


def _states(found: Slide, t_s: Array) -> Array:
    """States ``(m, n, 8)`` at times ``t_s`` ``(n,)``."""
    out = np.zeros((len(found.t_s), len(t_s), SIZE))
    columns = (
        (X, found.x_in),
        (VX, found.vx_in_s),
        (AX, found.ax_in_s2),
        (Y, found.y_in),
        (VY, found.vy_in_s),
        (AY, found.ay_in_s2),
    )
    for k in range(len(out)):
        for column, values in columns:
            out[k, :, column] = np.interp(t_s, found.t_s[k], values[k])
    return out


def _whitener(
    path: SmoothPath, rows: NDArray[np.intp], errors: CommonErrors, model: MotionModel
) -> tuple[Array, Array]:
    """Lower Cholesky factors of the covariance of all u and of all v, rim bias and doubt about outliers included."""
    t = path.t_s[rows]
    scale = np.array([bias_scale(errors.camera, path.mean[k], errors.ball_radius_in) for k in rows])
    alike = np.exp(-np.abs(t[:, None] - t[None, :]) / model.bias_time_s) * np.outer(scale, scale)
    trust = np.maximum(1.0, np.nan_to_num(path.nis[rows]) / 4.0)
    factors = []
    for axis in (0, 1):
        own = path.pixel_covariance[rows, axis, axis] * trust
        total = np.diag(own) + model.bias_px[axis] ** 2 * alike
        factors.append(np.asarray(np.linalg.cholesky(total), dtype=np.float64))
    return factors[0], factors[1]


def _residuals(problem: _Problem, parameters: Array) -> Array:
    """Whitened residuals and priors ``(m, r)`` of parameter sets ``(m, p)``."""
    path, errors = problem.path, problem.errors
    states = _states(_paths(parameters, problem.y_in), path.t_s[problem.rows])
    centre = np.stack([states[..., X], states[..., Y], np.full(states.shape[:2], errors.ball_radius_in)], axis=-1)
    miss = path.pixel[problem.rows] - errors.camera.project(centre)
    miss = np.where(np.isfinite(miss), miss, BEHIND_PX)
    u, v = (solve_triangular(f, miss[..., k].T, lower=True).T for k, f in enumerate(problem.factors))
    profile = (parameters[:, LAUNCHED:PROFILED] - PROFILE) / PROFILE_SD
    knots = parameters[:, PROFILED:] @ problem.knot_weight.T
    grip = (parameters[:, GRIP, None] - np.log(GRIP_IN_S)) / GRIP_LOG_SD
    return np.concatenate([u, v, profile, knots, grip, parameters[:, SLIP, None] / SLIP_SD_RAD], axis=1)


def _jacobian(problem: _Problem) -> Callable[[Array], Array]:
    def jacobian(parameters: Array) -> Array:
        moved = np.vstack([parameters + np.diag(STEPS), parameters - np.diag(STEPS)])
        r = _residuals(problem, moved)
        return np.asarray(((r[: len(STEPS)] - r[len(STEPS) :]) / (2 * STEPS[:, None])).T)

    return jacobian


def _start(path: SmoothPath, y0_in: float) -> Array:
    first, last = path.mean[0], path.mean[path.last_seen]
    turned = last[[VX, VY]] - first[[VX, VY]]
    slip = float(np.clip(np.arctan2(turned[0], max(-turned[1], 5.0)), -1.2, 1.2))
    t0 = path.t_s[0] - (first[Y] - y0_in) / first[VY]
    launch = [t0, first[X] - (first[Y] - y0_in) * first[VX] / first[VY], first[VX], first[VY], slip]
    return np.array([*launch, np.log(np.clip(np.hypot(*turned), 15.0, 90.0)), *PROFILE, *np.zeros(len(KNOTS_FT))])


def _one_fit(problem: _Problem, start: Array, evaluations: int = EVALUATIONS) -> Any:
    return least_squares(
        lambda p: _residuals(problem, p[None])[0],
        np.clip(start, LOWEST + 1e-3, HIGHEST - 1e-3),
        jac=_jacobian(problem),
        bounds=(LOWEST, HIGHEST),
        method="trf",
        x_scale="jac",
        loss="soft_l1",
        f_scale=SOFT_SIGMA,
        ftol=ENOUGH,
        max_nfev=evaluations,
    )


@dataclass(frozen=True, slots=True)
class _Best:
    """Parameters ``(p,)`` at which a fit ended and what is left of residuals and priors there."""

    parameters: Array
    cost: float


def _ended(problem: _Problem, start: Array, *, unfinished: bool = False) -> list[_Best]:
    """Ends of fits from several starts, likeliest first; none where no fit converges.

    Where the slip ends beyond the last measurement nothing but its prior moves the grip, and a fit that has once come
    there finds no way back: from there a ball that comes to roll before is tried as well. ``unfinished`` fits are good
    enough where only the cost is of interest.
    """
    fits = [_one_fit(problem, start), *(_one_fit(problem, s, EVALUATIONS_ASIDE) for s in _starts_aside(start))]
    first = min(fits, key=lambda f: float(f.cost))
    change = _change_in_s(problem, first.x)
    if change < np.exp(first.x[GRIP]):
        again = first.x.copy()
        again[GRIP] = np.log(ROLLS_AFTER * change)
        fits.append(_one_fit(problem, again))
    if not unfinished:
        least = min(float(f.cost) for f in fits)
        fits += [_one_fit(problem, f.x) for f in fits if f.status == 0 and f.cost < least + WORTH_GOING_ON]
    done = [f for f in fits if (unfinished or f.status != 0) and np.all(np.isfinite(f.x))]
    return sorted((_Best(f.x, float(f.cost)) for f in done), key=lambda best: best.cost)


@dataclass(frozen=True, slots=True)
class _Mode:
    """A place ``(p,)`` at which a fit ended, its covariance, the weighted derivatives there, and its share of all."""

    parameters: Array
    covariance: Array
    weighted: Array
    share: float


def _modes(problem: _Problem, ends: list[_Best]) -> list[_Mode]:
    """The likeliest end first, and others that are nearly as likely and surely not the same.

    Shares are those of normal distributions about each (Laplace's approximation): likelihood times root of determinant.
    """
    modes: list[tuple[_Mode, float]] = []
    for end in (e for e in ends if e.cost < ends[0].cost + NEARLY_AS_LIKELY):
        # the loss's own weights, on plain derivatives: scipy's are scaled by them already
        weight = 1.0 / np.sqrt(1.0 + (_residuals(problem, end.parameters[None])[0] / SOFT_SIGMA) ** 2)
        jac = _jacobian(problem)(end.parameters)
        weighted = weight[:, None] * jac
        normal = jac.T @ weighted
        if np.linalg.cond(normal) > 1e16:
            continue
        away = [end.parameters - mode.parameters for mode, _ in modes]
        if any(
            float(d @ np.linalg.solve(mode.covariance, d)) < APART for d, (mode, _) in zip(away, modes, strict=True)
        ):
            continue
        log_share = ends[0].cost - end.cost - np.linalg.slogdet(normal)[1] / 2
        modes.append((_Mode(end.parameters, np.linalg.inv(normal), weighted, 1.0), float(log_share)))
    if not modes:
        return []
    shares = np.exp(np.array([share for _, share in modes]) - max(share for _, share in modes))
    return [replace(mode, share=float(own)) for (mode, _), own in zip(modes, shares / shares.sum(), strict=True)]


def _starts_aside(start: Array) -> list[Array]:
    starts = []
    for feet in ENDS_ASIDE_FT:
        aside = start.copy()
        aside[OIL_END] += feet
        starts.append(aside)
    return starts


def _change_in_s(problem: _Problem, parameters: Array) -> float:
    """Change of velocity from launch to the last measurement, in/s."""
    found = _paths(parameters[None], problem.y_in)
    last = int(np.searchsorted(found.t_s[0], problem.path.t_s[problem.path.last_seen]))
    row = min(last, found.vx_in_s.shape[1] - 1)
    return float(np.hypot(found.vx_in_s[0, row] - parameters[2], found.vy_in_s[0, row] - parameters[3]))


def _problem(path: SmoothPath, errors: CommonErrors, model: MotionModel) -> _Problem:
    rows = np.flatnonzero(path.seen)
    y0 = float(path.mean[0, Y]) - BEFORE_IN
    y_in = np.arange(y0, max(float(path.mean[-1, Y]), y0 + 120.0) + BEYOND_IN, GRID_IN)
    return _Problem(path, errors, rows, _whitener(path, rows, errors, model), y_in, _knot_weight())


def misfit(path: SmoothPath, errors: CommonErrors, model: MotionModel) -> float | None:
    """Half the sum of squares, softened, that the best physical fit leaves of measurements and priors.

    Of two clocks for one path the one with the smaller misfit is the likelier by the exponential of the difference,
    as far as friction and launch are as the priors say. The fit with a wrong clock creeps along without an end, but is
    near enough. None where no fit is possible.
    """
    problem = _problem(path, errors, model)
    ends = _ended(problem, _start(path, float(problem.y_in[0])), unfinished=True)
    return ends[0].cost if ends else None


def fit_physical(
    path: SmoothPath,
    errors: CommonErrors,
    model: MotionModel,
    count: int = 160,
    *,
    timing_u: tuple[float, float] = (0.0, 0.0),
    seed: int = 41,
) -> PhysicalPath | None:
    """Fit the physical ball to a smoothed path's measurements.

    Parameters
    ----------
    path : SmoothPath
        The smoothed path, whose measurements are fitted and whose times are kept.
    errors : CommonErrors
        Camera and ball with their uncertainties.
    model : MotionModel
        Its rim bias is used.
    count : int
        Number of equally likely paths.
    timing_u : tuple of float
        Relative uncertainty of speeds by timing at the first and at the last row; only the launch takes it in.
    seed : int
        Seed of the generator.

    Returns
    -------
    PhysicalPath or None
        None when the fit does not converge or the data leave the parameters open.
    """
    problem = _problem(path, errors, model)
    y_in = problem.y_in
    modes = _modes(problem, _ended(problem, _start(path, float(y_in[0]))))
    if not modes:
        return None
    found = modes[0].parameters
    random = np.random.default_rng(seed)
    normal = random.standard_normal((len(found), count))
    shared = matrix_root(errors.covariance) @ random.standard_normal((errors.covariance.shape[0], count))
    drawn = [found[None]]
    last = np.round(count * np.cumsum([mode.share for mode in modes])).astype(int)
    for mode, end, begin in zip(modes, last, [0, *last[:-1]], strict=True):
        if end > begin:
            drawn.append(_likely_sets(problem, mode, normal[:, begin:end], shared[:, begin:end]))
    sets = np.vstack(drawn)
    slides = _paths(sets, y_in)
    states = _states(slides, path.t_s)
    draws = PathDraws(path.t_s, states[0], states[1:], slip_end_ft(slides))
    prior = _prior_sets(found, count, random)
    launch = launch_fit(
        _sets(sets, slides),
        _sets(prior, _paths(prior, y_in)),
        (float(states[0, 0, Y]), float(states[0, path.last_seen, Y])),
        errors.ball_radius_in + np.append(0.0, shared[-1]),
        timing_u=timing_u,
    )
    return PhysicalPath(draws, _disagreement(path, states), launch)


def _likely_sets(problem: _Problem, mode: _Mode, normal: Array, shared: Array) -> Array:
    """Equally likely parameter sets ``(m, p)`` about a mode by standard normal numbers ``(p, m)`` and common errors."""
    own = matrix_root(mode.covariance) @ normal
    common = _common(problem, mode.covariance, mode.weighted) @ shared
    steps = (own + common).T
    return mode.parameters + _on_the_data(
        problem, mode.parameters, steps, weighted=mode.weighted, covariance=mode.covariance
    )


def _sets(parameters: Array, paths: Slide) -> Sets:
    """Parameter sets ``(m, p)`` and their paths as the launch is read from them."""
    profile, feet = parameters[:, LAUNCHED:], paths.y_in[0] / INCHES_PER_FOOT
    oil, dry = (_log_friction(profile, feet, share) for share in (0.0, 1.0))
    share = _dry_share(profile, feet)
    return Sets(parameters[:, SLIP], _grip_in_s(parameters), profile[:, 2], oil, log_dry=dry, dry=share, paths=paths)


def _prior_sets(best: Array, count: int, random: np.random.Generator) -> Array:
    """Parameter sets ``(1 + count, p)`` with all that has a prior drawn from it alone; the rest as fitted."""
    sets = np.tile(best, (1 + count, 1))
    draw = random.standard_normal((1 + count, len(best)))
    sets[:, SLIP] = SLIP_SD_RAD * draw[:, SLIP]
    sets[:, GRIP] = np.log(GRIP_IN_S) + GRIP_LOG_SD * draw[:, GRIP]
    sets[:, LAUNCHED:PROFILED] = PROFILE + PROFILE_SD * draw[:, LAUNCHED:PROFILED]
    weight = _knot_weight()
    covariance = np.asarray(np.linalg.inv(weight.T @ weight), dtype=np.float64)
    sets[:, PROFILED:] = draw[:, PROFILED:] @ matrix_root(covariance).T
    return sets


def _on_the_data(problem: _Problem, best: Array, steps: Array, *, weighted: Array, covariance: Array) -> Array:
    """The linear draws' steps ``(m, p)`` bent so that they move the residuals as they would if all were linear.

    Friction is known to half of itself and more, over which paths bend away from the measurements that the covariance
    was made with. Gauss-Newton steps with the derivatives at the best fit bring them back (randomised maximum
    likelihood, Oliver, Reynolds and Liu, Inverse Theory for Petroleum Reservoir Characterization, section 10.5, from
    memory); a draw that is no nearer afterwards stays where it was.
    """
    base = _residuals(problem, best[None])
    whole = np.linalg.inv(covariance)
    wanted = steps @ whole

    def pull(moved: Array) -> tuple[Array, Array]:
        back = ((_residuals(problem, best + moved) - base) @ weighted - wanted) @ covariance
        return back, np.einsum("mi,ij,mj->m", back, whole, back)

    moved = steps.copy()
    back, far = pull(moved)
    for _ in range(BENT_TURNS):
        trial = moved - back
        now, left = pull(trial)
        nearer = left < far
        moved[nearer], back[nearer], far[nearer] = trial[nearer], now[nearer], left[nearer]
        back[~nearer] /= 2
    return moved[_possible(problem, best, moved, expected=np.einsum("mi,ij,mj->m", steps, whole, steps) / 2)]


def _possible(problem: _Problem, best: Array, moved: Array, *, expected: Array) -> NDArray[np.intp]:
    """Which draws ``(m,)`` to take: those that the measurements rule out are replaced by the others in turn.

    A ball that slips to the pins has a grip of which only the least is known; half of a normal distribution around it
    would come to roll where the ball was seen to turn on.
    """
    r = _residuals(problem, np.vstack([best, best + moved]))
    cost = SOFT_SIGMA**2 * np.sum(np.sqrt(1 + (r / SOFT_SIGMA) ** 2) - 1, axis=1)
    fits = np.flatnonzero(cost[1:] - cost[0] - expected < RULED_OUT)
    rows = np.arange(len(moved))
    if len(fits) < len(moved) * LEAST_SHARE:
        return rows
    out = np.setdiff1d(rows, fits)
    rows[out] = np.resize(fits, len(out))
    return rows


def _common(problem: _Problem, covariance: Array, jac: Array) -> Array:
    """Shift of the parameters ``(p, 10)`` for one step of each camera parameter and of the ball's radius."""
    shifts = shared_shifts(problem.path, problem.errors)[problem.rows]
    n = len(problem.rows)
    white = [solve_triangular(f, -shifts[:, k], lower=True) for k, f in enumerate(problem.factors)]
    return np.asarray(-covariance @ jac[: 2 * n].T @ np.vstack(white))


def _disagreement(path: SmoothPath, states: Array) -> float:
    last = path.last_seen + 1
    apart = states[0, :last, X] - path.mean[:last, X]
    spread = np.var(states[1:, :last, X], axis=0) + path.covariance[:last, X, X]
    return float(np.mean(apart**2 / spread))
