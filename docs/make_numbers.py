"""Write ``docs/numbers.md`` from the registries: ``python docs/make_numbers.py``."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from tracker.columns import COLUMNS, CURVE_COLUMNS, FIT_NUMBERS, PATH_COLUMNS, PIN_NUMBERS, Column
from tracker.flags import FLAGS, REASONS, Flag

PAGE = Path(__file__).with_name("numbers.md")

INTRODUCTION = """\
# What each number means

Made from `tracker/columns.py` and `tracker/flags.py` by `python docs/make_numbers.py`; change it there.

Boards are counted from the bowling hand's own edge: board n's middle is n, the lane's edges are 0.5 and 39.5. Distances
are feet past the foul line, those of the ball's centre. Heading is the fitted path's direction against the boards.
Everything up to contact is computed from the fitted path, the rest from the pictures of the pins. Where a quantity does
not exist in a shot its cell is empty, and `shot.json` says why.

Beside every number stands `<name>_u`, its standard uncertainty (1 sigma): the true value lies within two of it about 19
times in 20.
"""


def page() -> str:
    """Text of the page."""
    parts = [
        INTRODUCTION,
        "## Columns of `shots.csv`\n",
        column_table(COLUMNS),
        "## Columns of `path.csv`\n",
        column_table(PATH_COLUMNS),
        "## Curves\n\nIn `shot.json` under `curves`, at every whole foot in sight, each with its u.\n",
        column_table(CURVE_COLUMNS),
        "## Numbers of the physical fit\n\nIn `shot.json` under `physical_fit`, each with its u.\n",
        column_table(FIT_NUMBERS),
        "## Numbers of the pins\n\nIn `shot.json` under `pins`, each with its u.\n",
        column_table(PIN_NUMBERS),
        "## Reasons\n\nWhy a shot is `partial` or `failed`.\n",
        code_table(REASONS),
        "## Flags\n\nWhat to know about a shot, or why one of its cells is empty.\n",
        code_table(FLAGS),
    ]
    return "\n".join(parts)


def column_table(columns: Iterable[Column]) -> str:
    """Table of columns with unit and definition."""
    rows = [f"| `{c.name}` | {c.unit} | {c.definition} |" for c in columns]
    return "\n".join(["| column | unit | meaning |", "|---|---|---|", *rows, ""])


def code_table(flags: Iterable[Flag]) -> str:
    """Table of codes with what they mean and what to do."""
    rows = [f"| `{f.code}` | {f.text} | {f.what_to_do} |" for f in flags]
    return "\n".join(["| code | meaning | what to do |", "|---|---|---|", *rows, ""])


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
