"""Whether a shot's clip plays at true speed, and the sentence that says what to give where it does not."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tracker.path.motion import VX, VY, MotionModel
from tracker.path.passes import Places, pace_beyond
from tracker.path.posterior import CommonErrors
from tracker.path.smooth import SmoothPath
from tracker.path.tempo import place_jumps, slowed_odds, speed_jumps
from tracker.shot.curves import MPH_PER_IN_S

SLOW_MPH = 12.5
"""Twice this is thrown by nobody: only a slower ball can be one of a clip that plays at half its speed or less."""
HALF_SPEED = 2.0
SURE_ODDS = 1.5
"""Natural logarithm. Simulated balls of 6 to 12 mph gave -0.5 to -4.2, twice as fast ones played at half speed +1.5 to
+6.5."""
SCATTERS = 2 * 2 * math.log(2)
"""Twice the median of chi-square with two degrees of freedom. A cut clip has one step between steady looks (median of
0.1); pictures of a hundredth of a phone's bits scatter all along (3)."""
USUAL_MPH, LIKELY_MPH = 16.0, (11.0, 24.0)
RATES = (60, 120, 240, 480, 960)
"""Rates at which phones record slow motion."""
STORED_SLOWER = 1.3


@dataclass(frozen=True, slots=True)
class Tempo:
    """What a path says of its clip's clock.

    Attributes
    ----------
    odds : float or None
        Natural logarithm of how much likelier the clip is slowed by two than true; None where that is not a question or
        cannot be told.
    slow : bool
        Whether the ball is so slow that it is one.
    changes : bool
        Whether the clip's speed surely changes on the way.
    advice : str
        What to give to ``--capture-fps``.
    skips : bool
        Whether the ball skips on its way in a picture that scatters so much that this says nothing of the clock.
    """

    odds: float | None = None
    slow: bool = False
    changes: bool = False
    advice: str = "give --capture-fps"
    skips: bool = False

    @property
    def slowed(self) -> bool:
        """Whether the clip surely plays slowed down."""
        return self.odds is not None and self.odds > SURE_ODDS

    @property
    def true(self) -> bool:
        """Whether the clip surely plays at true speed, however slow the ball."""
        return self.odds is not None and self.odds < -SURE_ODDS

    @property
    def doubtful(self) -> bool:
        """Whether it may."""
        return self.slow and not (self.odds is not None and abs(self.odds) > SURE_ODDS)


TRUE = Tempo()


def judge_tempo(
    path: SmoothPath,
    errors: CommonErrors,
    model: MotionModel,
    places: Places,
    *,
    rate: Rate,
    rolls: bool = True,
    strict: SmoothPath | None = None,
) -> Tempo:
    """What a path says of its clip's clock.

    Parameters
    ----------
    path : SmoothPath
        The path.
    errors, model : CommonErrors, MotionModel
        As for the physical fit.
    places : Places
        All ball-sized changed places of the clip.
    rate : Rate
        Frame rates of the clip.
    rolls : bool
        False for a ball in the gutter, of which friction says nothing.
    strict : SmoothPath, optional
        The path by the model that was not widened for it, where it was: it tells how sights scatter.
    """
    speeds = np.hypot(path.mean[:, VX], path.mean[:, VY]) * MPH_PER_IN_S
    slow = float(np.max(speeds[: path.last_seen + 1])) < SLOW_MPH
    told = rolls and (speed_jumps(path) or pace_beyond(places, path) is not None)
    skips = rolls and not told and place_jumps(path, errors.camera, errors.ball_radius_in)
    scatters = skips and float(np.nanmedian((strict or path).nis)) > SCATTERS
    return Tempo(
        slowed_odds(path, errors, model, HALF_SPEED) if slow and rolls else None,
        slow,
        told or (skips and not scatters),
        rate.advice(float(np.median(speeds))),
        scatters,
    )


@dataclass(frozen=True, slots=True)
class Rate:
    """Frames a second that a clip's times are counted in, and the rate that its file says it was recorded at."""

    counted_fps: float
    said_fps: float | None = None

    def advice(self, speed_mph: float) -> str:
        """What to give to ``--capture-fps`` for a ball that seems to roll so fast."""
        if self.said_fps is not None and self.said_fps > STORED_SLOWER * self.counted_fps:
            return f"the file says that it was recorded so: give --capture-fps {self.said_fps:g}"
        true = {rate: speed_mph * rate / self.counted_fps for rate in RATES if rate > STORED_SLOWER * self.counted_fps}
        fits = {rate: mph for rate, mph in true.items() if LIKELY_MPH[0] <= mph <= LIKELY_MPH[1]}
        if not fits:
            return "give --capture-fps with the rate at which it was recorded"
        ordered = sorted(fits, key=lambda rate: abs(np.log(fits[rate] / USUAL_MPH)))[:2]
        listed = " or ".join(f"{rate} ({fits[rate]:.1f} mph)" for rate in ordered)
        return f"give --capture-fps {listed}"
