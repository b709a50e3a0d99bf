"""``sixtyfeet lineup``: which ball and line to bowl with, and what to throw next, from a measured session."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tracker.cli import options
from tracker.cli.options import Status
from tracker.cli.talk import Talk

if TYPE_CHECKING:
    from tracker.lineup.window import Window

BOARDS, DEGREES = 40, 20


def _window(_context: click.Context, _option: click.Parameter, value: str | None) -> tuple[float, ...] | None:
    if value is None:
        return None
    try:
        low, high, low_deg, high_deg = (float(part) for part in value.split(","))
    except ValueError as error:
        msg = f"{value!r} is no window; give boards and degrees like 16.8,18.2,3,6"
        raise click.BadParameter(msg) from error
    if not (0 <= low < high <= BOARDS and 0 <= low_deg < high_deg <= DEGREES):
        msg = f"{value!r} is no window: boards from 0 to {BOARDS}, degrees from 0 to {DEGREES}, the lower first"
        raise click.BadParameter(msg)
    return low, high, low_deg, high_deg


@click.command()
@click.argument("out", metavar="OUT", type=click.Path(exists=True, file_okay=False, path_type=Path))
@options.session_option
@options.balls_option
@click.option(
    "--shots-left",
    type=click.IntRange(min=0),
    metavar="N",
    help="Practice shots left on a lane.  [default: ten less those thrown there]",
)
@click.option(
    "--window",
    metavar="B,B,D,D",
    callback=_window,
    help="What counts as the pocket: contact board from, to, entry angle from, to.  [default: 16.8,18.2,3,6]",
)
@options.talk_options
@click.pass_context
def lineup(context: click.Context, /, talk: Talk, out: Path, **given: Any) -> None:
    """Read a measured session: which ball, which line, how much room, what to throw next.

    OUT is the folder that `measure` wrote, best with six to twelve shots. Says the note and writes it with all numbers
    into OUT/lineup.json, whose path it prints.

    \b
    sixtyfeet lineup tuesday_out --balls balls.csv --shots-left 4
    """
    context.exit(line_up_folder(out, talk, **given))


def line_up_folder(
    out: Path,
    talk: Talk,
    *,
    session: Path | None = None,
    balls: Path | None = None,
    shots_left: int | None = None,
    window: tuple[float, float, float, float] | None = None,
) -> Status:
    """Read the folder, tell, write ``lineup.json``, and return the exit status."""
    from calibration.errors import Failure
    from tracker.lineup.lineup import line_ups
    from tracker.lineup.plain import line_up_data, no_line_up_data
    from tracker.lineup.words import CAUTIONS, left_out_lines, too_few_in_words
    from tracker.report.files import SHOTS_NAME, write_file
    from tracker.report.folder import LINEUP_NAME, table_hash
    from tracker.report.measured import not_measured, read_measured
    from tracker.report.shotfacts import read_facts
    from tracker.session.reading import fit_session
    from tracker.session.sheet import SheetError, read_balls, read_session

    if not (out / SHOTS_NAME).is_file():
        talk.warn(f"{click.format_filename(out)}: no {SHOTS_NAME} here; give the folder that `sixtyfeet measure` wrote")
        return Status.NO_RESULT
    try:
        sheet = None if session is None else read_session(session)
        bag = {} if balls is None else read_balls(balls)
    except SheetError as error:
        raise click.UsageError(str(error)) from error
    for said in () if sheet is None else not_measured(out, sheet):
        talk.warn(f"session sheet: {said}; measure with this sheet if they belong here")
    measured, made_from = read_measured(out, sheet), {"shots_sha256": table_hash(out)}
    reading = fit_session(measured.throws, bag, measured.left_out)
    if isinstance(reading, Failure):
        left_out, note = measured.left_out, [too_few_in_words(reading, measured.left_out), ""]
        data = no_line_up_data(reading, left_out, made_from=made_from)
    else:
        pocket, shots = _pocket(window), (t.shot_id for t in reading.posterior.fit.throws)
        left_out = reading.left_out
        found = line_ups(reading, read_facts(out, shots), pocket, shots_left)
        data = line_up_data(reading, found, pocket, left_out, made_from=made_from)
        note = [line for one in data["line_ups"] for line in one["words"]]
    for line in (*note, *left_out_lines(left_out), *CAUTIONS):
        talk.say(line)
    write_file(out / LINEUP_NAME, _text(data))
    talk.data(out / LINEUP_NAME)
    return Status.DONE


def _pocket(window: tuple[float, float, float, float] | None) -> Window:
    from tracker.lineup.window import Window

    return Window() if window is None else Window(*window)


def _text(data: Any) -> bytes:
    return (json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode("utf-8")
