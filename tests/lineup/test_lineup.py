"""The line-up of a simulated practice: ways, room, what next, what it cannot tell."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

import tracker.lineup.chances as chances_module
import tracker.lineup.moves as moves_module
from lineup.folder import facts_of_practice
from lineup.practice import USUAL, adjusted, draw_practice, practise
from tracker.lineup.chances import THROWS, Outlook, Spread, chances, middles
from tracker.lineup.decide import last_of_each_ball, rank
from tracker.lineup.doubts import doubts_of
from tracker.lineup.lineup import line_ups, scatter_draws
from tracker.lineup.nextshot import advise, lessons
from tracker.lineup.played import played_lines
from tracker.lineup.room import room_of
from tracker.lineup.window import Window
from tracker.lineup.words import line_up_lines
from tracker.session.reading import fit_session


def outlook(reading, number=9.0, window=None, scatter=(0.6, 0.22, 0.22)):
    draws = reading.posterior
    return Outlook(draws, window or Window(), number, np.tile(scatter, (len(draws), 1)))


@pytest.fixture(scope="module")
def now(reading):
    return outlook(reading)


@pytest.fixture(scope="module")
def ranking(now):
    return rank(now, last_of_each_ball(played_lines(now.posterior)))


@pytest.fixture(scope="module")
def found(reading, facts):
    return line_ups(reading, facts, Window())[0]


def test_the_best_way_is_good_on_true_lanes():
    """Over two lanes that are not of the model's form: little worse than the best ranked, better than their middle.

    ``tests/bench/bench_lineup.py`` does it on many lanes and against rules of thumb.
    """
    loss, gain = [], []
    for seed in (4, 10):
        practice = practise(seed)
        reading = fit_session(practice.throws, {}, draws=160)
        options = rank(outlook(reading), last_of_each_ball(played_lines(reading.posterior))).options
        balls, lines = [o.choice.ball for o in options], [o.choice.line for o in options]
        worth = practice.worth(balls, lines, Window(), points=64)
        loss.append(worth.max() - worth[0])
        gain.append(worth[0] - np.median(worth))
    assert np.mean(loss) < 0.05
    assert np.mean(gain) > 0.03


def test_where_ways_lead_is_where_they_lead(practice, ranking, now):
    """Contact of a throw as meant on the true lane, within three of what lane and model leave open (0.5 board)."""
    for option in ranking.options:
        expected = middles(now, [option.choice]).contact_board
        true = practice.meant(option.choice.ball, option.choice.line)
        assert abs(true - np.median(expected)) < 3.0 * np.hypot(np.std(expected), 0.5)


def test_the_target_is_where_the_ball_passes_15_ft(practice, ranking):
    """What a bowler who looks at the arrows calls it: half a board from the true path of a throw as meant."""
    for option in ranking.options:
        assert option.board_15ft == pytest.approx(practice.meant(option.choice.ball, option.choice.line, 15.0), abs=0.5)


def test_chance_is_what_many_throws_have(now, ranking):
    """Few throws and a normal distribution against 512 of them counted, mean over the draws."""
    few = now.thinned(32)
    choices = [o.choice for o in ranking.options[:3]]
    points = chances_module._points(len(few.posterior), 512)
    for choice, chance in zip(choices, chances(few, choices).mean(axis=0), strict=True):
        counted = few.window.holds(chances_module.thrown(few, [choice], points)).mean()
        assert chance == pytest.approx(counted, abs=0.025)


def test_uncertainty_of_a_chance_is_the_lanes_and_not_that_of_few_throws(now, ranking):
    few, choices = now.thinned(48), [o.choice for o in ranking.options[:2]]
    usual, many = (chances(few, choices, throws).std(axis=0) for throws in (THROWS, 256))
    assert usual == pytest.approx(many, rel=0.3)


def test_a_normal_spread_has_the_chance_of_its_distribution():
    """Independent board and angle: product of the two normal integrals (scipy)."""
    spread = Spread(np.array([17.0, 4.0]), np.diag([0.9**2, 0.8**2]))
    board = norm.cdf(18.2, 17.0, 0.9) - norm.cdf(16.8, 17.0, 0.9)
    angle = norm.cdf(6.0, 4.0, 0.8) - norm.cdf(3.0, 4.0, 0.8)
    assert spread.chance(Window()) == pytest.approx(board * angle, rel=1e-2)


def test_every_ball_has_a_way_hardly_apart_from_its_last_line(ranking, now):
    """Staying, or a move so small that staying was not told apart from it."""
    near = {o.choice.ball for o in ranking.options if max(abs(o.feet), abs(o.target)) < 1.6}
    assert near == {p.ball for p in played_lines(now.posterior)}


def test_ranked_by_chance_and_tied_where_it_costs_little_or_is_not_sure(ranking):
    assert (np.diff(ranking.chance) <= 0).all()
    best = ranking.tied[0]
    for k, option in enumerate(ranking.options):
        close = ranking.chance[k] > ranking.chance[best] - 0.03
        often = (ranking.each[:, k] > ranking.each[:, best]).mean() > 0.2
        assert (k in ranking.tied) == (k == best or (not option.unsampled and (close or often)))


def test_more_scatter_lowers_the_chance(now, ranking):
    choices = [o.choice for o in ranking.options[:2]]
    narrow, wide = (np.tile(s, (len(now.posterior), 1)) for s in ((0.1, 0.05, 0.05), (1.5, 0.6, 0.5)))
    steady, wild = (chances(replace(now, scatter=s), choices).mean(axis=0) for s in (narrow, wide))
    assert (wild < steady).all()


def test_a_left_hander_on_the_mirrored_lane_gets_the_mirrored_answer(practice, ranking):
    mirrored = [replace(t, hand="left" if t.hand == "right" else "right") for t in practice.throws]
    other = fit_session(mirrored, {}, draws=128)
    again = rank(outlook(other), last_of_each_ball(played_lines(other.posterior)))
    assert [(o.feet, o.target) for o in again.options] == [(o.feet, o.target) for o in ranking.options]
    assert again.chance == pytest.approx(ranking.chance, abs=1e-6)


def test_room_is_what_a_window_leaves(now, ranking):
    """A wide window leaves room both ways, a wider one no less."""
    few, choice = now.thinned(48), ranking.options[0].choice
    wide, wider = (room_of(replace(few, window=w), choice) for w in (Window(13, 22, 1, 9), Window(11, 24, 0.5, 12)))
    for near, far in ((wide.aside, wider.aside), (wide.parallel, wider.parallel)):
        assert near.outward is not None
        assert far.outward >= near.outward
        assert far.inward >= near.inward
        assert far.width >= near.width > 0.5


def test_a_miss_has_the_chance_that_many_single_throws_have(now, ranking):
    """Board kept, speed half a mile off or a board of parallel miss: counted hits of 24 throws on each draw."""
    wide = replace(now, window=Window(16.0, 19.5, 2.0, 7.0))
    choice = ranking.options[0].choice
    room = room_of(wide, choice)
    points = chances_module._points(len(now.posterior), 24)
    points[..., :3] = 0.0
    slow = replace(choice.line, speed_mph=choice.line.speed_mph - 0.5)
    lines = {0.0: choice.line, 1.0: choice.line.moved(1.0, 1.0)}
    said = [room.speed_chance[1], *(room.parallel_chance[room.misses == miss][0] for miss in lines)]
    for chance, line in zip(said, [slow, *lines.values()], strict=True):
        counted = wide.window.holds(chances_module.thrown(wide, [replace(choice, line=line)], points)).mean()
        assert chance == pytest.approx(counted, abs=0.04)


def test_room_with_the_laydown_kept_is_the_windows_over_what_a_board_does(now, ranking):
    """A board at 15 ft moves the contact by some 3 to 5 boards: a window of 1.4 leaves a third of a board."""
    few, choice = now.thinned(48), ranking.options[0].choice
    room = room_of(replace(few, window=Window(16.8, 18.2, 0.0, 12.0)), choice)
    lines = [replace(choice, line=choice.line.moved(0.0, m)) for m in (-0.5, 0.5)]
    out, in_ = (np.median(middles(few, [one]).contact_board) for one in lines)
    assert room.aside.width == pytest.approx(1.4 / (in_ - out), abs=0.12)


def test_a_lane_that_is_known_needs_no_further_shot(now, ranking):
    """With one and the same lane in all draws nothing is left to learn."""
    one = np.repeat(now.posterior.deviates[:1], len(now.posterior), axis=0)
    known = replace(now, posterior=replace(now.posterior, deviates=one))
    sure = rank(known, last_of_each_ball(played_lines(known.posterior)))
    assert advise(known, sure, 5, None).why == "enough"
    assert advise(now, ranking, 0, None).why == "no_shots_left"


def test_after_a_strike_the_next_look_is_slightly_inside(practice, monkeypatch):
    """A board inside with feet and target (common practice, no source), where that teaches at least a third as much."""
    early = fit_session(practice.throws[:4], {}, draws=128)
    now = outlook(early, 5.0)
    bases = last_of_each_ball(played_lines(early.posterior))
    ranking = rank(now, bases)
    assert advise(now, ranking, 5, None).why == "teaches_most"
    found = advise(now, ranking, 5, bases[-1])
    assert found.why == "hold"
    assert (found.lesson.option.feet, found.lesson.option.target) == (1.0, 1.0)
    assert found.lesson.gain >= lessons(now, ranking)[0].gain / 3
    assert 0.0 <= found.lesson.option.sampled < 1.0 + 1e-9
    monkeypatch.setattr(moves_module, "LAYDOWN_BOARDS", (4.0, bases[-1].line.laydown_board + 0.5))
    assert advise(now, ranking, 5, bases[-1]).why == "teaches_most"


def test_the_note_says_what_the_rubric_asks(found):
    lines = "\n".join(line_up_lines(found, Window()))
    parts = ("pocket in", "target board", "room at 15 ft", "Next (", "Watch for", "2-1 left", "Shot by shot", "s08")
    for part in (*parts, "Oil ends at", "Pocket: contact board 16.8 to 18.2"):
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
    assert line_up_lines(found, Window())[3].startswith("Cannot tell")


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


def test_cannot_tell_recommends_nothing(reading, facts):
    found = line_ups(reading, facts[:2], Window())[0]
    lines = "\n".join(line_up_lines(found, Window()))
    assert (found.ways, found.advice, found.exit_board.value) == ((), None, None)
    assert "Bowl with" not in lines
    assert "throw 2 more" in lines
    assert "best way" not in lines


def test_scatter_is_as_uncertain_as_few_repeats_leave_it(reading):
    """The median of the draws is near the value, and their spread shrinks with repeats."""
    bowler = reading.bowlers[0]
    draws = scatter_draws(bowler, 4000)
    value = np.array([bowler.scatter[n].value for n in ("board", "launch_deg", "speed_mph")])
    assert np.median(draws, axis=0) == pytest.approx(value, rel=0.15)
    known = replace(bowler, scatter={n: replace(s, repeats=60) for n, s in bowler.scatter.items()})
    assert (scatter_draws(known, 4000).std(axis=0) < 0.5 * draws.std(axis=0)).all()


def test_names_stay_on_their_line(practice):
    odd = "=cmd()\n<b>|\x1b[31m ball"
    throws = [replace(t, ball=odd, line="a\nb") for t in practice.throws]
    reading = fit_session(throws, {}, draws=96)
    found = line_ups(reading, tuple(replace(s, ball=odd) for s in facts_of_practice(practice)), Window())[0]
    assert all("\n" not in line and "\x1b" not in line for line in line_up_lines(found, Window()))
    assert "one_ball" in [d.code for d in found.doubts]


def test_shots_without_a_balls_name_are_not_said_to_be_of_one_ball(facts, ranking):
    assert [d.code for d in doubts_of(facts, ["", ""], 0, ranking)] == ["no_ball_named"]


def test_two_lanes_and_two_hands_are_lined_up_apart(practice):
    """The same shots on a second lane by a left-hander: four shots each are enough for a word on both."""
    right = [replace(t, lane="7", number=k + 1) for k, t in enumerate(practice.throws[:4])]
    left = [replace(t, lane="8", hand="left", number=k + 1, shot_id=f"x{k}") for k, t in enumerate(practice.throws[4:])]
    reading = fit_session([*right, *left], {}, draws=96)
    facts = facts_of_practice(practice)
    shots = [replace(s, lane="7") for s in facts[:4]]
    shots += [replace(s, lane="8", hand="left", shot_id=f"x{k}") for k, s in enumerate(facts[4:])]
    found = line_ups(reading, shots, Window())
    assert [(f.lane, f.hand, len(f.shots)) for f in found] == [("7", "right", 4), ("8", "left", 4)]
    assert "2-1 right" in "\n".join(line_up_lines(found[1], Window()))


def test_a_medium_pattern_is_begun_around_the_second_arrow():
    """Medium oil (38 to 43 ft), as a house's usual, is begun near board 10 at 15 ft (common practice, no source)."""
    practice = draw_practice(3)
    usual = replace(practice, lanes=USUAL)
    line = usual.start()
    for k in range(4):
        board, _ = usual.throw("ball 0", line, f"line {k}")
        line = adjusted(line, board)
    reading = fit_session(usual.throws, {}, draws=200)
    found = rank(outlook(reading, 5.0), last_of_each_ball(played_lines(reading.posterior)))
    assert 6.5 < found.options[found.tied[0]].board_15ft < 15.0


@pytest.mark.parametrize("sd", [0.2, 0.6, 3.0])
def test_no_window_however_wide_has_a_chance_beyond_one(sd):
    """A window much wider than the spread: the share of the angle alone (scipy's normal distribution)."""
    spread = Spread(np.array([[17.0, 4.0]]), np.array([[[sd**2, 0.5 * sd * 0.8], [0.5 * sd * 0.8, 0.8**2]]]))
    share = norm.cdf(5.0, 4.0, 0.8) - norm.cdf(3.0, 4.0, 0.8)
    assert spread.chance(Window(2.0, 38.0, 3.0, 5.0))[0] == pytest.approx(share, abs=0.01)
