"""What of the frame a marked-up video shows, how large, and where lane and ball are in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import (
    BALL_RADIUS_IN,
    DECK_END_IN,
    GUTTER_EDGE_IN,
    INCHES_PER_FOOT,
    LANE_WIDTH_IN,
    PIN_HEIGHT_IN,
    x_from_board,
)
from tracker.report.marked.told import ToldShot

Array = NDArray[np.float64]
Side = Literal["left", "right"]

BEFORE_IN = 12.0
"""The picture begins so far before the foul line."""
ABOVE_PINS_IN = 4.0
LEAST_PX = 48
"""A lane that fills less of the frame than this in either direction shows nothing."""
LONG_SIDE_PX = (960.0, 1080.0)
"""Limits of the picture's longer side: smaller crops are enlarged so that words can be read, larger ones shrunk."""
MOST_ENLARGED = 2.0
SQUAT, MOST_SQUAT = 0.6, 1.3
"""In a picture lower than this share of its width letters are larger, by no more than all labels have room for."""

BEFORE_S, AFTER_S = 0.5, 1.5
"""True seconds before the first sight of the ball and after the last row of its path."""
SLOW, SLOWEST = 1.2, 32.0
"""Below the first a clip plays at true speed; no clip plays slowed down by more than the second."""
_ALONG = 60


@dataclass(frozen=True, slots=True)
class View:
    """A rectangle of the upright frame, and its size in the video.

    Attributes
    ----------
    camera : Camera
    left, top, width, height : int
        Rectangle in pixels of the upright frame, all even.
    out_width, out_height : int
        Its size in the video, even.
    pad : (int, int)
        Even columns of the video beside it, on its left and right, for words that find no room.
    """

    camera: Camera
    left: int
    top: int
    width: int
    height: int
    out_width: int
    out_height: int
    pad: tuple[int, int] = (0, 0)

    @property
    def full_width(self) -> int:
        """Columns of the video."""
        return self.out_width + sum(self.pad)

    @property
    def letters(self) -> float:
        """Rows by which letters, lines and symbols are sized: the picture's, or more of them where it is low."""
        return float(np.clip(SQUAT * self.out_width, self.out_height, MOST_SQUAT * self.out_height))

    @property
    def scale(self) -> Array:
        """Pixels of the video over those of the frame ``(2,)``, across and down."""
        return np.array([self.out_width / self.width, self.out_height / self.height])

    def place(self, points_in: Array) -> Array:
        """Pixels ``(..., 2)`` of the video of lane points ``(..., 3)``, NaN where the camera cannot see them."""
        picture = (self.camera.project(points_in) - np.array([self.left, self.top])) * self.scale
        return np.asarray(picture + np.array([self.pad[0], 0]))

    def room(self, side: Side) -> float:
        """Columns of the video between the picture's edge and the gutter at the far end of the lane."""
        sign = -1.0 if side == "left" else 1.0
        column = float(self.on_lane(np.array([sign * GUTTER_EDGE_IN]), np.array([DECK_END_IN]))[0, 0]) - self.pad[0]
        return column if side == "left" else self.out_width - column

    def on_lane(self, x_in: Array, y_in: Array, z_in: float = 0.0) -> Array:
        """Pixels ``(n, 2)`` of the video of places ``(n,)`` at one height above the lane."""
        x, y = np.broadcast_arrays(np.asarray(x_in, dtype=np.float64), np.asarray(y_in, dtype=np.float64))
        return self.place(np.stack([x, y, np.full_like(x, z_in)], axis=-1))


@dataclass(frozen=True, slots=True)
class Track:
    """The path in the video's pixels.

    Attributes
    ----------
    t_s : ndarray of shape (n,)
        Times of the clip.
    ground : ndarray of shape (n, 2)
        Where the ball touches the lane.
    centre : ndarray of shape (n, 2)
    radius : ndarray of shape (n,)
        The ball's, as the range makes it.
    seen : bool ndarray of shape (n,)
    rows : int
        The path has so many rows; one more tells only where the ball goes on to.
    """

    t_s: Array
    ground: Array
    centre: Array
    radius: Array
    seen: NDArray[np.bool_]
    rows: int

    def ball(self, t_s: float) -> tuple[float, float, float] | None:
        """Centre and radius of the ball in pixels at a time; None before and after its path."""
        if not self.t_s[0] <= t_s <= self.t_s[-1]:
            return None
        values = (np.interp(t_s, self.t_s, row) for row in (*self.centre.T, self.radius))
        u, v, r = (float(value) for value in values)
        return (u, v, r) if np.isfinite([u, v, r]).all() else None

    def way(self, t_s: float) -> Array:
        """Where the ball has touched the lane up to a time, pixels ``(k, 2)``, the place at that time included."""
        t, ground = self.t_s[: self.rows], self.ground[: self.rows]
        count = int(np.searchsorted(t, t_s, side="right"))
        if count in {0, self.rows}:
            return ground[:count]
        now = np.array([np.interp(t_s, t, column) for column in ground.T])
        return np.concatenate([ground[:count], now[None]])


