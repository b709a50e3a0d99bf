"""Pictures for testing what finds a lane: random houses through random cameras, with the truth, and worlds without.

Every picture is a seeded function; nothing is encoded as video. See :func:`random_view` for what varies.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from house_looks import random_lane, random_rack
from house_things import Box, bowler_layers, box_layers, bystander, exposed, hidden_share, laid_over, uneven_light
from no_lane import no_lane_pictures
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import DECK_END_IN, LANE_WIDTH_IN, PIN_HEIGHT_IN, pin_positions
from sample_media.frames import OWN_LANE
from sample_media.house import LANE_CENTRES_IN
from sample_media.layers import Patch, composite, hidden_by
from sample_media.optics import View as Lens
from sample_media.optics import view_of
from sample_media.pins import rack_patches
from sample_media.scene import Scene, build_scene
from sample_media.spec import CameraSpec, LaneSpec, Rgb

__all__ = [
    "View",
    "far_end_missing",
    "floor_view",
    "foul_line_missing",
    "no_lane_pictures",
    "panning",
    "random_camera",
    "random_view",
    "steady",
    "truth_points",
    "zooming",
]

Image = NDArray[np.uint8]
Linear = NDArray[np.float32]
Points = NDArray[np.float64]
Rng = np.random.Generator
Parts = list[tuple[float, Patch]]
EDGE_IN = LANE_WIDTH_IN / 2
FURNITURE_HIDES, BOWLER_HIDES = 0.12, 0.35
SIZES = (
    *((960, 540), (960, 540), (640, 360), (1280, 720), (1920, 1080)),
    *((540, 960), (540, 960), (540, 960), (720, 1280), (1080, 1920)),
)
TRACED_PX = 960
MIRRORED_PIN = {1: 1, 2: 3, 3: 2, 4: 6, 5: 5, 6: 4, 7: 10, 8: 9, 9: 8, 10: 7}


@dataclass(frozen=True, slots=True)
class View:
    """One still with its truth.

    Attributes
    ----------
    luma, cb, cr : uint8 arrays (h, w), (h/2, w/2), (h/2, w/2)
        The picture in studio range.
    camera : Camera
        The true camera; the lane is exactly 41.5 in wide and its foul line's middle is the origin.
    description : str
        What was drawn, for messages.
    people : bool
        Whether a person is in the house (not always in the frame).
    pins : tuple of int
        Pins that stand.
    hidden : bool array (h / 8, w / 8) or None
        Cells where a clip's clean picture may show the bowler; None for a single still.
    """

    luma: Image
    cb: Image
    cr: Image
    camera: Camera
    description: str
    people: bool
    pins: tuple[int, ...]
    hidden: NDArray[np.bool_] | None = None


@dataclass(frozen=True, slots=True)
class Wish:
    """Limits of a random camera: eye in feet, focal length over the larger side, what must be seen."""

    behind_ft: tuple[float, float] = (5.0, 45.0)
    height_ft: tuple[float, float] = (3.0, 9.0)
    focal: tuple[float, float] = (0.65, 3.2)
    fits: Callable[[Camera], bool] = lambda camera: inside(camera, whole_lane(), 0.03) and most_central(camera)
    sizes: tuple[tuple[int, int], ...] = SIZES


def truth_points() -> dict[str, Points]:
    """Lane points in inches: foul corners ``(2, 3)``, pin spots ``(10, 3)``, both edges ``(n, 3)`` from foul to pit."""
    y = np.linspace(0, DECK_END_IN, 40)
    edges = {
        name: np.stack([np.full_like(y, x), y, 0 * y], axis=-1) for name, x in (("left", -EDGE_IN), ("right", EDGE_IN))
    }
    corners = np.array([[-EDGE_IN, 0, 0], [EDGE_IN, 0, 0]])
    return {"foul": corners, "pins": np.append(pin_positions(), np.zeros((10, 1)), axis=1), **edges}


def whole_lane() -> Points:
    """Points ``(n, 3)`` that bound foul line, deck and full rack, inches."""
    points = truth_points()
    tops = points["pins"] + [0, 0, PIN_HEIGHT_IN]
    return np.concatenate([points["foul"], points["left"], points["right"], tops])


def inside(camera: Camera, points: Points, margin: float) -> bool:
    """Whether all points lie in the frame, ``margin`` times its sides away from the border."""
    share = camera.project(points) / [camera.width, camera.height]
    return bool(np.all((share > margin) & (share < 1 - margin)))


def most_central(camera: Camera) -> bool:
    """Whether the own lane's middle, 25 ft down-lane, is nearer to the frame's middle column than its neighbours'."""
    beside = min(abs(float(c)) for c in LANE_CENTRES_IN if c)
    u = camera.project(np.array([[x, 300.0, 0.0] for x in (0.0, -beside, beside)]))[:, 0]
    off = np.abs(u - camera.width / 2)
    return bool(off[0] < np.nanmin(off[1:]))


