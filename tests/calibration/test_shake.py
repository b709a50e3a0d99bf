"""Shake of known size: pictures shifted in the frequency domain, hidden in part, of several layouts in memory."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from calibration.anchors import choose_anchors
from calibration.camera import Camera
from calibration.lane import BOARD_WIDTH_IN
from calibration.shake import Shake, ShakeMeter, judge, measure, shake, shake_budget_px, shake_meter

WIDTH, HEIGHT = 640, 360
CAMERA = Camera(20, -230, 70, -2.0, 7.5, 0.6, 750, 0.0, 1.0, width=WIDTH, height=HEIGHT)
_RNG = np.random.default_rng(3)
# Periodic and without detail finer than a pixel or two, so that a shift of the spectrum is the exact answer.
SCENE = gaussian_filter(np.kron(_RNG.uniform(30, 210, (18, 32)), np.ones((20, 20))), 1.5, mode="wrap")


def shifted(du: float, dv: float) -> NDArray[np.float64]:
    """The scene moved by (du, dv) pixels, to the right and down."""
    phase = np.fft.fftfreq(WIDTH) * du + np.fft.fftfreq(HEIGHT)[:, None] * dv
    return np.fft.ifft2(np.fft.fft2(SCENE) * np.exp(-2j * np.pi * phase)).real


def noisy(picture: NDArray[np.float64], seed: int, sigma: float = 2.0) -> NDArray[np.uint8]:
    noise = np.random.default_rng(seed).normal(0.0, sigma, picture.shape)
    return np.clip(np.round(picture + noise), 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def meter() -> ShakeMeter:
    return shake_meter(choose_anchors(noisy(SCENE, 0, 0.5), CAMERA))


@given(du=st.floats(-4, 4), dv=st.floats(-4, 4), gain=st.floats(0.5, 1.1))
@settings(max_examples=25, deadline=None, derandomize=True)
def test_a_shift_is_found(meter: ShakeMeter, du: float, dv: float, gain: float) -> None:
    found = measure(meter, noisy(gain * shifted(du, dv) + 8.0, 1))
    assert (found.du_px, found.dv_px) == pytest.approx((du, dv), abs=0.05)
    assert found.sigma_px < 0.05
    assert found.share > 0.8


@pytest.mark.parametrize("body_px", [0.0, 5.0, -9.0])
def test_whoever_hides_half_of_the_windows_does_not_pull(meter: ShakeMeter, body_px: float) -> None:
    """Structure over nearly half of the frame that moves on its own."""
    picture = shifted(1.3, -0.7)
    body = 70 + 0.4 * np.roll(SCENE[::-1], round(body_px), axis=1)
    picture[:, :300] = body[:, :300]
    found = measure(meter, noisy(picture, 2))
    assert (found.du_px, found.dv_px) == pytest.approx((1.3, -0.7), abs=0.05)
    assert 0.2 < found.share < 0.8


def test_claimed_deviation_is_the_scatter(meter: ShakeMeter) -> None:
    """40 draws, two numbers each: between half of the claim and 1.25 times it, the floor being part of the claim."""
    picture = shifted(0.6, 0.3)
    draws = [measure(meter, noisy(picture, 10 + k, 8.0)) for k in range(40)]
    errors = np.array([(s.du_px - 0.6, s.dv_px - 0.3) for s in draws])
    ratio = np.sqrt(np.mean(errors**2)) / np.mean([s.sigma_px for s in draws])
    assert 0.5 < ratio < 1.25


def test_planes_of_any_layout_give_the_same(meter: ShakeMeter) -> None:
    frame = noisy(shifted(1.1, 0.4), 3)
    wide = np.zeros((HEIGHT, WIDTH + 64), dtype=np.uint8)
    wide[:, :WIDTH] = frame
    upside = np.rot90(np.rot90(frame).copy(), 3)
    plain = measure(meter, frame)
    assert measure(meter, wide[:, :WIDTH]) == plain
    assert measure(meter, upside) == plain
    assert measure(meter, frame.astype(np.uint16) << 2) == plain
    assert measure(meter, frame.astype(np.uint16) << 4, bit_depth=12) == plain


def test_one_call_is_the_meter() -> None:
    anchors = choose_anchors(noisy(SCENE, 0, 0.5), CAMERA)
    frame = noisy(shifted(-0.8, 0.2), 4)
    assert shake(anchors, frame) == measure(shake_meter(anchors), frame)


def test_only_the_box_is_read() -> None:
    anchors = choose_anchors(noisy(SCENE, 0, 0.5), CAMERA)
    frame = noisy(shifted(0.9, 0.0), 5)
    spoilt = frame.copy()
    spoilt[:, 400:] = 0
    boxed = shake_meter(anchors, (0, 0, 400, HEIGHT))
    assert measure(boxed, spoilt) == measure(boxed, frame)
    assert measure(boxed, frame).known


def test_nothing_alike_is_unknown(meter: ShakeMeter) -> None:
    flat = measure(meter, np.full((HEIGHT, WIDTH), 90, dtype=np.uint8))
    assert not flat.known
    assert flat.share == 0.0
    assert not measure(meter, noisy(np.zeros((HEIGHT, WIDTH)) + 100.0, 6, 30.0)).known
    blank = choose_anchors(np.full((HEIGHT, WIDTH), 90, dtype=np.uint8), CAMERA)
    assert not shake(blank, noisy(SCENE, 7)).known


def test_frames_of_another_size_are_a_mistake(meter: ShakeMeter) -> None:
    with pytest.raises(ValueError, match="whole upright frame"):
        measure(meter, np.zeros((HEIGHT, WIDTH // 2), dtype=np.uint8))


def test_drift_and_jitter_are_told_apart() -> None:
    """A straight drift of 3 px over 3 s, and a tremble of amplitude 0.4 px at 9 Hz sampled at uneven times."""
    t = np.sort(np.random.default_rng(8).uniform(0.0, 3.0, 400))
    slow = judge(t.tolist(), [Shake(x, 0.0, 0.02, 1.0) for x in t.tolist()])
    assert slow.drift_px == pytest.approx(3.0 - 0.25, abs=0.1)
    assert slow.jitter_px < 0.1
    fast = judge(t.tolist(), [Shake(0.0, y, 0.02, 1.0) for y in (0.4 * np.sin(18 * np.pi * t)).tolist()])
    assert fast.jitter_px == pytest.approx(0.4 / np.sqrt(2), rel=0.15)
    assert fast.rms_px == pytest.approx(0.4 / np.sqrt(2), rel=0.15)
    assert fast.largest_px == pytest.approx(0.4, rel=0.15)
    assert fast.drift_px < 0.4


def test_unknown_frames_are_left_out() -> None:
    lost = Shake(np.nan, np.nan, np.nan, 0.1)
    summary = judge([0.0, 0.1, 0.2], [Shake(1.0, 0.0, 0.02, 1.0), lost, Shake(1.0, 0.0, 0.04, 1.0)])
    assert (summary.frames, summary.rms_px) == (2, 0.0)
    assert summary.sigma_px == pytest.approx(0.03)
    assert np.isnan(judge([0.0], [lost]).rms_px)


def test_budget_is_a_fortieth_of_a_board_at_the_pins() -> None:
    """Focal length over distance, in pixels an inch, for a camera looking straight at the place."""
    level = Camera(0, -230, 4.3, 0.0, 0.0, 0.0, 750, 0.0, 1.0, width=WIDTH, height=HEIGHT)
    assert shake_budget_px(level) == pytest.approx(0.025 * BOARD_WIDTH_IN * 750 / (58 * 12 + 230), rel=1e-3)
