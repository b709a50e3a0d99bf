"""What a batch has done so far: the words for each clip, the tables and the manifest, always up to date on disk."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from tracker.batch.manifest import Entry, Manifest, save_manifest
from tracker.batch.task import ClipOutcome, ClipTask
from tracker.columns import HEADER
from tracker.report.files import SHOTS_NAME, read_table, text_cell, write_tables
from tracker.report.marked.make import VIDEO_NAME
from tracker.report.rows import Row, failed_row, failure_row, shot_row
from tracker.report.shot import remove_shot
from tracker.report.summary import summary_table
from tracker.results import ShotResult

SHOT_FILES = ("shot.json", "path.csv", "overlay.png")
"""Files of a complete shot; a shot without a path has only the first, and is measured again every time."""


@dataclass(frozen=True, slots=True)
class Progress:
    """One clip that is finished.

    Attributes
    ----------
    done, total : int
        Clips finished, this one included, and clips in all.
    clip : str
        File name.
    lines : tuple of str
        What came of it, a line a shot.
    failed : bool
        Whether it gave no measured or partial shot.
    trace : str
        Traceback of an unexpected error.
    """

    done: int
    total: int
    clip: str
    lines: tuple[str, ...]
    failed: bool = False
    trace: str = ""


@dataclass(frozen=True, slots=True)
class Batch:
    """How a batch ended.

    Attributes
    ----------
    summary : str
        Table of the shots for a person.
    without_result : int
        Clips that gave no measured or partial shot.
    left : int
        Clips not begun because the user stopped.
    """

    summary: str
    without_result: int = 0
    left: int = 0


class Ledger:
    """The growing result of one batch.

    After every clip the tables and then the manifest are written, so that a batch that dies is found as it was.

    Parameters
    ----------
    out : Path
        Folder of the run.
    manifest : Manifest
        What the folder held before.
    total : int
        Clips of this batch.
    """

    def __init__(self, out: Path, manifest: Manifest, total: int) -> None:
        self._out = out
        self._manifest = manifest
        self._total = total
        self._shot_ids: set[str] = set()
        self._done = 0
        self._without_result = 0

    def skip(self, task: ClipTask, added: ClipOutcome | None = None) -> Progress:
        """Note a clip whose shots are there already, and what was added to them."""
        ids = self._manifest.entries[task.clip.clip_id].shots
        cells = {text_cell(shot_id) for shot_id in ids}
        failed = all(row["status"] == "failed" for row in stored_rows(self._out) if row["shot_id"] in cells)
        words = "measured before in the same way, skipped (--redo measures it again)"
        if added is None:
            return self._count(task, ids, (words,), failed=failed)
        trouble = () if added.failure is None else (f"no marked-up video: {added.failure.detail}",)
        return self._count(task, ids, (words, *added.notes, *trouble), failed=failed, trace=added.trace)

    def record(self, task: ClipTask, outcome: ClipOutcome) -> Progress:
        """Put what a clip gave into tables and manifest."""
        rows, failures = outcome_rows(task, outcome)
        ids = tuple(row["shot_id"] for row in rows)
        gone = self._gone(task.clip.clip_id, ids)
        for shot_id in gone:
            remove_shot(self._out, shot_id)
        write_tables(self._out, rows, failures, gone=gone)
        failure = None if outcome.failure is None else (outcome.failure.reason, outcome.failure.detail)
        shots = tuple(shot.shot_id for shot in outcome.shots)
        earlier = self._manifest.entries.get(task.clip.clip_id)
        self._manifest = self._manifest.with_entry(
            task.clip.clip_id, Entry(task.clip.name, task.inputs, shots, failure)
        )
        save_manifest(self._out, self._manifest)
        lines = outcome_lines(task, outcome) + replaced_lines(task, earlier)
        return self._count(task, ids, lines, failed=gave_nothing(outcome), trace=outcome.trace)

    def close(self) -> Batch:
        """End the batch: the table of its shots, those measured before included."""
        rows = [row for row in stored_rows(self._out) if row["shot_id"] in self._shot_ids]
        return Batch(summary_table(rows), self._without_result, self._total - self._done)

    def _count(
        self, task: ClipTask, shot_ids: Sequence[str], lines: tuple[str, ...], *, failed: bool, trace: str = ""
    ) -> Progress:
        self._shot_ids.update(text_cell(shot_id) for shot_id in shot_ids)
        self._done += 1
        self._without_result += failed
        return Progress(self._done, self._total, task.clip.name, lines, failed=failed, trace=trace)

    def _gone(self, clip_id: str, now: Sequence[str]) -> tuple[str, ...]:
        """Ids that an earlier run gave this clip and that are nobody's now."""
        entries = dict(self._manifest.entries)
        earlier = entries.pop(clip_id, None)
        if earlier is None:
            return ()
        others = {shot_id for other, entry in entries.items() for shot_id in (other, *entry.shots)}
        return tuple(sorted({clip_id, *earlier.shots} - set(now) - others))


