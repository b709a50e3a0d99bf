"""The picture of the empty centre: every pixel's rays are traced once, several to a pixel, in linear light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lane import DECK_END_IN, GUTTER_WIDTH_IN
from sample_media import house
from sample_media.optics import View
from sample_media.spec import LaneSpec, LookSpec

Array = NDArray[np.float32]
ROWS = 24


@dataclass(frozen=True, slots=True)
class Scene:
    """Static layers, linear light, float32.

    Attributes
    ----------
    base : array (h, w, 3)
        The empty centre, reflections included.
    mirror : array (h, w)
        Weight of the mirror reflection in each pixel; 0 off the lanes.
    mirrored : array (h, w, 3)
        What the lane mirrors there.
    front : array (h, w)
        Share of the pixel covered by what stands in front of the pins (plates, panel).
    floor : array (h, w)
        Share covered by floor up to the end of the pin deck, which hides what lies in the pit.
    ground : array (h, w, 2)
        Point of the floor's plane in each pixel, inches; far away above the horizon.
    """

    base: Array
    mirror: Array
    mirrored: Array
    front: Array
    floor: Array
    ground: Array


@dataclass(frozen=True, slots=True)
class _Rays:
    eye: Array
    d: Array

    def at(self, t: Array) -> tuple[Array, Array, Array]:
        p = self.eye + t[:, None] * self.d
        return p[:, 0], p[:, 1], p[:, 2]

    def plane(self, axis: int, value: float) -> Array:
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (value - self.eye[axis]) / self.d[:, axis]
        return np.where(t > 0, t, np.float32(1e9)).astype(np.float32)

    def take(self, keep: NDArray[np.bool_]) -> _Rays:
        return _Rays(self.eye, self.d[keep])


def build_scene(view: View, lane: LaneSpec, samples: int = 3) -> Scene:
    """Trace the empty centre.

    Parameters
    ----------
    view : View
        The camera.
    lane : LaneSpec
        Look of the lanes.
    samples : int
        Rays a pixel along each side.

    Returns
    -------
    Scene
        Layers of the frame's size.
    """
    tables = house.wood(lane.look_seed, lane.look.board_contrast)
    layers = np.zeros((view.height, view.width, 6), dtype=np.float32)
    for top in range(0, view.height, ROWS):
        rows = min(ROWS, view.height - top)
        rays = _pixel_rays(view, top, rows, samples)
        flat = _trace(rays, tables, lane)
        grid = flat.reshape(rows, samples, view.width, samples, 6)
        layers[top : top + rows] = grid.mean(axis=(1, 3))
    mirror, mirrored = _reflection(view, layers[..., 3], lane)
    light = house.rgb(lane.light)
    base = layers[..., :3] * (1 - 0.55 * mirror[..., None]) + mirrored * mirror[..., None]
    front, floor = layers[..., 4].copy(), layers[..., 5].copy()
    return Scene(base * light, mirror, mirrored * light, front, floor=floor, ground=_ground(view))


def _ground(view: View) -> Array:
    grid = np.stack(np.meshgrid(np.arange(view.width) + 0.5, np.arange(view.height) + 0.5), axis=-1)
    d = view.rays(grid)
    t = np.where(d[..., 2] < -1e-3, -view.eye[2] / np.minimum(d[..., 2], -1e-3), 1e6)
    return np.asarray(view.eye[:2] + t[..., None] * d[..., :2], dtype=np.float32)


def _pixel_rays(view: View, top: int, rows: int, samples: int) -> _Rays:
    v = top + (np.arange(rows * samples) + 0.5) / samples
    u = (np.arange(view.width * samples) + 0.5) / samples
    grid = np.stack(np.meshgrid(u, v), axis=-1)
    d = view.rays(grid).reshape(-1, 3).astype(np.float32)
    return _Rays(view.eye.astype(np.float32), d)


def _trace(rays: _Rays, tables: house.Wood, lane: LaneSpec) -> Array:
    """Colour, lane, front and floor shares ``(n, 6)`` of rays."""
    out = np.zeros((len(rays.d), 6), dtype=np.float32)
    floor_t, face_t = rays.plane(2, 0.0), rays.plane(1, house.FACE_IN)
    wall_t = np.minimum(rays.plane(0, house.WALL_IN), rays.plane(0, -house.WALL_IN))
    ceiling_t = rays.plane(2, house.CEILING_IN)
    first = np.min([floor_t, face_t, wall_t, ceiling_t], axis=0)
    hit = first == floor_t
    out[hit] = _floor(rays.take(hit), floor_t[hit], tables, lane)
    hit = (first == wall_t) & (first < floor_t)
    _, y, z = rays.take(hit).at(wall_t[hit])
    out[hit, :3] = house.wall_colour(y, z) * np.float32(lane.look.surround)
    hit = (first == ceiling_t) & (first < floor_t)
    x, y, _ = rays.take(hit).at(ceiling_t[hit])
    out[hit, :3] = house.ceiling_colour(x, y) * np.float32(lane.look.surround)
    hit = (first == face_t) & (first < floor_t)
    out[hit] = _face(rays.take(hit), face_t[hit], tables, lane)
    return out


def _floor(rays: _Rays, t: Array, tables: house.Wood, lane: LaneSpec) -> Array:
    """Approach, lanes, gutters and divisions."""
    x, y, _ = rays.at(t)
    index, s = house.nearest_lane(x)
    out = np.zeros((len(t), 6), dtype=np.float32)
    out[:, 5] = y < DECK_END_IN
    before = y < 0.5
    part = before & (y < -0.5)
    out[part, :3] = house.approach_colour(x[part], y[part], tables, lane)
    out[before & ~part, :3] = house.rgb(lane.look.foul_line)
    part = ~before & (np.abs(s) <= house.HALF_LANE_IN)
    out[part, :3] = house.lane_colour(s[part], y[part], index[part], tables=tables, lane=lane)
    out[part, 3] = 1
    part = ~before & (np.abs(s) > house.OPENING_IN)
    out[part, :3] = house.cap_colour(s[part], index[part], y[part]) * np.float32(lane.look.cap)
    part = ~before & (np.abs(s) > house.HALF_LANE_IN) & (np.abs(s) <= house.OPENING_IN)
    out[part, :3] = _gutter(rays.take(part), s[part], y[part], lane)
    return out


def _gutter(rays: _Rays, s: Array, y: Array, lane: LaneSpec) -> Array:
    """The trough is a part of a cylinder; its steep walls show dark where the ray meets them first."""
    local = np.abs(s) - house.HALF_LANE_IN - GUTTER_WIDTH_IN / 2
    local = local * np.sign(s)
    dx, dz = rays.d[:, 0], rays.d[:, 2]
    height = house.GUTTER_RADIUS_IN - house.GUTTER_DEPTH_IN
    a = dx * dx + dz * dz
    b = local * dx - height * dz
    c = local * local + height**2 - house.GUTTER_RADIUS_IN**2
    root = (-b + np.sqrt(np.maximum(b * b - a * c, 0))) / a
    across = (local + root * dx) / (GUTTER_WIDTH_IN / 2)
    far_y = np.asarray(y + root * rays.d[:, 1], dtype=np.float32)
    colour = house.gutter_colour(np.clip(across, -1, 1), far_y, lane)
    return np.asarray(colour * np.where(np.abs(across) > 0.97, 0.45, 1.0)[:, None], dtype=np.float32)


def _face(rays: _Rays, t: Array, tables: house.Wood, lane: LaneSpec) -> Array:
    """What is seen at or through the plane of the plates' fronts."""
    x, _, z = rays.at(t)
    _, s = house.nearest_lane(x)
    out = np.zeros((len(t), 6), dtype=np.float32)
    high = z > house.KICKBACK_TOP_IN
    out[high, :3] = house.mask_colour(x[high], z[high]) * np.float32(lane.look.mask)
    plate = ~high & (np.abs(s) > house.OPENING_IN)
    out[plate, :3] = house.kickback_colour(z[plate], front=True) * np.float32(lane.look.pit)
    out[high | plate, 4] = 1
    inside = ~high & ~plate
    out[inside] = _opening(rays.take(inside), x[inside], s[inside], tables=tables, lane=lane)
    return out


