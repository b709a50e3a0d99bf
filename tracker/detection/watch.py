"""One forward pass over a clip's lane crops: background behind and a little ahead of each frame, and the balls in it.

Crops wait in a buffer of at most :data:`BUFFER_BYTES` until the frames that follow them have told the background, so a
clip is decoded once and memory does not grow with its length.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lane import GUTTER_WIDTH_IN, LANE_WIDTH_IN
from tracker.detection.background import IQR_PER_SIGMA, plane_statistics
from tracker.detection.candidates import NOISE_FLOOR, ViewBackground, changed_share, find_candidates
from tracker.detection.disc import fit_discs, pulled
from tracker.detection.outline import (
    BallFit,
    Planes,
    Rim,
    Sought,
    apparent_blur_px,
    coarse_fit,
    fit_balls,
    sphere_rims,
)
from tracker.detection.region import LaneRegion
from tracker.video.reader import Crop

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Area = tuple[int, int, int, int]
"""Left, top, right and bottom of a part of a crop, even."""

BUFFER_BYTES = 80_000_000
BLOCK_S = 0.8
AHEAD_S = 0.8
SAMPLE_S = 0.25
SAMPLES_KEPT = 18
SAMPLES_USED = 13
SAMPLES_ENOUGH = 8
SHORT_AHEAD_S = 0.1
CHROMA_NOISE_FLOOR = 3.0
MIN_RIM_SHARE = 0.35
FOLLOWED_SHARE = 0.5
"""Below this share of its rays the rim tells less than the disc as a whole."""
LOOK_EVERY_S = 0.024
"""What pulls at a ball's outline stays for 0.15 s, so that pictures in quick succession tell little more than one."""
PINS_BEHIND_IN = 645.0
PINS_BEHIND_PX = (1.0, 2.0)
"""From about here on the ball stands before white pins and the dark pit: no one contrast along its rim, which is then
placed less surely."""
COARSE_SCORE = 0.6
NEEDED_RADII, NEEDED_PX = 3.2, 16.0
"""How far around a predicted centre rim and disc look at pixels: a disc reaches 2 radii beyond where it was found."""
MEASURED_SPOTS = 3
MAX_SIZE_ERROR = 0.2
LINK_S = (0.08, 0.25)
BALL_SPEED_IN_S = (100.0, 560.0)
SIDE_SLACK_IN = 3.0
SIDE_SHARE = 0.3
RUN_SHARE = 0.6
REACH_IN = LANE_WIDTH_IN / 2 + GUTTER_WIDTH_IN - 2.0
"""A ball's centre gets no farther out than the middle of the gutter; a little is left for what it seems there."""
STILL_S = 0.12
STILL_PITCHES = 0.75


@dataclass(frozen=True, slots=True)
class Detection:
    """A ball-like thing in one frame.

    Attributes
    ----------
    frame : int
        Index of the decoded frame.
    t_s : float
        Container time in seconds.
    fit : BallFit
        Sub-pixel centre with covariance.
    x_in, y_in : float
        The centre on the plane of a resting ball's centre, inches.
    score : float
        How clearly it stands out from its surround, 0 to 1.
    """

    frame: int
    t_s: float
    fit: BallFit
    x_in: float
    y_in: float
    score: float


@dataclass(frozen=True, slots=True)
class FrameLook:
    """All detections of one frame, best first, and the share of the lane that looks other than it does empty."""

    frame: int
    t_s: float
    detections: tuple[Detection, ...]
    covered: float = 0.0


@dataclass(frozen=True, slots=True)
class Spot:
    """A ball-sized changed place before it is measured: lane position of its cell, spacing of the rows there, score."""

    frame: int
    t_s: float
    x_in: float
    y_in: float
    pitch_in: float
    score: float


@dataclass(frozen=True, slots=True)
class Spotted:
    """Spots of one frame, best first, and the share of the lane that looks other than it does empty."""

    spots: tuple[Spot, ...]
    covered: float


Views = tuple[Image, Image, Image]


@dataclass(frozen=True, slots=True, eq=False)
class _Sample:
    """A crop of which the background is made, and its pixels between which its ball-sized view is interpolated."""

    crop: Crop
    under: Views


