import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.solve import Solution, solve
from calibration.store import Calibration, from_solution
from tracker.report.grid import EDGE, draw_lane_grid, legend_lines
from tracker.report.image import encode_png


@pytest.fixture
def small(clicked) -> Calibration:
    camera = Camera(10, -230, 70, -1.0, 7.5, 0.6, 750, 0.1, 1.0, width=640, height=360)
    marks = clicked(camera, 0.3)
    solution = solve(marks, width=camera.width, height=camera.height)
    assert isinstance(solution, Solution)
    return from_solution(solution, marks, clip="shot.mp4")


@pytest.mark.parametrize("level", [15, 240])
def test_edges_are_drawn_where_the_camera_sees_them(small, level):
    picture = draw_lane_grid(np.full((360, 640), level, dtype=np.uint8), small)
    assert picture.shape == (360, 640, 3)
    for feet in (5, 15, 25, 35):
        u, v = small.camera.project((-20.75, 12.0 * feet, 0.0))
        patch = picture[int(v) - 1 : int(v) + 2, int(u) - 2 : int(u) + 3].reshape(-1, 3).astype(int)
        assert np.abs(patch - EDGE).sum(axis=1).min() < 60


def test_frame_is_left_alone_and_drawing_repeats(small):
    frame = np.full((360, 640, 3), 90, dtype=np.uint8)
    first, second = draw_lane_grid(frame, small), draw_lane_grid(frame, small)
    assert np.all(frame == 90)
    assert np.array_equal(first, second)
    assert encode_png(first) == encode_png(second)
    assert np.array_equal(cv2.imdecode(np.frombuffer(encode_png(first), np.uint8), cv2.IMREAD_COLOR), first)


def test_legend_gives_the_numbers(small):
    lines = legend_lines(small)
    worst = max(small.residuals, key=lambda r: r.size_px)
    assert lines[0].endswith("shot.mp4")
    assert f"rms {small.rms_px:.1f} px" in lines[1]
    assert worst.name in lines[2]
    assert [line[:8] for line in lines[3:6]] == ["at 15 ft", "at 40 ft", "at 60 ft"]
    assert lines[-1] in {"verdict: good", "verdict: usable", "verdict: poor"}


def test_wrong_frame_is_a_mistake(small):
    with pytest.raises(ValueError, match="needs an 8-bit frame of 640x360 pixels"):
        draw_lane_grid(np.zeros((640, 360), dtype=np.uint8), small)
    with pytest.raises(ValueError, match="got float64"):
        draw_lane_grid(np.zeros((360, 640)), small)  # type: ignore[arg-type]
