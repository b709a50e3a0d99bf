"""What the lanes of one picture say together about the one camera that sees them all."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.fit import Prior, camera_prior
from calibration.solve import Solution

Array = NDArray[np.float64]

SHARED = (1, 2, 3, 4, 5, 6, 7)
"""Of the camera's parameters all but the place sideways and the lane's width, which are each lane's own."""
LANE_TO_LANE = np.array([0.5, 0.2, 0.02, 0.02, 0.05, 0.5, 1e-4])
"""How far the shared parameters may differ between lanes of one house: foul lines, levels and directions agree to what
builders keep (own estimates)."""
SIDEWAYS_IN = 8.0
WIDTH_SD = 0.006
AGREE_SQUARE = 24.0
"""Squared distance over the seven shared parameters within which two lanes agree: 99.9 % of a chi-square of 7."""


def _shared(solution: Solution) -> tuple[Array, Array]:
    """Shared parameters ``(7,)`` and their covariance ``(7, 7)`` with what lanes may differ by."""
    index = np.array(SHARED)
    return solution.camera.vector[index], solution.covariance[np.ix_(index, index)] + np.diag(LANE_TO_LANE**2)


def agreeing(solved: Mapping[int, Solution], worth: Mapping[int, float]) -> list[int]:
    """Keys of the lanes that agree on the camera with the one that most of the evidence agrees with."""
    best: list[int] = []
    most = -1.0
    for k in sorted(solved, key=lambda key: -worth[key]):
        group = [j for j in sorted(solved) if j == k or distance(solved[j], solved[k]) < AGREE_SQUARE]
        total = sum(worth[j] for j in group)
        if total > most + 1e-9:
            best, most = group, total
    return best


def distance(one: Solution, other: Solution) -> float:
    """Squared distance of two lanes over the seven shared parameters, in their uncertainty."""
    (a, cov_a), (b, cov_b) = _shared(one), _shared(other)
    return float((a - b) @ np.linalg.solve(cov_a + cov_b, a - b))


@dataclass(frozen=True, slots=True, eq=False)
class Shared:
    """What other lanes tell about the camera of one: where to begin and the prior."""

    camera: Camera
    prior: Prior


def shared_prior(others: Sequence[Solution], x_in: float) -> Shared:
    """Weighted mean of the shared parameters, for a lane whose camera stands about ``x_in`` from its middle."""
    information = np.zeros((len(SHARED), len(SHARED)))
    weighted = np.zeros(len(SHARED))
    for solution in others:
        value, covariance = _shared(solution)
        inverse = np.linalg.inv(covariance)
        information += inverse
        weighted += inverse @ value
    # blur and bloom deceive all lanes of a picture alike, so more lanes do not make the mean better than one
    covariance = np.asarray(np.linalg.inv(information) * len(others), dtype=np.float64)
    vector = others[0].camera.vector
    vector[list(SHARED)] = covariance @ weighted / len(others)
    vector[0], vector[8] = x_in, 1.0
    full = np.diag([SIDEWAYS_IN**2, *np.zeros(7), WIDTH_SD**2])
    full[np.ix_(SHARED, SHARED)] = covariance + np.diag(LANE_TO_LANE**2)
    camera = others[0].camera.with_vector(vector)
    return Shared(camera, camera_prior(camera, full))
