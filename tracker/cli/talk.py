"""What the program says to a person: on stderr, one line a clip, and a bar only where there is a terminal."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import click

_BAR_WIDTH = 24


@dataclass(frozen=True, slots=True)
class Talk:
    """Words for people on stderr, data on stdout.

    Attributes
    ----------
    level : int
        -1 for ``-q`` (only what went wrong), 0, or 1 and more for ``-v``.
    """

    level: int = 0

    def quieter(self) -> Talk:
        """Return the same with one step less: what is usual only under ``-v``, and no data."""
        return Talk(self.level - 1)

    def say(self, text: str) -> None:
        """Tell how things go; silent under ``-q``."""
        if self.level >= 0:
            click.echo(text, err=True)

    def detail(self, text: str) -> None:
        """Tell what only ``-v`` shows."""
        if self.level > 0:
            click.echo(text, err=True)

    def warn(self, text: str) -> None:
        """Tell what went wrong; always."""
        click.echo(text, err=True)

    def data(self, path: Path) -> None:
        """Print the path of a result on stdout; nothing under ``-q``."""
        if self.level >= 0:
            click.echo(click.format_filename(path))

    def bar(self, done: int, total: int) -> None:
        """Draw the progress bar after the last line, if stderr is a terminal."""
        if self.level >= 0 and sys.stderr.isatty():
            filled = _BAR_WIDTH * done // max(total, 1)
            click.echo(f"\r[{'#' * filled}{'.' * (_BAR_WIDTH - filled)}] {done}/{total} ", err=True, nl=False)

    def clear_bar(self) -> None:
        """Remove the bar, so that a line can take its place."""
        if self.level >= 0 and sys.stderr.isatty():
            click.echo(f"\r{' ' * (_BAR_WIDTH + 24)}\r", err=True, nl=False)
