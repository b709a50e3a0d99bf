"""Clips of crowded lanes: a shot as the renderer makes it, with people, screens, sweeps and other shots around it.

Only what tests need: balls that die or come back, throws that follow each other, a bowler without a ball.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scene_things import Sweep, Thing

from sample_media.balls import BallLook, ball_look
from sample_media.bowler import Stance, bowler_patches
from sample_media.encode import Sensor, write_clip
from sample_media.frames import OWN_LANE, Stage, _ball, _hide, stage
from sample_media.house import FACE_IN, LANE_CENTRES_IN
from sample_media.layers import Patch, composite
from sample_media.optics import view_of
from sample_media.physics import DensePath
from sample_media.pins import deck_patches
from sample_media.render import write_truth
from sample_media.scene import Scene, build_scene
from sample_media.spec import BallSpec, BowlerSpec, CameraSpec, ClipSpec, LaneSpec, ShotSpec
from sample_media.timeline import Timeline, shot_timeline
from sample_media.truth import clip_truth

Float = NDArray[np.float64]
BEFORE_PINS = ("laydown_board", "laydown_ft", "launch_angle_deg", "board_15ft", "arrows_board", "speed_release_mph")
BLUE = BowlerSpec(shirt=(0.05, 0.08, 0.3))


@dataclass(frozen=True, slots=True)
class Throw:
    """A further throw: ``delay_s`` after ours (negative: before), ``lane_offset`` lanes to the right."""

    shot: ShotSpec
    ball: BallSpec
    delay_s: float
    lane_offset: int = 0
    bowler: BowlerSpec = BLUE


@dataclass(frozen=True, slots=True)
class Dying:
    """A ball that loses its speed: it stops at ``stops_ft``, and then rolls back with ``back_mph``."""

    stops_ft: float
    back_mph: float = 0.0


@dataclass(frozen=True, slots=True)
class SceneSpec:
    """A clip and what else there is to see.

    Attributes
    ----------
    clip : ClipSpec
        Camera, lane, shot and bowler.
    things : tuple
        What moves besides.
    throws : tuple of Throw
        Other shots.
    thrown : bool
        False: the bowler walks up and throws nothing.
    length_s : float or None
        Length of the clip; None takes the shot's and its tail.
    dying : Dying or None
        The ball does not reach the pins.
    turns : tuple of float or None
        Share of the second colour with which a two-tone ball of two halves is drawn instead of its swirl.
    """

    clip: ClipSpec
    things: tuple[Thing, ...] = ()
    throws: tuple[Throw, ...] = ()
    thrown: bool = True
    length_s: float | None = None
    dying: Dying | None = None
    halves: bool = False


@dataclass(frozen=True, slots=True)
class _Other:
    throw: Throw
    timeline: Timeline
    look: BallLook
    x_in: float


@lru_cache(maxsize=3)
def scene_of(camera: CameraSpec, lane: LaneSpec) -> Scene:
    """Static layers, shared by the clips of one place."""
    return build_scene(view_of(camera), lane, 2)


def render_scene(spec: SceneSpec, path: Path, seed: int = 0) -> dict[str, Any]:
    """Render a clip to a file and return its truth; ``others`` holds the truths of further throws on the same lane."""
    ready = _ready(spec, seed)
    others = [_other(spec.clip, throw, seed + 11 + k) for k, throw in enumerate(spec.throws)]
    times = _times(spec, ready.timeline)
    sensor = Sensor(spec.clip.camera, seed)
    frames = ((t, sensor.expose(frame)) for t, frame in _frames(spec, ready, others, times))
    write_clip(path, frames, spec.clip.camera)
    return _truth(spec, ready, others, times)


def rendered(spec: SceneSpec, folder: Path, seed: int = 0) -> tuple[Path, dict[str, Any]]:
    """The clip in a folder, rendered unless it is there and was made from the same description; and its truth."""
    path, note = folder / f"{spec.clip.name}.mp4", folder / f"{spec.clip.name}.spec"
    made = hashlib.sha256(f"{spec!r} {seed}".encode()).hexdigest()
    if not note.exists() or note.read_text(encoding="utf-8") != made:
        write_truth(folder / f"{spec.clip.name}.truth.json", render_scene(spec, path, seed))
        note.write_text(made, encoding="utf-8")
    read: dict[str, Any] = json.loads((folder / f"{spec.clip.name}.truth.json").read_text(encoding="utf-8"))
    return path, read


def _ready(spec: SceneSpec, seed: int) -> Stage:
    ready = stage(replace(spec.clip, neighbour=None), seed, scene_of(spec.clip.camera, spec.clip.lane))
    if spec.dying is not None:
        ready = replace(ready, timeline=_died(ready.timeline, spec.dying, spec.length_s or 6.0))
    if spec.halves:
        share = np.zeros_like(ready.look.share)
        share[share.shape[0] // 2 :] = 1.0
        ready = replace(ready, look=replace(ready.look, share=share))
    return ready


def _other(clip: ClipSpec, throw: Throw, seed: int) -> _Other:
    timeline = shot_timeline(replace(clip, bowler=throw.bowler, start_s=-3.0), throw.shot, throw.ball, lane=clip.lane)
    x_in = float(LANE_CENTRES_IN[OWN_LANE + throw.lane_offset])
    return _Other(throw, timeline, ball_look(throw.ball, clip.lane.light, seed), x_in)


def _died(timeline: Timeline, dying: Dying, until_s: float) -> Timeline:
    """The same way down the lane, run at a speed that falls evenly to nothing; then back along it."""
    p, t = timeline.path, np.arange(0.0, until_s, 1e-3)
    run = dying.stops_ft * 12 - p.y_in[0]
    slows = float(p.vy[0]) ** 2 / (2 * run)
    stop_s = float(p.vy[0]) / slows
    y = p.y_in[0] + np.where(t < stop_s, p.vy[0] * t - slows * t**2 / 2, run)
    y -= np.minimum(dying.back_mph * 17.6, 17.6 * (t - stop_s)).clip(0) * (t - stop_s).clip(0)
    y = np.maximum(y, 12.0)
    speed = np.gradient(y, t)
    along = {name: np.interp(y, p.y_in, getattr(p, name)) for name in ("x_in", "vx", "mu")}
    share = speed / np.interp(y, p.y_in, p.vy)
    spin = {name: np.interp(y, p.y_in, getattr(p, name)) * share for name in ("wx", "wy", "wz")}
    on_lane = np.interp(y, p.y_in, p.on_lane.astype(float)) > 0.5
    path = DensePath(
        t, along["x_in"], y, along["vx"] * share, speed, **spin, slip=0 * t, mu=along["mu"], on_lane=on_lane
    )
    return replace(timeline, path=path, hit=False)


def _times(spec: SceneSpec, timeline: Timeline) -> list[float]:
    length = spec.length_s or timeline.end_s - spec.clip.start_s + spec.clip.tail_s
    return [k / spec.clip.camera.fps for k in range(int(length * spec.clip.camera.fps))]


def _frames(spec: SceneSpec, ready: Stage, others: list[_Other], times: list[float]) -> Iterator[tuple[float, Any]]:
    clip, n = spec.clip, spec.clip.sub_exposures
    for t_s in times:
        moments = [clip.start_s + t_s + clip.camera.shutter_s * ((j + 0.5) / n - 0.5) for j in range(n)]
        fallen = _fallen(spec, ready, others, moments[-1])
        base = ready.full if fallen is None and not _swept(spec, moments[-1]) else ready.cleared
        yield t_s, composite(base, [_moment(spec, ready, others, t_s=t, fallen=fallen) for t in moments], ready.scene)


def _swept(spec: SceneSpec, t_s: float) -> bool:
    """Whether a sweep is at work, behind which no pins stand."""
    return any(isinstance(s, Sweep) and s.start_s <= t_s < s.end_s for s in spec.things)


def _fallen(spec: SceneSpec, ready: Stage, others: list[_Other], t_s: float) -> tuple[Timeline, float] | None:
    """The shot whose pins are in motion or lie at a time, and the time since its contact; None for a full rack.

    A sweep at work takes them away, and a new rack stands after it.
    """
    own = [(ready.timeline, 0.0)] if spec.thrown and spec.dying is None else []
    shots = own + [(o.timeline, o.throw.delay_s) for o in others if o.throw.lane_offset == 0]
    resets = [s.start_s for s in spec.things if isinstance(s, Sweep)]
    for timeline, delay in sorted(shots, key=lambda s: -s[1]):
        contact = delay + timeline.end_s
        if t_s >= contact and not any(contact < reset <= t_s for reset in resets):
            return timeline, t_s - contact
    return None


def _moment(
    spec: SceneSpec, ready: Stage, others: list[_Other], *, t_s: float, fallen: tuple[Timeline, float] | None
) -> list[Patch]:
    """Patches of one moment in the order in which they cover each other."""
    view, scene, light = ready.view, ready.scene, ready.light
    first: list[Patch] = []
    parts: list[tuple[float, Patch]] = []

    def add(below: list[Patch], above: list[tuple[float, Patch]]) -> None:
        first.extend(below)
        parts.extend(above)

    if fallen is not None:
        timeline, since = fallen
        for y, patch in deck_patches(view, timeline.deck, since, rack=timeline.shot.rack, light=light):
            covered = _hide(ready, y if np.isfinite(y) else FACE_IN + 1, patch)
            add(*(([], [(y - view.eye[1], covered)]) if np.isfinite(y) else ([covered], [])))
    for thing in spec.things:
        add(*thing.parts(view, scene, t_s=t_s, light=light))
    if spec.clip.bowler.present:
        add(*bowler_patches(view, scene.ground, ready.timeline.stance, t_s=t_s, light=light))
    if spec.thrown:
        add(*_ball(ready, ready.timeline, ready.look, t_s=t_s, offset_in=0.0))
    for other in others:
        since = t_s - other.throw.delay_s
        if since < other.timeline.end_s or other.throw.lane_offset == 0:
            add(*_ball(ready, other.timeline, other.look, t_s=since, offset_in=other.x_in))
        if other.throw.bowler.present and since > -1.25:
            stance = _moved(other.timeline.stance, other.x_in)
            add(*bowler_patches(view, scene.ground, stance, t_s=since, light=light))
    return first + [p for _, p in sorted(parts, key=lambda item: -item[0])]


def _moved(stance: Stance, x_in: float) -> Stance:
    return replace(stance, ball=stance.ball + np.array([x_in, 0.0, 0.0]))


def _truth(spec: SceneSpec, ready: Stage, others: list[_Other], times: list[float]) -> dict[str, Any]:
    truth: dict[str, Any] = clip_truth(spec.clip, ready.view, ready.timeline, times)
    if spec.dying is not None:
        truth["shot"] = {k: v if k in BEFORE_PINS else None for k, v in truth["shot"].items() if not isinstance(v, str)}
    told = [(other.throw.lane_offset, _other_truth(spec, ready, other, times)) for other in others]
    truth["others"] = [own for offset, own in told if offset == 0]
    truth["neighbour"] = next((own for offset, own in told if offset != 0), None)
    return truth


def _other_truth(spec: SceneSpec, ready: Stage, other: _Other, times: list[float]) -> dict[str, Any]:
    """Truth of a further throw, in the frame of its own lane; pixels and frames left out."""
    throw = other.throw
    moved = replace(spec.clip, start_s=spec.clip.start_s - throw.delay_s, shot=throw.shot, ball=throw.ball)
    own = clip_truth(moved, ready.view, other.timeline, times)
    return {k: v for k, v in own.items() if k not in ("frames", "marks_px")}
