"""Something that goes down the lane at a steady speed, whatever that is: told from places, one spot at a time.

Detections are made of what moves as fast as a bowled ball alone; here a ball of a clip that plays slowed down is seen.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import INCHES_PER_FOOT
from tracker.detection.watch import Spot
from tracker.path.motion import VX, VY, X, Y
from tracker.path.smooth import SmoothPath

Array = NDArray[np.float64]

SLOW_IN_S = 150.0
"""Below this hardly anybody bowls (8.5 mph), and detections are no longer made of what moves."""
ANY_IN_S = np.geomspace(12.0, 400.0, 42)
CHANGES = 1.5
SHARES = np.geomspace(0.08, 3.2, 42)
"""Speeds, in shares of the ball's, at which it is looked for where its path ends."""
USUAL_SHARE = (0.7, 1.25)
NEAR_IN, WIDE_IN = 14.0, 8.0
"""How far from one line over time, and how far aside of each other, places of one pass lie."""
LEAST_SHARE, CLEARLY = 0.6, 0.15
LEAST_FRAMES, COVERED = 6, 0.5
WINDOWS_FT = ((8.0, 28.0), (20.0, 40.0), (35.0, 55.0))
REACH_IN, LEAST_REACH_IN = 180.0, 60.0
BEFORE_PINS_IN = 57.0 * INCHES_PER_FOOT
FROM_IN = 3.0 * INCHES_PER_FOOT
STARTED_IN = 8.0 * INCHES_PER_FOOT
BEND = 0.12
PAUSE_S = 0.8


@dataclass(frozen=True, slots=True)
class Places:
    """Ball-sized changed places of a clip, every array ``(n,)``, and the times ``(f,)`` of all its frames, seconds."""

    t_s: Array
    x_in: Array
    y_in: Array
    frames_s: Array


@dataclass(frozen=True, slots=True)
class Pass:
    """A steady pass: its speed, and the share of the frames meanwhile that show it."""

    speed_in_s: float
    share: float


def places_of(spots: Iterable[Spot], frames_s: Iterable[float]) -> Places:
    """Places of spots."""
    rows = np.array([(s.t_s, s.x_in, s.y_in) for s in spots], dtype=np.float64).reshape(-1, 3)
    return Places(rows[:, 0], rows[:, 1], rows[:, 2], np.array(list(frames_s), dtype=np.float64))


def steady_pass(
    places: Places, speeds_in_s: Array, window_in: tuple[float, float], begins_s: tuple[float, float] | None = None
) -> Pass | None:
    """The pass over a stretch of lane that most frames meanwhile show.

    Parameters
    ----------
    places : Places
        Where something may have been.
    speeds_in_s : ndarray of shape (k,)
        Speeds to try, inches a second.
    window_in : (float, float)
        The stretch of lane.
    begins_s : (float, float), optional
        When the pass comes to its start.

    Returns
    -------
    Pass or None
        None where there is nothing to count.
    """
    near, far = window_in
    inside = (places.y_in >= near) & (places.y_in <= far)
    t, x, y = places.t_s[inside], places.x_in[inside], places.y_in[inside]
    best: Pass | None = None
    for speed in speeds_in_s:
        starts = t - (y - near) / speed
        for start in _crowded(starts, NEAR_IN / speed):
            if begins_s is not None and not begins_s[0] <= start <= begins_s[1]:
                continue
            meanwhile = int(np.sum((places.frames_s >= start) & (places.frames_s <= start + (far - near) / speed)))
            with_it = np.abs(starts - start) <= NEAR_IN / speed
            with_it &= np.abs(x - np.median(x[with_it])) <= WIDE_IN
            share = len(np.unique(t[with_it])) / max(meanwhile, 1)
            far_enough = float(np.ptp(y[with_it])) >= COVERED * (far - near) if with_it.any() else False
            if far_enough and meanwhile >= LEAST_FRAMES and (best is None or share > best.share):
                best = Pass(_slope(t[with_it], y[with_it]) or float(speed), share)
    return best


def _slope(t_s: Array, y_in: Array) -> float:
    """Speed of the places by least squares; 0 where it is not forward."""
    since = t_s - t_s.mean()
    return max(float(since @ (y_in - y_in.mean()) / max(float(since @ since), 1e-9)), 0.0)


def _crowded(starts: Array, reach_s: float, most: int = 4) -> Array:
    """Times around which most of ``starts`` lie."""
    if not len(starts):
        return starts
    cells, counts = np.unique(np.floor(starts / reach_s), return_counts=True)
    chosen = cells[np.argsort(-counts, kind="stable")[:most]]
    return np.array([np.median(starts[np.floor(starts / reach_s) == c]) for c in chosen])


@dataclass(frozen=True, slots=True)
class SlowPass:
    """Something slow that goes down the lane: its lowest speed, and whether it goes elsewhere much faster."""

    speed_in_s: float
    changes: bool


def slow_pass(places: Places) -> SlowPass | None:
    """Something that goes down the lane more slowly than a bowled ball; None where nothing surely does."""
    found = [steady_pass(places, ANY_IN_S, (a * INCHES_PER_FOOT, b * INCHES_PER_FOOT)) for a, b in WINDOWS_FT]
    speeds = [p.speed_in_s for p in found if p is not None and p.share >= LEAST_SHARE]
    if not speeds or min(speeds) > SLOW_IN_S:
        return None
    return SlowPass(min(speeds), max(speeds) > CHANGES * min(speeds))


def pace_beyond(places: Places, path: SmoothPath) -> float | None:
    """Speed, as a share of the path's own, at which its ball goes on after its end, or came before its start.

    None where nothing does, where the path leaves no room, or where it does so about as it should.
    """
    after = _pace(places, path, path.last_seen, onward=True)
    return after if after is not None else _pace(places, path, 0, onward=False)


def _pace(places: Places, path: SmoothPath, row: int, *, onward: bool) -> float | None:
    """The other pace beyond a row of a path; time and lane are turned round for what came before."""
    state, sign = path.mean[row], 1.0 if onward else -1.0
    edge, limit = float(state[Y]), BEFORE_PINS_IN if onward else FROM_IN
    reach = min(sign * (limit - edge), REACH_IN)
    if reach < LEAST_REACH_IN or (not onward and edge < STARTED_IN) or state[VY] <= 0:
        return None
    away = sign * (places.y_in - edge)
    aside = np.abs(places.x_in - state[X] - (places.y_in - edge) * state[VX] / state[VY])
    kept = (away > -NEAR_IN) & (away <= reach) & (aside <= WIDE_IN / 2 + BEND * np.maximum(away, 0))
    now = float(path.t_s[row])
    near = Places(sign * places.t_s[kept], places.x_in[kept], away[kept], np.sort(sign * places.frames_s))
    found = []
    for usual in (True, False):
        shares = [s for s in SHARES if (USUAL_SHARE[0] <= s <= USUAL_SHARE[1]) == usual]
        speeds = np.array(shares) * float(state[VY])
        found.append(steady_pass(near, speeds, (0.0, reach), (sign * now - PAUSE_S / 4, sign * now + PAUSE_S)))
    as_before, other = found
    if other is None or other.share < LEAST_SHARE or (as_before and other.share < as_before.share + CLEARLY):
        return None
    return other.speed_in_s / float(state[VY])
