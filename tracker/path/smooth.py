"""Kalman filter with gate and Rauch-Tung-Striebel smoother over one run, in lane units, measured in pixels."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from filterpy.kalman import KalmanFilter
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import LANE_WIDTH_IN, PIN_BELLY_RADIUS_IN, pin_positions
from tracker.detection.watch import Detection, FrameLook
from tracker.path.doubt import doubted_frames
from tracker.path.motion import (
    AX,
    AY,
    BU,
    BV,
    SIZE,
    VX,
    VY,
    MotionModel,
    X,
    Y,
    along_slip,
    measurement_matrix,
    predict_pixel,
)
from tracker.path.runs import Run

Array = NDArray[np.float64]

GATE = 25.0
"""Squared distance beyond which a detection is something else (chi-square, 2 degrees of freedom: 13.8 at 99.9 %)."""
ROBUST_FROM = 6.0
"""Beyond the 95 % point of chi-square, 2 degrees of freedom (5.99), a measurement counts for less (Huber)."""
BLIND_AFTER_S = 0.9
STARTS_FT = (4.0, 12.0, 22.0)
"""Where the filter begins, farther along only if it loses the ball: arms and shadows pull at first sights."""
ENOUGH_SHARE, FAR_MORE = 0.6, 1.5
"""Share of a run's detections from which on the ball is not lost, and how many times as many another start is to take:
one farther along may miss the ball's first feet."""
START_GATE = 9.2
MISSES_TO_STOP = 2
CARRY_S = 0.45
TURNS_SIGMA = 4.0
TURNS_IN_S = 8.0
STRAIGHT_JERK = 300.0
"""For a path in which the first pass shows no turn: in^2/s^5 across the lane."""
START_SLOWING_IN_S2 = -14.0
START_SPREAD = (3.0, 8.0, 15.0, 12.0, 14.0, 12.0)
"""On oil friction is 0.02 to 0.08, so slowing is 8 to 31 in/s^2 (wide on purpose: no measured values were found)."""


@dataclass(frozen=True, slots=True)
class SmoothPath:
    """Smoothed path of one ball, one row a frame from first to last sight.

    Attributes
    ----------
    frame : int64 array of shape (n,)
        Index of the decoded frame; -1 where the model alone carries the path beyond the last frame to the pins.
    t_s : ndarray of shape (n,)
        Container time, seconds.
    mean, covariance : ndarray of shape (n, 8) and (n, 8, 8)
        Smoothed states, see :mod:`tracker.path.motion`.
    pixel, pixel_covariance : ndarray of shape (n, 2) and (n, 2, 2)
        Measurements; NaN where the ball was not seen.
    seen : bool array of shape (n,)
        Whether the frame gave a measurement.
    nis : ndarray of shape (n,)
        Normalised innovation squared of each measurement (2 degrees of freedom), NaN where none.
    reaches_pins : bool
        Whether the last row is the first contact; else it is the last sight.
    start_covariance : ndarray of shape (8, 8)
        Covariance before the first measurement.
    """

    frame: NDArray[np.int64]
    t_s: Array
    mean: Array
    covariance: Array
    pixel: Array
    pixel_covariance: Array
    seen: NDArray[np.bool_]
    nis: Array
    reaches_pins: bool = True
    start_covariance: Array = field(default_factory=lambda: np.eye(SIZE))

    @property
    def last_seen(self) -> int:
        """Row of the last measurement."""
        return len(self.seen) - 1 - int(np.argmax(self.seen[::-1]))


@dataclass(slots=True)
class _Pass:
    """States of one filter pass, in the order in which the filter went."""

    looks: list[FrameLook]
    chosen: list[Detection | None]
    means: list[Array]
    covariances: list[Array]
    transitions: list[Array]
    noises: list[Array]
    nis: list[float]


def pin_gap_in(x_in: float, y_in: float, ball_radius_in: float) -> float:
    """Distance in inches from the ball's surface to the nearest pin's belly; negative in contact."""
    pins = pin_positions()
    return float(np.min(np.hypot(pins[:, 0] - x_in, pins[:, 1] - y_in)) - ball_radius_in - PIN_BELLY_RADIUS_IN)


