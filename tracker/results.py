"""What a measured clip is: the frozen results that flow from the pipeline to reports and batch."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import Failure
from calibration.lane import Hand
from calibration.store import Calibration
from tracker.columns import FIT_NUMBERS
from tracker.video.facts import ClipFacts

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

SIDED = ("heading_deg", "change_direction_deg", "side_spin_rpm")
"""Numbers of the physical fit that change sign with the hand."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """One number of a shot with its standard uncertainty, or the flag that says why it is empty.

    Attributes
    ----------
    value, u : float or None
        Value and standard uncertainty (1 sigma) in the unit of the column's name; both None where there is none.
    missing : str or None
        Flag code of :mod:`tracker.flags` that says why the value is empty.
    """

    value: float | None = None
    u: float | None = None
    missing: str | None = None


@dataclass(frozen=True, slots=True)
class LaunchFit:
    """What the physical fit says of launch and lane.

    Attributes
    ----------
    quantities : mapping of str to Quantity
        The numbers of :data:`tracker.columns.FIT_NUMBERS`. As the fit gives them, what has a side is positive toward
        +x; :meth:`toward_pocket` counts it as tables do.
    names : tuple of str
        Those that have a value, in the covariance's order.
    covariance : ndarray of shape (n, n)
        Their covariance; its diagonal is u squared.
    """

    quantities: Mapping[str, Quantity]
    names: tuple[str, ...]
    covariance: Array

    @property
    def correlation(self) -> Array:
        """Correlation of the numbers that have a value, in the covariance's order."""
        u = np.sqrt(np.diag(self.covariance))
        return np.asarray(self.covariance / np.outer(u, u))

    def toward_pocket(self, hand: Hand) -> LaunchFit:
        """The same with sides positive toward the hand's pocket."""
        if hand == "left":
            return self
        sign = np.array([-1.0 if name in SIDED else 1.0 for name in self.names])
        turned = {
            name: replace(q, value=-q.value) if name in SIDED and q.value is not None else q
            for name, q in self.quantities.items()
        }
        return LaunchFit(turned, self.names, self.covariance * np.outer(sign, sign))


def no_launch_fit(why: str) -> LaunchFit:
    """A fit without numbers, all for the same flag or reason."""
    return LaunchFit({c.name: Quantity(missing=why) for c in FIT_NUMBERS}, (), np.zeros((0, 0)))


@dataclass(frozen=True, slots=True)
class Stations:
    """A path at a few distances, with all that is known of its errors.

    Attributes
    ----------
    distance_ft : ndarray of shape (k,)
        Distances, ascending.
    board : ndarray of shape (k,)
        Boards there, counted from the hand's edge.
    elapsed_s : ndarray of shape (k - 1,)
        True time since the first of them.
    covariance : ndarray of shape (2 k - 1, 2 k - 1)
        Covariance of boards, then times.
    """

    distance_ft: Array
    board: Array
    elapsed_s: Array
    covariance: Array


@dataclass(frozen=True, slots=True, eq=False)
class PathCurves:
    """The path at every whole foot in sight, up to contact, with standard uncertainties; all of shape ``(k,)``.

    The numbers are those of :data:`tracker.columns.CURVE_COLUMNS`. Errors at neighbouring distances hang together:
    each u is right for its own distance, a difference between two of them has less. See :class:`Stations` for how much.
    """

    distance_ft: Array
    board: Array
    board_u: Array
    heading_deg: Array
    heading_deg_u: Array
    speed_mph: Array
    speed_mph_u: Array
    sideways_ft_s2: Array
    sideways_ft_s2_u: Array


@dataclass(frozen=True, slots=True)
class PathTable:
    """The smoothed path, one row a frame looked at between first and last sight; every array has shape ``(n,)``.

    ``board`` counts from the hand's edge; ``heading_deg`` is positive toward the pocket; ``seen`` is 1 where the ball
    was measured in that frame and 0 where the path is carried by the model alone.
    """

    frame: NDArray[np.int64]
    t_s: Array
    board: Array
    distance_ft: Array
    board_u: Array
    distance_ft_u: Array
    speed_mph: Array
    heading_deg: Array
    seen: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Scene:
    """The clip's own background around the lane, for pictures.

    Attributes
    ----------
    bgr : uint8 array of shape (h, w, 3)
        Median of the clip over time inside the lane's region (a bowler who stands still is still in it).
    left, top : int
        Place of its first pixel in the upright frame.
    """

    bgr: Image
    left: int
    top: int


