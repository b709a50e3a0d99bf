"""One shot in time: where the ball is from the hand to the pit, how it is turned, and how the pins move.

Times here are seconds from the release. The lane path's own clock starts at the first lane contact, ``flight_s`` later.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import DECK_END_IN, HEAD_PIN_IN
from sample_media.balls import turn
from sample_media.bowler import Stance, ball_in_hand
from sample_media.deck import DeckMotion, first_contact, knock
from sample_media.physics import DensePath, flight, height_in, simulate
from sample_media.spec import BallSpec, ClipSpec, LaneSpec, ShotSpec

Array = NDArray[np.float64]
MISSED_IN = 59.5 * 12
SPIN_STEP_S = 1 / 480
DECK_S = 1.6


@dataclass(frozen=True, slots=True)
class Timeline:
    """Everything that moves in one shot, before cameras and pictures.

    Attributes
    ----------
    path : DensePath
        From first lane contact to first pin contact (or to 59.5 ft when no pin is hit).
    flight_s : float
        Time from release to first lane contact.
    hit : bool
        Whether the ball touches a pin.
    deck : DeckMotion
        From the end of the path on.
    stance : Stance
        The bowler.
    spin : array (n, 3, 3)
        Rotations from the ball's axes to the lane's, every 1/480 s from ``spin_start_s``.
    spin_start_s : float
        Time of the first of them.
    """

    path: DensePath
    flight_s: float
    hit: bool
    deck: DeckMotion
    stance: Stance
    spin: Array
    spin_start_s: float
    shot: ShotSpec
    ball: BallSpec

    @property
    def end_s(self) -> float:
        """Time of the path's end: first pin contact, or 59.5 ft."""
        return self.flight_s + float(self.path.t_s[-1])

    def centre(self, t_s: float) -> Array:
        """Ball's centre ``(3,)`` in inches at a time."""
        t = t_s - self.flight_s
        if t_s < 0:
            return ball_in_hand(self.stance, t_s)
        if t < 0:
            return flight(self.shot, self.ball)[1](t)
        if t <= self.path.t_s[-1]:
            p = self.path
            z = float(np.interp(t, p.t_s, height_in(p, self.ball)))
            return np.array([np.interp(t, p.t_s, p.x_in), np.interp(t, p.t_s, p.y_in), z])
        return self.deck.at(t - float(self.path.t_s[-1]))[0]

    def phase(self, t_s: float) -> str:
        """``hand``, ``air``, ``lane``, ``gutter``, ``deck`` or ``pit``."""
        t = t_s - self.flight_s
        if t < 0:
            return "hand" if t_s < 0 else "air"
        if t > self.path.t_s[-1]:
            return "deck" if self.centre(t_s)[1] < DECK_END_IN else "pit"
        i = int(np.searchsorted(self.path.t_s, t))
        return "lane" if self.path.on_lane[min(i, len(self.path.t_s) - 1)] else "gutter"

    def turned(self, t_s: float) -> Array:
        """Rotation ``(3, 3)`` of the ball at a time (the nearest stored one)."""
        i = round((t_s - self.spin_start_s) / SPIN_STEP_S)
        return np.asarray(self.spin[min(max(i, 0), len(self.spin) - 1)])


def build_timeline(clip: ClipSpec) -> Timeline:
    """Simulate the shot of a clip."""
    return shot_timeline(clip, clip.shot, clip.ball, lane=clip.lane)


def shot_timeline(clip: ClipSpec, shot: ShotSpec, ball: BallSpec, *, lane: LaneSpec) -> Timeline:
    """Simulate any shot with the bowler of a clip."""
    full = simulate(shot, ball, lane)
    near = full.y_in > HEAD_PIN_IN - 20
    touch = first_contact(np.where(near, full.x_in, 1e6), full.y_in, ball.radius_in, shot.rack)
    last = touch if touch is not None else int(np.searchsorted(full.y_in, MISSED_IN))
    last = min(last, len(full.t_s) - 1)
    path = full.until(float(full.t_s[last]))
    z = float(height_in(path, ball)[-1])
    start = np.array([path.x_in[-1], path.y_in[-1], path.vx[-1], path.vy[-1], z])
    deck = knock(ball, start, shot.rack, max(DECK_S, clip.tail_s + 0.1))
    duration, centre = flight(shot, ball)
    stance = Stance(centre(-duration), shot.hand, clip.bowler)
    begin = min(clip.start_s, 0.0) - 0.05
    spin = _spins(path, begin, duration, tail_s=DECK_S)
    return Timeline(
        path, duration, touch is not None, deck, stance=stance, spin=spin, spin_start_s=begin, shot=shot, ball=ball
    )


def _spins(path: DensePath, begin_s: float, flight_s: float, *, tail_s: float) -> Array:
    """Rotations at regular times: held still in the hand, then turned by the path's angular velocity."""
    end_s = flight_s + float(path.t_s[-1]) + tail_s
    times = np.arange(begin_s, end_s, SPIN_STEP_S)
    rates = np.stack([np.interp(times - flight_s, path.t_s, w) for w in (path.wx, path.wy, path.wz)], axis=-1)
    rates[times < 0] = 0
    out = np.empty((len(times), 3, 3))
    current = turn(np.array([1.0, 0.35, 0.2]), -0.9)
    for i, rate in enumerate(rates):
        out[i] = current
        current = turn(rate, SPIN_STEP_S) @ current
    return out
