"""The joint fit: mirror images, repeatability, what one more shot does, wrong shots, two lanes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from lanes.pieces import mirrored
from lanes.sessions import sessions

from tracker.session.lanefit import fit_lanes
from tracker.session.layout import start_of
from tracker.session.oil import oil_ends
from tracker.session.posterior import draw_posterior
from tracker.session.throws import Throw


@pytest.fixture(scope="module")
def session():
    return sessions(1, 5, (7, 7))[0]


@pytest.fixture(scope="module")
def fit(session):
    return fit_lanes(session.throws, {})


def changed(throw: Throw, board) -> Throw:
    return replace(throw, stations=replace(throw.stations, board=board))


def test_the_mirrored_session_gives_the_mirrored_lane(session, fit):
    """Lanes are the same to both sides of board 20, so that the map is the very same."""
    other = fit_lanes([mirrored(t) for t in session.throws], {})
    np.testing.assert_allclose(other.deviates, fit.deviates, atol=1e-6)
    np.testing.assert_allclose(other.covariance, fit.covariance, atol=1e-6)


def test_same_input_same_numbers_and_draws_by_seed(session, fit):
    again = fit_lanes(session.throws, {})
    assert np.array_equal(again.deviates, fit.deviates)
    assert np.array_equal(draw_posterior(again, 50).deviates, draw_posterior(fit, 50).deviates)
    assert not np.array_equal(draw_posterior(again, 50, seed=1).deviates, draw_posterior(fit, 50).deviates)


def test_draws_scatter_as_the_covariance_says(fit):
    draws = draw_posterior(fit, 4000).deviates
    ratio = draws.std(axis=0) / np.sqrt(np.diag(fit.covariance))
    assert np.all(np.abs(ratio - 1) < 0.08)
    assert np.all(np.diag(fit.covariance) < 1.0001)


def test_one_more_consistent_shot_widens_nothing(session, fit):
    """The two held-out shots of the session are added: no parameter of lane or bowler is known less well by 10 %."""
    more = fit_lanes([*session.throws, *session.held], {})
    assert not more.held_out
    before, after = draw_posterior(fit), draw_posterior(more)
    names = fit.layout.lane("1")
    sd = [np.sqrt(np.diag(f.covariance)[f.layout.lane("1")]) for f in (fit, more)]
    assert np.all(sd[1] < 1.1 * sd[0]), names[sd[1] >= 1.1 * sd[0]]
    for hand in fit.layout.hands:
        spins = [p.spins(None, hand) for p in (before, after)]
        assert all(new.std() < 1.1 * old.std() for old, new in zip(*spins, strict=True))
    ends = [oil_ends(p.lane("1"), session.throws, 4.0) for p in (before, after)]
    assert ends[1].std() < 1.1 * ends[0].std()


def test_a_release_starts_where_the_first_feet_put_it(session):
    for throw in session.throws:
        start = start_of(throw)
        assert 0.0 < start.board < 40.0
        assert 12.0 < start.speed_mph < 22.0
        first = throw.stations
        ahead = (first.board[1] - start.board) * 41.5 / 39 / 12 / (first.distance_ft[1] - 1.4)
        assert np.degrees(np.arctan(-ahead)) == pytest.approx(start.launch_deg, abs=0.4)


WRONG = {
    "kink": lambda t: t.stations.board + np.interp(t.stations.distance_ft, [34, 38, 70], [0, 2, 2]),
    "straight on": lambda t: np.polyval(
        np.polyfit(t.stations.distance_ft[:5], t.stations.board[:5], 1), t.stations.distance_ft
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", WRONG)
def test_a_shot_that_nothing_explains_is_held_out(session, kind):
    """A path that steps aside by two boards, and one that never hooks though the same ball did every other time."""
    wrong = session.throws[3]
    throws = [changed(t, WRONG[kind](t)) if t is wrong else t for t in session.throws]
    found = fit_lanes(throws, {})
    assert wrong.shot_id in [t.shot_id for t in found.held_out]
    assert len(found.throws) + len(found.held_out) == len(throws)


def test_good_shots_are_kept(fit):
    assert fit.held_out == ()
    assert np.all(fit.chance > 1e-4)


def test_two_lanes_share_balls_and_bowler(session):
    """The same shots split over two lanes: one grip a ball, one bowler, and each lane known less well than the one."""
    split = [replace(t, lane="2") if k % 2 else t for k, t in enumerate(session.throws)]
    found = fit_lanes(split, {})
    assert found.layout.lanes == ("1", "2")
    assert len(found.layout.balls) == len({t.ball for t in session.throws})
    draws = draw_posterior(found)
    assert not np.array_equal(draws.lane("1").shape, draws.lane("2").shape)
    together = np.trace(fit_lanes(session.throws, {}).covariance[:50, :50])
    assert np.trace(found.covariance[np.ix_(found.layout.lane("1"), found.layout.lane("1"))][:50, :50]) > together


def test_ball_and_lane_are_only_known_together(session, fit):
    """One ball's factor and the lane's level trade against each other; the draws say so."""
    draws = draw_posterior(fit, 2000)
    ball = fit.layout.balls[0]
    level = draws.lane("1").value("log_oil")
    grip = draws.log_grip(ball)
    assert np.corrcoef(level, grip)[0, 1] < -0.3
    assert (level + grip).std() < np.hypot(level.std(), grip.std())


def test_no_shots_and_double_names_are_mistakes_of_the_caller(session):
    with pytest.raises(ValueError, match="shots with ids of their own"):
        fit_lanes([], {})
    with pytest.raises(ValueError, match="s01"):
        fit_lanes([replace(t, shot_id="s01") for t in session.throws], {})
