"""Which of the lanes in the view the bowler uses, told from what changes over a few stills.

The answer is the order in which lanes are tried; where a ball really rolls has the last word.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.camera import Camera
from calibration.lane import BALL_RADIUS_IN, DECK_END_IN, GUTTER_WIDTH_IN, INCHES_PER_FOOT, LANE_WIDTH_IN
from tracker.detection.background import IQR_PER_SIGMA
from tracker.lane.clean import CleanPicture
from tracker.video.reader import Crop
from tracker.video.stills import Stills

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]

PERSON_X_IN = 25.0
PERSON_Y_IN = (-14 * INCHES_PER_FOOT, -0.5 * INCHES_PER_FOOT)
PERSON_HEIGHT_IN = 5.5 * INCHES_PER_FOOT
"""Where a bowler stands who uses a lane: on its own approach, before its foul line."""
PERSON_AREA_IN2 = 900.0
"""Area of a person seen from behind: 66 in by about 14 in with the legs apart (own estimate, no source)."""
BALL_WEIGHT = 0.15
"""A ball without a bowler was thrown on another lane than that of who is filmed, or is something else: it decides only
where nobody is seen, and then not surely."""
BALL_Y_IN = (1.5 * INCHES_PER_FOOT, 56 * INCHES_PER_FOOT)
BALL_AREA_SHARES = (0.35, 4.0)
"""A ball's change over the area of its disc: less where it looks like the lane, more with mirror image and blur."""
BALL_WIDTHS = (0.5, 1.8)
"""Width of a ball's change over its diameter."""
AMBIGUOUS_SHARE = 0.6
NOTHING = 0.04
"""Activity below which nothing changed: a twenty-fifth of a person in every still."""

_SIGMAS = 5.0
_LUMA_FLOOR, _CHROMA_FLOOR = 14.0, 8.0
_FEW_STILLS = 0.55
"""What the spread of nine stills' noise is on average over that of many: it takes the smaller of two sides."""
_NOISE_CELL = (9, 9)
_LEAST_PX = 6
_JOIN_IN = 5.0
_FEET_SHARE = 0.08
_FEET_SLACK_IN = 12.0
_BODY_SHARE = 0.1
_SIDE_IN = LANE_WIDTH_IN / 2 + GUTTER_WIDTH_IN
_NEAR_IN = 12.0
_FAR_PX = 1e5


@dataclass(frozen=True, slots=True)
class Choice:
    """Which lane is tried first, and how sure that is.

    Attributes
    ----------
    index : int
        The lane's place among the candidates.
    share : float
        Its share of all activity, 0 where there is none.
    ambiguous : bool
        Another lane is more than 0.6 times as active, or nothing changed on any, or only balls did on one at the side.
    order : tuple of int
        All candidates in the order in which to try them.
    """

    index: int
    share: float
    ambiguous: bool
    order: tuple[int, ...]


def lane_activity(cameras: Sequence[Camera], clean: CleanPicture, stills: Stills) -> Array:
    """How much happens on each lane: people on its own approach and balls on its surface.

    A pixel has changed in a still where luma or chroma lies five sigmas of its own scatter, and a least step, from the
    clean picture. Connected changes are things. A thing whose lowest rows stand on a lane's approach counts for that
    lane alone, however many neighbours' boxes its body covers, by its area over that of a person at that distance, at
    most 1. A thing of a ball's size on a lane's surface
    counts 0.15.

    Parameters
    ----------
    cameras : sequence of Camera
        The view in the frame of each candidate lane.
    clean, stills
        The clip's clean picture and the stills that it was made of.

    Returns
    -------
    array of shape (n,)
        Mean over the stills; about 1 for the lane of a bowler who is seen all the time.
    """
    activity = np.zeros(len(cameras))
    if not cameras:
        return activity
    limits = _limits(clean)
    where = _places(cameras, clean.luma.shape)
    for still in stills.pictures:
        changed = _changed(still, clean, limits) & where
        activity += _still_activity(cameras, _things(changed, _join_px(cameras)))
    return np.asarray(activity / len(stills.pictures))


def choose_lane(cameras: Sequence[Camera], clean: CleanPicture, stills: Stills) -> Choice:
    """The most active lane; where nothing changed the one whose foul line is nearest to the middle of the frame.

    Raises
    ------
    ValueError
        Without candidates.
    """
    if not cameras:
        msg = "cameras: at least one candidate lane is needed to choose from, got none"
        raise ValueError(msg)
    return ranked(lane_activity(cameras, clean, stills), _off_middle_px(cameras))


