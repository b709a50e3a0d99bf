"""Fit lanes, balls, bowlers and shots together to measured paths: robust least squares with priors.

The residuals of a shot are those of its stations, whitened by their covariance (the path's own and that of what the
model leaves out), and depend on the parameters of its lane, its ball, its bowler and its own. So the Jacobian is made
of one block a shot, by differences in one batch of simulated balls, and the normal equations are small enough
to be solved whole. Shots, not rows, are what may be wrong: each has one weight by its whole misfit (soft L1 of the
distance), and a shot that stays improbable is held out and the fit made again without it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.stats import chi2

from calibration.lane import INCHES_PER_FOOT, board_from_x
from tracker.physics.slide import Launch
from tracker.session.layout import (
    Layout,
    Start,
    covers_of,
    grip_priors,
    parts_of,
    releases_of,
    start_of,
)
from tracker.session.release import Covers
from tracker.session.sheet import Ball
from tracker.session.simulate import GRID_IN, roll
from tracker.session.throws import GripPrior, Throw

Array = NDArray[np.float64]

FLOOR_BOARDS, FLOOR_S = 0.03, 0.0015
"""Errors of single stations beside the path's covariance, which 160 draws tell only so well."""
MODEL_BOARDS, MODEL_S, MODEL_FT = 0.10, 0.004, 15.0
"""What the model leaves behind at 60 ft, growing with the square of the distance (boards) or with it (seconds): a core
that turns the spin's axis, lane topography, losses that are no friction. From simulated lanes."""
STEP = 1e-4
SOFT = 4.0
"""A shot's weight falls from where its squared misfit is this many times its number of residuals."""
TURNS, ENOUGH = 40, 1e-4
DAMPING, EASE, STIFFEN = 1e-2, 0.3, 4.0
HELD_OUT_CHANCE = 1e-5
"""Of good shots on simulated lanes, which are not of the fitted form, 3 in 1000 are held out at this."""
TOLD = 0.15
"""Combinations of a shot's own parameters count of which the measurements take away at least this part of the prior."""
LAUNCHED = 3
"""A shot's own parameters begin with its launch, whose prior says nothing."""
HELD_OUT_SHARE = 1.0 / 3.0
LEAST_FITTED = 2

_Kind = TypeVar("_Kind", Covers, Launch)


@dataclass(frozen=True, slots=True)
class Fit:
    """The likeliest parameters.

    Attributes
    ----------
    layout : Layout
        Where the parameters stand.
    throws : tuple of Throw
        The shots fitted, in the layout's order.
    starts : tuple of Start
        What each shot's release is counted from.
    grips : tuple of GripPrior
        Priors of the layout's balls.
    deviates : ndarray of shape (n,)
        The likeliest parameters, in standard deviations of their priors.
    covariance : ndarray of shape (n, n)
        Of the deviates, by the derivatives at the likeliest ones.
    chance : ndarray of shape (s,)
        How likely a good shot would be as odd as each is, in its residuals or in the spin and friction of its own.
    held_out : tuple of Throw
        Shots that no likely parameters explain, worst first.
    """

    layout: Layout
    throws: tuple[Throw, ...]
    starts: tuple[Start, ...]
    grips: tuple[GripPrior, ...]
    deviates: Array
    covariance: Array
    chance: Array
    held_out: tuple[Throw, ...] = ()


def fit_lanes(throws: Sequence[Throw], balls: Mapping[str, Ball]) -> Fit:
    """Fit everything to the shots; those that no parameters explain are held out, the worst first.

    Parameters
    ----------
    throws : sequence of Throw
        At least one shot; lanes, balls and hands in any mixture.
    balls : mapping of str to Ball
        The ball sheet by case-folded name; may be empty.

    Raises
    ------
    ValueError
        If there is no shot, or two have the same id.
    """
    ids = [t.shot_id for t in throws]
    if not ids or len(set(ids)) < len(ids):
        msg = f"fit_lanes: needs shots with ids of their own, got {ids}; name each shot once"
        raise ValueError(msg)
    kept = list(throws)
    out: list[Throw] = []
    fit = _fit_all(kept, balls)
    most = int(HELD_OUT_SHARE * len(kept))
    while len(out) < most and len(kept) > LEAST_FITTED:
        worst = int(np.argmin(fit.chance))
        if fit.chance[worst] > HELD_OUT_CHANCE:
            break
        out.append(kept.pop(worst))
        fit = _fit_all(kept, balls)
    return replace(fit, held_out=tuple(out))


