"""The picture of a lane found without clicks tells what was found from what is only predicted."""

import json
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration import lane
from calibration.camera import Camera
from calibration.lane import GUTTER_EDGE_IN
from calibration.store import Calibration
from tracker.report.grid import draw_lane_grid, legend_lines
from tracker.report.gridmarks import CHEVRON, EDGE, MARK, PIN
from tracker.report.image import encode_png

TRUTH = Path(__file__).parents[2] / "sample_media" / "practice-1.truth.json"
HALF = lane.LANE_WIDTH_IN / 2
GREY = 110
STANDING = (4, 6, 7, 10)
SEEN_ARROWS = (1, 2, 6)


def sample_camera() -> Camera:
    told = json.loads(TRUTH.read_text("utf-8"))["camera"]
    x, y, z = told["position_in"]
    angles = (told["pitch_deg"], told["roll_deg"], told["f_px"], told["k1"], 1.0)
    return Camera.from_vector((x, y, z, told["yaw_deg"], *angles), told["width"], told["height"])


CAMERA = sample_camera()


def on_edge(x_in, feet):
    """Pixels ``(n, 2)`` of an edge's points."""
    y = 12.0 * np.asarray(feet, dtype=float)
    return CAMERA.project(np.stack([np.full_like(y, x_in), y, np.zeros_like(y)], axis=1))


def even_feet(near, far, step_px=8.0):
    """Distances whose points on the left edge are evenly spaced in the picture."""
    feet = np.linspace(near, far, 400)
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(on_edge(-HALF, feet), axis=0).T))])
    return np.interp(np.arange(0.0, way[-1], step_px), way, feet)


def numbered(kind, pixels):
    return {f"{kind}_{k + 1}": (float(u), float(v)) for k, (u, v) in enumerate(pixels)}


def arrow_places(numbers):
    boards = np.array([5.0 * n for n in numbers])
    y = lane.arrow_distance_in(boards)
    return CAMERA.project(np.stack([lane.x_from_board(boards, "right"), y, np.zeros_like(y)], axis=1))


def pin_bases(numbers):
    spots = lane.pin_positions()[[n - 1 for n in numbers]]
    return CAMERA.project(np.column_stack([spots, np.zeros(len(spots))]))


def found(marks_px) -> Calibration:
    return Calibration(
        CAMERA, np.diag(np.full(9, 1e-6)), clip="shot.mp4", how="found", marks_px=marks_px, verdict="good"
    )


def drawn(marks_px, **more):
    return draw_lane_grid(np.full((CAMERA.height, CAMERA.width), GREY, dtype=np.uint8), found(marks_px), **more)


def looks_like(picture, pixel, colour):
    """Whether the pixel that (u, v) lies in has about a colour."""
    return bool(np.abs(picture[int(pixel[1]), int(pixel[0])].astype(int) - colour).max() < 60)


def ringed(picture, centre, colour):
    """Whether a circle of a colour passes straight above and below a pixel, where no line of the grid has it."""
    rows = np.linspace(2.0, 4.5, 11)
    return all(
        any(np.abs(picture[int(centre[1] + way * dv), int(centre[0])].astype(int) - colour).max() < 100 for dv in rows)
        for way in (-1, 1)
    )


def share_drawn(picture, pixels):
    """Share of places along a line that are in the line's colour or a dot's."""
    inked = [any(looks_like(picture, p, colour) for colour in (EDGE, MARK)) for p in pixels]
    return np.mean(inked)


@pytest.fixture(scope="module")
def near_half():
    """The left edge found up to 15 ft, nothing else."""
    return drawn(numbered("left", on_edge(-HALF, even_feet(0.6, 15.0))))


def test_edge_is_solid_where_found_and_dashed_beyond(near_half):
    assert share_drawn(near_half, on_edge(-HALF, even_feet(1.0, 14.5, 1.0))) > 0.95
    assert 0.3 < share_drawn(near_half, on_edge(-HALF, even_feet(16.0, 50.0, 1.0))) < 0.7
    assert 0.3 < share_drawn(near_half, on_edge(HALF, even_feet(1.0, 50.0, 1.0))) < 0.7


def test_somebody_in_the_way_leaves_a_dashed_stretch():
    feet = even_feet(0.6, 57.0)
    picture = drawn(numbered("left", on_edge(-HALF, feet[(feet < 6) | (feet > 18)])))
    assert share_drawn(picture, on_edge(-HALF, even_feet(1.0, 5.5, 1.0))) > 0.95
    assert 0.25 < share_drawn(picture, on_edge(-HALF, even_feet(7.0, 17.0, 1.0))) < 0.75
    assert share_drawn(picture, on_edge(-HALF, even_feet(19.0, 50.0, 1.0))) > 0.95


