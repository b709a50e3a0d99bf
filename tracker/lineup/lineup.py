"""The line-up of a lane and a hand: from the lane model and the shots to ways to play, a decision, and what next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from calibration.lane import Hand
from tracker.lineup.chances import THROWS, Outlook, middles, scattered
from tracker.lineup.decide import Option, Ranking, closely, last_of_each_ball, rank
from tracker.lineup.doubts import STOPS, doubts_of
from tracker.lineup.nextshot import Advice, advise
from tracker.lineup.played import Played, played_lines
from tracker.lineup.room import Room, room_of
from tracker.lineup.shots import Remark, ShotFacts, ShotReading, read_shots
from tracker.lineup.window import Window
from tracker.results import Quantity
from tracker.session.bowler import PRIOR_REPEATS, SCATTERING, BowlerReading
from tracker.session.reading import HandReading, LaneReading, SessionReading

Array = NDArray[np.float64]

PRACTICE_SHOTS = 10
"""Shots of a practice: 8 to 12 (common practice, no source)."""
DRAWS = 64
AGES_SHOTS = 10.0
ROOMS = 3
"""Ways whose room is worked out: the best of each of the best balls, of lines where shots ran."""
Verdict = Literal["decided", "tie", "cannot_tell"]


@dataclass(frozen=True, slots=True)
class Way:
    """A ball on a line, and what is expected of it.

    Attributes
    ----------
    option : Option
    chance : Quantity
        Chance of the window under the bowler's scatter; its u is over what is not known of the lane.
    contact_board, entry_angle_deg : Quantity
        Of the shot as meant; u is what is not known of lane and ball.
    contact_scatter : float
        Standard deviation of single shots beside that, boards.
    hook_length_ft : Quantity
        From onset to the visible end of the hook.
    rolls_share : float
        How likely the ball rolls before the pins.
    ages_boards : Quantity
        Change of the contact board over ten further shots.
    room : Room or None
        Worked out for the best line of each of the best balls, where measured shots ran.
    """

    option: Option
    chance: Quantity
    contact_board: Quantity
    entry_angle_deg: Quantity
    contact_scatter: float
    hook_length_ft: Quantity
    rolls_share: float
    ages_boards: Quantity
    room: Room | None = None


@dataclass(frozen=True, slots=True)
class LineUp:
    """Everything that is said for one lane and one hand.

    Attributes
    ----------
    lane : str
    hand : {'right', 'left'}
    verdict : {'decided', 'tie', 'cannot_tell'}
    doubts : tuple of Remark
        What the shots cannot tell, the gravest first; of ``cannot_tell`` the reasons.
    ways : tuple of Way
        Balls and lines by their chance, the best first; empty where it cannot be told.
    tied : tuple of int
        Those that are as good as the best.
    shots : tuple of ShotReading
    advice : Advice or None
        The next shot; None where it cannot be told.
    reading : HandReading
        Comparison of the balls and change of the lane.
    lane_reading : LaneReading
    bowler : BowlerReading
    exit_board : Quantity
        Where the best way is at the oil's end; empty without a way.
    shots_left : int
        Practice shots left on the lane.
    """

    lane: str
    hand: Hand
    verdict: Verdict
    doubts: tuple[Remark, ...]
    ways: tuple[Way, ...]
    tied: tuple[int, ...]
    shots: tuple[ShotReading, ...]
    advice: Advice | None
    reading: HandReading
    lane_reading: LaneReading
    bowler: BowlerReading
    exit_board: Quantity
    shots_left: int


def line_ups(
    session: SessionReading, shots: Sequence[ShotFacts], window: Window, shots_left: int | None = None
) -> tuple[LineUp, ...]:
    """A line-up for every lane and hand of a session.

    Parameters
    ----------
    session : SessionReading
        What the lane model says.
    shots : sequence of ShotFacts
        The measured shots that the model uses, in their order.
    window : Window
        What counts as the pocket.
    shots_left : int or None
        Practice shots left on each lane; None takes ten less those thrown there.
    """
    bowlers = {b.hand: b for b in session.bowlers}
    return tuple(
        _line_up(session, [s for s in shots if (s.lane, s.hand) == (lane.lane, hand.hand)], window,
                 lane=lane, hand=hand, bowler=bowlers[hand.hand], shots_left=shots_left)
        for lane in session.lanes
        for hand in lane.hands
    )  # fmt: skip


def _line_up(
    session: SessionReading,
    shots: Sequence[ShotFacts],
    window: Window,
    *,
    lane: LaneReading,
    hand: HandReading,
    bowler: BowlerReading,
    shots_left: int | None,
) -> LineUp:
    fit = session.posterior.fit
    throws = [t for t in fit.throws if t.lane == lane.lane]
    thrown = max(t.number for t in throws)
    scatter = scatter_draws(bowler, len(session.posterior))
    now = Outlook(session.posterior, window, float(thrown + 1), scatter)
    missed = {s.shot_id for s in shots if s.missed}
    played = [p for p in played_lines(session.posterior, missed) if (p.lane, p.hand) == (lane.lane, hand.hand)]
    ranking = rank(now, last_of_each_ball(played))
    held = sum(t.lane == lane.lane and t.hand == hand.hand for t in fit.held_out)
    doubts = doubts_of(shots, [p.ball for p in played], held, ranking)
    stopped = any(d.code in STOPS for d in doubts)
    left = shots_left if shots_left is not None else max(PRACTICE_SHOTS - thrown, 0)
    readings = read_shots(shots, window)
    ways = () if stopped else _ways(closely(now), ranking)
    return LineUp(
        lane.lane, hand.hand, "cannot_tell" if stopped else "tie" if _balls_tied(ranking) else "decided",
        doubts=doubts, ways=ways, tied=() if stopped else ranking.tied, shots=readings, shots_left=left,
        advice=None if stopped else advise(now, ranking, left, _struck(shots, readings, played)),
        reading=hand, lane_reading=lane, bowler=bowler,
        exit_board=Quantity(missing="not_determined") if stopped else _exit_board(now, ranking, lane.oil.end_ft),
    )  # fmt: skip


def scatter_draws(bowler: BowlerReading, count: int, *, seed: int = 31) -> Array:
    """Standard deviations ``(count, 3)`` of a bowler's board, launch and speed, one for each draw of the lane.

    With few repeats they are themselves uncertain: scaled inverse chi-square, as :mod:`tracker.session.bowler` has it.
    """
    random = np.random.default_rng(seed)
    columns = []
    for name in SCATTERING:
        found = bowler.scatter[name]
        freedom = PRIOR_REPEATS + found.repeats
        columns.append(found.value * np.sqrt(freedom / chi2.ppf(random.random(count), freedom)))
    return np.stack(columns, axis=1)


def _balls_tied(ranking: Ranking) -> bool:
    """Whether another ball is as good as the best one's; another line of the same ball is no other decision."""
    return len({ranking.options[k].choice.ball for k in ranking.tied}) > 1


