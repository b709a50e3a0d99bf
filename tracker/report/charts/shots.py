"""What charts of one or several shots share: names, tags at the ends of lines, the list of shots, what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import Hand
from tracker.report.charts.data import ChartShot, Curve
from tracker.report.charts.frame import mark
from tracker.report.charts.looks import Look, looks_of
from tracker.report.charts.svg import Element, add, clean, short, words

Array = NDArray[np.float64]

ROW = 19.0
NAME_LETTERS = 44


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """A shot with its look and the tag that names it in the picture; the tag of a single shot is empty."""

    shot: ChartShot
    look: Look
    tag: str

    @property
    def name(self) -> str:
        """Shot and ball in words."""
        return shot_name(self.shot)


def shot_name(shot: ChartShot) -> str:
    """Name of the shot, and of its ball."""
    return clean(shot.shot_id, 40) + (f" ({clean(shot.ball, 40)})" if shot.ball else "")


def dressed(shots: Sequence[ChartShot]) -> list[Drawn]:
    """Shots with a look for every ball and tags 1, 2, ..."""
    looks = looks_of([s.ball for s in shots])
    single = len(shots) == 1
    return [Drawn(s, looks[s.ball], "" if single else str(k)) for k, s in enumerate(shots, start=1)]


class NothingToDrawError(ValueError):
    """A chart without any data, or with data of which no chart can be made; what, where and what to do are said."""


def hand_of(shots: Sequence[ChartShot], what: str) -> Hand:
    """Hand of the shots.

    Raises
    ------
    ValueError
        If there is no shot, or if they are of both hands: their boards count from other edges.
    """
    hands = {s.hand for s in shots}
    if len(hands) != 1:
        found = "no shot" if not hands else "shots of both hands, whose boards count from other edges"
        msg = f"{what}: {found}; give shots of one hand"
        raise NothingToDrawError(msg)
    return shots[0].hand


def needed(what: str, where: str, todo: str) -> NothingToDrawError:
    """The error of a chart that has nothing to draw."""
    return NothingToDrawError(f"{what}: {where}; {todo}")


def finite(curve: Curve | None) -> Curve | None:
    """The curve where it has numbers; None where it has fewer than two."""
    if curve is None:
        return None
    keep = np.isfinite(curve.distance_ft) & np.isfinite(curve.value)
    if keep.sum() < 2:
        return None
    u = None if curve.u is None else np.nan_to_num(curve.u[keep], nan=0.0)
    return Curve(curve.distance_ft[keep], curve.value[keep], u)


def path_of(shot: ChartShot) -> Curve | None:
    """Boards of the shot up to its contact, which a curve of whole feet stops short of."""
    curve = finite(shot.board)
    board, feet = shot.number("contact_board"), shot.number("contact_ft")
    if curve is None or board.value is None or feet.value is None or feet.value <= curve.distance_ft[-1]:
        return curve
    u = None if curve.u is None or board.u is None else np.append(curve.u, board.u)
    return Curve(np.append(curve.distance_ft, feet.value), np.append(curve.value, board.value), u)


def thinned(curve: Curve, count: int) -> Curve:
    """Every so manieth place of a curve with both ends, so that many shots make no large picture."""
    if len(curve.distance_ft) <= count:
        return curve
    keep = np.unique(np.linspace(0, len(curve.distance_ft) - 1, count).round().astype(int))
    return Curve(curve.distance_ft[keep], curve.value[keep], None if curve.u is None else curve.u[keep])


def value_at(curve: Curve, distance_ft: float) -> float:
    """Value of a curve at a distance, the nearest end's beyond it."""
    return float(np.interp(distance_ft, curve.distance_ft, curve.value))


def u_at(curve: Curve, distance_ft: float) -> float | None:
    """Standard uncertainty of a curve at a distance."""
    return None if curve.u is None else float(np.interp(distance_ft, curve.distance_ft, curve.u))


def hover_places(curve: Curve, step_ft: float) -> Array:
    """Distances of a curve at which a tooltip stands."""
    first, last = curve.distance_ft[0], curve.distance_ft[-1]
    inside = np.arange(np.ceil(first / step_ft) * step_ft, last, step_ft)
    return inside if len(inside) else np.array([first])


def shot_list(parent: Element, drawn: Sequence[Drawn], top: float) -> float:
    """List of several shots with tag, dash, mark and name, a row each; returns where it ends."""
    for k, one in enumerate(drawn):
        y = top + ROW * (k + 0.5)
        words(parent, one.tag, 22, y, anchor="end", font_weight="600")
        add(
            parent,
            "path",
            d=f"M30 {short(y)}h44",
            stroke=one.look.colour,
            stroke_width=2,
            stroke_dasharray=one.look.dash,
        )
        mark(parent, one.look.shape, (52, y), size=4, colour=one.look.colour)
        words(parent, clean(one.name, NAME_LETTERS), 84, y)
    return top + ROW * len(drawn)


def tags_in_words(drawn: Sequence[Drawn]) -> str:
    """Which tag is which shot."""
    return "; ".join(f"{d.tag} {d.name}" if d.tag else d.name for d in drawn)
