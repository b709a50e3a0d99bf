"""The verdict's limits are those of docs/method.md, and independent marks widen what the camera claims to know."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.finding import judge
from calibration.finding.judge import Agreement
from calibration.observations import EdgePoint, LanePoint
from calibration.quality import lane_point_sigma, verdict
from calibration.solve import Solution, solve

AGREEING = Agreement(7, 0.0, 1.0, 7, 0.1, ((15.0, 0.1), (40.0, 0.1), (60.0, 0.1)))


def places(left=20, right=20, foul=20):
    counts = {"left": left, "right": right, "foul": foul}
    return [EdgePoint(side, 10.0, 10.0, 0.3, f"{side}_{k}") for side, n in counts.items() for k in range(n)]


FAR = LanePoint("deck_end", (0.0, 754.0, 0.0), 10.0, 10.0, 300.0)


@pytest.fixture
def solution(camera, clicked) -> Solution:
    found = solve(clicked(camera), width=camera.width, height=camera.height)
    assert isinstance(found, Solution)
    assert verdict(found) == "good"
    return found


def judged(solution, agreement=AGREEING, *, loss=0.05, **counts):
    word, failure = judge.verdict(solution, [*places(**counts), FAR], agreement, loss=loss)
    return word, None if failure is None else failure.reason


def test_marks_that_agree_change_nothing(solution):
    assert judge.widening(solution, AGREEING) == 1.0
    assert judged(solution) == ("good", None)


@pytest.mark.parametrize(
    ("mark", "noise", "feet"), [("arrows_aside_boards", 0.15, 15.0), ("pins_aside_boards", 0.3, 60.0)]
)
def test_widened_until_the_marks_are_explained(solution, mark, noise, feet):
    """Marks three of the camera's sigmas off, beyond their own noise, triple it; far ones no more than fivefold."""
    sigma = lane_point_sigma(solution, feet)[0]
    aside = float(np.hypot(noise, 3.0 * sigma))
    assert judge.widening(solution, replace(AGREEING, **{mark: aside})) == pytest.approx(9.0)
    assert judge.widening(solution, replace(AGREEING, **{mark: 0.9 * noise})) == 1.0
    assert judge.widening(solution, replace(AGREEING, **{mark: noise + 9.0 * sigma})) == 25.0


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_arrows_far_from_the_usual_place_widen_what_is_known_down_the_lane(solution, side):
    off_ft = float(np.hypot(0.9, 2.0 * lane_point_sigma(solution, 15.8)[1]))
    assert judge.widening(replace(solution, arrow_centre_ft=15.8 + side * off_ft), AGREEING) == pytest.approx(4.0)
    assert judge.widening(replace(solution, arrow_centre_ft=15.8 + side * 0.85), AGREEING) == 1.0


@pytest.mark.parametrize(
    ("change", "good", "usable", "refused"),
    [
        ("pins_aside_boards", -0.44, 0.79, -0.81),
        ("pins_scale", 1.029, 0.951, 1.051),
        ("arrows_aside_boards", 0.69, None, 0.71),
    ],
)
def test_limits_of_the_marks(solution, change, good, usable, refused):
    assert judged(solution, replace(AGREEING, **{change: good})) == ("good", None)
    if usable is not None:
        assert judged(solution, replace(AGREEING, **{change: usable})) == ("usable", None)
    assert judged(solution, replace(AGREEING, **{change: refused})) == ("refused", "lane_unclear")


def test_pins_close_together_must_agree_as_well_as_for_a_good_lane(solution):
    narrow = replace(AGREEING, pins_scale=None, pins_aside_boards=0.5)
    assert judged(solution, narrow) == ("refused", "lane_unclear")


def test_scattered_edges_or_nothing_independent_are_no_good_lane(solution):
    scattered = replace(AGREEING, edge_boards=((15.0, 0.1), (40.0, 0.6), (60.0, np.nan)))
    assert judged(solution, scattered) == ("usable", None)
    unconfirmed = Agreement(2, None, None, 0, None, AGREEING.edge_boards)
    assert judged(solution, unconfirmed) == ("usable", None)


