"""The sample session's house: its lane and neighbours are found, with arrows, names and one camera for all."""

import numpy as np
import pytest
from house_runs import misses

from calibration.camera import Camera
from calibration.find import find_lanes
from calibration.finding.arrows import find_arrows
from calibration.finding.together import LANE_TO_LANE, SHARED
from calibration.lane import ARROW_BOARDS, arrow_distance_in, x_from_board
from sample_media.encode import BT709, tone_curve
from sample_media.house import LANE_CENTRES_IN
from sample_media.layers import composite
from sample_media.optics import view_of
from sample_media.pins import rack_patches
from sample_media.scene import build_scene
from sample_media.session import CAMERA, LANE
from sample_media.spec import ALL_PINS

TIPS_IN = arrow_distance_in(np.array(ARROW_BOARDS), LANE.arrow_centre_ft, LANE.arrow_slope_ft)


@pytest.fixture(scope="module")
def truth():
    spec = CAMERA.resized(960, 540)
    place = (12 * spec.x_ft, 12 * spec.y_ft, 12 * spec.z_ft, spec.yaw_deg, spec.pitch_deg, spec.roll_deg)
    return Camera.from_vector((*place, spec.f_px, spec.k1, 1.0), spec.width, spec.height)


@pytest.fixture(scope="module")
def luma():
    lens = view_of(CAMERA.resized(960, 540))
    scene = build_scene(lens, LANE, 2)
    racks = [p for x in LANE_CENTRES_IN for p in rack_patches(lens, ALL_PINS, float(x), LANE.light)]
    linear = composite(scene.base, [racks], scene)
    curve = tone_curve()
    picture = curve[np.clip(linear * ((len(curve) - 1) / 1.25), 0, len(curve) - 1).astype(int)]
    tone = picture @ BT709[0, :3] + BT709[0, 3] + np.random.default_rng(5).normal(0, 1.0, picture.shape[:2])
    return np.clip(tone, 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def search(luma):
    return find_lanes(luma)


def own_of(search, truth):
    return next(lane for lane in search.lanes if abs(lane.camera.x_in - truth.x_in) < 12.0)


def test_own_lane(search, truth):
    lane = own_of(search, truth)
    across, along = misses(lane.camera, truth)
    assert lane.verdict == "good"
    assert np.abs(across).max() < 0.1
    assert np.abs(along[:, 1]).max() < 0.4
    assert lane.standing == ALL_PINS


def test_lanes_differ_only_sideways(search, truth):
    own = own_of(search, truth)
    assert len(search.lanes) >= 2
    index = np.array(SHARED)
    for lane in search.lanes:
        difference = (lane.camera.vector - own.camera.vector)[index]
        spread = np.sqrt(np.diag(lane.covariance)[index] + np.diag(own.covariance)[index] + LANE_TO_LANE**2)
        assert np.abs(difference / spread).max() < 3.0
        aside = abs(lane.camera.x_in - own.camera.x_in)
        assert np.abs(aside - np.abs(LANE_CENTRES_IN)).min() < 1.0


def test_arrows_are_where_they_were_drawn(search, truth):
    arrows = own_of(search, truth).arrows
    assert arrows is not None
    assert len(arrows.boards) >= 6
    assert arrows.centre_ft == pytest.approx(LANE.arrow_centre_ft, abs=0.25)
    assert arrows.slope_ft == pytest.approx(LANE.arrow_slope_ft, abs=0.1)
    assert np.abs(arrows.aside_boards).max() < 0.4
    tips = dict(zip(ARROW_BOARDS, TIPS_IN, strict=True))
    places = [[float(x_from_board(b, "right")), tips[int(b)], 0.0] for b in arrows.boards]
    assert np.abs(arrows.pixels - truth.project(places)).max() < 3.0


def test_no_arrows_on_a_bare_lane(luma, truth):
    bare = luma.copy()
    v0, v1 = (int(truth.project([0.0, 12.0 * y, 0.0])[1]) for y in (20.0, 9.0))
    bare[v0 - 3 : v1 + 3] = np.median(luma[v0 - 3 : v1 + 3], axis=0).astype(np.uint8)
    assert find_arrows(bare, truth) is None


def test_marks_have_the_names_of_what_they_are(search, truth):
    lane = own_of(search, truth)
    marks = lane.marks_px()
    kinds = {name.rsplit("_", 1)[0] for name in marks}
    assert {"left", "right", "foul", "pin", "arrow"} <= kinds <= {"left", "right", "foul", "pin", "arrow", *GUTTERS}
    assert np.all((np.array(list(marks.values())) > 0) & (np.array(list(marks.values())) < [960, 540]))
    left = [marks[name] for name in marks if name.startswith("left_") and "gutter" not in name]
    assert np.abs(truth.back_project(np.array(left), 0.0)[:, 0] + 20.75).max() < 1.0


GUTTERS = ("left_gutter", "right_gutter")


def test_same_picture_same_lanes(luma, search):
    again = find_lanes(luma)
    assert [lane.camera for lane in again.lanes] == [lane.camera for lane in search.lanes]


def test_hidden_far_half_of_an_edge_costs_little(luma, truth):
    """Somebody before the left edge from 20 to 40 ft; what the picture shows there is not looked at."""
    left = truth.project([[-20.75, 12.0 * y, 0.0] for y in np.linspace(20, 40, 30)])
    hidden = np.zeros((68, 120), dtype=bool)
    for u, v in left:
        hidden[int(v / 8) - 1 : int(v / 8) + 2, int(u / 8) - 2 : int(u / 8) + 3] = True
    painted = luma.copy()
    painted[np.kron(hidden, np.ones((8, 8), bool))[:540, :960]] = 30
    lane = own_of(find_lanes(painted, hidden), truth)
    across, _ = misses(lane.camera, truth)
    assert np.abs(across).max() < 0.15
    cells = [(int(o.v_px / 8), int(o.u_px / 8)) for o in lane.observations]
    assert np.mean([hidden[cell] for cell in cells]) < 0.02
