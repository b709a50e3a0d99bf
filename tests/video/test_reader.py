"""Frames: content, turn, times, depth, crops, memory."""

import weakref

import av
import cv2
import numpy as np
import pytest
from clips import HEIGHT, HLG, PQ, WIDTH, even_times, pattern, write_clip

from tracker.video.errors import ClipError
from tracker.video.planes import turn_of, turned, turned_copy
from tracker.video.reader import ClipReader, Frame
from tracker.video.source import median_interval_s

TURNS = (0, 90, 180, 270)


@pytest.mark.parametrize("turn", TURNS)
def test_frames_are_upright(tmp_path, turn):
    path = write_clip(tmp_path / "turned.mp4", even_times(3), rotation_deg=turn)
    with ClipReader(path) as clip:
        frame = next(iter(clip))
        assert clip.rotation_deg == turn
        assert (clip.height, clip.width) == frame.luma.shape
    np.testing.assert_allclose(frame.luma, np.rot90(pattern(0), turn // 90), atol=3)


@pytest.mark.parametrize("turn", TURNS)
def test_turn_agrees_with_an_independent_reader(tmp_path, turn):
    path = write_clip(tmp_path / "turned.mp4", even_times(3), rotation_deg=turn)
    capture = cv2.VideoCapture(str(path))
    other = cv2.cvtColor(capture.read()[1], cv2.COLOR_BGR2GRAY).astype(float)
    capture.release()
    with ClipReader(path) as clip:
        ours = clip.first_frame.luma.astype(float)
    assert other.shape == ours.shape
    assert np.corrcoef(other.ravel(), ours.ravel())[0, 1] > 0.99


@pytest.mark.parametrize("turn", TURNS)
def test_chroma_turns_with_luma_and_its_site_is_told(tmp_path, turn):
    path = write_clip(tmp_path / "turned.mp4", even_times(3), rotation_deg=turn)
    with ClipReader(path) as clip:
        frame, site = clip.first_frame, clip.chroma_site
    assert frame.chroma[0].shape == (frame.luma.shape[0] // 2, frame.luma.shape[1] // 2)
    # A stored sample's place, turned with the picture, is where the upright array has it.
    stored = {(2 * i + 0.5, 2 * j + 1.0) for i in range(WIDTH // 2) for j in range(HEIGHT // 2)}
    turned = {
        0: lambda u, v: (u, v),
        90: lambda u, v: (v, WIDTH - u),
        180: lambda u, v: (WIDTH - u, HEIGHT - v),
        270: lambda u, v: (HEIGHT - v, u),
    }[turn]
    assert min(turned(u, v)[0] for u, v in stored) == site[0]
    assert min(turned(u, v)[1] for u, v in stored) == site[1]


def test_planes_are_views_of_the_decoder_s_memory(small_clip):
    with ClipReader(small_clip) as clip:
        for frame in clip:
            assert not frame.luma.flags.owndata
            assert not frame.chroma[0].flags.owndata


@pytest.mark.parametrize("fmt", ["yuv420p", "yuvj420p", "yuv422p", "yuv444p", "nv12", "yuv420p10le", "yuv422p10le"])
def test_pixel_formats_give_the_same_crop(tmp_path, fmt):
    path = write_clip(tmp_path / "clip.mp4", even_times(3), pix_fmt=fmt)
    with ClipReader(path) as clip:
        frame = list(clip)[2]
        crop = frame.crop(20, 16, 40, 32)
        facts = clip.facts()
    # Full-range formats store other codes for the same picture.
    close = 24 if fmt == "yuvj420p" else 2
    np.testing.assert_allclose(crop.luma.astype(int), pattern(2)[16:48, 20:60], atol=close)
    np.testing.assert_allclose(crop.cb.astype(int), 100, atol=5)
    np.testing.assert_allclose(crop.cr.astype(int), 160, atol=5)
    assert facts.bit_depth == (10 if "10" in fmt else 8)


def test_uncommon_pixel_format_is_converted(tmp_path):
    path = write_clip(tmp_path / "clip.mkv", even_times(3), pix_fmt="yuv411p", codec="ffv1", container="matroska")
    with ClipReader(path) as clip:
        frame = clip.first_frame
        np.testing.assert_allclose(frame.luma, pattern(0), atol=2)
        assert frame.chroma[0].shape == (HEIGHT // 2, WIDTH // 2)
        list(clip)
        assert clip.facts().pixel_format == "yuv411p"


def test_gray_clip_has_neutral_chroma(tmp_path):
    path = write_clip(tmp_path / "clip.mkv", even_times(3), pix_fmt="gray", codec="ffv1", container="matroska")
    with ClipReader(path) as clip:
        assert clip.first_frame.chroma is None
        crop = clip.first_frame.crop(0, 0, 10, 10)
    assert crop.cb.shape == (5, 5)
    assert set(np.unique(crop.cb)) == set(np.unique(crop.cr)) == {128}


@pytest.mark.parametrize(("code", "name"), [(HLG, "arib-std-b67"), (PQ, "smpte2084")])
def test_ten_bit_high_dynamic_range(tmp_path, code, name):
    path = write_clip(tmp_path / "hdr.mp4", even_times(4), codec="libx265", pix_fmt="yuv420p10le", transfer=code)
    with ClipReader(path) as clip:
        frames = list(clip)
        facts = clip.facts()
    assert (facts.codec, facts.pixel_format, facts.bit_depth, facts.transfer) == ("hevc", "yuv420p10le", 10, name)
    assert frames[1].luma.dtype == np.uint16
    crop = frames[1].crop(8, 8, 30, 20)
    assert crop.luma.dtype == np.uint8
    np.testing.assert_array_equal(crop.luma, frames[1].luma[8:28, 8:38] >> 2)


def test_crop_widens_to_even_pixels_and_owns_its_data(small_clip):
    with ClipReader(small_clip) as clip:
        frame = clip.first_frame
        crop = frame.crop(5, 7, 10, 6)
    assert (crop.left, crop.top, crop.luma.shape, crop.cb.shape) == (4, 6, (8, 12), (4, 6))
    np.testing.assert_array_equal(crop.luma, frame.luma[6:14, 4:16])
    np.testing.assert_array_equal(crop.cr, frame.chroma[1][3:7, 2:8])
    assert crop.luma.flags.owndata
    assert crop.luma.flags.c_contiguous
    assert (crop.index, crop.t_s) == (0, 0.0)


@pytest.mark.parametrize("fmt", ["yuv420p", "nv12", "yuv420p10le"])
@pytest.mark.parametrize("turn", TURNS)
def test_crops_of_turned_pictures_are_what_the_upright_views_show(tmp_path, turn, fmt):
    path = write_clip(tmp_path / "turned.mp4", even_times(3), rotation_deg=turn, pix_fmt=fmt)
    with ClipReader(path) as clip:
        frame = clip.first_frame
        crop = frame.crop(10, 14, 36, 24)
    bits = frame.bit_depth - 8
    np.testing.assert_array_equal(crop.luma, frame.luma[14:38, 10:46] >> bits)
    for own, plane in zip((crop.cb, crop.cr), frame.chroma, strict=True):
        np.testing.assert_array_equal(own, plane[7:19, 5:23] >> bits)
    assert all(plane.flags.c_contiguous and plane.dtype == np.uint8 for plane in (crop.luma, crop.cb, crop.cr))


@pytest.mark.parametrize("turn", TURNS)
def test_the_turn_of_a_view_is_told_by_its_strides(turn):
    stored = np.arange(6 * 8, dtype=np.uint8).reshape(6, 8)
    view = turned(stored, turn)
    assert turn_of(view[1:4, 2:5]) == turn
    np.testing.assert_array_equal(turned_copy(stored, turn), np.rot90(stored, turn // 90))


def test_other_views_than_turns_count_as_they_are():
    stored = np.arange(6 * 8, dtype=np.uint8).reshape(6, 8)
    assert [turn_of(view) for view in (stored[::-1], stored[:, ::-1], stored.T, stored.T[::-1, ::-1])] == [0] * 4


@pytest.mark.parametrize("box", [(-1, 0, 4, 4), (0, 0, 97, 4), (0, 62, 4, 4), (0, 0, 0, 4)])
def test_crop_outside_the_frame_is_refused(small_clip, box):
    with ClipReader(small_clip) as clip, pytest.raises(ValueError, match="does not lie inside the frame of 96 x 64"):
        clip.first_frame.crop(*box)


def test_times_are_the_container_s_and_start_at_zero(tmp_path):
    times = [5.0, 5.0341, 5.0667, 5.2, 5.2301]
    path = write_clip(tmp_path / "late.mp4", times)
    with ClipReader(path) as clip:
        frames = list(clip)
    assert [f.t_s for f in frames] == pytest.approx([t - 5 for t in times], abs=1e-4)
    assert [f.index for f in frames] == [0, 1, 2, 3, 4]


def test_times_of_reordered_pictures_agree_with_an_independent_reader(tmp_path):
    times = [k / 60 + 0.004 * (k % 3) for k in range(40)]
    path = write_clip(tmp_path / "b.mp4", times, options={"preset": "medium", "bf": "3"})
    capture = cv2.VideoCapture(str(path))
    other = []
    while capture.grab():
        other.append(capture.get(cv2.CAP_PROP_POS_MSEC) / 1000)
    capture.release()
    with ClipReader(path) as clip:
        ours = [f.t_s for f in clip]
    assert ours == pytest.approx(np.array(other) - other[0], abs=1e-4)
    assert ours == pytest.approx(times, abs=1e-4)


def test_frame_behind_a_gap_shows_what_was_filmed_then(tmp_path):
    path = write_clip(tmp_path / "gap.mp4", [0, 1 / 30, 5 / 30, 6 / 30], luma=lambda k: pattern((0, 1, 5, 6)[k]))
    with ClipReader(path) as clip:
        for frame in clip:
            np.testing.assert_allclose(frame.luma, pattern(round(frame.t_s * 30)), atol=3)
        facts = clip.facts()
    assert facts.variable_rate
    assert facts.missing_frames == 3


def test_facts_before_and_after_the_pass(small_clip):
    with ClipReader(small_clip) as clip:
        before = clip.facts()
        assert (before.complete, before.frames, before.nominal_fps) == (False, 12, 30.0)
        assert sum(1 for _ in clip) == 12
        after = clip.facts()
    assert (after.complete, after.frames, after.nominal_fps) == (True, 12, 30.0)
    assert after.duration_s == pytest.approx(0.4, abs=1e-4)
    assert (after.name, after.codec, after.width, after.height) == ("small.mp4", "h264", WIDTH, HEIGHT)
    assert not after.truncated
    assert "libavcodec" in after.decoder
    assert clip.facts() == after


@pytest.mark.parametrize("crf", ["10", "23"])
def test_repeated_pictures_are_told(tmp_path, crf):
    path = tmp_path / "repeat.mp4"
    write_clip(path, even_times(8), luma=lambda k: pattern(k - (k == 4)), options={"crf": crf, "preset": "medium"})
    with ClipReader(path) as clip:
        assert [f.index for f in clip if f.repeated] == [4]
        assert clip.facts().repeated_frames == 1


@pytest.mark.parametrize("row", [4, 36, 60])
def test_a_change_anywhere_makes_another_picture(tmp_path, row):
    """The middle row is looked at first; one that is the same says nothing yet."""
    still = pattern(0)
    moved = still.copy()
    moved[row - 2 : row + 2, 40:48] ^= 0x80
    path = tmp_path / "row.mkv"
    with av.open(str(path), "w", format="matroska") as container:
        stream = container.add_stream("ffv1", rate=30)
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, "gray"
        for k, picture in enumerate((still, still, moved, moved)):
            frame = av.VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="gray")
            frame.pts = k
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    with ClipReader(path) as clip:
        assert [frame.index for frame in clip if frame.repeated] == [1, 3]


def test_one_pass_only(small_clip):
    with ClipReader(small_clip) as clip:
        list(clip)
        with pytest.raises(RuntimeError, match="once"):
            iter(clip)
    with pytest.raises(RuntimeError, match="inside its with block"):
        iter(ClipReader(small_clip))


def test_nothing_holds_on_to_past_frames(tmp_path):
    path = write_clip(tmp_path / "long.mp4", even_times(120))
    alive = []
    with ClipReader(path) as clip:
        for frame in clip:
            alive.append(weakref.ref(frame.luma))
            held = sum(ref() is not None for ref in alive)
            # The first frame, this one, and the one before.
            assert held <= 3


def test_frames_outlive_the_reader(small_clip):
    with ClipReader(small_clip) as clip:
        kept: list[Frame] = list(clip)
    np.testing.assert_allclose(kept[-1].luma, pattern(11), atol=3)


def test_two_threads_read_the_same(small_clip):
    with ClipReader(small_clip) as one, ClipReader(small_clip, threads=2) as two:
        for a, b in zip(one, two, strict=True):
            assert a.t_s == b.t_s
            np.testing.assert_array_equal(a.luma, b.luma)


def test_threads_must_be_positive(small_clip):
    with pytest.raises(ValueError, match="threads is 0"):
        ClipReader(small_clip, threads=0)


@pytest.mark.shared
def test_upright_rendered_clip_and_its_times(shared_clips):
    with ClipReader(shared_clips / "DB1.mp4") as clip:
        times = [f.t_s for f in clip]
        facts = clip.facts()
    assert (facts.width, facts.height, facts.rotation_deg) == (1080, 1920, 270)
    assert facts.variable_rate
    assert facts.missing_frames == sum(round(30 * d) - 1 for d in np.diff(times))
    assert facts.missing_frames > 0


def test_median_interval_needs_no_decoding_and_ignores_dropped_frames(tmp_path):
    times = [k / 30 for k in range(40) if k % 8 != 5]
    assert median_interval_s(write_clip(tmp_path / "slow.mp4", times)) == pytest.approx(1 / 30, abs=1e-4)
    with pytest.raises(ClipError, match="fewer than two"):
        median_interval_s(write_clip(tmp_path / "one.mp4", [0.0]))