def _chance(own: Array, covariance: Array, residuals: Array) -> float:
    """How likely a good shot would have own deviates ``(k,)`` or residuals ``(r,)`` as odd as these.

    Deviates that are drawn from their prior and then estimated with a posterior covariance C scatter with I - C.
    """
    told, axes = np.linalg.eigh(np.eye(len(own)) - covariance)
    seen = told > TOLD
    odd = float(np.sum((axes.T @ own)[seen] ** 2 / told[seen]))
    by_own = float(chi2.sf(odd, np.sum(seen))) if seen.any() else 1.0
    return min(by_own, float(chi2.sf(residuals @ residuals, len(residuals))))


@dataclass(frozen=True, slots=True)
class _Shot:
    """What a shot's residuals need: columns of its parameters, measured values, and the whitening factor."""

    columns: NDArray[np.intp]
    start: Start
    grip: GripPrior
    number: float
    distance_in: Array
    measured: Array
    factor: Array

    @classmethod
    def of(cls, throw: Throw, layout: Layout, grips: Sequence[GripPrior]) -> _Shot:
        s = throw.stations
        factor = np.asarray(np.linalg.cholesky(s.covariance + model_covariance(s.distance_ft)), dtype=np.float64)
        return cls(
            layout.row(throw),
            start_of(throw),
            grips[layout.balls.index(throw.ball)],
            float(throw.number),
            s.distance_ft * INCHES_PER_FOOT,
            np.concatenate([s.board, s.elapsed_s]),
            factor,
        )


def model_covariance(distance_ft: Array) -> Array:
    """Covariance ``(2 k - 1, 2 k - 1)`` of boards and times at distances ``(k,)`` by what the model leaves out."""
    k = len(distance_ft)
    near = np.exp(-0.5 * ((distance_ft[:, None] - distance_ft[None, :]) / MODEL_FT) ** 2)
    far = distance_ft / 60.0
    boards = MODEL_BOARDS**2 * np.outer(far**2, far**2) * near
    late = MODEL_S * far
    times = np.outer(late, late) * near
    out = np.zeros((2 * k - 1, 2 * k - 1))
    out[:k, :k] = boards + FLOOR_BOARDS**2 * np.eye(k)
    lag = np.eye(k)[1:] - np.eye(k)[:1]
    out[k:, k:] = lag @ times @ lag.T + FLOOR_S**2 * np.eye(k - 1)
    return out


def _predict(shots: Sequence[_Shot], rows: Sequence[Array]) -> list[Array]:
    """Boards and times ``(m, 2 k - 1)`` of each shot for its parameter rows ``(m, ROW_SIZE)``, in one batch."""
    maps, ball, bowler, shot = parts_of(np.concatenate(rows))
    counts = [len(r) for r in rows]
    ends = np.cumsum(counts)
    covers, launches = [], []
    for k, (s, end) in enumerate(zip(shots, ends, strict=True)):
        part = slice(end - counts[k], end)
        cover = covers_of(ball[part], shot[part, 5:], s.grip)
        covers.append(cover)
        # lanes are mirror images about board 20: every shot is rolled as a right-hander's, in boards of its own hand
        launches.append(releases_of((ball[part], bowler[part], shot[part]), s.start, "right").launch(cover.gyration_in))
    number = np.concatenate([np.full(n, s.number) for n, s in zip(counts, shots, strict=True)])
    found = roll(maps, number, _joined(Covers, covers), _joined(Launch, launches))
    out = []
    for k, (s, end) in enumerate(zip(shots, ends, strict=True)):
        part = slice(end - counts[k], end)
        boards = board_from_x(_over(found.x_in[part], s.distance_in), "right")
        times = _over(found.t_s[part], s.distance_in)
        out.append(np.concatenate([boards, times[:, 1:] - times[:, :1]], axis=1))
    return out


def _joined(kind: type[_Kind], parts: Sequence[_Kind]) -> _Kind:
    names = kind.__dataclass_fields__
    return kind(*(np.concatenate([getattr(p, name) for p in parts]) for name in names))


