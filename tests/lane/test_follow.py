"""The view within a clip: followed after a knock, told from people who hide it, given up where it pans or is gone."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from stands import held
from warped import Warp, shifted, turned, zoomed

from calibration.camera import Camera
from calibration.errors import Failure
from tracker.detection.region import Box
from tracker.detection.watch import FrameLook
from tracker.lane import follow
from tracker.lane.follow import View
from tracker.lane.hold import Holder
from tracker.lane.moved import places_after, turned_back
from tracker.video.reader import ClipReader, Frame

Image = NDArray[np.uint8]

MEDIA = Path(__file__).resolve().parents[2] / "sample_media"
BOX = Box(560, 180, 240, 420)
KNOCK_AT = 11
TURN_DEG = (-0.8, 0.45, 0.2)
"""About 25 pixels to the right and down."""


@pytest.fixture(scope="module")
def camera() -> Camera:
    c = json.loads((MEDIA / "practice-1.truth.json").read_text(encoding="utf-8"))["camera"]
    return Camera(
        *c["position_in"], c["yaw_deg"], c["pitch_deg"], c["roll_deg"], f_px=c["f_px"], k1=c["k1"], width_scale=1.0,
        width=c["width"], height=c["height"],
    )  # fmt: skip


@pytest.fixture(scope="module")
def first() -> Frame:
    with ClipReader(MEDIA / "practice-1.mp4") as reader:
        frame = reader.first_frame
        return Frame(0, 0.0, frame.luma.copy(), tuple(plane.copy() for plane in frame.chroma), 8)


@pytest.fixture(scope="module")
def knocked(camera, first) -> Image:
    return turned(camera, *TURN_DEG)(0, first.luma)


def frames(first: Frame, warp: Warp, count: int = 40, fps: float = 60.0) -> Iterator[Frame]:
    rng = np.random.default_rng(2)
    noise = [rng.integers(-2, 3, first.luma.shape, dtype=np.int16) for _ in range(3)]
    for k in range(1, count + 1):
        luma = np.clip(warp(k, first.luma) + noise[k % 3], 0, 255).astype(np.uint8)
        yield Frame(k, k / fps, luma, first.chroma, 8)


def jumps_to(picture: Image, at: int = KNOCK_AT, until: int = 10**6) -> Warp:
    return lambda k, luma: picture if at <= k < until else luma


def hiding(columns: int, at: int, until: int = 10**6) -> Warp:
    """Somebody in plain clothes stands before the left part of the picture."""

    def warp(k: int, luma: Image) -> Image:
        seen = luma.copy()
        seen[:, : columns if at <= k < until else 0] = 60
        return seen

    return warp


def followed(camera: Camera, first: Frame, warp: Warp, count: int = 40) -> tuple[Holder, list[int]]:
    """The holder after the frames, and the indices of those it gave."""
    holder = Holder(camera, first)
    given = [frame.index for frame in frames(first, warp, count) if held(holder, frame, BOX) is not None]
    return holder, given


def test_a_knock_beyond_the_meters_reach_is_followed_to_a_tenth_of_a_pixel(camera, first, knocked):
    view = View(camera, first)
    shakes = [view.look(frame) for frame in frames(first, jumps_to(knocked), 14)]
    assert all(shake.known for shake in shakes)
    assert view.knocked
    lane = np.array([[x, y, 4.3] for x in (-20.0, 20.0) for y in (180.0, 480.0, 700.0)])
    after = Camera.from_vector(
        camera.vector + np.array([0, 0, 0, *TURN_DEG, 0, 0, 0]), camera.width, camera.height
    ).project(lane)
    before = camera.project(lane)
    away = before + view.displacement_px(before) + view.shift_px - after
    assert np.hypot(*away.T).max() < 0.1
    assert np.hypot(*(after - before).T).max() > 20.0


@pytest.mark.parametrize("grows", [0.014, -0.014])
def test_a_lens_that_breathes_is_followed(camera, first, grows):
    """A picture that grows by 1.4 % moves the lane's ends by two pixels apart, which no shift of all takes back."""
    count = 40
    aim = (camera.width / 2, camera.height / 2)
    view = View(camera, first)
    for frame in frames(first, zoomed(lambda k: 1 + grows * k / count, aim), count):
        view.look(frame)
    lane = camera.project(np.array([[0.0, y, 4.3] for y in (120.0, 480.0, 700.0)]))
    truth = grows * (lane - aim)
    away = view.displacement_px(lane) + view.shift_px - truth
    assert np.hypot(*away.T).max() < 0.7
    assert np.abs(truth - truth.mean(axis=0)).max() > 1.4


@pytest.mark.parametrize("shift_px", [(0.0, 7.0), (0.0, -8.0), (-3.5, -6.1), (0.0, 9.0), (0.0, -10.0), (12.0, 0.0)])
def test_a_shift_at_the_edge_of_the_meters_reach_is_not_taken_for_another(camera, first, shift_px):
    """By these the meter alone is sure of a place 1 to 11 pixels off, with a third to two thirds of its windows."""
    view = View(camera, first)
    for frame in frames(first, shifted(lambda _: shift_px), 1):
        view.look(frame)
    middle = np.array([[640.0, 300.0]])
    assert view.displacement_px(middle)[0] + view.shift_px == pytest.approx(shift_px, abs=0.5)


