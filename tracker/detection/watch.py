"""One forward pass over a clip's lane crops: background behind and a little ahead of each frame, and the balls in it.

Crops wait in a buffer of at most :data:`BUFFER_BYTES` until the frames that follow them have told the background, so a
clip is decoded once and memory does not grow with its length.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lane import GUTTER_WIDTH_IN, LANE_WIDTH_IN
from tracker.detection.background import IQR_PER_SIGMA, PlaneStatistics, plane_statistics
from tracker.detection.candidates import NOISE_FLOOR, ViewBackground, changed_share, find_candidates
from tracker.detection.disc import fit_disc, pulled, with_disc
from tracker.detection.outline import BallFit, Planes, Rim, apparent_blur_px, coarse_fit, fit_ball, sphere_rim
from tracker.detection.region import LaneRegion
from tracker.video.reader import Crop

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

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


@dataclass(frozen=True, slots=True)
class Background:
    """Background of one stretch of the clip: planes, spreads over time, and the same in the ball-sized view."""

    planes: Planes
    noise: tuple[Image, Image, Image]
    view: ViewBackground


def _background(samples: Iterable[Crop], region: LaneRegion, chroma_site: tuple[float, float]) -> Background:
    kept = list(samples)
    luma, cb, cr = (plane_statistics([getattr(c, name) for c in kept]) for name in ("luma", "cb", "cr"))
    view = ViewBackground(
        (
            region.ball_view(luma.median),
            region.ball_view(cb.median, chroma=True),
            region.ball_view(cr.median, chroma=True),
        ),
        (_view_sigma(region, luma), _view_sigma(region, cb, chroma=True), _view_sigma(region, cr, chroma=True)),
    )
    return Background(Planes(luma.median, cb.median, cr.median, chroma_site), (luma.spread, cb.spread, cr.spread), view)


def _view_sigma(region: LaneRegion, statistics: PlaneStatistics, *, chroma: bool = False) -> NDArray[np.float32]:
    spread = region.ball_view(statistics.spread, chroma=chroma).astype(np.float32) / np.float32(IQR_PER_SIGMA)
    return np.maximum(np.asarray(cv2.blur(spread, (3, 3))), np.float32(NOISE_FLOOR))


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
        self._samples: deque[Crop] = deque(maxlen=SAMPLES_KEPT)
        self._bytes = 0
        self._spotted: list[Spotted] = []
        self._ahead: list[Spotted] = []
        self.spots: list[Spot] = []

    def watch(self, crops: Iterable[Crop]) -> Iterator[FrameLook]:
        """Looks at every frame of ``crops``, in order; each crop's planes are let go once it has been looked at."""
        for crop in crops:
            self._waiting.append(crop)
            self._bytes += crop.luma.nbytes * 3 // 2
            if not self._samples or crop.t_s - self._samples[-1].t_s >= SAMPLE_S:
                self._samples.append(crop)
            span = crop.t_s - self._waiting[0].t_s
            if span >= BLOCK_S + AHEAD_S or self._bytes >= BUFFER_BYTES:
                yield from self._look(len(self._waiting) // 2)
        while self._waiting:
            begin = self._waiting[0].t_s
            yield from self._look(sum(crop.t_s <= begin + BLOCK_S for crop in self._waiting))

    def _samples_for(self, until_s: float) -> list[Crop]:
        """Samples from before and only a little after a stretch: later on the pins have fallen."""
        past = [crop for crop in self._samples if crop.t_s <= until_s + SHORT_AHEAD_S]
        return past[-SAMPLES_USED:] if len(past) >= SAMPLES_ENOUGH else list(self._samples)[:SAMPLES_USED]

    def median(self) -> Planes | None:
        """Median over the last seconds' samples, for pictures; None before the first frame."""
        return _background(self._samples, self._region, self._chroma_site).planes if self._samples else None

    def _look(self, count: int) -> Iterator[FrameLook]:
        """Look at the first ``count`` waiting crops; the ones behind them help to tell what moves."""
        if not count:
            return
        last = self._waiting[count - 1].t_s
        background = _background(self._samples_for(last), self._region, self._chroma_site)
        spotted = list(self._ahead)
        for crop in islice(self._waiting, len(spotted), None):
            if crop.t_s > last + LINK_S[1]:
                break
            spotted.append(spot(crop, background, self._region))
        moving = moving_spots([frame.spots for frame in (*self._spotted, *spotted)])
        for frame in spotted[:count]:
            self.spots += frame.spots
            crop = self._waiting.popleft()
            self._bytes -= crop.luma.nbytes * 3 // 2
            spots = [s for s in frame.spots if s in moving][:MEASURED_SPOTS]
            look = _look(crop, background, self._region, spots)
            yield replace(look, covered=frame.covered)
        recent = [*self._spotted, *spotted[:count]]
        self._spotted = [f for f in recent if f.spots and f.spots[0].t_s >= last - LINK_S[1]]
        self._ahead = spotted[count:]


def spot(crop: Crop, background: Background, region: LaneRegion) -> Spotted:
    """Ball-sized changed places of one crop on the lane, best first."""
    view = (region.ball_view(crop.luma), region.ball_view(crop.cb, chroma=True), region.ball_view(crop.cr, chroma=True))
    changed = changed_share(view, background.view)
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
class _Sight:
    """A spot's predicted outline, the noise there, and the rim that was followed, if any."""

    spot: Spot
    rim: Rim
    noise: Array
    fit: BallFit | None

    @property
    def followed(self) -> bool:
        return self.fit is not None and self.fit.rim_share >= FOLLOWED_SHARE


def _look(crop: Crop, background: Background, region: LaneRegion, spots: list[Spot]) -> FrameLook:
    planes = Planes(crop.luma, crop.cb, crop.cr, background.planes.chroma_site)
    sights = [_sight(planes, background, region, spot) for spot in spots]
    # where one rim is clear, the other spots are hardly the ball: their places will do
    clear = any(sight.followed for sight in sights)
    found = (_detection(planes, background, region, s, discs=s.followed or not clear) for s in sights)
    return FrameLook(crop.index, crop.t_s, tuple(d for d in found if d is not None))


def _sight(planes: Planes, background: Background, region: LaneRegion, spot: Spot) -> _Sight:
    rim = sphere_rim(region.camera, np.array([spot.x_in, spot.y_in, region.ball_radius_in]), region.ball_radius_in)
    radius_px = float(np.mean(rim.radius_px))
    origin = (region.box.left, region.box.top)
    noise = _noise_at(background, rim.centre - np.array(origin), radius_px)
    fit = fit_ball(planes, background.planes, rim, noise, origin=origin, blur_px=apparent_blur_px(radius_px))
    if fit is None or fit.rim_share < MIN_RIM_SHARE or abs(fit.size_px) > max(1.0, MAX_SIZE_ERROR * radius_px):
        return _Sight(spot, rim, noise, None)
    behind = np.diag(np.square(PINS_BEHIND_PX)) if spot.y_in > PINS_BEHIND_IN else np.zeros((2, 2))
    return _Sight(spot, rim, noise, replace(fit, covariance=fit.covariance + behind))


def _detection(
    planes: Planes, background: Background, region: LaneRegion, sight: _Sight, *, discs: bool
) -> Detection | None:
    """The ball by rim and disc; by its disc where the rim is faint; without ``discs`` by rim or place alone."""
    spot, rim, fit = sight.spot, sight.rim, sight.fit
    origin = (region.box.left, region.box.top)
    if fit is not None and sight.followed:
        fit = with_disc(fit, planes, background.planes, rim, noise=sight.noise, origin=origin) if discs else pulled(fit)
    elif fit is not None or spot.score >= COARSE_SCORE:
        disc = fit_disc(planes, background.planes, rim, sight.noise, origin=origin) if discs else None
        fit = disc or (fit and pulled(fit)) or coarse_fit(rim.centre, float(np.mean(rim.radius_px)))
    if fit is None:
        return None
    x, y = region.camera.back_project(fit.centre_px, region.ball_radius_in)
    if not (np.isfinite(x) and np.isfinite(y)):
        return None
    return Detection(spot.frame, spot.t_s, fit, float(x), float(y), spot.score)


def _noise_at(background: Background, at: Array, radius_px: float) -> Array:
    """Noise ``(3,)`` of luma, Cb and Cr around a place of the crop, with floors for what compression smooths away."""
    sigma = np.empty(3)
    for k, (plane, scale) in enumerate(zip(background.noise, (1.0, 2.0, 2.0), strict=True)):
        reach = max(int(radius_px / scale), 2)
        row, column = (int(np.clip(v / scale, 0, n - 1)) for v, n in zip(at[::-1], plane.shape, strict=True))
        near = plane[max(row - reach, 0) : row + reach + 1 : 3, max(column - reach, 0) : column + reach + 1 : 3]
        sigma[k] = float(np.partition(near, near.size // 2, axis=None)[near.size // 2]) / IQR_PER_SIGMA
    return np.maximum(sigma, [NOISE_FLOOR, CHROMA_NOISE_FLOOR, CHROMA_NOISE_FLOOR])
