"""Runs of detections along which one ball could have rolled down the lane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import HEAD_PIN_IN, LANE_WIDTH_IN
from tracker.detection.watch import Detection, FrameLook

Array = NDArray[np.float64]

MAX_GAP_S = 0.7
SPEED_IN_S = (130.0, 520.0)
SIDE_SLACK_IN = 2.0
SIDE_SHARE = 0.18
GAP_COST_PER_S = 2.0
MIN_DETECTIONS = 6
MIN_LENGTH_IN = 120.0
MIN_DURATION_S = 0.3
REFUSALS = 8
MIN_SHARE = 0.45
"""Typical share of a ball's rim that is followed; limbs and their shadows stay below."""
PLAIN_CONTRAST, RIM_SHARE, SHAPELESS_SHARE = 10.0, 0.65, 0.7
"""Where most of a run is this plain to see and still shows little of a rim, it is a hand or a head; of a two-tone ball
that turns a sixth does."""
LIMB_REACH_IN = 360.0
"""A bowler before the foul line hides no more of the lane than that, and a ball of poor shape is seen over more."""
SLACK_SIGMA = 3.0
APART_SHARE, BEHIND_IN = 0.2, 240.0
"""A mirror image in the oil seems to roll behind its ball by this share of the way from the camera, or less (an eighth
from a camera at 5.6 ft), which stands some 20 ft before the foul line."""
BESIDE_DETECTIONS, BESIDE_LENGTH_IN, BESIDE_SHARE = 15, 240.0, 0.75
"""A second ball at the same time must be plain to see over 20 ft: pins, limbs and mirror images move then, too."""


@dataclass(frozen=True, slots=True)
class Run:
    """Detections of one ball in order of time, at most one a frame."""

    detections: tuple[Detection, ...]

    @property
    def length_in(self) -> float:
        """Distance covered down the lane, inches."""
        return self.detections[-1].y_in - self.detections[0].y_in

    @property
    def sharp(self) -> tuple[Detection, ...]:
        """The detections whose rim was followed: vague ones alone make no ball."""
        return tuple(d for d in self.detections if d.fit.sharp)


def _slack_in(detections: list[Detection], pixel_in: Array) -> Array:
    sigma = np.array([float(np.sqrt(d.fit.covariance[1, 1])) for d in detections])
    return SLACK_SIGMA * (sigma + 0.3) * pixel_in


def _best_chain(detections: list[Detection], slack: Array) -> list[int]:
    """Indices of the heaviest chain; every link keeps ball-like speed and direction."""
    rows = [(d.t_s, d.x_in, d.y_in, d.score * d.fit.rim_share) for d in detections]
    t, x, y, weight = np.array(rows, dtype=np.float64).T
    total = weight.copy()
    previous = np.full(len(t), -1)
    for k in range(len(t)):
        low = int(np.searchsorted(t, t[k] - MAX_GAP_S))
        gap, ahead, aside = t[k] - t[low:k], y[k] - y[low:k], np.abs(x[k] - x[low:k])
        room = slack[k] + slack[low:k]
        fits = (gap > 0) & (ahead > SPEED_IN_S[0] * gap - room) & (ahead < SPEED_IN_S[1] * gap + room)
        fits &= aside < SIDE_SLACK_IN + SIDE_SHARE * np.maximum(ahead, 0)
        gain = np.where(fits, total[low:k] - GAP_COST_PER_S * gap, -np.inf)
        if len(gain) and gain.max() > 0:
            previous[k] = low + int(np.argmax(gain))
            total[k] = weight[k] + gain.max()
    chain = [int(np.argmax(total))]
    while previous[chain[-1]] >= 0:
        chain.append(int(previous[chain[-1]]))
    return chain[::-1]


def _scale(detections: list[Detection], pixel_in: float) -> Array:
    """How far down-lane a vertical pixel reaches at each detection ``(n,)``, inches."""
    return np.array([pixel_in * max(d.y_in, 60.0) ** 2 / 720.0**2 for d in detections])


