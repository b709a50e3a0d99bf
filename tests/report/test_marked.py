"""Marked-up video: one picture as arrays, its parts, and what becomes of clips that are not ordinary."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
from clips import HLG, even_times, write_clip
from made_up import CAMERA

from calibration.lane import x_from_board
from calibration.store import Calibration
from tracker.report.marked.draw import LINE, Marks, marked, shown_pieces
from tracker.report.marked.sheet import sheet_of, stacked
from tracker.report.marked.stamp import code_of, drawn, planes_in, stamp_of
from tracker.report.marked.told import ToldShot, read_told
from tracker.report.marked.tone import HLG_WHITE, PQ_WHITE_NITS, output_codes, tone_of
from tracker.report.marked.view import stretch_s, time_at, track_of, view_of
from tracker.report.marked.words import LONGEST, events_of, title_of
from tracker.report.provenance import clip_provenance
from tracker.report.shot import path_csv, shot_json, write_shot
from tracker.video.reader import Crop
from tracker.video.stretch import Colour

GREY = 110


@pytest.fixture
def calibration() -> Calibration:
    return Calibration(
        camera=CAMERA, covariance=np.eye(9) * 1e-6, marks_px={}, residuals={}, rms_px=0.3, rotation_deg=0, clip="a.mp4"
    )


@pytest.fixture
def told(shot, calibration) -> ToldShot:
    files = shot_json(shot, clip_provenance({}, calibration=calibration)), path_csv(shot.path)
    found = read_told(*(text.encode("utf-8") for text in files))
    assert found is not None
    return found


@pytest.fixture
def marks(told) -> Marks:
    view = view_of(told.camera)
    assert view is not None
    sheet = sheet_of(told, view)
    return Marks(sheet, track_of(told, sheet.view))


def blank(marks: Marks) -> np.ndarray:
    view = marks.sheet.view
    return np.full((view.out_height * 3 // 2, view.full_width), GREY, np.uint8)


def differs(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    return planes_in(one).luma.astype(int) != planes_in(other).luma


def test_what_the_files_tell_is_what_was_measured(told, shot):
    assert told.numbers["onset_ft"] == shot.quantities["onset_ft"]
    assert told.numbers["roll_ft"].value is None
    np.testing.assert_allclose(told.board, shot.path.board, atol=1e-4)
    np.testing.assert_allclose(told.camera.vector, CAMERA.vector, atol=1e-8)
    assert (told.hand, told.shaky, told.jumps) == ("right", False, False)


def test_a_shot_without_camera_or_path_tells_nothing(shot, calibration):
    text = path_csv(shot.path).encode()
    assert read_told(shot_json(shot, {}).encode(), text) is None
    known = shot_json(shot, clip_provenance({}, calibration=calibration)).encode()
    assert read_told(known, text[: text.index(b"\r\n", text.index(b"\r\n") + 2)]) is None


def test_the_picture_given_is_not_changed_and_nothing_moves_before_the_ball(marks):
    picture = blank(marks)
    early = marked(picture, marks, -1.0)
    assert (picture == GREY).all()
    assert differs(early, picture).any(), "scale and title are there from the start"
    assert (marked(picture, marks, -0.5) == early).all()


def test_line_lies_behind_the_ball_and_the_ball_is_as_filmed(marks):
    picture, t_s = blank(marks), 1.1
    early, done = (planes_in(marked(picture, marks, t)).luma.astype(int) for t in (-1.0, t_s))
    u, v, r = marks.track.ball(t_s)
    rows, columns = np.mgrid[: done.shape[0], : done.shape[1]] + 0.5
    ball = np.hypot(columns - u, rows - v) < r
    assert (done[ball] == GREY).all()
    inside = (columns > marks.sheet.view.pad[0]) & (columns < marks.sheet.view.pad[0] + marks.sheet.view.out_width)
    new = (done != early) & inside & (np.hypot(columns - u, rows - v) > 1.2 * r)
    assert new.any()
    assert rows[new].min() > v, "farther than the ball's middle nothing is new"
    behind = marks.track.way(t_s)[-12]
    near = np.hypot(columns - behind[0], rows - behind[1]) < 2
    assert abs(done[near].max() - code_of(LINE)[0]) < 25
    assert done[np.hypot(columns - behind[0], rows - behind[1]) < 5].min() < 50, "dark on both sides"


def test_words_come_with_their_event_stay_and_lie_beside_the_picture(marks, told):
    view = marks.sheet.view
    beside = np.ones(view.full_width, dtype=bool)
    beside[view.pad[0] : view.pad[0] + view.out_width] = False
    picture, times = blank(marks), [event.t_s for event in events_of(told)]
    shown = [marked(picture, marks, t_s) for t_s in (-1.0, *(t + 1e-3 for t in times))]
    inked = [differs(done, picture)[:, beside].sum() for done in shown]
    assert len(times) == 4, "no arrows in this shot"
    assert (np.diff(inked) > 100).all()


def test_events_are_told_when_the_ball_is_there(told):
    events = {event.name: event for event in events_of(told)}
    assert events["breakpoint"].lines == ("board 8.0 \u00b1 0.1", "42.4 \u00b1 0.4 ft")
    assert events["breakpoint"].t_s == pytest.approx(42.4 / 25.0, abs=1e-3)  # 25 ft/s in the made-up path
    assert events["laydown"].t_s == told.t_s[0]
    assert time_at(told, 59.41) == pytest.approx(59.41 / 25.0, abs=1e-3)
    assert "entry" in events
    assert "arrows" not in events


def test_a_shot_measured_in_part_says_why(shot, calibration):
    partial = dataclasses.replace(shot, status="partial", reason="gutter", detail="left the lane")
    text = shot_json(partial, clip_provenance({}, calibration=calibration))
    told = read_told(text.encode("utf-8"), path_csv(shot.path).encode("utf-8"))
    assert title_of(told)[1][-1] == "partial: gutter ball"


def test_a_left_hander_s_boards_count_from_the_left(told):
    view = view_of(told.camera)
    left = dataclasses.replace(told, hand="left")
    one, other = (track_of(t, view).ground[20] for t in (told, left))
    middle = view.on_lane(np.zeros(1), np.array([told.distance_ft[20] * 12.0]))[0]
    assert x_from_board(told.board[20], "right") > 0
    assert other[0] < middle[0] < one[0]


def test_the_video_starts_earlier_and_ends_later_in_slow_motion(told):
    """A file that plays four times too slowly: half a second before the ball is two seconds of it."""
    true = dataclasses.replace(told, speed_mph=np.full(told.t_s.size, 25.0 * 3600 / 5280))
    slow = dataclasses.replace(true, t_s=true.t_s * 4)
    assert np.subtract(stretch_s(true), true.t_s[[0, -1]]) == pytest.approx([-0.5, 1.5], abs=1e-6)
    assert np.subtract(stretch_s(slow), slow.t_s[[0, -1]]) == pytest.approx([-2.0, 6.0], abs=0.01)


def test_the_view_is_the_lane_alone_and_even(told):
    view = view_of(told.camera)
    assert all(v % 2 == 0 for v in (view.left, view.top, view.width, view.height, view.out_width, view.out_height))
    assert view.left + view.width <= CAMERA.width
    assert view.top + view.height <= CAMERA.height
    corners = view.place(np.array([[-20.75, 0, 0], [20.75, 0, 0], [-20.75, 754, 0], [20.75, 754, 0], [0, 754, 15.0]]))
    assert (corners > -1).all()
    assert (corners < [view.out_width + 1, view.out_height + 1]).all()
    assert view_of(dataclasses.replace(CAMERA, yaw_deg=60.0)) is None


def test_where_the_ball_was_hidden_the_line_is_dashed():
    way = np.stack([np.arange(12.0), np.zeros(12)], axis=1)
    seen = np.array([True] * 3 + [False] * 6 + [True] * 3)
    pieces = shown_pieces(way, seen)
    assert [len(piece) for piece in shown_pieces(way, np.ones(12, dtype=bool))] == [12]
    assert len(pieces) == 4
    assert pieces[0][0, 0] == 0
    assert pieces[-1][-1, 0] == 11
    once = np.array([True] * 5 + [False] * 2 + [True] * 5)
    assert len(shown_pieces(way, once)) == 1, "a blink is not worth a gap"


def test_labels_never_overlap_and_stay_inside():
    heights, wanted = [40, 60, 60, 50], [0.0, 20.0, 30.0, 195.0]
    tops = stacked(heights, wanted, 4, 230)
    ends = np.add(tops, heights)
    assert tops[0] >= 4
    assert ends[-1] <= 226
    assert (np.array(tops[1:]) >= ends[:-1] + 4).all()


def test_a_name_is_cut_cleaned_and_never_read_as_a_formula(told):
    name, notes = title_of(dataclasses.replace(told, shot_id="$\\frac{1}{2}$\x07\u202e\U0001f3b3" + "x" * 200))
    assert name.startswith("$\\frac{1}{2}$\u25a1x")
    assert len(name) == LONGEST
    assert notes == ("\u00b1 standard uncertainty",)
    # read as a formula this would be a fault
    assert sheet_of(dataclasses.replace(told, shot_id="$\\frac{$"), view_of(told.camera)).timed[0].stamps


def test_a_stamp_is_the_colour_it_was_drawn_in():
    picture = np.zeros((60, 40), np.uint8)
    stamp = stamp_of(drawn(10, 10, lambda figure: figure.set_facecolor("#f2b632")), 5, 7, (40, 40))
    stamp.press(planes_in(picture))
    planes = planes_in(picture)
    assert (planes.luma[10, 10], planes.cb[5, 5], planes.cr[5, 5]) == code_of("#f2b632")
    assert planes.luma[30, 30] == 0
    # ITU-R BT.709: white is 235, 128, 128
    assert code_of("#ffffff") == (235, 128, 128)
    assert stamp_of(drawn(4, 4, lambda _: None), 50, 50, (40, 40)) is None


def crop(luma: int, cb: int = 128, cr: int = 128) -> Crop:
    half = np.zeros((2, 2), np.uint8)
    return Crop(np.full((4, 4), luma, np.uint8), half + np.uint8(cb), half + np.uint8(cr), 0, 0.0)


def test_full_range_becomes_16_to_235():
    """Limits of ITU-R BT.709, table 4.6."""
    tone = tone_of(Colour(full_range=True))
    assert [int(tone.ordinary(crop(v))[0][0, 0]) for v in (0, 255)] == [16, 235]
    assert [int(tone.ordinary(crop(100, v))[1][0, 0]) for v in (1, 128, 255)] == [16, 128, 240]
    assert tone_of(Colour()) is None


@pytest.mark.parametrize(
    ("transfer", "white"),
    # ITU-R BT.2408: diffuse white at 75 % of hybrid log-gamma and 58 % of perceptual quantisation (203 cd/m2)
    [("arib-std-b67", 0.75), ("smpte2084", 0.58)],
)
def test_a_high_range_keeps_grey_grey_and_white_near_white(transfer: str, white: float):
    tone = tone_of(Colour(transfer=transfer, primaries=9))
    luma = tone.luma.astype(int)
    assert (np.diff(luma) >= 0).all()
    assert luma[16] == 16
    assert 200 < luma[round(16 + 219 * white)] < 232
    assert luma[235] <= 235
    assert luma[round(16 + 219 * white)] < luma[235]
    assert [int(plane[0, 0]) for plane in tone.ordinary(crop(120))[1:]] == [128, 128]
    assert (HLG_WHITE, PQ_WHITE_NITS) == (0.75, 203.0)


def test_a_crop_says_what_a_player_would_have_guessed_from_the_whole_clip():
    """Players take 720 lines and more for ITU-R BT.709, fewer for SMPTE 170M (common practice, no source)."""
    assert output_codes(Colour(), 1080) == (1, 1, 1)
    assert output_codes(Colour(), 480) == (6, 6, 6)
    assert output_codes(Colour(primaries=12, transfer_code=1, matrix=1), 480) == (12, 1, 1)


def test_wide_primaries_are_told_in_the_usual_ones():
    """Red of ITU-R BT.2020 lies outside ITU-R BT.709's, so that the same signal needs a larger red difference."""
    _, cb, cr = tone_of(Colour(primaries=9)).ordinary(crop(120, 118, 150))
    assert int(cr[0, 0]) > 150
    assert abs(int(cb[0, 0]) - 118) < 8


