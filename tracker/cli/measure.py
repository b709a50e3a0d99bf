"""``sixtyfeet measure``: clips and folders into one table, with a line a clip while it works."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tracker.cli import options
from tracker.cli.options import Status
from tracker.cli.talk import Talk

if TYPE_CHECKING:
    from calibration.lane import Hand
    from tracker.batch.ledger import Batch, Progress
    from tracker.batch.plan import Request

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Given:
    """The command line of ``measure``; see the options of the same names."""

    inputs: tuple[Path, ...]
    calibration: Path | None
    out: Path
    session: Path | None = None
    balls: Path | None = None
    hand: Hand | None = None
    capture_fps: float | None = None
    lane_at: tuple[float, float] | None = None
    workers: int = 1
    redo: bool = False
    video: bool = False


@click.command()
@options.clips_argument
@options.calibration_option
@options.session_option
@options.balls_option
@options.hand_option
@options.capture_fps_option
@options.lane_at_option
@options.workers_option
@options.redo_option
@options.video_option
@options.out_option(required=True)
@options.talk_options
@click.pass_context
def measure(context: click.Context, /, talk: Talk, calibration: Path | None, **given: Any) -> None:
    """Measure the shots of clips into OUT/shots.csv, one row a shot.

    A folder stands for the video files in it. What OUT already holds is kept; clips measured before in the same way are
    skipped. Without --calibration the lane is found in the clips: look at OUT/lane.png, the lines must lie on the lane.
    Prints the path of the table.

    \b
    sixtyfeet measure tuesday/ --session tuesday.csv -o tuesday_out
    sixtyfeet measure tuesday/ --calibration lane12.json -o tuesday_out
    """
    if calibration is not None and given.get("lane_at") is not None:
        msg = "--lane-at is for a lane that is found in the clips; --calibration says which lane it is"
        raise click.UsageError(msg)
    context.exit(measure_clips(Given(calibration=calibration, **given), talk))


def measure_clips(given: Given, talk: Talk) -> Status:
    """Measure, tell, and return the exit status."""
    from tracker.batch.clips import find_clips
    from tracker.batch.engine import run_batch
    from tracker.batch.interrupt import stop_on_interrupt

    found = find_clips(given.inputs)
    for folder in found.empty_folders:
        talk.warn(f"{click.format_filename(folder)}: no clips in this folder; clips are files like .mp4 or .mov")
    if not found.paths:
        return Status.NO_RESULT
    request = _request(_without_encoder(given, talk), found.paths)
    _tell_of_sheet(request, talk)
    with stop_on_interrupt(lambda: talk.warn("stopping after the clips in work; Ctrl-C again stops at once")) as stop:
        batch = run_batch(request, tell=lambda progress: _tell(progress, talk), stop=stop, say=talk.say)
    return _conclude(batch, given, talk, all_found=not found.empty_folders)


def _without_encoder(given: Given, talk: Talk) -> Given:
    """Say once that no video can be written here, and go on without."""
    from tracker.report.marked.encode import encoder_here
    from tracker.report.marked.make import NO_ENCODER

    if not given.video or encoder_here():
        return given
    talk.warn(f"--video: {NO_ENCODER}, so there will be no marked-up videos; `sixtyfeet doctor` lists encoders")
    return replace(given, video=False)


def _request(given: Given, clips: tuple[Path, ...]) -> Request:
    """Read the files that the options name; a fault in one is a usage error that names the option."""
    from calibration.store import load
    from tracker.batch.plan import Request
    from tracker.session.sheet import SessionSheet, read_balls, read_session

    return Request(
        clips=clips,
        calibration=None if given.calibration is None else _read("--calibration", load, given.calibration),
        out=given.out,
        session=SessionSheet() if given.session is None else _read("--session", read_session, given.session),
        balls={} if given.balls is None else _read("--balls", read_balls, given.balls),
        hand=given.hand,
        capture_fps=given.capture_fps,
        lane_at=given.lane_at,
        workers=given.workers,
        redo=given.redo,
        video=given.video,
    )


def _tell_of_sheet(request: Request, talk: Talk) -> None:
    """Mention rows without a clip and balls without a row: most often a misspelt name."""
    lonely = request.session.without_clip([clip.name for clip in request.clips])
    if lonely:
        talk.say(f"session sheet: {', '.join(row.clip for row in lonely)} not among the clips given")
    balls = dict.fromkeys(row.ball for row in request.session.rows if row.ball)
    unknown = [ball for ball in balls if ball.casefold() not in request.balls]
    if request.balls and unknown:
        talk.say(f"session sheet: {', '.join(unknown)} not in the ball sheet")


def _read(option: str, reader: Callable[[Path], T], path: Path) -> T:
    from calibration.errors import SixtyfeetError

    try:
        return reader(path)
    except SixtyfeetError as error:
        raise click.BadParameter(str(error), param_hint=f"'{option}'") from error


def _tell(progress: Progress, talk: Talk) -> None:
    talk.clear_bar()
    for line in progress.lines:
        words = f"[{progress.done}/{progress.total}] {progress.clip}: {line}"
        (talk.warn if progress.failed else talk.say)(words)
    if progress.trace:
        talk.detail(progress.trace)
    talk.bar(progress.done, progress.total)


def _conclude(batch: Batch, given: Given, talk: Talk, *, all_found: bool) -> Status:
    talk.clear_bar()
    if batch.summary:
        talk.say(batch.summary)
    if batch.left:
        talk.warn(f"stopped with {batch.left} clips left; the same command goes on from here")
    if given.video:
        talk.say("marked.mp4 in the shots' folders can show people, so keep them to yourself")
    talk.data(given.out / "shots.csv")
    if batch.left:
        return Status.ERROR
    return Status.DONE if all_found and not batch.without_result else Status.NO_RESULT