def _opening(rays: _Rays, x: Array, s: Array, *, tables: house.Wood, lane: LaneSpec) -> Array:
    """Deck, side plates and curtain seen through one lane's opening."""
    side = np.where(rays.d[:, 0] > 0, house.OPENING_IN, -house.OPENING_IN)
    with np.errstate(divide="ignore", invalid="ignore"):
        wall_y = house.FACE_IN + (side - s) / rays.d[:, 0] * rays.d[:, 1]
    floor_t = rays.plane(2, 0.0)
    floor_y = rays.eye[1] + floor_t * rays.d[:, 1]
    out = np.zeros((len(x), 6), dtype=np.float32)
    deck = (floor_y < DECK_END_IN) & (floor_y < wall_y)
    out[deck] = _floor(rays.take(deck), floor_t[deck], tables, lane)
    plate = ~deck & (wall_y < house.CURTAIN_IN)
    z = rays.eye[2] + (np.minimum(wall_y, 2000) - rays.eye[1]) / rays.d[:, 1] * rays.d[:, 2]
    out[plate, :3] = house.kickback_colour(z[plate], front=False) * np.float32(lane.look.pit)
    rest = ~deck & ~plate
    out[rest, :3] = house.curtain_colour(z[rest]) * np.float32(lane.look.pit)
    return out


