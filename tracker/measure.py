"""One clip, from its path to results: the only place that strings the stages together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.drift import move_in_boards, moved_px
from calibration.errors import CalibrationFileError, Failure
from calibration.lane import (
    BALL_DIAMETER_MAX_IN,
    BALL_DIAMETER_MIN_IN,
    BALL_RADIUS_IN,
    Hand,
)
from calibration.quality import verdict
from calibration.store import Calibration, check_frame
from tracker.detection.outline import Planes
from tracker.detection.region import LaneRegion, lane_region
from tracker.detection.watch import BallWatcher, FrameLook
from tracker.lane.attend import Attendance
from tracker.lane.check import Checked, check_place
from tracker.lane.hold import Holder
from tracker.lane.locate import Located, locate
from tracker.path.motion import VX, VY, MotionModel, X, Y
from tracker.path.passes import Places, places_of, slow_pass
from tracker.path.physical import fit_physical
from tracker.path.posterior import CommonErrors, PathDraws, draw_paths, lag_px, widen, widen_by_scatter
from tracker.path.reselect import CHOSEN_GATE, WORTH_ROWS, overlooked, reselect
from tracker.path.runs import Run, at_once, find_runs
from tracker.path.smooth import SmoothPath, smooth_run
from tracker.pins.contact import BallLine
from tracker.pins.read import NOT_READ, Deck, place_u_px, read_pins
from tracker.pins.stands import deck_view
from tracker.pins.watch import DeckWatcher
from tracker.results import ClipResult, LaunchFit, PinsReading, Scene, ShotResult, Stations, no_launch_fit
from tracker.shot.analyse import Arrows, analyse, gutter_row
from tracker.shot.curves import MPH_PER_IN_S
from tracker.shot.stations import station_summary
from tracker.shot.status import NO_BALL, SPEED_CHANGES, no_shot, status_of
from tracker.shot.table import distinct, path_table, rejoined
from tracker.shot.tempo import SLOW_MPH, Rate, judge_tempo
from tracker.video.errors import ClipError
from tracker.video.facts import ClipFacts
from tracker.video.reader import ClipReader
from tracker.video.source import median_interval_s
from tracker.watching import lane_crops, told_to

Array = NDArray[np.float64]

BALL_RADIUS_U_IN = (BALL_DIAMETER_MAX_IN - BALL_DIAMETER_MIN_IN) / 4 / np.sqrt(3)
"""Rectangular distribution over the legal diameters (JCGM 100, 4.3.7)."""
TOLD_DIAMETER_U_IN = 0.01
GAP_S = 0.2
WEAK_CONTRAST = 6.0
CLEAR_SHARE = 0.6
CAMERA_MOVED, OTHER_LANE, DISAGREES = "camera_moved", "lane_doubtful", "model_disagrees"
NEAR_PX = 3.0
"""A view that lies no farther from the calibration's own lets its windows follow the shake."""
NOWHERE = places_of((), ())
SMEARED_LAG_PX = 0.4
"""From here on the encoder leaves the ball among the pins where it was (7 u at 0.56 px; right at 0.28)."""
READOUT_U_S = 0.030 / np.sqrt(3)
"""A rolling shutter takes 0 to 30 ms from the first row to the last (rectangular, not corrected)."""


@dataclass(frozen=True, slots=True)
class MeasureSettings:
    """What is known about a clip besides its pictures.

    Attributes
    ----------
    hand : {'right', 'left'} or None
        Bowler's hand; None takes it from the hook.
    ball_diameter_in : float or None
        Ball's diameter; None takes the middle of the legal range.
    capture_fps : float or None
        Frames a second at which slow motion was recorded; None where the clip plays at true speed.
    lane_at : (float, float) or None
        A pixel (u, v) of the upright frame on the lane to measure, where the lane is found in the picture.
    """

    hand: Hand | None = None
    ball_diameter_in: float | None = None
    capture_fps: float | None = None
    lane_at: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class _Watched:
    looks: list[FrameLook]
    scene: Scene | None
    facts: ClipFacts
    time_scale: float
    calibration: Calibration
    flags: tuple[str, ...]
    lane_doubtful: bool = False
    notes: tuple[str, ...] = ()
    places: Places = NOWHERE
    deck: Deck | None = None

    @property
    def rate(self) -> Rate:
        """Frames a second of the times in which the clip was watched, and what its file says."""
        return Rate(1.0 / (self.facts.interval_median_s * self.time_scale), self.facts.capture_fps)