def test_foul_line_beside_the_lane_only_where_found(near_half):
    beside = np.linspace(1.5 * HALF, 3.0 * HALF, 40)
    pixels = CAMERA.project(np.stack([beside, 0 * beside, 0 * beside], axis=1))
    picture = drawn(numbered("foul", pixels))
    rows = [picture[int(v) - 1 : int(v) + 2, int(u)] for u, v in pixels]
    assert all(np.any(np.ptp(row, axis=1) > 60) for row in rows)
    assert share_drawn(near_half, pixels) == 0.0


def test_gutter_only_where_found(near_half):
    outer = on_edge(GUTTER_EDGE_IN, even_feet(3.0, 20.0))
    picture = drawn(numbered("right_gutter", outer))
    beyond = on_edge(GUTTER_EDGE_IN, even_feet(24.0, 50.0))
    nothing = [np.ptp(one[int(v), int(u)]) for one in (near_half, picture) for u, v in beyond]
    assert np.mean(np.array(nothing) > 60) < 0.1
    assert all(np.any(np.ptp(picture[int(v) - 1 : int(v) + 2, int(u)], axis=1) > 60) for u, v in outer)


def test_arrows_are_filled_where_found_and_hollow_elsewhere():
    picture = drawn({f"arrow_{n}": tuple(p) for n, p in zip(SEEN_ARROWS, arrow_places(SEEN_ARROWS), strict=True)})
    for n, place in enumerate(arrow_places(range(1, 8)), start=1):
        assert looks_like(picture, place, MARK) == (n in SEEN_ARROWS)
        assert ringed(picture, place, CHEVRON)


def test_a_misfit_is_drawn_only_for_an_arrow_that_is_off():
    place = arrow_places([4])[0]
    near, off = ({"arrow_4": (place[0] + du, place[1])} for du in (1.0, 5.0))
    toward = place - np.array([20.0, 0.0])
    assert not looks_like(drawn(near), toward, MARK)
    assert looks_like(drawn(off), toward, MARK)
    assert [any("misfit x10" in line for line in legend_lines(found(m))) for m in (near, off)] == [False, True]


def test_pins_are_filled_where_found_and_hollow_elsewhere():
    axis = {n: (*lane.pin_positions()[n - 1], 8.0) for n in STANDING}
    marks = {f"pin_{n}": tuple(CAMERA.project(point)) for n, point in axis.items()}
    filled, hollow = drawn(marks), drawn({})
    for base in pin_bases(STANDING):
        assert looks_like(filled, base, PIN)
        assert not looks_like(hollow, base, PIN)
    # Pin 1 stands before the others' circles, so that its own shows whole.
    assert not looks_like(filled, pin_bases([1])[0], PIN)
    assert ringed(filled, pin_bases([1])[0], PIN)


def test_many_points_make_dots_and_no_words():
    """Two hundred points more change the picture only along the edges, and no line of the legend is longer for it."""
    feet = np.linspace(0.6, 57.0, 100)
    edges = np.concatenate([on_edge(-HALF, feet), on_edge(HALF, feet)])
    marks = numbered("left", edges[:100]) | numbered("right", edges[100:])
    changed = np.any(drawn(marks) != drawn({}), axis=2)
    near = np.zeros(changed.shape, dtype=np.uint8)
    for side in (-HALF, HALF):
        line = np.round(on_edge(side, even_feet(0.0, 62.8, 2.0)) - 0.5).astype(np.int32)
        cv2.polylines(near, [line.reshape(-1, 1, 2)], False, 1, 13)
    near[:300, :340] = near[:300, -320:] = 1
    assert changed.any()
    assert not np.any(changed & (near == 0))
    assert len(legend_lines(found(marks))) == len(legend_lines(found({})))


def test_drawing_repeats():
    marks = numbered("foul", on_edge(0.0, np.zeros(1))) | numbered("left", on_edge(-HALF, even_feet(0.6, 30.0)))
    assert encode_png(drawn(marks)) == encode_png(drawn(dict(reversed(marks.items()))))


@pytest.mark.parametrize("pixel", [(-300.0, 900.0), (4e5, -2e6), (640.0, 10.0)])
def test_points_far_from_their_line_change_no_line(pixel):
    """Outside the frame, out of reach of the drawing routine, above the horizon."""
    lost = {f"{kind}_{k}": pixel for kind in ("left", "right_gutter", "foul", "pin", "arrow") for k in (1, 2, 3)}
    picture = drawn(lost)
    assert 0.3 < share_drawn(picture, on_edge(-HALF, even_feet(1.0, 50.0, 1.0))) < 0.7


def test_title_stands_in_the_legend_and_the_finder_has_the_last_word():
    calibration = replace(found({}), verdict="usable")
    lines = legend_lines(calibration, ["found on an empty lane, fitted to 6 pins and confirmed by 7 arrows"])
    assert lines[0] == "lane grid  shot.mp4"
    assert " ".join(lines[1:3]) == "found on an empty lane, fitted to 6 pins and confirmed by 7 arrows"
    assert lines[-1] == "verdict: usable"
    assert not np.array_equal(drawn({}), drawn({}, title=["fitted to 6 pins"]))
