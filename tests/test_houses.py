"""The drawn houses are what their truth says: marks in the frame, edges where the camera puts them, looks that vary."""

from importlib.util import find_spec
from pathlib import Path

import av
import cv2
import houses
import numpy as np
import pytest
from no_lane import PHOTOGRAPHS

import sample_media
from sample_media.encode import BT709, tone_curve
from sample_media.optics import view_of
from sample_media.scene import build_scene
from sample_media.session import CAMERA, LANE

SMALL = ((640, 360), (360, 640))


@pytest.fixture(scope="module")
def views():
    return [houses.random_view(seed, SMALL) for seed in range(10)]


def _luma_at(view, points):
    uv = view.camera.project(points)
    uv = uv[np.all((uv > 8) & (uv < [view.camera.width - 8, view.camera.height - 8]), axis=1)]
    u, v = (uv - 0.5).T.astype(np.float32)
    return cv2.remap(view.luma.astype(np.float32), u, v, cv2.INTER_LINEAR)[:, 0]


def _row(x_in):
    y = np.linspace(6, 420, 80)
    return np.stack([np.full_like(y, x_in), y, 0 * y], axis=-1)


@pytest.mark.parametrize("seed", range(12))
def test_marks_lie_in_the_frame(seed):
    camera = houses.random_camera(np.random.default_rng(seed))
    points = np.concatenate(list(houses.truth_points().values()))
    uv = camera.project(points)
    assert np.all(uv > 0)
    assert np.all(uv < [camera.width, camera.height])


def test_same_seed_gives_the_same_picture(views):
    again = houses.random_view(3, SMALL)
    assert np.array_equal(views[3].luma, again.luma)
    assert np.array_equal(views[3].cb, again.cb)
    assert (views[3].camera, views[3].pins, views[3].description) == (again.camera, again.pins, again.description)
    assert not np.array_equal(views[3].camera.vector, views[4].camera.vector)


def test_planes_have_the_cameras_size(views):
    for view in views:
        height, width = view.camera.height, view.camera.width
        assert view.luma.shape == (height, width)
        assert view.cb.shape == view.cr.shape == (height // 2, width // 2)
        assert {p.dtype for p in (view.luma, view.cb, view.cr)} == {np.dtype(np.uint8)}


def test_brightness_of_lane_and_gutter_vary(views):
    lane = np.array([np.median(_luma_at(v, _row(5.0))) for v in views])
    gutter = np.array([np.median(_luma_at(v, np.concatenate([_row(-25.4), _row(25.4)]))) for v in views])
    assert np.ptp(lane) > 50
    assert np.ptp(gutter) > 30
    assert (lane > gutter + 5).any()
    assert (lane < gutter - 5).any()


def _step(view, x_in, shift_px):
    """Mean over the edge's visible rows of the luma's step across it, ``shift_px`` beside it."""
    uv = view.camera.project(_row(x_in))
    uv = uv[np.all((uv > 12) & (uv < [view.camera.width - 12, view.camera.height - 12]), axis=1)]
    along = uv[-1] - uv[0]
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    sides = []
    for side in (-1.5, 1.5):
        u, v = (uv + (shift_px + side) * across - 0.5).T.astype(np.float32)
        sides.append(cv2.remap(view.luma.astype(np.float32), u, v, cv2.INTER_LINEAR))
    return float(np.abs(sides[1] - sides[0]).mean())


def test_edges_are_where_the_camera_puts_them(views):
    edges = [(view, x_in) for view in views for x_in in (-20.75, 20.75)]
    hits = [_step(*edge, 0.0) > max(_step(*edge, -6.0), _step(*edge, 6.0)) for edge in edges]
    assert np.mean(hits) > 0.8


@pytest.mark.parametrize("seed", range(3))
def test_far_end_or_foul_line_is_outside(seed, monkeypatch):
    monkeypatch.setattr(houses, "_still", lambda _, camera: camera)
    truth = houses.truth_points()
    far, near = houses.far_end_missing(seed), houses.foul_line_missing(seed)
    assert np.all(far.project(truth["pins"])[:, 1] < 0)
    assert houses.inside(far, truth["foul"], 0.0)
    assert not np.any(near.project(truth["foul"])[:, 1] < near.height)
    assert houses.inside(near, truth["pins"], 0.0)
    assert 3 <= houses.floor_view(seed).z_in <= 10


def _movement(first, last):
    """Median displacement of matched corners between two pictures, and the change of the scatter about the middle."""
    corners = cv2.goodFeaturesToTrack(first, 150, 0.01, 8)
    found, ok, _ = cv2.calcOpticalFlowPyrLK(first, last, corners, None, winSize=(31, 31), maxLevel=4)
    a, b = (p[ok.ravel() == 1].reshape(-1, 2) for p in (corners, found))
    return float(np.median(np.abs(b - a).max(axis=1))), float(np.median(np.ptp(b, axis=0) / np.ptp(a, axis=0)))


def test_steady_stays_and_panning_moves(monkeypatch):
    monkeypatch.setattr(houses, "SMALL", SMALL[:1])
    steady, panning, zooming = houses.steady(1), houses.panning(1), houses.zooming(1)
    assert len(steady) == len(panning) == len(zooming) == 9
    assert _movement(steady[0], steady[1])[0] < 0.3
    assert not np.array_equal(steady[0], steady[1])
    assert _movement(panning[0], panning[1])[0] > 1.0
    assert _movement(zooming[0], zooming[2])[0] > 0.5


def test_pictures_without_a_lane_differ():
    pictures = dict(houses.no_lane_pictures())
    assert len(pictures) >= 10
    assert all(p.dtype == np.uint8 and p.ndim == 2 for p in pictures.values())
    assert sum(p.std() < 3 for p in pictures.values()) == 1


@pytest.mark.skipif(find_spec("skimage") is None, reason="scikit-image is not installed")
def test_photographs_are_in_the_wheel():
    pictures = dict(houses.no_lane_pictures())
    assert {Path(name).stem for name in PHOTOGRAPHS} <= set(pictures)


def test_sample_sessions_house_looks_as_in_its_clips():
    """The added looks have defaults: the empty house is the committed clip's first picture, the bowler apart."""
    folder = Path(sample_media.__file__).parent
    with av.open(str(folder / "practice-1.mp4")) as file:
        luma = next(file.decode(video=0)).to_ndarray()[: CAMERA.height]
    spec = CAMERA.resized(320, 180)
    scene = build_scene(view_of(spec), LANE, 3)
    curve = tone_curve()
    picture = curve[np.clip(scene.base * ((len(curve) - 1) / 1.25), 0, len(curve) - 1).astype(int)]
    drawn = picture @ BT709[0, :3] + BT709[0, 3]
    small = cv2.resize(luma, (320, 180), interpolation=cv2.INTER_AREA)
    assert np.quantile(np.abs(small - drawn), 0.75) < 3.0
