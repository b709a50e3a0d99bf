"""Pictures without a whole lane are refused, with the reason that helps."""

import numpy as np
import pytest
from houses import far_end_missing, floor_view, foul_line_missing
from no_lane import no_lane_pictures

from calibration.find import find_lanes

PICTURES = dict(no_lane_pictures())
FITTING = {
    floor_view: {"lane_too_flat", "lane_unclear"},
    far_end_missing: {"pin_end_unseen", "lane_too_flat", "lane_unclear"},
    foul_line_missing: {"foul_line_unseen", "lane_too_flat", "lane_unclear"},
}


@pytest.mark.parametrize("name", PICTURES)
def test_pictures_without_a_lane_are_refused(name):
    picture = np.ascontiguousarray(PICTURES[name])
    search = find_lanes(picture)
    assert search.lanes == ()
    assert search.failure is not None


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("view", FITTING, ids=lambda view: view.__name__)
def test_half_a_lane_is_refused_with_a_fitting_reason(view, seed):
    search = find_lanes(view(seed).luma)
    assert search.lanes == ()
    assert search.failure is not None
    assert search.failure.reason in FITTING[view]
    assert ";" in search.failure.detail  # what to do comes after it


@pytest.mark.parametrize("value", [0, 16, 128, 255])
def test_blank_picture(value):
    failure = find_lanes(np.full((540, 960), value, np.uint8)).failure
    assert failure is not None
    assert failure.reason == "no_lane"


@pytest.mark.parametrize(
    "luma", [np.zeros((540, 960)), np.zeros((540, 960, 3), np.uint8), np.zeros((40, 960), np.uint8)]
)
def test_wrong_argument(luma):
    with pytest.raises(ValueError, match="luma: expected uint8"):
        find_lanes(luma)
