"""Families of hard clips made from a few clips with truth: what phones, rooms and messengers do to a picture."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from hard_cases import HardCase
from hard_makes import (
    Change,
    Coding,
    at_rate,
    averaged,
    between,
    breathing,
    defocused,
    dropped,
    every,
    jittered,
    make,
    noisy,
    ramp_clock,
    relit,
    resized,
    retimed,
    without,
)
from numpy.typing import NDArray

import sample_media
from sample_media.render import render_clip, write_truth
from sample_media.spec import BallSpec, BowlerSpec, CameraSpec, ClipSpec, ShotSpec
from tracker.video.source import median_interval_s, open_clip

Array = NDArray[np.float64]
Clock = tuple[tuple[float, float], ...]

MEDIA = Path(sample_media.__file__).parent
REFUSED = ("failed", "partial")
DOUBTED = (*REFUSED, "flag:speed_doubtful")
ANY = ("measured", *REFUSED)
PLAIN = Coding()
X265 = Coding("libx265", 18)


@dataclass(frozen=True, slots=True)
class Base:
    """A clip with truth that is made harder, and what is done to it first."""

    name: str
    clip: Path
    truth: Path
    fps: float
    size: tuple[int, int]
    first: tuple[Change, ...] = ()


@dataclass(frozen=True, slots=True)
class Recipe:
    """One row of the table: the changes, the coding, and what is told and wanted."""

    family: str
    severity: str
    changes: tuple[Change, ...] = ()
    coding: Coding = PLAIN
    clock: Clock = ()
    capture_fps: float | None = None
    wanted: tuple[str, ...] = ("measured",)


def bases(folder: Path, outside: Path | None) -> list[Base]:
    """Two clips of the sample session at 60 and 30 pictures a second, a rendered one at 240, and outside clips."""
    wide = (1280, 720)
    found = [
        Base("hook-60", MEDIA / "practice-1.mp4", MEDIA / "practice-1.truth.json", 60, wide),
        Base("hook-30", MEDIA / "practice-6.mp4", MEDIA / "practice-6.truth.json", 30, wide, (every(2),)),
        Base("fast-240", folder / "fast-240.mp4", folder / "fast-240.truth.json", 240, (960, 540)),
    ]
    if not found[-1].truth.exists():
        _render_fast(found[-1])
    if outside is not None:
        found += [Base(n, outside / f"{n}.mp4", outside / f"{n}.truth.json", fps, size)
                  for n, fps, size in (("DA2", 60, (1920, 1080)), ("DB1", 30, (1080, 1920)))]  # fmt: skip
    return found


def _render_fast(base: Base) -> None:
    camera = replace(CameraSpec().resized(*base.size, fps=240), shutter_s=1 / 240, preset="ultrafast", crf=16)
    shot = ShotSpec("left", laydown_board=17, launch_deg=1.9, speed_mph=19.0, rev_rpm=280)
    side = replace(camera, x_ft=-camera.x_ft, yaw_deg=-camera.yaw_deg)
    clip = ClipSpec(
        base.name, side, ball=BallSpec(grip=0.95), shot=shot, bowler=BowlerSpec(present=False), start_s=-0.5,
        tail_s=0.6, sub_exposures=1,
    )  # fmt: skip
    write_truth(base.truth, render_clip(clip, base.clip, 7))


def slowed(factor: float) -> Clock:
    """Clock of a clip that plays a constant factor slower."""
    return ((0.0, 0.0), (1.0, factor))


def coding_recipes(base: Base) -> Iterator[Recipe]:
    """How a phone stores one and the same clip."""
    yield Recipe("as filmed", "")
    yield Recipe("coding", "HEVC 8 bit", coding=X265)
    yield Recipe("coding", "HEVC 10 bit", coding=replace(X265, ten_bit=True))
    yield Recipe("coding", "HEVC 10 bit HLG", coding=replace(X265, hlg=True))
    for size in ((960, 540), (3840, 2160)) if base.fps == 60 else ():
        upright = base.size[0] < base.size[1]
        yield Recipe("frame size", f"{size[0]} x {size[1]}", (resized(*(size[::-1] if upright else size)),))
    for crf, kbit_s in ((28, None), (35, None), (40, None), (None, 1500), (None, 600)):
        name = f"crf {crf}" if crf else f"{kbit_s} kbit/s"
        yield Recipe("compression", name, coding=Coding(crf=crf or 0, kbit_s=kbit_s, preset="veryfast"))
    yield Recipe("messenger", "848 x 480, 1000 kbit/s", (_messenger(base, 848),), Coding(kbit_s=1000, preset="fast"))
    yield Recipe("messenger", "640 x 360, 500 kbit/s", (_messenger(base, 640),), Coding(kbit_s=500, preset="fast"),
                 wanted=ANY)  # fmt: skip


def _messenger(base: Base, longer: int) -> Change:
    shorter = longer * 9 // 16 // 2 * 2
    size = resized(*((shorter, longer) if base.size[0] < base.size[1] else (longer, shorter)))
    return lambda pictures: size(at_rate(30)(pictures))


def time_recipes(base: Base) -> Iterator[Recipe]:
    """Frame rates, frames that are missing, clocks that are off, and clips that start late or end early."""
    for fps in (120, 60, 30, 24):
        if fps < base.fps:
            step = (every(round(base.fps / fps)),) if fps != 24 else (at_rate(24),)
            yield Recipe("frame rate", f"{base.fps:g} -> {fps}", step)
    for share in (0.1, 0.3, 0.5):
        yield Recipe("frames missing", f"{share:.0%}", (dropped(share),))
    for sigma in (0.001, 0.004):
        yield Recipe("clock off", f"{1000 * sigma:g} ms", (jittered(sigma),))


def trim_recipes(laydown_s: float, contact_s: float, end_s: float) -> Iterator[Recipe]:
    """Clips that start late, end early, or have a piece cut out."""
    for late in (0.0, 0.4, 0.8, 1.4):
        start = laydown_s + late
        clock = ((start, 0.0), (end_s, end_s - start))
        yield Recipe("starts late", f"{late:g} s after laydown", (between(start, 1e9),), clock=clock, wanted=ANY)
    for early in (0.0, 0.15, 0.4, 0.9):
        yield Recipe("ends early", f"{early:g} s before contact", (between(0, contact_s - early),), wanted=ANY)
    middle = (laydown_s + contact_s) / 2
    for gone in (0.1, 0.3, 0.8):
        start, end = middle - gone / 2, middle + gone / 2
        clock = ((0.0, 0.0), (start, start), (end, start + 1e-6), (end + 1, start + 1))
        yield Recipe("cut in the middle", f"{gone:g} s gone", (without(start, end),), clock=clock, wanted=DOUBTED)


def slow_recipes(base: Base, laydown_s: float, contact_s: float, end_s: float) -> Iterator[Recipe]:
    """Slow motion: stored at a lower rate, told and not told, and with a ramp at both ends."""
    for kept in (base.fps, base.fps / 2) if base.fps > 100 else (base.fps,):
        step = (every(round(base.fps / kept)),) if kept < base.fps else ()
        for stored in (60, 30, 24):
            factor = kept / stored
            if factor <= 1:
                continue
            clock = slowed(factor)
            change = (*step, retimed(((0, 0), (end_s + 1, factor * (end_s + 1)))))
            name = f"{kept:g} stored at {stored}"
            yield Recipe("slow motion", name, change, clock=clock, wanted=DOUBTED)
            yield Recipe("slow motion, told", name, change, clock=clock, capture_fps=kept)
    factors = (2, 4, 8) if base.fps == 240 else (2,) if base.fps == 60 else ()
    for factor in factors:
        for where, slow in (
            ("whole way", (laydown_s - 0.3, contact_s + 0.3)),
            ("first half", (laydown_s - 0.3, laydown_s + 1.2)),
            ("second half", (laydown_s + 1.2, contact_s + 0.3)),
            ("middle", (laydown_s + 0.7, contact_s - 0.6)),
        ):
            for ease in (0.0, 0.3):
                clock = ramp_clock(slow, factor, end_s + 1, ease_s=ease)
                how = "eased" if ease else "sudden"
                yield Recipe("slow motion, ramp", f"x{factor}, {where}, {how}",
                             (retimed(clock), at_rate(min(base.fps / factor, 60))), clock=clock,
                             wanted=DOUBTED)  # fmt: skip


def _step(factor: float, at_s: float) -> Change:
    return relit(lambda t, row: np.full(len(row), 1.0 if t < at_s else 1 / factor))


def _steps(factor: float) -> Change:
    return relit(lambda t, row: np.full(len(row), factor ** -(int(t / 0.5) % 2)))


def _flicker(deep: float, bands: float) -> Change:
    return relit(lambda t, row: 1 + deep * np.sin(2 * np.pi * (7 * t + bands * row)))


def _coloured(deep: float) -> Change:
    return relit(lambda t, _row: 1 + deep * np.sin(2 * np.pi * (t / 2 + np.arange(3) / 3)))


def _dimmed(gain: float) -> Change:
    return relit(lambda _t, row: np.full(len(row), gain))


def _drift(share: float, seconds: float) -> Change:
    return breathing(lambda t: 1 + share * (t / seconds - 0.5))


def _swing(share: float) -> Change:
    return breathing(lambda t: 1 + share / 2 * np.sin(2 * np.pi * t / 1.5))


def light_recipes(at_s: float, seconds: float) -> Iterator[Recipe]:
    """Light that steps, flickers, drifts or is coloured; noise, blur and breathing."""
    for size in (1.15, 1.4, 2.0):
        yield Recipe("exposure step", f"x{size:g}", (_step(size, at_s),))
    for size in (1.4, 2.0):
        yield Recipe("exposure steps", f"x{size:g} up and down every 0.5 s", (_steps(size),))
    for name, bands in (("whole picture", 0.0), ("bands", 2.0)):
        for deep in (0.05, 0.15, 0.3):
            yield Recipe("flicker", f"{name}, {deep:.0%}, 7 Hz", (_flicker(deep, bands),))
    for deep in (0.15, 0.4):
        yield Recipe("coloured light", f"changes by {deep:.0%} in 2 s", (_coloured(deep),))
    for gain in (0.4, 0.15, 0.07):
        yield Recipe("dim", f"{gain:g} of the light, noise 4", (_dimmed(gain), noisy(4.0)))
    for sigma in (4.0, 8.0, 14.0):
        yield Recipe("noise", f"sd {sigma:g} of 255", (noisy(sigma),), Coding(crf=20))
    for sigma in (1.0, 2.0, 3.0):
        yield Recipe("out of focus", f"sd {sigma:g} px", (defocused(sigma),))
    for share in (0.002, 0.005, 0.01):
        yield Recipe("breathing", f"{share:.1%} over the clip", (_drift(share, seconds),), wanted=ANY)
        yield Recipe("breathing", f"{share:.1%} and back in 1.5 s", (_swing(share),), wanted=ANY)


def blur_recipes(base: Base) -> Iterator[Recipe]:
    """Longer exposures, from pictures at 240 a second."""
    for fps, kept in ((60, 1), (60, 2), (60, 4), (30, 2), (30, 4)):
        yield Recipe("motion blur", f"1/{240 / kept:g} s at {fps}", (averaged(240 // fps, kept),))


def recipes(base: Base, laydown_s: float, contact_s: float, end_s: float) -> list[Recipe]:
    """All rows of a base: clips at a high rate are only slowed and blurred."""
    slow = list(slow_recipes(base, laydown_s, contact_s, end_s))
    if base.fps > 100:
        return [Recipe("as filmed", ""), *time_recipes(base), *blur_recipes(base), *slow]
    return [*coding_recipes(base), *time_recipes(base), *trim_recipes(laydown_s, contact_s, end_s),
            *light_recipes((laydown_s + contact_s) / 2, end_s), *slow]  # fmt: skip


def cases(folder: Path, outside: Path | None = None, names: Callable[[str], bool] = lambda _: True,
          families: Callable[[str], bool] = lambda _: True) -> Iterator[HardCase]:  # fmt: skip
    """The cases of all bases, made in ``folder`` as they are asked for."""
    for base in bases(folder, outside):
        if not names(base.name):
            continue
        whole = HardCase("", "", base.clip, base.truth)
        path = whole.true_path()
        like = make(base.clip, folder / f"{base.name}.as-filmed.mp4", *base.first, coding=Coding(crf=12))
        for recipe in recipes(base, float(path[0, 0]), float(path[-1, 0]), _end_s(like)):
            if not families(recipe.family):
                continue
            name = "".join(c if c.isalnum() else "-" for c in f"{base.name}.{recipe.family}.{recipe.severity}")
            clip = like if recipe.family == "as filmed" else folder / f"{name}.mp4"
            if clip != like:
                make(base.clip, clip, *base.first, *recipe.changes, coding=recipe.coding)
            yield HardCase(
                recipe.family, recipe.severity, clip, base.truth, capture_fps=recipe.capture_fps, clock=recipe.clock,
                wanted=recipe.wanted, like=like, base=base.name,
            )  # fmt: skip


def _end_s(clip: Path) -> float:
    with open_clip(clip) as container:
        stream = container.streams.video[0]
        return float(stream.duration * stream.time_base) - median_interval_s(clip)
