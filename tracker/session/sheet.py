"""Session and ball sheets: what the bowler noted, as CSV from any spreadsheet."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import NoReturn

from calibration.errors import SixtyfeetError
from calibration.lane import BALL_DIAMETER_MAX_IN, BALL_DIAMETER_MIN_IN, Hand
from tracker.columns import SHEET_COLUMNS

HANDS: Mapping[str, Hand] = {"right": "right", "r": "right", "left": "left", "l": "left"}
INTENTS = ("same", "move", "test", "spare")
EXECUTIONS = ("good", "in", "out", "fast", "slow")
NOTED_COLUMNS = (
    "clip",
    "ball",
    "hand",
    "lane",
    "line",
    "feet",
    "target",
    "intent",
    "execution",
    "standing",
    "note",
)

_DIAMETER_SLACK_IN = 0.1
NOBODY_STANDS = frozenset({"none", "0", "x", "strike", "/", "spare"})
_NUMBERS = re.compile(r"\d+")
_SHOT_ID = re.compile(r"(?P<stem>.+)-(?P<number>\d{2,})")
_BALL_NAMES = {"strength_rank": "strength"}


class SheetError(SixtyfeetError, ValueError):
    """A sheet that cannot be used: file, row, column, value, what to do."""


@dataclass(frozen=True, slots=True)
class SheetRow:
    """What was noted about one shot; empty where nothing was.

    Attributes
    ----------
    clip : str
        As written: a clip's file name, its stem, or a shot's id.
    row : int
        Row in the sheet, the header being 1.
    hand : {'right', 'left'} or None
    ball, lane, line, feet, target, intent, execution, standing, note : str
    other : mapping of str to str
        Further columns, as written.
    """

    clip: str
    row: int
    hand: Hand | None = None
    ball: str = ""
    lane: str = ""
    line: str = ""
    feet: str = ""
    target: str = ""
    intent: str = ""
    execution: str = ""
    standing: str = ""
    note: str = ""
    other: Mapping[str, str] = field(default_factory=dict)

    @property
    def texts(self) -> dict[str, str]:
        """Cells for the table of shots, by column name; notes are never among them."""
        return {name: (self.hand or "") if name == "hand" else str(getattr(self, name)) for name in SHEET_COLUMNS}

    @property
    def standing_pins(self) -> str:
        """``standing`` as tables name pins: ``4-7-10`` or ``none``; empty where it names none of that."""
        written = self.standing.strip().lower()
        if written in NOBODY_STANDS:
            return "none"
        numbers = [int(n) for n in _NUMBERS.findall(written)]
        if not numbers or _NUMBERS.sub("", written).strip(" -,;/+.&") or not all(1 <= n <= 10 for n in numbers):
            return ""
        return "-".join(str(n) for n in sorted(set(numbers)))


@dataclass(frozen=True, slots=True)
class SessionSheet:
    """Rows of a session sheet, in the order of the file."""

    rows: tuple[SheetRow, ...] = ()

    def for_clip(self, clip: str) -> tuple[SheetRow, ...]:
        """Rows that name a clip by its file name or stem (case ignored), for its shots 1, 2 .. in order."""
        names = _names(clip)
        return tuple(row for row in self.rows if _key(row.clip) in names)

    def for_shot(self, clip: str, number: int = 1) -> SheetRow | None:
        """Row of one shot of a clip, or None if the sheet has none.

        A row that names the shot (``stem-02``) comes first, then the row of that rank among those that name the clip.
        One row alone stands for every shot of its clip.
        """
        stem = PurePosixPath(_key(clip)).stem
        for row in self.rows:
            named = _SHOT_ID.fullmatch(_key(row.clip))
            if named and named["stem"] in {stem, _key(clip)} and int(named["number"]) == number:
                return row
        rows = self.for_clip(clip)
        if len(rows) == 1:
            return rows[0]
        return rows[number - 1] if 1 <= number <= len(rows) else None

    def standing_pins(self, clip: str, number: int, of: int) -> str:
        """Pins noted as standing after shot ``number`` of the ``of`` shots of a clip, as tables name them.

        Empty where nothing is noted, or where one row stands for several shots, which do not leave the same pins.
        """
        row = self.for_shot(clip, number)
        if row is None or any(self.for_shot(clip, k) is row for k in range(1, of + 1) if k != number):
            return ""
        return row.standing_pins

    def without_clip(self, clips: Iterable[str]) -> tuple[SheetRow, ...]:
        """Rows that name none of these clips, for a hint to the user."""
        given = list(clips)
        names = {name for clip in given for name in _names(clip)}
        stems = {PurePosixPath(_key(clip)).stem for clip in given}
        return tuple(row for row in self.rows if _key(row.clip) not in names and _stem_of_id(row.clip) not in stems)


@dataclass(frozen=True, slots=True)
class Ball:
    """One ball of the ball sheet.

    Attributes
    ----------
    name, surface : str
    strength : int or None
        Rank, 1 the strongest.
    diameter_in : float or None
    """

    name: str
    surface: str = ""
    strength: int | None = None
    diameter_in: float | None = None


def read_session(path: Path) -> SessionSheet:
    """Read a session sheet: CSV with ``,`` or ``;``, UTF-8, a header row with at least ``clip``.

    Raises
    ------
    SheetError
        If the file is no such sheet or a cell has a word that is not known.
    """
    return parse_session(_text(path), path.name)


def parse_session(text: str, name: str = "session sheet") -> SessionSheet:
    """Like :func:`read_session`, from the text of the sheet; ``name`` is used in messages."""
    return SessionSheet(tuple(_session_row(name, row, cells) for row, cells in _table(text, name, "clip")))


def read_balls(path: Path) -> dict[str, Ball]:
    """Read a ball sheet: balls by name, case folded.

    Raises
    ------
    SheetError
        If the file is no such sheet, names a ball twice, or a cell is not a number of the right size.
    """
    return parse_balls(_text(path), path.name)


def parse_balls(text: str, name: str = "ball sheet") -> dict[str, Ball]:
    """Like :func:`read_balls`, from the text of the sheet; ``name`` is used in messages."""
    balls: dict[str, Ball] = {}
    for row, cells in _table(text, name, "ball"):
        known = {_BALL_NAMES.get(key.replace(" ", "_"), key): cell for key, cell in cells.items()}
        ball = Ball(
            name=known["ball"],
            surface=known.get("surface", ""),
            strength=_rank(name, row, known.get("strength", "")),
            diameter_in=_diameter(name, row, known.get("diameter_in", "")),
        )
        if ball.name.casefold() in balls:
            _refuse(name, row, column="ball", value=ball.name, cure="each ball needs one row; remove the other")
        balls[ball.name.casefold()] = ball
    return balls


def _session_row(name: str, row: int, cells: Mapping[str, str]) -> SheetRow:
    known = {key: cells.get(key, "") for key in NOTED_COLUMNS}
    hand = _word(name, row, column="hand", value=known.pop("hand"), words=(*HANDS,))
    known["intent"] = _word(name, row, column="intent", value=known["intent"], words=INTENTS)
    known["execution"] = _word(name, row, column="execution", value=known["execution"], words=EXECUTIONS)
    other = {key: cell for key, cell in cells.items() if key not in NOTED_COLUMNS}
    return SheetRow(row=row, hand=HANDS.get(hand), other=other, **known)


def _word(name: str, row: int, *, column: str, value: str, words: tuple[str, ...]) -> str:
    word = value.casefold()
    if word and word not in words:
        _refuse(
            name, row, column=column, value=value, cure=f"use {', '.join(words[:-1])} or {words[-1]}, or leave it empty"
        )
    return word


def _rank(name: str, row: int, value: str) -> int | None:
    if value and not (value.isdecimal() and int(value) > 0):
        _refuse(name, row, column="strength", value=value, cure="give a rank: 1 for the strongest ball, 2 for the next")
    return int(value) if value else None


def _diameter(name: str, row: int, value: str) -> float | None:
    if not value:
        return None
    try:
        diameter = float(value.replace(",", "."))
    except ValueError:
        diameter = math.nan
    low, high = BALL_DIAMETER_MIN_IN - _DIAMETER_SLACK_IN, BALL_DIAMETER_MAX_IN + _DIAMETER_SLACK_IN
    if not low <= diameter <= high:
        rule = f"{BALL_DIAMETER_MIN_IN:.3f} to {BALL_DIAMETER_MAX_IN:.3f}"
        _refuse(
            name, row, column="diameter_in", value=value, cure=f"give inches, {rule} by the rules, or leave it empty"
        )
    return diameter


def _text(path: Path) -> str:
    try:
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        msg = f"{path.name}: is not UTF-8 text (byte {error.start}); save it from the spreadsheet as 'CSV UTF-8'"
        raise SheetError(msg) from error
    except OSError as error:
        msg = f"{path.name}: cannot be read ({error.strerror}); check the file"
        raise SheetError(msg) from error


def _table(text: str, name: str, needed: str) -> Iterator[tuple[int, dict[str, str]]]:
    """Rows that are not blank, with their number, by the header's names in lower case; cells stripped."""
    lines = text.lstrip("\ufeff")
    first = next((line for line in lines.splitlines() if line.strip()), "")
    delimiter = ";" if first.count(";") > first.count(",") else ","
    try:
        table = list(csv.reader(io.StringIO(lines, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        msg = f"{name}: cannot be read as CSV ({error}); save it from the spreadsheet as 'CSV UTF-8'"
        raise SheetError(msg) from error
    filled = [
        (number, [c.strip() for c in cells])
        for number, cells in enumerate(table, start=1)
        if any(map(str.strip, cells))
    ]
    header = _header(filled[0][1] if filled else [], name, needed)
    for row, cells in filled[1:]:
        if len(cells) > len(header) and any(cells[len(header) :]):
            _refuse(
                name,
                row,
                column=str(len(header) + 1),
                value=cells[len(header)],
                cure="put a cell with a comma into quotes",
            )
        found = {key: cell for key, cell in zip(header, cells, strict=False) if key}
        if not found.get(needed):
            _refuse(name, row, column=needed, value="", cure="fill it in or remove the row")
        yield row, found


def _header(cells: list[str], name: str, needed: str) -> list[str]:
    header = [cell.casefold() for cell in cells]
    if needed not in header:
        msg = f"{name}: the first row names no column {needed!r} ({', '.join(cells) or 'nothing'}); add a header row"
        raise SheetError(msg)
    twice = sorted({cell for cell in header if cell and header.count(cell) > 1})
    if twice:
        msg = f"{name}: column {twice[0]!r} stands twice in the first row; rename one"
        raise SheetError(msg)
    return header


def _refuse(name: str, row: int, *, column: str, value: str, cure: str) -> NoReturn:
    what = f"{value!r} is not usable" if value else "is empty"
    msg = f"{name}, row {row}, column {column}: {what}; {cure}"
    raise SheetError(msg)


def _key(clip: str) -> str:
    """Return a clip's name without folders, case folded."""
    return PurePosixPath(clip.replace("\\", "/")).name.casefold()


def _names(clip: str) -> frozenset[str]:
    key = _key(clip)
    return frozenset({key, PurePosixPath(key).stem})


def _stem_of_id(clip: str) -> str:
    named = _SHOT_ID.fullmatch(_key(clip))
    return named["stem"] if named else ""
