"""The picture: nobody in it, same bytes, and the right way round."""

from __future__ import annotations

import dataclasses
import itertools

import cv2
import numpy as np
import pytest
from made_up import CAMERA, hook, wooden_scene
from matplotlib.figure import Figure

from tracker.report.ink import writable
from tracker.report.lanepicture import lane_picture
from tracker.report.markers import markers_of
from tracker.report.overlay import overlay_png, spread
from tracker.report.topview import LEAST_BOARDS, board_limits, draw_top_view
from tracker.results import Quantity

BLUE = (150, 60, 40)
LIKE_THE_LANE = (112, 148, 176)


def near(picture, colour, tolerance=25):
    return np.abs(picture.astype(int) - np.array(colour)).max(axis=-1) < tolerance


def test_a_person_is_taken_out_and_the_place_marked():
    picture = lane_picture(CAMERA, wooden_scene(colour=BLUE))
    assert picture.photo
    assert near(wooden_scene(colour=BLUE).bgr, BLUE).sum() > 5000
    assert near(picture.bgr, BLUE).sum() == 0
    assert 0.02 < picture.hidden.mean() < 0.5


def test_clothes_like_the_lane_above_dark_legs_are_taken_out_too():
    scene = wooden_scene(colour=BLUE)
    legs_end = int(CAMERA.project(np.array([-14.0, 60.0, 0.0]))[1])
    bgr = scene.bgr.copy()
    sweater = near(bgr, BLUE)
    sweater[legs_end:] = False
    bgr[sweater] = LIKE_THE_LANE
    picture = lane_picture(CAMERA, dataclasses.replace(scene, bgr=bgr))
    shown = np.zeros(bgr.shape[:2], dtype=bool)
    height, width = picture.hidden.shape
    shown[picture.top : picture.top + height, picture.left : picture.left + width] = ~picture.hidden
    flat = (picture.bgr == LIKE_THE_LANE).all(axis=-1)
    assert flat[~picture.hidden].sum() < 20


def test_an_empty_lane_is_shown_as_it_is():
    scene = wooden_scene(person=False)
    picture = lane_picture(CAMERA, scene)
    assert picture.photo
    assert picture.hidden.sum() == 0
    row, column = picture.hidden.shape[0] // 2, picture.hidden.shape[1] // 2
    assert (picture.bgr[row, column] == scene.bgr[row + picture.top, column + picture.left]).all()


def test_marks_of_the_lane_stay():
    scene = wooden_scene(person=False)
    u, v = CAMERA.project(np.array([0.0, 190.0, 0.0])).astype(int)
    scene.bgr[v - 2 : v + 2, u - 2 : u + 2] = (20, 20, 30)
    picture = lane_picture(CAMERA, scene)
    assert picture.hidden.sum() == 0
    assert near(picture.bgr, (20, 20, 30), 5).sum() == 16


@pytest.mark.parametrize("covered", [0.55, 0.75, 1.0])
def test_a_lane_mostly_covered_is_drawn(covered):
    scene = wooden_scene(person=False)
    crowd = np.random.default_rng(1).integers(0, 255, (CAMERA.height // 40, CAMERA.width // 40, 3)).astype(np.uint8)
    crowd = crowd.repeat(40, axis=0).repeat(40, axis=1)
    bgr = np.where(np.arange(CAMERA.width)[None, :, None] < covered * CAMERA.width, crowd, scene.bgr)
    picture = lane_picture(CAMERA, dataclasses.replace(scene, bgr=bgr))
    assert not picture.photo
    assert len(np.unique(picture.bgr.reshape(-1, 3), axis=0)) == 1


def test_a_scene_of_a_part_of_the_lane_is_drawn():
    small = wooden_scene().bgr[:40, :40].copy()
    assert not lane_picture(CAMERA, dataclasses.replace(wooden_scene(), bgr=small)).photo
    assert not lane_picture(CAMERA, None).photo


def test_png_is_the_same_twice_and_free_of_metadata(shot):
    png = overlay_png(shot)
    assert png == overlay_png(shot)
    assert b"Software" not in png
    assert b"tEXt" not in png
    assert cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_COLOR).shape == (860, 1440, 3)


def test_png_shows_nobody(shot):
    colour = (200, 30, 220)
    loud = dataclasses.replace(shot, scene=wooden_scene(colour=colour))
    picture = cv2.imdecode(np.frombuffer(overlay_png(loud), np.uint8), cv2.IMREAD_COLOR)
    assert near(picture, colour, 45).sum() == 0


def test_any_name_can_be_drawn(shot):
    assert writable("a$b_{\u4e2d}") == "a$b_{\u25a1}"
    overlay_png(dataclasses.replace(shot, shot_id="$x_1^{ \u4e2d\U0001f3b3", scene=None))


def test_bare_shots_can_be_drawn(shot):
    overlay_png(dataclasses.replace(shot, quantities={}, hand=None, flags=(), path=hook(1)))


def test_no_picture_without_a_path(shot):
    with pytest.raises(ValueError, match="needs path and camera"):
        overlay_png(dataclasses.replace(shot, path=None))


def test_markers_stand_where_their_numbers_are(shot):
    found = {m.name: m for m in markers_of(shot)}
    assert list(found) == ["first seen", "15 ft", "hook onset", "breakpoint", "contact"]
    assert found["contact"].words == "board 17.4 \u00b1 0.2, 59.41 \u00b1 0.01 ft"
    assert found["15 ft"].words == "board 11.83 \u00b1 0.05"
    expected = np.interp(26.0, shot.path.distance_ft, shot.path.board)
    assert found["hook onset"].board == pytest.approx(expected)


def test_markers_do_not_exist_without_their_numbers(shot):
    assert markers_of(dataclasses.replace(shot, quantities={"onset_ft": Quantity(missing="straight_ball")})) == ()


@pytest.mark.parametrize(("hand", "falls"), [("right", True), ("left", False)])
def test_boards_run_as_the_bowler_sees_them(shot, hand, falls):
    axes = Figure().add_axes((0, 0, 1, 1))
    draw_top_view(axes, shot.path, markers_of(shot), hand)
    left, right = axes.get_xlim()
    assert bool(left > right) is falls
    assert axes.get_ylim()[0] < axes.get_ylim()[1]


def test_a_straight_ball_does_not_look_wild(shot):
    straight = dataclasses.replace(shot.path, board=np.full_like(shot.path.board, 10.0))
    low, high = board_limits(straight, ())
    assert high - low >= LEAST_BOARDS
    assert low < 10 < high


def test_words_do_not_overlap():
    placed = spread([0.5, 0.51, 0.1, 0.9, 0.89], least_gap=0.06, within=(0.1, 0.9))
    ordered = sorted(placed)
    assert all(b - a >= 0.06 - 1e-9 for a, b in itertools.pairwise(ordered))
    assert ordered[0] >= 0.1
    assert ordered[-1] <= 0.9