def _beside(run: Run, during: list[Detection], pixel_in: float) -> Run | None:
    """A second ball that rolls on the lane well before or behind the first one; None where none is plain to see."""
    t, y = (np.array([getattr(d, name) for d in run.detections]) for name in ("t_s", "y_in"))
    speed = (y[-1] - y[0]) / (t[-1] - t[0])
    now = np.array([d.t_s for d in during])
    expected = np.interp(now, t, y) + speed * (np.maximum(now - t[-1], 0.0) - np.maximum(t[0] - now, 0.0))
    apart = [
        d
        for d, at in zip(during, expected, strict=True)
        if abs(d.y_in - at) > APART_SHARE * (max(at, 0.0) + BEHIND_IN)
        and abs(d.x_in) < LANE_WIDTH_IN / 2
        and d.fit.rim_share >= BESIDE_SHARE
        and d.y_in < HEAD_PIN_IN
    ]
    if len(apart) < BESIDE_DETECTIONS:
        return None
    chain = [apart[k] for k in _best_chain(apart, _slack_in(apart, _scale(apart, pixel_in)))]
    plain = len(chain) >= BESIDE_DETECTIONS and chain[-1].y_in - chain[0].y_in >= BESIDE_LENGTH_IN
    return Run(tuple(chain)) if plain else None


def _shapeless(core: tuple[Detection, ...]) -> bool:
    """Whether what differs plainly from its ground hardly ever shows a ball's rim."""
    plain = [d for d in core if d.fit.contrast > PLAIN_CONTRAST]
    without = [d for d in plain if d.fit.rim_share < RIM_SHARE]
    return len(plain) >= SHAPELESS_SHARE * len(core) and len(without) >= SHAPELESS_SHARE * len(plain)


def find_runs(looks: list[FrameLook], pixel_in: float) -> list[Run]:
    """All runs of a clip in order of time.

    Parameters
    ----------
    looks : list of FrameLook
        Every frame of the clip in order of time.
    pixel_in : float
        How far down-lane one vertical pixel reaches at the pins, inches; sets the slack of single frames there.

    Returns
    -------
    list of Run
        Runs of at least 6 detections over 10 ft and 0.3 s; empty when nothing rolled.
    """
    left = [d for look in looks for d in look.detections]
    runs: list[Run] = []
    refused = 0
    while len(left) >= MIN_DETECTIONS and refused < REFUSALS:
        chain = [left[k] for k in _best_chain(left, _slack_in(left, _scale(left, pixel_in)))]
        run = Run(tuple(chain))
        core = run.sharp
        # what flies among the pins has no way before them
        before = [min(d.y_in, HEAD_PIN_IN) for d in core]
        solid = len(core) >= MIN_DETECTIONS and before[-1] - before[0] >= MIN_LENGTH_IN
        solid = solid and float(np.median([d.fit.rim_share for d in core])) >= MIN_SHARE
        solid = solid and not (chain[-1].y_in < LIMB_REACH_IN and _shapeless(core))
        first, last = chain[0].t_s, chain[-1].t_s
        solid = solid and last - first >= MIN_DURATION_S
        if solid:
            runs.append(run)
            during = [d for d in left if first - MAX_GAP_S / 2 <= d.t_s <= last + MAX_GAP_S / 2]
            left = [d for d in left if not first - MAX_GAP_S / 2 <= d.t_s <= last + MAX_GAP_S / 2]
            beside = _beside(run, during, pixel_in)
            runs += [] if beside is None else [beside]
        else:
            # what was no ball must not hide one that rolled at the same time
            refused += 1
            used = {id(d) for d in chain}
            left = [d for d in left if id(d) not in used]
    return sorted(runs, key=lambda r: r.detections[0].t_s)


def at_once(run: Run, runs: list[Run]) -> bool:
    """Whether another ball rolls while this one does."""
    first, last = run.detections[0].t_s, run.detections[-1].t_s
    others = [(r.detections[0].t_s, r.detections[-1].t_s) for r in runs if r is not run]
    return any(begin < last and end > first for begin, end in others)