def measure_clip(path: Path, calibration: Calibration | None, settings: MeasureSettings) -> ClipResult:
    """Measure every shot of one clip.

    Never raises for a bad clip: what went wrong comes back as the result's failure.

    Parameters
    ----------
    path : Path
        The clip.
    calibration : Calibration or None
        Where its camera is, which is checked against the clip where the calibration has a reference: a small turn is
        corrected, and where the camera stands elsewhere the lane is looked for again. None finds the lane in the clip.
    settings : MeasureSettings
        Hand, ball, slow motion and lane, as far as known.
    """
    radius = (settings.ball_diameter_in / 2) if settings.ball_diameter_in else BALL_RADIUS_IN
    try:
        watched = _watched(path, calibration, radius, settings)
    except ClipError as error:
        return ClipResult(path.name, None, failure=Failure(error.reason, str(error)))
    except CalibrationFileError as error:
        return ClipResult(path.name, None, failure=Failure("frame_mismatch", str(error)))
    if isinstance(watched, Failure):
        return ClipResult(path.name, None, failure=watched)
    used = watched.calibration
    runs = find_runs(watched.looks, _pixel_at_pins_in(used, radius))
    result = ClipResult(path.name, watched.facts, calibration=used, notes=watched.notes)
    measure = _Measurer(used, settings, radius, watched)
    shots = _shots_of(runs, measure)
    told = any(q.value is not None for shot in shots for q in shot.quantities.values())
    if not told and not any(shot.reason == "gutter" for shot in shots):
        slow = _slow_shot(shots)
        failure = _slow_motion(watched, path.name) if slow is None else None
        if failure is not None:
            return replace(result, failure=failure)
        shots = shots if slow is None else [slow]
    if not shots:
        return replace(result, failure=_nothing_rolled(watched, path.name))
    names = [path.stem] if len(shots) == 1 else [f"{path.stem}-{k + 1:02d}" for k in range(len(shots))]
    named = tuple(replace(shot, shot_id=name, clip=path.name) for shot, name in zip(shots, names, strict=True))
    return replace(result, shots=named)


def _shots_of(runs: list[Run], measure: _Measurer) -> list[ShotResult]:
    """Shots of the runs that are balls, each ball once."""
    tried = [(run, measure.without([r for r in runs if r is not run and at_once(run, [r])]).shot(run)) for run in runs]
    kept = distinct([shot for _, shot in tried if shot.reason != NO_BALL])
    balls = {id(shot): run for run, shot in tried if any(shot is other for other in kept)}
    together = [at_once(balls[id(shot)], list(balls.values())) for shot in kept]
    return rejoined(
        [
            replace(shot, flags=(*shot.flags, "other_ball")) if also else shot
            for shot, also in zip(kept, together, strict=True)
        ]
    )