def test_a_ten_bit_turned_clip_of_a_high_range_makes_an_ordinary_upright_video(tmp_path, shot, calibration):
    height, width = CAMERA.width, CAMERA.height
    assert (height, width) == (960, 720)
    clip = write_clip(
        tmp_path / "phone.mp4", even_times(14, 3.0), codec="libx265", pix_fmt="yuv420p10le", transfer=HLG,
        luma=lambda index: np.full((height, width), 20 + 15 * min(index, 7), np.uint8), rotation_deg=90,
    )  # fmt: skip
    assert write_shot(tmp_path / "out", shot, clip_provenance({}, calibration=calibration), video_of=clip) is None
    with av.open(str(tmp_path / "out" / "made-up" / "marked.mp4")) as container:
        context = container.streams.video[0].codec_context
        assert (context.pix_fmt, context.color_trc) == ("yuv420p", 1)
        pictures = list(container.decode(video=0))
    view = view_of(CAMERA)
    assert pictures[0].height == view.out_height
    assert pictures[0].width > view.out_width
    # a picture every third of a second, the first one within half a second before the ball is seen at 0.12 s
    # and the last one within one and a half seconds after its path ends at 2.38 s
    assert [round(float(p.time), 2) for p in pictures] == [round(k / 3, 2) for k in range(12)]
    side = pictures[0].width * 9 // 20
    middles = [np.median(planes_in(p.to_ndarray(format="yuv420p")).luma[100:-100, side:-side]) for p in pictures]
    assert (np.diff(np.array(middles[:8], dtype=int)) > 5).all()
    # half the signal of hybrid log-gamma is 1/12 of its light, white 0.265: 1.099 (1/12 / 0.265)^0.45 - 0.099 = 0.554
    assert abs(int(middles[7]) - (16 + 219 * 0.554)) < 4