@dataclass(frozen=True, slots=True)
class Background:
    """Background of a part of the lane's crop over one stretch of the clip: planes, spreads over time, and its place.

    ``origin`` is the left and top of that part in the crop, even.
    """

    planes: Planes
    noise: Views
    origin: tuple[int, int]

    def part(self, crop: Crop) -> Planes:
        """The same part of a frame's crop."""
        luma, half = _part(crop.luma, self.planes.luma, self.origin), (self.origin[0] // 2, self.origin[1] // 2)
        cb, cr = (_part(plane, self.planes.cb, half) for plane in (crop.cb, crop.cr))
        return Planes(luma, cb, cr, self.planes.chroma_site)


def _part(plane: Image, like: Image, origin: tuple[int, int]) -> Image:
    left, top = origin
    return plane[top : top + like.shape[0], left : left + like.shape[1]]


def _background(samples: Sequence[Crop], chroma_site: tuple[float, float], area: Area) -> Background:
    left, top, right, bottom = area
    near, half = np.s_[top:bottom, left:right], np.s_[top // 2 : bottom // 2, left // 2 : right // 2]
    luma = plane_statistics([crop.luma[near] for crop in samples])
    cb, cr = (plane_statistics([getattr(crop, name)[half] for crop in samples]) for name in ("cb", "cr"))
    planes = Planes(luma.median, cb.median, cr.median, chroma_site)
    return Background(planes, (luma.spread, cb.spread, cr.spread), (left, top))


def _view_background(samples: Sequence[_Sample], region: LaneRegion) -> ViewBackground:
    """The view of the background, of which no more than the view needs is made."""
    planes = [plane_statistics(own) for own in zip(*(s.under for s in samples), strict=True)]
    luma, cb, cr = (region.view_of_under(p.median, chroma=k > 0) for k, p in enumerate(planes))
    spreads = [region.view_of_under(p.spread, chroma=k > 0) for k, p in enumerate(planes)]
    return ViewBackground((luma, cb, cr), (_view_sigma(spreads[0]), _view_sigma(spreads[1]), _view_sigma(spreads[2])))


def _view_sigma(spread: Image) -> NDArray[np.float32]:
    sigma = spread.astype(np.float32) / np.float32(IQR_PER_SIGMA)
    return np.maximum(np.asarray(cv2.blur(sigma, (3, 3))), np.float32(NOISE_FLOOR))


def _views(crop: Crop, region: LaneRegion) -> Views:
    cb, cr = (region.ball_view(plane, chroma=True) for plane in (crop.cb, crop.cr))
    return region.ball_view(crop.luma), cb, cr


def _under(crop: Crop, region: LaneRegion) -> Views:
    cb, cr = (region.under_view(plane, chroma=True) for plane in (crop.cb, crop.cr))
    return region.under_view(crop.luma), cb, cr


class Pace:
    """Which frames to look at: those of 30 frames a second and fewer all, of faster ones 25 to 41 a second."""

    def __init__(self) -> None:
        self._next_s = -np.inf

    def due(self, t_s: float) -> bool:
        """Whether to look at the frame at ``t_s`` seconds; frames are asked for in order of time."""
        if t_s < self._next_s:
            return False
        self._next_s = t_s + LOOK_EVERY_S
        return True


class BallWatcher:
    """Feeds on crops in order of time and gives the looks of frames whose background is known.

    Parameters
    ----------
    region : LaneRegion
        Region and ball-sized view of the lane.
    chroma_site : tuple of float
        Where the first chroma sample lies in upright luma pixels, see :class:`~tracker.detection.outline.Planes`.

    Attributes
    ----------
    spots : list of Spot
        All ball-sized changed places of the frames looked at so far, also of what moves as no bowled ball does.
    """

    def __init__(self, region: LaneRegion, chroma_site: tuple[float, float] = (0.5, 1.0)) -> None:
        self._region = region
        self._chroma_site = chroma_site
        self._waiting: deque[Crop] = deque()
        self._views: deque[Views] = deque()
        self._samples: deque[_Sample] = deque(maxlen=SAMPLES_KEPT)
        self._bytes = 0
        self._spotted: list[Spotted] = []
        self._ahead: list[Spotted] = []
        self.spots: list[Spot] = []

    def watch(self, crops: Iterable[Crop]) -> Iterator[FrameLook]:
        """Looks at every frame of ``crops``, in order; each crop's planes are let go once it has been looked at."""
        for crop in crops:
            self._waiting.append(crop)
            # reading a crop that has just been made is far cheaper than reading it again later
            self._views.append(_views(crop, self._region))
            self._bytes += crop.luma.nbytes * 3 // 2
            if not self._samples or crop.t_s - self._samples[-1].crop.t_s >= SAMPLE_S:
                self._samples.append(_Sample(crop, _under(crop, self._region)))
            span = crop.t_s - self._waiting[0].t_s
            if span >= BLOCK_S + AHEAD_S or self._bytes >= BUFFER_BYTES:
                yield from self._look(len(self._waiting) // 2)
        while self._waiting:
            begin = self._waiting[0].t_s
            yield from self._look(sum(crop.t_s <= begin + BLOCK_S for crop in self._waiting))

    def _samples_for(self, until_s: float) -> list[_Sample]:
        """Samples from before and only a little after a stretch: later on the pins have fallen."""
        past = [sample for sample in self._samples if sample.crop.t_s <= until_s + SHORT_AHEAD_S]
        return past[-SAMPLES_USED:] if len(past) >= SAMPLES_ENOUGH else list(self._samples)[:SAMPLES_USED]

    def median(self) -> Planes | None:
        """Median over the last seconds' samples, for pictures; None before the first frame."""
        if not self._samples:
            return None
        box = self._region.box
        return _background([s.crop for s in self._samples], self._chroma_site, (0, 0, box.width, box.height)).planes

    def _look(self, count: int) -> Iterator[FrameLook]:
        """Look at the first ``count`` waiting crops; the ones behind them help to tell what moves."""
        if not count:
            return
        last = self._waiting[count - 1].t_s
        samples = self._samples_for(last)
        view = _view_background(samples, self._region)
        spotted = list(self._ahead)
        for crop in islice(self._waiting, len(spotted), None):
            if crop.t_s > last + LINK_S[1]:
                break
            spotted.append(spot(crop, self._views.popleft(), view, self._region))
        moving = moving_spots([frame.spots for frame in (*self._spotted, *spotted)])
        crops = [self._waiting.popleft() for _ in range(count)]
        self._bytes -= sum(crop.luma.nbytes * 3 // 2 for crop in crops)
        chosen = [[s for s in frame.spots if s in moving][:MEASURED_SPOTS] for frame in spotted[:count]]
        outlines = _outlines(chosen, self._region)
        area = _area([outline for own in outlines for outline in own], self._region)
        background = area and _background([s.crop for s in samples], self._chroma_site, area)
        measured = _looks(crops, outlines, background, self._region) if background else [()] * count
        for crop, frame, found in zip(crops, spotted, measured, strict=False):
            self.spots += frame.spots
            yield FrameLook(crop.index, crop.t_s, found, frame.covered)
        recent = [*self._spotted, *spotted[:count]]
        self._spotted = [f for f in recent if f.spots and f.spots[0].t_s >= last - LINK_S[1]]
        self._ahead = spotted[count:]


def spot(crop: Crop, views: Views, background: ViewBackground, region: LaneRegion) -> Spotted:
    """Ball-sized changed places of one crop, of which these are the views, on the lane, best first."""
    changed = changed_share(views, background)
    candidates = find_candidates(changed)
    spots = tuple(
        Spot(crop.index, crop.t_s, float(region.x_in[c.column]), float(region.y_in[c.row]), pitch, c.score)
        for c, pitch in ((c, region.row_pitch_in(c.row)) for c in candidates)
        if abs(region.x_in[c.column]) <= REACH_IN
    )
    return Spotted(spots, float(changed.mean()))


def moving_spots(frames: list[tuple[Spot, ...]]) -> set[Spot]:
    """The spots on the longest runs of places along which a ball could have rolled down the lane."""
    spots = [s for frame in frames for s in frame]
    t, x, y, pitch = (np.array([getattr(s, name) for s in spots]) for name in ("t_s", "x_in", "y_in", "pitch_in"))
    gap, ahead, aside = t[:, None] - t, y[:, None] - y, np.abs(x[:, None] - x)
    near = (gap > 0) & (gap <= LINK_S[1])
    same = near & (gap >= STILL_S) & (np.abs(ahead) < STILL_PITCHES * pitch[:, None]) & (aside < SIDE_SLACK_IN)
    still = same.any(axis=0) | same.any(axis=1)
    slack = pitch[:, None] + pitch
    linked = near & (gap >= LINK_S[0]) & ~still & ~still[:, None] & (aside < SIDE_SLACK_IN + SIDE_SHARE * ahead)
    linked &= (ahead > np.maximum(BALL_SPEED_IN_S[0] * gap - slack / 2, slack / 2)) & (
        ahead < BALL_SPEED_IN_S[1] * gap + slack
    )
    into, onward = np.zeros(len(spots)), np.zeros(len(spots))
    moving = np.flatnonzero(linked.any(axis=1))
    for k in moving:
        into[k] = 1 + into[linked[k]].max()
    for k in moving[::-1]:
        onward[linked[k]] = np.maximum(onward[linked[k]], onward[k] + 1)
    length = into + onward
    least = max(1.0, RUN_SHARE * float(length.max(initial=0)))
    return {s for s, run in zip(spots, length, strict=True) if run >= least}


@dataclass(frozen=True, slots=True)
class _Outline:
    """A spot and the outline that a ball would have there."""

    spot: Spot
    rim: Rim
    radius_px: float


@dataclass(frozen=True, slots=True)
class _Sight:
    """A predicted outline, what is looked for there, and the rim that was followed, if any."""

    outline: _Outline
    sought: Sought
    fit: BallFit | None

    @property
    def followed(self) -> bool:
        return self.fit is not None and self.fit.rim_share >= FOLLOWED_SHARE

    @property
    def worth_a_look(self) -> bool:
        """Whether its rim is not followed but something is there that may be a ball."""
        return not self.followed and (self.fit is not None or self.outline.spot.score >= COARSE_SCORE)

    def by_rim_or_place(self) -> BallFit:
        """The little that is known without the disc."""
        return pulled(self.fit) if self.fit else coarse_fit(self.outline.rim.centre, self.outline.radius_px)


def _outlines(frames: list[list[Spot]], region: LaneRegion) -> list[list[_Outline]]:
    """Outlines at the spots of some frames, all made together."""
    radius = region.ball_radius_in
    places = np.array([(spot.x_in, spot.y_in, radius) for spots in frames for spot in spots])
    if not len(places):
        return [[] for _ in frames]
    rims = iter(sphere_rims(region.camera, places, radius))
    return [
        [
            _Outline(spot, rim, float(rim.radius_px.mean()))
            for spot, rim in zip(spots, islice(rims, len(spots)), strict=True)
        ]
        for spots in frames
    ]


def _area(outlines: list[_Outline], region: LaneRegion) -> Area | None:
    """The part of the crop in which some outlines are measured; None without any inside."""
    if not outlines:
        return None
    box = region.box
    centres = np.array([outline.rim.centre for outline in outlines]) - np.array([box.left, box.top])
    reach = np.array([[NEEDED_RADII * outline.radius_px + NEEDED_PX] for outline in outlines])
    size = np.array([box.width, box.height])
    low = np.clip(np.floor((centres - reach).min(axis=0)), 0, size).astype(int) // 2 * 2
    high = np.clip(np.ceil((centres + reach).max(axis=0)), 0, size).astype(int) // 2 * 2
    if np.any(high - low < 4):
        return None
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


def _looks(
    crops: list[Crop], outlines: list[list[_Outline]], background: Background, region: LaneRegion
) -> list[tuple[Detection, ...]]:
    """Balls at the outlines of each of some crops."""
    origin = (region.box.left + background.origin[0], region.box.top + background.origin[1])
    parts = [background.part(crop) if own else None for crop, own in zip(crops, outlines, strict=True)]
    sights = _sights([(p, o) for p, own in zip(parts, outlines, strict=True) for o in own if p], background, origin)
    sought, clear = iter(sights), []
    for own in outlines:
        # where one rim is clear, the other spots are hardly the ball: their places will do
        here = list(islice(sought, len(own)))
        clear += [any(sight.followed for sight in here)] * len(own)
    fits = iter(_fits(sights, clear, background.planes, origin))
    spots = [[outline.spot for outline in own] for own in outlines]
    tried = [[(spot, fit) for spot, fit in zip(own, islice(fits, len(own)), strict=True)] for own in spots]
    return _detections([[(spot, fit) for spot, fit in own if fit is not None] for own in tried], region)


def _detections(fits: list[list[tuple[Spot, BallFit]]], region: LaneRegion) -> list[tuple[Detection, ...]]:
    """What was fitted in each crop with its place on the lane; what lies above the horizon is none."""
    pixels = np.array([fit.centre_px for own in fits for _, fit in own]).reshape(-1, 2)
    places = iter(region.camera.back_project(pixels, region.ball_radius_in).tolist())
    looks = []
    for own in fits:
        placed = [(s, fit, *next(places)) for s, fit in own]
        found = [Detection(s.frame, s.t_s, fit, x, y, s.score) for s, fit, x, y in placed]
        looks.append(tuple(d for d in found if math.isfinite(d.x_in) and math.isfinite(d.y_in)))
    return looks


def _sights(outlines: list[tuple[Planes, _Outline]], background: Background, origin: tuple[int, int]) -> list[_Sight]:
    sought = [
        Sought(planes, o.rim, _noise_at(background, o.rim.centre - origin, o.radius_px), apparent_blur_px(o.radius_px))
        for planes, o in outlines
    ]
    fits = fit_balls(sought, background.planes, origin=origin)
    return [_sight(o, ball, fit) for (_, o), ball, fit in zip(outlines, sought, fits, strict=True)]


def _sight(outline: _Outline, sought: Sought, fit: BallFit | None) -> _Sight:
    far_off = max(1.0, MAX_SIZE_ERROR * outline.radius_px)
    if fit is None or fit.rim_share < MIN_RIM_SHARE or abs(fit.size_px) > far_off:
        return _Sight(outline, sought, None)
    behind = np.diag(np.square(PINS_BEHIND_PX)) if outline.spot.y_in > PINS_BEHIND_IN else np.zeros((2, 2))
    return _Sight(outline, sought, replace(fit, covariance=fit.covariance + behind))


def _fits(
    sights: Sequence[_Sight], clear: Sequence[bool], empty: Planes, origin: tuple[int, int]
) -> list[BallFit | None]:
    """Balls by rim and disc; by the disc where the rim is faint; by rim or place alone beside a ball that is clear."""
    looked = [s.followed or (s.worth_a_look and not other) for s, other in zip(sights, clear, strict=True)]
    own = [s for s, disc in zip(sights, looked, strict=True) if disc]
    discs = iter(fit_discs([s.sought for s in own], [s.fit if s.followed else None for s in own], empty, origin=origin))
    fits = [next(discs) if disc else None for disc in looked]
    return [fit or (s.by_rim_or_place() if s.worth_a_look else None) for s, fit in zip(sights, fits, strict=True)]


def _noise_at(background: Background, at: Array, radius_px: float) -> Array:
    """Noise ``(3,)`` of luma, Cb and Cr around a place of the crop, with floors for what compression smooths away."""
    sigma, place = np.empty(3), at.tolist()
    for k, (plane, scale) in enumerate(zip(background.noise, (1.0, 2.0, 2.0), strict=True)):
        reach = max(int(radius_px / scale), 2)
        column, row = (int(min(max(v / scale, 0), n - 1)) for v, n in zip(place, reversed(plane.shape), strict=True))
        near = plane[max(row - reach, 0) : row + reach + 1 : 3, max(column - reach, 0) : column + reach + 1 : 3]
        sigma[k] = float(np.sort(near, axis=None)[near.size // 2]) / IQR_PER_SIGMA
    return np.maximum(sigma, [NOISE_FLOOR, CHROMA_NOISE_FLOOR, CHROMA_NOISE_FLOOR])
