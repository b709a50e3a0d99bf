"""Where a ball leaves the pin deck in a coach's words, from its board there and how sure it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

from calibration.lane import BOARD_WIDTH_IN, PIN_BELLY_RADIUS_IN, Hand, board_from_x, pin_positions

BACK_ROW = (7, 8, 9, 10)
HALF_PIN = PIN_BELLY_RADIUS_IN / BOARD_WIDTH_IN
"""A ball whose centre comes within half a pin of a spot is said to go into that pin (own choice)."""
SURE = 0.8


@dataclass(frozen=True, slots=True)
class Zone:
    """A stretch of boards at the end of the deck and its name."""

    low: float
    high: float
    name: str


def zones(hand: Hand) -> tuple[Zone, ...]:
    """All boards from 0 to 40, counted from the hand's edge, cut where words change.

    Names of pins are those of the rack, so that a left-hander's 9 is where a right-hander's 8 is.
    """
    spots = sorted((float(board_from_x(pin_positions()[n - 1][0], hand)), n) for n in BACK_ROW)
    near, far = ("right", "left") if hand == "right" else ("left", "right")
    (_, corner), (_, inner), (_, beyond), (_, last) = spots
    gaps = (f"{near} of the {inner}", "between the 8 and 9", f"{far} of the {beyond}")
    out = [Zone(-math.inf, spots[0][0] - HALF_PIN, f"{near} of the {corner}")]
    for k, (board, pin) in enumerate(spots):
        out.append(Zone(board - HALF_PIN, board + HALF_PIN, f"into the {pin}"))
        if k < len(gaps):
            out.append(Zone(board + HALF_PIN, spots[k + 1][0] - HALF_PIN, gaps[k]))
    out.append(Zone(spots[-1][0] + HALF_PIN, math.inf, f"{far} of the {last}"))
    return tuple(out)


def exit_words(board: float, u: float, hand: Hand) -> str:
    """Name of the zone in which a ball leaves, or of the likeliest ones that hold it with a probability of 0.8.

    Parameters
    ----------
    board, u : float
        Board at the end of the deck from the hand's edge, and its standard uncertainty.
    hand : {'right', 'left'}
    """
    chances = [(_below(z.high, board, u) - _below(z.low, board, u), z) for z in zones(hand)]
    chances.sort(key=lambda c: -c[0])
    names, total = [], 0.0
    for chance, zone in chances:
        names.append(zone)
        total += chance
        if total >= SURE:
            break
    return " or ".join(z.name for z in sorted(names, key=lambda z: z.low))


def _below(limit: float, board: float, u: float) -> float:
    if math.isinf(limit):
        return 1.0 if limit > 0 else 0.0
    return 0.5 * math.erfc((board - limit) / (max(u, 1e-9) * math.sqrt(2)))
