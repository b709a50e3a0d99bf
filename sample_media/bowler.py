"""The stand-in bowler: a jointed figure of tapered rods that slides, swings, releases and steps away."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import Hand
from sample_media.balls import floor_shadow
from sample_media.layers import Patch, empty, frame_box
from sample_media.optics import View
from sample_media.spec import BowlerSpec, Rgb

Array = NDArray[np.float32]
Float = NDArray[np.float64]
ARM_IN = 24.0
SWING_RAD = 1.62
SWING_RATE = 5.1
BALL_DROP_IN = 3.4


@dataclass(frozen=True, slots=True)
class Rod:
    """A tapered rod with round ends: points ``(3,)`` and radii in inches, colour, shoe or not, relief of shading."""

    a: Float
    b: Float
    ra_in: float
    rb_in: float
    colour: Rgb
    shoe: bool = False
    relief: float = 1.0


# Rows: time in seconds from the release; x toward the bowling side from the ball, y and z in inches.
HIPS = np.array(
    [
        (-1.2, -8, -84, 36.5),
        (-0.85, -8, -66, 35.5),
        (-0.35, -8.5, -38, 34),
        (-0.1, -9, -20, 29),
        (0.0, -9, -16, 28),
        (0.35, -9, -11, 27.5),
        (0.75, -9.5, -11, 29),
        (1.25, -14, -19, 35),
        (1.9, -24, -34, 36.5),
        (2.6, -34, -50, 36.5),
        (3.6, -42, -66, 36.5),
    ]
)
SLIDE_FOOT = np.array(
    [
        (-1.2, -11, -88, 1),
        (-0.85, -11, -74, 1),
        (-0.55, -11, -62, 3),
        (-0.26, -10, -30, 1.2),
        (0.0, -8, -7, 1.2),
        (1.15, -8, -6, 1.2),
        (1.45, -20, -18, 4),
        (1.7, -27, -30, 1.2),
        (2.15, -27, -30, 1.2),
        (2.45, -40, -52, 4),
        (2.7, -43, -58, 1.2),
        (3.6, -45, -66, 1.2),
    ]
)
TRAIL_FOOT = np.array(
    [
        (-1.2, -3, -66, 4),
        (-0.9, -3, -50, 1.2),
        (-0.42, -4, -46, 1.2),
        (-0.1, -12, -46, 3),
        (0.2, -27, -38, 4.5),
        (0.8, -26, -38, 3),
        (1.2, -16, -32, 1.2),
        (1.75, -16, -32, 1.2),
        (2.05, -28, -46, 4),
        (2.3, -33, -56, 1.2),
        (2.9, -33, -58, 1.2),
        (3.6, -37, -66, 1.2),
    ]
)
LEAN = np.array(
    [
        (-1.2, 0.25),
        (-0.5, 0.42),
        (-0.1, 0.80),
        (0.05, 0.88),
        (0.4, 0.74),
        (0.8, 0.5),
        (1.3, 0.14),
        (2.0, 0.06),
        (3.6, 0.05),
    ]
)


def _track(rows: Float, t_s: float, *, freeze: bool) -> Float:
    """Value of a key-frame table at a time, eased between rows; times after 0.75 s stand still when frozen."""
    t = min(t_s, 0.75) if freeze else t_s
    t = float(np.clip(t, rows[0, 0], rows[-1, 0] - 1e-9))
    i = int(np.searchsorted(rows[:, 0], t, side="right")) - 1
    f = (t - rows[i, 0]) / (rows[i + 1, 0] - rows[i, 0])
    p0, p1 = rows[max(i - 1, 0), 1:], rows[i, 1:]
    p2, p3 = rows[i + 1, 1:], rows[min(i + 2, len(rows) - 1), 1:]
    m1, m2 = 0.25 * (p2 - p0), 0.25 * (p3 - p1)
    h = np.array([2 * f**3 - 3 * f**2 + 1, f**3 - 2 * f**2 + f, -2 * f**3 + 3 * f**2, f**3 - f**2])
    return np.asarray(h[0] * p1 + h[1] * m1 + h[2] * p2 + h[3] * m2)


def swing_rad(t_s: float) -> float:
    """Angle of the bowling arm from hanging (positive forward): a pendulum, then a follow-through that comes down."""
    if t_s <= 0:
        return SWING_RAD * math.sin(SWING_RATE * t_s)
    top = 2.25
    rise = top * (1 - math.exp(-SWING_RAD * SWING_RATE / top * t_s))
    down = min(max((t_s - 0.55) / 0.7, 0.0), 1.0)
    return rise * (1 - down * down * (3 - 2 * down)) + 0.10 * math.sin(4.2 * t_s) * down


@dataclass(frozen=True, slots=True)
class Stance:
    """Where the figure stands: ``ball (3,)`` centre at release in inches, hand, description."""

    ball: Float
    hand: Hand
    spec: BowlerSpec

    @property
    def side(self) -> float:
        """+1 when the bowling arm is on the right."""
        return 1.0 if self.hand == "right" else -1.0


def _place(stance: Stance, p: Float) -> Float:
    side = stance.side
    return np.array([stance.ball[0] + side * p[0] + stance.spec.x_offset_in, p[1], p[2]])


def _shoulder(stance: Stance, t_s: float) -> Float:
    """The bowling shoulder; at release it is right over the ball at an arm's length."""
    hips = _track(HIPS, t_s, freeze=not stance.spec.steps_aside)
    lean = float(_track(LEAN, t_s, freeze=not stance.spec.steps_aside)[0])
    over = 7.6 + 1.2 * math.exp(-((t_s / 0.6) ** 2))
    raw = hips + np.array([over, 20 * math.sin(lean), 20 * math.cos(lean) - 3])
    return _place(stance, raw)


