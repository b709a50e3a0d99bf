"""Whether a measured path is a shot: what makes it partial or failed, and the sentence that says why."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.errors import Failure
from calibration.lane import INCHES_PER_FOOT, LANE_WIDTH_IN
from tracker.detection.watch import FrameLook
from tracker.path.motion import VX, VY, X, Y
from tracker.path.smooth import SmoothPath
from tracker.path.tempo import brakes
from tracker.shot.analyse import GUTTER_ROWS, OVER_EDGE_IN, Analysis, gutter_row
from tracker.shot.curves import MPH_PER_IN_S
from tracker.shot.tempo import TRUE, Tempo

WELL_SEEN_FT = (15.0, 55.0)
WELL_SEEN_SHARE = 0.5
PLAUSIBLE_MPH = (8.0, 26.0)
MAX_MEAN_NIS = 12.0
GUTTER_AFTER_ROWS = 8
NO_BALL = "no_ball"
SHORTEST_SHOT_S = 1.0
HIDES_SHARE, HIDES_SHOT_S = 0.3, 1.2
"""A bowler covers up to 0.15 of the lane's picture; a ball that nothing hides is in sight for two seconds."""
LOOSE_NIS, LOOSE_SHARE, FEW_ROWS = 3.0, 0.65, 8
"""What fits a ball's motion no better, and in no more of its frames, is a limb, a shadow or a reflection: balls hard to
see keep below 2 and above 0.7, or are seen seldom but where they should be (rendered scenes)."""
DIES_SHARE = 0.6
"""Friction takes a fifth of a ball's speed on its way to the pins, at most a third of a slow one's."""
STILL_SHARE = 0.15
"""Of its first speed a ball that is about to stop has less."""
GLIMPSE_FT, HARDLY_AWAY_FT = 20.0, 30.0
"""Limbs of a bowler before the foul line hide no more of the lane's sides than to here."""
EDGE_OF_CLIP_S = 0.15
WHOLE_CLIP_S = (-np.inf, np.inf)


SPEED_CHANGES = (
    "the ball's speed changes as no lane changes it: part of the clip plays slowed down, or is cut out; "
    "give the clip as it was recorded, or its slow part alone with --capture-fps"
)

SKIPS = "the ball skips from look to look: the picture is too noisy, or stored in too few bits, to follow it"


def status_of(
    path: SmoothPath,
    found: Analysis,
    tempo: Tempo = TRUE,
    clip_s: tuple[float, float] = WHOLE_CLIP_S,
    *,
    strict: SmoothPath | None = None,
) -> tuple[str, str, str]:
    """Status (``measured``, ``partial`` or ``failed``), reason code and sentence of a shot with a path.

    ``clip_s`` are the times of the clip's first and last picture; ``no_ball`` says that what was followed is no shot.
    ``strict`` is the path by the model that was not widened for it, where it was: that tells whether one ball rolls.
    """
    strict = path if strict is None else strict
    first, last = path.mean[0, Y] / INCHES_PER_FOOT, path.mean[path.last_seen, Y] / INCHES_PER_FOOT
    share = float(path.seen[: path.last_seen + 1].mean())
    speed = float(np.median(np.hypot(path.mean[:, VX], path.mean[:, VY])) * MPH_PER_IN_S)
    lost = f"the ball was last seen at {last:.1f} ft, too far from the pins to go on to them"
    short = f"the ball was seen from {first:.1f} to {last:.1f} ft in {share:.0%} of the frames"
    slow = f"the ball rolls at {speed:.1f} mph; is this slow motion? {tempo.advice}"
    slowed = f"the ball rolls at {speed:.1f} mph, and friction turns and slows it as in slow motion; {tempo.advice}"
    fast = (
        f"something goes down the lane at {speed:.1f} mph, faster than a ball is thrown; the ball itself was not seen"
    )
    late, ends = f"the clip begins with the ball at {first:.0f} ft", f"the clip ends with the ball at {last:.0f} ft"
    aside = found.gutter and not _rolled_before(path)
    emerges = f"the ball comes into sight only at {first:.0f} ft: somebody or something hides it before"
    cut = _cut_after(path, clip_s) or (first > WELL_SEEN_FT[0] and _cut_before(path, clip_s))
    verdicts = (
        (
            _loose(strict) and not cut,
            "failed",
            NO_BALL,
            "what moves there does not roll like a ball",
        ),
        (
            _dies(path) and not brakes(path) and not _rolls_out(path, clip_s),
            "partial",
            "ball_stops",
            f"the ball hardly moves any more at {last:.0f} ft",
        ),
        (tempo.changes, "failed", "speed_changes", SPEED_CHANGES),
        (tempo.skips, "failed", "track_implausible", SKIPS),
        (speed < PLAUSIBLE_MPH[0] and not tempo.true, "failed", "speed_implausible", slow),
        (tempo.slowed, "failed", "speed_implausible", slowed),
        (not speed <= PLAUSIBLE_MPH[1], "failed", "speed_implausible", fast),
        (
            float(np.nanmean(strict.nis)) > MAX_MEAN_NIS,
            "failed",
            "track_implausible",
            "it does not move as one rolling ball",
        ),
        (share < WELL_SEEN_SHARE / 2, "failed", "track_implausible", short),
        (
            _gains_speed(found),
            "failed",
            "track_implausible",
            "it gains speed; is the calibration of this place?",
        ),
        (
            _leaves_lane(path, found),
            "failed",
            "track_implausible",
            "it leaves the lane and returns; has the camera moved?",
        ),
        (aside and last < HARDLY_AWAY_FT, "failed", NO_BALL, "what moves there leaves the approach, but not as a ball"),
        (aside, "failed", "gutter", "it was seen in the gutter and hardly on the lane"),
        (found.gutter, "partial", "gutter", "the ball leaves the lane for the gutter"),
        (last < WELL_SEEN_FT[1] and _cut_after(path, clip_s), "partial", "pins_unseen", ends),
        (not path.reaches_pins, "partial", "ball_lost", lost),
        (first > WELL_SEEN_FT[0] and _cut_before(path, clip_s), "partial", "clip_starts_late", late),
        (first > WELL_SEEN_FT[0] and last >= WELL_SEEN_FT[1], "partial", "path_short", emerges),
        (first > WELL_SEEN_FT[0] or last < WELL_SEEN_FT[1] or share < WELL_SEEN_SHARE, "partial", "path_short", short),
    )
    return next(((status, reason, detail) for holds, status, reason, detail in verdicts if holds), ("measured", "", ""))


