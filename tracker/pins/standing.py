"""Which pins stand after a shot: the last usable pictures, read pin by pin, with what makes a pin doubtful."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.lane import PIN_HEIGHT_IN
from tracker.pins.joint import FALLEN, LOW_IN, each_pin, posterior, set_log_likelihoods, strange
from tracker.pins.rack import Rack, after_prior
from tracker.pins.shifted import Place, arrange
from tracker.pins.stands import DeckView
from tracker.pins.still import Still, still_of
from tracker.video.reader import Crop

Array = NDArray[np.float64]
Float = NDArray[np.float32]
Mask = NDArray[np.bool_]

FALL_S = 0.5
"""A pin that is hit takes about this long to lie down (own estimate: half a period of a 15 in rod that topples)."""
WINDOW_S = 0.25
COVERED_SHARE, HIDDEN_SHARE = 0.4, 0.12
PIN_COVERED = 0.6
LATEST_FIRST_S = 2.0
"""What is uncovered for the first time later than this after contact may be the next rack."""
MOVES_NOISES, MOVES_LEVELS = 2.5, 3.0
SWAYS_IN = 0.12
"""Sway of head and neck (standard deviation) beyond what pictures of pins at rest show (own choice)."""
FLYING_IN2 = 7.0
"""Area of something tall that moves and is no standing pin; a pin's head measures 5 square inches, its side 50."""
RISES = 0.5
CHANGED = 0.01
LOOSE = 0.02
"""A pin that is beside its spot and moves is so much less likely to stand there than to fly (own estimate)."""
TALL_IN = 10.0


@dataclass(frozen=True, slots=True, eq=False)
class Standing:
    """Pins at the last usable pictures after a shot.

    Attributes
    ----------
    still : Still
        These pictures in one.
    sets : array of shape (1024,)
        Probability of each set of pins.
    probability : array of shape (10,)
        Probability that each pin stands, wherever it stands.
    beside : tuple of Place
        Pins that stand beside their spots.
    wobbling, covered, hidden : tuple of int
        Pins that stand and move; that something covers; of which those in front leave nothing to see.
    flying : bool
        Pins are still in the air or toppling.
    """

    still: Still
    sets: Array
    probability: Array
    beside: tuple[Place, ...] = ()
    wobbling: tuple[int, ...] = ()
    covered: tuple[int, ...] = ()
    hidden: tuple[int, ...] = ()
    flying: bool = False

    @property
    def pins(self) -> tuple[int, ...]:
        """Pins that stand more likely than not."""
        return tuple(int(n) + 1 for n in np.flatnonzero(self.probability > 0.5))

    @property
    def sure(self) -> float:
        """Probability that exactly these pins stand.

        That of the likeliest set, unless what stands beside its spot changed it; then that of each pin by itself.
        """
        each = np.maximum(self.probability, 1 - self.probability)
        changed = np.abs(self.probability - each_pin(self.sets)) > CHANGED
        return float(np.prod(each[changed])) * (float(self.sets.max()) if not changed.all() else 1.0)


def windows(crops: Sequence[Crop]) -> list[list[Crop]]:
    """Pictures in order of time cut into stretches of :data:`WINDOW_S`, counted back from the last one."""
    out: list[list[Crop]] = []
    for crop in reversed(crops):
        if not out or out[-1][-1].t_s - crop.t_s > WINDOW_S:
            out.append([crop])
        else:
            out[-1].insert(0, crop)
    return out[::-1]


def read_standing(view: DeckView, rack: Rack, crops: Sequence[Crop], contact_s: float) -> Standing | None:
    """Read the pins at the last usable pictures after a shot; None where there are none.

    Parameters
    ----------
    view : DeckView
    rack : Rack
        The deck before.
    crops : sequence of Crop
        Pictures from the contact on, in order of time.
    contact_s : float
        Time of the ball's first contact.
    """
    last: _Window | None = None
    for crops_ in windows([c for c in crops if c.t_s >= contact_s + FALL_S]):
        still = rack.placed(still_of(crops_, rack.noise))
        window = _Window(crops_, still, *_sets(rack, still))
        if float(np.nanmean(window.unclear)) > COVERED_SHARE:
            if last is not None:
                break
            continue
        if last is None and crops_[0].t_s > contact_s + LATEST_FIRST_S:
            break
        if last is not None and float(np.max(each_pin(window.sets) * (1 - each_pin(last.sets)))) > RISES:
            break
        last = window
    return None if last is None else _judged(view, rack, last)


@dataclass(frozen=True, slots=True, eq=False)
class _Window:
    """Some pictures, the same in one, the sets of pins at their spots, and what these do not explain."""

    crops: Sequence[Crop]
    still: Still
    sets: Array
    unclear: Float


