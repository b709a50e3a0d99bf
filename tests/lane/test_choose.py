"""The lane of whoever moves on its approach, or of the ball on its surface, comes first; doubt is said."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from stands import CAMERAS, ball, made_up, person

import sample_media
from calibration.camera import Camera
from calibration.lane import DECK_END_IN
from sample_media.frames import OWN_LANE
from sample_media.house import LANE_CENTRES_IN
from sample_media.optics import view_of
from sample_media.render import render_clip
from sample_media.scene import build_scene
from sample_media.spec import CameraSpec, ClipSpec, ShotSpec
from tracker.lane.choose import choose_lane, lane_activity, lane_at, ranked
from tracker.lane.clean import clean_picture
from tracker.video.stills import read_stills

MEDIA = Path(sample_media.__file__).parent
NEAR = slice(OWN_LANE - 2, OWN_LANE + 3)


def chosen(scenes, cameras=CAMERAS):
    stills = made_up(scenes)
    return choose_lane(cameras, clean_picture(stills), stills)


def activity(scenes, cameras=CAMERAS):
    stills = made_up(scenes)
    return lane_activity(cameras, clean_picture(stills), stills)


def of_lanes(own):
    """Cameras of the five lanes about the rendered one."""
    return [replace(own, x_in=own.x_in - float(centre)) for centre in LANE_CENTRES_IN[NEAR]]


def walks(lane, count=7, **how):
    """Somebody who comes up to the foul line of a lane."""
    return [[person(lane, y_ft=-13.5 + 12.5 * k / (count - 1), x_in=-12.0 + 5 * k, **how)] for k in range(count)]


@pytest.mark.parametrize("lane", range(5))
def test_the_lane_somebody_walks_up_to(lane):
    choice = chosen(walks(lane))
    assert choice.index == choice.order[0] == lane
    assert not choice.ambiguous
    assert choice.share > 0.8


def test_a_body_before_the_neighbour_s_lane_counts_where_its_feet_are():
    scene = walks(1)
    covered = scene[2][0].mask
    u = np.nonzero(covered)[1].mean()
    head_row = np.nonzero(covered)[0].min()
    assert lane_at(CAMERAS, (u, head_row + 20.0)) != 1, "the test is empty unless the body covers another lane"
    found = activity(scene)
    assert found[1] > 0.5
    assert np.delete(found, 1).max() < 0.05


def test_a_person_counts_about_one():
    assert activity(walks(2))[2] == pytest.approx(1.0, abs=0.3)


def test_two_bowlers_are_ambiguous():
    scenes = [a + b for a, b in zip(walks(2), walks(3), strict=True)]
    choice = chosen(scenes)
    assert choice.ambiguous
    assert set(choice.order[:2]) == {2, 3}
    assert choice.share == pytest.approx(0.5, abs=0.15)


def test_somebody_who_stands_and_somebody_far_behind_do_not_count():
    scenes = [[person(1, y_ft=-6), person(3, y_ft=-15.8, x_in=4.0 * k)] for k in range(7)]
    assert activity(scenes).max() < 0.04


@pytest.mark.parametrize(("lane", "ambiguous"), [(2, False), (3, True)])
def test_a_ball_alone_says_its_lane_surely_only_where_the_view_aims(lane, ambiguous):
    choice = chosen([[ball(lane, 6.0 * k + 5, x_in=-6 + k)] if k < 6 else [] for k in range(9)])
    assert choice.index == lane
    assert choice.ambiguous == ambiguous


def test_a_ball_on_the_next_lane_does_not_beat_the_bowler():
    scenes = [[*body, ball(3, 7.0 * k + 5)] for k, body in enumerate(walks(2))]
    choice = chosen(scenes)
    assert choice.order[:2] == (2, 3)
    assert not choice.ambiguous


def test_what_is_no_ball_s_size_is_no_ball():
    far = ball(3, 50.0)
    large = replace(far, mask=np.roll(ball(3, 10.0).mask, far.mask.argmax() - ball(3, 10.0).mask.argmax()))
    assert activity([[large] if k == 3 else [] for k in range(9)]).max() < 0.04


def test_nothing_changed_takes_the_lane_before_the_middle_of_the_frame():
    choice = chosen([[]] * 7)
    assert (choice.ambiguous, choice.share) == (True, 0.0)
    offs = [abs(camera.project((0, 0, 0))[0] - camera.width / 2) for camera in CAMERAS]
    assert choice.order == tuple(np.argsort(offs))


@pytest.mark.parametrize(("second", "ambiguous"), [(0.59, False), (0.61, True)])
def test_rule_of_the_runner_up(second, ambiguous):
    choice = ranked(np.array([0.0, second, 1.0, 0.01]), np.array([4.0, 3.0, 2.0, 1.0]))
    assert choice.order == (2, 1, 3, 0)
    assert choice.ambiguous == ambiguous
    assert choice.share == pytest.approx(1 / (1 + second))


def test_one_lane_and_none():
    stills = made_up([[]] * 3)
    clean = clean_picture(stills)
    assert choose_lane(CAMERAS[:1], clean, stills).order == (0,)
    assert lane_activity([], clean, stills).shape == (0,)
    with pytest.raises(ValueError, match="at least one candidate lane"):
        choose_lane([], clean, stills)


@pytest.mark.parametrize("lane", range(5))
def test_pixel_on_a_surface_says_its_lane(lane):
    camera = CAMERAS[lane]
    for x, y in ((0, 5), (18, 200), (-28, 400), (29, DECK_END_IN - 5)):
        assert lane_at(CAMERAS, tuple(camera.project((x, y, 0)))) == lane


def test_pixel_off_every_surface_says_none():
    own = CAMERAS[2]
    for place in ((0, -10, 0), (38, 300, 0), (0, DECK_END_IN + 20, 0)):
        assert lane_at(CAMERAS, tuple(own.project(place))) is None
    assert lane_at(CAMERAS, (480.0, 5.0)) is None
    assert lane_at([], (480.0, 300.0)) is None


def test_rendered_bowler_with_a_ball_on_the_next_lane():
    told = json.loads((MEDIA / "practice-4.truth.json").read_text("utf-8"))["camera"]
    place = [*told["position_in"], told["yaw_deg"]]
    own = Camera(*place, told["pitch_deg"], told["roll_deg"], told["f_px"], told["k1"], 1.0, width=1280, height=720)
    cameras, stills = of_lanes(own), read_stills(MEDIA / "practice-4.mp4")
    clean = clean_picture(stills)
    choice = choose_lane(cameras, clean, stills)
    assert choice.order[:2] == (2, 3)
    assert not choice.ambiguous
    assert choose_lane(cameras[::-1], clean, stills).order[:2] == (2, 1)
    assert clean.doubt.mean() < 0.2


def test_left_hander_filmed_upright_with_a_rotation_flag(tmp_path):
    camera = replace(
        CameraSpec().resized(640, 360, fps=6),
        x_ft=-2.7,
        yaw_deg=4.2,
        width=360,
        height=640,
        sideways=True,
        preset="ultrafast",
    )
    clip = ClipSpec("left", camera, shot=ShotSpec(hand="left"), start_s=-1.1, tail_s=0.2, sub_exposures=1)
    render_clip(clip, tmp_path / "left.mp4", 2, build_scene(view_of(camera), clip.lane, 1))
    stills = read_stills(tmp_path / "left.mp4")
    assert (stills.rotation_deg, stills.width, stills.height) == (270, 360, 640)
    place = [12 * camera.x_ft, 12 * camera.y_ft, 12 * camera.z_ft, camera.yaw_deg]
    own = Camera(*place, camera.pitch_deg, camera.roll_deg, camera.f_px, camera.k1, 1.0, width=360, height=640)
    choice = choose_lane(of_lanes(own), clean_picture(stills), stills)
    assert choice.index == 2
    assert choice.share > 0.8
