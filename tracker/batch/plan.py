"""From what was asked to one task a clip: ids, settings from the sheets, and what the result depends on."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

from calibration.lane import Hand
from calibration.store import Calibration, to_json
from tracker.batch.clips import NamedClip, name_clips
from tracker.batch.manifest import Manifest, hash_file, hash_text
from tracker.batch.task import ClipTask
from tracker.measure import MeasureSettings
from tracker.report.provenance import tool_versions
from tracker.session.sheet import Ball, SessionSheet, SheetRow
from tracker.version import VERSION

FOUND = "found"
"""In place of a calibration's hash: the lane is found in the clips, and every clip is checked against it."""


@dataclass(frozen=True, slots=True)
class Request:
    """What to measure, how, and into which folder.

    Attributes
    ----------
    clips : tuple of Path
    calibration : Calibration or None
        Where the camera is; None finds the lane in the clips.
    out : Path
    session : SessionSheet
        Its hands, balls and texts; notes go nowhere.
    balls : mapping of str to Ball
        By name, case folded.
    hand : {'right', 'left'} or None
        For clips whose hand the sheet does not tell; None sees it from the path.
    capture_fps : float or None
        True capture rate of slow-motion clips.
    lane_at : (float, float) or None
        Pixel of the upright frame on the lane to measure, where several are found.
    workers : int
    redo : bool
        Measure again what is unchanged.
    video : bool
        Make marked-up videos as well.
    """

    clips: tuple[Path, ...]
    calibration: Calibration | None
    out: Path
    session: SessionSheet = field(default_factory=SessionSheet)
    balls: Mapping[str, Ball] = field(default_factory=dict)
    hand: Hand | None = None
    capture_fps: float | None = None
    lane_at: tuple[float, float] | None = None
    workers: int = 1
    redo: bool = False
    video: bool = False


def plan_tasks(request: Request, manifest: Manifest) -> tuple[ClipTask, ...]:
    """One task a clip, in the order of the request; clips of the manifest keep their ids."""
    hashes = {path: hash_file(path) for path in request.clips}
    named = name_clips(request.clips, hashes, manifest.hashes)
    calibration_sha256 = FOUND if request.calibration is None else hash_text(to_json(request.calibration))
    return tuple(_task(clip, request, calibration_sha256) for clip in named)


def _task(clip: NamedClip, request: Request, calibration_sha256: str) -> ClipTask:
    sheet = sheet_of_clip(request.session, clip.path.name)
    settings = MeasureSettings(
        hand=hand_of(sheet.rows, request.hand),
        ball_diameter_in=diameter_of(sheet.rows, request.balls),
        capture_fps=request.capture_fps,
        lane_at=request.lane_at,
    )
    hashes = {"clip_sha256": clip.sha256, "calibration_sha256": calibration_sha256}
    as_json = json.loads(json.dumps(asdict(settings)))
    noted = hash_text(
        json.dumps(
            [{"clip": row.clip, "standing": row.standing_pins, **row.texts} for row in sheet.rows], sort_keys=True
        )
    )
    return ClipTask(
        clip=clip,
        calibration=_as_told(request.calibration),
        settings=settings,
        out=request.out,
        inputs={**hashes, "settings": as_json, "sheet_sha256": noted, "version": VERSION},
        sheet=sheet,
        provenance={"versions": tool_versions(), "settings": as_json, **hashes},
        video=request.video,
    )


def _as_told(calibration: Calibration | None) -> Calibration | None:
    """A calibration that a person gives says which lane it is, whoever bowls beside it."""
    return None if calibration is None else replace(calibration, neighbours_in=(), lane_doubtful=False)


def sheet_of_clip(session: SessionSheet, clip: str) -> SessionSheet:
    """Rows that name a clip or one of its shots."""
    others = {row.row for row in session.without_clip([clip])}
    return SessionSheet(tuple(row for row in session.rows if row.row not in others))


def hand_of(rows: Sequence[SheetRow], otherwise: Hand | None) -> Hand | None:
    """Hand that the rows of a clip agree on; None where they differ, ``otherwise`` where they tell none."""
    hands = {row.hand for row in rows if row.hand is not None}
    if not hands:
        return otherwise
    return hands.pop() if len(hands) == 1 else None


def diameter_of(rows: Sequence[SheetRow], balls: Mapping[str, Ball]) -> float | None:
    """Diameter in inches of the ball, if the rows of a clip name only balls of one known diameter."""
    found = {balls[name].diameter_in if (name := row.ball.casefold()) in balls else None for row in rows}
    return found.pop() if len(found) == 1 else None
