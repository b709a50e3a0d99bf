"""Finding the lane in made views, one process a seed: what was found beside the truth."""

from __future__ import annotations

import time
from dataclasses import dataclass

import cv2
import numpy as np
from house_clips import clip_view
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.find import FoundLane, find_lanes
from calibration.lane import BOARD_WIDTH_IN, x_from_board
from calibration.quality import lane_sigma

Array = NDArray[np.float64]
DISTANCES_FT = (15.0, 40.0, 58.0)
BOARDS = (30.0, 20.0, 10.0)
ACROSS_BOARDS, ALONG_FT = 0.15, np.array([0.3, 0.8, 1.5])
OWN_LANE_IN = 12.0


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One view: error of the found lane across in boards and along in feet ``(distance, board)``, and its sigma.

    ``sigma`` is ``(distance, 2)`` at board 20; errors are None where the own lane was refused.
    """

    seed: int
    description: str
    reason: str
    across: Array | None
    along: Array | None
    sigma: Array | None
    offsets_in: tuple[float, ...]
    find_s: float

    def within(self, columns: slice) -> bool:
        """Whether the lane was found within the bounds at these boards."""
        if self.across is None or self.along is None:
            return False
        across = np.abs(self.across[:, columns]) <= ACROSS_BOARDS
        return bool(across.all() and (np.abs(self.along[:, columns]) <= ALONG_FT[:, None]).all())

    @property
    def sigmas(self) -> float:
        """Largest error at board 20 in its own sigmas."""
        if self.across is None or self.along is None or self.sigma is None:
            return 0.0
        errors = np.stack([self.across[:, 1], self.along[:, 1]], axis=1)
        return float(np.max(np.abs(errors) / self.sigma))


def misses(camera: Camera, truth: Camera) -> tuple[Array, Array]:
    """How far a camera puts lane points from where they are: boards to the right and feet ``(distance, board)``."""
    x, y = np.meshgrid(x_from_board(np.array(BOARDS), "right"), 12.0 * np.array(DISTANCES_FT))
    places = np.stack([x, y, 0 * x], axis=-1)
    off = camera.back_project(truth.project(places), 0.0) - places[..., :2]
    return off[..., 0] / BOARD_WIDTH_IN, off[..., 1] / 12.0


def sigma_of(lane: FoundLane) -> Array:
    """Sigma in boards and feet ``(distance, 2)`` on the lane's middle line."""
    return np.array([lane_sigma(lane.camera, lane.covariance, y) for y in DISTANCES_FT])


def run_clip_view(seed: int) -> Run:
    """Draw :func:`house_clips.clip_view` and find its lanes."""
    cv2.setNumThreads(1)
    view = clip_view(seed)
    start = time.process_time()
    search = find_lanes(view.luma, view.hidden)
    find_s = time.process_time() - start
    offsets = tuple(lane.camera.x_in - view.camera.x_in for lane in search.lanes)
    own = [lane for lane, x in zip(search.lanes, offsets, strict=True) if abs(x) < OWN_LANE_IN]
    reason = search.failure.reason if search.failure is not None else ""
    across, along = misses(own[0].camera, view.camera) if own else (None, None)
    sigma = sigma_of(own[0]) if own else None
    return Run(seed, view.description, reason, across, along, sigma=sigma, offsets_in=offsets, find_s=find_s)
