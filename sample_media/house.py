"""Surfaces of the invented bowling centre: where they are and what colour a point of them has.

All functions take coordinate arrays of one shape ``(n,)`` in inches, lane axes, and return linear-light colours
``(n, 3)``. The centre is made up; lane, gutters and marks follow the lane standard.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import ARROW_BOARDS, BOARD_WIDTH_IN, DECK_END_IN, GUTTER_WIDTH_IN, LANE_WIDTH_IN
from sample_media.spec import LaneSpec, Rgb

Array = NDArray[np.float32]
LANE_CENTRES_IN = np.array([-306, -235, -153, -82, 0, 71, 153, 224, 306], dtype=np.float32)
HALF_LANE_IN = LANE_WIDTH_IN / 2
OPENING_IN = HALF_LANE_IN + GUTTER_WIDTH_IN
FACE_IN = 690.0
KICKBACK_TOP_IN = 27.0
CURTAIN_IN = 788.0
CEILING_IN = 128.0
WALL_IN = 352.0
GUTTER_DEPTH_IN = 1.9
GUTTER_RADIUS_IN = ((GUTTER_WIDTH_IN / 2) ** 2 + GUTTER_DEPTH_IN**2) / (2 * GUTTER_DEPTH_IN)
DOT_BOARDS = (3, 5, 8, 11, 14, 26, 29, 32, 35, 37)
GRAIN = (1024, 512)


@dataclass(frozen=True, slots=True)
class Wood:
    """Seeded tables: tone of every board ``(lanes, 41)``, grain ``(1024, 512)``, approach boards ``(800,)``."""

    boards: Array
    grain: Array
    approach: Array


def wood(seed: int, contrast: float = 1.0) -> Wood:
    """The tables of a look seed; ``contrast`` is a factor on the differences between boards and in the grain."""
    rng = np.random.default_rng(seed)
    boards = 1 + 0.055 * contrast * rng.standard_normal((len(LANE_CENTRES_IN), 41))
    grain = rng.standard_normal(GRAIN)
    grain = (grain + np.roll(grain, 1, 1) + np.roll(grain, 2, 1) + np.roll(grain, 3, 1)) / 2
    approach = 1 + 0.05 * rng.standard_normal(800)
    grain = contrast * grain
    return Wood(boards.astype(np.float32), grain.astype(np.float32), approach.astype(np.float32))


def rgb(colour: Rgb) -> Array:
    """A colour as ``(3,)`` float32."""
    return np.array(colour, dtype=np.float32)


def nearest_lane(x: Array) -> tuple[NDArray[np.int64], Array]:
    """Index of the nearest lane and the position across it."""
    edges = (LANE_CENTRES_IN[1:] + LANE_CENTRES_IN[:-1]) / 2
    index = np.searchsorted(edges, x)
    return index, np.asarray(x - LANE_CENTRES_IN[index], dtype=np.float32)


def deck_light(y: Array) -> Array:
    """Illumination along the lane: even house light, the lamp over the pins, darkness in the pit."""
    lamp = np.exp(-(((y - 735) / 75) ** 2))
    return np.asarray(0.80 + 0.10 * np.cos(y / 95.0) * (y < 650) + 0.55 * lamp, dtype=np.float32)


def _grain(tables: Wood, x: Array, y: Array) -> Array:
    i = (x * 7).astype(np.int64) % GRAIN[0]
    j = (y * 0.55 + 37 * np.floor(x / BOARD_WIDTH_IN)).astype(np.int64) % GRAIN[1]
    return np.asarray(tables.grain[i, j])


def _marks(s: Array, y: Array, lane: LaneSpec) -> NDArray[np.bool_]:
    dark = np.zeros(s.shape, dtype=bool)
    for board in ARROW_BOARDS if lane.look.show_arrows else ():
        tip = (lane.arrow_centre_ft - lane.arrow_slope_ft * abs(board - 20) / 5) * 12
        behind = tip - y
        dark |= (behind > 0) & (behind < 6) & (np.abs(s - (20 - board) * BOARD_WIDTH_IN) < 0.105 * behind)
    for board in DOT_BOARDS if lane.look.show_dots else ():
        dark |= (s - (20 - board) * BOARD_WIDTH_IN) ** 2 + (y - lane.dots_ft * 12) ** 2 < 0.375**2
    return dark


def lane_colour(s: Array, y: Array, index: NDArray[np.int64], *, tables: Wood, lane: LaneSpec) -> Array:
    """Diffuse colour of the lane's wood with boards, seams, arrows and dots; ``s`` is the position across the lane."""
    across = (s + HALF_LANE_IN) / BOARD_WIDTH_IN
    board = np.clip(across.astype(np.int64), 0, 38)
    tone = tables.boards[index, board] * (1 + 0.035 * _grain(tables, s, y))
    seam = np.minimum(across - board, 1 - (across - board)) < 0.03
    tone = np.where(seam, tone * (1 - 0.28 * lane.look.board_contrast), tone)
    maple, pine = rgb((0.46, 0.315, 0.175)), rgb((0.475, 0.30, 0.145))
    middle = ((y > 190) & (y < 600) & lane.look.middle_wood)[:, None]
    out = np.where(middle, pine, maple) * tone[:, None] * rgb(lane.look.lane_tint)
    marks = _marks(s, y, lane)
    out[marks] = rgb(lane.look.arrows)
    return np.asarray(out * lane.brightness * deck_light(y)[:, None], dtype=np.float32)