def _start(run: Run, model: MotionModel, start_ft: float) -> tuple[float, Array, Array]:
    """Time to start at and a state there from a line through the next quarter second's sharp detections."""
    sharp = run.sharp if len(run.sharp) >= 4 else run.detections
    y = np.array([d.y_in for d in sharp])
    first = min(int(np.searchsorted(y, start_ft * 12.0)), max(len(y) - 4, 0))
    t0 = sharp[first].t_s
    near = [d for d in sharp[first:] if d.t_s - t0 <= 0.25]
    if len(near) < 3:
        near = list(sharp[first : first + 3])
    t = np.array([d.t_s - t0 for d in near])
    weight = np.array([1.0 / np.sqrt(d.fit.covariance[1, 1]) for d in near])
    ax, ay = (np.polyfit(t, np.array([getattr(d, k) for d in near]), 1, w=weight) for k in ("x_in", "y_in"))
    state = np.zeros(SIZE)
    state[[X, VX, Y, VY]] = ax[1], ax[0], ay[1], ay[0]
    spread = np.array([3.0, 25.0, 60.0, 12.0, 60.0, 60.0, model.bias_px[0], model.bias_px[1]])
    return t0, state, np.diag(spread**2)


def _choose(look: FrameLook, expected: Array, spread: Array, gate: float) -> tuple[Detection | None, float]:
    """The likeliest detection inside the gate, and its squared distance; a sharp one beats a vague one as near."""
    best: tuple[Detection | None, float] = (None, np.nan)
    least = np.inf
    if not (np.all(np.isfinite(expected)) and np.all(np.isfinite(spread))):
        return best
    for d in look.detections:
        miss = d.fit.centre_px - expected
        total = spread + d.fit.covariance
        distance = float(miss @ np.linalg.solve(total, miss))
        unlikely = distance + float(np.log(np.linalg.det(total)))
        if distance < gate and unlikely < least:
            best, least = (d, distance), unlikely
    return best


class _Tracker:
    """One filterpy filter going over looks in one direction of time."""

    def __init__(
        self,
        camera: Camera,
        ball_radius_in: float,
        model: MotionModel,
        start: tuple[Array, Array],
        *,
        gate: float = GATE,
    ) -> None:
        self._camera, self._radius, self._model, self._gate = camera, ball_radius_in, model, gate
        self._filter = KalmanFilter(dim_x=SIZE, dim_z=2)
        self._filter.x, self._filter.P = start[0].copy(), start[1].copy()

    @property
    def state(self) -> Array:
        return np.asarray(self._filter.x)

    def step(self, dt_s: float, look: FrameLook, record: _Pass) -> Detection | None:
        f, q = self._model.transition(dt_s), self._model.noise(dt_s)
        self._filter.predict(F=f, Q=q)
        h = measurement_matrix(self._camera, self._filter.x, self._radius)
        expected = predict_pixel(self._camera, self._filter.x, self._radius)
        chosen, distance = _choose(look, expected, h @ self._filter.P @ h.T, self._gate)
        if chosen is not None:
            linear = chosen.fit.centre_px - expected + h @ self._filter.x
            trust = max(1.0, distance / ROBUST_FROM)
            self._filter.update(linear, R=chosen.fit.covariance * trust, H=h)
        record.looks.append(look)
        record.chosen.append(chosen)
        record.means.append(self._filter.x.copy())
        record.covariances.append(self._filter.P.copy())
        record.transitions.append(f)
        record.noises.append(q)
        record.nis.append(distance if chosen is not None else np.nan)
        return chosen


def _sweep(tracker: _Tracker, looks: list[FrameLook], t0_s: float, ball_radius_in: float, *, until_lost: bool) -> _Pass:
    """Filter over ``looks`` until the pins, the foul line, or the ball is lost for good."""
    record = _Pass([], [], [], [], [], [], [])
    now, last_seen, misses = t0_s, t0_s, 0
    for look in looks:
        chosen = tracker.step(look.t_s - now, look, record)
        now = look.t_s
        state = tracker.state
        misses = 0 if chosen is not None else misses + bool(look.detections)
        last_seen = now if chosen is not None else last_seen
        if pin_gap_in(state[X], state[Y], ball_radius_in) <= 0 or abs(now - last_seen) > BLIND_AFTER_S:
            break
        if until_lost and (misses >= MISSES_TO_STOP or state[Y] < 0):
            break
    return record


_Tracked = tuple[_Pass, tuple[Array, Array]]
"""A pass over the whole path, and the state and covariance that it begins with."""


