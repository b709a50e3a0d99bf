"""Two sessions side by side: which numbers differ by more than throws scatter and cameras err.

A number's mean over a session errs for two causes: throws scatter (independent from shot to shot), and what one camera
gets wrong in all of them. The second does not shrink with more shots, so a shot's own u is taken as common to its
session, which is cautious. Difference and interval: Welch's, with effective degrees of freedom by Welch and
Satterthwaite (JCGM 100:2008, G.4.1, formula from memory); several numbers at once are judged by false discovery rate
under any dependence (Benjamini and Yekutieli 2001, as scipy has it).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from tracker.results import Quantity

LEAST_SHOTS, LEAST_JUDGED = 2, 3
"""Shots of a session for an interval, and for a judgement: two that agree by chance would tell too much."""
SURE, WELL_KNOWN = 0.95, 1e6


@dataclass(frozen=True, slots=True)
class Group:
    """One number in one session.

    Attributes
    ----------
    values : tuple of Quantity
        Of the shots that have it.
    mean : Quantity
        u holds scatter and what is common to the session; empty (``few_shots``) with fewer than two.
    scatter : float or None
        Standard deviation of single shots.
    low, high : float or None
        Central 95 % of the mean.
    """

    values: tuple[Quantity, ...]
    mean: Quantity
    scatter: float | None
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Versus:
    """One number in two sessions.

    Attributes
    ----------
    name : str
        Column of ``shots.csv``.
    before, after : Group
    difference : Quantity
        After less before; empty where a session has fewer than two shots of it.
    low, high : float or None
        Central 95 % of the difference.
    p : float or None
        Chance of a difference as large where there is none.
    told : bool
        Whether it is told apart (:func:`judged`).
    """

    name: str
    before: Group
    after: Group
    difference: Quantity
    low: float | None = None
    high: float | None = None
    p: float | None = None
    told: bool = False


@dataclass(frozen=True, slots=True)
class Share:
    """How many of how many, with the central 95 % of the share (Wilson 1927, as scipy has it)."""

    count: int
    of: int
    low: float
    high: float


def share(count: int, of: int) -> Share:
    """Share of ``count`` among ``of``.

    Raises
    ------
    ValueError
        If ``of`` is not positive or less than ``count``.
    """
    if not 0 <= count <= of or of == 0:
        msg = f"share: {count} of {of}; give a count from 0 to a positive number"
        raise ValueError(msg)
    interval = stats.binomtest(count, of).proportion_ci(SURE, method="wilson")
    return Share(count, of, float(interval.low), float(interval.high))


def group(values: Sequence[Quantity]) -> Group:
    """Mean and scatter of one number over a session; shots without it are left out."""
    known = tuple(q for q in values if _finite(q))
    if len(known) < LEAST_SHOTS:
        return Group(known, Quantity(missing="few_shots"), None)
    numbers = np.array([q.value for q in known], dtype=np.float64)
    scatter = float(numbers.std(ddof=1))
    u = float(np.hypot(scatter / np.sqrt(len(known)), _common(known)))
    mean, reach = float(numbers.mean()), _reach(_freedom([(scatter, len(known))], u)) * u
    return Group(known, Quantity(mean, u), scatter, mean - reach, mean + reach)


def _finite(q: Quantity) -> bool:
    return q.value is not None and q.u is not None and bool(np.isfinite(q.value) and np.isfinite(q.u))


def _common(known: Sequence[Quantity]) -> float:
    return float(np.sqrt(np.mean([(q.u or 0.0) ** 2 for q in known])))


def versus(before: Mapping[str, Sequence[Quantity]], after: Mapping[str, Sequence[Quantity]]) -> tuple[Versus, ...]:
    """Compare every number that both sessions have.

    Parameters
    ----------
    before, after : mapping of str to sequence of Quantity
        Values of each number, one a shot, in any order.
    """
    return tuple(_one(name, group(before[name]), group(after[name])) for name in before if name in after)


def judged(found: Sequence[Versus]) -> tuple[Versus, ...]:
    """The same with what is told apart among all of them; of those told one in twenty is expected wrong."""
    sure = [k for k, one in enumerate(found) if one.p is not None and _count(one) >= LEAST_JUDGED]
    if not sure:
        return tuple(found)
    corrected = stats.false_discovery_control([found[k].p for k in sure], method="by")
    told = {k for k, p in zip(sure, corrected, strict=True) if p < 1.0 - SURE}
    return tuple(replace(one, told=k in told) for k, one in enumerate(found))


def _count(one: Versus) -> int:
    return min(len(one.before.values), len(one.after.values))


def _one(name: str, before: Group, after: Group) -> Versus:
    first, last = before.mean, after.mean
    if first.value is None or last.value is None or first.u is None or last.u is None:
        return Versus(name, before, after, Quantity(missing="few_shots"))
    difference, u = last.value - first.value, float(np.hypot(first.u, last.u))
    if u == 0.0:
        return Versus(name, before, after, Quantity(missing="not_determined"))
    freedom = _freedom([(g.scatter or 0.0, len(g.values)) for g in (before, after)], u)
    reach = _reach(freedom) * u
    p = 2.0 * float(stats.t.sf(abs(difference) / u, freedom))
    return Versus(name, before, after, Quantity(difference, u), difference - reach, difference + reach, p)


def _freedom(scattered: Sequence[tuple[float, int]], u: float) -> float:
    """Effective degrees of freedom of standard deviations over counts; what is common counts as well known."""
    lost = sum((scatter**2 / count) ** 2 / (count - 1) for scatter, count in scattered)
    return float(min(u**4 / lost, WELL_KNOWN)) if lost > 0 else WELL_KNOWN


def _reach(freedom: float) -> float:
    return float(stats.t.ppf((1.0 + SURE) / 2.0, freedom))
