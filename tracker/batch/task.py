"""One clip of a batch, in whatever process: measure it, write its shots' folders, bring failures back as values."""

from __future__ import annotations

import traceback
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2

from calibration.errors import Failure
from calibration.store import Calibration
from tracker.batch.clips import NamedClip
from tracker.measure import MeasureSettings, measure_clip
from tracker.report.marked.folder import add_video
from tracker.report.provenance import clip_provenance
from tracker.report.shot import write_shot
from tracker.results import ShotResult
from tracker.session.sheet import SessionSheet


@dataclass(frozen=True, slots=True)
class ClipTask:
    """What one process needs to measure one clip.

    Attributes
    ----------
    clip : NamedClip
    calibration : Calibration or None
    settings : MeasureSettings
    out : Path
        Folder that takes the shots' folders.
    inputs : mapping of str to object
        Everything the result depends on, as JSON values: hashes, settings, version; see
        :class:`tracker.batch.manifest.Entry`.
    sheet : SessionSheet
        Its rows for this clip.
    provenance : mapping of str to object
        Written beside every shot.
    video : bool
        Make marked-up videos as well.
    only_videos_of : tuple of str
        Shots that are measured already, of which nothing but the marked-up video is missing; then nothing is measured.
    """

    clip: NamedClip
    calibration: Calibration | None
    settings: MeasureSettings
    out: Path
    inputs: Mapping[str, Any] = field(default_factory=dict)
    sheet: SessionSheet = field(default_factory=SessionSheet)
    provenance: Mapping[str, Any] = field(default_factory=dict)
    video: bool = False
    only_videos_of: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ClipOutcome:
    """What one clip gave: small enough to send between processes.

    Attributes
    ----------
    shots : tuple of ShotResult
        Without path and pictures, which are in the shots' folders.
    failure : Failure or None
        What stopped the clip.
    notes : tuple of str
        What is to be told of the camera and of videos.
    trace : str
        Traceback of an unexpected error, for ``-v``.
    """

    shots: tuple[ShotResult, ...] = ()
    failure: Failure | None = None
    notes: tuple[str, ...] = ()
    trace: str = ""


def run_clip(task: ClipTask) -> ClipOutcome:
    """Measure the clip and write its shots' folders; never raises for anything a clip can do."""
    cv2.setNumThreads(1)
    try:
        return _videos_added(task) if task.only_videos_of else _measured(task)
    except OSError as error:
        detail = f"{task.clip.name}: cannot read or write ({error.strerror or error}); check the disk and the folder"
        return ClipOutcome(failure=Failure("io_error", detail), trace=traceback.format_exc())
    except Exception as error:  # one clip's bad luck must not end the batch
        return failed_outcome(task, error, traceback.format_exc())


def failed_outcome(task: ClipTask, error: BaseException, trace: str = "") -> ClipOutcome:
    """Outcome of a clip whose process died or that met a fault of this program."""
    what = f"{type(error).__name__}: {error}".rstrip(": ")
    detail = f"{task.clip.name}: unexpected fault while measuring ({what}); run again with -v and report it"
    return ClipOutcome(failure=Failure("internal_error", detail), trace=trace)


def died_outcome(task: ClipTask, error: BaseException) -> ClipOutcome:
    """Outcome of a clip that killed its process while it was alone in it."""
    if isinstance(error, RuntimeError):  # BrokenProcessPool
        detail = f"{task.clip.name}: measuring it ended its process; the file is damaged or memory ran out"
        return ClipOutcome(failure=Failure("worker_died", detail))
    return failed_outcome(task, error)


def _measured(task: ClipTask) -> ClipOutcome:
    result = measure_clip(task.clip.path, task.calibration, task.settings)
    named = [_renamed(shot, task.clip) for shot in result.shots]
    provenance = clip_provenance(task.provenance, facts=result.facts, calibration=result.calibration)
    if result.notes:
        provenance["camera_notes"] = list(result.notes)
    notes = list(result.notes)
    for number, shot in enumerate(named, 1):
        noted = task.sheet.standing_pins(task.clip.path.name, number, len(named))
        video_of = task.clip.path if task.video else None
        no_video = write_shot(task.out, shot, provenance, noted_standing=noted, video_of=video_of)
        notes += [] if no_video is None else [_no_video(task, shot.shot_id, no_video)]
    small = tuple(_small(shot) for shot in named)
    return ClipOutcome(small, result.failure, tuple(notes))


def _videos_added(task: ClipTask) -> ClipOutcome:
    tried = [(shot_id, add_video(task.out / shot_id, task.clip.path)) for shot_id in task.only_videos_of]
    made = [shot_id for shot_id, failure in tried if failure is None]
    words = [f"marked-up video added: {', '.join(made)}"] if made else []
    return ClipOutcome(notes=(*words, *(_no_video(task, name, f) for name, f in tried if f is not None)))


def _no_video(task: ClipTask, shot_id: str, failure: Failure) -> str:
    """Say of a measured shot why it has no marked-up video."""
    name = "" if shot_id == task.clip.clip_id else f"{shot_id} "
    return f"{name}no marked-up video: {failure.detail.removeprefix(f'{task.clip.name}: ')} ({failure.reason})"


def _small(shot: ShotResult) -> ShotResult:
    """Return the shot without path and pictures."""
    pins = shot.pins and replace(shot.pins, pictures=(), outlines_px=())
    return replace(shot, path=None, scene=None, camera=None, pins=pins)


def _renamed(shot: ShotResult, clip: NamedClip) -> ShotResult:
    """Return the shot under the clip's own id, which may differ from its stem."""
    take = shot.shot_id.removeprefix(clip.path.stem)
    return replace(shot, shot_id=f"{clip.clip_id}{take}", clip=clip.name)
