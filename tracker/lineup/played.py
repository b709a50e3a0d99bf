"""The lines that were played: releases as the fit has them, ball by ball."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from calibration.lane import Hand
from tracker.lineup.lines import Line
from tracker.session.posterior import Posterior


@dataclass(frozen=True, slots=True)
class Played:
    """One line of one ball, hand and lane.

    Attributes
    ----------
    lane, ball : str
    hand : {'right', 'left'}
    name : str
        The bowler's own name of the line; may be empty.
    line : Line
        Middle of its shots' releases, of those thrown as meant where there are such.
    shots : tuple of str
        Its shots, in their order.
    last : int
        Rank of its last shot.
    """

    lane: str
    ball: str
    hand: Hand
    name: str
    line: Line
    shots: tuple[str, ...]
    last: int


def played_lines(posterior: Posterior, missed: Collection[str] = ()) -> tuple[Played, ...]:
    """Lines in the order of their last shots; ``missed`` are ids of shots not thrown as meant."""
    groups: dict[tuple[str, str, Hand, str], list[int]] = {}
    for k, throw in enumerate(posterior.fit.throws):
        groups.setdefault((throw.lane, throw.ball, throw.hand, throw.line), []).append(k)
    return tuple(sorted((_played(posterior, rows, missed) for rows in groups.values()), key=lambda one: one.last))


def _played(posterior: Posterior, rows: list[int], missed: Collection[str]) -> Played:
    throws = {k: posterior.fit.throws[k] for k in rows}
    meant = [k for k in rows if throws[k].shot_id not in missed] or rows
    releases = [Line.of(*(float(v) for v in posterior.launch_of(k))) for k in meant]
    middle = Line(
        float(np.median([r.laydown_board for r in releases])),
        float(np.median([r.target_board for r in releases])),
        float(np.median([r.speed_mph for r in releases])),
    )
    first = throws[rows[0]]
    return Played(
        first.lane, first.ball, first.hand, first.line, middle, tuple(t.shot_id for t in throws.values()),
        max(t.number for t in throws.values()),
    )  # fmt: skip
