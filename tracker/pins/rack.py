"""Which pins stand before a shot, and how this clip shows pins: places, blur, brightness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.lane import pin_positions
from tracker.pins.joint import (
    BITS,
    NO_CLUTTER,
    SETS,
    Batch,
    DeckModel,
    batches,
    each_pin,
    pins_of,
    posterior,
    set_log_likelihoods,
    set_of,
)
from tracker.pins.looks import Backdrop, FreeRows, PinLook, backdrop, first_look, free_rows, learned
from tracker.pins.stands import DeckView, PinShape, pin_shape
from tracker.pins.still import Still, laid_over, placed, shifted

Array = NDArray[np.float64]

FULL = set_of(range(1, 11))
FULL_PRIOR = 0.5
"""Every second shot or more begins with a full rack (common practice, no source); else each pin as likely as not."""
STAYS_PRIOR = 0.2
RISES_PRIOR = 1e-4
"""A pin that did not stand does not rise; a rack that was read wrong may have had it."""
BLURS_PX = (0.45, 0.8, 1.2)
STEPS_PX, FINE_STEPS_PX = (2.0, 1.0), (0.5,)
AROUND_PX = (-2, -1, 0, 1, 2)
REACH_PX = 6.0
PASSES = 3
MOST_CANDIDATES, WORTH = 5, 25.0
"""So many sets, no less likely than by e^25, are fitted each with its own place and look before they are compared."""
HIGH_IN = 8.0
LEAST_CONTRAST, CONTRAST_NOISES = 8.0, 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Rack:
    """The deck before a shot.

    Attributes
    ----------
    model : DeckModel
        How pins look here.
    place : array of shape (2, 3)
        Where pixels of the model lie in the pictures of the box, pixel centres at 0.
    noise : float32 array of shape (h, w)
        Of a single picture.
    still : Still
        The picture, shifted back.
    sets : array of shape (1024,)
        Probability of each set of pins.
    """

    model: DeckModel
    place: Array
    noise: NDArray[np.float32]
    still: Still
    sets: Array

    @property
    def probability(self) -> Array:
        """Probability ``(10,)`` that each pin stands."""
        return each_pin(self.sets)

    @property
    def pins(self) -> tuple[int, ...]:
        """The likeliest set."""
        return pins_of(int(self.sets.argmax()))

    def placed(self, still: Still) -> Still:
        """Another picture of the same view, with the pins where the model has them."""
        return replace(still, luma=placed(still.luma, self.place))

    def in_picture(self, pixels: Array) -> Array:
        """Places ``(..., 2)`` in the box's pictures of places of the model, pixel centres at +0.5."""
        return np.asarray((pixels - 0.5) @ self.place[:, :2].T + self.place[:, 2] + 0.5)


def before_prior() -> Array:
    """Logarithm of the probability ``(1024,)`` of each set before a shot."""
    prior = np.full(len(SETS), (1 - FULL_PRIOR) / len(SETS))
    prior[FULL] += FULL_PRIOR
    return np.asarray(np.log(prior))


def after_prior(before: Array) -> Array:
    """Logarithm of the probability ``(1024,)`` of each set after a shot, from the probability of each pin before."""
    stands = before * STAYS_PRIOR + (1 - before) * RISES_PRIOR
    stands = np.clip(stands, RISES_PRIOR, 1 - RISES_PRIOR)
    return np.asarray(np.where(BITS, np.log(stands), np.log(1 - stands)).sum(axis=1))


def read_rack(view: DeckView, still: Still, noise: NDArray[np.float32], place_u_px: float) -> Rack | None:
    """Read the pins before a shot; None where pins hardly differ from what is behind them.

    Parameters
    ----------
    view : DeckView
    still : Still
        Picture from before the shot.
    noise : float32 array of shape (h, w)
        Noise of a single picture.
    place_u_px : float
        Standard uncertainty of where the camera puts the pins, pixels.
    """
    search = _Search(view, still, place_u_px)
    blur = search.best()
    made = search.outlines(blur)
    fits = (
        _fitted(made, still, stand, shifted(*shift), px_per_in=view.px_per_in, u_px=place_u_px)
        for stand, shift in search.candidates(blur)
    )
    tried = [fit for fit in fits if fit is not None]
    if not tried:
        return None
    best = max(tried, key=lambda t: t.score)
    here = replace(still, luma=placed(still.luma, best.place))
    told = set_log_likelihoods(here.luma, here.noise, best.model, NO_CLUTTER) + before_prior()
    told -= told[set_of(best.stand)]
    for other in tried:
        told[set_of(other.stand)] = other.score - best.score
    return Rack(best.model, best.place, noise, here, posterior(told, np.zeros(len(SETS))))


@dataclass(frozen=True, slots=True, eq=False)
class _Fitted:
    """A set of pins with the place and the look that suit it best, and how likely that is beside an empty deck."""

    stand: tuple[int, ...]
    model: DeckModel
    place: Array
    score: float


