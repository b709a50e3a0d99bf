"""Small pictures of a pin deck with known pins: standing, slid, lying about, or rocking; through sensor and encoder.

Only the deck's box of the frame is drawn, so that a clip of it takes a fraction of a second.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import DECK_END_IN, PIN_BELLY_RADIUS_IN, pin_positions
from calibration.marks import parse_marks
from calibration.solve import Solution, solve
from sample_media.balls import ball_look, ball_patch
from sample_media.deck import DeckMotion, knock
from sample_media.encode import Sensor, write_clip
from sample_media.house import FACE_IN
from sample_media.layers import Patch, composite, hidden_by
from sample_media.optics import View, view_of
from sample_media.pins import pin_patch
from sample_media.scene import Scene, build_scene
from sample_media.spec import BallSpec, CameraSpec, ClipSpec, LaneSpec
from sample_media.truth import clicked_marks
from tracker.pins.stands import DeckView, deck_view
from tracker.video.reader import ClipReader, Crop

Array = NDArray[np.float64]
TRIPOD = CameraSpec().resized(1920, 1080)
SMALL = CameraSpec()
UPRIGHT = CameraSpec(
    x_ft=-2.4,
    y_ft=-17.0,
    z_ft=6.6,
    yaw_deg=3.0,
    pitch_deg=7.0,
    roll_deg=0.6,
    f_px=1900.0,
    width=1080,
    height=1920,
    fps=30,
)
LYING = np.pi / 2


@dataclass(frozen=True, slots=True)
class Pose:
    """One pin: foot (x, y, z) in inches, tilt and its direction in radians, and rocking (radians, hertz)."""

    foot: tuple[float, float, float]
    tilt: float = 0.0
    toward: float = 0.0
    rocks: tuple[float, float] = (0.0, 0.0)

    def at(self, t_s: float) -> tuple[Array, float, float]:
        swing = self.rocks[0] * np.sin(2 * np.pi * self.rocks[1] * t_s)
        toward = self.toward + (np.pi if swing < 0 else 0.0)
        return np.array(self.foot), self.tilt + abs(float(swing)), toward


def upright(pin: int, across_in: float = 0.0, along_in: float = 0.0) -> Pose:
    x, y = pin_positions()[pin - 1]
    return Pose((float(x) + across_in, float(y) + along_in, 0.0))


@dataclass(frozen=True, slots=True)
class House:
    """A camera and a lane, and the camera as the program knows it from clicked marks."""

    camera: CameraSpec
    lane: LaneSpec = field(default_factory=LaneSpec)
    seed: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """A house made ready: what the program knows of its deck, and the layers of that box."""

    house: House
    known: Camera
    covariance: Array
    view: DeckView
    eye: View
    scene: Scene


@lru_cache(maxsize=4)
def drawn(house: House) -> Drawn | None:
    """Make a house ready; None where its marks determine no camera."""
    full = view_of(house.camera)
    marks = parse_marks(clicked_marks(ClipSpec(camera=house.camera, lane=house.lane), full, house.seed, 1.0))
    solution = solve(marks.marks_px, width=marks.width, height=marks.height)
    if not isinstance(solution, Solution):
        return None
    view = deck_view(solution.camera)
    if view is None:
        return None
    box = view.box
    eye = replace(full, centre=full.centre - np.array([box.left, box.top]), width=box.width, height=box.height)
    return Drawn(house, solution.camera, solution.covariance, view, eye, build_scene(eye, house.lane, 3))


def patches(made: Drawn, poses: Sequence[Pose], t_s: float) -> list[Patch]:
    """Mirror images, then the pins from the back to the front."""
    first: list[Patch] = []
    parts: list[tuple[float, Patch]] = []
    for pose in poses:
        foot, tilt, toward = pose.at(t_s)
        for mirror in (True, False):
            patch = pin_patch(made.eye, foot, tilt, toward, light=made.house.lane.light, mirror=mirror)
            if patch is None or (mirror and foot[2] < -0.5):
                continue
            if foot[1] > DECK_END_IN:
                patch = hidden_by(patch, made.scene.front, made.scene.floor)
            elif foot[1] > FACE_IN:
                patch = hidden_by(patch, made.scene.front)
            if mirror:
                first.append(patch)
            else:
                parts.append((float(foot[1]), patch))
    return first + [p for _, p in sorted(parts, key=lambda item: -item[0])]


Moment = Callable[[float], list[Patch]]


def film(made: Drawn, stretches: Sequence[tuple[float, Sequence[Pose]]], path: Path, *, seed: int = 0) -> list[Crop]:
    """Film the deck through some stretches of so many seconds with some pins each, and read the file back.

    The crops' times run on over all stretches.
    """
    ends = np.cumsum([duration for duration, _ in stretches])

    def moment(t_s: float) -> list[Patch]:
        return patches(made, stretches[int(np.searchsorted(ends, t_s + 1e-9, side="right"))][1], t_s)

    return filmed(made, moment, path, duration_s=float(ends[-1]), seed=seed)


def film_hit(made: Drawn, hit: Hit, path: Path, *, seed: int = 0) -> list[Crop]:
    """Film a ball that rolls into a rack; it meets the first pin at :data:`CONTACT_S`."""
    look = ball_look(hit.ball, made.house.lane.light, seed + 5)
    spun = np.eye(3)

    def moment(t_s: float) -> list[Patch]:
        since = t_s - CONTACT_S
        ball, feet, tilt, toward = hit.motion.at(since)
        if since < 0:
            ball = hit.start[[0, 1, 4]] + since * np.array([hit.start[2], hit.start[3], 0.0])
        if since > 0:
            poses = [
                (n, Pose(tuple(feet[n - 1]), float(tilt[n - 1]), float(toward[n - 1])))
                for n in hit.motion.rack if feet[n - 1][2] > -15
            ]  # fmt: skip
        else:
            poses = [(n, upright(n)) for n in hit.motion.rack]
        parts = [(float(pose.foot[1]), patch) for _, pose in poses for patch in patches(made, [pose], 0.0)]
        mirrored = [p for _, p in parts if p.kind == "mirror"]
        solid = [(y, p) for y, p in parts if p.kind != "mirror"]
        if ball[2] > -hit.ball.radius_in:
            shown = ball_patch(made.eye, ball, look, spun)
            if shown is not None:
                front = (made.scene.front, made.scene.floor) if ball[1] > DECK_END_IN else (made.scene.front,)
                solid.append((float(ball[1]), hidden_by(shown, *front) if ball[1] > FACE_IN else shown))
        return mirrored + [p for _, p in sorted(solid, key=lambda item: -item[0])]

    return filmed(made, moment, path, duration_s=CONTACT_S + hit.after_s, seed=seed)


CONTACT_S = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Hit:
    """A ball at its first contact (x, y, vx, vy, z), what the renderer's deck does then, and how long to film it."""

    ball: BallSpec
    start: Array
    motion: DeckMotion
    after_s: float = 0.4


