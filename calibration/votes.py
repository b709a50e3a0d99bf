"""What single windows say about a common shift, and what most of them agree on.

The arithmetic of a dozen windows is done in plain numbers: arrays so small cost more than they save.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.windows import MARGIN_PX, NOISE_FLOOR, Template

Float = NDArray[np.float32]

Vote = tuple[float, float, float, float, float, float]
"""Shift (u, v), its information (uu, uv, vv; px^-2), trust in the window (0 to 1)."""
_LEAST_LIKENESS, _FULL_LIKENESS = 0.5, 0.8
_FLOOR_PX = 0.03
_AGREE_PX = 0.25
_LEAST_GAIN = 0.05


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """Windows through one Gaussian.

    Attributes
    ----------
    basis : array of shape (n, 4, p)
        Of :class:`calibration.windows.Template`, and ones.
    facts : tuple of tuples of 7 floats
        Each window's step (uu, uv, vv), information (uu, uv, vv) and energy.
    away : array of shape (1, a, m)
        Distance of pixels from samples.
    sigma_px, freedom : float
        Of the template.
    """

    basis: Float
    facts: tuple[tuple[float, ...], ...]
    away: Float
    sigma_px: float
    freedom: float


def make_stage(template: Template) -> Stage:
    """Windows of a template as :func:`projections` and :func:`read_votes` want them."""
    n, _, p = template.basis.shape
    samples = np.arange(-template.half_px, template.half_px + 1, template.step_px, dtype=np.float32)
    pixels = np.arange(-template.half_px - MARGIN_PX, template.half_px + MARGIN_PX + 1, dtype=np.float32)
    step, says = template.step, template.information
    facts = np.column_stack(
        [step[:, 0, 0], step[:, 0, 1], step[:, 1, 1], says[:, 0, 0], says[:, 0, 1], says[:, 1, 1], template.energy]
    )
    return Stage(
        np.concatenate([template.basis, np.ones((n, 1, p), dtype=np.float32)], axis=1),
        tuple(tuple(row) for row in facts.tolist()),
        (pixels - samples[:, None])[None],
        template.sigma_px,
        freedom=max(template.freedom - 4.0, 1.0),
    )


def projections(stage: Stage, pixels: Float, at: tuple[float, float]) -> tuple[list[list[float]], list[float]]:
    """Projections on each window's basis and square sums of its samples, for all windows moved by one shift."""
    m, n, _ = pixels.shape
    away = stage.away - np.array(at, dtype=np.float32)[:, None, None]
    read = np.exp(away * away * (-0.5 / stage.sigma_px**2))
    read /= read.sum(axis=2, keepdims=True)
    across, down = read
    a = len(down)
    halfway = (down @ pixels.reshape(m, n * m)).reshape(a * n, m) @ across.T
    samples = halfway.reshape(a, n, a).transpose(1, 0, 2).reshape(n, a * a)
    said = stage.basis @ samples[:, :, None]
    return said[:, :, 0].tolist(), np.einsum("np,np->n", samples, samples).tolist()


def read_votes(stage: Stage, projections: list[list[float]], squares: list[float]) -> list[Vote]:
    """What each window that looks like the reference says; plain numbers, as arrays of a dozen cost more."""
    votes = []
    count = stage.basis.shape[2]
    for fact, said, square in zip(stage.facts, projections, squares, strict=True):
        step_uu, step_uv, step_vv, uu, uv, vv, energy = fact
        slope_u, slope_v, gain, total = said
        power = square - total * total / count
        if gain <= _LEAST_GAIN or power <= 0.0:
            continue
        trust = (gain * math.sqrt(energy / power) - _LEAST_LIKENESS) / (_FULL_LIKENESS - _LEAST_LIKENESS)
        if trust <= 0.0:
            continue
        slope_u, slope_v = slope_u / gain, slope_v / gain
        u, v = -step_uu * slope_u - step_uv * slope_v, -step_uv * slope_u - step_vv * slope_v
        left = power / gain**2 - energy + slope_u * u + slope_v * v
        # Errors that all windows share keep one of them from outvoting the rest.
        spread = max(left / stage.freedom, NOISE_FLOOR**2) + (uu + vv) * _FLOOR_PX**2
        votes.append((u, v, uu / spread, uv / spread, vv / spread, min(trust, 1.0)))
    return votes


def common_shift(votes: list[Vote], scale: float) -> tuple[float, float]:
    """Shift common to most votes: from their median by reweighted least squares with Cauchy weights."""
    du, dv = _median([vote[0] for vote in votes]), _median([vote[1] for vote in votes])
    for _ in range(2):
        nuu, nuv, nvv, ru, rv = 1e-9, 0.0, 1e-9, 0.0, 0.0
        for u, v, uu, uv, vv, trust in votes:
            weight = trust / (1.0 + ((u - du) ** 2 + (v - dv) ** 2) / scale**2)
            nuu, nuv, nvv = nuu + weight * uu, nuv + weight * uv, nvv + weight * vv
            ru, rv = ru + weight * (uu * u + uv * v), rv + weight * (uv * u + vv * v)
        det = nuu * nvv - nuv * nuv
        du, dv = (nvv * ru - nuv * rv) / det, (nuu * rv - nuv * ru) / det
    return du, dv


def scatter(votes: list[Vote], du: float, dv: float, scale: float) -> tuple[float, int]:
    """Standard deviation of the common shift and how many windows agree with it."""
    nuu, nuv, nvv, square, total, agreeing = 1e-9, 0.0, 1e-9, 0.0, 0.0, 0
    for u, v, uu, uv, vv, trust in votes:
        ru, rv = u - du, v - dv
        away = ru * ru + rv * rv
        agreeing += away < _AGREE_PX**2 + 6.0 * (uu + vv) / (uu * vv - uv * uv)
        weight = trust / (1.0 + away / scale**2)
        nuu, nuv, nvv = nuu + weight * uu, nuv + weight * uv, nvv + weight * vv
        square += weight * (uu * ru * ru + 2.0 * uv * ru * rv + vv * rv * rv)
        total += weight
    factor = max(square / max(2.0 * total - 2.0, 1.0), 1.0)
    return math.sqrt((nuu + nvv) / 2.0 / (nuu * nvv - nuv * nuv) * factor), agreeing


def _median(values: list[float]) -> float:
    ordered = sorted(values)
    return (ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2]) / 2