def random_camera(rng: Rng, wish: Wish | None = None) -> Camera:
    """A camera within limits, redrawn until what must be seen is seen; half of them upright."""
    wish = wish or Wish()
    width, height = wish.sizes[rng.integers(len(wish.sizes))]
    while True:
        focal = math.exp(rng.uniform(*np.log(wish.focal)))
        behind = rng.uniform(*wish.behind_ft)
        if behind > 12 + 12 * focal:
            continue
        eye = np.array([rng.uniform(-48, 48), -12 * behind, 12 * rng.uniform(*wish.height_ft)])
        aim = np.array([rng.uniform(-25, 25), rng.uniform(60, 760), 0.0]) - eye
        yaw = math.degrees(math.atan2(aim[0], aim[1])) + rng.uniform(-12, 12) / focal
        pitch = math.degrees(math.atan2(-aim[2], aim[1])) + rng.uniform(-12, 12) / focal
        lens = (rng.uniform(-3, 3), focal * max(width, height), rng.uniform(-0.05, 0.05), 1.0)
        camera = Camera.from_vector((*eye, yaw, pitch, *lens), width, height)
        if wish.fits(camera):
            return camera


def random_view(seed: int, sizes: tuple[tuple[int, int], ...] = SIZES) -> View:
    """A still of a random house through a random camera that sees foul line and pin deck.

    Varied: frame and its turn, lens, place, roll, distortion; colours and brightness of lane, gutters, approach and
    surroundings, boards and marks; light's colour, strength and unevenness; pins, bowler, bystanders, boxes; noise and
    compression; which side the nearer neighbour lies (mirrored in half). ``sizes`` are the frames to draw from.
    """
    rng = np.random.default_rng([seed, 1])
    return _still(rng, random_camera(rng, Wish(sizes=sizes)))


def spec_of(camera: Camera) -> CameraSpec:
    x, y, z = camera.position / 12
    angles = {"yaw_deg": camera.yaw_deg, "pitch_deg": camera.pitch_deg, "roll_deg": camera.roll_deg}
    lens = {"f_px": camera.f_px, "k1": camera.k1, "k2": 0.0, "width": camera.width, "height": camera.height}
    return CameraSpec(x_ft=x, y_ft=y, z_ft=z, **angles, **lens)


def mirrored_camera(camera: Camera) -> Camera:
    return replace(camera, x_in=-camera.x_in, yaw_deg=-camera.yaw_deg, roll_deg=-camera.roll_deg)


def affordable(camera: Camera) -> Camera:
    """The same view on a frame whose larger side is at most 960 px: a larger one is drawn so and enlarged."""
    share = min(TRACED_PX / max(camera.width, camera.height), 1.0)
    size = {"width": round(camera.width * share), "height": round(camera.height * share)}
    return replace(camera, f_px=camera.f_px * share, **size)


def _with_pins(scene: Scene, spec: CameraSpec, *, pins: tuple[int, ...], rng: Rng, light: Rgb) -> Linear:
    lens = view_of(spec)
    patches: list[Patch] = []
    for k, centre in enumerate(LANE_CENTRES_IN):
        rack = pins if k == OWN_LANE else random_rack(rng)
        near = abs(float(lens.project([centre, 740.0, 5.0])[0]) - lens.width / 2) < 0.8 * lens.width
        patches += rack_patches(lens, rack, float(centre), light) if near else []
    return composite(scene.base, [[hidden_by(p, scene.front) for p in patches]], scene)


def _edge_pixels(lens: Lens) -> Points:
    """Pixels ``(n, 2)`` of both edges and the foul line inside the frame."""
    points = truth_points()
    across = np.linspace(-EDGE_IN, EDGE_IN, 12)
    foul = np.stack([across, 0 * across, 0 * across], axis=-1)
    uv = lens.project(np.concatenate([points["left"], points["right"], foul]))
    return np.asarray(uv[np.all((uv >= 0) & (uv < [lens.width, lens.height]), axis=1)])


