"""The shot to throw next: the one after which the decision is expected to lose least.

What a shot shows moves what is believed of every ball and line at once, because they share lane, balls and bowler. The
draws of the lane give the covariance of what it shows with where each option arrives; for normal beliefs that is all
there is to how the options' chances would move, and how much better the best one is then expected to be is what the
shot is worth (value of information: Raiffa & Schlaifer, Applied Statistical Decision Theory; for correlated normal
beliefs Frazier, Powell & Dayanik, INFORMS Journal on Computing 21, 2009; both from memory). It takes no more draws than
covariances do: weighing draws by how well they explain a whole path would leave one or two of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from calibration.lane import x_from_board
from tracker.lineup.chances import Choice, Outlook, Spread, middles, singles
from tracker.lineup.decide import Option, Ranking, closely, seen_options
from tracker.lineup.moves import led_exactly, playable
from tracker.lineup.played import Played
from tracker.lineup.window import Window
from tracker.session.sampled import SAMPLED_SHARE, places_of, sampled_places, share_over
from tracker.session.simulate import Paths

Array = NDArray[np.float64]

SHOWN_FT = (30.0, 38.0, 44.0, 50.0, 55.0, 59.0)
MEASURED_BOARDS, MEASURED_DEG = 0.10, 0.10
"""What measuring a shot leaves in doubt (accuracy on rendered clips)."""
OUTCOMES, SCATTERS = 128, 6
"""Outcomes of a shot, and groups of the bowler's scatter, that are worked out."""
_SEED = 37
LEAST_GAIN, SAME_GAIN = 0.005, 0.0005
"""Chance of the pocket that the shots left have to be worth together, and differences of a shot's worth that are none
(own choices)."""
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
    most_gain : float
        How much less it loses after as many such shots as are left.
    """

    option: Option
    loss_now: float
    loss_then: float
    most_gain: float

    @property
    def gain(self) -> float:
        """How much less the decision loses after it."""
        return self.loss_now - self.loss_then


def lessons(now: Outlook, ranking: Ranking, left: int = 1) -> tuple[Lesson, ...]:
    """All options as next shots with so many shots left, the most telling first.

    Of those that teach as much, within what few draws leave in doubt, the one that is likeliest to come to the pocket.
    """
    here = closely(now)
    ways = _Ways.of(here, ranking)
    found = sorted(
        (_lesson(here, o, ranking, ways=ways, left=left) for o in ranking.options), key=lambda one: -one.gain
    )
    as_good = [one for one in found if one.gain >= found[0].gain - SAME_GAIN]
    first = min(as_good, key=lambda one: ranking.options.index(one.option), default=None)
    return tuple(sorted(found, key=lambda one: one is not first))


def _lesson(now: Outlook, option: Option, ranking: Ranking, *, ways: _Ways, left: int) -> Lesson:
    """What a shot of this option is worth: it tells of all options, and what it runs over may be the answer."""
    paths = middles(now, [option.choice])
    middle = _shown(paths)
    noise = _covariance(_shown(singles(now, [option.choice])) - middle)
    may_be = [*ranking.open, *ways.opened(paths), *(k for k, o in enumerate(ranking.options) if o is option)]
    gains = []
    for shots in (1, max(left, 1)):
        then = chances_then(middle, noise / shots, ranking, now.window)[:, may_be]
        gains.append(min(float(then.max(axis=1).mean() - ranking.chance[ranking.tied[0]]), ranking.loss))
    return Lesson(option, ranking.loss, ranking.loss - gains[0], max(gains))


@dataclass(frozen=True, slots=True, eq=False)
class _Ways:
    """Places of the lane that are sampled, and ways over places that are not.

    Attributes
    ----------
    where : bool array of shape (k, 39)
    paths : mapping of int to Paths
        Of unsampled options by their rank, as meant on each draw.
    """

    where: NDArray[np.bool_]
    paths: dict[int, Paths]

    @classmethod
    def of(cls, now: Outlook, ranking: Ranking) -> _Ways:
        lane = ranking.options[0].choice.lane if ranking.options else ""
        blank = {k: middles(now, [o.choice]) for k, o in enumerate(ranking.options) if o.unsampled}
        return cls(sampled_places(now.posterior, lane), blank)

    def opened(self, thrown: Paths) -> list[int]:
        """Ranks of unsampled options that run over sampled places once a shot with these paths was thrown."""
        ends = np.where(np.isfinite(thrown.slip_end_ft), thrown.slip_end_ft, np.inf)
        path = np.median(x_from_board(thrown.board, thrown.hand), axis=0)
        where = self.where | places_of(path, thrown.y_ft, float(np.median(ends)))
        return [k for k, paths in self.paths.items() if _share(where, paths) >= SAMPLED_SHARE]


def _share(where: NDArray[np.bool_], paths: Paths) -> float:
    return float(share_over(where, x_from_board(paths.board, paths.hand), paths.y_ft).mean())


def chances_then(middle: Array, noise: Array, ranking: Ranking, window: Window) -> Array:
    """Chances ``(n, c)`` of the options after a shot, for equally likely outcomes ``(n,)`` of it.

    ``middle`` ``(k, f)`` is what it shows on each draw, ``noise`` ``(f, f)`` the covariance of single shots around it.
    Over the outcomes each option's chance has the mean that it has now.
    """
    mean, covariance = ranking.arrivals.spread.mean, ranking.arrivals.spread.covariance
    count, draws = mean.shape[:2]
    off = mean - mean.mean(axis=1, keepdims=True)
    shared = np.einsum("cko,kf->cof", off, middle - middle.mean(axis=0)) / (draws - 1)
    root = np.linalg.cholesky(np.atleast_2d(np.cov(middle.T)) + noise)
    told = np.linalg.solve(root, shared.reshape(-1, len(noise)).T).T.reshape(count, 2, -1)
    left = np.einsum("cko,ckp->cop", off, off) / (draws - 1) - told @ told.transpose(0, 2, 1)
    moved = mean.mean(axis=1) + np.einsum("cof,nf->nco", told, _outcomes(len(noise)))
    then = np.zeros(moved.shape[:2])
    # the scatter stays unknown, and a steady hand's chances are the sharper ones: not one middle scatter for all
    for rows in np.array_split(np.argsort(covariance[..., 0, 0].mean(axis=0)), SCATTERS):
        around = covariance[:, rows].mean(axis=1) + left
        part = Spread(moved, np.broadcast_to(around, (*moved.shape, 2))).chance(window)
        then += part * len(rows) / draws
    then = then * ranking.arrivals.on_lane.mean(axis=1)
    return np.asarray(then + (ranking.chance - then.mean(axis=0)))


def _outcomes(size: int) -> Array:
    """Standard normal points ``(n, size)``, each with its opposite."""
    uniform = qmc.Sobol(size, rng=np.random.default_rng(_SEED)).random(OUTCOMES // 2)
    half = ndtri(np.clip(uniform, 1e-6, 1 - 1e-6))
    return np.concatenate([half, -half])


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
    found = lessons(now, ranking, left)
    if not found:
        return Advice(None, "nothing_to_compare")
    if max(one.most_gain for one in found) < LEAST_GAIN:
        return Advice(None, "enough")
    if struck is not None and playable(struck.line.moved(1.0, 1.0)):
        here = closely(now)
        inside = _inside(here, struck)
        look = _lesson(here, inside, ranking, ways=_Ways.of(here, ranking), left=left)
        if look.gain >= HOLD_SHARE * found[0].gain:
            return Advice(look, "hold")
    return Advice(found[0], "teaches_most")


def _inside(now: Outlook, struck: Played) -> Option:
    """A board inside a line, with feet and target."""
    choice = Choice(struck.lane, struck.ball, struck.hand, struck.line.moved(1.0, 1.0))
    move = (choice, 1.0, 1.0)
    return seen_options(now, struck, [move], led_exactly(now, [move]))[0]
