"""Which pair of edges and which focal length: own pins, the neighbours', and where the lane's lines end far away."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.finding.deck import pin_likeness, pins_of
from calibration.finding.fan import GUTTER_SHARE, STEP_PX, Fan, Strip, edge_peaks, nearest_edges
from calibration.finding.pose import Poses, poses_of
from calibration.finding.sampling import noise_of, sampled
from calibration.lane import DECK_END_IN, GUTTER_WIDTH_IN, HEAD_PIN_IN, LANE_WIDTH_IN, PIN_HEIGHT_IN

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

LANE_SPACING_IN = LANE_WIDTH_IN + 2 * GUTTER_WIDTH_IN - 4.0
"""Lanes with their gutters do not overlap; a little is left for a first camera's error."""
USUAL_HEIGHT_IN = (30.0, 112.0)
ODD_HEIGHT = 3.0
"""What an unusual height of the camera must be made up for with, in pins."""
EDGE_WORTH = 0.04
"""What a unit of a line's clearness is worth, in pins: 6 for a lane whose four lines are clear all the way."""
_FOCAL_SHARES = (0.45, 6.0)
_FOCAL_STEP = 0.01
_HEIGHT_IN = (2.0, 150.0)
_NESTED = 3.0
"""What a strip that holds another lane must be made up for with: more than what chance finds of pins on a wall."""
_BEHIND_IN = (12.0, 720.0)
_LEAST_PIN_PX = 5.0
"""Height of a pin in the scanned picture below which the template would see a blur."""
_CHANCE_PINS = 1.0
_FINALISTS, _NEIGHBOURS = 8, 4
"""Pairs of edges whose neighbours are looked at, and how many neighbours of each: what time allows."""
_SUPPORT_WORTH, _LEAST_SUPPORT = 0.01, 30.0
"""What a neighbour's lines are worth in pins, less than a lane's own since some are taken twice; chance gives 30."""
_END_WORTH = 0.5
"""What a sigma of step that ends at the deck's end is worth in pins (own choice, up to 5 sigmas)."""
_END_BEFORE, _END_BEYOND = (1.03, 1.35), (0.72, 0.97)
"""Parts of the way to the deck's end, seen from the vanishing point, where a lane's lines are seen and not seen."""
_END_ROWS, _FARTHEST = 160, 0.03
_CLIP = 5.0


@dataclass(frozen=True, slots=True)
class Rung:
    """One pair of edges with one focal length (px of the whole picture), its pins and all that speaks for it."""

    strip: Strip
    f_px: float
    pins: float
    score: float


def rungs(small: Image, scale: float, fan: Fan, strips: list[Strip]) -> list[Rung]:
    """The likeliest focal length of the likeliest pairs of edges, the best first.

    Parameters
    ----------
    small : uint8 array of shape (h, w)
        The picture made smaller by ``scale``.
    scale : float
    fan : Fan
        Of the picture itself.
    strips : list of Strip
        Pairs of edges.
    """
    size = (float(small.shape[1]), float(small.shape[0]))
    low, high = np.log(np.array(_FOCAL_SHARES) * max(size))
    focals = np.exp(np.arange(low, high, _FOCAL_STEP))
    corners = _corners(fan, strips)
    poses = poses_of(fan.point * scale, corners * scale, focals, size)
    usable = _usable(poses)
    poses = replace(poses, possible=usable)
    likeness = pin_likeness(small, poses)
    pins = np.where(usable, pins_of(likeness), 0.0)
    height = poses.place_in[..., 2]
    odd = (height < USUAL_HEIGHT_IN[0]) | (height > USUAL_HEIGHT_IN[1])
    lines = np.array([s.score for s in strips])
    worth = EDGE_WORTH * lines - _NESTED * _nested(corners[:, :, 0], lines)
    score = (
        pins
        + worth[:, None]
        - ODD_HEIGHT * odd
        + _END_WORTH * _far_ends(small, fan.point * scale, corners * scale, poses)
    )
    score = np.where(usable, score, -np.inf)
    final = np.argsort(-score.max(axis=1), kind="stable")[:_FINALISTS]
    found = []
    for p in final:
        total = score[p] + _beside(small, fan, strips[p], _one(poses, int(p)), scale=scale)
        f = int(np.argmax(total))
        if np.isfinite(total[f]):
            found.append(Rung(strips[p], float(focals[f] / scale), float(pins[p, f]), float(total[f])))
    return sorted(found, key=lambda rung: -rung.score)


def _one(poses: Poses, p: int) -> Poses:
    return Poses(
        poses.rotation[p : p + 1], poses.place_in[p : p + 1], poses.possible[p : p + 1], poses.f_px, poses.middle
    )


def _corners(fan: Fan, strips: list[Strip]) -> Array:
    t = np.array([[s.left_px, s.right_px] for s in strips])
    return np.stack([t, fan.foul.v_at(t)], axis=-1)


def _beside(small: Image, fan: Fan, strip: Strip, poses: Poses, *, scale: float) -> Array:
    """What the lanes beside a strip say ``(f,)`` of each focal length: their lines, and their pins above chance."""
    centres, support = _centres(fan, strip)
    if not len(centres):
        return np.zeros(len(poses.f_px))
    at = np.stack([centres, fan.foul.v_at(centres)], axis=-1) * scale
    x = poses.ground_x(at)[0].T
    place = np.repeat(poses.place_in, len(centres), axis=0)
    place[..., 0] -= x
    shape = (len(centres), *poses.rotation.shape[1:])
    apart = np.abs(x) > LANE_SPACING_IN
    near = Poses(np.broadcast_to(poses.rotation, shape), place, apart & poses.possible, poses.f_px, poses.middle)
    pins = pins_of(pin_likeness(small, near))
    said = np.where(apart, np.maximum(np.nan_to_num(pins) - _CHANCE_PINS, 0.0) + _SUPPORT_WORTH * support[:, None], 0.0)
    return np.asarray(said.sum(axis=0))