def ranked(activity: Array, off_middle_px: Array) -> Choice:
    """Order lanes by activity ``(n,)``, those without any by their distance ``(n,)`` from the frame's middle."""
    counted = np.where(activity >= NOTHING, activity, 0.0)
    order = tuple(int(k) for k in np.lexsort((off_middle_px, -counted)))
    best = float(counted[order[0]])
    second = float(counted[order[1]]) if len(order) > 1 else 0.0
    share = best / float(counted.sum()) if best else 0.0
    only_balls_aside = best <= BALL_WEIGHT and order[0] != int(np.argmin(off_middle_px))
    unsure = best == 0.0 or second > AMBIGUOUS_SHARE * best or only_balls_aside
    return Choice(order[0], share, ambiguous=unsure, order=order)


def lane_at(cameras: Sequence[Camera], pixel: tuple[float, float]) -> int | None:
    """The lane on whose surface, gutters included, from foul line to deck a pixel (u, v) lies; None if on none."""
    offs = [_off_lane_in(camera, pixel) for camera in cameras]
    best = int(np.argmin(offs)) if offs else 0
    return best if offs and offs[best] <= _SIDE_IN else None


def _off_lane_in(camera: Camera, pixel: ArrayLike) -> float:
    """Distance in inches from the lane's middle of a pixel on its plane; infinite before the foul line or beyond."""
    x, y = camera.back_project(pixel, 0.0)
    return abs(float(x)) if 0.0 <= y <= DECK_END_IN else np.inf


