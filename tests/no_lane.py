"""Pictures without a lane: photographs that come with scikit-image where it is installed, noise, drawn perspective."""

from __future__ import annotations

from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[np.uint8]
Floats = NDArray[np.float64]
WIDTH, HEIGHT, FOCAL_PX = 960, 540, 760.0
# Files inside the wheel; other names of its data module are downloaded.
PHOTOGRAPHS = (
    "camera.png",
    "coins.png",
    "page.png",
    "text.png",
    "clock_motion.png",
    "brick.png",
    "grass.png",
    "gravel.png",
    "moon.png",
    "coffee.png",
    "astronaut.png",
    "rocket.jpg",
    "chelsea.png",
    "motorcycle_left.png",
)


def no_lane_pictures() -> list[tuple[str, Image]]:
    """Name and luma of pictures that hold no lane; without scikit-image only the drawn ones."""
    return photographs() + drawn_pictures()


def photographs() -> list[tuple[str, Image]]:
    """Name and luma of scikit-image's bundled photographs; empty when it is not installed."""
    spec = find_spec("skimage")
    if spec is None or spec.origin is None:
        return []
    folder = Path(spec.origin).parent / "data"
    files = [folder / name for name in PHOTOGRAPHS]
    return [(f.stem, np.asarray(cv2.imread(str(f), cv2.IMREAD_GRAYSCALE))) for f in files if f.is_file()]


def drawn_pictures() -> list[tuple[str, Image]]:
    """Noise, even fields, and floors, walls and steps in perspective, each with a little noise."""
    rng = np.random.default_rng(7)
    smooth = cv2.GaussianBlur(rng.standard_normal((HEIGHT, WIDTH)), (0, 0), 25)
    plain = [
        ("white_noise", rng.integers(0, 256, (HEIGHT, WIDTH)).astype(float)),
        ("smooth_noise", 120 + 60 * smooth / smooth.std()),
        ("flat_grey", np.full((HEIGHT, WIDTH), 118.0)),
        ("gradient", np.linspace(30, 210, WIDTH)[None, :] + np.zeros((HEIGHT, 1))),
        ("steps", _steps()),
    ]
    worlds = [
        ("corridor", _corridor(_tiles)),
        ("corridor_striped_floor", _corridor(_stripes)),
        ("road", _open_air(_road)),
        ("rails", _open_air(_rails)),
        ("planks_to_the_horizon", _open_air(_planks)),
    ]
    even = {"flat_grey", "white_noise"}
    return [(name, _finished(p, rng, 0.0 if name in even else 1.5)) for name, p in [*plain, *worlds]]


def _finished(picture: Floats, rng: np.random.Generator, noise: float) -> Image:
    return np.clip(picture + noise * rng.standard_normal(picture.shape), 0, 255).astype(np.uint8)


def _smaller(draw: Callable[[Floats, Floats], Floats]) -> Floats:
    """A function of right and down (over the focal length, from the middle), averaged over 2 x 2 samples a pixel."""
    u = ((np.arange(WIDTH * 2) + 0.5) / 2 - WIDTH / 2) / FOCAL_PX
    v = ((np.arange(HEIGHT * 2) + 0.5) / 2 - HEIGHT * 0.42) / FOCAL_PX
    full = draw(*np.meshgrid(u, v))
    return np.asarray(cv2.resize(full, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA))


def _corridor(floor: Callable[[Floats, Floats], Floats]) -> Floats:
    """Floor, two walls with doors, ceiling with lamps, a door at the end; lengths in feet."""

    def draw(u: Floats, v: Floats) -> Floats:
        with np.errstate(divide="ignore"):
            reach = np.stack([5.2 / v, -3.6 / v, 3.4 / (u - 0.02), -3.8 / (u - 0.02), np.full_like(u, 70.0)])
        reach[reach <= 0] = np.inf
        hit = reach.argmin(axis=0)
        y = reach.min(axis=0)
        x, z = u * y, -v * y
        doors = 150 - 55 * (((y % 13) < 3.2) & (z < 1.8)) - 30 * (z < -4.7)
        lamps = np.where(((y % 8) < 3) & (np.abs(x) < 0.9), 245.0, 165.0)
        end = np.where((np.abs(x) < 1.6) & (z < 1.8), 70.0, 175.0)
        value = np.choose(hit, [floor(x, y), lamps, doors, doors * 0.9, end])
        return np.asarray(value * (0.55 + 0.45 * np.exp(-y / 40)))

    return _smaller(draw)


def _open_air(floor: Callable[[Floats, Floats], Floats]) -> Floats:
    """A floor to the horizon under a sky; lengths in feet, the eye 5.2 ft above it."""

    def draw(u: Floats, v: Floats) -> Floats:
        y = 5.2 / np.maximum(v, 1e-4)
        sky = 170 - 120 * v
        hills = v > -0.03 - 0.015 * np.sin(9 * u)
        haze = np.exp(-y / 300)
        ground = haze * floor(u * y, y) + (1 - haze) * 130
        return np.where(v > 1e-3, ground, np.where(hills, 90.0, sky))

    return _smaller(draw)


def _tiles(x: Floats, y: Floats) -> Floats:
    light = (np.floor(x / 1.1) + np.floor(y / 1.1)) % 2
    joint = (x % 1.1 < 0.04) | (y % 1.1 < 0.04)
    return np.where(joint, 80.0, 120 + 35 * light)


def _stripes(x: Floats, y: Floats) -> Floats:
    return np.where(((x + 0.35) % 1.4) < 0.7, 165.0, 90.0) + 0 * y


def _road(x: Floats, y: Floats) -> Floats:
    solid = np.abs(np.abs(x - 3) - 11.5) < 0.25
    dashed = (np.abs(x - 3) < 0.22) & (y % 40 < 12)
    grass = 95 + 12 * np.sin(3.1 * x + 1.7 * np.sin(0.6 * y))
    return np.where(solid | dashed, 225.0, np.where(np.abs(x - 3) < 13, 82.0, grass))


def _rails(x: Floats, y: Floats) -> Floats:
    gravel = 110 + 14 * np.sin(7.3 * x + 3 * np.sin(5.1 * y)) * np.exp(-y / 60)
    sleeper = (np.abs(x) < 4.2) & (y % 2.0 < 0.8)
    rail = np.abs(np.abs(x) - 2.35) < 0.13
    return np.where(rail, 215.0, np.where(sleeper, 70.0, gravel))


def _planks(x: Floats, y: Floats) -> Floats:
    tone = 120 + 18 * np.sin(12.9898 * np.floor(x / 0.5)) + 6 * np.sin(78.2 * np.floor(x / 0.5) + np.floor(y / 7))
    return np.where((x % 0.5) < 0.03, 60.0, tone)


def _steps() -> Floats:
    """Horizontal bands whose distance grows downward, as of stairs seen from below."""
    edges = np.cumsum(np.linspace(9, 44, 24))
    v = np.arange(HEIGHT)
    index = np.searchsorted(edges, v)
    start = np.append(0, edges)[index]
    tread = (v - start) < 0.4 * np.diff(np.append(0, edges))[np.minimum(index, len(edges) - 1)]
    return np.where(tread, 175.0, 95.0)[:, None] + np.linspace(-15, 15, WIDTH)[None, :]
