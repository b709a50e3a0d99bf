"""The simulated lanes that judge the model are right themselves: worked cases and a physics engine.

Cases G to K: own derivation in closed form, confirmed by another Runge-Kutta program; the engine's figures are those of
MuJoCo with an elliptic friction cone. They stand in tests/physics/rolls.py for the program's ball as well.
"""

from __future__ import annotations

import numpy as np
import pytest
from lanes.truth import FT, MPH, Runs, contact, draw_lanes, integrate
from lanes.zones import joined, plain_shot, same_ball, zone_lane

RIGHT = np.ones(1)
OILED = 0.04, 0.20
# board, speed and heading at 60 ft, time there, where rolling begins, lowest board
CASES = {
    "G": (
        (18, 350, 45, 15, 2.0, 20.0, 2.50),
        (*OILED, ((0, 0.04), (40, 0.20))),
        (23.592, 15.074, 3.885, 2.4486, 50.658, 12.380),
    ),
    "H": (
        (18, 350, 45, 15, 2.0, 20.0, 2.50),
        (*OILED, ((0, 0.04), (44, 0.20))),
        (21.310, 15.074, 3.885, 2.4340, 53.858, None),
    ),
    "I": (
        (16, 250, 30, 10, 1.0, 15.0, 2.50),
        (*OILED, ((0, 0.04), (40, 0.20))),
        (22.328, 13.357, 2.416, 2.7983, 45.650, 12.572),
    ),
    "J": (
        (17, 400, 55, 12, 2.5, 22.0, 2.48),
        (0.03, 0.20, ((0, 0.03), (20, 0.06), (40, 0.20))),
        (31.535, 14.334, 5.712, 2.5934, 49.173, 12.591),
    ),
    "K": (
        (16, 150, 10, 5, 0.0, 20.0, 2.70),
        (0.04, 0.12, ((0, 0.04), (40, 0.12))),
        (23.861, 12.538, 0.858, 2.8259, None, None),
    ),
}


@pytest.fixture(scope="module")
def runs() -> Runs:
    """All cases at once, and a straight ball at board 17.5."""
    lanes = [zone_lane(*zones) for _, zones, _ in CASES.values()] + [zone_lane(0.04, 0.2, ((0, 0.0400001),))]
    shots = [same_ball(*shot) for shot, _, _ in CASES.values()] + [plain_shot(17, 0.001, 0, 0, 0.0, 17.5, 2.5)]
    together = joined(shots).with_values(lane=np.arange(len(shots)))
    return integrate(joined(lanes), together)


RIGHT_ALL = np.ones(len(CASES) + 1)


@pytest.mark.parametrize("case", CASES)
def test_worked_cases(case, runs):
    """Film is tabulated every half foot: a zone begins up to 0.5 ft early, which is 0.3 board at the pins."""
    _, _, (board, mph, deg, time, roll, lowest) = CASES[case]
    k = list(CASES).index(case)
    assert runs.board([60.0], RIGHT_ALL)[k, 0] == pytest.approx(board, abs=0.35)
    speed = np.hypot(runs.at_ft([60.0], runs.vx), runs.at_ft([60.0], runs.vy))[k, 0] / MPH
    assert speed == pytest.approx(mph, abs=0.005)
    assert runs.heading_deg([60.0], RIGHT_ALL)[k, 0] == pytest.approx(deg, abs=0.005)
    assert runs.time([60.0])[k, 0] == pytest.approx(time, abs=0.003)
    if roll is not None:
        assert runs.y[np.argmax(runs.slip[:, k] == 0), k] / FT == pytest.approx(roll, abs=0.6)
    if lowest is not None:
        assert runs.board(np.arange(10, 55, 0.1), RIGHT_ALL)[k].min() == pytest.approx(lowest, abs=0.1)


def test_four_feet_more_oil_is_two_boards_and_no_angle(runs):
    """Cases G and H differ by 2.28 boards at 60 ft, by no speed and no angle: the oil cannot change where it ends."""
    board = runs.board([60.0], RIGHT_ALL)[:, 0]
    assert board[0] - board[1] == pytest.approx(2.28, abs=0.05)
    heading = runs.heading_deg([60.0], RIGHT_ALL)[:, 0]
    assert heading[0] == pytest.approx(heading[1], abs=0.005)


def test_first_contact_in_the_pocket(runs):
    """Offset 2.66 in from the head pin's centre is met 59.489 ft past the foul line (geometry of two circles)."""
    board, heading, feet = (values[-1] for values in contact(runs, RIGHT_ALL))
    assert board == pytest.approx(17.5, abs=0.01)
    assert heading == pytest.approx(0.0, abs=0.01)
    assert feet == pytest.approx(59.489, abs=0.015)


def test_a_left_hander_s_shot_is_the_mirror_image_on_level_lanes():
    lane = draw_lanes(1, np.random.default_rng(3))
    lane = type(lane)(*(v * 0 if name == "tilt" else v for name, v in vars(lane).items()))
    right = plain_shot(17, 330, 45, 12, 2.3, 17.0, 2.5).with_values(turn_deg_s=np.array([4.0]), wobble_deg=np.ones(1))
    both = joined([right, right.with_values(side=-RIGHT)])
    found = integrate(joined([lane, lane]), both.with_values(lane=np.arange(2)), 4e-3)
    assert np.allclose(found.x[:, 0], -found.x[:, 1], atol=1e-9)
    board = contact(found, both.side)[0]
    assert board[0] == pytest.approx(board[1])
