"""What is read from the fit: oil and its class, sampled places, balls, change, the bowler, the session as a whole."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from lanes.pieces import lane
from lanes.sessions import sessions

from calibration.errors import Failure
from calibration.lane import x_from_board
from tracker.session.bowler import FEET_OFFSET, PRIOR_SCATTER, read_bowler
from tracker.session.change import read_change
from tracker.session.compare import common_line, compare_balls
from tracker.session.lanefit import fit_lanes
from tracker.session.oil import LINE_FT, end_along, oil_ends, read_oil
from tracker.session.posterior import draw_posterior, predict
from tracker.session.reading import SPARE, fit_session
from tracker.session.sampled import MAP_BOARDS, MAP_FT, friction_map, sampled_places, sampled_share
from tracker.session.sheet import Ball
from tracker.session.summary import UNSAMPLED, summary
from tracker.session.throws import LeftOut, grip_prior


@pytest.fixture(scope="module")
def session():
    return sessions(2, 21, (8, 8))[0]


@pytest.fixture(scope="module")
def posterior(session):
    return draw_posterior(fit_lanes(session.throws, {}))


@pytest.fixture(scope="module")
def reading(session):
    return fit_session(session.throws, {}, [LeftOut("s99", "gutter: gutter ball")])


def test_oil_end_of_a_plain_step_is_where_it_steps():
    """Half way in the logarithm, at the first distance from which on friction stays above it."""
    step = np.where(LINE_FT < 40.0, np.log(0.04), np.log(0.2))[None]
    assert end_along(step)[0] == pytest.approx(40.0, abs=0.25)
    dip = step.copy()
    dip[0, (LINE_FT > 45) & (LINE_FT < 46)] = np.log(0.04)
    assert end_along(dip)[0] == pytest.approx(46.0, abs=0.25)
    assert np.isnan(end_along(np.zeros_like(step))[0])


def test_oil_end_follows_the_map(session):
    ends = [
        oil_ends(lane(end_ft=e, shorter_ft=0.0, contrast=0.0, buffed=0.0), session.throws, 0.0)[0] for e in (36, 44)
    ]
    assert ends[1] - ends[0] == pytest.approx(8.0, abs=0.3)


def test_classes_share_all_and_the_likeliest_is_named(posterior):
    oil = read_oil(posterior, "1")
    assert sum(oil.length_share.values()) == pytest.approx(1.0)
    assert oil.length_share[oil.length] == max(oil.length_share.values())
    assert oil.low_ft < oil.end_ft.value < oil.high_ft


def test_sampled_is_near_a_thrown_path_and_nowhere_else(session, posterior):
    sampled = sampled_places(posterior, "1")
    path = session.throws[0].stations
    right = path.board if session.throws[0].hand == "right" else 40 - path.board
    at_20 = int(np.argmin(np.abs(MAP_FT - 20)))
    near = round(float(np.interp(20, path.distance_ft, right))) - 1
    assert sampled[at_20, near]
    assert not sampled[MAP_FT >= 58].any(), "every ball rolls by then: nothing feels the lane"
    boards = np.array([np.interp(20, t.stations.distance_ft, t.stations.board) for t in session.throws])
    boards = np.where([t.hand == "right" for t in session.throws], boards, 40 - boards)
    apart = np.min(np.abs(MAP_BOARDS[:, None] - boards), axis=1)
    assert np.array_equal(sampled[at_20], apart <= 2.0)


def test_unsampled_places_have_no_friction(posterior):
    found = friction_map(posterior, "1", 4.0)
    assert np.array_equal(np.isnan(found.friction), ~found.sampled)
    assert np.all(found.friction_u[found.sampled] > 0)


def test_a_line_far_from_all_shots_is_unsampled(posterior):
    line = common_line(posterior, "1", posterior.fit.layout.hands[0])
    shares = []
    for board in (line.board, line.board + 12.0):
        found = predict(posterior, replace(line, board=board), 4.0, single=False)
        x_in = x_from_board(found.board, line.hand)
        shares.append(sampled_share(posterior, "1", x_in, found.y_ft).mean())
    assert shares[0] > 0.8
    assert shares[1] < 0.4


def test_balls_are_ordered_by_grip_and_differences_are_consistent(posterior):
    line = common_line(posterior, "1", posterior.fit.layout.hands[0])
    found = compare_balls(posterior, line, 4.0)
    grips = [b.log_grip.value for b in found.balls]
    assert grips == sorted(grips, reverse=True)
    for d in found.differences:
        assert d.log_grip.value >= 0
        told = {n for n, q in d.values.items() if q.value is not None and abs(q.value) > 2 * q.u}
        assert set(d.told) == told
    one, other = found.balls[0].log_grip, found.balls[1].log_grip
    assert found.differences[0].log_grip.u < np.hypot(one.u, other.u), "what both share with the lane drops out"


def test_single_shots_scatter_more_than_the_middle_is_unknown(posterior):
    line = common_line(posterior, "1", posterior.fit.layout.hands[0])
    middle, single = (predict(posterior, line, 4.0, single=s).contact_board.std() for s in (False, True))
    assert single > middle


def drifting(throws, boards_a_shot: float):
    """Later shots hook more: their boards beyond 30 ft move toward the pocket shot by shot."""
    out = []
    for t in throws:
        s = t.stations
        later = boards_a_shot * t.number * (np.maximum(s.distance_ft - 25, 0) / 35) ** 2
        out.append(replace(t, stations=replace(s, board=s.board + later)))
    return out


def test_change_is_seen_where_it_is_large_and_its_power_is_told(session, posterior):
    line = common_line(posterior, "1", posterior.fit.layout.hands[0])
    still = read_change(posterior, line)
    assert still.verdict == "nothing seen"
    assert still.carry_ft.smallest_shown > 2 * still.carry_ft.over_ten.u
    moved = draw_posterior(fit_lanes(drifting(session.throws, 0.6), {}))
    more = read_change(moved, common_line(moved, "1", line.hand))
    assert more.wear.over_ten.value - more.carry_ft.over_ten.value > (
        still.wear.over_ten.value - still.carry_ft.over_ten.value
    )
    assert more.differences["contact_board"].value > still.differences["contact_board"].value


def test_few_shots_cannot_tell_a_change(session):
    few = draw_posterior(fit_lanes(session.throws[:3], {}))
    assert read_change(few, common_line(few, "1", few.fit.layout.hands[0])).verdict == "cannot tell"


def test_scatter_of_few_repeats_is_the_prior_and_of_many_their_own(posterior, session):
    hand = posterior.fit.layout.hands[0]
    alone = [replace(t, line=f"own {k}") for k, t in enumerate(session.throws)]
    nothing = read_bowler(draw_posterior(fit_lanes(alone, {})), hand)
    for name, prior in zip(("board", "launch_deg", "speed_mph"), PRIOR_SCATTER, strict=True):
        assert nothing.scatter[name].value == pytest.approx(prior)
        assert nothing.scatter[name].repeats == 0
    found = read_bowler(posterior, hand)
    wide = [s.high / s.low for s in (found.scatter["board"], nothing.scatter["board"])]
    assert found.scatter["board"].repeats > 0
    assert wide[0] < wide[1]


def test_feet_move_the_offset_from_its_prior(session):
    hand = session.throws[0].hand
    noted = [replace(t, feet=float(t.stations.board[0] + 10.0)) for t in session.throws]
    with_feet, without = (read_bowler(draw_posterior(fit_lanes(t, {})), hand) for t in (noted, session.throws))
    assert without.feet_offset.value == FEET_OFFSET
    assert with_feet.feet_noted > 0
    assert abs(with_feet.feet_offset.value - 10.0) < 1.0
    assert with_feet.feet_offset.u < without.feet_offset.u


def test_priors_of_grip_follow_cover_and_rank():
    balls = {
        "a": Ball("a", "polished", 3),
        "b": Ball("b", "800 grit", 1),
        "c": Ball("c", "", None),
        "d": Ball("d", "2000 grit", 2),
    }
    found = {name: grip_prior(name, balls) for name in balls}
    assert found["b"].mean > found["d"].mean > found["a"].mean
    assert found["c"] == grip_prior("unheard of", balls)
    assert found["c"].sd > found["b"].sd


def test_the_whole_reading_is_plain_data_and_the_same_twice(session, reading):
    told = json.dumps(summary(reading), allow_nan=False)
    again = fit_session(session.throws, {}, [LeftOut("s99", "gutter: gutter ball")])
    assert json.dumps(summary(again), allow_nan=False) == told
    assert UNSAMPLED in told
    assert {"shot_id": "s99", "why": "gutter: gutter ball"} in summary(reading)["left_out"]


def test_spares_are_left_out_and_too_few_shots_are_a_failure(session):
    throws = [replace(session.throws[0], intent="spare"), *session.throws[1:]]
    found = fit_session(throws, {}, draws=40)
    assert LeftOut(throws[0].shot_id, SPARE) in found.left_out
    assert throws[0].shot_id not in found.posterior.fit.layout.shots
    none = fit_session(throws[:1], {})
    assert isinstance(none, Failure)
    assert none.reason == "few_shots"