def ball_in_hand(stance: Stance, t_s: float) -> Float:
    """Centre ``(3,)`` of the ball before the release (t <= 0), continuous with the flight."""
    fix = stance.ball - _hand(stance, 0.0, ARM_IN + BALL_DROP_IN)
    p = _hand(stance, t_s, ARM_IN + BALL_DROP_IN) + fix
    p[0] = stance.ball[0] + 0.35 * (p[0] - stance.ball[0])
    return np.asarray(p)


def _hand(stance: Stance, t_s: float, reach_in: float) -> Float:
    a = swing_rad(t_s)
    return _shoulder(stance, t_s) + reach_in * np.array([0.0, math.sin(a), -math.cos(a)])


def _knee(hip: Float, foot: Float, forward: float) -> Float:
    """The knee of a leg of two 17.5 in bones, bent forward as far as the distance asks."""
    gap = float(np.linalg.norm(hip - foot))
    bend = math.sqrt(max(17.5**2 - min(gap / 2, 17.4) ** 2, 0.0))
    return np.asarray((hip + foot) / 2 + np.array([0, bend * forward, 0.15 * bend]))


def figure(stance: Stance, t_s: float) -> list[Rod]:
    """The rods of the bowler at a time from the release."""
    freeze, spec, side = not stance.spec.steps_aside, stance.spec, stance.side
    hips = _place(stance, _track(HIPS, t_s, freeze=freeze))
    lean = float(_track(LEAN, t_s, freeze=freeze)[0])
    bowl = _shoulder(stance, t_s)
    twist = 0.35 * math.exp(-((t_s / 0.8) ** 2))
    other = bowl + np.array([-side * 15.5 * math.cos(twist), -6 * math.sin(twist), 15 * math.sin(twist) * 0.6])
    neck = (bowl + other) / 2 + np.array([0, 2 * math.sin(lean), 2.5])
    head = neck + np.array([0, 6.0 * math.sin(lean * 0.6), 6.5 * math.cos(lean * 0.6)])
    return [
        *_legs(stance, hips, t_s),
        *_trunk(spec, hips, (bowl, other)),
        *_head(spec, neck, head),
        *_arms(stance, t_s, bowl, other),
    ]