def _watched(
    path: Path, calibration: Calibration | None, radius: float, settings: MeasureSettings
) -> _Watched | Failure:
    """Watch the clip from where its camera is: as given, as given and turned, or found in the clip."""
    if calibration is None:
        located = locate(path, settings.lane_at)
        return located if isinstance(located, Failure) else _watch(path, _alone(located), radius, settings)
    watched = _watch(path, calibration, radius, settings)
    if not (isinstance(watched, Failure) and watched.reason in (CAMERA_MOVED, OTHER_LANE)):
        return watched
    located = locate(path, settings.lane_at)
    if isinstance(located, Failure):
        if calibration.how == "found":
            return located
        return Failure(CAMERA_MOVED, f"{path.name}: {watched.detail}; {located.detail}")
    anew = _watch(path, _alone(located), radius, settings)
    if isinstance(anew, Failure) or watched.reason == OTHER_LANE:
        return anew
    notes = (*_found_again(calibration, located.calibration), *anew.notes)
    return replace(anew, flags=("camera_found_again", *anew.flags), notes=notes)


def _alone(located: Located) -> Calibration:
    """The lane of its own clip, of which it was told already which one it is."""
    return replace(located.calibration, neighbours_in=())


def _found_again(before: Calibration, now: Calibration) -> tuple[str, ...]:
    """How far the camera stands from where it was, as the lane shows it."""
    if (before.camera.width, before.camera.height) != (now.camera.width, now.camera.height):
        return ("filmed from elsewhere than the calibration: the lane was found again",)
    away = moved_px(before.camera, now.camera)
    boards = move_in_boards(before.camera, now.camera)
    size = f"its points lie up to {away:.0f} px away" + (f", {boards:.0f} boards" if np.isfinite(boards) else "")
    return (f"filmed from elsewhere than the calibration: the lane was found again, {size}",)


def _watch(path: Path, calibration: Calibration, radius: float, settings: MeasureSettings) -> _Watched | Failure:
    with ClipReader(path) as reader:
        try:
            check_frame(calibration, reader.width, reader.height, reader.rotation_deg)
        except CalibrationFileError as error:
            if calibration.how != "found":
                raise
            return Failure(CAMERA_MOVED, str(error))
        first = reader.first_frame
        checked = check_place(calibration, first.luma)
        if isinstance(checked, Failure):
            return checked
        used = checked.calibration
        region = lane_region(used.camera, radius)
        if region is None:
            detail = f"{path.name}: the calibrated lane lies outside the frame; calibrate again"
            return Failure("camera_implausible", detail)
        scale = 1.0 / (settings.capture_fps * median_interval_s(path)) if settings.capture_fps else 1.0
        holder = Holder(used.camera, first, calibration.reference if checked.moved_px < NEAR_PX else None)
        watcher = BallWatcher(region, reader.chroma_site)
        attendance = Attendance(calibration if settings.lane_at is None else replace(calibration, neighbours_in=()))
        view = deck_view(used.camera)
        deck = None if view is None else DeckWatcher(view)
        crops = lane_crops(reader, region, holder, attendance=attendance, scale=scale, deck=deck)
        looks = holder.sure(told_to(deck, watcher.watch(crops)))
        failure = holder.failure()
        if failure is not None:
            return Failure(failure.reason, f"{path.name}: {failure.detail}")
        shaky, here = holder.corrected, attendance.here()
        if here is False and not shaky:
            return Failure(OTHER_LANE, "somebody bowls on another lane than the calibration's")
        said = {
            "camera_turned": checked.corrected,
            "shaky": shaky,
            "calibration_usable": used.verdict == "usable",
        }
        flags = tuple(flag for flag, holds in said.items() if holds)
        return _Watched(
            looks, _scene(watcher.median(), region), reader.facts(), scale,
            calibration=holder.widened(used), flags=flags, notes=(*_turned(checked), *_knocked(holder)),
            lane_doubtful=used.lane_doubtful and here is not True,
            places=places_of(watcher.spots, (look.t_s for look in looks)),
            deck=None if deck is None else _deck(deck, used, reader.facts()),
        )  # fmt: skip


def _deck(watcher: DeckWatcher, calibration: Calibration, facts: ClipFacts) -> Deck:
    place_px = place_u_px(calibration.camera, calibration.covariance)
    smeared = lag_px(facts.bits_per_pixel) > SMEARED_LAG_PX
    return Deck(watcher.view, watcher.passages(), place_px, smeared)


