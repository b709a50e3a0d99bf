"""Single shots in words: against the others on their line, at the pocket, through the deck; each with its evidence.

What is said stands on a number that is told apart from its opposite by two standard uncertainties, or on a probability
of at least 0.8; else nothing is said. A shot that the bowler called a miss is no reading of the lane.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.stats import norm

from calibration.lane import Hand
from tracker.lineup.window import Window
from tracker.results import Quantity

MISSED = ("in", "out", "fast", "slow")
"""What the session sheet says of a shot that was not thrown as meant."""
SURE, LIKELY = 2.0, 0.8
HALF_A_TENTH = 0.05
TOO_EARLY = "too early, look for more oil"
COMMON = ("rolled_before", "still_turning_at_pins")
"""Remarks that say nothing of one shot where most shots have them."""
SAME_LINE_BOARDS = 2.0
"""Shots within that at 15 ft, and at laydown, are on one line (own choice)."""
SHOT_ONSET_FT = 0.8
"""How far onsets of like shots scatter by release and lane (own choice, no source)."""
CLEARLY_FT = 1.5
ROLLED_BEFORE_FT = 8.0
"""A ball that rolls that long before the pins has rolled well before them (own choice)."""
EIGHT_BOARD, NINE_BOARD = 22.0, 15.0
"""A ball that leaves the deck inside the first took the 8 out, one outside the second met the 9 or missed it on the
right: bands of common practice, no source; a flush ball leaves near 19 to 20 (seen on secondary pages)."""


@dataclass(frozen=True, slots=True)
class ShotFacts:
    """One shot as the table of shots has it.

    Attributes
    ----------
    shot_id, lane, ball, line, intent, execution : str
    hand : {'right', 'left'}
    numbers : mapping of str to Quantity
        Its numeric columns that have a value.
    slips_at_pins : bool or None
        Whether the ball still slips at contact; None where that is not known.
    standing : str
        Pins that stand afterwards, ``none`` for a strike; empty where not read.
    """

    shot_id: str
    lane: str
    ball: str
    hand: Hand
    line: str = ""
    intent: str = ""
    execution: str = ""
    numbers: Mapping[str, Quantity] = field(default_factory=dict)
    slips_at_pins: bool | None = None
    standing: str = ""

    def told(self, name: str) -> tuple[float, float] | None:
        """Value and standard uncertainty of a number; None where it has none."""
        found = self.numbers.get(name, Quantity())
        return None if found.value is None or found.u is None else (found.value, found.u)

    @property
    def missed(self) -> bool:
        """Whether the bowler called it a miss."""
        return self.execution in MISSED


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing said: a code, a sentence, and the numbers that it stands on."""

    code: str
    text: str
    evidence: Mapping[str, Quantity] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ShotReading:
    """What is said of one shot, in the order of the way down the lane."""

    shot_id: str
    ball: str
    line: str
    remarks: tuple[Remark, ...]

    @property
    def codes(self) -> tuple[str, ...]:
        """Codes of its remarks."""
        return tuple(r.code for r in self.remarks)


def plain(name: str) -> str:
    """A name on one line: blanks for whatever else separates, no control characters."""
    return "".join(c for c in " ".join(name.split()) if c.isprintable())


def read_shots(shots: Sequence[ShotFacts], window: Window) -> tuple[ShotReading, ...]:
    """Read every shot beside the others; what holds for most of them is no remark on one."""
    readings = [ShotReading(s.shot_id, s.ball, s.line, _remarks(s, shots, window)) for s in shots]
    usual = {code for code in COMMON if sum(code in r.codes for r in readings) > max(len(readings) / 2, 2)}
    return tuple(replace(r, remarks=tuple(m for m in r.remarks if m.code not in usual)) for r in readings)


def flush_chance(shot: ShotFacts, window: Window) -> float | None:
    """How likely the ball came in on the window's boards; None where the contact is not known."""
    found = shot.told("contact_board")
    if found is None:
        return None
    low, high = norm.cdf((np.array([window.low_board, window.high_board]) - found[0]) / max(found[1], 1e-6))
    return float(high - low)


def _remarks(shot: ShotFacts, shots: Sequence[ShotFacts], window: Window) -> tuple[Remark, ...]:
    pocket = _at_pocket(shot, window)
    if shot.missed:
        text = f"noted as thrown '{shot.execution}': not compared with the others, though its path counts"
        found = [Remark("called_miss", text), pocket, _through(shot), _left_standing(shot)]
    else:
        flush = pocket is not None and pocket.code == "flush"
        onset = _onset(shot, shots, struck=flush)
        found = [onset, _at_pins(shot), pocket, _through(shot), _left_standing(shot)]
    return tuple(one for one in found if one is not None)


def _alike(shot: ShotFacts, shots: Sequence[ShotFacts]) -> list[ShotFacts]:
    """Other shots of the same hand and lane on nearly the same line that were thrown as meant."""
    return [
        other
        for other in shots
        if other is not shot
        and not other.missed
        and (other.lane, other.hand) == (shot.lane, shot.hand)
        and all(_near(shot, other, name) for name in ("board_15ft", "laydown_board"))
    ]


def _near(one: ShotFacts, other: ShotFacts, name: str) -> bool:
    a, b = one.told(name), other.told(name)
    return a is not None and b is not None and abs(a[0] - b[0]) <= SAME_LINE_BOARDS


