"""A few whole pictures of a clip are the reader's pictures, upright, spread over the clip, at little cost."""

import av
import numpy as np
import pytest
from clips import cut, even_times, pattern, picture, spoil, write_clip, write_sound, write_text

from tracker.video.errors import ClipError
from tracker.video.reader import ClipReader
from tracker.video.source import Pictures
from tracker.video.stills import SPAN_S, read_stills

KEYS_OF_TEN = {"g": "10", "keyint_min": "10", "sc_threshold": "0"}
ONE_KEY = {"g": "1000", "sc_threshold": "0", "bf": "2"}


def noise(index):
    return np.random.default_rng(index).integers(30, 220, (64, 96)).astype(np.uint8)


def same_as_reader(path, stills):
    """Compare every still with the frame of the same index in a full pass."""
    with ClipReader(path, min_frames=1) as clip:
        frames = {f.index: f.whole() for f in clip}
        facts = clip.facts()
        assert (stills.width, stills.height) == (clip.width, clip.height)
        assert (stills.rotation_deg, stills.chroma_site) == (clip.rotation_deg, clip.chroma_site)
    for still in stills.pictures:
        frame = frames[still.index]
        assert still.t_s == pytest.approx(frame.t_s, abs=1e-9)
        assert np.array_equal(still.luma, frame.luma)
        assert np.array_equal(still.cb, frame.cb)
        assert np.array_equal(still.cr, frame.cr)
    return facts


def test_key_pictures_where_there_are_enough(tmp_path):
    path = write_clip(tmp_path / "keys.mp4", even_times(95), options=KEYS_OF_TEN)
    stills = read_stills(path, 5)
    facts = same_as_reader(path, stills)
    assert stills.keys_only
    assert [s.index for s in stills.pictures] == [0, 20, 40, 70, 90]
    assert stills.duration_s == pytest.approx(facts.duration_s, abs=1e-3)
    assert [s.index for s in read_stills(path).pictures[:2]] == [0, 10]


def test_one_key_picture_is_decoded_on_and_spread_by_time(tmp_path):
    times = [*even_times(30), *(1.0 + k / 5 for k in range(11))]
    path = write_clip(tmp_path / "one.mp4", times, options=ONE_KEY)
    stills = read_stills(path, 7)
    same_as_reader(path, stills)
    assert not stills.keys_only
    # two thirds of the time in a quarter of the frames: by number they would crowd at the start
    assert [s.t_s for s in stills.pictures] == pytest.approx([0, 0.5, 1, 1.5, 2, 2.5, 3], abs=0.41)


def test_only_the_start_of_a_long_clip_is_decoded(tmp_path):
    path = write_clip(tmp_path / "long.mp4", [0.5 * k for k in range(80)], options=ONE_KEY)
    stills = read_stills(path)
    assert SPAN_S - 1 <= stills.pictures[-1].t_s <= SPAN_S + 1
    assert len(stills.pictures) == 9
    assert stills.duration_s == pytest.approx(40.0, abs=0.01)


def test_unwanted_packets_do_not_reach_the_decoder(tmp_path):
    path = write_clip(tmp_path / "keys.mp4", even_times(95), options=KEYS_OF_TEN)
    with av.open(str(path)) as container:
        wanted = {20 * 3000, 70 * 3000}
        pictures = Pictures(container, container.streams.video[0], lambda packet: packet.pts in wanted)
        assert [p.pts for p in pictures] == sorted(wanted)


