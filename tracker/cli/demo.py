"""``sixtyfeet demo``: measure, line up and report the practice session that comes with the program."""

from __future__ import annotations

import tempfile
from importlib import resources
from pathlib import Path

import click

from tracker.cli import options
from tracker.cli.lineup import line_up_folder
from tracker.cli.measure import Given, measure_clips
from tracker.cli.options import Status
from tracker.cli.report import report_folder
from tracker.cli.talk import Talk


@click.command()
@options.workers_option
@options.redo_option
@options.out_option(default=None)
@options.talk_options
@click.pass_context
def demo(context: click.Context, talk: Talk, *, workers: int, redo: bool, out: Path | None) -> None:
    """Find the lane of the rendered practice session that comes with the program, measure it, line up, and report.

    Without -o the results go into a new temporary folder. Prints the paths of table, line-up and page.
    """
    folder = out if out is not None else Path(tempfile.mkdtemp(prefix="sixtyfeet-demo-"))
    with resources.as_file(resources.files("sample_media")) as media:
        context.exit(run_demo(media, folder, talk, workers=workers, redo=redo))


def run_demo(media: Path, out: Path, talk: Talk, *, workers: int, redo: bool) -> Status:
    """Measure the folder's clips and say where everything is."""
    from tracker.batch.clips import clips_in_folder

    clips = clips_in_folder(media)
    talk.say(f"measuring {len(clips)} clips")
    given = Given(
        clips, None, out, session=media / "session.csv", balls=media / "balls.csv", workers=workers, redo=redo
    )
    status = measure_clips(given, talk)
    where = click.format_filename(out)
    talk.say(f"table {where}/shots.csv, lane grid {where}/lane.png, one folder a shot with overlay.png beside them")
    if status is not Status.DONE:
        return status
    status = line_up_folder(out, talk, session=media / "session.csv", balls=media / "balls.csv")
    return report_folder(out, talk) if status is Status.DONE else status