def _over(values: Array, distance_in: Array) -> Array:
    """Values ``(m, k)`` of curves ``(m, g)`` at distances ``(k,)``, linear between the grid's steps."""
    low = np.clip(np.searchsorted(GRID_IN, distance_in) - 1, 0, len(GRID_IN) - 2)
    share = (distance_in - GRID_IN[low]) / (GRID_IN[low + 1] - GRID_IN[low])
    return np.asarray(values[:, low] * (1 - share) + values[:, low + 1] * share)


def _residuals(shots: Sequence[_Shot], deviates: Array) -> list[Array]:
    found = _predict(shots, [deviates[None, s.columns] for s in shots])
    return [_white(s, values)[0] for s, values in zip(shots, found, strict=True)]


def _white(shot: _Shot, values: Array) -> Array:
    return np.asarray(solve_triangular(shot.factor, (values - shot.measured).T, lower=True).T)


def _jacobians(shots: Sequence[_Shot], deviates: Array) -> list[Array]:
    """Derivatives ``(r, ROW_SIZE)`` of each shot's residuals by its row's parameters, by differences."""
    size = len(shots[0].columns)
    moves = STEP * np.vstack([np.zeros(size), np.eye(size)])
    found = _predict(shots, [deviates[s.columns] + moves for s in shots])
    out = []
    for s, values in zip(shots, found, strict=True):
        r = _white(s, values)
        out.append(np.asarray((r[1:] - r[:1]).T / STEP))
    return out


def _cost(residuals: Sequence[Array], deviates: Array) -> float:
    """Soft L1 of each shot's distance, and the priors."""
    total = float(deviates @ deviates)
    for r in residuals:
        soft = SOFT * len(r)
        total += 2 * soft * (np.sqrt(1 + float(r @ r) / soft) - 1)
    return total


def _normal(
    shots: Sequence[_Shot], residuals: Sequence[Array], jacobians: Sequence[Array], deviates: Array
) -> tuple[Array, Array]:
    """Gradient ``(n,)`` and Gauss-Newton matrix ``(n, n)`` of half the cost."""
    gradient, matrix = deviates.copy(), np.eye(len(deviates))
    for s, r, j in zip(shots, residuals, jacobians, strict=True):
        weight = 1 / np.sqrt(1 + float(r @ r) / (SOFT * len(r)))
        gradient[s.columns] += weight * (j.T @ r)
        matrix[np.ix_(s.columns, s.columns)] += weight * (j.T @ j)
    return gradient, matrix


def _fit_all(throws: Sequence[Throw], balls: Mapping[str, Ball]) -> Fit:
    """The likeliest parameters by Levenberg-Marquardt steps from the priors' means."""
    layout = Layout.of(throws)
    grips = grip_priors(layout, balls)
    shots = [_Shot.of(t, layout, grips) for t in throws]
    found, residuals, matrix = _descend(shots, np.zeros(layout.size))
    covariance = np.asarray(cho_solve(cho_factor(matrix), np.eye(len(found))))
    own = [layout.shot(t.shot_id)[LAUNCHED:] for t in throws]
    chance = [_chance(found[c], covariance[np.ix_(c, c)], r) for c, r in zip(own, residuals, strict=True)]
    return Fit(
        layout,
        tuple(throws),
        tuple(s.start for s in shots),
        grips,
        deviates=found,
        covariance=covariance,
        chance=np.array(chance),
    )


def _descend(shots: Sequence[_Shot], start: Array) -> tuple[Array, list[Array], Array]:
    """Best deviates from a start, the residuals there, and the Gauss-Newton matrix."""
    found, damping = start, DAMPING
    residuals = _residuals(shots, found)
    cost = _cost(residuals, found)
    gradient, matrix = _normal(shots, residuals, _jacobians(shots, found), found)
    for _ in range(TURNS):
        step = cho_solve(cho_factor(matrix + damping * np.diag(np.diag(matrix))), -gradient)
        tried = _residuals(shots, found + step)
        now = _cost(tried, found + step)
        if not now < cost:
            damping *= STIFFEN
            if damping > 1e6:
                break
            continue
        gain, cost = cost - now, now
        found, residuals, damping = found + step, tried, damping * EASE
        gradient, matrix = _normal(shots, residuals, _jacobians(shots, found), found)
        if gain < ENOUGH * (1 + cost):
            break
    return found, residuals, matrix
