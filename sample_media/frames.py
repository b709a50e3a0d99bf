"""From a clip's description to its frames in linear light."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import DECK_END_IN
from sample_media.balls import BallLook, ball_look, ball_patch, contact_shadow
from sample_media.bowler import bowler_patches
from sample_media.house import FACE_IN, LANE_CENTRES_IN
from sample_media.layers import Patch, composite, hidden_by
from sample_media.optics import View, view_of
from sample_media.physics import EDGE_IN
from sample_media.pins import deck_patches, rack_patches
from sample_media.scene import Scene, build_scene
from sample_media.spec import ALL_PINS, ClipSpec, Rgb
from sample_media.timeline import Timeline, build_timeline, shot_timeline
from sample_media.truth import clip_truth

Array = NDArray[np.float32]
Float = NDArray[np.float64]
OWN_LANE = 4
OTHER_RACKS = {2: (1, 2, 4, 7), 5: ALL_PINS, 7: (6, 10)}


@dataclass(frozen=True, slots=True)
class Stage:
    """A clip made ready: view, static layers with and without our pins, the moving parts."""

    clip: ClipSpec
    view: View
    scene: Scene
    full: Array
    cleared: Array
    timeline: Timeline
    look: BallLook
    other: tuple[Timeline, BallLook, float] | None

    @property
    def light(self) -> Rgb:
        """Colour of the light."""
        return self.clip.lane.light

    def truth(self) -> dict[str, object]:
        """The truth of the clip, see :func:`sample_media.truth.clip_truth`."""
        return clip_truth(self.clip, self.view, self.timeline, frame_times(self.clip, self.timeline))


def stage(clip: ClipSpec, seed: int = 0, scene: Scene | None = None) -> Stage:
    """Trace the scene (unless one of the same camera and lane is given) and simulate the shot."""
    view = view_of(clip.camera)
    if scene is None:
        scene = build_scene(view, clip.lane, 3 if clip.camera.width > 800 else 2)
    light = clip.lane.light
    racks: list[Patch] = []
    for k, centre in enumerate(LANE_CENTRES_IN):
        if k != OWN_LANE:
            racks += rack_patches(view, OTHER_RACKS.get(k, ALL_PINS), float(centre), light)
    cleared = composite(scene.base, [[hidden_by(p, scene.front) for p in racks]], scene)
    own = [hidden_by(p, scene.front) for p in rack_patches(view, clip.shot.rack, 0.0, light)]
    full = composite(cleared, [own], scene)
    timeline = build_timeline(clip)
    look = ball_look(clip.ball, light, seed + 5)
    return Stage(clip, view, scene, full, cleared=cleared, timeline=timeline, look=look, other=_other(clip, seed))


def _other(clip: ClipSpec, seed: int) -> tuple[Timeline, BallLook, float] | None:
    if clip.neighbour is None:
        return None
    timeline = shot_timeline(clip, clip.neighbour.shot, clip.neighbour.ball, lane=clip.lane)
    centre = float(LANE_CENTRES_IN[OWN_LANE + clip.neighbour.lane_offset])
    return timeline, ball_look(clip.neighbour.ball, clip.lane.light, seed + 6), centre


def frame_times(clip: ClipSpec, timeline: Timeline) -> list[float]:
    """Times of the frames in the file, seconds, dropped frames left out; the first is 0."""
    length = timeline.end_s - clip.start_s + clip.tail_s
    count = max(math.floor(length * clip.camera.fps), 2)
    drops = set(clip.camera.drops) - {0}
    return [i / clip.camera.fps for i in range(count) if i not in drops]


def linear_frames(ready: Stage) -> Iterator[tuple[float, Array]]:
    """Time in the file and frame ``(h, w, 3)`` of linear light, one after the other."""
    camera, n = ready.clip.camera, ready.clip.sub_exposures
    for t_s in frame_times(ready.clip, ready.timeline):
        moments = [ready.clip.start_s + t_s + camera.shutter_s * ((j + 0.5) / n - 0.5) for j in range(n)]
        before = moments[-1] < ready.timeline.end_s
        base = ready.full if before else ready.cleared
        yield t_s, composite(base, [_exposure(ready, t, moving=not before) for t in moments], ready.scene)


def _exposure(ready: Stage, t_s: float, *, moving: bool) -> list[Patch]:
    """Patches of one moment in the order in which they cover each other."""
    first: list[Patch] = []
    parts: list[tuple[float, Patch]] = []
    if ready.clip.bowler.present:
        first, parts = bowler_patches(ready.view, ready.scene.ground, ready.timeline.stance, t_s=t_s, light=ready.light)
    if moving:
        since = t_s - ready.timeline.end_s
        for y, patch in deck_patches(
            ready.view, ready.timeline.deck, since, rack=ready.clip.shot.rack, light=ready.light
        ):
            covered = _hide(ready, y if math.isfinite(y) else FACE_IN + 1, patch)
            if math.isfinite(y):
                parts.append((y - ready.view.eye[1], covered))
            else:
                first.append(covered)
    below, above = _ball(ready, ready.timeline, ready.look, t_s=t_s, offset_in=0.0)
    first += below
    parts += above
    if ready.other is not None and ready.clip.neighbour is not None:
        timeline, look, offset = ready.other
        t_other = t_s - ready.clip.neighbour.delay_s
        if 0 <= t_other < timeline.end_s:
            below, above = _ball(ready, timeline, look, t_s=t_other, offset_in=offset)
            first += below
            parts += above
    return first + [p for _, p in sorted(parts, key=lambda item: -item[0])]


def _hide(ready: Stage, y_in: float, patch: Patch) -> Patch:
    if y_in > DECK_END_IN:
        return hidden_by(patch, ready.scene.front, ready.scene.floor)
    return hidden_by(patch, ready.scene.front) if y_in > FACE_IN else patch


def _ball(
    ready: Stage, timeline: Timeline, look: BallLook, *, t_s: float, offset_in: float
) -> tuple[list[Patch], list[tuple[float, Patch]]]:
    """Shadow and mirror image of the ball, and the ball with its distance from the eye."""
    c = timeline.centre(t_s)
    on_lane = abs(c[0]) < EDGE_IN and -12 < c[1] < DECK_END_IN
    at = c + np.array([offset_in, 0, 0])
    if at[2] < -look.radius_in:
        return [], []
    spin = timeline.turned(t_s)
    below = []
    if on_lane:
        below = [
            contact_shadow(ready.view, ready.scene.ground, at, look.radius_in),
            ball_patch(ready.view, at, look, spin, mirror=True),
        ]
    made = ball_patch(ready.view, at, look, spin)
    above = [] if made is None else [(float(ready.view.depth(at)), _hide(ready, float(at[1]), made))]
    return [p for p in below if p is not None], above
