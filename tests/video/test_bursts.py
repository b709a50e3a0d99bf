"""Frames some at a time: in order, few enough for the memory that they may take, and none held on to."""

import weakref

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.video.bursts import MOST, MOST_BYTES, in_bursts
from tracker.video.reader import Frame


def frame(index: int, shape: tuple[int, int] = (4, 6), dtype: type = np.uint8) -> Frame:
    return Frame(index, index / 30, np.zeros(shape, dtype), None, 8)


@given(st.integers(0, 40))
def test_all_frames_come_in_order(count):
    bursts = list(in_bursts(frame(k) for k in range(count)))
    assert [f.index for burst in bursts for f in burst] == list(range(count))
    assert all(0 < len(burst) <= MOST for burst in bursts)


@pytest.mark.parametrize(
    ("shape", "dtype", "most"),
    [((1080, 1920), np.uint8, MOST), ((2160, 3840), np.uint8, 2), ((2160, 3840), np.uint16, 1)],
)
def test_large_frames_wait_in_smaller_numbers(shape, dtype, most):
    one = frame(0, shape, dtype)
    bursts = list(in_bursts([one] * 20))
    assert max(map(len, bursts)) == most
    assert max(sum(f.nbytes for f in burst) for burst in bursts) <= MOST_BYTES


def test_no_frame_of_a_burst_that_was_emptied_stays():
    planes = []

    def made():
        for k in range(3 * MOST):
            own = frame(k)
            planes.append(weakref.ref(own.luma))
            yield own

    alive = []
    for burst in in_bursts(made()):
        burst.clear()
        alive.append(sum(ref() is not None for ref in planes))
    assert max(alive) <= 1