@pytest.mark.parametrize("options", [KEYS_OF_TEN, ONE_KEY], ids=["keys", "spread"])
@pytest.mark.parametrize("rotation_deg", [0, 90, 180, 270])
def test_pictures_are_upright(tmp_path, rotation_deg, options):
    path = write_clip(tmp_path / "turned.mp4", even_times(60), rotation_deg=rotation_deg, options=options)
    stills = read_stills(path)
    same_as_reader(path, stills)
    assert stills.rotation_deg == rotation_deg
    upright = np.rot90(pattern(0), rotation_deg // 90)
    assert (stills.height, stills.width) == upright.shape
    np.testing.assert_allclose(stills.pictures[0].luma.astype(int), upright, atol=6)


@pytest.mark.parametrize("pix_fmt", ["yuv420p10le", "yuv444p", "gray"])
def test_pixel_formats_become_eight_bit_planes(tmp_path, pix_fmt):
    path = write_clip(tmp_path / "format.mp4", even_times(8), pix_fmt=pix_fmt)
    same_as_reader(path, read_stills(path, 3))


def test_sizes_are_even(tmp_path):
    path = tmp_path / "odd.avi"
    with av.open(str(path), "w") as out:
        stream = out.add_stream("mjpeg", rate=30)
        stream.width, stream.height, stream.pix_fmt = 95, 63, "yuvj444p"
        for k in range(9):
            frame = av.VideoFrame.from_ndarray(np.repeat(pattern(k)[None, :63, :95], 3, axis=0), format="yuv444p")
            frame = frame.reformat(format="yuvj444p")
            frame.pts = k
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    stills = read_stills(path, 3)
    assert (stills.width, stills.height) == (94, 62)
    assert all(s.luma.shape == (62, 94) and s.cb.shape == (31, 47) for s in stills.pictures)


def test_a_moving_picture_of_the_web_is_read(tmp_path):
    with av.open(str(tmp_path / "moving.gif"), "w") as out:
        stream = out.add_stream("gif", rate=10)
        stream.width, stream.height, stream.pix_fmt = 96, 64, "gray"
        for k in range(12):
            frame = picture(pattern(k))
            frame = frame.reformat(format="gray")
            frame.pts = k
            out.mux(stream.encode(frame))
        out.mux(stream.encode())
    stills = read_stills(tmp_path / "moving.gif", 4)
    same_as_reader(tmp_path / "moving.gif", stills)
    assert len(stills.pictures) == 4
    assert not np.array_equal(stills.pictures[0].luma, stills.pictures[-1].luma)


def test_joined_clips_end_where_time_jumps_back(tmp_path):
    path = write_clip(tmp_path / "a.ts", even_times(90), options=KEYS_OF_TEN, container="mpegts")
    once = read_stills(path)
    path.write_bytes(path.read_bytes() * 2)
    twice = read_stills(path)
    assert twice.duration_s == pytest.approx(once.duration_s, abs=0.01)
    assert [s.t_s for s in twice.pictures] == [s.t_s for s in once.pictures]


def test_a_single_picture_is_enough(tmp_path):
    stills = read_stills(write_clip(tmp_path / "still.mp4", [0.0]))
    assert [s.index for s in stills.pictures] == [0]
    np.testing.assert_allclose(stills.pictures[0].luma.astype(int), pattern(0), atol=6)


@pytest.mark.parametrize("container", ["mp4", "matroska"])
@pytest.mark.parametrize("options", [KEYS_OF_TEN, ONE_KEY], ids=["keys", "spread"])
def test_cut_off_data_gives_the_pictures_so_far(tmp_path, container, options):
    path = write_clip(tmp_path / "cut.mp4", even_times(100), luma=noise, container=container, options=options)
    stills = read_stills(cut(path, 0.75))
    assert 3 <= len(stills.pictures) <= 9
    for still in stills.pictures:
        np.testing.assert_allclose(still.luma.astype(int), noise(round(30 * still.t_s)), atol=40)


def test_spoilt_data_gives_pictures_or_the_error_of_a_damaged_clip(tmp_path):
    path = spoil(write_clip(tmp_path / "spoilt.mp4", even_times(60), luma=noise, options=ONE_KEY), 0.5)
    stills = read_stills(path)
    assert stills.pictures[0].index == 0


def write_start_only(path):
    data = write_clip(path, even_times(20), luma=noise).read_bytes()
    path.write_bytes(data[: data.index(b"mdat") + 8])
    return path


def write_still_image(path):
    """A compressed picture named like a clip."""
    with av.open(str(path), "w", format="image2", options={"update": "1"}) as out:
        stream = out.add_stream("mjpeg", rate=1)
        stream.width, stream.height, stream.pix_fmt = 96, 64, "yuvj420p"
        out.mux(stream.encode(picture(pattern(0), pix_fmt="yuvj420p")))
        out.mux(stream.encode())
    return path


def write_empty(path):
    path.write_bytes(b"")
    return path


BAD = {
    "clip_missing": lambda path: path,
    "clip_empty": write_empty,
    "not_a_video": write_text,
    "no_video_stream": write_sound,
    "clip_truncated": write_start_only,
    "not_a_video (a still)": write_still_image,
}


@pytest.mark.parametrize("kind", BAD)
def test_errors_are_those_of_the_reader(tmp_path, kind):
    path = BAD[kind](tmp_path / "shot.mp4")
    with pytest.raises(ClipError) as readers, ClipReader(path):
        pass
    with pytest.raises(ClipError) as own:
        read_stills(path)
    assert (own.value.reason, own.value.detail) == (readers.value.reason, readers.value.detail)
    assert own.value.reason == kind.split()[0]


@pytest.mark.parametrize(("count", "threads"), [(0, 1), (3, 0)])
def test_counts_below_one_are_refused(small_clip, count, threads):
    with pytest.raises(ValueError, match="give 1 or more"):
        read_stills(small_clip, count, threads=threads)