@pytest.mark.parametrize("flags", [(), ("shaky",)])
def test_a_view_that_moved_is_held_still_as_it_was_for_measuring(tmp_path, shot, calibration, flags):
    rng = np.random.default_rng(2)
    wall = cv2.GaussianBlur(rng.normal(0, 60, (CAMERA.height, CAMERA.width)).astype(np.float32), (0, 0), 2.0) * 4 + 120
    wall = np.clip(wall, 0, 255).astype(np.uint8)
    clip = write_clip(tmp_path / "c.mp4", even_times(25, 10.0), luma=lambda k: np.roll(wall, (0, k // 4), axis=1))
    moved = dataclasses.replace(shot, flags=flags)
    assert write_shot(tmp_path, moved, clip_provenance({}, calibration=calibration), video_of=clip) is None
    with av.open(str(tmp_path / "made-up" / "marked.mp4")) as container:
        pictures = [planes_in(p.to_ndarray(format="yuv420p")).luma.astype(int) for p in container.decode(video=0)]
    middle = np.s_[300:500]
    differences = [np.median(np.abs(p[middle] - pictures[0][middle])) for p in pictures]
    assert (differences[-1] < 8) == ("shaky" in flags)


def test_a_clip_that_cannot_be_read_again_costs_the_video_only(tmp_path, shot, calibration):
    (tmp_path / "clip.mp4").write_bytes(b"no clip at all" * 9)
    failure = write_shot(
        tmp_path / "out", shot, clip_provenance({}, calibration=calibration), video_of=tmp_path / "clip.mp4"
    )
    assert failure.reason == "not_a_video"
    names = {p.name for p in (tmp_path / "out" / "made-up").iterdir()}
    assert names == {"path.csv", "shot.json", "overlay.png"}
    assert [p.name for p in Path(tmp_path / "out").iterdir()] == ["made-up"]


def test_a_clip_without_pictures_at_the_path_s_time_says_so(tmp_path, shot, calibration):
    frame = np.full((CAMERA.height, CAMERA.width), GREY, np.uint8)
    clip = write_clip(tmp_path / "short.mp4", [0.0, 0.01], luma=lambda _: frame)
    late = dataclasses.replace(shot, path=dataclasses.replace(shot.path, t_s=shot.path.t_s + 5))
    failure = write_shot(tmp_path / "out", late, clip_provenance({}, calibration=calibration), video_of=clip)
    assert failure.reason == "video_nothing"
    assert (tmp_path / "out" / "made-up" / "shot.json").is_file()


def test_a_shot_without_a_path_asks_for_no_video(tmp_path, shot):
    bare = dataclasses.replace(shot, path=None, status="failed", reason="no_ball")
    assert write_shot(tmp_path, bare, {}, video_of=tmp_path / "nowhere.mp4") is None
    assert [p.name for p in (tmp_path / "made-up").iterdir()] == ["shot.json"]
