"""The columns of ``shots.csv`` and ``path.csv``: names, units, definitions and decimals, each once.

Tables, shot files and ``docs/numbers.md`` derive from this registry. A number's standard uncertainty stands in the
column ``<name>_u`` right after it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "number"]

UNCERTAINTY_SUFFIX = "_u"


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Attributes
    ----------
    name : str
        Name in the table; of a number it ends with the unit, or is a board or a ratio.
    unit : str
        ``board``, ``ft``, ``deg``, ``mph``, ``ft/s2``, ``rpm``, ``s``, ``1`` for a ratio, or empty for a text.
    definition : str
        What the number is, in a sentence.
    decimals : int
        Digits behind the point in tables; the uncertainty is written with one more.
    kind : {'text', 'number'}
        Numbers have an uncertainty beside them.
    title : str
        What people call it; where there is none, the name.
    """

    name: str
    unit: str
    definition: str
    decimals: int = 2
    kind: Kind = "number"
    title: str = ""

    @property
    def words(self) -> str:
        """What people call it."""
        return self.title or self.name.replace("_", " ")

    @property
    def u_name(self) -> str:
        """Name of the column of the standard uncertainty."""
        return f"{self.name}{UNCERTAINTY_SUFFIX}"

    @property
    def headers(self) -> tuple[str, ...]:
        """The column's names in the table's header."""
        return (self.name, self.u_name) if self.kind == "number" else (self.name,)


def _text(name: str, definition: str) -> Column:
    return Column(name, "", definition, decimals=0, kind="text")


SHEET_COLUMNS = ("lane", "ball", "hand", "line", "intent", "execution")
"""Columns of ``shots.csv`` that the session sheet can fill."""

COLUMNS: tuple[Column, ...] = (
    _text(
        "shot_id", "Name of the shot: the clip's name without its ending, and -01, -02 .. for several shots in a take."
    ),
    _text("clip", "File name of the clip."),
    _text("lane", "Lane, from the session sheet."),
    _text("ball", "Ball, from the session sheet."),
    _text("hand", "Hand by which boards are counted, right or left: from the session sheet, else from the path."),
    _text("line", "The bowler's own name for the line played, from the session sheet."),
    _text("intent", "What the shot was for, from the session sheet: same, move, test or spare."),
    _text("execution", "How well it was thrown, from the session sheet: good, in, out, fast or slow."),
    _text("status", "measured, partial (some numbers are missing for the reason given) or failed (no numbers)."),
    _text("reason", "Why the shot is partial or failed: a code, a colon, and the code in words."),
    _text("flags", "Codes of what to know about this shot, separated by blanks."),
    Column(
        "first_seen_ft", "ft", "Distance past the foul line where the path begins to be seen.", title="first seen at"
    ),
    Column("first_seen_board", "board", "Board where the path begins to be seen.", title="first seen on"),
    Column(
        "laydown_board",
        "board",
        "Board of the ball's first contact with the lane, at laydown_ft; empty if over 3 ft before the first sight.",
        title="laydown",
    ),
    Column(
        "laydown_ft",
        "ft",
        "Distance of the ball's first contact with the lane, not seen but taken as usual: 1.4 +- 0.4 ft, or the first "
        "sight if that is nearer, but 1.0 ft at least; empty if over 3 ft before the first sight.",
        title="laydown at",
    ),
    Column(
        "launch_angle_deg",
        "deg",
        "Mean heading over the first 5 ft after laydown (or after the first sight); positive toward the hand's gutter.",
        title="launch angle",
    ),
    Column("board_15ft", "board", "Board at 15 ft.", title="board at 15 ft"),
    Column("arrows_board", "board", "Board where the path crosses the chevron of the arrows.", title="at the arrows"),
    Column(
        "onset_ft",
        "ft",
        "Hook onset: the first distance beyond 15 ft where the heading has turned 1.0 deg toward the pocket "
        "from its value at 15 ft; empty for a straight ball.",
        title="hook onset",
    ),
    Column(
        "breakpoint_board",
        "board",
        "Board of the breakpoint: the point beyond 15 ft, not at either end, that lies farthest toward the "
        "hand's gutter, where the sideways velocity is zero.",
        title="breakpoint",
    ),
    Column("breakpoint_ft", "ft", "Distance of the breakpoint. It is not the end of the oil.", title="breakpoint at"),
    Column(
        "turn_deg", "deg", "Total turn of the heading from 15 ft to contact, positive toward the pocket.", title="turn"
    ),
    Column(
        "roll_ft",
        "ft",
        "Visible end of the hook: the distance where 90 % of turn_deg is done; empty if the ball still slips "
        "at contact.",
        title="end of hook",
    ),
    Column(
        "slip_end_ft",
        "ft",
        "Distance where the ball stops slipping and rolls, by the physical fit; empty if after contact.",
        title="slip ends",
    ),
    Column(
        "hook_length_ft",
        "ft",
        "roll_ft - onset_ft: a short one is a sharp hook, a long one a smooth one.",
        title="hook length",
    ),
    _text(
        "phase_at_pins",
        "What the ball is doing at contact: skid (onset not reached), hook (turning) or roll (slip has ended).",
    ),
    Column(
        "entry_angle_deg",
        "deg",
        "Mean heading over the last 1.0 ft before the first contact with a pin, positive toward the pocket.",
        title="entry angle",
    ),
    Column(
        "contact_board",
        "board",
        "Board of the ball's centre at its first contact with a pin; for a ball that misses them all, at 59.5 ft.",
        title="contact",
    ),
    Column(
        "contact_ft",
        "ft",
        "Distance of the ball's centre at its first contact with a pin; 59.5 ft for a ball that misses them all.",
        title="contact at",
    ),
    Column(
        "board_60ft",
        "board",
        "Board where the path, continued straight, crosses the line of the head pin's spot at 60 ft: higher "
        "than contact_board by 0.2 to 0.6.",
        title="board at 60 ft",
    ),
    Column("speed_release_mph", "mph", "Speed at laydown (or at the first sight).", title="speed at release"),
    Column("speed_pins_mph", "mph", "Speed at the first contact with a pin.", title="speed at the pins"),
    Column("boards_out", "board", "Boards from laydown out to the breakpoint.", title="boards out"),
    Column("boards_back", "board", "Boards from the breakpoint back to contact.", title="boards back"),
    Column(
        "deck_exit_board",
        "board",
        "Board where the ball crosses the end of the pin deck, 62 ft 10 3/16 in past the foul line.",
        title="leaves the deck",
    ),
    _text(
        "standing_pins",
        "Pins that stand at the last usable frame, such as 4-7-10, or none; what the session sheet notes comes before "
        "what is read; empty where the reading is not sure.",
    ),
)

