"""Pins that stand beside their spots: pushed by the ball or another pin without falling."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lane import DECK_END_IN, LANE_WIDTH_IN, pin_positions
from tracker.pins.joint import FALLEN, LOW_IN, PLACE_PX, DeckModel, edge_of, normal
from tracker.pins.rack import Rack
from tracker.pins.stands import DeckView
from tracker.pins.still import Still

Array = NDArray[np.float64]
Float = NDArray[np.float32]

ACROSS_IN = np.arange(-7.0, 7.1, 0.5)
ALONG_IN = np.arange(-4.5, 4.6, 1.5)
SLIDES_PRIOR = 0.04
"""Of pins that the ball or others touch, few slide and stay up (own estimate, no source)."""
AT_SPOT_IN = (1.0, 4.6)
"""Across and along: what the picture tells of a pin's place, with half a pixel's doubt, is not less."""
APART_IN = 4.6
SEEN_SHARE = 0.4
OPEN_SHARE = 0.5
RING_PX = 2
BESIDE_GAIN = 4.0
"""A pin at its spot is said to stand beside it where that is e^4 times as likely."""
INNER = 0.5
MISFIT_SHARE = 0.2
TOLD = 0.02
TALL_IN2 = 8.0
"""Of a pin beside its spot at least this much of head and neck is seen where no other pin stands."""


@dataclass(frozen=True, slots=True)
class Found:
    """A pin that stands beside its spot: its number, how far right of and behind it, and how likely."""

    pin: int
    across_in: float
    along_in: float
    probability: float


def look_beside(
    view: DeckView, rack: Rack, still: Still, *, standing: Sequence[int], probability: Array, unclear: Float
) -> tuple[Found, ...]:
    """Look for pins beside their spots, each with the others that stand left as they are.

    Parameters
    ----------
    view : DeckView
    rack : Rack
        The deck before the shot.
    still : Still
        The picture after it.
    standing : sequence of int
        Pins that the reading at the spots has standing.
    probability : array of shape (10,)
        That each pin stands at its spot.
    unclear : float32 array of shape (h, w)
        Probability that a pixel shows neither these pins nor what is behind.
    """
    out: list[Found] = []
    taken = list(standing)
    for pin in rack.pins:
        seen = rack.model.shapes[pin - 1].alpha > INNER
        if pin in standing and float(np.nanmean(unclear[seen])) < MISFIT_SHARE:
            continue
        search = _Beside(view, rack, still, [n for n in taken if n != pin], unclear=unclear)
        gain, across, along = search.best(pin)
        at_spot = search.gain(pin, 0, 0) if pin in standing else 0.0
        if np.hypot(across / AT_SPOT_IN[0], along / AT_SPOT_IN[1]) <= 1 or (pin in standing and gain < at_spot + BESIDE_GAIN):
            continue
        odds = gain + np.log(SLIDES_PRIOR / (1 - SLIDES_PRIOR) / _DIFFERENT) - max(at_spot, 0.0)
        chance = max(float(1.0 / (1.0 + np.exp(-np.clip(odds, -40, 40)))), float(probability[pin - 1]))
        if chance > TOLD:
            out.append(Found(pin, across, along, chance))
        if chance > INNER and pin not in taken:
            taken.append(pin)
    return tuple(out)


_PLACES = sorted(((float(y), float(x)) for y in ALONG_IN for x in ACROSS_IN), key=lambda p: np.hypot(*p))
_DIFFERENT = len(_PLACES) / 12.0
"""Places far enough apart to count as different ones."""


class _Beside:
    """The picture of the other pins, and by how much one more in some place explains it better."""

    def __init__(self, view: DeckView, rack: Rack, still: Still, others: Sequence[int], *, unclear: Float) -> None:
        self._view, self._rack, self._still, self._others = view, rack, still, others
        self._unclear = np.nan_to_num(unclear, nan=0.0)
        self._spots = pin_positions()[[n - 1 for n in others]]
        model = rack.model
        self._mean, self._var = model.behind.luma, model.behind.sd**2
        for n in sorted(others, reverse=True):
            shape = model.shapes[n - 1]
            luma = model.look.luma_at(n - 1, shape.height_in, shape.side)
            self._mean = self._mean * (1 - shape.alpha) + shape.alpha * luma
            self._var = self._var * (1 - shape.alpha) ** 2 + (shape.alpha * np.float32(model.look.sd)) ** 2

    def best(self, pin: int) -> tuple[float, float, float]:
        """Largest gain of log-likelihood and its place: right of and behind the pin's spot, inches."""
        spot = pin_positions()[pin - 1]
        best = (-np.inf, 0.0, 0.0)
        home = self._view.pixels(np.array([*spot, 0.0]))
        fits = self._unexplained(pin)
        known: set[tuple[int, int]] = set()
        for along, across in _PLACES:
            at = spot + np.array([across, along])
            if abs(at[0]) > LANE_WIDTH_IN / 2 or at[1] > DECK_END_IN or self._touches(at):
                continue
            du, dv = (int(d) for d in np.round(self._view.pixels(np.array([*at, 0.0])) - home))
            if (du, dv) in known or not fits(du, dv):
                continue
            known.add((du, dv))
            gain = self.gain(pin, du, dv)
            if gain > best[0]:
                best = (gain, float(across), float(along))
        return best

    def _unexplained(self, pin: int) -> Callable[[int, int], bool]:
        """Whether head and neck of a pin, moved by whole pixels, would lie where the others leave something open."""
        shape = self._rack.model.shapes[pin - 1]
        upper = (shape.alpha > INNER) & (shape.height_in > LOW_IN)
        if not upper.any():
            return lambda du, dv: False
        v, u = (slice(int(i.min()), int(i.max()) + 1) for i in np.nonzero(upper))
        kernel = upper[v, u].astype(np.float32)
        found = cv2.matchTemplate((self._unclear > 0.5).astype(np.float32), kernel, cv2.TM_CCORR) / kernel.sum()
        rows, columns = found.shape

        def fits(du: int, dv: int) -> bool:
            row, column = v.start + dv, u.start + du
            return bool(0 <= row < rows and 0 <= column < columns and found[row, column] >= OPEN_SHARE)

        return fits

    def _touches(self, at: Array) -> bool:
        """Whether a pin there would stand in another one."""
        return bool(len(self._spots) and np.hypot(*(self._spots - at).T).min() < APART_IN)

    def _cluttered(self, at: tuple[NDArray[np.int64], NDArray[np.int64]]) -> float:
        """Share of the pixels beside a pin's image (places of its rows and columns) that show other things."""
        v, u = at
        lines = np.unique(v)
        first = np.searchsorted(v, lines)
        last = np.append(first[1:], len(v)) - 1
        sides = np.concatenate([u[first] - RING_PX, u[last] + RING_PX])
        return float(self._unclear[np.tile(lines, 2), np.clip(sides, 0, self._unclear.shape[1] - 1)].mean())

    def gain(self, pin: int, du: int, dv: int) -> float:
        """How much likelier (logarithm) the picture is with the pin's image moved by whole pixels than without it."""
        model, shape = self._rack.model, self._rack.model.shapes[pin - 1]
        v, u = np.nonzero(shape.alpha > 0.02)
        to_v, to_u = v + dv, u + du
        inside = (to_v >= 0) & (to_v < shape.alpha.shape[0]) & (to_u >= 0) & (to_u < shape.alpha.shape[1])
        v, u, to = v[inside], u[inside], (to_v[inside], to_u[inside])
        if not len(v):
            return -np.inf
        clear = np.ones(len(v), dtype=np.float32)
        for n in self._others:
            if n < pin:
                clear *= 1 - model.shapes[n - 1].alpha[to]
        a = shape.alpha[v, u] * clear
        upper = shape.height_in[v, u] > LOW_IN
        if float(a[upper].sum()) < SEEN_SHARE * float(shape.alpha[v, u][upper].sum()):
            return -np.inf
        step = model.look.luma_at(pin - 1, shape.height_in[v, u], shape.side[v, u]) - self._mean[to]
        edge = edge_of(shape.alpha)[v, u] * clear
        noise, var = self._still.noise[to] ** 2, self._var[to]
        with_pin = var * (1 - a) ** 2 + (a * np.float32(model.look.sd)) ** 2 + noise + (PLACE_PX * edge * step) ** 2
        share = np.maximum(np.where(upper, FALLEN.high, FALLEN.low), self._cluttered(to)).astype(np.float32)
        left = self._still.luma[to] - self._mean[to]
        told = _told(left - a * step, with_pin, self._still.luma[to], share=share, model=model)
        return float((told - _told(left, var + noise, self._still.luma[to], share=share, model=model)).sum() * model.counts())


def _told(left: Float, var: Float, seen: Float, *, share: Float, model: DeckModel) -> Float:
    other = share * model.other_things(seen)
    return np.asarray(np.log((1 - share) * normal(left, var) + other), np.float32)
