"""Labels beside one another without touching."""

from __future__ import annotations

from collections.abc import Sequence


def spread(wanted: Sequence[float], *, least_gap: float, within: tuple[float, float]) -> list[float]:
    """Heights near the wanted ones (any order), at least a gap apart and inside limits while there is room."""
    order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    placed = [0.0] * len(wanted)
    floor = within[0]
    for k in order:
        placed[k] = floor = max(wanted[k], floor)
        floor += least_gap
    ceiling = within[1]
    for k in reversed(order):
        placed[k] = min(placed[k], ceiling)
        ceiling = placed[k] - least_gap
    return placed