def _onset(shot: ShotFacts, shots: Sequence[ShotFacts], *, struck: bool) -> Remark | None:
    """Against the other shots with the same ball on its line, else against other balls there."""
    alike = _alike(shot, shots)
    same = [other for other in alike if other.ball == shot.ball]
    own = shot.told("onset_ft")
    others = [one for one in (s.told("onset_ft") for s in same or alike) if one is not None]
    if own is None or not others:
        return None
    values, us = np.array(others).T
    later = own[0] - float(np.median(values))
    u = float(np.sqrt(own[1] ** 2 + np.mean(us**2 + SHOT_ONSET_FT**2) / len(us) + SHOT_ONSET_FT**2))
    if abs(later) < max(CLEARLY_FT, SURE * u):
        return None
    evidence = {"onset_ft": Quantity(*own), "onset_later_ft": Quantity(later, u)}
    than = f"than {'the other shot' if len(others) == 1 else f'{len(others)} others'}"
    with_ = "with this ball on this line" if same else "with other balls on this line"
    side = "earlier" if later < 0 else "later"
    said = f"picks up at {own[0]:.1f} ft, {abs(later):.1f} +- {u:.1f} ft {side} {than} {with_}"
    if later < 0:
        return Remark("earlier", said, evidence) if struck else Remark("too_early", f"{said}: {TOO_EARLY}", evidence)
    if same:
        return Remark("longer", f"{said}: it goes longer for the same shot, which speaks of oil carried down", evidence)
    return Remark("later", said, evidence)


def _at_pins(shot: ShotFacts) -> Remark | None:
    contact, slip = shot.told("contact_ft"), shot.told("slip_end_ft")
    if shot.slips_at_pins:
        angle = shot.told("entry_angle_deg")
        evidence = {} if angle is None else {"entry_angle_deg": Quantity(*angle)}
        return Remark("still_turning_at_pins", "still slips and turns at the pins", evidence)
    if contact is None or slip is None:
        return None
    before, u = contact[0] - slip[0], float(np.hypot(contact[1], slip[1]))
    if before - ROLLED_BEFORE_FT < SURE * u:
        return None
    text = f"rolled well before the pins, {before:.1f} +- {u:.1f} ft"
    return Remark("rolled_before", text, {"slip_end_ft": Quantity(*slip)})


def _at_pocket(shot: ShotFacts, window: Window) -> Remark | None:
    found = shot.told("contact_board")
    if found is None:
        return None
    board, u = found
    low, high = window.low_board, window.high_board
    angle = shot.told("entry_angle_deg")
    evidence = {"contact_board": Quantity(board, u)} | ({} if angle is None else {"entry_angle_deg": Quantity(*angle)})
    at = f"at board {board:.1f} +- {_short(u)}"
    at += "" if angle is None else f", {angle[0]:.1f} +- {_short(angle[1])} deg"
    if norm.sf((high - board) / max(u, 1e-6)) >= LIKELY:
        return Remark("high", f"high: came in {at}", evidence)
    if norm.cdf((low - board) / max(u, 1e-6)) >= LIKELY:
        return Remark("light", f"light: came in {at}", evidence)
    if (flush_chance(shot, window) or 0.0) >= LIKELY:
        return _flush(at, angle, window, evidence)
    return Remark("near_pocket", f"at the pocket's edge: came in {at}", evidence)


def _flush(at: str, angle: tuple[float, float] | None, window: Window, evidence: Mapping[str, Quantity]) -> Remark:
    """On the pocket's boards; the angle is told where it is likely outside the window."""
    if angle is not None and norm.cdf((window.low_deg - angle[0]) / max(angle[1], 1e-6)) >= LIKELY:
        return Remark("flat", f"on the pocket, but flat: came in {at}", evidence)
    if angle is not None and norm.sf((window.high_deg - angle[0]) / max(angle[1], 1e-6)) >= LIKELY:
        return Remark("steep", f"on the pocket, but steep: came in {at}", evidence)
    return Remark("flush", f"flush: came in {at}", evidence)


def _short(u: float) -> str:
    """An uncertainty with one decimal, or with as many as it has."""
    return f"{u:.1f}" if u >= HALF_A_TENTH else f"{u:.2f}"


def _through(shot: ShotFacts) -> Remark | None:
    found = shot.told("deck_exit_board")
    if found is None:
        return None
    board, u = found
    evidence = {"deck_exit_board": Quantity(board, u)}
    at = f"left the deck at board {board:.1f} +- {u:.1f}"
    if norm.sf((EIGHT_BOARD - board) / max(u, 1e-6)) >= LIKELY:
        return Remark("still_turning", f"{at}, into the {_back_pin(shot.hand, 8)}: still turning", evidence)
    if norm.cdf((NINE_BOARD - board) / max(u, 1e-6)) >= LIKELY:
        side = "right" if shot.hand == "right" else "left"
        nine = _back_pin(shot.hand, 9)
        return Remark("spent", f"{at}, on the {nine} or {side} of it: light or spent", evidence)
    between = norm.cdf((EIGHT_BOARD - board) / max(u, 1e-6)) - norm.cdf((NINE_BOARD - board) / max(u, 1e-6))
    return Remark("through", f"{at}, between the 8 and 9", evidence) if between >= LIKELY else None


def _back_pin(hand: Hand, pin: int) -> int:
    """A right-hander's 8 or 9 for a hand."""
    return pin if hand == "right" else 17 - pin


def _left_standing(shot: ShotFacts) -> Remark | None:
    if not shot.standing:
        return None
    if shot.standing == "none":
        return Remark("strike", "no pin stands")
    return Remark("left", f"left the {shot.standing}: one leave is no evidence by itself")
