"""Where the lane model's parameters stand in one vector, and what they are in trade units.

All are standard normal deviates of their priors: lanes, balls, bowlers (one a hand), shots. What one shot depends on is
the parameters of its lane, its ball, its bowler and itself: its *row*.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import BOARD_WIDTH_IN, INCHES_PER_FOOT, Hand
from tracker.physics.spin import IN_S_PER_MPH
from tracker.session.lanemap import LANE_SIZE, LaneMaps, alike
from tracker.session.release import GRIP_KNOTS_FT, RELEASE_FT, Covers, Releases
from tracker.session.sheet import Ball
from tracker.session.throws import GripPrior, Throw, grip_prior

Array = NDArray[np.float64]

DRY_SD = 0.08
CORE_SD_DEG = 3.0
"""How far a core turns the spin's axis on the way, as if the ball were thrown with another rotation: own choice."""
GYRATION_IN, GYRATION_SD_IN = 2.55, 0.06
"""Radius of gyration: 2.46 to 2.80 in by the rules (from memory), the usual ones by common practice."""
RPM, RPM_LOG_SD = 320.0, 0.30
ROTATION_DEG, ROTATION_SD_DEG = 45.0, 16.0
"""150 to 550 turns a minute, rotation 0 to 90 with 45 typical: common practice, no source."""
RPM_SCATTER, ROTATION_SCATTER_DEG = 0.04, 3.0
"""How far single releases of a bowler scatter: own choice, no source."""
BOARD_SD, LAUNCH_SD_DEG, SPEED_LOG_SD = 2.0, 1.5, 0.08
"""About where the first feet of the path put them: wide beside what the path tells."""
SHOT_SD, SHOT_FT = 0.05, 9.0
"""Departures of single shots from the map, in log friction, and the distance over which they stay alike: own choice."""
FIRST_FEET = 16.0

BALL_SIZE, BOWLER_SIZE, SHOT_SIZE = 4, 2, 5 + len(GRIP_KNOTS_FT)
ROW_SIZE = LANE_SIZE + BALL_SIZE + BOWLER_SIZE + SHOT_SIZE
_SHOT_ROOT = alike(GRIP_KNOTS_FT, SHOT_FT) * SHOT_SD


@dataclass(frozen=True, slots=True)
class Start:
    """Where the first feet of a path put its release: board, degrees toward the gutter, mph."""

    board: float
    launch_deg: float
    speed_mph: float


@dataclass(frozen=True, slots=True)
class Layout:
    """Order of the parameters: lanes, then balls, bowlers, shots."""

    lanes: tuple[str, ...]
    balls: tuple[str, ...]
    hands: tuple[Hand, ...]
    shots: tuple[str, ...]

    @classmethod
    def of(cls, throws: Sequence[Throw]) -> Layout:
        """Everything that these shots name, in the order of its first use."""
        return cls(
            tuple(dict.fromkeys(t.lane for t in throws)),
            tuple(dict.fromkeys(t.ball for t in throws)),
            tuple(dict.fromkeys(t.hand for t in throws)),
            tuple(t.shot_id for t in throws),
        )

    def lane(self, name: str) -> NDArray[np.intp]:
        """Columns of a lane."""
        return self.lanes.index(name) * LANE_SIZE + np.arange(LANE_SIZE)

    def ball(self, name: str) -> NDArray[np.intp]:
        """Columns of a ball."""
        return len(self.lanes) * LANE_SIZE + self.balls.index(name) * BALL_SIZE + np.arange(BALL_SIZE)

    def bowler(self, hand: Hand) -> NDArray[np.intp]:
        """Columns of the bowler of a hand."""
        start = len(self.lanes) * LANE_SIZE + len(self.balls) * BALL_SIZE
        return start + self.hands.index(hand) * BOWLER_SIZE + np.arange(BOWLER_SIZE)

    def shot(self, shot_id: str) -> NDArray[np.intp]:
        """Columns of a shot."""
        return self._shots_from + self.shots.index(shot_id) * SHOT_SIZE + np.arange(SHOT_SIZE)

    @property
    def _shots_from(self) -> int:
        return len(self.lanes) * LANE_SIZE + len(self.balls) * BALL_SIZE + len(self.hands) * BOWLER_SIZE

    @property
    def size(self) -> int:
        """Number of parameters."""
        return self._shots_from + len(self.shots) * SHOT_SIZE

    def row(self, throw: Throw) -> NDArray[np.intp]:
        """Columns ``(ROW_SIZE,)`` of all that a shot depends on."""
        return np.concatenate(
            [self.lane(throw.lane), self.ball(throw.ball), self.bowler(throw.hand), self.shot(throw.shot_id)]
        )


