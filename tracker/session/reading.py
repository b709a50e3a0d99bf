"""The session's reading of lanes, balls and bowler: one call from measured shots to everything the model says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from calibration.errors import Failure
from calibration.lane import Hand
from tracker.session.bowler import SCATTERING, BowlerReading, read_bowler
from tracker.session.change import ChangeReading, read_change
from tracker.session.compare import Comparison, common_line, compare_balls
from tracker.session.lanefit import fit_lanes
from tracker.session.oil import OilReading, read_oil
from tracker.session.posterior import DRAWS, Posterior, draw_posterior
from tracker.session.sampled import FrictionMap, friction_map
from tracker.session.sheet import Ball
from tracker.session.throws import LeftOut, Throw

LEAST_SHOTS = 2
HELD_OUT = "no likely lane, ball and release explain it"
SPARE = "thrown at a spare"


@dataclass(frozen=True, slots=True)
class HandReading:
    """What one hand threw on one lane: balls on its common line, and the lane's change along it."""

    hand: Hand
    comparison: Comparison
    change: ChangeReading


@dataclass(frozen=True, slots=True)
class LaneReading:
    """One lane."""

    lane: str
    shots: int
    oil: OilReading
    friction: FrictionMap
    hands: tuple[HandReading, ...]


@dataclass(frozen=True, slots=True)
class SessionReading:
    """Everything that the shots together say.

    Attributes
    ----------
    posterior : Posterior
        Draws of lanes, balls and bowlers, for whatever is asked next.
    lanes : tuple of LaneReading
    bowlers : tuple of BowlerReading
    left_out : tuple of LeftOut
        Shots that the model does not use, with the reason: not measured, spares, held out.
    """

    posterior: Posterior
    lanes: tuple[LaneReading, ...]
    bowlers: tuple[BowlerReading, ...]
    left_out: tuple[LeftOut, ...]


def fit_session(
    throws: Sequence[Throw],
    balls: Mapping[str, Ball],
    left_out: Sequence[LeftOut] = (),
    *,
    draws: int = DRAWS,
    seed: int = 7,
) -> SessionReading | Failure:
    """Fit a session's shots and read lanes, balls and bowler; a failure with its reason where there are too few.

    Parameters
    ----------
    throws : sequence of Throw
        Measured shots in the order in which they were thrown.
    balls : mapping of str to Ball
        The ball sheet by case-folded name; may be empty.
    left_out : sequence of LeftOut
        Shots that were not measured well enough to be here, passed on.
    draws, seed : int
        How many equally likely parameters, and from which seed.
    """
    told = [t for t in throws if t.intent != "spare"]
    out = [*left_out, *(LeftOut(t.shot_id, SPARE) for t in throws if t.intent == "spare")]
    if len(told) < LEAST_SHOTS:
        what = f"{len(told)} of {len(told) + len(out)} shots can be used, {LEAST_SHOTS} are needed"
        return Failure("few_shots", what)
    fit = fit_lanes(told, balls)
    posterior = draw_posterior(fit, draws, seed=seed)
    out += [LeftOut(t.shot_id, HELD_OUT) for t in fit.held_out]
    bowlers = tuple(read_bowler(posterior, hand) for hand in fit.layout.hands)
    lanes = tuple(_read_lane(posterior, lane, bowlers) for lane in fit.layout.lanes)
    return SessionReading(posterior, lanes, bowlers, tuple(out))


def _read_lane(posterior: Posterior, lane: str, bowlers: Sequence[BowlerReading]) -> LaneReading:
    throws = [t for t in posterior.fit.throws if t.lane == lane]
    number = sum(t.number for t in throws) / len(throws)
    hands = []
    for bowler in bowlers:
        if not any(t.hand == bowler.hand for t in throws):
            continue
        board, launch, speed = (bowler.scatter[name].value for name in SCATTERING)
        line = common_line(posterior, lane, bowler.hand)
        line = replace(line, board_u=board, launch_deg_u=launch, speed_mph_u=speed)
        hands.append(HandReading(bowler.hand, compare_balls(posterior, line, number), read_change(posterior, line)))
    return LaneReading(
        lane, len(throws), read_oil(posterior, lane), friction_map(posterior, lane, number), tuple(hands)
    )
