"""Numbers of 24 small rendered shots lie within two of their uncertainties of the truth: the whole chain, by column.

Cameras, frame rates, hands, balls, lanes and releases are drawn from a seed (:mod:`random_shots`). A column whose
uncertainties are true misses 24 times one in twenty: more than four misses have a chance of under 3 % (binomial).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pytest
from random_shots import SMALL, Cell, Job, Outcome, run_clip

from tracker.columns import CURVE_COLUMNS

SHOTS, SEED = 24, 5
MOST_MISSES = 4
FAR, SMALL_FAR_SHARE = 3.0, 0.03
"""On usual pictures 8 in 1000 numbers lie beyond three (200 shots, docs/method.md); on small ones more."""


@pytest.fixture(scope="session")
def outcomes(tmp_path_factory) -> Sequence[Outcome]:
    folder = str(tmp_path_factory.mktemp("shots"))
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        return list(pool.map(run_clip, [Job(n, SEED, folder, pictures=SMALL) for n in range(SHOTS)]))


@pytest.fixture
def cells(outcomes) -> list[Cell]:
    """Numbers of the shots that were measured, gutter balls included, where the truth has one too."""
    kept = [o for o in outcomes if o.status.startswith(("measured", "partial"))]
    return [c for o in kept for c in o.cells if c.value is not None and c.true is not None]


def test_most_shots_are_measured(outcomes):
    said = Counter(o.status for o in outcomes)
    assert said["measured"] + said["partial gutter"] >= 0.75 * SHOTS, said


def test_no_column_misses_more_than_four(cells):
    misses = Counter(c.column for c in cells if abs(c.sigmas) > 2.0)
    assert max(misses.values(), default=0) <= MOST_MISSES, misses


def test_nothing_is_far_off_and_sure(cells):
    far = [(c.clip, c.column, round(c.sigmas, 1)) for c in cells if abs(c.sigmas) > FAR]
    assert len(far) <= SMALL_FAR_SHARE * len(cells), far


def test_uncertainties_are_no_wider_than_need_be(cells):
    """All columns together: 90 to 99 % within two, and errors of half an uncertainty and more."""
    sigmas = np.array([c.sigmas for c in cells])
    assert 0.90 <= np.mean(np.abs(sigmas) <= 2.0) <= 0.99
    assert np.sqrt(np.mean(np.clip(sigmas, -FAR, FAR) ** 2)) > 0.5


def test_every_number_has_an_uncertainty(outcomes):
    assert all(c.u for o in outcomes for c in o.cells if c.value is not None)


@pytest.mark.parametrize("name", [c.name for c in CURVE_COLUMNS])
def test_curves_lie_within_two_uncertainties(outcomes, name):
    """95 of 100 places are expected; those of one shot hang together, so that some 24 shots say it to 4 or 5 of 100."""
    kept = [o for o in outcomes if o.status.startswith("measured")]
    sigmas = np.array([c.sigmas for o in kept for c in o.curves if c.column == name])
    assert len(sigmas) > 10 * len(kept)
    assert np.mean(np.abs(sigmas) <= 2.0) >= 0.90
    assert np.mean(np.abs(sigmas) <= 4.0) >= 0.99
    assert np.sqrt(np.mean(np.clip(sigmas, -FAR, FAR) ** 2)) > 0.3