def _turned(checked: Checked) -> tuple[str, ...]:
    if not checked.corrected:
        return ()
    size = f"{checked.moved_px:.1f} px or up to {checked.moved_boards:.2f} boards"
    return (f"the camera has turned by {size} since the calibration, which was taken into account",)


def _knocked(holder: Holder) -> tuple[str, ...]:
    px, boards = holder.knock()
    if not px:
        return ()
    size = f"{px:.1f} px or up to {boards:.2f} boards"
    return (f"the view moved within the clip by {size}, by a knock or as the lens focused, and was followed",)


def _scene(planes: Planes | None, region: LaneRegion) -> Scene | None:
    if planes is None:
        return None
    height, width = planes.luma.shape
    chroma = [
        np.asarray(cv2.resize(p, (width, height), interpolation=cv2.INTER_LINEAR)) for p in (planes.cr, planes.cb)
    ]
    bgr = np.asarray(cv2.cvtColor(np.dstack([planes.luma, *chroma]), cv2.COLOR_YCrCb2BGR), dtype=np.uint8)
    return Scene(bgr, region.box.left, region.box.top)


def _pixel_at_pins_in(calibration: Calibration, radius: float) -> float:
    p = calibration.camera.project(np.array([[0.0, 715.0, radius], [0.0, 725.0, radius]]))
    return float(10.0 / max(abs(p[1, 1] - p[0, 1]), 1e-3))


def _slow_shot(shots: Sequence[ShotResult]) -> ShotResult | None:
    """Of shots without numbers the one that tells of slow motion; what else seems to move is then of no interest."""
    told = [shot for shot in shots if shot.reason in ("speed_changes", "speed_implausible") and shot.path is not None]
    slow = [shot for shot in told if shot.path is not None and float(np.median(shot.path.speed_mph)) < SLOW_MPH]
    return next((shot for shot in told if shot.reason == "speed_changes"), slow[0] if slow else None)


def _slow_motion(watched: _Watched, name: str) -> Failure | None:
    """What is said of a clip in which something goes down the lane more slowly than a bowled ball, if one does."""
    found = slow_pass(watched.places)
    if found is None:
        return None
    if found.changes:
        return Failure("speed_changes", f"{name}: {SPEED_CHANGES}")
    mph = found.speed_in_s * MPH_PER_IN_S
    said = f"{name}: what rolls down the lane does so at about {mph:.1f} mph; is this slow motion? "
    return Failure("speed_implausible", said + watched.rate.advice(mph))


def _nothing_rolled(watched: _Watched, name: str) -> Failure:
    failure = no_shot(watched.looks, watched.facts.duration_s * watched.time_scale, told_rate=watched.time_scale != 1.0)
    return Failure(failure.reason, f"{name}: {failure.detail}")


@dataclass(frozen=True, slots=True)
class _Smoothed:
    """A run's path, the model it was smoothed with, and the one before the path showed its turn.

    ``strict`` is the path by the model that was not widened for how its sights scatter, where this one was.
    """

    path: SmoothPath
    model: MotionModel
    base: MotionModel
    strict: SmoothPath | None = None


