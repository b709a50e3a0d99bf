"""Harder versions of a clip: pictures read, changed one after another, and written again with another coding.

A change takes an iterator of pictures and gives one, so that changes chain and no clip is held in memory. Light is
changed on the stored picture as a camera with a power-law tone curve would have stored it: a gain of the light by g
multiplies the stored red, green and blue by g^(1/2.2), which is linear in Y, Cb and Cr too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.video.reader import ClipReader, Crop

Array = NDArray[np.float64]
Pictures = Iterator[Crop]
Change = Callable[[Pictures], Pictures]

TIME_BASE = Fraction(1, 90000)
GAMMA = 2.2
BT709, BT2020, HLG, BT2020_NCL = 1, 9, 18, 9
_TO_YCC = np.array([[0.2126, 0.7152, 0.0722], [-0.1146, -0.3854, 0.5], [0.5, -0.4542, -0.0458]])
_TO_2020 = np.array([[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]])
_2020_TO_YCC = np.array([[0.2627, 0.6780, 0.0593], [-0.1396, -0.3604, 0.5], [0.5, -0.4598, -0.0402]])
"""ITU-R BT.709 and BT.2020 (colour difference and primaries, from memory), ranges -0.5 to 0.5 for the differences."""
HLG_WHITE = 0.265
"""Scene light of ordinary white: 75 % of the signal (ITU-R BT.2408, from memory)."""


@dataclass(frozen=True, slots=True)
class Coding:
    """How pictures are stored; ``kbit_s`` in place of ``crf`` where it is given."""

    codec: str = "libx264"
    crf: int = 16
    kbit_s: int | None = None
    ten_bit: bool = False
    hlg: bool = False
    preset: str = "ultrafast"


def pictures_of(path: Path) -> Pictures:
    """Whole upright pictures of a clip with their times."""
    with ClipReader(path) as reader:
        for frame in reader:
            yield frame.whole()


def make(source: Path, target: Path, *changes: Change, coding: Coding | None = None) -> Path:
    """Write ``target``, ``source`` with the changes made in order, unless it is there."""
    if target.exists():
        return target
    pictures = pictures_of(source)
    for change in changes:
        pictures = change(pictures)
    unfinished = target.with_suffix(".part")
    write(unfinished, pictures, coding or Coding())
    return unfinished.replace(target)


def write(path: Path, pictures: Pictures, coding: Coding) -> None:
    """Encode pictures at their own times (MP4)."""
    with av.open(str(path), "w", format="mp4", options={"video_track_timescale": "90000"}) as out:
        stream: Any = None
        for picture in pictures:
            if stream is None:
                stream = _stream(out, picture, coding)
            planes = hlg_planes(picture) if coding.hlg else (picture.luma, picture.cb, picture.cr)
            frame = _frame(planes, ten_bit=coding.ten_bit or coding.hlg)
            frame.pts, frame.time_base = round(picture.t_s / TIME_BASE), TIME_BASE
            out.mux(stream.encode(frame))
        out.mux(stream.encode())


def _stream(out: Any, first: Crop, coding: Coding) -> Any:
    rate = {"b": f"{coding.kbit_s}k"} if coding.kbit_s else {"crf": str(coding.crf)}
    quiet = {"x265-params": "log-level=none:pools=1:frame-threads=1"} if coding.codec == "libx265" else {}
    options = {"preset": coding.preset, "threads": "1", **rate, **quiet}
    stream = out.add_stream(coding.codec, rate=30, options=options)
    stream.height, stream.width = first.luma.shape
    stream.pix_fmt = "yuv420p10le" if coding.ten_bit or coding.hlg else "yuv420p"
    context = stream.codec_context
    context.time_base = TIME_BASE
    primaries, trc, matrix = (BT2020, HLG, BT2020_NCL) if coding.hlg else (BT709, BT709, BT709)
    context.color_primaries, context.color_trc, context.colorspace, context.color_range = primaries, trc, matrix, 1
    return stream


def _frame(planes: tuple[NDArray[Any], ...], *, ten_bit: bool) -> av.VideoFrame:
    """A picture of 8-bit planes, or of 10-bit ones where they hold 16-bit words."""
    height, width = planes[0].shape
    frame = av.VideoFrame(width, height, "yuv420p10le" if ten_bit else "yuv420p")
    for plane, value in zip(frame.planes, planes, strict=True):
        samples = value.astype("<u2") * (4 if value.dtype == np.uint8 else 1) if ten_bit else value
        padded = np.zeros((plane.height, plane.line_size // samples.itemsize), samples.dtype)
        padded[:, : samples.shape[1]] = samples
        plane.update(padded.tobytes())
    return frame


def hlg_planes(picture: Crop) -> tuple[NDArray[np.uint16], ...]:
    """The picture as 10-bit BT.2020 hybrid log-gamma planes (ARIB STD-B67), ordinary white at 75 % of the signal."""
    height, width = picture.luma.shape
    differences = [cv2.resize(p, (width, height), interpolation=cv2.INTER_LINEAR) for p in (picture.cb, picture.cr)]
    ycc = np.dstack([(picture.luma - 16.0) / 219, *((d - 128.0) / 224 for d in differences)]).astype(np.float32)
    rgb = np.clip(cv2.transform(ycc, np.linalg.inv(_TO_YCC).astype(np.float32)), 0, 1)
    light = np.clip(cv2.transform(rgb**GAMMA, _TO_2020.astype(np.float32)), 0, 1) * np.float32(HLG_WHITE)
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    signal = np.where(light <= 1 / 12, np.sqrt(3 * light), a * np.log(np.maximum(12 * light - b, 1e-6)) + c)
    out = cv2.transform(signal.astype(np.float32), _2020_TO_YCC.astype(np.float32))
    half = cv2.resize(out[..., 1:], (width // 2, height // 2), interpolation=cv2.INTER_AREA)
    planes = (64 + 876 * out[..., 0], 512 + 896 * half[..., 0], 512 + 896 * half[..., 1])
    return tuple(np.clip(np.rint(p), 4, 1019).astype(np.uint16) for p in planes)


def every(count: int, first: int = 0) -> Change:
    """Keep one picture of ``count``."""
    return lambda pictures: (p for k, p in enumerate(pictures) if k % count == first)


def at_rate(fps: float) -> Change:
    """Keep the first picture of every 1/fps seconds, at its own time."""

    def change(pictures: Pictures) -> Pictures:
        due = 0
        for p in pictures:
            if p.t_s * fps >= due - 1e-6:
                due = int(p.t_s * fps + 1e-6) + 1
                yield p

    return change


def dropped(share: float, seed: int = 3) -> Change:
    """Leave out pictures by chance, as a phone does that cannot keep up."""
    random = np.random.default_rng(seed)
    return lambda pictures: (p for k, p in enumerate(pictures) if k == 0 or random.random() >= share)


def jittered(sigma_s: float, seed: int = 4) -> Change:
    """Times that are off by chance, in order."""
    random = np.random.default_rng(seed)

    def change(pictures: Pictures) -> Pictures:
        last = -1.0
        for p in pictures:
            last = max(last + 1e-3, p.t_s + sigma_s * float(random.standard_normal()), 0.0)
            yield replace(p, t_s=last)

    return change


def retimed(clock: tuple[tuple[float, float], ...]) -> Change:
    """Other times: pairs (time before, time after) between which times are interpolated, both ends included."""
    before, after = np.array(clock).T
    return lambda pictures: (replace(p, t_s=float(np.interp(p.t_s, before, after))) for p in pictures)


def ramp_clock(slow_s: tuple[float, float], factor: float, end_s: float, *, ease_s: float = 0.0) -> Any:
    """Clock of a clip at true speed but for ``slow_s``, which plays ``factor`` times longer, eased in and out."""
    times = np.linspace(0.0, end_s, 2000)
    if ease_s:
        into, out = (np.clip((times - slow_s[0]) / ease_s, 0, 1), np.clip((slow_s[1] - times) / ease_s, 0, 1))
        rate = 1 + (factor - 1) * np.minimum(into, out)
    else:
        rate = np.where((times >= slow_s[0]) & (times < slow_s[1]), factor, 1.0)
    file = np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2 * np.diff(times))])
    return tuple((float(a), float(b)) for a, b in zip(times, file, strict=True))


def between(start_s: float, end_s: float) -> Change:
    """Trim; the first picture's time becomes 0."""

    def change(pictures: Pictures) -> Pictures:
        first = None
        for p in pictures:
            if start_s <= p.t_s < end_s:
                first = p.t_s if first is None else first
                yield replace(p, t_s=p.t_s - first)

    return change


