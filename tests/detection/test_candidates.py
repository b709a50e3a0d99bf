"""What counts as ball-sized in one frame, and which ball-sized places roll."""

import numpy as np
import pytest

from tracker.detection.candidates import ViewBackground, _middles, changed_share, find_candidates
from tracker.detection.region import RADIUS_CELLS
from tracker.detection.watch import Spot, moving_spots

SHAPE = (90, 70)


def _map(shape: str, row: int = 45, column: int = 33) -> np.ndarray:
    v, u = np.mgrid[: SHAPE[0], : SHAPE[1]]
    drawn = {
        "ball": np.hypot(v - row, u - column) <= RADIUS_CELLS,
        "block": (abs(v - row) < 24) & (abs(u - column) < 24),
        "line": abs(u - column) < 1,
        "row": abs(v - row) < 1,
        "nothing": np.zeros(SHAPE, bool),
    }
    return drawn[shape].astype(np.float32)


@pytest.mark.parametrize("row", [14, 45, 80])
@pytest.mark.parametrize("column", [12, 33, 58])
def test_finds_a_ball_where_it_is(row, column):
    found = find_candidates(_map("ball", row, column))
    assert (found[0].row, found[0].column) == pytest.approx((row, column), abs=2)
    assert found[0].score > 0.8


@pytest.mark.parametrize("shape", ["block", "line", "row", "nothing"])
def test_finds_nothing_in_what_is_no_ball(shape):
    inside = [c for c in find_candidates(_map(shape)) if abs(c.row - 45) < 12 and abs(c.column - 33) < 12]
    assert inside == []


def test_ball_on_its_mirror_image_is_still_found():
    both = np.maximum(_map("ball"), _map("ball", row=45 + 2 * RADIUS_CELLS))
    assert min(abs(c.row - 45) + abs(c.column - 33) for c in find_candidates(both)) <= 3


def test_two_balls_are_both_found_and_the_surer_one_comes_first():
    found = find_candidates(np.maximum(_map("ball", 20, 15), 0.5 * _map("ball", 60, 50)))
    assert [(c.row, c.column) for c in found[:2]] == [pytest.approx((20, 15), abs=2), pytest.approx((60, 50), abs=2)]
    assert found[0].score > found[1].score


@pytest.mark.parametrize("plane", [0, 1, 2])
def test_every_plane_can_tell_a_change(plane):
    sigma = np.full(SHAPE, 3.0, np.float32)
    medians = tuple(np.full(SHAPE, 120, np.uint8) for _ in range(3))
    background = ViewBackground(medians, (sigma, sigma, sigma))
    view = [m.copy() for m in medians]
    view[plane][45, 33] = 120
    view[plane][40:50, 28:38] = 90
    changed = changed_share(tuple(view), background)
    assert changed[45, 33] == pytest.approx(1.0)
    assert changed[10, 10] == 0.0


def test_noise_alone_hardly_changes_anything():
    random = np.random.default_rng(3)
    sigma = np.full(SHAPE, 3.0, np.float32)
    medians = tuple(np.full(SHAPE, 120, np.uint8) for _ in range(3))
    view = tuple(np.clip(np.round(120 + 3 * random.standard_normal(SHAPE)), 0, 255).astype(np.uint8) for _ in range(3))
    changed = changed_share(view, ViewBackground(medians, (sigma, sigma, sigma)))
    assert changed.mean() < 0.01
    assert find_candidates(changed) == ()


def _spot(frame: int, x_in: float, y_in: float) -> Spot:
    return Spot(frame, frame / 30, x_in, y_in, pitch_in=3.0, score=0.6)


def test_rolling_run_is_kept_and_what_stands_still_is_left_out():
    ball = [_spot(k, 4 - 0.1 * k, 40 + 10 * k) for k in range(24)]
    shoe = [_spot(k, -12.0, 25.0) for k in range(24)]
    moving = moving_spots(list(zip(ball, shoe, strict=True)))
    assert moving == set(ball)


def test_what_comes_toward_the_bowler_is_left_out():
    ball = [_spot(k, 0.0, 40 + 10 * k) for k in range(24)]
    back = [_spot(k, 10.0, 600 - 10 * k) for k in range(24)]
    assert moving_spots(list(zip(ball, back, strict=True))) == set(ball)


def test_a_gap_of_a_tenth_of_a_second_does_not_break_a_run():
    ball = [_spot(k, 0.0, 40 + 10 * k) for k in range(30) if not 12 <= k < 15]
    assert moving_spots([(b,) for b in ball]) == set(ball)


def test_no_spots_are_no_run():
    assert moving_spots([(), ()]) == set()


@pytest.mark.parametrize("row", [30, 45])
def test_a_ball_that_stands_out_fully_is_one_place_in_the_middle_of_those_that_score_alike(row):
    """Its disc is covered over several cells: each of them would be measured as a ball of its own."""
    wide = np.hypot(*(np.mgrid[: SHAPE[0], : SHAPE[1]] - np.array([row, 33])[:, None, None])) <= RADIUS_CELLS + 1
    near = [c for c in find_candidates(wide.astype(np.float32)) if np.hypot(c.row - row, c.column - 33) <= RADIUS_CELLS]
    assert [(c.row, c.column) for c in near] == [pytest.approx((row, 33), abs=1)]


def test_a_plateau_that_bends_is_one_place():
    score = np.zeros((12, 14), np.float32)
    score[3:8, [3, 9]] = 0.9
    score[7, 3:10:3] = 0.9
    assert len(_middles(score > 0.5, score)) == 1
