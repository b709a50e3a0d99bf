"""What is kept of the deck while a clip runs by."""

import numpy as np
import pytest
from deck_pictures import SMALL, House, drawn

from tracker.pins import watch
from tracker.pins.watch import DeckWatcher, passage_at
from tracker.video.reader import Crop

FPS = 30


@pytest.fixture(scope="module")
def view():
    return drawn(House(SMALL)).view


def crop(k):
    planes = [np.full(shape, k % 251, np.uint8) for shape in ((20, 40), (10, 20), (10, 20))]
    return Crop(*planes, index=k, t_s=k / FPS)


def run(view, seconds, balls, lag_s=1.6):
    """Frames one after another; each ball is told of ``lag_s`` after it was filmed, from 50 ft to the pins."""
    watcher = DeckWatcher(view)
    told = [(t + j / FPS, 600.0 + 110.0 * j / 12) for t in balls for j in range(12)]
    for k in range(int(seconds * FPS)):
        if watcher.wants(k / FPS):
            watcher.see(crop(k))
        while told and told[0][0] + lag_s <= k / FPS:
            watcher.ball_at(*told.pop(0))
    for ball in told:
        watcher.ball_at(*ball)
    return watcher


def test_pictures_before_during_and_after(view):
    (passage,) = run(view, 12.0, [4.0]).passages()
    assert max(c.t_s for c in passage.before) < 4.4
    assert len(passage.before) >= 10
    times = np.array([c.t_s for c in passage.during])
    assert times[0] < 4.35
    assert times[-1] > 4.9
    np.testing.assert_allclose(np.diff(times), 1 / FPS, atol=1e-9)
    later = np.array([c.t_s for c in passage.after])
    assert later[-1] == pytest.approx(12.0 - 1 / FPS, abs=1e-9)
    assert np.all(np.diff(later) > 0)


def test_each_ball_has_its_own_and_a_new_one_ends_the_last(view):
    first, second = run(view, 14.0, [2.0, 9.0]).passages()
    assert passage_at((first, second), 2.5) is first
    assert passage_at((first, second), 9.5) is second
    assert passage_at((first, second), 6.0) is None
    assert max(c.t_s for c in first.after) < 11.0
    assert min(c.t_s for c in second.before) > 3.0


def test_a_clip_that_ends_while_balls_are_still_looked_for(view):
    (passage,) = run(view, 4.6, [4.0]).passages()
    assert passage.during[-1].t_s == pytest.approx(4.6 - 1 / FPS, abs=1e-9)


def test_memory_does_not_grow_with_the_clip(view):
    def kept(seconds):
        watcher = run(view, seconds, [3.0])
        held = {id(c) for c in watcher._ring} | {id(c) for c in watcher._samples}
        return len(held | {id(c) for p in watcher.passages() for part in (p.before, p.during, p.after) for c in part})

    assert kept(40.0) <= kept(20.0)


def test_many_balls_let_the_oldest_go(view, monkeypatch):
    monkeypatch.setattr(watch, "MOST_BYTES", 200_000)
    passages = run(view, 60.0, [3.0 + 8.0 * k for k in range(7)]).passages()
    assert sum(p.nbytes for p in passages) < 320_000
    assert not passages[0].during
    assert passages[-1].during
    assert passage_at(passages, 3.5) is None


def test_faster_clips_are_thinned(view):
    watcher = DeckWatcher(view)
    assert sum(watcher.wants(k / 240) for k in range(240)) <= 71