def approach_colour(x: Array, y: Array, tables: Wood, lane: LaneSpec) -> Array:
    """Diffuse colour of the approach, foul line included."""
    board = np.floor(x / 2.1 + 400).astype(np.int64) % 800
    tone = tables.approach[board] * (1 + 0.03 * _grain(tables, x * 0.6, y + 999))
    out = rgb((0.40, 0.25, 0.125)) * tone[:, None] * 0.86 * rgb(lane.look.approach_tint)
    index, s = nearest_lane(x)
    del index
    for board_number in ARROW_BOARDS:
        spot = (s - (20 - board_number) * BOARD_WIDTH_IN) ** 2
        for row_in in (-27.0, -144.0):
            out[spot + (y - row_in) ** 2 < 0.45] = rgb((0.08, 0.035, 0.02))
    out[y < -12 * lane.look.approach_ft] = rgb(lane.look.carpet)
    return np.asarray(out * (0.55 + 0.45 * lane.brightness), dtype=np.float32)


def cap_colour(s: Array, index: NDArray[np.int64], y: Array) -> Array:
    """Colour of the floor between two lanes' gutters: a flat division, or the cover of a ball return track."""
    right = s > 0
    track = (index + right) % 2 == 0
    out = np.where(track[:, None], rgb((0.048, 0.052, 0.062)), rgb((0.075, 0.078, 0.085)))
    trim = np.abs(np.abs(s) - OPENING_IN - 0.5) < 0.4
    out[trim] = rgb((0.20, 0.20, 0.21))
    return np.asarray(out * deck_light(y)[:, None], dtype=np.float32)


def gutter_colour(across: Array, y: Array, lane: LaneSpec) -> Array:
    """Colour in the trough at ``across`` (-1 to 1 over its width, any sign)."""
    lit = 0.45 + 0.55 * np.sqrt(np.clip(1 - across**2, 0, 1))
    sheen = 0.55 * np.exp(-(((across - 0.25) / 0.16) ** 2))
    value = 0.105 * lit * (1 + sheen) * lane.gutter_brightness
    return np.asarray(
        (value * deck_light(y))[:, None] * rgb((0.96, 0.98, 1.05)) * rgb(lane.look.gutter_tint), dtype=np.float32
    )


def mask_colour(x: Array, z: Array) -> Array:
    """The panel over the pins and the wall above it: dunes under an evening sky, invented for this house."""
    h = (z - KICKBACK_TOP_IN) / 36
    sky = rgb((0.50, 0.27, 0.14)) * (1 - h)[:, None] + rgb((0.055, 0.13, 0.21)) * h[:, None]
    sun = ((x - 118) / 15) ** 2 + ((z - 52) / 15) ** 2 < 1
    sky[sun] = rgb((0.78, 0.52, 0.22))
    dunes = (
        (46.0, 41.0, 5.0, (0.20, 0.10, 0.085)),
        (39.0, 29.0, 4.5, (0.10, 0.06, 0.075)),
        (33, 47, 3, (0.04, 0.04, 0.06)),
    )
    for level, wave, size, colour in dunes:
        ridge = level + size * np.sin(x / wave + level) + 0.5 * size * np.sin(x / (0.37 * wave) + 2 * level)
        sky[z < ridge] = rgb(colour)
    sky *= 0.8
    wall = rgb((0.052, 0.060, 0.085)) * (0.55 + 1.1 * np.exp(-(((z - 66) / 22) ** 2)))[:, None]
    out = np.where((z < 63)[:, None], sky, wall)
    rail = (np.abs(z - 63) < 1.1) | (np.abs(z - KICKBACK_TOP_IN) < 0.9)
    out[rail] = rgb((0.14, 0.145, 0.155))
    return np.asarray(out, dtype=np.float32)


def ceiling_colour(x: Array, y: Array) -> Array:
    """The ceiling with its rows of lamps."""
    row = np.abs((y + 40) % 175 - 87) < 5
    lamp = row & (np.abs((x + 76) % 152 - 76) < 46)
    out = np.full((*x.shape, 3), 0.030, dtype=np.float32) * rgb((1.0, 0.95, 0.9))
    out[lamp] = rgb((1.9, 1.85, 1.7))
    return out


def wall_colour(y: Array, z: Array) -> Array:
    """The side walls: panels with a lamp every ten feet."""
    glow = 0.6 + 0.7 * np.exp(-((((y % 120) - 60) / 34) ** 2) - ((z - 70) / 50) ** 2)
    panel = np.where((y % 120) < 1.2, 0.5, 1.0)
    return np.asarray((glow * panel)[:, None] * rgb((0.085, 0.062, 0.050)), dtype=np.float32)


def kickback_colour(z: Array, *, front: bool) -> Array:
    """Side plates at the pins: darker inside than at the front."""
    value = (0.05 if front else 0.030) * (0.7 + 0.5 * np.clip(z / KICKBACK_TOP_IN, 0, 1))
    return np.asarray(value[:, None] * rgb((0.95, 1.0, 1.1)), dtype=np.float32)


def curtain_colour(z: Array) -> Array:
    """The curtain behind the pit."""
    value = 0.010 + 0.014 * np.clip(z / 30, 0, 1)
    return np.asarray(value[:, None] * rgb((1.0, 0.98, 1.0)), dtype=np.float32)


def gloss(y: Array, lane: LaneSpec) -> Array:
    """Share of the mirror reflection that the surface keeps: much on the oil, less where it ends."""
    dry = np.clip((y / 12 - lane.oil_ft) / max(lane.taper_ft, 0.5) + 0.5, 0, 1)
    return np.asarray(lane.gloss * (0.62 - 0.27 * dry) * (y < DECK_END_IN), dtype=np.float32)
