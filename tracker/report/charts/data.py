"""What charts draw: small frozen data without files, boards counted from the hand's edge unless said otherwise."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from calibration.lane import Hand
from tracker.results import Quantity

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """One number of a shot over the distance.

    Attributes
    ----------
    distance_ft, value : ndarray of shape (n,)
        Feet past the foul line, ascending, and the number there.
    u : ndarray of shape (n,) or None
        Its standard uncertainty; None where the file does not tell it.
    """

    distance_ft: Array
    value: Array
    u: Array | None = None


@dataclass(frozen=True, slots=True, eq=False)
class ChartShot:
    """One shot as charts need it; everything but the name may be missing.

    Attributes
    ----------
    shot_id, ball, line : str
        Texts of the bowler; they may hold anything.
    hand : {'right', 'left'}
        Hand by whose edge boards are counted.
    board, heading_deg, speed_mph, sideways_ft_s2 : Curve or None
        Heading and sideways acceleration are positive toward the pocket.
    numbers : mapping of str to Quantity
        The columns of ``shots.csv`` by name; what is missing may be absent.
    standing : tuple of int or None
        Pins that stand after the shot; None where that is not known.
    gutter : bool
        Whether the ball left the lane.
    """

    shot_id: str
    hand: Hand = "right"
    ball: str = ""
    line: str = ""
    board: Curve | None = None
    heading_deg: Curve | None = None
    speed_mph: Curve | None = None
    sideways_ft_s2: Curve | None = None
    numbers: Mapping[str, Quantity] = field(default_factory=dict)
    standing: tuple[int, ...] | None = None
    gutter: bool = False

    def number(self, name: str) -> Quantity:
        """The number of that column, empty where it does not exist."""
        return self.numbers.get(name, Quantity())


@dataclass(frozen=True, slots=True)
class Span:
    """A value with the interval that it lies in, by the meaning that the drawing function tells."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, eq=False)
class FrictionGrid:
    """A lane's friction.

    Attributes
    ----------
    board : ndarray of shape (b,)
        Counted from the right edge for either hand, ascending.
    distance_ft : ndarray of shape (k,)
        Ascending.
    friction : ndarray of shape (k, b)
        NaN where nothing was thrown.
    oil_end_ft : Span or None
        End of the oil along the lines thrown, with its interval.
    lane : str
    """

    board: Array
    distance_ft: Array
    friction: Array
    oil_end_ft: Span | None = None
    lane: str = ""


@dataclass(frozen=True, slots=True)
class RoomReach:
    """Room in one kind of miss.

    Attributes
    ----------
    recovery_boards, hold_boards : float or None
        Misses outward and inward up to which the chance is enough; None where it is not even without a miss.
    width_boards : Span or None
        Boards between the farthest misses that come to the pocket, with the central 90 % of the possible lanes.
    middle_boards : float or None
        Where the middle of these misses lies, inside positive.
    """

    recovery_boards: float | None
    hold_boards: float | None
    width_boards: Span | None
    middle_boards: float | None


@dataclass(frozen=True, slots=True, eq=False)
class RoomCurves:
    """Chance of the pocket against the miss at 15 ft.

    Attributes
    ----------
    miss_boards : ndarray of shape (n,)
        Inside positive, ascending.
    aside_chance, parallel_chance : ndarray of shape (n,)
        With the laydown unchanged, and with laydown and target missed alike; 0 to 1, NaN where not known.
    aside, parallel : RoomReach
    ball, move : str
        What is thrown.
    hand : {'right', 'left'}
    """

    miss_boards: Array
    aside_chance: Array
    parallel_chance: Array
    aside: RoomReach
    parallel: RoomReach
    ball: str = ""
    move: str = ""
    hand: Hand = "right"


@dataclass(frozen=True, slots=True)
class Group:
    """Shots of one session for one number.

    Attributes
    ----------
    name : str
    shots : tuple of (str, Quantity)
        Shot id and number; empty numbers are left out of the picture and counted.
    mean : Span or None
        Mean with its interval (:func:`tracker.session.versus.group` gives one); None draws none.
    """

    name: str
    shots: tuple[tuple[str, Quantity], ...]
    mean: Span | None = None
