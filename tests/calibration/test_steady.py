"""Shift, zoom and turn of a made-up view are found, people in it are not the view's motion, another view is refused."""

import cv2
import numpy as np
import pytest

from calibration.errors import Failure
from calibration.steady import PAN_SHARE, ZOOM_SHARE, ViewMotion, view_motion

WIDTH, HEIGHT = 640, 360


def house(seed=0, width=2 * WIDTH, height=2 * HEIGHT):
    """A wide picture of boxes and lines, smooth enough to be resampled."""
    rng = np.random.default_rng(seed)
    picture = np.full((height, width), 110.0)
    for x, y, w, h, level in zip(
        *rng.integers((0, 0, 15, 15, 30), (width, height, 160, 90, 225), (160, 5)).T, strict=True
    ):
        picture[y : y + h, x : x + w] = level
    return cv2.GaussianBlur(picture, (0, 0), 1.2)


HOUSE = house()


def view(shift=(0.0, 0.0), zoom=1.0, turn_deg=0.0, *, scene=HOUSE, noise=2.0, seed=0):
    """The middle of a scene after the picture moved by ``shift`` px, grew by ``zoom`` and turned about the middle."""
    a = zoom * np.exp(1j * np.radians(turn_deg))
    m = np.array([[a.real, -a.imag, 0], [a.imag, a.real, 0]])
    middle = np.array([scene.shape[1], scene.shape[0]]) / 2 - 0.5
    m[:, 2] = np.array([WIDTH, HEIGHT]) / 2 - 0.5 + np.array(shift) - m[:, :2] @ middle
    picture = cv2.warpAffine(scene, m, (WIDTH, HEIGHT), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    noisy = picture + np.random.default_rng(seed).normal(0, noise, picture.shape)
    return np.clip(np.round(noisy), 0, 255).astype(np.uint8)


def with_person(picture, left, seed=3, width=170):
    """Put a textured body into a picture."""
    out = picture.copy()
    body = np.clip(house(seed, width, 300) * 0.8, 0, 255).astype(np.uint8)
    out[60:360, left : left + width] = body[:, : out.shape[1] - left]
    return out


def test_a_resting_view_rests():
    motion = view_motion([view(seed=k) for k in range(6)])
    assert isinstance(motion, ViewMotion)
    assert motion.shift_px < 0.15
    assert motion.zoom_ratio == pytest.approx(1.0, abs=5e-4)
    assert motion.turn_deg < 0.03
    assert (motion.compared, motion.lost) == (5, 0)


@pytest.mark.parametrize("shift", [(3.0, -4.0), (-6.5, 2.0)])
def test_small_motions_are_measured(shift):
    motion = view_motion([view(), view(shift, 1.006, 0.4, seed=1), view(seed=2)])
    assert motion
    assert motion.shift_px == pytest.approx(np.hypot(*shift), abs=0.15)
    assert motion.zoom_ratio == pytest.approx(1.006, abs=5e-4)
    assert motion.turn_deg == pytest.approx(0.4, abs=0.03)


def test_sizes_are_those_of_the_full_frame():
    lumas = [cv2.resize(view(shift, seed=k), None, fx=4, fy=4) for k, shift in enumerate([(0, 0), (2, 0)])]
    assert view_motion(lumas).shift_px == pytest.approx(8.0, abs=0.4)


def test_the_largest_shift_is_between_any_two_pictures():
    motion = view_motion([view(), view((4, 0), seed=1), view((-4, 0), seed=2)])
    assert motion.shift_px == pytest.approx(8.0, abs=0.2)


def test_a_person_who_walks_through_is_not_the_view():
    lumas = [with_person(view(seed=k), left) for k, left in enumerate([40, 180, 300, 420])]
    motion = view_motion(lumas)
    assert motion
    assert motion.shift_px < 0.3


def test_the_view_and_not_the_person_who_stands_is_measured():
    lumas = [with_person(view((dx, 0), seed=k), 250) for k, dx in enumerate([0, 3, 6])]
    assert view_motion(lumas).shift_px == pytest.approx(6.0, abs=0.3)


@pytest.mark.parametrize("factor", [0.9, 1.1])
def test_limit_of_a_pan(factor):
    motion = view_motion([view(), view((factor * PAN_SHARE * WIDTH, 0), seed=1)])
    assert bool(motion) == (factor < 1)


@pytest.mark.parametrize("step_px", [25, 90])
def test_a_pan_is_refused_with_its_size(step_px):
    failure = view_motion([view((step_px * (2 - k), 0), seed=k) for k in range(5)])
    assert isinstance(failure, Failure)
    assert failure.reason == "view_pans"
    assert f"shifts by {4 * step_px} px" in failure.detail
    assert "tripod" in failure.detail


def test_a_label_that_stays_on_a_panning_view_does_not_hold_it():
    lumas = [view((60.0 * (k - 2), 0), seed=k) for k in range(5)]
    label = house(9, 150, 30).astype(np.uint8)
    for luma in lumas:
        luma[8:38, 8:158] = label
    assert view_motion(lumas).reason == "view_pans"


@pytest.mark.parametrize("factor", [0.8, 1.3])
def test_limit_of_a_zoom(factor):
    result = view_motion([view(), view((3, 0), 1 + factor * ZOOM_SHARE, seed=1)])
    assert bool(result) == (factor < 1)
    if factor > 1:
        assert result.reason == "view_zooms"
        assert f"{100 * factor * ZOOM_SHARE:.1f} %" in result.detail


def test_a_roll_is_a_pan_with_a_sentence_of_its_own():
    failure = view_motion([view(), view(turn_deg=3.0, seed=1)])
    assert failure.reason == "view_pans"
    assert "rolls by 3.0 deg" in failure.detail


def test_a_cut_is_refused():
    other = house(77)
    failure = view_motion([view(seed=k) for k in range(4)] + [view(scene=other, seed=k) for k in range(3)])
    assert failure.reason == "view_pans"
    assert "in 3 of 7 pictures" in failure.detail
    assert "cut" in failure.detail


def test_somebody_before_the_lens_for_a_moment_is_no_cut():
    lumas = [view(seed=k) for k in range(7)]
    lumas[3] = view(scene=house(5), seed=9)
    motion = view_motion(lumas)
    assert motion
    assert (motion.compared, motion.lost) == (5, 1)
    assert motion.shift_px < 0.15


def test_nothing_is_said_of_one_picture_or_of_none_with_texture():
    assert view_motion([view()]).compared == 0
    assert view_motion([np.full((HEIGHT, WIDTH), 20, np.uint8)] * 3).compared == 0


def test_pictures_of_several_sizes_are_a_mistake():
    with pytest.raises(ValueError, match="all of one size"):
        view_motion([view(), view()[:100]])
    with pytest.raises(ValueError, match="at least one picture"):
        view_motion([])


def test_same_pictures_same_answer():
    lumas = [with_person(view((k, 0), seed=k), 60 * k) for k in range(4)]
    assert view_motion(lumas) == view_motion(lumas)
