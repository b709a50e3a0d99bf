"""The shot to throw next: what it is worth, against normal theory; what it must never be."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from lineup.practice import practise
from tracker.lineup.chances import Arrivals, Outlook, Spread
from tracker.lineup.decide import Ranking, last_of_each_ball, rank
from tracker.lineup.moves import led, led_exactly, moves_of
from tracker.lineup.nextshot import chances_then, lessons
from tracker.lineup.played import played_lines
from tracker.lineup.window import Window
from tracker.session.reading import fit_session

WIDE = Window(16.8, 18.2, -90.0, 90.0)
SCATTER, DOUBT = 1.5, 1.2


@pytest.fixture(scope="module")
def now():
    posterior = fit_session(practise(2, 4).throws, {}, draws=128).posterior
    return Outlook(posterior, Window(), 5.0, np.tile((0.6, 0.22, 0.22), (len(posterior), 1)))


@pytest.fixture(scope="module")
def ranking(now) -> Ranking:
    return rank(now, last_of_each_ball(played_lines(now.posterior)), throws=16)


@pytest.fixture(scope="module")
def unknown_ball():
    """One ball whose contact is known to be 2.1 boards off the pocket's middle, and one in doubt around 2.4 off."""
    random = np.random.default_rng(5)
    off = DOUBT * norm.ppf((np.arange(200) + 0.5) / 200)
    random.shuffle(off)
    mean = np.stack([np.full(200, 15.4), 19.9 + off])
    spread = Spread(
        np.stack([mean, np.full_like(mean, 4.0)], axis=-1), np.tile(np.diag([SCATTER**2, 0.25]), (2, 200, 1, 1))
    )
    arrivals = Arrivals(spread, np.ones((2, 200)))
    return off, Ranking((), arrivals, arrivals.chance(WIDE), (0,))


def gain(ranking: Ranking, shown: np.ndarray, noise: float) -> float:
    then = chances_then(shown[:, None], np.array([[noise**2]]), ranking, WIDE)
    assert then.mean(axis=0) == pytest.approx(ranking.chance)
    return float(then.max(axis=1).mean() - ranking.chance.max())


def test_the_ball_in_doubt_is_the_telling_one(unknown_ball):
    """A shot that shows where it arrives is worth what normal theory says; one that shows luck alone, nothing."""
    off, ranking = unknown_ball
    told = DOUBT**2 / np.sqrt(DOUBT**2 + 0.6**2)

    def chance(board: float, sd: float) -> float:
        return float(norm.cdf(18.2, board, sd) - norm.cdf(16.8, board, sd))

    left = np.sqrt(SCATTER**2 + DOUBT**2 - told**2)
    known = chance(15.4, SCATTER)
    then, _ = quad(lambda z: norm.pdf(z) * max(known, chance(19.9 + told * z, left)), -6, 6)
    exact = then - max(known, chance(19.9, np.hypot(SCATTER, DOUBT)))
    assert exact > 0.01
    assert gain(ranking, off, 0.6) == pytest.approx(exact, rel=0.1)
    luck = np.random.default_rng(6).standard_normal(200)
    assert gain(ranking, luck, 0.6) < 0.1 * exact


def test_a_clearer_shot_is_worth_more(unknown_ball):
    off, ranking = unknown_ball
    worth = [gain(ranking, off, noise) for noise in (0.1, 0.6, 2.0, 20.0)]
    assert worth == sorted(worth, reverse=True)
    assert worth[-1] < 1e-3


def test_no_shot_is_expected_to_make_the_choice_worse_and_none_to_make_it_perfect(now, ranking):
    found = lessons(now, ranking, 4)
    assert {one.option for one in found} == set(ranking.options)
    for one in found:
        assert -1e-9 <= one.gain <= one.loss_now
        assert one.gain <= one.most_gain + 1e-9
    assert found[0].gain >= max(one.gain for one in found) - 0.0005


def test_a_promising_way_that_only_has_to_be_tried_is_tried(now, ranking):
    """The best way runs where nothing was thrown, so it may not be the answer: a shot there is worth the difference."""
    far = replace(ranking.options[0], sampled=0.0)
    worse = int(np.argmin(ranking.chance))
    open_ = replace(ranking.options[worse], sampled=1.0)
    pair = Ranking((far, open_), ranking.arrivals.take(np.array([0, worse])), ranking.each[:, [0, worse]], (1,))
    found = {one.option: one.gain for one in lessons(now, pair)}
    assert found[far] >= pair.chance[0] - pair.chance[1] - 1e-9 > 0.0
    assert found[open_] <= found[far] + 1e-12


def test_moves_lie_where_those_around_them_do(now):
    base = last_of_each_ball(played_lines(now.posterior))[0]
    few, moves = now.thinned(24), moves_of(base)
    around, exact = led(few, base, moves), led_exactly(few, moves)
    near = np.abs(exact.contact_board - 17.5) < 4.0
    assert near.sum() > 50
    assert np.sqrt(np.mean((around.contact_board - exact.contact_board)[near] ** 2)) < 0.25
    assert np.sqrt(np.mean((around.entry_angle_deg - exact.entry_angle_deg)[near] ** 2)) < 0.05
    assert (around.gutter == exact.gutter).mean() > 0.98
