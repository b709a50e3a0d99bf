"""Two sessions compared: against scipy's Welch test, and coverage where a camera errs in all shots alike."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from tracker.results import Quantity
from tracker.session.versus import group, judged, share, versus

FEW = [Quantity(17.0, 0.0), Quantity(18.5, 0.0), Quantity(16.2, 0.0), Quantity(17.7, 0.0)]
OTHER = [Quantity(20.0, 0.0), Quantity(19.1, 0.0), Quantity(21.5, 0.0)]


def test_without_common_errors_it_is_welchs_interval():
    """scipy.stats.ttest_ind with unequal variances (Welch 1947)."""
    (found,) = versus({"contact_board": FEW}, {"contact_board": OTHER})
    told = stats.ttest_ind([q.value for q in OTHER], [q.value for q in FEW], equal_var=False)
    low, high = told.confidence_interval(0.95)
    assert (found.low, found.high, found.p) == pytest.approx((low, high, told.pvalue), rel=1e-9)


def test_a_groups_interval_is_students():
    """scipy.stats.t.interval about the mean with the standard error."""
    values = [q.value for q in FEW]
    low, high = stats.t.interval(0.95, len(values) - 1, loc=np.mean(values), scale=stats.sem(values))
    found = group(FEW)
    assert (found.low, found.high) == pytest.approx((low, high))


def test_what_a_session_has_in_common_does_not_average_out():
    random = np.random.default_rng(4)
    held = []
    for _ in range(400):
        sides = []
        for _ in range(2):
            wrong = random.normal(0, 0.5)
            sides.append([Quantity(17.0 + wrong + v, 0.5) for v in random.normal(0, 0.6, 6)])
        (found,) = versus({"onset_ft": sides[0]}, {"onset_ft": sides[1]})
        held.append(found.low <= 0.0 <= found.high)
    assert np.mean(held) >= 0.93


@pytest.mark.parametrize(("shots", "wrong"), [(2, 0.2), (3, 0.05), (3, 0.2), (6, 0.2)])
def test_without_any_difference_a_star_is_rare(shots, wrong):
    """Of 200 pairs of sessions alike at most one in twenty bears any star (and some more by chance of so few)."""
    random = np.random.default_rng(5)
    starred = 0
    for _ in range(200):
        sides = []
        for _ in range(2):
            off = random.normal(0, wrong, 12)
            values = off[:, None] + random.normal(0, 1, (12, shots))
            sides.append({f"n{k}": [Quantity(v, wrong) for v in row] for k, row in enumerate(values)})
        starred += any(one.told for one in judged(versus(*sides)))
    assert starred <= 0.05 * 200 + 2 * np.sqrt(200 * 0.05 * 0.95)


def test_a_large_difference_is_told_and_signed_later_less_earlier():
    later = [Quantity(q.value + 9.0, 0.1) for q in FEW]
    (found,) = judged(versus({"onset_ft": FEW}, {"onset_ft": later}))
    assert found.told
    assert found.difference.value == pytest.approx(9.0)
    (few,) = judged(versus({"onset_ft": FEW[:2]}, {"onset_ft": later}))
    assert few.difference.value is not None
    assert not few.told


def test_judged_together_what_is_told_alone_may_not_be():
    """A false discovery rate among many asks for more than among one."""
    random = np.random.default_rng(6)
    nothing = [{f"n{k}": [Quantity(v, 0.01) for v in random.normal(0, 1, 4)] for k in range(40)} for _ in range(2)]
    one = ({"x": FEW}, {"x": [Quantity(q.value + 3.0, 0.0) for q in FEW]})
    assert judged(versus(*one))[0].told
    assert not judged([*versus(*one), *versus(*nothing)])[0].told


def test_what_is_no_finite_number_is_left_out():
    odd = [*FEW, Quantity(float("nan"), 0.1), Quantity(17.0, float("inf")), Quantity(17.0)]
    assert group(odd) == group(FEW)


def test_one_shot_and_missing_numbers_give_a_reason():
    (found,) = judged(versus({"onset_ft": [Quantity(30.0, 0.3), Quantity(missing="straight_ball")]}, {"onset_ft": FEW}))
    assert found.difference == Quantity(missing="few_shots")
    assert not found.told
    assert len(found.before.values) == 1


@given(st.lists(st.floats(-50, 50), min_size=2, max_size=8), st.floats(-20, 20), st.floats(0.01, 2.0))
def test_moving_all_shots_moves_the_mean_alone(values, by, u):
    first, moved = group([Quantity(v, u) for v in values]), group([Quantity(v + by, u) for v in values])
    assert moved.mean.value == pytest.approx(first.mean.value + by, abs=1e-6)
    assert moved.mean.u == pytest.approx(first.mean.u, rel=1e-6, abs=1e-9)
    assert first.mean.u >= u


def test_share_is_wilsons():
    """5 of 10: 0.2366 to 0.7634, by Wilson's formula (p + z2/2n +- z sqrt(p q/n + z2/4n2)) / (1 + z2/n)."""
    z, p, n = 1.959964, 0.5, 10
    half = z * np.sqrt(p * p / n + z**2 / (4 * n**2)) / (1 + z**2 / n)
    found = share(5, 10)
    assert (found.low, found.high) == pytest.approx((0.5 - half, 0.5 + half), abs=1e-4)
    with pytest.raises(ValueError, match="3 of 2"):
        share(3, 2)
