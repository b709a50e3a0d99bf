"""Files of a run's folder: written whole or not at all, equal bytes for equal input, safe to open in a spreadsheet."""

from __future__ import annotations

import contextlib
import csv
import io
import os
import re
import shutil
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from calibration.errors import SixtyfeetError
from tracker.columns import HEADER
from tracker.report.rows import FAILURE_HEADER, Row

SHOTS_NAME = "shots.csv"
FAILURES_NAME = "failures.csv"

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""A spreadsheet may run a cell that begins with one of these (the last four: their full-width forms)."""

_NUMBER = re.compile(r"-?[0-9]+(\.[0-9]+)?")
_QUOTED = re.compile(r'[",;\t\r\n]|^\s|\s$')
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")


class OutputError(SixtyfeetError, OSError):
    """A folder or file that cannot be written or is not one of this program's, with what to do about it."""


def write_tables(out: Path, rows: Iterable[Row], failures: Iterable[Row], *, gone: Collection[str] = ()) -> None:
    """Add rows to ``shots.csv`` and ``failures.csv``; rows of the same shot are replaced.

    Parameters
    ----------
    out : Path
        Folder of the run; made if missing.
    rows : iterable of dict of str to str
        From :func:`tracker.report.rows.shot_row` and its kin.
    failures : iterable of dict of str to str
        From :func:`tracker.report.rows.failure_row`. A shot in ``rows`` that is not here has its old failure removed.
    gone : collection of str
        Ids of shots that no longer exist, such as those of a clip that now gives others.

    Raises
    ------
    OutputError
        If the folder cannot be written, or a table in it is not one of this program's.
    """
    new_rows, new_failures = list(rows), list(failures)
    replaced = {text_cell(row["shot_id"]) for row in (*new_rows, *new_failures)} | {text_cell(name) for name in gone}
    for name, header, new in ((SHOTS_NAME, HEADER, new_rows), (FAILURES_NAME, FAILURE_HEADER, new_failures)):
        kept = [row for row in read_table(out / name, header) if text_cell(row["shot_id"]) not in replaced]
        latest = {text_cell(row["shot_id"]): row for row in (*kept, *new)}
        ordered = sorted(latest.values(), key=lambda row: natural_key(row["shot_id"]))
        write_file(out / name, csv_text(header, ordered).encode("utf-8"))


def read_table(file: Path, header: Sequence[str]) -> list[Row]:
    """Rows of a table of this program as they stand in the file; none if there is no file.

    Columns that the file lacks are empty, columns it has beside ``header`` are left out.

    Raises
    ------
    OutputError
        If the file is not such a table.
    """
    if not file.exists():
        return []
    try:
        reader = csv.DictReader(io.StringIO(file.read_bytes().decode("utf-8-sig"), newline=""), restval="")
        rows = list(reader)
    except (OSError, ValueError, csv.Error) as error:
        msg = f"{file.name}: cannot be read as a table ({error}); move it away, or choose another output folder"
        raise OutputError(msg) from error
    if "shot_id" not in (reader.fieldnames or ()):
        msg = f"{file.name}: has no column shot_id, so it is not this program's; move it away, or choose another folder"
        raise OutputError(msg)
    return [{name: row.get(name) or "" for name in header} for row in rows]


def csv_text(header: Sequence[str], rows: Iterable[Mapping[str, str]]) -> str:
    """Comma-separated text with one header row (RFC 4180); no text cell can run as a formula."""
    lines = [",".join(header)]
    for row in rows:
        cells = (row.get(name, "") for name in header)
        lines.append(",".join(quoted(cell if is_number(cell) else text_cell(cell)) for cell in cells))
    return "".join(f"{line}\r\n" for line in lines)


def text_cell(text: str) -> str:
    """Make a text harmless in a spreadsheet: an apostrophe before what may be a formula, no control characters.

    A cell that has been through it stays as it is.
    """
    clean = _CONTROL.sub("\ufffd", text)
    return f"'{clean}" if clean.startswith(FORMULA_STARTS) or clean.lstrip().startswith(FORMULA_STARTS) else clean


def is_number(cell: str) -> bool:
    """Whether a cell is a number as this program writes it."""
    return _NUMBER.fullmatch(cell) is not None


def quoted(cell: str) -> str:
    """A cell in quotes where it needs them."""
    return '"' + cell.replace('"', '""') + '"' if _QUOTED.search(cell) else cell


def natural_key(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key under which ``shot2`` comes before ``shot10``; case counts only between otherwise equal names."""
    parts = re.split(r"([0-9]+)", text.casefold())
    return (*((0, int(p), "") if p.isdecimal() else (1, 0, p) for p in parts if p), (2, 0, text))


def write_file(file: Path, content: bytes) -> None:
    """Write a file under a temporary name beside it, then rename; the folder is made if missing.

    Raises
    ------
    OutputError
        If the folder cannot be made or written.
    """
    temporary = file.with_name(f".{file.name}.tmp-{os.getpid()}")
    with written_into(file.parent):
        try:
            temporary.write_bytes(content)
            temporary.replace(file)
        finally:
            temporary.unlink(missing_ok=True)


def write_folder(folder: Path, files: Mapping[str, bytes | Path]) -> None:
    """Make a folder appear with all its files, or not at all; one that is there already is replaced.

    Contents that are too large to hold are given as files of the same disk, which are moved in.

    Raises
    ------
    OutputError
        If the folder above cannot be made or written.
    """
    temporary = folder.with_name(f".{folder.name}.tmp-{os.getpid()}")
    old = folder.with_name(f".{folder.name}.old-{os.getpid()}")
    with written_into(folder.parent):
        for leftover in (temporary, old):
            shutil.rmtree(leftover, ignore_errors=True)
        try:
            temporary.mkdir()
            for name, content in files.items():
                if isinstance(content, Path):
                    content.rename(temporary / name)
                else:
                    (temporary / name).write_bytes(content)
            _swap(temporary, folder, old)
        finally:
            shutil.rmtree(temporary, ignore_errors=True)
            shutil.rmtree(old, ignore_errors=True)


def remove_folder(folder: Path) -> None:
    """Remove a shot's folder that no longer stands for anything; nothing happens if there is none.

    Raises
    ------
    OutputError
        If it cannot be removed.
    """
    old = folder.with_name(f".{folder.name}.old-{os.getpid()}")
    if not folder.is_dir():
        return
    with written_into(folder.parent):
        folder.rename(old)
        shutil.rmtree(old)


def _swap(new: Path, folder: Path, old: Path) -> None:
    """Rename ``new`` to ``folder``; what stood there comes back if that fails."""
    if folder.exists():
        folder.rename(old)
    try:
        new.rename(folder)
    except OSError:
        if old.exists():
            old.rename(folder)
        raise


@contextlib.contextmanager
def written_into(folder: Path) -> Iterator[None]:
    """Make the folder, and turn trouble with writing into it into one sentence."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        yield
    except OSError as error:
        cause = error.strerror or str(error)
        msg = (
            f"cannot write into the output folder {folder.name or folder} ({cause}); choose another with -o, or free it"
        )
        raise OutputError(msg) from error
