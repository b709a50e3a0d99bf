"""Pins 1 and 2 seen from low down look like 5 and 8 two rows behind: told apart by other marks, else in doubt."""

import numpy as np
import pytest

from calibration.camera import Camera
from calibration.finding.rows import likeness_as_read, other_rows, solve_either
from calibration.fit import camera_prior
from calibration.lane import DECK_END_IN, LANE_WIDTH_IN, pin_positions
from calibration.observations import EdgePoint, LanePoint
from calibration.quality import lane_point_sigma

LOW = Camera(40.0, -266.0, 37.0, -5.3, 1.2, -1.4, 1680.0, 0.0, 1.0, width=540, height=960)
ROUGH = LOW.with_vector([40.0, -272.0, 37.0, -5.2, 1.2, -1.4, 1725.0, 0.0, 1.0])
WIDE = camera_prior(ROUGH, np.diag(np.square([12.0, 16.0, 2.2, 3.0, 3.0, 3.0, 100.0, 0.05, 0.007])))
EIGHT_IN = 8.0
AT_FT = 58.0


def seen(standing, read=None, *, end=False):
    """Edges, foul line and pins without noise; ``read`` names the pins otherwise, ``end`` adds the deck's end."""
    half, points = LANE_WIDTH_IN / 2, []
    y = np.geomspace(300.0, 1010.0, 40) - 266.0
    for side, x in (("left", -half), ("right", half)):
        pixels = LOW.project(np.stack([np.full_like(y, x), y, 0 * y], axis=1))
        points += [EdgePoint(side, float(u), float(v), 0.5, f"{side}_{k}", 0.2) for k, (u, v) in enumerate(pixels)]
    across = np.linspace(-half, half, 30)
    foul = LOW.project(np.stack([across, 0 * across, 0 * across], axis=1))
    points += [EdgePoint("foul", float(u), float(v), 0.3, f"foul_{k}", 0.4) for k, (u, v) in enumerate(foul)]
    for number, name in zip(standing, read or standing, strict=True):
        points.append(point(f"pin_{name}", place(name), LOW.project(place(number)), 0.7))
    return [*points, *([point("deck_end", (0.0, DECK_END_IN, 0.0), None, 0.5)] if end else [])]


def place(number):
    return (*(float(c) for c in pin_positions()[number - 1]), EIGHT_IN)


def point(name, xyz, pixel, sigma_v):
    u, v = (float(c) for c in (LOW.project(xyz) if pixel is None else pixel))
    sigma = 300.0 if name == "deck_end" else 0.5
    return LanePoint(name, xyz, u, v, sigma, true_inches=name != "deck_end", sigma_v_px=sigma_v)


def miss_ft(camera):
    at = (0.0, 12.0 * AT_FT, 0.0)
    return float(camera.back_project(LOW.project(at), 0.0)[1]) / 12.0 - AT_FT


def pins_of(reading):
    return {o.name for o in reading.observations if o.name.startswith("pin_")}


@pytest.mark.parametrize(("standing", "read"), [((1, 2), (5, 8)), ((5, 9), (1, 3)), ((1,), (5,))])
def test_the_end_of_the_deck_tells_which_row_it_is(standing, read):
    found = solve_either(seen(standing, read, end=True), ROUGH, WIDE)
    assert pins_of(found) == {f"pin_{n}" for n in standing}
    assert abs(miss_ft(found.solution.camera)) < 0.3


def test_what_nothing_tells_apart_is_in_doubt_by_as_much():
    """Edges and foul line leave the focal length open: either reading fits, and the error is within two sigmas."""
    both = [solve_either(seen(a, b), ROUGH, WIDE) for a, b in (((1, 2), (5, 8)), ((5, 8), (1, 2)))]
    misses = [abs(miss_ft(one.solution.camera)) for one in both]
    assert max(misses) > 1.0
    for one, miss in zip(both, misses, strict=True):
        assert miss < 2.0 * lane_point_sigma(one.solution, AT_FT)[1]
        assert lane_point_sigma(one.solution, AT_FT)[1] < 2.0


def test_a_pin_with_none_two_rows_before_or_behind_leaves_no_doubt():
    for standing in ((1, 2, 4), (5, 10), (1, 8), ()):
        assert other_rows(seen(standing)) is None
    exact, alike = (solve_either(seen(s), ROUGH, WIDE).solution for s in ((1, 2, 4), (1, 2)))
    assert lane_point_sigma(exact, AT_FT)[1] < 0.8 * lane_point_sigma(alike, AT_FT)[1]


def test_a_pin_read_as_the_front_one_leaves_none_behind():
    likeness = np.zeros(10)
    likeness[[4, 7]] = 0.9
    read = likeness_as_read(likeness, seen((1, 2)))
    assert tuple(np.flatnonzero(read) + 1) == (1, 2)
    assert likeness_as_read(likeness, seen((5, 8))).tolist() == likeness.tolist()