def _legs(stance: Stance, hips: Float, t_s: float) -> list[Rod]:
    spec, side, freeze = stance.spec, stance.side, not stance.spec.steps_aside
    rods = []
    for table, shift in ((SLIDE_FOOT, -4.2), (TRAIL_FOOT, 4.2)):
        foot = _place(stance, _track(table, t_s, freeze=freeze)) + np.array([0, 0, 3.0])
        hip = hips + np.array([side * shift, 0, -1.0])
        knee = _knee(hip, foot, 1.0)
        toe = foot + np.array([0, 6.5, -2.2])
        rods += [
            Rod(hip, knee, 5.0, 3.7, spec.trousers),
            Rod(knee, foot, 3.7, 2.6, spec.trousers),
            Rod(foot + np.array([0, -2, -1.9]), toe, 2.3, 1.8, spec.shoes, shoe=True),
        ]
    return rods


def _trunk(spec: BowlerSpec, hips: Float, shoulders: tuple[Float, Float]) -> list[Rod]:
    bowl, other = shoulders
    left, right = (other, bowl) if other[0] < bowl[0] else (bowl, other)
    low_l, low_r = hips + np.array([-3.6, 0, 2.0]), hips + np.array([3.6, 0, 2.0])
    chest_l, chest_r = left * 0.72 + hips * 0.28, right * 0.72 + hips * 0.28
    middle = (left + right) / 2
    return [
        Rod(hips + np.array([-3.4, 0, -1.5]), hips + np.array([3.4, 0, -1.5]), 5.3, 5.3, spec.trousers),
        Rod(low_l, chest_l, 5.2, 5.4, spec.shirt, relief=0.40),
        Rod(low_r, chest_r, 5.2, 5.4, spec.shirt, relief=0.40),
        Rod(hips + np.array([0, 0, 2.5]), middle * 0.8 + hips * 0.2, 6.4, 7.4, spec.shirt, relief=0.25),
        Rod(left + np.array([2.0, 0, -1.2]), right + np.array([-2.0, 0, -1.2]), 4.0, 4.0, spec.shirt, relief=0.55),
        Rod(middle + np.array([-3.0, 0, 0.6]), middle + np.array([3.0, 0, 0.6]), 2.9, 2.9, spec.yoke, relief=0.6),
    ]


def _head(spec: BowlerSpec, neck: Float, head: Float) -> list[Rod]:
    return [
        Rod(neck + np.array([0, 0, -1.5]), neck + np.array([0, 0.5, 2.0]), 2.5, 2.4, spec.skin),
        Rod(head + np.array([0, 1.2, -1.6]), head + np.array([0, 0.6, 0.4]), 3.1, 3.6, spec.skin),
        Rod(head + np.array([0, -0.9, 0.6]), head + np.array([0, 0, 1.4]), 3.5, 3.6, spec.hair),
    ]