def test_crops_after_a_knock_show_what_the_first_picture_shows(camera, first, knocked):
    holder = Holder(camera, first)
    crops = [held(holder, frame, BOX) for frame in frames(first, jumps_to(knocked), 14)]
    plain = first.crop(BOX.left, BOX.top, BOX.width, BOX.height).luma.astype(float)
    assert np.abs(crops[-1].luma - plain).mean() < 2 * np.abs(crops[0].luma - plain).mean()
    assert holder.corrected
    px, boards = holder.knock()
    assert 20.0 < px < 35.0
    assert boards > 3.0


def test_whole_pixels_read_back_are_those_of_the_moved_box(first):
    at = np.array([4.0, -2.0])
    places = places_after(BOX, lambda pixels: np.tile(at, (len(pixels), 1)))
    crop = turned_back(first, places, np.array([2.0, 6.0]))
    same = first.crop(BOX.left + 6, BOX.top + 4, BOX.width, BOX.height)
    assert np.array_equal(crop.luma, same.luma)
    assert np.array_equal(crop.cb, same.cb)
    assert np.array_equal(crop.cr, same.cr)
    assert (crop.left, crop.top) == (BOX.left, BOX.top)


def test_frames_that_nobody_looked_at_around_a_knock_count_for_nothing(camera, first, knocked):
    """At rest every third frame is looked at; the knock falls on one that is not, or on the one that is."""
    looks = [FrameLook(k, k / 60, (None,)) for k in range(1, 21)]
    for at in (KNOCK_AT, KNOCK_AT + 1, KNOCK_AT + 2):
        holder, given = followed(camera, first, jumps_to(knocked, at), 20)
        empty = [look.frame for look in holder.sure(looks) if not look.detections]
        assert len(given) == 20
        assert len(empty) == 2
        assert max(abs(frame - at) for frame in empty) <= 2


@pytest.mark.parametrize("columns", [500, 800, 1100])
def test_people_who_hide_the_view_are_no_knock(camera, first, columns):
    holder, given = followed(camera, first, hiding(columns, KNOCK_AT))
    assert len(given) == 40
    assert holder.knock() == (0.0, 0.0)
    assert holder.failure() is None
    assert not holder.corrected


def test_a_knock_while_people_hide_the_view_leaves_out_what_is_not_known(camera, first, knocked):
    def warp(k: int, luma: Image) -> Image:
        return hiding(1100, 10, 30)(k, knocked if k >= 15 else luma)

    view = View(camera, first)
    for frame in frames(first, warp, 40):
        view.look(frame)
    assert view.knocked
    assert not view.gone
    assert set(range(15, 30)) <= view.doubtful
    assert max(view.doubtful) < 40


def test_a_view_that_is_covered_for_a_moment_comes_back(camera, first):
    holder, given = followed(camera, first, hiding(1280, 10, 15))
    assert set(range(1, 41)) - set(given) <= set(range(9, 17))
    assert len(given) < 40
    assert holder.failure() is None


@pytest.mark.parametrize(
    "warp",
    [
        pytest.param(shifted(lambda k: (1.2 * k, 0.0)), id="pans sideways"),
        pytest.param(shifted(lambda k: (0.0, 1.0 * k)), id="tilts, all of it within reach"),
        pytest.param(shifted(lambda k: (120.0, 40.0) if k >= KNOCK_AT else (0.0, 0.0)), id="far off"),
    ],
)
def test_a_view_that_pans_or_is_gone_is_refused_and_gives_nothing(camera, first, warp):
    holder, given = followed(camera, first, warp, 60)
    failure = holder.failure()
    assert isinstance(failure, Failure)
    assert failure.reason == "view_pans"
    assert "out of reach in" in failure.detail
    assert max(given) < 45


def test_a_knock_at_the_end_of_a_clip_does_not_refuse_it(camera, first):
    holder, given = followed(camera, first, shifted(lambda k: (90.0 if k > 35 else 0.0, 0.0)), 40)
    assert holder.failure() is None
    assert given[-1] <= 36


@pytest.mark.parametrize(("columns", "least", "most"), [(1100, 1, 1), (1280, 4, 17)])
def test_hidden_windows_are_replaced_and_lost_pictures_registered_ever_more_seldom(
    camera, first, monkeypatch, columns, least, most
):
    calls = []

    def counted(anchors, luma):
        calls.append(1)
        return Failure("view_changed", "as in the test")

    monkeypatch.setattr(follow, "register", counted)
    view = View(camera, first)
    for frame in frames(first, hiding(columns, 2), 100):
        view.look(frame)
    assert least <= len(calls) <= most
    assert len(view.doubtful) == 0
    assert view.gone == (columns == 1280)
