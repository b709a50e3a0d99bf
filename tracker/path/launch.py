"""What a physical fit says of the launch and of the lane: velocity, change until rolling, spin, friction.

Values come from the best parameters, uncertainties from equally likely ones, which go through the same formulas, with
the ball's radius and gyration drawn too. A quantity that the measurements leave about as open as the fit's priors did
is empty: it would be the prior's value and not the shot's. What the priors alone say is drawn in the same way.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tracker.columns import FIT_NUMBERS
from tracker.physics.slide import Slide
from tracker.physics.spin import IN_S_PER_MPH, Mass, likely_masses, motion_before, spin_of
from tracker.results import LaunchFit, Quantity

Array = NDArray[np.float64]

OPEN_SHARE = 0.8
"""A posterior this wide beside its prior, or wider, tells nothing (own choice)."""
ROLLS_SHARE, ROLLS_IN = 0.8, 60.0
"""The end of the slip counts as seen if that share of the sets roll so far before the last sight: a ball that still
slips and one that has rolled for the last foot or two give nearly the same path (own choice, from simulated balls)."""
STRAIGHT_DEG = 1.0
"""The turn from which on a shot has a hook onset."""
HALF = 0.5
LEAST_LOST_IN_S = 5.0
POSITIVE = ("change_mph", "oil_friction", "dry_friction")
"""Compared with their priors in the logarithm, in which these are set."""
ON_HOOK = ("change_direction_deg", "oil_friction", "dry_friction", "oil_end_ft")
ON_ROLLING = ("change_mph", "forward_spin_rpm", "side_spin_rpm")
NO_PRIOR = ("speed_mph", "heading_deg")
MODEL_U = {"speed_mph": 0.01, "heading_deg": 0.02, "oil_end_ft": 0.3}
"""What a friction that varies along the path alone leaves behind, from simulated balls on oil thinner outside."""


@dataclass(frozen=True, slots=True)
class Sets:
    """Parameter sets of a physical fit and the paths they give, the best first, then equally likely others.

    Attributes
    ----------
    slip_rad, grip_in_s : ndarray of shape (m,)
        Direction of friction from straight back toward +x, and the change of velocity until the ball rolls, counted
        from the grid's first distance.
    oil_end_ft : ndarray of shape (m,)
        Where friction, in its logarithm, is half way from oil to dry.
    log_oil, log_dry : ndarray of shape (m, g)
        Logarithm of friction on the grid's distances if the boards there were oiled, and if they were dry.
    dry : ndarray of shape (m, g)
        Share of dry, 0 to 1.
    paths : Slide
        Over the same grid.
    """

    slip_rad: Array
    grip_in_s: Array
    oil_end_ft: Array
    log_oil: Array
    log_dry: Array
    dry: Array
    paths: Slide


def launch_fit(
    likely: Sets,
    prior: Sets,
    seen_in: tuple[float, float],
    radius_in: Array,
    *,
    timing_u: tuple[float, float] = (0.0, 0.0),
    seed: int = 17,
) -> LaunchFit:
    """What a fit says of launch and lane.

    Parameters
    ----------
    likely, prior : Sets
        Sets that the measurements leave, and sets with everything that has a prior drawn from it alone, both over the
        same grid; as many of each.
    seen_in : tuple of float
        Distances of the first and the last measurement, inches.
    radius_in : ndarray of shape (m,)
        Ball's radius of each set.
    timing_u : tuple of float
        Relative uncertainty of the speed by timing there, of which the sets know nothing; one cause for both.
    seed : int
        Seed for the ball's gyration and for timing.
    """
    random = np.random.default_rng(seed)
    mass = likely_masses(radius_in, random)
    stretches = _stretches(likely, seen_in)
    values = _values(_mistimed(_seen(likely, seen_in, stretches), timing_u, random), mass)
    before = _values(_seen(prior, seen_in, stretches), mass)
    missing = _missing(likely, values, before, seen_in=seen_in)
    names = tuple(c.name for c in FIT_NUMBERS if c.name not in missing)
    spread = np.array([_width(values[name]) for name in names])
    model = np.array([MODEL_U.get(name, 0.0) for name in names])
    together = np.atleast_2d(np.corrcoef(np.stack([values[name][1:] for name in names])))
    covariance = together * np.outer(spread, spread) + np.diag(model**2)
    u = np.sqrt(np.diag(covariance))
    found = {n: Quantity(float(values[n][0]), float(s)) for n, s in zip(names, u, strict=True)}
    quantities = {c.name: found.get(c.name) or Quantity(missing=missing[c.name]) for c in FIT_NUMBERS}
    return LaunchFit(quantities, names, covariance)


@dataclass(frozen=True, slots=True)
class _Seen:
    """What each set ``(m,)`` says between first and last sight; friction is NaN where no distance tells it.

    Velocity and the change still to come are those at the first sight, ``lost_in_s`` is the change in sight.
    """

    vx_in_s: Array
    vy_in_s: Array
    last_in_s: Array
    slip_rad: Array
    left_in_s: Array
    lost_in_s: Array
    oil: Array
    dry: Array
    oil_end_ft: Array


def _stretches(likely: Sets, seen_in: tuple[float, float]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Distances ``(g,)`` at which the best path slips in sight, on oiled boards and on dry ones."""
    y = likely.paths.y_in[0]
    felt = (y >= seen_in[0]) & (y <= seen_in[1]) & likely.paths.slipping[0]
    dry = likely.dry[0] > HALF
    return felt & ~dry, felt & dry


