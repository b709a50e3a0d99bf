"""The shot to throw next: the one after which the decision is expected to lose least.

What a shot would show is drawn from the model on each draw of the lane; every draw in turn is taken for the true one,
the others are weighed by how well they explain what it shows, and the best option is chosen anew. How much less that
loses than deciding now is what the shot is worth (value of information; Raiffa & Schlaifer, Applied Statistical
Decision Theory, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tracker.lineup.chances import Choice, Outlook, middles, singles
from tracker.lineup.decide import Option, Ranking, closely, seen_options
from tracker.lineup.played import Played
from tracker.session.simulate import Paths

Array = NDArray[np.float64]

SHOWN_FT = (30.0, 38.0, 44.0, 50.0, 55.0, 59.0)
MEASURED_BOARDS, MEASURED_DEG = 0.10, 0.10
"""What measuring a shot leaves in doubt (accuracy on rendered clips)."""
LEAST_GAIN = 0.005
"""Chance of the pocket that a further practice shot has to be worth (own choice)."""
HOLD_SHARE = 1.0 / 3.0
Why = Literal["teaches_most", "hold", "enough", "no_shots_left", "nothing_to_compare"]


@dataclass(frozen=True, slots=True)
class Lesson:
    """What a further shot is worth.

    Attributes
    ----------
    option : Option
        Ball and line to throw.
    loss_now, loss_then : float
        Expected loss of the decision, in chance of the window, before and after it.
    """

    option: Option
    loss_now: float
    loss_then: float

    @property
    def gain(self) -> float:
        """How much less the decision loses after it."""
        return self.loss_now - self.loss_then


def lessons(now: Outlook, ranking: Ranking) -> tuple[Lesson, ...]:
    """All options as next shots, the most telling first."""
    here = closely(now)
    found = [Lesson(o, ranking.loss, _loss_after(here, o, ranking.each)) for o in ranking.options]
    return tuple(sorted(found, key=lambda one: one.loss_then))


def _loss_after(now: Outlook, option: Option, each: Array) -> float:
    """Expected loss after a shot of this option has been seen."""
    middle = _shown(middles(now, [option.choice]))
    single = _shown(singles(now, [option.choice]))
    noise = _covariance(single - middle)
    white = np.linalg.solve(np.linalg.cholesky(noise), middle.T).T
    seen = np.linalg.solve(np.linalg.cholesky(noise), single.T).T
    apart = ((seen[:, None] - white[None]) ** 2).sum(axis=2)
    # a draw must not explain itself: with few draws it would seem to teach what it was made from
    np.fill_diagonal(apart, np.inf)
    weight = np.exp(-0.5 * (apart - apart.min(axis=1, keepdims=True)))
    weight /= weight.sum(axis=1, keepdims=True)
    expected = weight @ each
    best = weight @ each.max(axis=1)
    return float(np.mean(best - expected.max(axis=1)))


def _shown(paths: Paths) -> Array:
    """What a measured path shows ``(k, f)``: boards down the lane and the entry angle."""
    index = [int(np.argmin(np.abs(paths.y_ft - y))) for y in SHOWN_FT]
    return np.column_stack([paths.board[:, index], paths.entry_angle_deg])


def _covariance(off: Array) -> Array:
    measured = np.diag([MEASURED_BOARDS**2] * len(SHOWN_FT) + [MEASURED_DEG**2])
    return np.asarray(np.cov(off.T) + measured)


@dataclass(frozen=True, slots=True)
class Advice:
    """What to throw next, or why no further look is worth it.

    Attributes
    ----------
    lesson : Lesson or None
        The shot; None where looking further is not worth it or no practice is left.
    why : {'teaches_most', 'hold', 'enough', 'no_shots_left', 'nothing_to_compare'}
        ``hold``: a board inside a shot that struck, to learn how far inside it holds (common practice, no source),
        which teaches at least a third as much as the most telling one.
    """

    lesson: Lesson | None
    why: Why


def advise(now: Outlook, ranking: Ranking, left: int, struck: Played | None) -> Advice:
    """The next shot with so many practice shots left; ``struck`` is the line of the last shot if that struck flush."""
    if left < 1:
        return Advice(None, "no_shots_left")
    found = lessons(now, ranking)
    if not found:
        return Advice(None, "nothing_to_compare")
    if found[0].gain < LEAST_GAIN:
        return Advice(None, "enough")
    if struck is not None:
        inside = _inside(closely(now), struck)
        look = Lesson(inside, ranking.loss, _loss_after(closely(now), inside, ranking.each))
        if look.gain >= HOLD_SHARE * found[0].gain:
            return Advice(look, "hold")
    return Advice(found[0], "teaches_most")


def _inside(now: Outlook, struck: Played) -> Option:
    """A board inside a line, with feet and target."""
    choice = Choice(struck.lane, struck.ball, struck.hand, struck.line.moved(1.0, 1.0))
    return seen_options(now, struck, [(choice, 1.0, 1.0)], middles(now, [choice]))[0]