def _furniture(rng: Rng, lens: Lens, light: Rgb) -> tuple[Parts, list[str], bool]:
    """Boxes and bystanders as parts with depths; words; whether a person is there. Little of the lane is hidden."""
    parts: Parts = []
    edges = _edge_pixels(lens)
    boxes, people = bool(rng.random() < 0.35), bool(rng.random() < 0.35)
    grey, hue = float(np.exp(rng.uniform(-3.5, -0.8))), np.exp(rng.normal(0, 0.2, 3))
    seen = []
    for x in rng.permutation([35.5, -41.0])[: rng.integers(1, 3)] if boxes else ():
        size = (rng.uniform(12, 22), rng.uniform(40, 75), rng.uniform(18, 34))
        more = box_layers(lens, Box((x, rng.uniform(-110, -50)), size, tuple(grey * hue)), light)
        if more and hidden_share(parts + more, edges) < FURNITURE_HIDES:
            parts, seen = parts + more, [*seen, "boxes"]
    for _ in range(rng.integers(1, 4) if people else 0):
        place = (rng.choice([-1, 1]) * rng.uniform(42, 150), rng.uniform(-170, -20))
        more = bystander(lens, place, rng=rng, light=light)
        if more and hidden_share(parts + more, edges) < FURNITURE_HIDES:
            parts, seen = parts + more, [*seen, "bystanders"]
    return parts, sorted(set(seen)), "bystanders" in seen


def lit_frames(
    rng: Rng, spec: CameraSpec, lane: LaneSpec, *, pins: tuple[int, ...], times_s: Sequence[float | None]
) -> tuple[list[Linear], list[str], bool]:
    """The house in linear light with the bowler (or None) at each time; words; whether somebody is there."""
    lens, light = view_of(spec), lane.light
    scene = build_scene(lens, lane, 2)
    base = _with_pins(scene, spec, pins=pins, rng=rng, light=light)
    parts, words, people = _furniture(rng, lens, light)
    factor = uneven_light(scene, rng)
    clothes, edges, frames = int(rng.integers(1 << 30)), _edge_pixels(lens), []
    for t_s in times_s:
        shadows: list[Patch] = []
        more: Parts = []
        if t_s is not None:
            own = np.random.default_rng(clothes)
            shadows, more = bowler_layers(lens, scene, rng=own, light=light, t_s=t_s)
        if len(times_s) == 1 and hidden_share(parts + more, edges) > BOWLER_HIDES:
            shadows, more = [], []
        if more:
            people, words = True, [*words, f"bowler at {t_s:+.2f} s"]
        frames.append(laid_over(base, scene, shadows, parts + more) * factor)
    return frames, words, people


def _still(rng: Rng, camera: Camera) -> View:
    lane, words = random_lane(rng)
    pins = random_rack(rng)
    flip = bool(rng.random() < 0.5)
    traced = affordable(mirrored_camera(camera) if flip else camera)
    t_s = float(rng.uniform(-0.9, 1.0)) if rng.random() < 0.75 else None
    (linear,), more, people = lit_frames(rng, spec_of(traced), lane, pins=pins, times_s=[t_s])
    if flip:
        linear, pins = np.ascontiguousarray(linear[:, ::-1]), mirrored_pins(pins)
    if traced.width != camera.width:
        linear = np.maximum(cv2.resize(linear, (camera.width, camera.height), interpolation=cv2.INTER_CUBIC), 0)
    kind = rng.choice(["dim", "bright", "usual"], p=(0.15, 0.15, 0.7))
    level = {"dim": 0.15, "bright": 2.2, "usual": math.exp(rng.uniform(-0.5, 0.5))}[str(kind)]
    quality, noise = int(rng.integers(70, 96)), rng.uniform(0.5, 2.0)
    luma, cb, cr = exposed(linear * np.float32(level), rng, noise=noise, quality=quality)
    words = [place_words(camera), *words, f"{kind} exposure {level:.2f}", f"pins {pin_words(pins)}", *more]
    return View(luma, cb, cr, camera, description="; ".join(words), people=people, pins=pins)


def mirrored_pins(pins: tuple[int, ...]) -> tuple[int, ...]:
    """The pins as a mirror shows them."""
    return tuple(sorted(MIRRORED_PIN[n] for n in pins))


def pin_words(pins: tuple[int, ...]) -> str:
    """Standing pins in words."""
    return "-".join(map(str, pins)) or "none"


def place_words(camera: Camera) -> str:
    """Frame, focal length over its larger side, and eye in feet."""
    eye = ", ".join(f"{v / 12:.1f}" for v in camera.position)
    return f"{camera.width}x{camera.height} f {camera.f_px / max(camera.width, camera.height):.2f}, eye {eye}"