def hit_of(ball: BallSpec, offset_in: float, entry_deg: float, *, rack: tuple[int, ...], mph: float = 14.5) -> Hit:
    """A ball whose line passes the head pin's spot ``offset_in`` on the right, turned left by ``entry_deg``."""
    slope = -np.tan(np.radians(entry_deg))
    y = np.linspace(690.0, 760.0, 14001)
    x = offset_in + (y - 720.0) * slope
    spots = pin_positions()[[n - 1 for n in rack]]
    near = np.hypot(x[:, None] - spots[:, 0], y[:, None] - spots[:, 1]).min(axis=1)
    k = int(np.flatnonzero(near < ball.radius_in + PIN_BELLY_RADIUS_IN)[0])
    speed = mph * 17.6
    start = np.array([x[k], y[k], speed * slope / np.hypot(slope, 1), speed / np.hypot(slope, 1), ball.radius_in])
    return Hit(ball, start, knock(ball, start, rack, 1.5))


def filmed(made: Drawn, moment: Moment, path: Path, *, duration_s: float, seed: int) -> list[Crop]:
    """Film what ``moment`` draws, through sensor and encoder, and read the file back."""
    camera = replace(made.house.camera, width=made.view.box.width, height=made.view.box.height, sideways=False)
    sensor = Sensor(camera, seed)

    def frames() -> Iterator[tuple[float, NDArray[np.uint8]]]:
        for k in range(round(duration_s * camera.fps)):
            t_s = k / camera.fps
            yield t_s, sensor.expose(composite(made.scene.base, [moment(t_s)], made.scene))

    write_clip(path, frames(), camera)
    with ClipReader(path) as reader:
        return [replace(f.whole(), left=made.view.box.left, top=made.view.box.top) for f in reader]