def without(start_s: float, end_s: float) -> Change:
    """Cut a stretch out of the middle and close the gap, as an editor does."""
    gone = end_s - start_s
    return lambda pictures: (
        p if p.t_s < start_s else replace(p, t_s=p.t_s - gone) for p in pictures if not start_s <= p.t_s < end_s
    )


def averaged(count: int, kept: int) -> Change:
    """One picture of ``count``: the mean of its first ``kept``, at their mean time (an exposure that long)."""

    def change(pictures: Pictures) -> Pictures:
        group: list[Crop] = []
        for k, p in enumerate(pictures):
            if k % count < kept:
                group.append(p)
            if k % count == kept - 1:
                yield replace(
                    _planewise(group[0], lambda name, g=tuple(group): np.mean([getattr(q, name) for q in g], axis=0)),
                    t_s=float(np.mean([q.t_s for q in group])),
                )
                group = []

    return change


def _planewise(picture: Crop, value: Callable[[str], NDArray[Any]]) -> Crop:
    """The picture with other planes by name."""
    new = {name: np.clip(np.rint(value(name)), 0, 255).astype(np.uint8) for name in ("luma", "cb", "cr")}
    return replace(picture, **new)


def resized(width: int, height: int) -> Change:
    """Another frame size."""

    def one(p: Crop) -> Crop:
        how = cv2.INTER_AREA if width < p.luma.shape[1] else cv2.INTER_CUBIC
        sizes = {"luma": (width, height), "cb": (width // 2, height // 2), "cr": (width // 2, height // 2)}
        return _planewise(p, lambda name: cv2.resize(getattr(p, name), sizes[name], interpolation=how))

    return lambda pictures: (one(p) for p in pictures)


def relit(gain: Callable[[float, Array], Array]) -> Change:
    """Light multiplied by ``gain(t_s, row)``, rows from 0 at the top to 1: shape ``(h,)``, or ``(3,)`` for a colour."""

    def one(p: Crop) -> Crop:
        height = p.luma.shape[0]
        k = np.asarray(gain(p.t_s, (np.arange(height) + 0.5) / height)) ** (1 / GAMMA)
        if k.shape == (3,):
            return _coloured(p, k)
        half = k[::2, None]
        return _planewise(p, lambda n: 16 + (p.luma - 16.0) * k[:, None] if n == "luma"
                          else 128 + (getattr(p, n) - 128.0) * half)  # fmt: skip

    return lambda pictures: (one(p) for p in pictures)


def _coloured(p: Crop, factors: Array) -> Crop:
    """Stored red, green and blue multiplied by factors."""
    mix = _TO_YCC @ np.diag(factors) @ np.linalg.inv(_TO_YCC)
    height, width = p.luma.shape
    small = cv2.resize(p.luma, (width // 2, height // 2), interpolation=cv2.INTER_AREA)
    half = [(small - 16.0) / 219, (p.cb - 128.0) / 224, (p.cr - 128.0) / 224]
    whole = [cv2.resize(h.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR) for h in half[1:]]
    luma = mix[0, 0] * (p.luma - 16.0) / 219 + mix[0, 1] * whole[0] + mix[0, 2] * whole[1]
    cb, cr = (sum(mix[row, k] * half[k] for k in range(3)) for row in (1, 2))
    new = {"luma": 16 + 219 * luma, "cb": 128 + 224 * cb, "cr": 128 + 224 * cr}
    return _planewise(p, new.__getitem__)


def noisy(sigma: float, seed: int = 5) -> Change:
    """Noise of luma, and half of it in chroma, a little coarser than a pixel."""
    random = np.random.default_rng(seed)

    def one(p: Crop) -> Crop:
        def value(name: str) -> NDArray[Any]:
            plane = getattr(p, name)
            grain = cv2.GaussianBlur(random.standard_normal(plane.shape, dtype=np.float32), (0, 0), 0.6) * 1.9
            return np.asarray(plane + (sigma if name == "luma" else sigma / 2) * grain)

        return _planewise(p, value)

    return lambda pictures: (one(p) for p in pictures)


def defocused(sigma_px: float) -> Change:
    """Out of focus."""

    def one(p: Crop) -> Crop:
        return _planewise(p, lambda n: cv2.GaussianBlur(
            getattr(p, n).astype(np.float32), (0, 0), sigma_px if n == "luma" else sigma_px / 2))  # fmt: skip

    return lambda pictures: (one(p) for p in pictures)


def breathing(scale: Callable[[float], float]) -> Change:
    """A focus that changes the picture's scale about its middle by ``scale(t_s)``."""

    def one(p: Crop) -> Crop:
        s = scale(p.t_s)

        def value(name: str) -> NDArray[Any]:
            plane = getattr(p, name)
            height, width = plane.shape
            # cv2 counts from the middle of the first pixel
            middle = np.array([(width - 1) / 2, (height - 1) / 2])
            move = np.column_stack([s * np.eye(2), middle * (1 - s)]).astype(np.float32)
            return cv2.warpAffine(plane, move, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)

        return _planewise(p, value)

    return lambda pictures: (one(p) for p in pictures)