def _tracked(
    run: Run, looks: list[FrameLook], camera: Camera, ball_radius_in: float, *, model: MotionModel, gate: float
) -> _Tracked | None:
    """The pass from the nearest start, or from one farther along that takes far more of the run."""
    frames = {d.frame for d in run.detections}
    best: _Tracked | None = None
    most = 0
    for start_ft in STARTS_FT:
        found = _tracked_from(start_ft, run, looks, camera, ball_radius_in=ball_radius_in, model=model, gate=gate)
        own = [d for d in found[0].chosen if d is not None and d.frame in frames] if found is not None else []
        if best is None or len(own) > FAR_MORE * most:
            best, most = found, len(own)
        if len(own) >= ENOUGH_SHARE * len(frames) or _into_gutter(run, own):
            break
    return best


def _into_gutter(run: Run, taken: list[Detection]) -> bool:
    """Whether the run goes on beside the lane after the last detection taken: nothing was lost on the lane."""
    rest = [abs(d.x_in) for d in run.detections if taken and d.t_s > taken[-1].t_s]
    return bool(rest) and float(np.median(rest)) > LANE_WIDTH_IN / 2


def _tracked_from(
    start_ft: float,
    run: Run,
    looks: list[FrameLook],
    camera: Camera,
    *,
    ball_radius_in: float,
    model: MotionModel,
    gate: float,
) -> _Tracked | None:
    t0, state, spread = _start(run, model, start_ft)
    times = np.array([look.t_s for look in looks])
    here = int(np.searchsorted(times, t0 - 1e-9))
    ahead = _sweep(
        _Tracker(camera, ball_radius_in, model, (state, spread), gate=gate),
        looks[here:],
        t0,
        ball_radius_in,
        until_lost=False,
    )
    if len(ahead.looks) < 4:
        return None
    smooth = _rts(ahead)
    back_start = smooth[0][0], smooth[1][0] + np.diag([0.2, 4.0, 4.0, 1.0, 25.0, 4.0, 0.0, 0.0])
    back_tracker = _Tracker(camera, ball_radius_in, model, back_start, gate=START_GATE)
    back = _sweep(back_tracker, looks[:here][::-1], t0, ball_radius_in, until_lost=True)
    kept = _rolling_rows(back)
    begin = here - kept
    origin = back.means[kept - 1] if kept else smooth[0][0]
    wide = np.diag([*START_SPREAD, *model.bias_px]) ** 2
    start_state = origin.copy()
    start_state[[AX, AY, BU, BV]] = 0.0, START_SLOWING_IN_S2, 0.0, 0.0
    start = start_state, wide
    return _full(looks[begin:], camera, ball_radius_in, start=start, model=model, gate=gate), start


def _full(
    looks: list[FrameLook],
    camera: Camera,
    ball_radius_in: float,
    *,
    start: tuple[Array, Array],
    model: MotionModel,
    gate: float,
) -> _Pass:
    tracker = _Tracker(camera, ball_radius_in, model, start, gate=gate)
    record = _sweep(tracker, looks, looks[0].t_s, ball_radius_in, until_lost=False)
    _carry_to_pins(tracker, record, ball_radius_in)
    return record


def smooth_run(
    run: Run, looks: list[FrameLook], camera: Camera, ball_radius_in: float, *, model: MotionModel, gate: float = GATE
) -> tuple[SmoothPath, MotionModel] | None:
    """Filter and smooth the path of one run.

    The filter starts a few feet down the lane, goes to the pins, then back to the first frame in which the ball
    rolled on the lane (a ball in the air is not where a ball at rest on the lane would appear, and is gated out), and
    once more forward over everything; RTS smoothing follows (filterpy). All of it is done a second time with what the
    first pass has shown: where the path turns, the jerk is tied to the direction in which friction acts. Detections
    are chosen with the jerk of the sharpest hook; those chosen are then filtered with the jerk that this ball shows.

    Parameters
    ----------
    run : Run
        Detections of this ball.
    looks : list of FrameLook
        All frames of the clip in order of time.
    camera : Camera
        Camera of the upright frame.
    ball_radius_in : float
        Ball radius, inches.
    model : MotionModel
        Process noise.
    gate : float
        Squared distance beyond which a detection is taken for something else.

    Returns
    -------
    (SmoothPath, MotionModel) or None
        The path and the model it was smoothed with; None when fewer than four frames are left.
    """
    tracked = _tracked(run, looks, camera, ball_radius_in, model=model, gate=gate)
    doubtful = (
        doubted_frames(zip(tracked[0].looks, tracked[0].chosen, strict=True)) if tracked is not None else frozenset()
    )
    if doubtful:
        looks = [replace(look, detections=()) if look.frame in doubtful else look for look in looks]
        tracked = _tracked(run, looks, camera, ball_radius_in, model=model, gate=gate)
    path = _path(tracked[0], ball_radius_in, tracked[1][1]) if tracked is not None else None
    if path is None:
        return None
    first, last = path.mean[0], path.mean[path.last_seen]
    sigma = np.sqrt(path.covariance[0, VX, VX] + path.covariance[path.last_seen, VX, VX])
    turns = abs(last[VX] - first[VX]) > max(TURNS_SIGMA * sigma, TURNS_IN_S)
    change = last[[VX, VY]] - first[[VX, VY]]
    tied = along_slip(model, change) if turns else replace(model, jerk_xx=STRAIGHT_JERK)
    again = _tracked(run, looks, camera, ball_radius_in, model=tied, gate=gate)
    if again is None:
        return path, model
    record, start = again
    if turns:
        tied = along_slip(model, change, float(path.t_s[path.last_seen] - path.t_s[0]))
        record = _full(_chosen_only(record), camera, ball_radius_in, start=start, model=tied, gate=np.inf)
    smoothed = _path(record, ball_radius_in, start[1])
    return (smoothed, tied) if smoothed is not None else (path, model)


