"""A batch: skip what is done, measure the rest on a few processes, keep tables and manifest up to date."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from calibration.errors import SixtyfeetError
from tracker.batch.executors import Work, run_tasks
from tracker.batch.lane import session_lane
from tracker.batch.ledger import Batch, Ledger, Progress, is_done, missing_videos, stored_rows
from tracker.batch.manifest import load_manifest
from tracker.batch.plan import Request, plan_tasks
from tracker.batch.task import died_outcome, run_clip


class OutputFolderError(SixtyfeetError, OSError):
    """A folder that cannot take the results, with what to do about it."""


def run_batch(
    request: Request,
    *,
    tell: Callable[[Progress], None],
    stop: Callable[[], bool],
    say: Callable[[str], None] = lambda _sentence: None,
) -> Batch:
    """Measure the clips of a request into its folder.

    Parameters
    ----------
    request : Request
    tell : callable
        Called with a :class:`Progress` for every clip, as they finish.
    stop : callable
        Returns true when no further clip shall begin.
    say : callable
        Called with sentences about the lane, where it is found in the clips.

    Raises
    ------
    OutputFolderError, tracker.report.files.OutputError
        If the folder cannot be made or written to, or a table in it is not one of this program's.
    ManifestError
        If the folder's manifest is damaged.
    """
    prepare_folder(request.out)
    manifest = load_manifest(request.out)
    tasks = plan_tasks(request, manifest)
    rows = {row["shot_id"] for row in stored_rows(request.out)}
    done = [] if request.redo else [task for task in tasks if is_done(task, manifest, rows)]
    unfilmed = [replace(task, only_videos_of=missing) for task in done if (missing := missing_videos(task, manifest))]
    ledger = Ledger(request.out, manifest, total=len(tasks))
    later = {task.clip.clip_id for task in unfilmed}
    for task in done:
        if task.clip.clip_id not in later:
            tell(ledger.skip(task))
    skipped = {task.clip.clip_id for task in done}
    waiting = [task for task in tasks if task.clip.clip_id not in skipped]
    if request.calibration is None and waiting:
        lane = session_lane(
            request.out, [task.clip.path for task in waiting], request.lane_at, anew=request.redo, say=say
        )
        waiting = [replace(task, calibration=lane) for task in waiting]
    for task, outcome in run_tasks(Work(run_clip, died_outcome, stop), [*unfilmed, *waiting], request.workers):
        tell(ledger.skip(task, outcome) if task.only_videos_of else ledger.record(task, outcome))
    return ledger.close()


def prepare_folder(out: Path) -> None:
    """Make the folder and find out whether it can be written to.

    Raises
    ------
    OutputFolderError
        If not.
    """
    probe = out / f".probe.tmp-{os.getpid()}"
    try:
        out.mkdir(parents=True, exist_ok=True)
        probe.write_bytes(b"")
        probe.unlink()
    except OSError as error:
        msg = f"{out.name or out}: cannot write results there ({error.strerror}); choose another folder with -o"
        raise OutputFolderError(msg) from error
