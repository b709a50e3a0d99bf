"""Pins that stand beside their spots: pushed by the ball or another pin without falling."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lane import DECK_END_IN, LANE_WIDTH_IN, pin_positions
from tracker.pins.joint import FALLEN, LOW_IN, PLACE_PX, DeckModel, each_pin, edge_of, normal, pins_of
from tracker.pins.rack import STAYS_PRIOR, Rack
from tracker.pins.stands import DeckView
from tracker.pins.still import Still

Array = NDArray[np.float64]
Float = NDArray[np.float32]

ACROSS_IN = np.arange(-7.0, 7.1, 0.5)
ALONG_IN = np.arange(-6.0, 6.1, 1.5)
SLIDES_PRIOR, SLIDES_IN, FARTHEST_IN = 0.04, 2.0, 7.0
"""Of pins that are touched few slide and stay up, and not far (share, standard deviation, limit; own estimates)."""
TOLD_IN = (1.0, 4.6)
"""Across and along: what the picture tells of a pin's place, with half a pixel's doubt, is not less."""
APART_IN = 4.6
SEEN_SHARE, OPEN_SHARE, MISFIT_SHARE = 0.4, 0.5, 0.2
RING_PX = 2
INNER = 0.5
LEAST_ODDS = -6.0
MOST_THINGS = 4
WHICH_SHARE = 0.3
"""Of several pins that may have slid to a place a picture tells less which it was than that one stands there."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a pin may stand: how far right of and behind its spot, and the logarithm of how likely that is."""

    pin: int
    across_in: float
    along_in: float
    odds: float

    @property
    def at_spot(self) -> bool:
        """Whether it is not told from the spot."""
        return (self.across_in / TOLD_IN[0]) ** 2 + (self.along_in / TOLD_IN[1]) ** 2 <= 1.0

    @property
    def on_deck(self) -> Array:
        """Its x and y, inches."""
        return np.asarray(pin_positions()[self.pin - 1] + np.array([self.across_in, self.along_in]))


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Where pins stand, each on its spot or beside it.

    Attributes
    ----------
    probability : array of shape (10,)
        Probability that each pin stands, wherever.
    places : tuple of Place
        Of the pins that stand more likely than not.
    """

    probability: Array
    places: tuple[Place, ...]


def arrange(view: DeckView, rack: Rack, still: Still, *, sets: Array, unclear: Float) -> Arrangement:
    """Look whether pins stand beside their spots, where the reading at the spots leaves something open.

    Parameters
    ----------
    view : DeckView
    rack : Rack
        The deck before the shot.
    still : Still
        The picture after it.
    sets : array of shape (1024,)
        Probability of each set of pins on their spots.
    unclear : float32 array of shape (h, w)
        Probability that a pixel shows neither the pins of the likeliest set nor what is behind.
    """
    probability = each_pin(sets)
    placed = {n: Place(n, 0.0, 0.0, 0.0) for n in pins_of(int(sets.argmax()))}
    todo: list[int | None] = [n for n in placed if _misfit(rack, unclear, n, placed) > MISFIT_SHARE]
    todo.append(None)
    for thing in todo[:MOST_THINGS]:
        _settle(view, rack, still, placed, probability=probability, thing=thing)
    return Arrangement(probability, tuple(placed[n] for n in sorted(placed)))


def _settle(
    view: DeckView, rack: Rack, still: Still, placed: dict[int, Place], *, probability: Array, thing: int | None
) -> None:
    """Which pin, and where, is the one that fits badly (``thing``), or what no pin explains (None); in place."""
    while True:
        others = [p for n, p in placed.items() if n != thing]
        deck = _Deck(view, rack, still, others)
        found = [p for n in rack.pins if n not in placed or n == thing if (p := deck.best(n)) is not None]
        found = sorted((p for p in found if p.odds > LEAST_ODDS), key=lambda p: -p.odds)
        most = max([0.0, *(p.odds for p in found)])
        weights = np.exp(np.array([p.odds for p in found]) - most)
        none = float(np.exp(-most))
        stands = weights.sum() / (none + weights.sum())
        shares = weights if found and found[0].at_spot else weights**WHICH_SHARE
        for place, share in zip(found, shares, strict=True):
            chance = float(stands * share / shares.sum())
            alone = place.pin == thing or place.pin not in placed
            probability[place.pin - 1] = chance if alone else max(chance, probability[place.pin - 1])
        if thing is not None and thing not in [p.pin for p in found]:
            probability[thing - 1] = float(np.exp(LEAST_ODDS))
        if thing is not None:
            placed.pop(thing, None)
        if not found or weights[0] < none or len(placed) >= len(rack.pins):
            return
        placed[found[0].pin] = found[0]
        if thing is not None:
            return


def _misfit(rack: Rack, unclear: Float, pin: int, placed: Mapping[int, Place]) -> float:
    """Share of what is seen of a pin that its picture does not explain."""
    shapes = rack.model.shapes
    own = shapes[pin - 1].alpha > INNER
    for n in placed:
        if n < pin:
            own = own & (shapes[n - 1].alpha < 1 - INNER)
    return float(np.nanmean(unclear[own])) if own.any() else 0.0


def _log_priors(places: Array) -> Array:
    """Logarithm ``(n,)`` of how much likelier a pin stands at places ``(n, 2)`` beside its spot than that it fell."""
    stays = np.log(STAYS_PRIOR / (1 - STAYS_PRIOR))
    cell = np.log(TOLD_IN[0] * TOLD_IN[1] / (2 * np.pi * SLIDES_IN**2))
    away = np.minimum(cell - (places**2).sum(axis=1) / (2 * SLIDES_IN**2), 0.0)
    at_spot = ((places / TOLD_IN) ** 2).sum(axis=1) <= 1.0
    return np.asarray(stays + np.where(at_spot, 0.0, np.log(SLIDES_PRIOR) + away))


_GRID = np.stack(np.meshgrid(ACROSS_IN, ALONG_IN), axis=-1).reshape(-1, 2)
_PLACES = _GRID[np.hypot(*_GRID.T) <= FARTHEST_IN]
_PLACES = _PLACES[np.argsort(np.hypot(*_PLACES.T), kind="stable")]
_PRIORS = _log_priors(_PLACES)


class _Deck:
    """The picture of pins that stand, and by how much one more in some place explains it better."""

    def __init__(self, view: DeckView, rack: Rack, still: Still, others: Sequence[Place]) -> None:
        self._view, self._rack, self._still = view, rack, still
        model = rack.model
        self._mean, self._var = model.behind.luma, model.behind.sd**2
        self._spots = np.array([p.on_deck for p in others]).reshape(-1, 2)
        self._fronts: list[tuple[float, Float]] = []
        for place in sorted(others, key=lambda p: -p.on_deck[1]):
            shape = model.shapes[place.pin - 1]
            step = self._steps(place.pin, np.array([[place.across_in, place.along_in]]))[0]
            alpha, height, side = (
                _moved(a, (int(step[0]), int(step[1]))) for a in (shape.alpha, shape.height_in, shape.side)
            )
            luma = model.look.luma_at(place.pin - 1, height, side)
            self._mean = self._mean * (1 - alpha) + alpha * luma
            self._var = self._var * (1 - alpha) ** 2 + (alpha * np.float32(model.look.sd)) ** 2
            self._fronts.append((float(place.on_deck[1]), alpha))
        left = still.luma - self._mean
        share = np.full(left.shape, FALLEN.high, dtype=np.float32)
        other = share * model.other_things(still.luma)
        self._unclear = other / ((1 - share) * normal(left, self._var + still.noise**2) + other)

    def best(self, pin: int) -> Place | None:
        """The likeliest place of a pin; None where it cannot be seen to stand anywhere."""
        at = pin_positions()[pin - 1] + _PLACES
        steps = self._steps(pin, _PLACES)
        room = (np.abs(at[:, 0]) <= LANE_WIDTH_IN / 2) & (at[:, 1] <= DECK_END_IN) & ~self._touches(at)
        best: Place | None = None
        known: dict[tuple[int, int], float] = {}
        for k in np.flatnonzero(room & self._unexplained(pin, steps)):
            step = (int(steps[k, 0]), int(steps[k, 1]))
            if step not in known:
                known[step] = self._gain(pin, step, float(at[k, 1]))
            odds = known[step] + float(_PRIORS[k])
            if best is None or odds > best.odds:
                best = Place(pin, float(_PLACES[k, 0]), float(_PLACES[k, 1]), odds)
        return best

    def _steps(self, pin: int, places: Array) -> NDArray[np.int64]:
        """By how many pixels ``(n, 2)`` a pin's picture moves (columns, rows) when the pin does, ``(n, 2)`` inches."""
        spot = pin_positions()[pin - 1]
        at = self._view.pixels(np.column_stack([spot + np.vstack([np.zeros(2), places]), np.zeros(len(places) + 1)]))
        return np.asarray(np.round(at[1:] - at[0]), dtype=np.int64)

    def _unexplained(self, pin: int, steps: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Whether head and neck of a pin, moved by pixels ``(n, 2)``, would lie where the others leave a gap."""
        shape = self._rack.model.shapes[pin - 1]
        upper = (shape.alpha > INNER) & (shape.height_in > LOW_IN)
        if not upper.any():
            return np.zeros(len(steps), dtype=bool)
        v, u = (slice(int(i.min()), int(i.max()) + 1) for i in np.nonzero(upper))
        kernel = upper[v, u].astype(np.float32)
        share = cv2.matchTemplate((self._unclear > INNER).astype(np.float32), kernel, cv2.TM_CCORR) / kernel.sum()
        row, column = v.start + steps[:, 1], u.start + steps[:, 0]
        inside = (row >= 0) & (row < share.shape[0]) & (column >= 0) & (column < share.shape[1])
        return np.asarray(inside & (share[np.where(inside, row, 0), np.where(inside, column, 0)] >= OPEN_SHARE))

    def _touches(self, at: Array) -> NDArray[np.bool_]:
        """Whether a pin at each of some places ``(n, 2)`` would stand in another one."""
        gap = at[:, None] - self._spots[None]
        return np.asarray((np.hypot(gap[..., 0], gap[..., 1]) < APART_IN).any(axis=1))

    def _cluttered(self, at: tuple[NDArray[np.int64], NDArray[np.int64]]) -> float:
        """Share of the pixels beside a pin's image (places of its rows and columns) that show other things."""
        v, u = at
        lines = np.unique(v)
        first = np.searchsorted(v, lines)
        last = np.append(first[1:], len(v)) - 1
        sides = np.concatenate([u[first] - RING_PX, u[last] + RING_PX])
        return float(self._unclear[np.tile(lines, 2), np.clip(sides, 0, self._unclear.shape[1] - 1)].mean())

    def _gain(self, pin: int, step: tuple[int, int], y_in: float) -> float:
        """How much likelier (logarithm) the picture is with the pin's image moved by whole pixels than without it."""
        model, shape = self._rack.model, self._rack.model.shapes[pin - 1]
        v, u = np.nonzero(shape.alpha > 0.02)
        to_v, to_u = v + step[1], u + step[0]
        inside = (to_v >= 0) & (to_v < shape.alpha.shape[0]) & (to_u >= 0) & (to_u < shape.alpha.shape[1])
        v, u, to = v[inside], u[inside], (to_v[inside], to_u[inside])
        clear = np.ones(len(v), dtype=np.float32)
        for front_y, alpha in self._fronts:
            if front_y < y_in:
                clear *= 1 - alpha[to]
        a, upper = shape.alpha[v, u] * clear, shape.height_in[v, u] > LOW_IN
        if not len(v) or float(a[upper].sum()) < SEEN_SHARE * float(shape.alpha[v, u][upper].sum()):
            return -np.inf
        luma = model.look.luma_at(pin - 1, shape.height_in[v, u], shape.side[v, u])
        place = PLACE_PX * edge_of(shape.alpha)[v, u] * clear * (luma - self._mean[to])
        noise, var = self._still.noise[to] ** 2, self._var[to]
        with_pin = var * (1 - a) ** 2 + (a * np.float32(model.look.sd)) ** 2 + noise + place**2
        share = np.maximum(np.where(upper, FALLEN.high, FALLEN.low), self._cluttered(to)).astype(np.float32)
        seen, left = self._still.luma[to], self._still.luma[to] - self._mean[to]
        told = _told(left - a * (luma - self._mean[to]), with_pin, seen, share=share, model=model)
        return float((told - _told(left, var + noise, seen, share=share, model=model)).sum() * model.counts())


def _moved(picture: Float, step: tuple[int, int]) -> Float:
    """A picture moved by whole pixels (columns, rows); its border repeats itself."""
    if step == (0, 0):
        return picture
    rows = np.clip(np.arange(picture.shape[0]) - step[1], 0, picture.shape[0] - 1)
    columns = np.clip(np.arange(picture.shape[1]) - step[0], 0, picture.shape[1] - 1)
    return picture[rows[:, None], columns[None, :]]


def _told(left: Float, var: Float, seen: Float, *, share: Float, model: DeckModel) -> Float:
    other = share * model.other_things(seen)
    return np.asarray(np.log((1 - share) * normal(left, var) + other), np.float32)
