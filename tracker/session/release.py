"""What leaves the hand, and what a ball makes of the lane: releases, balls, and their priors."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import BALL_RADIUS_IN, INCHES_PER_FOOT, Hand, x_from_board
from tracker.physics.slide import Launch
from tracker.physics.spin import Mass, Thrown, launch_of, motion_of

Array = NDArray[np.float64]

RELEASE_FT = 1.4
"""Where every release is counted from: balls are set down 1 to 2 ft past the foul line (common practice, no source)."""
GRIP_KNOTS_FT = np.array([0.0, 16.0, 28.0, 37.0, 45.0, 53.0])
"""Where what a single shot finds may depart from the map."""


@dataclass(frozen=True, slots=True)
class Releases:
    """Releases of one hand at :data:`RELEASE_FT`, each field ``(m,)``.

    Attributes
    ----------
    hand : {'right', 'left'}
    board : ndarray
        Counted from the hand's edge.
    launch_deg : ndarray
        Heading, positive toward the hand's gutter.
    speed_mph : ndarray
    level_rpm : ndarray
        Spin about the horizontal part of the ball's axis: rev rate times the cosine of the tilt, which no path shows.
    rotation_deg : ndarray
        Axis rotation, 0 forward roll, 90 side spin.
    """

    hand: Hand
    board: Array
    launch_deg: Array
    speed_mph: Array
    level_rpm: Array
    rotation_deg: Array

    def __len__(self) -> int:
        return len(self.board)

    def launch(self, gyration_in: Array) -> Launch:
        """Launches in lane axes of balls with a radius of gyration ``(m,)``."""
        thrown = Thrown(self.speed_mph, self.launch_deg, self.level_rpm, self.rotation_deg, 0.0)
        mass = Mass(BALL_RADIUS_IN, gyration_in)
        return launch_of(motion_of(thrown, self.hand), mass, x_in=x_from_board(self.board, self.hand))


@dataclass(frozen=True, slots=True)
class Covers:
    """How balls take hold of a lane, each field ``(m,)`` or, of departures, ``(m, 6)``.

    Attributes
    ----------
    log_grip : ndarray
        Log factor on all friction.
    log_dry : ndarray
        Further log factor on dry boards.
    gyration_in : ndarray
        Radius of gyration.
    departures : ndarray
        Log friction of single shots beside the map at :data:`GRIP_KNOTS_FT`.
    """

    log_grip: Array
    log_dry: Array
    gyration_in: Array
    departures: Array

    def take(self, rows: NDArray[np.intp]) -> Covers:
        """Those of some rows, in their order."""
        return Covers(self.log_grip[rows], self.log_dry[rows], self.gyration_in[rows], self.departures[rows])


def release_in() -> float:
    """Where releases are counted from, in inches."""
    return RELEASE_FT * INCHES_PER_FOOT
