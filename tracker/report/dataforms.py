"""The table of shots in other forms: with decimal commas, one number a row, and what each column is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from tracker.columns import COLUMNS, HEADER, NUMBERS, PATH_COLUMNS, UNCERTAINTY_SUFFIX, Column
from tracker.flags import FLAGS, REASONS
from tracker.report.files import csv_text, is_number, quoted, text_cell
from tracker.report.folder import ShotEntry
from tracker.report.rows import FAILURE_HEADER, Row

EXCEL_NAME = "shots_excel.csv"
LONG_NAME = "shots_long.csv"
DICTIONARY_NAME = "dictionary.csv"

LONG_TEXTS = ("shot_id", "lane", "ball", "hand", "line", "intent", "execution", "status")
LONG_COLUMNS: tuple[Column, ...] = (
    *(c for c in COLUMNS if c.name in LONG_TEXTS),
    Column("name", "", "Name of the number: a column of shots.csv.", kind="text"),
    Column("value", "", "Its value, in the unit beside it; empty where there is none.", kind="text"),
    Column("u", "", "Its standard uncertainty in the same unit.", kind="text"),
    Column("unit", "", "Unit of both.", kind="text"),
    Column("missing", "", "Flag that says why there is no value.", kind="text"),
)
FAILURE_COLUMNS: tuple[Column, ...] = tuple(
    Column(name, "", words, kind="text")
    for name, words in zip(
        FAILURE_HEADER,
        (
            "File name of the clip.",
            "Name that the shot would have had.",
            "Reason, a code, a colon and the code in words.",
            "A sentence about this clip.",
            "What to do about it.",
        ),
        strict=True,
    )
)
DICTIONARY_HEADER = ("file", "name", "kind", "unit", "decimals", "meaning")
BYTE_ORDER_MARK = "\ufeff"


def excel_text(header: Sequence[str], rows: Iterable[Mapping[str, str]]) -> str:
    """Semicolons, decimal commas and a byte order mark: what spreadsheets of countries with decimal commas open.

    Pins such as ``4-7-10`` stand with blanks, ``4 7 10``, so that no spreadsheet makes a date of them. No text can run
    as a formula.
    """
    lines = [";".join(header), *(";".join(_excel_cell(n, row.get(n, "")) for n in header) for row in rows)]
    return BYTE_ORDER_MARK + "".join(f"{line}\r\n" for line in lines)


def _excel_cell(name: str, cell: str) -> str:
    if name == "standing_pins":
        return quoted(text_cell(cell.replace("-", " ")))
    return cell.replace(".", ",") if is_number(cell) and name in _NUMBER_HEADERS else quoted(text_cell(cell))


_NUMBER_HEADERS = frozenset(name for c in NUMBERS for name in c.headers)


def long_text(shots: Iterable[ShotEntry]) -> str:
    """One row a number of a shot: what statistics programs read."""
    return csv_text([c.name for c in LONG_COLUMNS], (row for shot in shots for row in _long_rows(shot)))


def _long_rows(shot: ShotEntry) -> Iterator[Row]:
    texts = {name: shot.row[name] for name in LONG_TEXTS}
    for column in NUMBERS:
        number = {"name": column.name, "value": shot.row[column.name], "u": shot.row[column.u_name]}
        missing = "" if number["value"] else shot.numbers[column.name].missing or ""
        yield texts | number | {"unit": column.unit, "missing": missing}


def dictionary_text() -> str:
    """What every column of every table is, from the registry, and every code."""
    tables = (
        ("shots.csv", COLUMNS),
        ("path.csv", PATH_COLUMNS),
        ("failures.csv", FAILURE_COLUMNS),
        (LONG_NAME, LONG_COLUMNS),
    )
    rows = [row for file, columns in tables for column in columns for row in _column_rows(file, column)]
    for kind, codes in (("reason", REASONS), ("flag", FLAGS)):
        rows += [_row("shots.csv", code.code, kind, f"{code.text} {code.what_to_do}".strip()) for code in codes]
    return csv_text(DICTIONARY_HEADER, rows)


def _column_rows(file: str, column: Column) -> Iterator[Row]:
    if column.kind == "text":
        yield _row(file, column.name, "text", column.definition)
        return
    yield _row(file, column.name, "number", column.definition, unit=column.unit, decimals=column.decimals)
    if file == "shots.csv":
        meaning = f"Standard uncertainty (1 sigma) of {column.name}."
        name = f"{column.name}{UNCERTAINTY_SUFFIX}"
        yield _row(file, name, "uncertainty", meaning, unit=column.unit, decimals=column.decimals + 1)


def _row(file: str, name: str, kind: str, meaning: str, *, unit: str = "", decimals: int | None = None) -> Row:
    cells = (file, name, kind, unit, "" if decimals is None else str(decimals), meaning)
    return dict(zip(DICTIONARY_HEADER, cells, strict=True))


def table_texts(shots: Sequence[ShotEntry], *, excel: bool) -> dict[str, str]:
    """All forms by file name."""
    out = {LONG_NAME: long_text(shots), DICTIONARY_NAME: dictionary_text()}
    return out | ({EXCEL_NAME: excel_text(HEADER, (s.row for s in shots))} if excel else {})