def _seen(sets: Sets, seen_in: tuple[float, float], stretches: tuple[NDArray[np.bool_], NDArray[np.bool_]]) -> _Seen:
    """What parameter sets say between two distances."""
    paths = sets.paths
    (vx, vx_last), (vy, vy_last) = ([_at(paths, v, y) for y in seen_in] for v in (paths.vx_in_s, paths.vy_in_s))
    used = np.hypot(vx - paths.vx_in_s[:, 0], vy - paths.vy_in_s[:, 0])
    left = np.maximum(sets.grip_in_s - used, 0.0)
    lost = np.hypot(vx_last - vx, vy_last - vy)
    oil, dry = (np.exp(_mean(log, s)) for log, s in zip((sets.log_oil, sets.log_dry), stretches, strict=True))
    last = np.hypot(vx_last, vy_last)
    return _Seen(vx, vy, last, sets.slip_rad, left, lost, oil, dry, sets.oil_end_ft)


def _mistimed(seen: _Seen, timing_u: tuple[float, float], random: np.random.Generator) -> _Seen:
    """The sets with speeds that timing has shifted, more at the first sight than at the last.

    What the ball loses along the lane grows by the difference, what it gains across stays: that turns friction's
    direction and makes it stronger.
    """
    off = random.standard_normal(len(seen.vy_in_s))
    off[:1] = 0.0
    first, last = timing_u[0] * off, timing_u[1] * off
    more = (first * seen.vy_in_s - last * seen.last_in_s) / np.maximum(seen.lost_in_s, LEAST_LOST_IN_S)
    side, back = np.sin(seen.slip_rad), np.cos(seen.slip_rad) + more
    stronger = np.hypot(side, back)
    return replace(
        seen,
        vx_in_s=seen.vx_in_s * (1 + first),
        vy_in_s=seen.vy_in_s * (1 + first),
        slip_rad=np.arctan2(side, back),
        left_in_s=seen.left_in_s * stronger,
        oil=seen.oil * stronger,
        dry=seen.dry * stronger,
    )


def _values(seen: _Seen, mass: Mass) -> dict[str, Array]:
    """Every quantity ``(m,)``, sides positive toward +x."""
    vx, vy = seen.vx_in_s, seen.vy_in_s
    spin = spin_of(motion_before(vx, vy, mass, slip_rad=seen.slip_rad, grip_in_s=seen.left_in_s))
    return {
        "speed_mph": np.hypot(vx, vy) / IN_S_PER_MPH,
        "heading_deg": np.degrees(np.arctan2(vx, vy)),
        "change_direction_deg": np.degrees(seen.slip_rad),
        "change_mph": seen.left_in_s / IN_S_PER_MPH,
        "forward_spin_rpm": spin.forward_rpm,
        "side_spin_rpm": spin.side_rpm,
        "oil_friction": seen.oil,
        "dry_friction": seen.dry,
        "oil_end_ft": seen.oil_end_ft,
    }


def _at(paths: Slide, values: Array, y_in: float) -> Array:
    """Values ``(m,)`` at a distance."""
    grid = paths.y_in[0]
    low = int(np.clip(np.searchsorted(grid, y_in) - 1, 0, len(grid) - 2))
    share = float(np.clip((y_in - grid[low]) / (grid[low + 1] - grid[low]), 0.0, 1.0))
    return np.asarray(values[:, low] * (1 - share) + values[:, low + 1] * share)


def _slips(paths: Slide, y_in: float) -> NDArray[np.bool_]:
    """Whether each ball ``(m,)`` still slips at a distance."""
    return _at(paths, paths.slipping.astype(np.float64), y_in) > HALF


def _mean(values: Array, where: NDArray[np.bool_]) -> Array:
    return values[:, where].mean(axis=1) if where.any() else np.full(len(values), np.nan)


def _width(values: Array) -> float:
    """Standard uncertainty by the central 95 % of the draws, as everywhere in a shot's numbers."""
    low, high = np.percentile(values[1:], [2.5, 97.5])
    return float(high - low) / 3.92


def _missing(
    likely: Sets, values: dict[str, Array], prior: dict[str, Array], *, seen_in: tuple[float, float]
) -> dict[str, str]:
    """Flag that says why, for every quantity that is not told."""
    heading = np.degrees(np.arctan2(likely.paths.vx_in_s[:1], likely.paths.vy_in_s[:1]))
    turn = abs(float(_at(likely.paths, heading, seen_in[1])[0] - _at(likely.paths, heading, seen_in[0])[0]))
    settled = np.mean(~_slips(likely.paths, seen_in[1] - ROLLS_IN)) >= ROLLS_SHARE
    missing = {name: "not_determined" for name in values if not _told(name, values[name], prior[name])}
    if "change_mph" in missing or not settled:
        slips = bool(_slips(likely.paths, seen_in[1])[0])
        missing |= dict.fromkeys(ON_ROLLING, "still_turning" if slips else "not_determined")
    if turn < STRAIGHT_DEG:
        missing |= dict.fromkeys(ON_HOOK, "straight_ball")
    return missing


def _told(name: str, values: Array, prior: Array) -> bool:
    """Whether a quantity is known better than its prior alone says."""
    if not np.all(np.isfinite(values)) or np.ptp(values[1:]) == 0:
        return False
    if name in POSITIVE:
        values, prior = (np.log(np.maximum(v, 1e-6)) for v in (values, prior))
    return name in NO_PRIOR or _width(values) < OPEN_SHARE * _width(prior)