def _reflection(view: View, lanes: Array, lane: LaneSpec) -> tuple[Array, Array]:
    """Mirror weight and mirrored picture: what a flat lane would show, blurred as oil blurs it."""
    uv = np.stack(np.meshgrid(np.arange(view.width) + 0.5, np.arange(view.height) + 0.5), axis=-1)
    d = view.rays(uv).reshape(-1, 3).astype(np.float32)
    down = d[:, 2] < -1e-4
    rays = _Rays(view.eye.astype(np.float32), np.where(down[:, None], d, np.float32(-1) / np.float32(1.7)))
    x, y, _ = rays.at(rays.plane(2, 0.0))
    y = np.asarray(np.clip(y, -400, DECK_END_IN), dtype=np.float32)
    rise = -rays.d[:, 2]
    fresnel = 0.04 + 0.96 * (1 - rise) ** 5
    weight = np.where(down, fresnel * house.gloss(y, lane), 0).reshape(view.height, view.width)
    run = np.asarray((house.FACE_IN - y) / np.maximum(rays.d[:, 1], 0.1), dtype=np.float32)
    far_x, far_z = x + run * rays.d[:, 0], np.abs(run * rise)
    far_z = np.asarray(far_z, dtype=np.float32)
    image = _mirrored(lane.look, (x, y, far_x), z=far_z, rise=rise, dy=rays.d[:, 1])
    picture = cv2.GaussianBlur(image.reshape(view.height, view.width, 3), (0, 0), sigmaX=1.2, sigmaY=4.0)
    return np.asarray(weight * lanes, dtype=np.float32), np.asarray(picture, dtype=np.float32)


def _mirrored(look: LookSpec, spots: tuple[Array, Array, Array], *, z: Array, rise: Array, dy: Array) -> Array:
    """Colour in the direction of the mirrored ray: opening, panel and wall, or ceiling."""
    x, y, far_x = spots
    image = house.mask_colour(far_x, z) * np.float32(look.mask)
    low = z < house.KICKBACK_TOP_IN
    image[low] = house.curtain_colour(z[low]) * np.float32(look.pit)
    _, s = house.nearest_lane(far_x)
    plate = low & (np.abs(s) > house.OPENING_IN)
    image[plate] = house.kickback_colour(z[plate], front=True) * np.float32(look.pit)
    high = z > house.CEILING_IN
    reach = house.CEILING_IN / np.maximum(rise, 1e-3)
    ceiling = house.ceiling_colour(x[high], np.asarray(y + reach * dy, dtype=np.float32)[high])
    image[high] = np.minimum(ceiling * np.float32(look.surround), 0.9)
    return image
