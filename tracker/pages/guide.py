"""What each mark is, in words for the person who clicks it."""

from __future__ import annotations

from dataclasses import dataclass

EDGE_POINTS_LISTED = 3
_PINS_LISTED = (1, 7, 10)


@dataclass(frozen=True, slots=True)
class MarkGuide:
    """One mark to click.

    Attributes
    ----------
    name : str
        Name in the marks file (``foul_left``).
    title : str
        Name for a person.
    meaning : str
        Exactly where to click.
    group : str
        Heading it stands under.
    listed : bool
        False for marks that are rarely needed and stand folded away.
    """

    name: str
    title: str
    meaning: str
    group: str
    listed: bool = True


def mark_guides() -> tuple[MarkGuide, ...]:
    """Every mark with a fixed name and the first points of each edge, in the order in which to click them."""
    return (*_foul_line(), *_edges("left"), *_edges("right"), *_pins(), *_arrows())


def _foul_line() -> tuple[MarkGuide, ...]:
    return tuple(
        MarkGuide(
            f"foul_{side}",
            f"Foul line, {side} corner",
            f"Where the front edge of the foul line, the one nearer the bowler, meets the {side} edge of the lane.",
            "Foul line",
        )
        for side in ("left", "right")
    )


def _edges(side: str) -> tuple[MarkGuide, ...]:
    meaning = (
        f"Any point where the lane meets its {side} gutter, not hidden by the bowler. Spread the points: one near the "
        "arrows, one half-way, one far."
    )
    return tuple(
        MarkGuide(f"{side}_edge_{k}", f"{side.capitalize()} edge, point {k}", meaning, f"{side.capitalize()} edge")
        for k in range(1, EDGE_POINTS_LISTED + 1)
    )


def _pins() -> tuple[MarkGuide, ...]:
    order = (*_PINS_LISTED, *(n for n in range(1, 11) if n not in _PINS_LISTED))
    names = {1: "head pin", 7: "left corner pin", 10: "right corner pin"}
    return tuple(
        MarkGuide(
            f"pin_{n}_base",
            f"Pin {n}" + (f", {names[n]}" if n in names else ""),
            "The lowest point of the pin, where its front touches the deck; not its mirror image below.",
            "Pins",
            n in _PINS_LISTED,
        )
        for n in order
    )


def _arrows() -> tuple[MarkGuide, ...]:
    return tuple(
        MarkGuide(
            f"arrow_{k}",
            f"Arrow {k}, board {5 * k}",
            f"The tip, the end toward the pins, of the arrow on board {5 * k} counted from the right edge of the lane.",
            "Arrows, from the right",
        )
        for k in range(1, 8)
    )