def stored_rows(out: Path) -> list[Row]:
    """Rows of the folder's table."""
    return read_table(out / SHOTS_NAME, HEADER)


def outcome_rows(task: ClipTask, outcome: ClipOutcome) -> tuple[list[Row], list[Row]]:
    """Rows of a clip for ``shots.csv`` and for ``failures.csv``."""
    name, clip_id = task.clip.name, task.clip.clip_id
    count = len(outcome.shots)
    rows = [shot_row(shot, _noted(task, k, count)) for k, shot in enumerate(outcome.shots, start=1)]
    failures = [failure_row(name, s.shot_id, s.reason, s.detail) for s in outcome.shots if s.status == "failed"]
    failure = outcome.failure
    if failure is not None:
        failures.append(failure_row(name, clip_id, failure.reason, failure.detail))
        rows += [] if rows else [failed_row(name, clip_id, failure, texts=_noted(task, 1, 1))]
    return rows, failures


def _noted(task: ClipTask, number: int, count: int) -> dict[str, str]:
    """Look up what the sheet says about the clip's shot of this number, from 1, of so many."""
    row = task.sheet.for_shot(task.clip.path.name, number)
    standing = task.sheet.standing_pins(task.clip.path.name, number, count)
    return {} if row is None else {**row.texts, "standing_pins": standing}


def outcome_lines(task: ClipTask, outcome: ClipOutcome) -> tuple[str, ...]:
    """Say what came of a clip: a line a shot, or the reason why there is none."""
    lines = [_shot_line(shot, several=len(outcome.shots) > 1) for shot in outcome.shots]
    if outcome.failure is not None:
        detail = outcome.failure.detail.removeprefix(f"{task.clip.name}: ").rstrip(".")
        lines.append(f"no shot: {detail} ({outcome.failure.reason})")
    return (*lines, *outcome.notes)


def replaced_lines(task: ClipTask, earlier: Entry | None) -> tuple[str, ...]:
    """Words for a clip that takes the place of another of the same name."""
    if earlier is None or not earlier.shots or earlier.inputs.get("clip_sha256") == task.inputs.get("clip_sha256"):
        return ()
    return (f"replaces an earlier {earlier.clip} with another content",)


def gave_nothing(outcome: ClipOutcome) -> bool:
    """Whether a clip gave no measured or partial shot, or was stopped by a failure."""
    return outcome.failure is not None or all(shot.status == "failed" for shot in outcome.shots)


def is_done(task: ClipTask, manifest: Manifest, rows: Collection[str]) -> bool:
    """Whether the folder holds this clip's shots, made from the same clip in the same way.

    Parameters
    ----------
    task : ClipTask
    manifest : Manifest
    rows : collection of str
        Ids of the shots in the folder's table.
    """
    entry = manifest.entries.get(task.clip.clip_id)
    if entry is None or entry.failure is not None or entry.inputs != task.inputs or not task.clip.sha256:
        return False
    here = all(text_cell(s) in rows and all((task.out / s / f).is_file() for f in SHOT_FILES) for s in entry.shots)
    return bool(entry.shots) and here


def missing_videos(task: ClipTask, manifest: Manifest) -> tuple[str, ...]:
    """Shots of a clip that is done which lack the marked-up video that is wanted."""
    entry = manifest.entries.get(task.clip.clip_id)
    if not task.video or entry is None:
        return ()
    return tuple(shot_id for shot_id in entry.shots if not (task.out / shot_id / VIDEO_NAME).is_file())


def _shot_line(shot: ShotResult, *, several: bool) -> str:
    name = f"{shot.shot_id} " if several else ""
    return f"{name}measured" if shot.status == "measured" else f"{name}{shot.status}: {shot.detail} ({shot.reason})"