def _arms(stance: Stance, t_s: float, bowl: Float, other: Float) -> list[Rod]:
    spec, side = stance.spec, stance.side
    hand = _hand(stance, t_s, ARM_IN)
    if t_s <= 0:
        hand = hand + (ball_in_hand(stance, t_s) - _hand(stance, t_s, ARM_IN + BALL_DROP_IN))
    elbow = bowl * 0.5 + hand * 0.5 + np.array([0.6 * side, -0.8, 0])
    sleeve = bowl * 0.65 + elbow * 0.35
    out = 0.25 + 0.75 * math.exp(-((max(t_s, 0.0) / 1.0) ** 2))
    free = other + np.array([-side * 15 * out, -9 * out - 1, -21 + 12 * out])
    mid = other * 0.5 + free * 0.5 + np.array([-side * 1.0, 0, -1.2])
    return [
        Rod(bowl, sleeve, 3.7, 3.0, spec.shirt, relief=0.7),
        Rod(sleeve, sleeve * 0.8 + elbow * 0.2, 3.0, 2.9, spec.yoke),
        Rod(sleeve, elbow, 2.3, 2.0, spec.skin),
        Rod(elbow, hand, 2.0, 1.55, spec.skin),
        Rod(hand, hand + (hand - elbow) * 0.25, 1.7, 1.5, spec.skin),
        Rod(other, other * 0.65 + mid * 0.35, 3.7, 3.0, spec.shirt, relief=0.7),
        Rod(other * 0.65 + mid * 0.35, other * 0.53 + mid * 0.47, 3.0, 2.9, spec.yoke),
        Rod(other * 0.5 + mid * 0.5, mid, 2.3, 2.0, spec.skin),
        Rod(mid, free, 2.0, 1.5, spec.skin),
        Rod(free, free + (free - mid) * 0.2, 1.7, 1.4, spec.skin),
    ]


def rod_patch(view: View, rod: Rod, light: Rgb) -> Patch | None:
    """One rod as a patch, its edge covered by the distance to it; None outside the frame or at the eye."""
    ends = np.stack([rod.a, rod.b])
    depth = view.depth(ends)
    if depth.min() < 24:
        return None
    uv = view.project(ends)
    radii = view.f_px * np.array([rod.ra_in, rod.rb_in]) / depth
    box = frame_box((uv - radii[:, None]).min(axis=0), (uv + radii[:, None]).max(axis=0), (view.height, view.width))
    if empty(box):
        return None
    x = (np.arange(box[0], box[2], dtype=np.float32) + 0.5 - uv[0, 0]).astype(np.float32)[None, :]
    y = (np.arange(box[1], box[3], dtype=np.float32) + 0.5 - uv[0, 1]).astype(np.float32)[:, None]
    run = (uv[1] - uv[0]).astype(np.float32)
    f = np.clip((x * run[0] + y * run[1]) / np.float32(max(run @ run, 1e-6)), 0, 1)
    radius = np.float32(radii[0]) + f * np.float32(radii[1] - radii[0])
    nx, ny = (x - f * run[0]) / radius, (y - f * run[1]) / radius
    d2 = nx * nx + ny * ny
    alpha = np.clip((1 - np.sqrt(d2)) * radius + np.float32(0.5), 0, 1)
    nz = np.sqrt(np.clip(1 - d2, 0, 1))
    shade = 0.36 + 0.50 * np.clip(-0.78 * ny + 0.30 * nz - 0.22 * nx, 0, 1) + 0.16 * nz
    shade = rod.relief * shade + (1 - rod.relief) * 0.62
    tone = (np.array(rod.colour) * np.array(light)).astype(np.float32)
    return Patch(box[0], box[1], alpha, np.asarray((alpha * shade)[..., None] * tone, dtype=np.float32))


def bowler_patches(
    view: View, ground: Array, stance: Stance, *, t_s: float, light: Rgb
) -> tuple[list[Patch], list[tuple[float, Patch]]]:
    """Shadows under the feet and, with their distance from the eye in inches, the rods of the figure."""
    rods = figure(stance, t_s)
    spots = [(float(r.b[0]), float(r.b[1]) - 3, 9.0, 0.5) for r in rods if r.shoe]
    spots.append((float(rods[0].a[0]), float(rods[0].a[1]), 20.0, 0.28))
    shadows = [floor_shadow(view, ground, (x, y), size=(spread, strength)) for x, y, spread, strength in spots]
    parts = []
    for rod in rods:
        patch = rod_patch(view, rod, light)
        if patch is not None:
            parts.append((float(view.depth((rod.a + rod.b) / 2)), patch))
    return [s for s in shadows if s is not None], parts
