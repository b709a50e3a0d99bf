"""Rendered outlines lie where the geometry says; files are reproducible and honest about time and rotation."""

from dataclasses import replace
from fractions import Fraction

import av
import numpy as np
import pytest

from calibration.camera import Camera
from sample_media.balls import ball_look, ball_patch
from sample_media.optics import area_centroid, sphere_outline, view_of
from sample_media.pins import pin_patch
from sample_media.render import render_clip
from sample_media.spec import BallSpec, BowlerSpec, CameraSpec, ClipSpec, ShotSpec
from sample_media.truth import mark_points

TINY = CameraSpec().resized(192, 108, fps=15)


@pytest.mark.parametrize("y_in", [20.0, 180.3, 401.7, 600.0, 713.2])
def test_ball_silhouette_centroid_is_the_outlines(y_in):
    view = view_of(CameraSpec())
    centre = np.array([-3.7, y_in, 4.29])
    patch = ball_patch(view, centre, ball_look(BallSpec(), (1, 1, 1), 0), np.eye(3))
    assert patch is not None
    h, w = patch.alpha.shape
    total = float(patch.alpha.sum())
    u = float((patch.alpha.sum(axis=0) * (patch.left + np.arange(w) + 0.5)).sum()) / total
    v = float((patch.alpha.sum(axis=1) * (patch.top + np.arange(h) + 0.5)).sum()) / total
    assert np.array([u, v]) == pytest.approx(area_centroid(sphere_outline(view, centre, 4.295)), abs=0.02)


def test_projection_agrees_with_the_tools_camera():
    spec = CameraSpec(k2=0.0, roll_deg=2.0)
    place = [spec.x_ft * 12, spec.y_ft * 12, spec.z_ft * 12, spec.yaw_deg, spec.pitch_deg, spec.roll_deg]
    camera = Camera(*place, f_px=spec.f_px, k1=spec.k1, width_scale=1.0, width=spec.width, height=spec.height)
    points = np.stack(tuple(mark_points(ClipSpec().lane).values())) + np.array([0.0, 0.0, 4.3])
    assert view_of(spec).project(points) == pytest.approx(camera.project(points), abs=1e-6)


def test_rays_undo_the_projection():
    view = view_of(CameraSpec())
    points = np.array([[-20.0, 0, 0], [20, 300, 4], [0, 740, 15]])
    to = points - view.eye
    unit = to / np.linalg.norm(to, axis=1)[:, None]
    assert view.rays(view.project(points)) == pytest.approx(unit, abs=1e-7)


def test_standing_pin_is_as_tall_as_its_projection():
    view = view_of(CameraSpec().resized(3840, 2160))
    foot = np.array([0.0, 720.0, 0.0])
    patch = pin_patch(view, foot, 0.0, 0.0)
    assert patch is not None
    column = patch.alpha.max(axis=1) > 0.5
    ends = view.project(np.array([[0, 720.0, 15.0], [0, 720 - 1.0155, 0]]))[:, 1]
    rows = patch.top + np.flatnonzero(column)[[0, -1]] + np.array([0, 1])
    assert rows == pytest.approx(ends, abs=1.6)


@pytest.fixture(scope="module")
def tiny(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tiny")
    clip = ClipSpec(name="tiny", camera=TINY, start_s=-0.2, tail_s=0.3)
    return folder, clip, render_clip(clip, folder / "a.mp4", seed=3)


def _pictures(path):
    with av.open(str(path)) as file:
        return np.stack([frame.to_ndarray(format="gray").astype(float) for frame in file.decode(video=0)])


def test_same_seed_gives_the_same_pictures(tiny):
    """The encoder itself, fed the same pictures, now and then writes other bytes; what one sees is the same."""
    folder, clip, truth = tiny
    again = render_clip(clip, folder / "b.mp4", seed=3)
    other = render_clip(clip, folder / "c.mp4", seed=4)
    assert again == truth == other
    first, second, third = (_pictures(folder / name) for name in ("a.mp4", "b.mp4", "c.mp4"))
    assert np.abs(first - second).mean() < 0.5
    assert np.abs(first - third).mean() > 1.0


def test_time_stamps_are_the_truths(tiny):
    folder, _, truth = tiny
    with av.open(str(folder / "a.mp4")) as file:
        times = [frame.time for frame in file.decode(video=0)]
    assert times == pytest.approx([f["t_video"] for f in truth["frames"]], abs=2e-5)


def test_upright_clip_carries_a_rotation_flag_and_dropped_frames_leave_gaps(tmp_path):
    camera = replace(TINY, width=108, height=192, f_px=240.0, sideways=True, drops=(4, 5))
    clip = ClipSpec(camera=camera, start_s=0.0, tail_s=-1.9, bowler=BowlerSpec(present=False))
    truth = render_clip(clip, tmp_path / "up.mp4", seed=1)
    with av.open(str(tmp_path / "up.mp4")) as file:
        frames = list(file.decode(video=0))
    assert (frames[0].width, frames[0].height) == (192, 108)
    assert frames[0].rotation in (-90, 270)
    gaps = np.diff([f.time for f in frames])
    assert gaps.max() == pytest.approx(3 / 15, abs=1e-3)
    assert len(frames) == len(truth["frames"])


def test_left_hander_and_gutter_ball_are_told(tmp_path):
    shot = ShotSpec(hand="left", laydown_board=5.0, launch_deg=4.0)
    clip = ClipSpec(camera=TINY, shot=shot, start_s=-0.1, tail_s=-2.0)
    truth = render_clip(clip, tmp_path / "left.mp4", seed=1)
    assert truth["shot"]["reason"] == "gutter"
    assert truth["shot"]["standing"] == list(range(1, 11))
    assert truth["frames"][-1]["xyz"][0] < 0


def test_frame_rate_is_in_the_file(tiny):
    folder, clip, _ = tiny
    with av.open(str(folder / "a.mp4")) as file:
        assert abs(file.streams.video[0].average_rate - Fraction(15)) < Fraction(1, 10)
    assert clip.camera.fps == 15
