"""Edge and foul-line points lie on the drawn lines as closely as they say, and not where somebody stands."""

import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.finding.edges import edge_points
from calibration.finding.foul import foul_points
from calibration.lane import LANE_WIDTH_IN
from calibration.observations import gather, line_distances

TRUE = Camera(14.0, -220.0, 66.0, -2.0, 9.0, 1.0, 1300.0, 0.02, 1.0, width=960, height=540)
NEAR = TRUE.with_vector([TRUE.x_in + 0.4, *TRUE.vector[1:4], TRUE.pitch_deg + 0.06, *TRUE.vector[5:]])
HALF, OUTER = LANE_WIDTH_IN / 2, 30.0625


def drawn(gutter=70.0, lip=70.0, lip_in=0.0, shine=0.0, noise=2.5):
    """Lane, gutters, surroundings, approach and a dark foul line of 0.8 in, at 3 x 3 samples a pixel.

    The gutters begin with a lip of another brightness. Shine makes the lane lighter and darker in turn.
    """
    v, u = (np.mgrid[: 3 * 540, : 3 * 960] + 0.5) / 3
    x, y = np.moveaxis(TRUE.back_project(np.stack([u, v], axis=-1), 0.0), -1, 0)
    trough = np.where(np.abs(x) < HALF + lip_in, lip, gutter)
    lane = 150.0 + shine * np.sin(2 * np.pi * v / 84)
    tone = np.where(np.abs(x) < HALF, lane, np.where(np.abs(x) < OUTER, trough, 110.0))
    tone = np.where(y < 0, 130.0, tone)
    tone = np.where(np.abs(y) < 0.4, 25.0, tone)
    tone = np.where(np.isfinite(y) & (y < 720), tone, 20.0)
    small = cv2.resize(tone.astype(np.float32), (960, 540), interpolation=cv2.INTER_AREA)
    noisy = cv2.GaussianBlur(small, (0, 0), 0.7) + np.random.default_rng(3).normal(0, noise, small.shape)
    return np.clip(noisy, 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def luma():
    return drawn()


def off(points):
    return line_distances(gather(points, 960, 540), TRUE)[0]


@pytest.mark.parametrize("side", ["left", "right", "left_gutter", "right_gutter"])
def test_edge_points_scatter_as_they_say(luma, side):
    points = edge_points(luma, NEAR, side, 5.0)
    misses = off(points)
    assert len(points) > 25
    assert 0.05 < np.std(misses) / np.mean([p.sigma_px for p in points]) < 1.3
    assert np.abs(np.median(misses)) < 1.5 * np.median([p.common_px for p in points])


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(
    ("gutter", "lip", "lip_in"),
    [(150.0, 60.0, 0.3), (165.0, 60.0, 0.3), (205.0, 80.0, 0.25), (135.0, 50.0, 0.4), (70.0, 70.0, 0.0)],
)
def test_an_edge_beside_a_pale_gutter_is_where_the_lane_ends(side, gutter, lip, lip_in):
    """Not on the gutter's side of its dark lip, nor inward by the blur: the steepest place is up to a pixel off."""
    points = edge_points(drawn(gutter, lip, lip_in), NEAR, side, 5.0)
    misses = off(points)
    assert len(points) > 25
    assert np.abs(np.median(misses)) < 0.3
    assert np.abs(np.median(misses)) < 2.0 * np.median([p.common_px for p in points])


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_lip_that_may_be_there_unseen_is_doubt(side):
    """A bright gutter with a lip as bright as the lane: the edge cannot be told from the lip's end."""
    clear = edge_points(drawn(), NEAR, side, 5.0)
    unclear = edge_points(drawn(190.0, 150.0, 0.3), NEAR, side, 5.0)
    doubt = np.median([p.common_px for p in unclear])
    assert doubt > 1.2 * np.median([p.common_px for p in clear])
    assert np.abs(np.median(off(unclear))) < 2.0 * doubt


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("shine", [18.0, -20.0])
def test_an_edge_of_a_lane_lighter_here_and_darker_there_is_where_the_lane_ends(side, shine):
    """By all of it: the steps of one sign alone lie up to 0.75 px to one side."""
    points = edge_points(drawn(150.0, 150.0, shine=shine, noise=0.6), NEAR, side, 5.0)
    assert len(points) > 35
    assert np.abs(np.median(off(points))) < 0.5
    assert np.abs(np.median(off(points))) < np.median([p.common_px for p in points]) < 1.2


@pytest.mark.parametrize("side", ["left", "right"])
def test_what_stands_before_an_edge_unknown_to_anyone_is_left_out(side):
    """A box before more than half of it: what is seen of the edge is known, what is not is no place of its."""
    boxed = drawn()
    v = np.array([p.v_px for p in edge_points(boxed, NEAR, side, 5.0)])
    top, bottom = (int(np.quantile(v, q)) for q in (0.3, 0.9))
    boxed[top:bottom] = 40
    seen = [p.v_px for p in edge_points(boxed, NEAR, side, 5.0)]
    assert len(seen) > 10
    assert all(v < top + 4 or v > bottom - 4 for v in seen)


def test_foul_line_is_the_middle_of_its_band(luma):
    misses = off(foul_points(luma, NEAR, 5.0))
    assert len(misses) > 40
    assert np.abs(np.median(misses)) < 0.25
    assert np.std(misses) < 0.3


def test_hidden_cells_are_left_out(luma):
    """A bowler over the left half: no left edge near him, and half of the foul line is enough."""
    hidden = np.zeros((68, 120), dtype=bool)
    middle = int(TRUE.project([0.0, 0.0, 0.0])[0] / 8)
    hidden[:, :middle] = True
    foul = foul_points(luma, NEAR, 5.0, hidden=hidden)
    assert len(foul) > 20
    assert min(p.u_px for p in foul) >= 8 * middle - 2
    assert np.abs(np.median(off(foul))) < 0.25
    assert all(p.u_px >= 8 * middle - 2 for p in edge_points(luma, NEAR, "left", 5.0, hidden=hidden))


def test_a_blank_picture_has_no_points():
    blank = np.full((540, 960), 90, np.uint8)
    assert edge_points(blank, TRUE, "left", 5.0) == []
    assert len(foul_points(blank, TRUE, 5.0)) < 8