@dataclass(frozen=True, slots=True)
class PinState:
    """What is read of one pin.

    Attributes
    ----------
    number : int
    before, after : float or None
        Probability that it stands before the shot, and at the last usable pictures; None where that was not read.
    codes : tuple of str
        ``pin_hidden``, ``pin_moved``, ``pin_wobbles``, ``pin_covered``.
    beside_in : (float, float) or None
        How far right of and behind its spot a moved pin stands, inches.
    """

    number: int
    before: float | None
    after: float | None
    codes: tuple[str, ...] = ()
    beside_in: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class PinPicture:
    """A small picture of the pin deck.

    Attributes
    ----------
    name : str
        ``before``, ``contact``, ``among the pins`` or ``after``.
    t_s : float
        Its time in the clip.
    bgr : uint8 array of shape (h, w, 3)
    ball_px : (float, float) or None
        Where the ball's centre is, pixels of the picture.
    """

    name: str
    t_s: float
    bgr: Image
    ball_px: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class PinsReading:
    """What the pins say of one shot.

    Attributes
    ----------
    pins : tuple of PinState
        Pins 1 to 10.
    before, standing : str
        Pins that stand before, and at the last usable pictures, such as ``4-7-10`` or ``none``; empty where not sure.
    before_sure, sure : float or None
        Probability that exactly these stand.
    numbers : mapping of str to Quantity
        The numbers of :data:`tracker.columns.PIN_NUMBERS`.
    exit : Quantity
        The column ``deck_exit_board``.
    exit_words : str
        Where the ball leaves the deck in words.
    first_pin : int or None
        Pin that the ball meets first by its path.
    first_moved : tuple of int
        Pins that move in the first picture in which any does, or in the next.
    model_pins : tuple of int
        Pins that smooth discs would have the ball hit, in order.
    flags : tuple of str
        Codes of :mod:`tracker.flags`.
    pictures : tuple of PinPicture
    outlines_px : tuple of ndarray of shape (n, 2)
        Outlines of the ten pins in the pictures.
    """

    pins: tuple[PinState, ...] = ()
    before: str = ""
    standing: str = ""
    before_sure: float | None = None
    sure: float | None = None
    numbers: Mapping[str, Quantity] = field(default_factory=dict)
    exit: Quantity = Quantity(missing="pins_not_read")
    exit_words: str = ""
    first_pin: int | None = None
    first_moved: tuple[int, ...] = ()
    model_pins: tuple[int, ...] = ()
    flags: tuple[str, ...] = ()
    pictures: tuple[PinPicture, ...] = ()
    outlines_px: tuple[Array, ...] = ()


@dataclass(frozen=True, slots=True)
class ShotResult:
    """One shot of a clip.

    Attributes
    ----------
    shot_id : str
        The clip's stem, or ``stem-01``, ``stem-02`` .. for several shots in a take.
    clip : str
        File name of the clip, never a path.
    status : str
        ``measured``, ``partial`` or ``failed``.
    reason, detail : str
        Reason code (empty when measured) and one sentence for a person.
    flags : tuple of str
        Codes of :mod:`tracker.flags`.
    hand : {'right', 'left'} or None
        Hand by which boards are counted.
    quantities : mapping of str to Quantity
        The numeric columns of :mod:`tracker.columns`.
    launch : LaunchFit or None
        What the physical fit says of launch and lane, sides positive toward the pocket; None for a failed shot.
    stations : Stations or None
        The path at a few distances with its covariance; None for a gutter ball, a failed shot or a short path.
    curves : PathCurves or None
        The path over distance with uncertainties; None for a failed shot or fewer than two feet in sight.
    path : PathTable or None
        The smoothed path; None when the shot failed before one existed.
    camera : Camera or None
        The camera the path was measured with.
    scene : Scene or None
        Background for the overlay.
    pins : PinsReading or None
        What the pins say; None for a failed shot.
    """

    shot_id: str
    clip: str
    status: str
    reason: str = ""
    detail: str = ""
    flags: tuple[str, ...] = ()
    hand: Hand | None = None
    quantities: Mapping[str, Quantity] = field(default_factory=dict)
    launch: LaunchFit | None = None
    stations: Stations | None = None
    curves: PathCurves | None = None
    path: PathTable | None = None
    camera: Camera | None = None
    scene: Scene | None = None
    pins: PinsReading | None = None


@dataclass(frozen=True, slots=True)
class ClipResult:
    """Everything one clip gave: its facts, its shots, or the failure that stopped it.

    ``calibration`` is the one used, ``notes`` are sentences about how it came about.
    """

    clip: str
    facts: ClipFacts | None
    shots: tuple[ShotResult, ...] = ()
    failure: Failure | None = None
    calibration: Calibration | None = None
    notes: tuple[str, ...] = ()