NUMBERS: tuple[Column, ...] = tuple(c for c in COLUMNS if c.kind == "number")
HEADER: tuple[str, ...] = tuple(name for c in COLUMNS for name in c.headers)

PATH_COLUMNS: tuple[Column, ...] = (
    Column("frame", "", "Number of the frame in the clip, from 0; not a time.", decimals=0),
    Column("t_s", "s", "Time of the frame in the clip, as the file carries it.", decimals=6),
    Column("board", "board", "Board of the ball's centre.", decimals=4),
    Column("distance_ft", "ft", "Distance of the ball's centre past the foul line.", decimals=4),
    Column("board_u", "board", "Standard uncertainty of board.", decimals=4),
    Column("distance_ft_u", "ft", "Standard uncertainty of distance_ft.", decimals=4),
    Column("speed_mph", "mph", "Speed along the path.", decimals=3),
    Column("heading_deg", "deg", "Direction of the path against the boards, positive toward the pocket.", decimals=3),
    Column(
        "seen",
        "",
        "1 where the ball was measured in this frame, 0 where the path is carried by the model alone.",
        decimals=0,
    ),
)

CURVE_COLUMNS: tuple[Column, ...] = (
    Column("board", "board", "Board of the ball's centre.", decimals=3),
    Column("heading_deg", "deg", "Direction of the path against the boards, positive toward the pocket.", decimals=3),
    Column("speed_mph", "mph", "Speed along the path.", decimals=3),
    Column(
        "sideways_ft_s2",
        "ft/s2",
        "Acceleration across the lane: the second derivative by time of the distance from the lane's edge, positive "
        "toward the pocket; 32.2 would be that of gravity.",
    ),
)
"""Numbers of the path at every foot with standard uncertainties, in ``shot.json`` only."""

FIT_NUMBERS: tuple[Column, ...] = (
    Column("speed_mph", "mph", "Speed at first_seen_ft."),
    Column("heading_deg", "deg", "Direction against the boards at first_seen_ft, positive toward the pocket."),
    Column(
        "change_direction_deg",
        "deg",
        "Direction in which friction changes the velocity, the same until the ball rolls: 0 straight back, positive "
        "toward the pocket.",
    ),
    Column("change_mph", "mph", "Size of the change of velocity from first_seen_ft until the ball rolls."),
    Column(
        "forward_spin_rpm",
        "rpm",
        "Spin at first_seen_ft about the horizontal axis square to the ball's way, positive as of a rolling ball; "
        "with rev rate, axis tilt and axis rotation it is rate x cos(tilt) x cos(rotation).",
        decimals=0,
    ),
    Column(
        "side_spin_rpm",
        "rpm",
        "Spin at first_seen_ft about the horizontal axis along the ball's way, positive where it pulls toward the "
        "pocket: rate x cos(tilt) x sin(rotation).",
        decimals=0,
    ),
    Column(
        "oil_friction",
        "1",
        "Friction coefficient of oiled boards: the geometric mean along this path, where the ball slips in sight.",
        decimals=3,
    ),
    Column("dry_friction", "1", "Friction coefficient of dry boards, likewise.", decimals=3),
    Column(
        "oil_end_ft",
        "ft",
        "Distance where oiled boards become dry on this path: where the logarithm of friction is half way.",
        decimals=1,
    ),
)
"""Numbers of the physical fit, in ``shot.json`` only."""

PIN_NUMBERS: tuple[Column, ...] = (
    Column(
        "contact_offset_in",
        "in",
        "Distance of the ball's line before contact from the head pin's centre, positive where it passes on the side "
        "of the bowling hand.",
    ),
    Column("contact_s", "s", "Time of the first contact with a pin, by the ball's path.", decimals=4),
    Column(
        "contact_seen_s",
        "s",
        "The same by the pins' first motion in the picture: between the last picture without and the first with it.",
        decimals=4,
    ),
    Column(
        "deflection_deg",
        "deg",
        "Change of the ball's direction from before contact to the straight line from there to where it leaves the "
        "deck; positive away from the pocket, toward the bowling hand's side.",
    ),
    Column(
        "model_exit_board",
        "board",
        "Where a ball would leave the deck if ball and pins were smooth discs that are hit once: a check only, good to "
        "some boards.",
    ),
)
"""What the pins tell besides the table's columns, in ``shot.json`` only."""


def column(name: str) -> Column:
    """Look up a column of ``shots.csv``.

    Raises
    ------
    KeyError
        If no column has this name.
    """
    found = next((c for c in COLUMNS if c.name == name), None)
    if found is None:
        msg = f"no column {name!r} in tracker.columns; add it there first"
        raise KeyError(msg)
    return found
