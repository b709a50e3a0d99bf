"""Balls down a lane of the model: the closed-form slide over friction that depends on the boards the ball runs over.

Friction along a path needs the path: it is looked up along a straight line first, then along the path that this gives,
and so on. Each turn (Picard iteration) is a whole slide of all balls at once; after four the contact board of 99 of
100 balls on any lane of the priors stands within 0.01. Fit and simulator call the same function.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from calibration.lane import (
    BALL_RADIUS_IN,
    BOARD_WIDTH_IN,
    INCHES_PER_FOOT,
    LANE_WIDTH_IN,
    Hand,
    board_from_x,
)
from tracker.physics.slide import Launch, Slide, across, slide
from tracker.physics.spin import IN_S_PER_MPH
from tracker.session.lanemap import FrictionOverPath, LaneMaps, hats
from tracker.session.release import GRIP_KNOTS_FT, Covers, Releases, release_in
from tracker.shot.curves import first_contact

Array = NDArray[np.float64]

GRID_END_FT, GRID_STEPS = 60.0, 116
GRID_IN = np.linspace(release_in(), GRID_END_FT * INCHES_PER_FOOT, GRID_STEPS)
TURNS = 4
BLOCK = 128
"""Balls rolled at a time: their arrays stay in the processor's cache, which is twice as fast as thousands at once."""
HOOK_IN = 8.0
"""How far a usual hook leaves the straight line by 60 ft: where the first turn looks friction up."""
SHOT_HATS = hats(GRID_IN / INCHES_PER_FOOT, GRIP_KNOTS_FT)
EDGE_IN = LANE_WIDTH_IN / 2
ONSET_FROM_FT, ONSET_DEG, ROLL_SHARE = 15.0, 1.0, 0.9
LEAST_TURN_DEG = 0.2


def roll(maps: LaneMaps, number: Array, covers: Covers, launch: Launch) -> Slide:
    """Paths of balls ``(m,)`` over the grid :data:`GRID_IN`.

    Parameters
    ----------
    maps : LaneMaps
        A lane for each ball.
    number : ndarray of shape (m,)
        How many shots the lane had had, for wear and carry.
    covers : Covers
        A ball for each.
    launch : Launch
        Their launches at the grid's first distance.
    """
    blocks = [np.arange(k, min(k + BLOCK, len(number))) for k in range(0, len(number), BLOCK)]
    rolled = [
        _roll(maps.take(rows), number[rows], covers.take(rows), Launch(*(v[rows] for v in _fields(launch))))
        for rows in blocks
    ]
    return (
        rolled[0] if len(rolled) == 1 else Slide(*(np.concatenate(v) for v in zip(*map(_fields, rolled), strict=True)))
    )


def _fields(values: Launch | Slide) -> list[Array]:
    return [getattr(values, f.name) for f in fields(values)]


def _roll(maps: LaneMaps, number: Array, covers: Covers, launch: Launch) -> Slide:
    friction = FrictionOverPath.on_grid(maps, GRID_IN, number)
    own = covers.log_grip[:, None] + covers.departures @ SHOT_HATS.T
    ahead = GRID_IN - GRID_IN[0]
    x = launch.x_in[:, None] + (launch.vx_in_s / np.maximum(launch.vy_in_s, 1.0))[:, None] * ahead
    x = x + np.sign(launch.slip_rad)[:, None] * HOOK_IN * (ahead / ahead[-1]) ** 3
    for _ in range(TURNS - 1):
        x = across(launch, np.exp(friction.log_mu(x, covers.log_dry) + own), GRID_IN)
    return slide(launch, np.exp(friction.log_mu(x, covers.log_dry) + own), GRID_IN)


@dataclass(frozen=True, slots=True)
class Paths:
    """Simulated shots of one hand: whole paths and what a table of shots would say of them.

    Attributes
    ----------
    hand : {'right', 'left'}
    y_ft : ndarray of shape (g,)
        Distances.
    board, heading_deg, speed_mph, t_s : ndarray of shape (m, g)
        Board from the hand's edge, heading toward the pocket, speed, time since the release.
    contact_ft, contact_board, entry_angle_deg, speed_pins_mph : ndarray of shape (m,)
        At first contact with a pin of a full rack, or at 59.5 ft for a ball that misses them all.
    onset_ft, roll_ft, breakpoint_ft, breakpoint_board, slip_end_ft : ndarray of shape (m,)
        As the columns of the table of shots; NaN where there is none before contact.
    turn_deg : ndarray of shape (m,)
        Turn from 15 ft to contact.
    gutter : bool array of shape (m,)
        Whether the ball's centre leaves the lane; the path beyond is not that of a ball in the gutter.
    """

    hand: Hand
    y_ft: Array
    board: Array
    heading_deg: Array
    speed_mph: Array
    t_s: Array
    contact_ft: Array
    contact_board: Array
    entry_angle_deg: Array
    speed_pins_mph: Array
    onset_ft: Array
    roll_ft: Array
    breakpoint_ft: Array
    breakpoint_board: Array
    slip_end_ft: Array
    turn_deg: Array
    gutter: NDArray[np.bool_]

    @property
    def hook_length_ft(self) -> Array:
        """From onset to the visible end of the hook: short is sharp, long is smooth."""
        return self.roll_ft - self.onset_ft

    @property
    def speed_loss_mph(self) -> Array:
        """Speed at the release less speed at contact."""
        return self.speed_mph[:, 0] - self.speed_pins_mph