def _centres(fan: Fan, strip: Strip) -> tuple[Array, Array]:
    """Columns ``(n,)`` on the foul line of the middles of lanes beside a strip, and how clear their lines are."""
    width = strip.right_px - strip.left_px
    gutter = GUTTER_SHARE * width
    peaks = fan.t_px[edge_peaks(fan)]
    middle = np.concatenate([peaks + width / 2, peaks - width / 2])
    middle = middle[np.abs(middle - (strip.left_px + strip.right_px) / 2) > LANE_SPACING_IN / LANE_WIDTH_IN * width]
    slack = np.full(len(middle), 0.15 * gutter)
    inner = [nearest_edges(fan, middle + s * width / 2, slack) for s in (-1, 1)]
    outer = [nearest_edges(fan, middle + s * (width / 2 + gutter), slack) for s in (-1, 1)]
    support = inner[0] + inner[1] + 0.5 * (outer[0] + outer[1])
    kept: list[int] = []
    for k in np.argsort(-support, kind="stable"):
        free = all(abs(middle[k] - middle[j]) > LANE_SPACING_IN / LANE_WIDTH_IN * width for j in kept)
        if free and support[k] > _LEAST_SUPPORT and len(kept) < _NEIGHBOURS:
            kept.append(int(k))
    return middle[kept], support[kept]


def _far_ends(small: Image, point: Array, corners: Array, poses: Poses) -> Array:
    """How clearly a strip's lines end ``(p, f)`` where each focal length has the deck's end, in sigmas of noise."""
    share = np.exp(np.linspace(np.log(_FARTHEST), 0.0, _END_ROWS))
    steps = _line_steps(small, point, corners, share)
    total = np.concatenate([np.zeros((len(steps), 1)), np.cumsum(np.nan_to_num(steps), axis=1)], axis=1)
    count = np.concatenate([np.zeros((len(steps), 1)), np.cumsum(np.isfinite(steps), axis=1)], axis=1)
    ends = poses.project(np.array([[0.0, 0.0, 0.0], [0.0, DECK_END_IN, 0.0]]))[..., 1]
    at = (ends[..., 1] - point[1]) / (ends[..., 0] - point[1])
    grid = np.log(share)
    means = []
    for low, high in (_END_BEFORE, _END_BEYOND):
        a, b = (np.searchsorted(grid, np.log(np.clip(np.nan_to_num(at, nan=1.0) * s, 1e-3, 1.0))) for s in (low, high))
        row = np.arange(len(steps))[:, None]
        means.append((total[row, b] - total[row, a]) / np.maximum(count[row, b] - count[row, a], 1))
    return np.asarray(means[0] - means[1])


def _line_steps(small: Image, point: Array, corners: Array, share: Array) -> Array:
    """Mean step ``(p, n)`` across a strip's edges and gutters at shares of the way, sigmas, each with its own sign."""
    left, right = corners[:, 0], corners[:, 1]
    aside = GUTTER_SHARE * (right - left)
    feet = np.stack([left, right, left - aside, right + aside], axis=1)
    at = point + share[:, None] * (feet[:, :, None] - point)
    a, b = (sampled(small, at + np.array([s * STEP_PX, 0.0])) for s in (-1, 1))
    step = b - a
    bounded = np.clip(step / noise_of(step), -_CLIP, _CLIP)
    near = share > 0.3
    sign = np.sign(np.nansum(bounded[:, :, near], axis=2))
    signed = sign[..., None] * bounded
    known = np.isfinite(signed)
    return np.asarray(
        np.where(known.any(axis=1), np.nan_to_num(signed).sum(axis=1) / np.maximum(known.sum(axis=1), 1), np.nan)
    )


def _nested(sides: Array, lines: Array) -> NDArray[np.bool_]:
    """Which strips ``(p,)`` hold another that is clearer: two lanes taken for one, or a lane with its gutters."""
    slack = 0.5 * GUTTER_SHARE * np.diff(sides, axis=1)
    inside = (sides[None, :, 0] > sides[:, None, 0] - slack) & (sides[None, :, 1] < sides[:, None, 1] + slack)
    narrower = np.diff(sides, axis=1)[None, :, 0] < np.diff(sides, axis=1) - slack
    return np.asarray((inside & narrower & (lines[None] > lines[:, None])).any(axis=1))


def _usable(poses: Poses) -> NDArray[np.bool_]:
    """Poses ``(p, f)`` where somebody could have filmed and where pins are large enough to be seen."""
    behind, height = -poses.place_in[..., 1], poses.place_in[..., 2]
    pin_px = poses.f_px * PIN_HEIGHT_IN / (HEAD_PIN_IN + behind)
    usable = (height > _HEIGHT_IN[0]) & (height < _HEIGHT_IN[1]) & (pin_px > _LEAST_PIN_PX) & poses.possible
    return np.asarray(usable & (behind > _BEHIND_IN[0]) & (behind < _BEHIND_IN[1]))
