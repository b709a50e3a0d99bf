"""The line-up of a simulated practice: ways, room, what next, what it cannot tell."""

from dataclasses import replace

import numpy as np
import pytest

from lineup.folder import facts_of_practice
from tracker.lineup.chances import Choice, Next, Scatter, chances, middles
from tracker.lineup.decide import last_of_each_ball, rank
from tracker.lineup.doubts import doubts_of
from tracker.lineup.lineup import line_ups
from tracker.lineup.nextshot import advise, lessons
from tracker.lineup.played import played_lines
from tracker.lineup.room import room_of
from tracker.lineup.window import Window
from tracker.lineup.words import line_up_lines
from tracker.session.reading import fit_session

SCATTER = Scatter(0.6, 0.22, 0.22)


@pytest.fixture(scope="module")
def now(reading):
    return Next(reading.posterior, Window(), 9.0, SCATTER)


@pytest.fixture(scope="module")
def ranking(now):
    return rank(now, last_of_each_ball(played_lines(now.posterior)))


@pytest.fixture(scope="module")
def found(reading, facts):
    return line_ups(reading, facts, Window())[0]


def test_the_best_way_is_good_on_the_true_lane(practice, ranking):
    """Within 0.12 of the best of all ways that were ranked, and better than throwing the last ball where it was."""
    worth = practice.worth([o.choice.ball for o in ranking.options], [o.choice.line for o in ranking.options], Window())
    assert worth[0] > worth.max() - 0.12
    last = played_lines_last(ranking, practice)
    assert worth[0] >= practice.worth([last.ball], [last.line], Window())[0]


def played_lines_last(ranking, practice):
    return next(o.base for o in ranking.options if practice.throws[-1].shot_id in o.base.shots)


def test_what_is_expected_of_ways_is_what_they_do(practice, ranking, now):
    """Contact on the true lane within two standard uncertainties of the expected one, thrown without scatter."""
    for option in ranking.options:
        expected = middles(now, [option.choice]).contact_board
        true = practice.meant(option.choice.ball, option.choice.line)
        assert abs(true - np.median(expected)) < 2.5 * np.hypot(np.std(expected), 0.5)


def test_ranked_by_chance_and_tied_where_it_costs_little(ranking):
    assert (np.diff(ranking.chance) <= 0).all()
    assert set(ranking.tied) == set(np.flatnonzero(ranking.chance > ranking.chance[0] - 0.03))
    assert ranking.loss >= 0


def test_more_scatter_lowers_the_chance(now, ranking):
    choices = [o.choice for o in ranking.options[:2]]
    steady, wild = (
        chances(replace(now, scatter=s), choices, 32).mean(axis=0)
        for s in (Scatter(0.1, 0.05, 0.05), Scatter(1.5, 0.6, 0.5))
    )
    assert (wild < steady).all()


def test_a_left_hander_on_the_mirrored_lane_gets_the_mirrored_answer(practice, ranking):
    mirrored = [replace(t, hand="left" if t.hand == "right" else "right") for t in practice.throws]
    other = fit_session(mirrored, {}, draws=128)
    now = Next(other.posterior, Window(), 9.0, SCATTER)
    again = rank(now, last_of_each_ball(played_lines(other.posterior)))
    assert [(o.feet, o.target) for o in again.options] == [(o.feet, o.target) for o in ranking.options]
    assert again.chance == pytest.approx(ranking.chance, abs=1e-6)


def test_room_is_what_a_window_leaves(now, ranking):
    """A wide window leaves room both ways, a wider one no less; the curve is highest near no miss."""
    choice = ranking.options[0].choice
    wide, wider = (room_of(replace(now, window=w), choice) for w in (Window(13, 22, 1, 9), Window(11, 24, 0, 10)))
    for name in ("recovery", "hold", "parallel_out", "parallel_in"):
        near, far = getattr(wide, name), getattr(wider, name)
        assert near.boards is not None
        assert far.boards >= near.boards
        assert far.likely >= near.likely
    narrow = room_of(now, choice)
    assert narrow.recovery.boards is None
    assert abs(narrow.misses[np.argmax(narrow.aside)]) <= 1.0