def _struck(shots: Sequence[ShotFacts], readings: Sequence[ShotReading], played: Sequence[Played]) -> Played | None:
    """The line of the last shot, if that came to the pocket as meant and left no pin."""
    if not shots or shots[-1].missed or shots[-1].standing != "none":
        return None
    said = next((r.codes for r in readings if r.shot_id == shots[-1].shot_id), ())
    return next((p for p in played if shots[-1].shot_id in p.shots), None) if "flush" in said else None


def _ways(now: Outlook, ranking: Ranking) -> tuple[Way, ...]:
    few = now.thinned(DRAWS)
    best: dict[str, int] = {}
    for k, option in enumerate(ranking.options):
        if not option.unsampled:
            best.setdefault(option.choice.ball, k)
    roomy = set(list(best.values())[:ROOMS])
    ways = []
    for k, option in enumerate(ranking.options):
        chance = Quantity(float(ranking.chance[k]), float(ranking.chance_u[k]))
        ways.append(_way(few, option, chance, room_of(now, option.choice) if k in roomy else None))
    return tuple(ways)


def _way(now: Outlook, option: Option, chance: Quantity, room: Room | None) -> Way:
    choice = option.choice
    meant = middles(now, [choice])
    later = middles(replace(now, number=now.number + AGES_SHOTS), [choice])
    single = scattered(now, choice)
    return Way(
        option,
        chance,
        _quantity(meant.contact_board),
        _quantity(meant.entry_angle_deg),
        contact_scatter=float(np.std(single.contact_board - np.repeat(meant.contact_board, THROWS))),
        hook_length_ft=_quantity(meant.hook_length_ft),
        rolls_share=float(np.mean(np.isfinite(meant.slip_end_ft))),
        ages_boards=_quantity(later.contact_board - meant.contact_board),
        room=room,
    )


def _exit_board(now: Outlook, ranking: Ranking, oil_end: Quantity) -> Quantity:
    if not ranking.options or oil_end.value is None:
        return Quantity(missing="not_determined")
    meant = middles(closely(now), [ranking.options[ranking.tied[0]].choice])
    return _quantity(np.array([np.interp(oil_end.value, meant.y_ft, board) for board in meant.board]))


def _quantity(draws: Array) -> Quantity:
    known = draws[np.isfinite(draws)]
    if len(known) < 0.8 * len(draws):
        return Quantity(missing="not_determined")
    return Quantity(float(np.median(known)), float(np.std(known)))