class _Measurer:
    """The stages after detection, for the runs of one clip."""

    def __init__(self, calibration: Calibration, settings: MeasureSettings, radius: float, watched: _Watched) -> None:
        self._calibration, self._settings, self._radius, self._watched = calibration, settings, radius, watched

    def without(self, others: Sequence[Run]) -> _Measurer:
        """The same for a clip in which these runs' balls are not to be seen."""
        if not others:
            return self
        taken = {id(d) for run in others for d in run.detections}
        looks = [
            replace(look, detections=tuple(d for d in look.detections if id(d) not in taken))
            for look in self._watched.looks
        ]
        return _Measurer(self._calibration, self._settings, self._radius, replace(self._watched, looks=looks))

    def shot(self, run: Run) -> ShotResult:
        """Measure one run; name and clip are filled in by the caller."""
        calibration, camera = self._calibration, self._calibration.camera
        contrast = float(np.median([d.fit.contrast for d in run.detections]))
        smoothed = self._smoothed(run)
        if smoothed is None:
            return ShotResult("", "", "failed", "path_short", "too few frames of this ball fit one path")
        told = self._settings.ball_diameter_in
        errors = CommonErrors(
            camera, calibration.covariance, self._radius, TOLD_DIAMETER_U_IN / 2 if told else float(BALL_RADIUS_U_IN)
        )
        path, draws, launch = self._likely_paths(run, smoothed, errors)
        found = analyse(
            path,
            draws,
            _arrows(calibration),
            self._radius,
            hand=self._settings.hand,
            timing_u=_timing_u(path, camera, self._radius),
        )
        table = path_table(path, draws, found.hand, self._watched.time_scale)
        tempo = judge_tempo(
            path, errors, smoothed.base, self._watched.places, rate=self._watched.rate,
            rolls=gutter_row(path) is None, strict=smoothed.strict,
        )  # fmt: skip
        looks = self._watched.looks
        pins = self._pins(path, draws, found.hand, reaches_pins=path.reaches_pins and not found.gutter)
        status, reason, detail = status_of(path, found, tempo, (looks[0].t_s, looks[-1].t_s), strict=smoothed.strict)
        if status == "measured" and self._watched.lane_doubtful:
            status, reason, detail = "partial", "lane_doubtful", "nobody was clearly seen to bowl on this lane"
        doubt = ("speed_doubtful",) if tempo.doubtful else ()
        flags = (*found.flags, *self._clip_flags(path, contrast), *_disagrees(launch), *doubt, *pins.flags)
        quantities = {**found.quantities, "deck_exit_board": pins.exit}
        return ShotResult(
            shot_id="", clip="", status=status, reason=reason, detail=detail, flags=tuple(dict.fromkeys(flags)),
            hand=found.hand, quantities={} if status == "failed" else quantities,
            launch=None if status == "failed" else launch.toward_pocket(found.hand),
            stations=None if status == "failed" or found.gutter else self._stations(path, draws, found.hand),
            curves=None if status == "failed" else found.curves,
            path=table, camera=camera, scene=self._watched.scene, pins=None if status == "failed" else pins,
        )  # fmt: skip

    def _smoothed(self, run: Run) -> _Smoothed | None:
        """The run's path; once more with a wider model where its sights scatter by more than the first one allows."""
        clarity = float(np.median([d.fit.contrast * d.fit.rim_share**2 for d in run.detections]))
        blurs = [d.fit.blur_px for d in run.detections if d.fit.how == "rim" and d.fit.rim_share >= CLEAR_SHARE]
        blur = float(np.median(blurs)) if blurs else np.nan
        base = widen(MotionModel(), clarity, self._watched.facts.bits_per_pixel, blur)
        looks, camera = self._watched.looks, self._calibration.camera
        first = smooth_run(run, looks, camera, self._radius, model=base)
        wider = widen_by_scatter(base, first[0]) if first is not None else None
        again = smooth_run(run, looks, camera, self._radius, model=wider) if wider is not None else None
        if first is None or wider is None or again is None:
            return None if first is None else _Smoothed(*first, base)
        return _Smoothed(*again, wider, strict=first[0])

    def _stations(self, path: SmoothPath, draws: PathDraws, hand: Hand) -> Stations | None:
        camera = self._calibration.camera
        return station_summary(
            draws, path.last_seen, hand, camera=camera, ball_radius_in=self._radius, readout_u_s=float(READOUT_U_S)
        )

    def _pins(self, path: SmoothPath, draws: PathDraws, hand: Hand, *, reaches_pins: bool) -> PinsReading:
        """What the pins say of the shot with this path."""
        deck = self._watched.deck
        if deck is None:
            return NOT_READ
        rows = np.concatenate([draws.mean[None], draws.draws])[:, -1]
        line = BallLine(float(path.t_s[-1]), rows[:, [X, Y, VX, VY]], self._radius)
        return read_pins(deck, line, hand, reaches_pins=reaches_pins)

    def _likely_paths(
        self, run: Run, smoothed: _Smoothed, errors: CommonErrors
    ) -> tuple[SmoothPath, PathDraws, LaunchFit]:
        """Equally likely paths by the physical fit; by the smoother for a gutter ball or where both disagree.

        Where detections were passed over, the fitted path has a second look at which of them was the ball.
        """
        path, model = smoothed.path, smoothed.model
        if gutter_row(path) is not None:
            return path, draw_paths(path, errors, model), no_launch_fit("gutter")
        looks = self._watched.looks
        timing_u = _timing_u(path, errors.camera, self._radius)
        fitted = fit_physical(path, errors, model, timing_u=timing_u)
        if fitted is not None and (overlooked(path, looks) >= WORTH_ROWS or not fitted.agrees):
            chosen = reselect(looks, fitted.draws, path, errors.camera, radius_in=self._radius, model=model)
            again = smooth_run(run, chosen, errors.camera, self._radius, model=smoothed.base, gate=CHOSEN_GATE)
            refitted = fit_physical(again[0], errors, again[1], timing_u=timing_u) if again is not None else None
            if again is not None and refitted is not None and (not fitted.agrees or _more_seen(again[0], path)):
                (path, model), fitted = again, refitted
        if fitted is not None and fitted.agrees:
            return path, fitted.draws, fitted.launch
        return path, draw_paths(path, errors, model), no_launch_fit(DISAGREES)

    def _clip_flags(self, path: SmoothPath, contrast: float) -> list[str]:
        facts = self._watched.facts
        seen = path.t_s[path.seen]
        said = {
            "weak_contrast": contrast < WEAK_CONTRAST,
            "gap": len(seen) > 1 and float(np.max(np.diff(seen))) > GAP_S,
            "variable_rate": facts.variable_rate,
            "dropped_frames": facts.missing_frames > 0,
            "truncated": facts.truncated,
            "hdr": facts.transfer in ("arib-std-b67", "smpte2084"),
            "calibration_poor": verdict(self._calibration) == "poor",
        }
        return [*self._watched.flags, *(flag for flag, holds in said.items() if holds)]


