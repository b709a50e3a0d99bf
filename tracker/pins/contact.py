"""First contact: when and at which pin, by the ball's line and by the pins' first motion in the pictures."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import PIN_BELLY_RADIUS_IN, pin_positions
from tracker.pins.rack import Rack
from tracker.pins.still import placed
from tracker.video.reader import Crop

Array = NDArray[np.float64]

UPPER_IN = (8.6, 12.5)
"""Above the ball's top, so that what changes there is the pin, and below the head, which stays behind at first: a free
rod that is hit 1.4 in below its centre of gravity turns about a point near its top (centre of percussion)."""
AROUND_S = 0.12
QUIET_S = 0.035
MOVES_SIGMAS, MOVES_SHARE = 5.0, 0.06
"""A pin moves where its upper part changes by so many times what it does before, and by this share of its contrast."""
SEEN_SHARE = 0.5
MANY = 5
"""Of so many pins fewer than half move in the first picture in which any does."""
LATE_S, LATE_U_S = 0.012, 0.015
"""A pin whose middle the ball hides is seen to move only after some milliseconds, most so where it is hit straight on
(own estimate by clips with truth: 2 to 50 ms)."""
ONWARD = 0.7


@dataclass(frozen=True, slots=True, eq=False)
class BallLine:
    """The ball just before the pins, as equally likely straight ways.

    Attributes
    ----------
    t_s : float
        Time of the states.
    states : array of shape (m, 4)
        x, y, vx, vy, inches and seconds; the first row is the best estimate.
    radius_in : float
    """

    t_s: float
    states: Array
    radius_in: float

    def at(self, t_s: float) -> Array:
        """States ``(m, 4)`` at another time, straight on."""
        out = self.states.copy()
        out[:, :2] += self.states[:, 2:] * (t_s - self.t_s)
        return out

    def offsets_in(self) -> Array:
        """Distance ``(m,)`` of each way from the head pin's centre, positive where it passes on the right."""
        x, y, vx, vy = self.states.T
        px, py = pin_positions()[0]
        return np.asarray(((x - px) * vy - (y - py) * vx) / np.hypot(vx, vy))

    def contacts(self, rack: Sequence[int]) -> tuple[Array, NDArray[np.int64]]:
        """Time ``(m,)`` of each way's first contact with a pin of a rack, and which it is; NaN and 0 for none."""
        times, pins = np.full(len(self.states), np.nan), np.zeros(len(self.states), dtype=np.int64)
        x, y, vx, vy = self.states.T
        speed = np.hypot(vx, vy)
        for n in rack:
            px, py = pin_positions()[n - 1]
            along = ((px - x) * vx + (py - y) * vy) / speed
            aside = ((px - x) * vy - (py - y) * vx) / speed
            reach2 = (self.radius_in + PIN_BELLY_RADIUS_IN) ** 2 - aside**2
            with np.errstate(invalid="ignore"):
                at = self.t_s + (along - np.sqrt(np.where(reach2 > 0, reach2, np.nan))) / speed
            first = ~np.isnan(at) & (np.isnan(times) | (at < times))
            times[first], pins[first] = at[first], n
        return times, pins


@dataclass(frozen=True, slots=True)
class FirstMotion:
    """The pins' first motion: time with standard uncertainty, and the pins that move in that picture and the next."""

    t_s: float
    u_s: float
    pins: tuple[int, ...]


def first_motion(rack: Rack, crops: Sequence[Crop], expected_s: float, likely: Collection[int]) -> FirstMotion | None:
    """When pins begin to move, from pictures around an expected time; None where that is not seen.

    Parameters
    ----------
    rack : Rack
        The deck before.
    crops : sequence of Crop
        Pictures in order of time.
    expected_s : float
        About when the ball arrives.
    likely : collection of int
        Pins that it may meet first, and those beside them. Where one of these moves at all, the motion of others before
        it is light or noise; where none does, theirs counts.
    """
    near = [c for c in crops if abs(c.t_s - expected_s) < AROUND_S]
    quiet = [c for c in crops if c.t_s < expected_s - QUIET_S][-8:]
    if len(near) < 3 or len(quiet) < 3:
        return None
    heads = {n: m for n in rack.pins if (m := _head(rack, n)).sum() >= 4}
    base = np.median([_shown(rack, c) for c in quiet], axis=0)
    usual = np.array([_extra(_shown(rack, c), base, heads, rack) for c in quiet])
    white = float(np.median(rack.model.look.level))
    limits = usual.mean(axis=0) + np.maximum(MOVES_SIGMAS * usual.std(axis=0), MOVES_SHARE * white)
    extra = np.array([_extra(_shown(rack, c), base, heads, rack) for c in near]) / limits
    pins = np.array(list(heads))
    chosen = np.isin(pins, list(likely))
    return _begins(extra, pins, near, chosen) or _begins(extra, pins, near, ~chosen)


def _begins(
    extra: Array, pins: NDArray[np.int64], near: Sequence[Crop], chosen: NDArray[np.bool_]
) -> FirstMotion | None:
    """First picture from which on any of the chosen pins moves, by their change over its limit ``(pictures, pins)``."""
    for k in range(1, len(near)):
        onward = extra[min(k + 1, len(near) - 1)]
        moves = chosen & (extra[k] > 1) & (onward > ONWARD)
        if moves.any():
            step_s = near[k].t_s - near[k - 1].t_s
            u_s = float(np.hypot(step_s / np.sqrt(12), LATE_U_S))
            first = tuple(int(n) for n in pins[moves | (chosen & (onward > 1))])
            return FirstMotion(near[k].t_s - step_s / 2 - LATE_S, u_s, first)
    return None


def _head(rack: Rack, pin: int) -> NDArray[np.bool_]:
    """Pixels that show a pin's upper part and nothing of those before it."""
    shape = rack.model.shapes[pin - 1]
    front = [rack.model.shapes[n - 1].alpha > 0.1 for n in rack.pins if n < pin]
    free = ~np.any(front, axis=0) if front else np.ones(shape.alpha.shape, dtype=bool)
    return np.asarray(
        (shape.alpha > SEEN_SHARE) & (shape.height_in > UPPER_IN[0]) & (shape.height_in < UPPER_IN[1]) & free
    )


def _shown(rack: Rack, crop: Crop) -> NDArray[np.float32]:
    return placed(crop.luma.astype(np.float32), rack.place)


def _extra(
    picture: NDArray[np.float32], base: NDArray[np.floating], heads: Mapping[int, NDArray[np.bool_]], rack: Rack
) -> Array:
    """By how much each pin's upper part changes more than the rest does, which light and encoder may change too."""
    change = np.abs(picture - base)
    own = np.array([float(change[m].mean()) for m in heads.values()])
    rest = float(np.median(own)) if len(own) >= MANY else float(change.ravel()[rack.model.free.pixels].mean())
    return own - rest