def floor_view(seed: int) -> View:
    """A lane seen by a phone on the floor: 3 to 10 in above it; foul line and deck need not both be told apart."""
    rng = np.random.default_rng([seed, 2])
    ends = np.array([[0.0, 60.0, 0.0], [0.0, 720.0, 15.0]])
    wish = Wish((3.0, 15.0), (0.25, 0.83), (0.65, 1.4), lambda camera: inside(camera, ends, 0.1))
    return _still(rng, random_camera(rng, wish))


def far_end_missing(seed: int) -> View:
    """A lane whose pin deck lies above the frame's upper edge; the foul line is in the frame."""
    rng = np.random.default_rng([seed, 3])

    def fits(camera: Camera) -> bool:
        deck = camera.project(np.array([[-EDGE_IN, 660.0, 0.0], [EDGE_IN, 660.0, 0.0], [0.0, 560.0, 0.0]]))[:, 1]
        above = bool(np.all(deck < -2.0))
        return above and inside(camera, truth_points()["foul"], 0.03) and most_central(camera)

    return _still(rng, random_camera(rng, Wish((5.0, 30.0), (4.0, 9.0), (0.65, 3.2), fits)))


def foul_line_missing(seed: int) -> View:
    """A lane whose foul line lies below the frame's lower edge (zoomed or beyond it); the pin deck is in the frame."""
    rng = np.random.default_rng([seed, 4])
    deck = whole_lane()
    deck = deck[deck[:, 1] > 700]

    def fits(camera: Camera) -> bool:
        foul = camera.project(truth_points()["foul"])[:, 1]
        below = bool(np.all(~(foul < camera.height + 5)))
        return below and inside(camera, deck, 0.03) and most_central(camera)

    return _still(rng, random_camera(rng, Wish((-10.0, 45.0), (3.0, 9.0), (0.65, 3.2), fits)))


SMALL = ((960, 540), (540, 960), (640, 360))
COUNT = 9


def steady(seed: int) -> list[Image]:
    """Nine lumas of a camera that stands still: a bowler walks up, throws and steps away, the noise changes."""
    rng = np.random.default_rng([seed, 5])
    camera = random_camera(rng, Wish(sizes=SMALL))
    lane, _ = random_lane(rng)
    frames, _, _ = lit_frames(
        rng, spec_of(camera), lane, pins=random_rack(rng), times_s=np.linspace(-1.1, 2.6, COUNT).tolist()
    )
    noise = rng.uniform(0.7, 2.0)
    return [exposed(frame, rng, noise=noise, quality=90)[0] for frame in frames]


def panning(seed: int) -> list[Image]:
    """Nine lumas of a camera that turns: a frame that moves by 4 to 25 % of its width over a wider still."""
    rng = np.random.default_rng([seed, 6])
    way = rng.uniform(0.04, 0.25) * rng.choice([-1, 1]) * np.linspace(-0.5, 0.5, COUNT)
    rise = rng.uniform(-0.04, 0.04) * np.linspace(-0.5, 0.5, COUNT)
    return _moved(rng, [(1.0, dx, dy) for dx, dy in zip(way, rise, strict=True)])


def zooming(seed: int) -> list[Image]:
    """Nine lumas of a camera that zooms in or out by 8 to 35 %."""
    rng = np.random.default_rng([seed, 7])
    scale = 1 + rng.uniform(0.08, 0.35) * np.linspace(0, 1, COUNT)[:: rng.choice([-1, 1])]
    return _moved(rng, [(float(s), 0.0, 0.0) for s in scale])


def _moved(rng: Rng, moves: Sequence[tuple[float, float, float]]) -> list[Image]:
    """Frames cut from one larger still: scale about the middle and shift in shares of the frame, with fresh noise."""
    camera = random_camera(rng, Wish(sizes=SMALL))
    w, h = camera.width, camera.height
    wide = replace(camera, width=w * 13 // 20 * 2, height=h * 11 // 20 * 2)
    lane, _ = random_lane(rng)
    t_s = float(rng.uniform(-0.9, 1.0)) if rng.random() < 0.3 else None
    (still,), _, _ = lit_frames(rng, spec_of(wide), lane, pins=random_rack(rng), times_s=[t_s])
    noise, made = rng.uniform(0.5, 1.5), []
    for scale, dx, dy in moves:
        left, top = wide.width / 2 - w / 2 / scale + dx * w, wide.height / 2 - h / 2 / scale + dy * h
        back = np.array([[1 / scale, 0, left + 0.5 / scale - 0.5], [0, 1 / scale, top + 0.5 / scale - 0.5]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        cut = cv2.warpAffine(still, back, (w, h), flags=flags, borderMode=cv2.BORDER_REPLICATE)
        made.append(exposed(cut, rng, noise=noise, quality=88)[0])
    return made