def start_of(throw: Throw) -> Start:
    """Release by a straight line through the first feet of the path."""
    s = throw.stations
    near = np.arange(len(s.distance_ft)) < max(3, int(np.sum(s.distance_ft <= FIRST_FEET)))
    slope, board = np.polyfit(s.distance_ft[near] - RELEASE_FT, s.board[near], 1)
    heading = np.degrees(np.arctan(slope * BOARD_WIDTH_IN / INCHES_PER_FOOT))
    ahead = s.distance_ft[near][-1] - s.distance_ft[0]
    speed = ahead * INCHES_PER_FOOT / float(s.elapsed_s[near[1:]][-1]) / IN_S_PER_MPH
    return Start(float(board), float(-heading), float(speed / np.cos(np.radians(heading))))


def grip_priors(layout: Layout, balls: Mapping[str, Ball]) -> tuple[GripPrior, ...]:
    """Priors of the layout's balls by the ball sheet."""
    return tuple(grip_prior(name, balls) for name in layout.balls)


def covers_of(deviates: Array, departures: Array, prior: GripPrior) -> Covers:
    """Balls of deviates ``(m, BALL_SIZE)`` and of single shots' departures ``(m, 6)``, as deviates too."""
    return Covers(
        log_grip=prior.mean + prior.sd * deviates[:, 0],
        log_dry=DRY_SD * deviates[:, 1],
        gyration_in=GYRATION_IN + GYRATION_SD_IN * deviates[:, 2],
        departures=departures @ _SHOT_ROOT.T,
    )


def spins_of(ball: Array, bowler: Array, shot: Array) -> tuple[Array, Array]:
    """Level spin in rpm and axis rotation in degrees ``(m,)``.

    Of deviates of balls ``(m, BALL_SIZE)``, bowlers ``(m, 2)`` and shots ``(m, 2)``.
    """
    rpm = RPM * np.exp(RPM_LOG_SD * bowler[:, 0] + RPM_SCATTER * shot[:, 0])
    core = CORE_SD_DEG * ball[:, 3]
    return rpm, ROTATION_DEG + ROTATION_SD_DEG * bowler[:, 1] + ROTATION_SCATTER_DEG * shot[:, 1] + core


def releases_of(parts: tuple[Array, Array, Array], start: Start, hand: Hand) -> Releases:
    """Releases of deviates of balls ``(m, BALL_SIZE)``, bowlers ``(m, 2)`` and of one shot ``(m, SHOT_SIZE)``."""
    ball, bowler, shot = parts
    rpm, rotation = spins_of(ball, bowler, shot[:, 3:5])
    return Releases(
        hand,
        board=start.board + BOARD_SD * shot[:, 0],
        launch_deg=start.launch_deg + LAUNCH_SD_DEG * shot[:, 1],
        speed_mph=start.speed_mph * np.exp(SPEED_LOG_SD * shot[:, 2]),
        level_rpm=rpm,
        rotation_deg=rotation,
    )


def parts_of(rows: Array) -> tuple[LaneMaps, Array, Array, Array]:
    """Lane, ball, bowler and shot of deviates ``(m, ROW_SIZE)``."""
    lane, ball, bowler, shot = np.split(rows, np.cumsum([LANE_SIZE, BALL_SIZE, BOWLER_SIZE]), axis=1)
    return LaneMaps.from_deviates(lane), ball, bowler, shot