def test_next_shot_lowers_the_expected_loss(now, ranking):
    found = lessons(now, ranking)
    assert all(one.loss_then <= one.loss_now + 1e-9 for one in found)
    assert [one.loss_then for one in found] == sorted(one.loss_then for one in found)


def test_a_lane_that_is_known_needs_no_further_shot(now, ranking):
    """With one and the same lane in all draws nothing is left to learn."""
    known = replace(now, posterior=replace(now.posterior, deviates=np.repeat(now.posterior.deviates[:1], 64, axis=0)))
    sure = rank(known, last_of_each_ball(played_lines(known.posterior)))
    assert advise(known, sure, 5, None).why == "enough"
    assert advise(now, ranking, 0, None).why == "no_shots_left"


def test_after_a_strike_the_next_look_is_slightly_inside(practice):
    """A board inside with feet and target (common practice, no source), where that teaches at least half as much."""
    early = fit_session(practice.throws[:4], {}, draws=128)
    now = Next(early.posterior, Window(), 5.0, SCATTER)
    bases = last_of_each_ball(played_lines(early.posterior))
    ranking = rank(now, bases)
    assert advise(now, ranking, 5, None).why == "teaches_most"
    found = advise(now, ranking, 5, bases[-1])
    assert found.why == "hold"
    assert (found.lesson.option.feet, found.lesson.option.target) == (1.0, 1.0)
    assert found.lesson.gain >= 0.5 * lessons(now, ranking)[0].gain


def test_the_note_says_what_the_rubric_asks(found):
    lines = "\n".join(line_up_lines(found))
    for part in (
        "pocket in",
        "target board",
        "room at 15 ft",
        "Next",
        "Watch for",
        "2-1 left",
        "Shot by shot",
        "s08",
        "Oil ends at",
    ):
        assert part in lines
    assert found.verdict in {"decided", "tie"}


@pytest.mark.parametrize(
    ("pick", "code"),
    [
        (lambda f: f[:3], "few_shots"),
        (lambda f: tuple(replace(s, numbers=s.numbers | straight(s)) for s in f), "straight_only"),
    ],
)
def test_cannot_tell(reading, facts, pick, code):
    found = line_ups(reading, pick(facts), Window())[0]
    assert found.verdict == "cannot_tell"
    assert code in [d.code for d in found.doubts]
    assert line_up_lines(found)[2].startswith("Cannot tell")


def straight(shot):
    return {"turn_deg": replace(shot.numbers["turn_deg"], value=0.4)}


def test_contradictions_and_hopeless_windows_are_told(facts, now, ranking):
    codes = [d.code for d in doubts_of(facts, ["a", "b"], 3, ranking)]
    assert codes == ["contradictory"]
    nowhere = rank(replace(now, window=Window(17.4, 17.6, 7.5, 8.0)), last_of_each_ball(played_lines(now.posterior)))
    assert [d.code for d in doubts_of(facts, ["a", "a"], 0, nowhere)] == ["no_way", "one_ball"]


def test_what_the_bowler_called_a_miss_counts_less(practice, reading):
    changed = facts_of_practice(practice, s08={"execution": "in"})
    assert line_ups(reading, changed, Window())[0].shots[-1].codes[0] == "called_miss"


@pytest.mark.parametrize("boards", [(18.2, 16.8, 3, 6), (16.8, 18.2, 6, 3)])
def test_a_window_without_room_is_refused(boards):
    with pytest.raises(ValueError, match="leave no room"):
        Window(*boards)


def test_choices_may_be_mixed(now, ranking):
    choices = [o.choice for o in ranking.options]
    together = chances(now, choices, 8)
    alone = np.concatenate([chances(now, [c], 8) for c in choices], axis=1)
    assert together == pytest.approx(alone)
    assert isinstance(choices[0], Choice)