def _chosen_only(record: _Pass) -> list[FrameLook]:
    """The frames of a pass with nothing but the detections that it took."""
    own = [(look, d) for look, d in zip(record.looks, record.chosen, strict=True) if look.frame >= 0]
    return [replace(look, detections=() if d is None else (d,)) for look, d in own]


def _rolling_rows(back: _Pass) -> int:
    """How many rows of the backward pass, from its start, belong to the rolling ball.

    A lone hit behind a frame whose detections did not fit is the ball in the air that happens to lie in the gate.
    """
    seen = [k for k, d in enumerate(back.chosen) if d is not None]
    odd = [k for k, d in enumerate(back.chosen) if d is None and back.looks[k].detections]
    while (
        seen
        and any(k < seen[-1] for k in odd)
        and len([k for k in seen if k > max(o for o in odd if o < seen[-1])]) < 2
    ):
        seen.pop()
    return seen[-1] + 1 if seen else 0


def _carry_to_pins(tracker: _Tracker, record: _Pass, ball_radius_in: float) -> None:
    """Carry the path on by the model alone when the clip ends a moment before the pins."""
    step = float(np.median(np.diff([look.t_s for look in record.looks]))) if len(record.looks) > 1 else CARRY_S
    now = record.looks[-1].t_s
    last_seen = max((d.t_s for d in record.chosen if d is not None), default=now)
    while now - last_seen < CARRY_S and pin_gap_in(tracker.state[X], tracker.state[Y], ball_radius_in) > 0:
        now += step
        tracker.step(step, FrameLook(-1, now, ()), record)


def _rts(record: _Pass) -> tuple[Array, Array]:
    smoother = KalmanFilter(dim_x=SIZE, dim_z=2)
    means, covariances, *_ = smoother.rts_smoother(
        np.array(record.means), np.array(record.covariances), Fs=record.transitions, Qs=record.noises
    )
    return np.asarray(means), np.asarray((covariances + covariances.transpose(0, 2, 1)) / 2)


def _path(record: _Pass, ball_radius_in: float, start_covariance: Array) -> SmoothPath | None:
    seen = np.array([d is not None for d in record.chosen])
    if seen.sum() < 4:
        return None
    low, high = int(np.argmax(seen)), len(seen) - int(np.argmax(seen[::-1]))
    means, covariances = _rts(record)
    times = np.array([look.t_s for look in record.looks])
    gaps = np.array([pin_gap_in(m[X], m[Y], ball_radius_in) for m in means])
    contact = np.flatnonzero(gaps <= 0)
    reaches = bool(len(contact)) and times[contact[0]] - times[high - 1] <= CARRY_S
    if reaches:
        high = int(contact[0]) + 1
    blank = np.full((2, 2), np.nan)
    pixel = np.array([d.fit.centre_px if d is not None else blank[0] for d in record.chosen])
    spread = np.array([d.fit.covariance if d is not None else blank for d in record.chosen])
    cut = slice(low, high)
    return SmoothPath(
        frame=np.array([look.frame for look in record.looks])[cut],
        t_s=times[cut],
        mean=means[cut],
        covariance=covariances[cut],
        pixel=pixel[cut],
        pixel_covariance=spread[cut],
        seen=seen[cut],
        nis=np.array(record.nis)[cut],
        reaches_pins=reaches,
        start_covariance=start_covariance,
    )