def view_of(camera: Camera) -> View | None:
    """Lane and gutters from a little before the foul line to above the pins; None where the frame shows none of it."""
    y = np.linspace(-BEFORE_IN, DECK_END_IN, _ALONG)
    floor = [(side * GUTTER_EDGE_IN, along, 0.0) for side in (-1, 1) for along in y]
    tops = [(side * LANE_WIDTH_IN / 2, DECK_END_IN, PIN_HEIGHT_IN + ABOVE_PINS_IN) for side in (-1, 1)]
    pixels = camera.project(np.array(floor + tops))
    pixels = pixels[np.isfinite(pixels).all(axis=1)]
    if len(pixels) < len(tops) + 2:
        return None
    size = np.array([camera.width, camera.height])
    low = np.floor(np.clip(pixels.min(axis=0), 0, size) / 2).astype(int) * 2
    high = np.ceil(np.clip(pixels.max(axis=0), 0, size) / 2).astype(int) * 2
    high = np.minimum(high, size // 2 * 2)
    width, height = (int(v) for v in high - low)
    if min(width, height) < LEAST_PX:
        return None
    long_side = max(width, height)
    factor = float(np.clip(1.0, LONG_SIDE_PX[0] / long_side, LONG_SIDE_PX[1] / long_side))
    factor = min(factor, MOST_ENLARGED)
    out = [max(round(v * factor / 2) * 2, 2) for v in (width, height)]
    return View(camera, int(low[0]), int(low[1]), width, height, out_width=out[0], out_height=out[1])


def track_of(shot: ToldShot, view: View) -> Track:
    """The shot's path in the video, with one row more that carries the ball to the end of the deck."""
    x = x_from_board(shot.board, shot.hand)
    y = shot.distance_ft * INCHES_PER_FOOT
    t = shot.t_s
    speed = (y[-1] - y[-2]) / max(float(t[-1] - t[-2]), 1e-6)
    if DECK_END_IN - 8 * INCHES_PER_FOOT < y[-1] < DECK_END_IN and speed > 0:
        ahead = (DECK_END_IN - y[-1]) / (0.8 * speed)
        slope = (x[-1] - x[-2]) / max(float(y[-1] - y[-2]), 1e-6)
        x = np.append(x, x[-1] + slope * (DECK_END_IN - y[-1]))
        y, t = np.append(y, DECK_END_IN), np.append(t, t[-1] + ahead)
    seen = np.append(shot.seen, np.zeros(len(t) - len(shot.t_s), dtype=bool))
    centre = view.on_lane(x, y, BALL_RADIUS_IN)
    beside = view.on_lane(x + BALL_RADIUS_IN, y, BALL_RADIUS_IN)
    radius = np.hypot(*(beside - centre).T)
    return Track(t, view.on_lane(x, y), centre, radius, seen=seen, rows=len(shot.t_s))


def stretch_s(shot: ToldShot) -> tuple[float, float]:
    """First and last time of the video in the clip's seconds; a clip that plays slowed down takes as much longer."""
    gone_ft = np.diff(shot.distance_ft)
    feet_s = gone_ft / np.maximum(np.diff(shot.t_s), 1e-6)
    true_ft_s = (shot.speed_mph[1:] + shot.speed_mph[:-1]) / 2 * 5280.0 / 3600.0
    slowed = min(float(np.median(true_ft_s / np.maximum(feet_s, 1e-6))), SLOWEST)
    slowed = slowed if slowed > SLOW else 1.0
    return float(shot.t_s[0]) - BEFORE_S * slowed, float(shot.t_s[-1]) + AFTER_S * slowed


def time_at(shot: ToldShot, distance_ft: float) -> float:
    """Time of the clip at which the ball is at a distance: the path's first one before it, carried on after it."""
    order = np.maximum.accumulate(shot.distance_ft)
    if distance_ft <= order[-1]:
        return float(np.interp(distance_ft, order, shot.t_s))
    speed = (order[-1] - order[-2]) / max(float(shot.t_s[-1] - shot.t_s[-2]), 1e-6)
    return float(shot.t_s[-1] + min((distance_ft - order[-1]) / max(speed, 1.0), BEFORE_S))
