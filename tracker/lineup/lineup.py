"""The line-up of a lane and a hand: from the lane model and the shots to ways to play, a decision, and what next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.lane import Hand, x_from_board
from tracker.lineup.chances import SCATTERED, Next, Scatter, middles, scattered
from tracker.lineup.decide import Option, Ranking, last_of_each_ball, rank
from tracker.lineup.doubts import STOPS, doubts_of
from tracker.lineup.nextshot import Advice, advise
from tracker.lineup.played import Played, played_lines
from tracker.lineup.room import Room, room_of
from tracker.lineup.shots import Remark, ShotFacts, ShotReading, read_shots
from tracker.lineup.window import Window
from tracker.results import Quantity
from tracker.session.bowler import BowlerReading
from tracker.session.reading import HandReading, LaneReading, SessionReading
from tracker.session.sampled import SAMPLED_SHARE, sampled_share

Array = NDArray[np.float64]

PRACTICE_SHOTS = 10
"""Shots of a practice: 8 to 12 (common practice, no source)."""
DRAWS = 64
AGES_SHOTS = 10.0
ROOMS = 3
"""Ways whose room is worked out: the best of each of the best balls."""
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
    sampled : float
        Share of the way, from 15 ft to where balls roll, that measured shots ran over.
    room : Room or None
        Worked out for the best line of each of the best balls.
    """

    option: Option
    chance: Quantity
    contact_board: Quantity
    entry_angle_deg: Quantity
    contact_scatter: float
    hook_length_ft: Quantity
    rolls_share: float
    ages_boards: Quantity
    sampled: float
    room: Room | None = None

    @property
    def unsampled(self) -> bool:
        """Whether it runs where too little was thrown to say more than the model's form does."""
        return self.sampled < SAMPLED_SHARE


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
        Balls and lines by their chance, the best first; empty where the model was not asked.
    tied : tuple of int
        Those that are as good as the best.
    shots : tuple of ShotReading
    advice : Advice or None
        The next shot; None where the model was not asked.
    reading : HandReading
        Comparison of the balls and change of the lane.
    lane_reading : LaneReading
    bowler : BowlerReading
    exit_board : Quantity
        Where the best way is at the oil's end; empty without a way.
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
    scatter = Scatter(*(bowler.scatter[name].value for name in ("board", "launch_deg", "speed_mph")))
    now = Next(session.posterior, window, float(thrown + 1), scatter)
    missed = {s.shot_id for s in shots if s.missed}
    played = [p for p in played_lines(session.posterior, missed) if (p.lane, p.hand) == (lane.lane, hand.hand)]
    own = {t.shot_id for t in throws if t.hand == hand.hand}
    used = [s for s in shots if s.shot_id in own]
    ranking = rank(now, last_of_each_ball(played))
    held = sum(t.lane == lane.lane and t.hand == hand.hand for t in fit.held_out)
    doubts = doubts_of(used, [p.ball for p in played], held, ranking)
    stopped = any(d.code in STOPS for d in doubts)
    ways = _ways(now, ranking)
    left = shots_left if shots_left is not None else PRACTICE_SHOTS - thrown
    verdict: Verdict = "cannot_tell" if stopped else "tie" if len(ranking.tied) > 1 else "decided"
    return LineUp(
        lane.lane, hand.hand, verdict, doubts, ways, ranking.tied, read_shots(shots),
        advice=advise(now, ranking, left, _struck(used, played)),
        reading=hand, lane_reading=lane, bowler=bowler,
        exit_board=_exit_board(now, ways, lane.oil.end_ft),
    )  # fmt: skip


def _struck(shots: Sequence[ShotFacts], played: Sequence[Played]) -> Played | None:
    """The line of the last shot, if that came to the pocket as meant and left no pin."""
    if not shots or shots[-1].missed or "flush" not in read_shots(shots)[-1].codes or shots[-1].standing != "none":
        return None
    return next((p for p in played if shots[-1].shot_id in p.shots), None)


def _ways(now: Next, ranking: Ranking) -> tuple[Way, ...]:
    few = now.thinned(DRAWS)
    balls: list[str] = []
    ways = []
    for k, option in enumerate(ranking.options):
        first = option.choice.ball not in balls
        balls.append(option.choice.ball)
        chance = Quantity(float(ranking.chance[k]), float(ranking.chance_u[k]))
        room = room_of(few, option.choice) if first and len(set(balls)) <= ROOMS else None
        ways.append(_way(few, option, chance, room))
    return tuple(ways)


def _way(now: Next, option: Option, chance: Quantity, room: Room | None) -> Way:
    choice = option.choice
    meant = middles(now, [choice])
    later = middles(replace(now, number=now.number + AGES_SHOTS), [choice])
    x = x_from_board(meant.board, choice.hand)
    single = scattered(now, choice)
    return Way(
        option,
        chance,
        _quantity(meant.contact_board),
        _quantity(meant.entry_angle_deg),
        contact_scatter=float(np.std(single.contact_board - np.repeat(meant.contact_board, SCATTERED))),
        hook_length_ft=_quantity(meant.hook_length_ft),
        rolls_share=float(np.mean(np.isfinite(meant.slip_end_ft))),
        ages_boards=_quantity(later.contact_board - meant.contact_board),
        sampled=float(np.mean(sampled_share(now.posterior, choice.lane, x, meant.y_ft))),
        room=room,
    )


def _exit_board(now: Next, ways: Sequence[Way], oil_end: Quantity) -> Quantity:
    if not ways or oil_end.value is None:
        return Quantity(missing="not_determined")
    meant = middles(now.thinned(DRAWS), [ways[0].option.choice])
    return _quantity(np.array([np.interp(oil_end.value, meant.y_ft, board) for board in meant.board]))


def _quantity(draws: Array) -> Quantity:
    known = draws[np.isfinite(draws)]
    if len(known) < 0.8 * len(draws):
        return Quantity(missing="not_determined")
    return Quantity(float(np.median(known)), float(np.std(known)))