def _sets(rack: Rack, still: Still) -> tuple[Array, Float]:
    told = set_log_likelihoods(still.luma, still.noise, rack.model, FALLEN)
    sets = posterior(told, after_prior(rack.probability))
    unclear = strange(still.luma, still.noise, rack.model, standing=int(sets.argmax()), clutter=FALLEN)
    return sets, unclear


def _judged(view: DeckView, rack: Rack, window: _Window) -> Standing:
    still, sets, unclear = window.still, window.sets, window.unclear
    found = arrange(view, rack, still, sets=sets, unclear=unclear)
    stand = tuple(p.pin for p in found.places)
    beside = tuple(p for p in found.places if not p.at_spot)
    probability = found.probability
    seen = _visible(rack, stand)
    moves = _moves(window.crops, rack)
    area = {n: seen[n - 1] > 0.3 for n in range(1, 11)}
    whole = [float(s.alpha.sum()) for s in rack.model.shapes]
    hidden = tuple(n for n in range(1, 11) if float(seen[n - 1].sum()) < HIDDEN_SHARE * whole[n - 1])
    covered = tuple(
        n for n, a in area.items() if n not in hidden and a.any() and float(np.nanmean(unclear[a])) > PIN_COVERED
    )
    wobbling = tuple(
        n for n in stand if n not in hidden and sway_in(view, rack, window.crops, pin=n, seen=seen) > SWAYS_IN
    )
    at_spots = each_pin(sets)
    if any(n in wobbling and at_spots[n - 1] <= 0.5 for n in stand):
        for k in np.flatnonzero(np.abs(probability - at_spots) > CHANGED):
            chance = float(probability[k])
            probability[k] = chance * LOOSE / (chance * LOOSE + 1 - chance)
        beside = tuple(p for p in beside if probability[p.pin - 1] > 0.5)
        wobbling = tuple(n for n in wobbling if probability[n - 1] > 0.5)
    flying = float(np.sum(_tall(rack) & moves & (unclear > 0.5))) / view.px_per_in**2 > FLYING_IN2
    return Standing(
        still, sets, probability, beside, wobbling=wobbling, covered=covered, hidden=hidden, flying=flying
    )  # fmt: skip


def _visible(rack: Rack, stand: Sequence[int]) -> Float:
    """Share ``(10, h, w)`` of each pixel in which a pin shows, or would, before those that stand."""
    clear = np.ones_like(rack.model.shapes[0].alpha)
    out = np.empty((10, *clear.shape), dtype=np.float32)
    for n, shape in enumerate(rack.model.shapes, 1):
        out[n - 1] = clear * shape.alpha
        if n in stand:
            clear = clear * (1 - shape.alpha)
    return out


def _moves(window: Sequence[Crop], rack: Rack) -> Mask:
    """Pixels ``(h, w)`` that change within a window by more than noise."""
    stack = np.stack([c.luma for c in window]).astype(np.float32)
    spread = stack.std(axis=0) * np.sqrt(len(stack) / max(len(stack) - 1, 1))
    noise = np.maximum(rack.noise, np.float32(np.median(spread)))
    changes = spread > MOVES_NOISES * noise + MOVES_LEVELS
    return np.asarray(rack.placed(Still(changes.astype(np.float32), rack.noise, 0.0)).luma > 0.5)


def sway_in(view: DeckView, rack: Rack, window: Sequence[Crop], *, pin: int, seen: Float) -> float:
    """By how much a standing pin's upper part goes to and fro within a window: standard deviation, inches, less noise.

    Least squares of each picture's difference from their mean on what a small step to the side would change.
    """
    shape = rack.model.shapes[pin - 1]
    level = rack.model.look.luma_at(pin - 1, shape.height_in, shape.side)
    across = np.gradient(shape.alpha, axis=1) * (level - rack.model.behind.luma)
    across = np.where((shape.height_in > LOW_IN) & (seen[pin - 1] >= 0.5 * shape.alpha), across, 0).astype(np.float32)
    weight = float((across**2).sum())
    if weight <= 0 or len(window) < 3:
        return 0.0
    stack = np.stack([rack.placed(Still(c.luma.astype(np.float32), rack.noise, c.t_s)).luma for c in window])
    left = stack - stack.mean(axis=0)
    steps = -(left * across).sum(axis=(1, 2)) / weight
    rest = (left + steps[:, None, None] * across)[:, across != 0]
    noise = float(np.sqrt((rest**2).mean() / weight))
    return float(np.sqrt(max(steps.var(ddof=1) - noise**2, 0.0))) / view.px_per_in


def _tall(rack: Rack) -> Mask:
    """Pixels in which the upper part of a standing pin could be."""
    upper = [(s.alpha > 0.1) & (s.height_in > TALL_IN) & (s.height_in < PIN_HEIGHT_IN + 1) for s in rack.model.shapes]
    return np.asarray(np.any(upper, axis=0))