def test_too_few_places_or_marks_that_do_not_fit(solution):
    assert judged(solution, left=6, right=6, foul=8) == ("good", None)
    for counts in ({"left": 5}, {"right": 5}, {"foul": 7}, {"loss": 0.28}):
        assert judged(solution, **counts) == ("refused", "lane_unclear")


@pytest.mark.parametrize(("at_ft", "still_ft"), [(14.0, 14.2), (17.1, 16.9)])
def test_arrows_where_none_are_laid_tell_of_another_line(solution, at_ft, still_ft):
    """The rules lay them 12 to 16 ft past the foul line (from memory)."""
    assert judged(replace(solution, arrow_centre_ft=at_ft)) == ("refused", "lane_unclear")
    assert judged(replace(solution, arrow_centre_ft=still_ft))[1] is None


def test_a_camera_on_the_floor_is_too_flat(solution):
    vector = solution.camera.vector
    for height_in, reason in ((29.0, "lane_too_flat"), (31.0, None)):
        vector[2] = height_in
        failure = judge.too_flat([solution.camera, solution.camera.with_vector(vector)])
        assert (None if failure is None else failure.reason) == reason


def test_vague_cameras_are_usable_then_refused(solution):
    across = max(lane_point_sigma(solution, y)[0] for y in (15.0, 40.0, 60.0))
    along = max(lane_point_sigma(solution, y)[1] for y in (15.0, 40.0, 60.0))
    limits = np.array([0.3, 0.8]) / across, np.array([0.6, 2.0]) / along
    good, usable = np.min(limits, axis=0)
    for factor, expected in ((0.98 * good, "good"), (1.02 * good, "usable"), (1.02 * usable, "refused")):
        vague = replace(solution, covariance=solution.covariance * factor**2)
        assert judged(vague)[0] == expected


def test_lanes_that_say_otherwise_widen_it_and_refuse_one_without_marks_of_its_own(solution):
    bare = replace(AGREEING, pins=0, pins_aside_boards=None, pins_scale=None, arrows=0, arrows_aside_boards=None)
    seen = [*places(), FAR]
    assert judge.widening(solution, AGREEING, apart=2.5) == pytest.approx(2.5)
    assert judge.verdict(solution, seen, AGREEING, loss=0.05, apart=2.5)[1] is None
    assert judge.verdict(solution, seen, bare, loss=0.05, apart=1.0)[1] is None
    assert judge.verdict(solution, seen, bare, loss=0.05, apart=2.5)[0] == "refused"


def test_a_lane_that_could_lie_in_another_place_needs_marks_of_its_own(solution):
    bare = replace(AGREEING, pins=2, pins_aside_boards=None, pins_scale=None, arrows=0, arrows_aside_boards=None)
    seen = [*places(), FAR]
    assert judge.verdict(solution, seen, bare, loss=0.05, rival=0.97)[0] == "refused"
    assert judge.verdict(solution, seen, bare, loss=0.05, rival=0.75)[0] == "usable"
    assert judge.verdict(solution, seen, AGREEING, loss=0.05, rival=0.97)[0] == "good"


def test_what_nothing_tests_is_known_less_well(solution):
    """Three pins on one side of the deck tell nothing of the other edge."""
    one_side = replace(AGREEING, pins=3, pins_scale=None, arrows=0, arrows_aside_boards=None)
    assert judge.widening(solution, one_side) == pytest.approx(9.0)
    assert judged(solution, one_side) == ("usable", None)
    assert judge.widening(solution, replace(one_side, pins_scale=1.0)) == 1.0


def test_a_lane_whose_far_end_nobody_sees_needs_others_that_do(solution):
    assert judge.verdict(solution, places(), AGREEING, loss=0.05)[0] == "refused"
    assert judge.verdict(solution, places(foul=0), AGREEING, loss=0.05, told=True)[1] is None
