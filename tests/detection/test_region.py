"""The lane's crop and the view in which a ball keeps its size."""

from dataclasses import replace

import numpy as np
import pytest
from discs import CAMERA, FINE, fine_silhouette

from calibration.lane import BALL_RADIUS_IN, DECK_END_IN, LANE_WIDTH_IN
from tracker.detection.region import RADIUS_CELLS, lane_region

UPRIGHT = replace(CAMERA, x_in=-32.0, yaw_deg=4.2, roll_deg=-2.0, width=1080, height=1920)


def _view_of_ball(region, row: int, column: int) -> np.ndarray:
    """The ball-sized view of a white ball on black, its centre in one cell."""
    centre = np.array([region.x_in[column], region.y_in[row], region.ball_radius_in])
    box, reach = region.box, 64
    left, top = (int(v) // 2 * 2 - reach for v in region.camera.project(centre))
    near = (max(left, box.left), max(top, box.top))
    far = (min(left + 2 * reach, box.left + box.width), min(top + 2 * reach, box.top + box.height))
    width, height = far[0] - near[0], far[1] - near[1]
    fine = fine_silhouette(region.camera, centre, region.ball_radius_in, (*near, width, height))
    plane = np.zeros((box.height, box.width), np.uint8)
    share = fine.reshape(height, FINE, width, FINE).mean(axis=(1, 3))
    rows = slice(near[1] - box.top, far[1] - box.top)
    plane[rows, near[0] - box.left : far[0] - box.left] = np.round(255 * share)
    return region.ball_view(plane).astype(float) / 255


@pytest.mark.parametrize("camera", [CAMERA, UPRIGHT], ids=["wide", "upright"])
@pytest.mark.parametrize("y_ft", [4, 15, 30, 45, 58])
@pytest.mark.parametrize("x_in", [-15.0, 0.0, 17.0])
def test_ball_has_the_same_radius_everywhere(camera, y_ft, x_in):
    region = lane_region(camera, BALL_RADIUS_IN)
    assert region is not None
    row, column = int(np.argmin(abs(region.y_in - 12 * y_ft))), int(np.argmin(abs(region.x_in - x_in)))
    view = _view_of_ball(region, row, column)
    # lines along the lane slant in the picture, so the view shears a ball: its rows and its area keep their size
    across, down = view[row].sum() / 2, (view.max(axis=1) > 0.5).sum() / 2
    assert (across, down) == pytest.approx((RADIUS_CELLS, RADIUS_CELLS), abs=0.6)
    assert view.sum() == pytest.approx(np.pi * RADIUS_CELLS**2, rel=0.12)
    rows, columns = np.nonzero(view > 0.5)
    assert (rows.mean(), columns.mean()) == pytest.approx((row, column), abs=0.8)


@pytest.mark.parametrize("camera", [CAMERA, UPRIGHT], ids=["wide", "upright"])
def test_box_is_even_and_inside_the_frame(camera):
    region = lane_region(camera, BALL_RADIUS_IN)
    assert region is not None
    box = region.box
    assert [v % 2 for v in (box.left, box.top, box.width, box.height)] == [0, 0, 0, 0]
    assert 0 <= box.left < box.left + box.width <= camera.width
    assert 0 <= box.top < box.top + box.height <= camera.height


def test_view_covers_lane_gutters_and_deck():
    region = lane_region(CAMERA, BALL_RADIUS_IN)
    assert region is not None
    assert region.x_in[0] < -LANE_WIDTH_IN / 2 - 9
    assert region.x_in[-1] > LANE_WIDTH_IN / 2 + 9
    assert region.y_in[0] > DECK_END_IN
    assert region.y_in[-1] <= 0
    assert (np.diff(region.y_in) < 0).all()


def test_chroma_map_is_the_luma_map_at_half_size():
    region = lane_region(CAMERA, BALL_RADIUS_IN)
    assert region is not None
    assert (region.luma_map + 0.5) / 2 - 0.5 == pytest.approx(region.chroma_map, abs=1e-3)


@pytest.mark.parametrize("chroma", [False, True])
def test_view_of_the_pixels_under_it_is_the_view_of_the_plane(chroma):
    region = lane_region(CAMERA, BALL_RADIUS_IN)
    assert region is not None
    size = (region.box.height // (1 + chroma), region.box.width // (1 + chroma))
    plane = np.random.default_rng(2).integers(0, 256, size, dtype=np.uint8)
    view, under = region.ball_view(plane, chroma=chroma), region.under_view(plane, chroma=chroma)
    assert under.shape == (2 * view.shape[0], 2 * view.shape[1])
    again = region.view_of_under(under, chroma=chroma)
    assert np.abs(again.astype(int) - view).max() <= 1
    assert np.mean(again != view) < 0.01


@pytest.mark.parametrize("yaw_deg", [75.0, -80.0])
def test_lane_out_of_frame_has_no_region(yaw_deg):
    assert lane_region(replace(CAMERA, yaw_deg=yaw_deg, k1=0.0), BALL_RADIUS_IN) is None