def _disagrees(launch: LaunchFit) -> tuple[str, ...]:
    """The flag of a shot whose numbers are the smoother's."""
    return (DISAGREES,) if any(q.missing == DISAGREES for q in launch.quantities.values()) else ()


def _timing_u(path: SmoothPath, camera: Camera, radius_in: float) -> tuple[float, float]:
    """Relative uncertainty of the speed at the first and at the last row by the rolling shutter.

    Rows are exposed one after another, so a ball that climbs at dv/dt seems off in speed by readout dv/dt / H.
    """
    shares = []
    for state in (path.mean[0], path.mean[-1]):
        ahead = camera.project(np.array([[state[X], state[Y], radius_in], [state[X], state[Y] + 1.0, radius_in]]))
        shares.append(float(abs(ahead[1, 1] - ahead[0, 1]) * state[VY] * READOUT_U_S / camera.height))
    return shares[0], shares[1]


def _arrows(calibration: Calibration) -> Arrows:
    modelled = not any(name.startswith("arrow_") for name in calibration.marks_px)
    return Arrows(
        calibration.arrow_centre_ft,
        calibration.arrow_centre_sd_ft,
        calibration.arrow_slope_ft,
        calibration.arrow_slope_sd_ft,
        modelled,
    )


def _more_seen(path: SmoothPath, before: SmoothPath) -> bool:
    return int(path.seen.sum()) > int(before.seen.sum())
