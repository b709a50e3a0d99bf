"""``sixtyfeet report``: the page of a session, its data in other forms, or two sessions compared."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tracker.cli import options
from tracker.cli.options import Status
from tracker.cli.talk import Talk

if TYPE_CHECKING:
    from tracker.report.folder import SessionFolder

PAGE_NAME, COMPARE_NAME = "session.html", "compare.html"


@click.command()
@click.argument("out", metavar="OUT", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.argument(
    "other", metavar="[OTHER]", required=False, type=click.Path(exists=True, file_okay=False, path_type=Path)
)
@click.option("--excel", is_flag=True, help="Also the table with semicolons and decimal commas, for spreadsheets.")
@options.talk_options
@click.pass_context
def report(context: click.Context, /, talk: Talk, out: Path, other: Path | None, *, excel: bool) -> None:
    """Make the page of a measured session, or compare two.

    OUT is the folder that `measure` wrote; with `lineup` run before, the page begins with the line-up. Writes
    OUT/session.html, OUT/shots_long.csv and OUT/dictionary.csv. With OTHER it compares the two sessions, OUT being the
    earlier one, in OTHER/compare.html. Prints the page's path.

    \b
    sixtyfeet report tuesday_out
    sixtyfeet report tuesday_out thursday_out
    """
    if other is not None and excel:
        msg = "--excel belongs to one session; leave it out, or give one folder"
        raise click.UsageError(msg)
    if other is not None and out.resolve() == other.resolve():
        msg = "OUT and OTHER are the same folder; give two sessions"
        raise click.UsageError(msg)
    context.exit(report_folder(out, talk, excel=excel) if other is None else compare_folders(out, other, talk))


def report_folder(out: Path, talk: Talk, *, excel: bool = False) -> Status:
    """Write the page and the data of one session, and return the exit status."""
    from tracker.report.dataforms import table_texts
    from tracker.report.files import write_file
    from tracker.report.page.session import session_page

    folder = _read(out, talk)
    if folder is None:
        return Status.NO_RESULT
    if folder.lineup_trouble:
        talk.say(folder.lineup_trouble)
    texts = table_texts(folder.shots, excel=excel)
    for name, text in texts.items():
        write_file(out / name, text.encode("utf-8"))
    write_file(out / PAGE_NAME, session_page(out, folder).encode("utf-8"))
    talk.say(f"beside {PAGE_NAME}: {', '.join(sorted(texts))}")
    talk.data(out / PAGE_NAME)
    return Status.DONE


def compare_folders(out: Path, other: Path, talk: Talk) -> Status:
    """Write the page that compares two sessions, and return the exit status."""
    from tracker.report.files import write_file
    from tracker.report.page.compare import compare_page

    first, last = _read(out, talk), _read(other, talk)
    if first is None or last is None:
        return Status.NO_RESULT
    for folder in (first, last):
        if folder.lineup_trouble:
            talk.say(folder.lineup_trouble)
    write_file(other / COMPARE_NAME, compare_page((out, other), (first, last)).encode("utf-8"))
    talk.data(other / COMPARE_NAME)
    return Status.DONE


def _read(out: Path, talk: Talk) -> SessionFolder | None:
    from tracker.report.files import SHOTS_NAME
    from tracker.report.folder import read_folder

    if not (out / SHOTS_NAME).is_file():
        talk.warn(f"{click.format_filename(out)}: no {SHOTS_NAME} here; give the folder that `sixtyfeet measure` wrote")
        return None
    return read_folder(out)