def _off_middle_px(cameras: Sequence[Camera]) -> Array:
    middles = [camera.project((0.0, 0.0, 0.0))[0] - camera.width / 2 for camera in cameras]
    return np.asarray(np.nan_to_num(np.abs(np.array(middles)), nan=np.inf), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Thing:
    """A connected change: area, widest extent, place of its lowest rows and of its middle, full-size pixels."""

    area_px: float
    left_px: float
    right_px: float
    feet: tuple[float, float]
    middle: tuple[float, float]


def _limits(clean: CleanPicture) -> list[Array]:
    """Least change of luma, cb and cr that counts, each at the chroma's resolution ``(H/2, W/2)``."""
    spreads = (_half(clean.spread, clean.cb.shape), clean.cb_spread, clean.cr_spread)
    return [
        np.maximum(floor, _SIGMAS * np.maximum(spread, cv2.blur(spread, _NOISE_CELL)) / (_FEW_STILLS * IQR_PER_SIGMA))
        for spread, floor in zip(spreads, (_LUMA_FLOOR, _CHROMA_FLOOR, _CHROMA_FLOOR), strict=True)
    ]


def _half(luma: Image, shape: tuple[int, ...]) -> Image:
    return np.asarray(cv2.resize(luma, (shape[1], shape[0]), interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _changed(still: Crop, clean: CleanPicture, limits: list[Array]) -> Mask:
    shape = clean.cb.shape
    pairs = (
        (_half(still.luma, shape), _half(clean.luma, shape)),
        (still.cb, clean.cb),
        (still.cr, clean.cr),
    )
    parts = [cv2.absdiff(one, other) > limit for (one, other), limit in zip(pairs, limits, strict=True)]
    return np.asarray(parts[0] | parts[1] | parts[2])


def _places(cameras: Sequence[Camera], shape: tuple[int, ...]) -> Mask:
    """Half-size mask of everything that belongs to some lane: where people stand, and the surfaces.

    It reaches farther back than the approach, so that the feet of whoever stands there are seen to stand there.
    """
    mask = np.zeros((shape[0] // 2, shape[1] // 2), dtype=np.uint8)
    standing = (PERSON_X_IN + _FEET_SLACK_IN, (2 * PERSON_Y_IN[0], PERSON_Y_IN[1]), PERSON_HEIGHT_IN)
    surface = (_SIDE_IN, (0.0, DECK_END_IN), 2 * BALL_RADIUS_IN)
    for camera in cameras:
        for half_in, (near_in, far_in), top_in in (standing, surface):
            grid = np.meshgrid((-half_in, half_in), np.linspace(near_in, far_in, 24), (0.0, top_in))
            points = np.stack(grid, axis=-1).reshape(-1, 3)
            pixels = camera.project(points[camera.to_camera(points)[:, 2] > _NEAR_IN])
            pixels = pixels[np.isfinite(pixels).all(axis=1)] / 2
            if len(pixels) > 2:
                outline = cv2.convexHull(np.clip(pixels, -_FAR_PX, _FAR_PX).astype(np.int32))
                cv2.fillConvexPoly(mask, outline, 1)
    return np.asarray(mask > 0)


def _join_px(cameras: Sequence[Camera]) -> int:
    """Gap in half-size pixels that is closed within a thing: some inches at the foul line."""
    depth_in = max(float(cameras[0].to_camera((0.0, 0.0, 0.0))[2]), _NEAR_IN)
    return max(3, round(cameras[0].f_px * _JOIN_IN / depth_in / 2)) | 1


def _things(changed: Mask, join_px: int) -> list[_Thing]:
    """Connected changes that are more than noise."""
    speckless = cv2.morphologyEx(changed.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8))
    joined = cv2.morphologyEx(speckless, cv2.MORPH_CLOSE, np.ones((join_px, join_px), np.uint8))
    count, labels, boxes, middles = cv2.connectedComponentsWithStats(joined)
    things = []
    for k in range(1, count):
        left, top, width, height, _ = (int(v) for v in boxes[k])
        rows = slice(top, top + height), slice(left, left + width)
        inside = (labels[rows] == k) & (speckless[rows] > 0)
        area = int(inside.sum())
        if area < _LEAST_PX:
            continue
        deep = max(1, round(_FEET_SHARE * height))
        columns = np.nonzero(labels[rows][-deep:] == k)[1]
        feet = 2 * (left + float(np.median(columns)) + 0.5), 2.0 * (top + height)
        middle = 2 * (float(middles[k][0]) + 0.5), 2 * (float(middles[k][1]) + 0.5)
        things.append(_Thing(4.0 * area, 2.0 * left, 2.0 * (left + width), feet, middle=middle))
    return things


def _still_activity(cameras: Sequence[Camera], things: list[_Thing]) -> Array:
    """Credit ``(n,)`` of one still: people first, then balls that are not a part of one of them."""
    credit = np.zeros(len(cameras))
    people = []
    for thing in things:
        found = _best([_as_person(camera, thing) for camera in cameras])
        if found is not None:
            lane, share = found
            credit[lane] += share
            if share > _BODY_SHARE:
                people.append(thing)
    for thing in things:
        if not any(_beside(thing, person) for person in people):
            found = _best([_as_ball(camera, thing) for camera in cameras])
            if found is not None:
                credit[found[0]] += found[1]
    return credit


def _best(claims: list[tuple[float, float] | None]) -> tuple[int, float] | None:
    """The lane whose middle is nearest, with what the thing counts there; claims are (distance, worth)."""
    able = [(claim[0], k, claim[1]) for k, claim in enumerate(claims) if claim is not None]
    return min(able)[1:] if able else None


def _beside(thing: _Thing, person: _Thing) -> bool:
    """Whether a thing's middle lies in the columns of a person and an arm's length to the sides."""
    arm = 0.5 * (person.right_px - person.left_px)
    return person.left_px - arm < thing.middle[0] < person.right_px + arm


def _as_person(camera: Camera, thing: _Thing) -> tuple[float, float] | None:
    x, y = (float(v) for v in camera.back_project(thing.feet, 0.0))
    near, far = PERSON_Y_IN
    if not (abs(x) <= PERSON_X_IN + _FEET_SLACK_IN and near - _FEET_SLACK_IN <= y <= far + _FEET_SLACK_IN):
        return None
    area_in2 = thing.area_px * _inches_per_px(camera, (x, y, 0.0)) ** 2
    return abs(x), min(area_in2 / PERSON_AREA_IN2, 1.0)


def _as_ball(camera: Camera, thing: _Thing) -> tuple[float, float] | None:
    x, y = (float(v) for v in camera.back_project(thing.middle, BALL_RADIUS_IN))
    if not (abs(x) <= _SIDE_IN and BALL_Y_IN[0] <= y <= BALL_Y_IN[1]):
        return None
    radius_px = BALL_RADIUS_IN / _inches_per_px(camera, (x, y, BALL_RADIUS_IN))
    area = thing.area_px / (np.pi * radius_px**2)
    width = (thing.right_px - thing.left_px) / (2 * radius_px)
    fits = BALL_AREA_SHARES[0] <= area <= BALL_AREA_SHARES[1] and BALL_WIDTHS[0] <= width <= BALL_WIDTHS[1]
    return (abs(x), BALL_WEIGHT) if fits else None


def _inches_per_px(camera: Camera, point: tuple[float, float, float]) -> float:
    return max(float(camera.to_camera(point)[2]), _NEAR_IN) / camera.f_px
