"""Whoever passes is gone from the clean picture; where somebody stays it says that it is in doubt."""

import numpy as np
import pytest
from stands import SIZE, Shape, made_up, person

from calibration.finding.profiles import HIDDEN_CELL_PX
from tracker.detection.background import IQR_PER_SIGMA
from tracker.lane.clean import clean_picture


def cells_of(mask):
    rows, columns = mask.shape[0] // HIDDEN_CELL_PX, mask.shape[1] // HIDDEN_CELL_PX
    cut = mask[: rows * HIDDEN_CELL_PX, : columns * HIDDEN_CELL_PX]
    return cut.reshape(rows, HIDDEN_CELL_PX, columns, HIDDEN_CELL_PX).all(axis=(1, 3))


def test_who_passes_is_gone_and_leaves_no_doubt():
    width, height = SIZE
    empty = clean_picture(made_up([[]] * 9))
    passing = clean_picture(made_up([[person(0, y_ft=-13 + 1.2 * k, x_in=-200 + 50 * k)] for k in range(9)]))
    assert np.abs(passing.luma.astype(int) - empty.luma).max() <= 8
    assert np.abs(passing.cr.astype(int) - empty.cr).max() <= 6
    assert passing.luma.shape == passing.spread.shape == (height, width)
    assert passing.cb.shape == passing.cr.shape == passing.cb_spread.shape == (height // 2, width // 2)
    assert passing.doubt.shape == (-(-height // HIDDEN_CELL_PX), -(-width // HIDDEN_CELL_PX))
    assert passing.doubt.mean() < 0.02
    assert not empty.doubt.any()


@pytest.mark.parametrize(("stays", "remains"), [(3, False), (6, True)])
def test_where_somebody_stands_for_a_while_the_picture_is_in_doubt(stays, remains):
    stander = person(0, y_ft=-5)
    clean = clean_picture(made_up([[stander]] * stays + [[]] * (9 - stays)))
    body = stander.mask
    assert clean.doubt[: body.shape[0] // HIDDEN_CELL_PX][cells_of(body)].all()
    assert (clean.luma[body].mean() < 80) == remains
    away = np.ones_like(clean.doubt)
    rows, columns = np.nonzero(body)
    away[rows.min() // 8 - 3 : rows.max() // 8 + 4, columns.min() // 8 - 3 : columns.max() // 8 + 4] = False
    assert not clean.doubt[away].any()


def block(top, bottom, left, right):
    """An even rectangle, by its rows and columns."""
    mask = np.zeros(SIZE[::-1], dtype=bool)
    mask[top:bottom, left:right] = True
    return Shape(mask, luma=50, cr=150)


def test_the_even_middle_of_a_body_that_sways_is_in_doubt_as_well():
    swaying = [[block(120 + s, 420 + s, 300 + s, 620 + s)] for s in (-30, 0, 30)] * 3
    doubt = clean_picture(made_up(swaying)).doubt
    assert doubt[15:52, 38:77].all()
    assert doubt.mean() < 0.4


def test_what_moved_all_round_the_picture_leaves_its_middle_known():
    height, width = SIZE[::-1]
    rim = ~block(32, height - 32, 32, width - 32).mask
    doubt = clean_picture(made_up([[Shape(rim, luma=50, cr=150)] * (k % 2) for k in range(9)])).doubt
    assert doubt[0].all()
    assert doubt[:, 0].all()
    assert not doubt[10:-10, 10:-10].any()


def test_times_and_spread_are_those_of_the_stills():
    clean = clean_picture(made_up([[]] * 9, noise=4.0))
    assert clean.t_s == tuple(0.5 * k for k in range(9))
    assert clean.spread.mean() / IQR_PER_SIGMA == pytest.approx(0.55 * 4.0, rel=0.1)
