"""Lines of a drawn picture meet where they were drawn to meet; of pairs of edges the lane's is the likeliest."""

import cv2
import numpy as np
import pytest

from calibration.finding.fan import GUTTER_SHARE, fan_of, strips_of
from calibration.finding.lines import AcrossLine, across_lines, find_segments, vanishing_points

SIZE = (540, 960)
POINT = (430.0, 60.0)
FOUL_PX, SLOPE = 455.0, 0.02
LANES = ((120.0, 330.0), (470.0, 680.0))


def foul_v(u):
    return FOUL_PX + SLOPE * (np.asarray(u, dtype=float) - 480.0)


def drawn(noise=2.0, lane=150.0, gutter=60.0):
    """Two lanes that end at a foul line, with gutters; the approach before it."""
    luma = np.full(SIZE, 90.0, np.float32)
    fill = lambda outline, value: cv2.fillPoly(  # noqa: E731
        luma, [np.round(np.array(outline) * 16 - 8).astype(np.int32)], value, cv2.LINE_8, 4
    )
    for left, right in LANES:
        side = GUTTER_SHARE * (right - left)
        for a, b, value in ((left - side, right + side, gutter), (left, right, lane)):
            fill([POINT, (a, foul_v(a)), (b, foul_v(b))], value)
    fill([(0, foul_v(0)), (960, foul_v(960)), (960, 540), (0, 540)], 120.0)
    fill([(0, 0), (960, 0), (960, 130), (0, 130)], 30.0)
    luma = cv2.GaussianBlur(luma, (0, 0), 0.7) + np.random.default_rng(1).normal(0, noise, SIZE)
    return np.clip(luma, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("level", [1.0, 0.2])
def test_lines_vanish_where_they_were_drawn_to(level):
    """Bright or dim: a fifth of the light leaves 18 levels between lane and gutter."""
    luma = (drawn(noise=1.0) * level).astype(np.uint8)
    points = vanishing_points(find_segments(luma), luma.shape)
    assert np.hypot(*(points[0] - POINT)) < 2.0


def test_no_lines_no_point():
    assert vanishing_points(find_segments(np.full(SIZE, 100, np.uint8)), SIZE) == []


def test_the_foul_line_is_among_the_longest_lines_across():
    segments = find_segments(drawn())
    found = across_lines(segments, np.array(POINT), 4)
    off = [np.abs(line.v_at(np.array([100.0, 860.0])) - foul_v([100, 860])).max() for line in found]
    assert min(off) < 1.0
    assert [line.length_px for line in found] == sorted((line.length_px for line in found), reverse=True)


def test_the_likeliest_strips_are_the_lanes():
    foul = AcrossLine(480.0, FOUL_PX, SLOPE, 960.0)
    strips = strips_of(fan_of(drawn(), np.array(POINT), foul), 6)
    best = sorted((s.left_px, s.right_px) for s in strips[:2])
    assert np.abs(np.array(best) - LANES).max() <= 2.0


def test_a_fan_from_another_point_has_no_such_edges():
    foul = AcrossLine(480.0, FOUL_PX, SLOPE, 960.0)
    right = strips_of(fan_of(drawn(), np.array(POINT), foul), 1)[0].score
    wrong = strips_of(fan_of(drawn(), np.array([700.0, 60.0]), foul), 1)
    assert not wrong or wrong[0].score < 0.6 * right