def simulate(
    maps: LaneMaps,
    covers: Covers,
    releases: Releases,
    number: Array | float = 0.0,
    *,
    left_out_boards: Array | None = None,
) -> Paths:
    """Paths and contacts of releases ``(m,)``, each with its own lane and ball.

    Parameters
    ----------
    maps, covers : LaneMaps, Covers
        One for each release, such as draws of a posterior.
    releases : Releases
        What is thrown.
    number : float or ndarray of shape (m,)
        How many shots the lane has had.
    left_out_boards : ndarray of shape (m,) or None
        What the model leaves out, boards at 60 ft; grows with the square of the distance.
    """
    later = np.broadcast_to(np.asarray(number, dtype=np.float64), (len(releases),))
    found = roll(maps, later, covers, releases.launch(covers.gyration_in))
    if left_out_boards is not None:
        found = replace(
            found, x_in=found.x_in + left_out_boards[:, None] * BOARD_WIDTH_IN * (GRID_IN / GRID_IN[-1]) ** 2
        )
    return paths_of(found, releases.hand)


def paths_of(found: Slide, hand: Hand) -> Paths:
    """What a table of shots would say of slides over :data:`GRID_IN`."""
    toward_pocket = -1.0 if hand == "right" else 1.0
    y_ft = GRID_IN / INCHES_PER_FOOT
    slope = found.vx_in_s / found.vy_in_s
    heading = np.degrees(np.arctan(toward_pocket * slope))
    speed = np.hypot(found.vx_in_s, found.vy_in_s) / IN_S_PER_MPH
    near = GRID_STEPS - 8
    contact_in, _ = first_contact(
        found.x_in[:, near], np.full(len(slope), GRID_IN[near]), slope[:, near], BALL_RADIUS_IN
    )
    contact_in = np.minimum(contact_in, GRID_IN[-1])
    contact_ft = contact_in / INCHES_PER_FOOT
    entry = at(heading, contact_in - INCHES_PER_FOOT / 2)
    before = y_ft < contact_ft[:, None]
    from_15 = at(heading, np.full(len(slope), ONSET_FROM_FT * INCHES_PER_FOOT))
    turn = entry - from_15
    hooks = turn > LEAST_TURN_DEG
    turned = heading - from_15[:, None]
    onset = _first(turned >= ONSET_DEG, turned - ONSET_DEG, y_ft, before)
    rolls = _first(turned >= ROLL_SHARE * turn[:, None], turned - ROLL_SHARE * turn[:, None], y_ft, before)
    slips = _first(~found.slipping, None, y_ft, before)
    away = _first(heading >= 0, heading, y_ft, before & (y_ft >= ONSET_FROM_FT))
    away = np.where(from_15 < 0, away, np.nan)
    board = board_from_x(found.x_in, hand)
    away_board = at(board, np.nan_to_num(away) * INCHES_PER_FOOT)
    ended = np.isfinite(slips) & hooks
    return Paths(
        hand, y_ft, board, heading, speed, found.t_s, contact_ft, at(board, contact_in), entry,
        speed_pins_mph=at(speed, contact_in),
        onset_ft=onset,
        roll_ft=np.where(ended, rolls, np.nan),
        breakpoint_ft=away,
        breakpoint_board=np.where(np.isnan(away), np.nan, away_board),
        slip_end_ft=slips,
        turn_deg=turn,
        gutter=((np.abs(found.x_in) > EDGE_IN) & before).any(axis=1),
    )  # fmt: skip


def at(values: Array, y_in: Array) -> Array:
    """Values ``(m,)`` of curves ``(m, g)`` over :data:`GRID_IN` at one distance each, linear between the steps."""
    place = np.clip((y_in - GRID_IN[0]) / (GRID_IN[1] - GRID_IN[0]), 0.0, GRID_STEPS - 1.000001)
    low = place.astype(np.intp)
    rows = np.arange(len(values))
    share = place - low
    return np.asarray(values[rows, low] * (1 - share) + values[rows, low + 1] * share)


def _first(reached: NDArray[np.bool_], excess: Array | None, y_ft: Array, where: NDArray[np.bool_]) -> Array:
    """First distance ``(m,)`` beyond 15 ft at which something is reached, between the steps if ``excess`` is given."""
    found = reached & where & (y_ft >= (ONSET_FROM_FT if excess is not None else 0.0))
    index = np.argmax(found, axis=1)
    rows = np.arange(len(index))
    place = y_ft[index]
    if excess is None:
        place = place - np.where(index > 0, (y_ft[1] - y_ft[0]) / 2, 0.0)
    else:
        low, high = excess[rows, np.maximum(index - 1, 0)], excess[rows, index]
        with np.errstate(invalid="ignore", divide="ignore"):
            back = np.where((low < 0) & (high > low), high / (high - low), 0.0)
        place = place - back * (y_ft[1] - y_ft[0])
    return np.where(found.any(axis=1), place, np.nan)
