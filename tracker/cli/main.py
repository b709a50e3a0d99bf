"""The program ``sixtyfeet``: its commands and what happens to errors."""

from __future__ import annotations

import sys

import click

from calibration.errors import SixtyfeetError
from tracker.batch.threads import limit_threads
from tracker.cli.calibrate import calibrate
from tracker.cli.demo import demo
from tracker.cli.doctor import doctor
from tracker.cli.lineup import lineup
from tracker.cli.measure import measure
from tracker.cli.options import Status
from tracker.cli.report import report
from tracker.version import VERSION


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(VERSION, prog_name="sixtyfeet")
def cli() -> None:
    """Measure ball paths from phone clips filmed behind a ten-pin bowling approach.

    \b
    calibrate  once for every place of the phone
    measure    clips into shots.csv, one row a shot
    lineup     which ball and line to bowl with, from those shots
    report     a page to look at, of one session or two compared
    demo       measure the clips that come with the program

    Results are on stdout, words on stderr. Exit status: 0 done, 3 some input gave no result, 2 usage, 1 anything else.
    """
    limit_threads()


for command in (calibrate, measure, lineup, report, demo, doctor):
    cli.add_command(command)


def main() -> None:
    """Run the program; errors with a known cause become one sentence and exit status 1."""
    try:
        cli(prog_name="sixtyfeet")
    except (SixtyfeetError, OSError) as error:
        click.echo(f"sixtyfeet: {error}", err=True)
        sys.exit(Status.ERROR)


if __name__ == "__main__":
    main()