def _loose(path: SmoothPath) -> bool:
    """Whether what was followed was seldom or briefly there, and jumps about or is gone before half way."""
    first_ft, last_ft = path.mean[0, Y] / INCHES_PER_FOOT, path.mean[path.last_seen, Y] / INCHES_PER_FOOT
    share = float(path.seen[: path.last_seen + 1].mean())
    if last_ft < HARDLY_AWAY_FT:
        return share < LOOSE_SHARE or int(path.seen.sum()) < FEW_ROWS
    little = share < LOOSE_SHARE or last_ft - first_ft < GLIMPSE_FT
    return little and float(np.nanmean(path.nis)) > LOOSE_NIS


def _dies(path: SmoothPath) -> bool:
    """Whether a ball that does not reach the pins has surely lost far more speed than friction takes."""
    first, last = path.mean[0, VY], path.mean[path.last_seen, VY]
    spread = np.sqrt(path.covariance[0, VY, VY] + path.covariance[path.last_seen, VY, VY])
    thrown = first * MPH_PER_IN_S >= PLAUSIBLE_MPH[0]
    return bool(not path.reaches_pins and thrown and DIES_SHARE * first - last > 2 * spread)


def _rolls_out(path: SmoothPath, clip_s: tuple[float, float]) -> bool:
    """Whether the clip ends with the ball still on its way: a clip that slows down looks like a ball that does."""
    return _cut_after(path, clip_s) and bool(path.mean[path.last_seen, VY] > STILL_SHARE * path.mean[0, VY])


def _cut_before(path: SmoothPath, clip_s: tuple[float, float]) -> bool:
    """Whether the clip begins with the ball on its way."""
    return bool(path.t_s[0] - clip_s[0] <= EDGE_OF_CLIP_S)


def _cut_after(path: SmoothPath, clip_s: tuple[float, float]) -> bool:
    """Whether the clip ends with the ball on its way."""
    return bool(clip_s[1] - path.t_s[path.last_seen] <= EDGE_OF_CLIP_S)


def _gains_speed(found: Analysis) -> bool:
    """Whether the speed at the pins is surely above that at release: nothing on a lane drives a ball."""
    release, pins = (found.quantities[name] for name in ("speed_release_mph", "speed_pins_mph"))
    if release.value is None or release.u is None or pins.value is None or pins.u is None:
        return False
    return pins.value - release.value > 2 * float(np.hypot(release.u, pins.u))


def _leaves_lane(path: SmoothPath, found: Analysis) -> bool:
    """Whether a ball that stays out of the gutters was surely beyond the lane's edge for several frames."""
    beyond = np.abs(path.mean[:, X]) - 2 * np.sqrt(path.covariance[:, X, X]) > LANE_WIDTH_IN / 2 + OVER_EDGE_IN
    return not found.gutter and int(beyond.sum()) >= GUTTER_ROWS


def _rolled_before(path: SmoothPath) -> bool:
    """Whether the ball was measured on the lane for a while before it went into the gutter."""
    gutter = gutter_row(path)
    return gutter is not None and int(path.seen[:gutter].sum()) >= GUTTER_AFTER_ROWS


def no_shot(looks: Sequence[FrameLook], lasts_s: float, *, told_rate: bool = False) -> Failure:
    """Why a clip in which no ball was followed gives no shot.

    Parameters
    ----------
    looks : sequence of FrameLook
        All frames of the clip.
    lasts_s : float
        How long it lasts.
    told_rate : bool
        Whether that is by a frame rate that the person gave.
    """
    if lasts_s < SHORTEST_SHOT_S:
        slowed = ", at the speed that --capture-fps gives" if told_rate else ""
        return Failure("too_few_frames", f"lasts {lasts_s:.1f} s{slowed}, too short for a shot; film the whole of it")
    hidden_s = _hidden_s(looks)
    if hidden_s >= HIDES_SHOT_S:
        covers = f"but somebody or something covers much of it for {hidden_s:.1f} s"
        return Failure(
            "ball_hidden", f"no ball was seen to roll down this lane, {covers}; keep the view of the lane free"
        )
    return Failure(
        NO_BALL, f"no ball rolls down this lane in the {lasts_s:.1f} s of the clip; nobody throws, or not here"
    )


def _hidden_s(looks: Sequence[FrameLook]) -> float:
    """How long much of the lane looks other than it does empty."""
    steps = np.diff([look.t_s for look in looks])
    covered = np.array([look.covered for look in looks[1:]]) > HIDES_SHARE
    return float(steps[covered].sum()) if len(steps) else 0.0