def _fitted(
    made: Outlines, still: Still, stand: tuple[int, ...], place: Array, *, px_per_in: float, u_px: float
) -> _Fitted | None:
    look = first_look(placed(still.luma, place), made.shapes)
    for _ in range(PASSES):
        here = replace(still, luma=placed(still.luma, place))
        model = made.model(look, backdrop(here.luma, made.free), px_per_in)
        if not _told(model, still):
            return None
        look = learned(here.luma, made.shapes, stand, look)
        mean, variance = replace(model, look=look).picture_of(stand)
        weight = np.asarray(1 / (variance + still.noise**2), dtype=np.float32)
        place = laid_over(mean, still.luma, weight, place)
    here = replace(still, luma=placed(still.luma, place))
    model = made.model(look, backdrop(here.luma, made.free), px_per_in)
    told = set_log_likelihoods(here.luma, here.noise, model, NO_CLUTTER) + before_prior()
    middle = np.array([here.luma.shape[1] / 2, here.luma.shape[0] / 2, 1.0])
    moved_px = place @ middle - middle[:2]
    prior = -0.5 * float(moved_px @ moved_px) / u_px**2
    return _Fitted(stand, model, place, float(told[set_of(stand)] - told[0]) + prior)


def _told(model: DeckModel, still: Still) -> bool:
    heads = np.max([s.alpha * (s.height_in > HIGH_IN) for s in model.shapes], axis=0) > 0.5
    dark, noise = float(np.median(model.behind.luma[heads])), float(np.median(still.noise[heads]))
    return float(model.look.level.max()) - dark > max(LEAST_CONTRAST, CONTRAST_NOISES * noise)


@dataclass(frozen=True, slots=True, eq=False)
class Outlines:
    """All that comes of the ten pins' shapes alone."""

    shapes: Sequence[PinShape]
    batches: Sequence[Batch]
    free: FreeRows

    def model(self, look: PinLook, behind: Backdrop, px_per_in: float) -> DeckModel:
        """A deck with these shapes."""
        return DeckModel(self.shapes, self.batches, look, behind, self.free, px_per_in)


class _Search:
    """Looks for the shift of all pins together and for the blur of their outlines."""

    def __init__(self, view: DeckView, still: Still, place_u_px: float) -> None:
        self._view, self._still, self._u = view, still, place_u_px
        self._scale = float(np.sqrt(max(1.0, view.px_per_in / 2.4)))
        self._made: dict[float, Outlines] = {}
        self._known: dict[tuple[float, float, float], float] = {}
        self._pins: dict[tuple[float, float, float], int] = {}
        self._all: dict[tuple[float, float, float], Array] = {}

    def best(self) -> float:
        """Blur of the likeliest picture; shifts are looked for by steps that grow finer."""
        blur = BLURS_PX[1]
        shift = self._climb((0.0, 0.0), blur, STEPS_PX)
        if self._pins[(*shift, blur)] != FULL:
            # few pins fit in several places: one behind another looks like it, only lower
            near = [(float(du), float(dv)) for du in AROUND_PX for dv in AROUND_PX]
            best = max([shift, *near], key=lambda s: self._score(s, blur))
            shift = self._climb(best, blur, FINE_STEPS_PX)
        finer = self._score(shift, BLURS_PX[0]) > self._score(shift, BLURS_PX[1])
        others = BLURS_PX[:1] if finer else BLURS_PX[1:]
        return max(others, key=lambda b: self._score(shift, b))

    def candidates(self, blur: float) -> list[tuple[tuple[int, ...], tuple[float, float]]]:
        """The likeliest sets of pins, each with the shift that suits it best."""
        keys = [key for key in self._all if key[2] in (blur, BLURS_PX[1])]
        shifts = [key[:2] for key in keys]
        table = np.stack([self._all[key] for key in keys])
        best = table.max(axis=0)
        order = np.argsort(-best, kind="stable")[:MOST_CANDIDATES]
        kept = [int(s) for s in order if best[s] > best.max() - WORTH and s > 0]
        return [(pins_of(s), shifts[int(table[:, s].argmax())]) for s in kept]

    def _climb(self, shift: tuple[float, float], blur: float, steps: Sequence[float]) -> tuple[float, float]:
        for step in steps:
            while True:
                around = [
                    (shift[0] + i * step, shift[1] + j * step) for i, j in ((0, 0), (1, 0), (-1, 0), (0, 1), (0, -1))
                ]
                near = max(around, key=lambda s: self._score(s, blur))
                if near == shift or max(np.abs(near)) > REACH_PX:
                    break
                shift = near
        return shift

    def outlines(self, blur: float) -> Outlines:
        """The ten pins' shapes with a blur, made when they are first asked for."""
        if blur not in self._made:
            shapes = [pin_shape(self._view, spot, blur * self._scale) for spot in pin_positions()]
            self._made[blur] = Outlines(shapes, batches(shapes), free_rows(self._view, shapes))
        return self._made[blur]

    def _score(self, shift: tuple[float, float], blur: float) -> float:
        key = (*shift, blur)
        if key not in self._known:
            picture, made = placed(self._still.luma, shifted(*shift)), self.outlines(blur)
            look, behind = first_look(picture, made.shapes), backdrop(picture, made.free)
            model = made.model(look, behind, self._view.px_per_in)
            told = set_log_likelihoods(picture, self._still.noise, model, NO_CLUTTER)
            prior = -0.5 * (shift[0] ** 2 + shift[1] ** 2) / self._u**2
            # beside an empty deck: other shifts have other pixels, of which pit is easier to explain than floor
            total = told + before_prior()
            self._pins[key] = int(total.argmax())
            self._all[key] = total - told[0] + prior
            self._known[key] = float(self._all[key].max())
        return self._known[key]
