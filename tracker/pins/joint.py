"""How likely each of the 1024 sets of standing pins is, from one picture of the deck.

Every set has a picture: what is behind, and the standing pins over it from the back row to the front. The picture seen
differs from it by noise, by how pins and what is behind vary, by outlines that lie a little off, and by things that are
neither (pins that lie about, the ball): a pixel shows such a thing with a probability, and then any brightness, most
likely a pin's. Pixels side by side err together, so that only one in so many counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tracker.pins.looks import Backdrop, FreeRows, PinLook
from tracker.pins.stands import PinShape

Array = NDArray[np.float64]
Float = NDArray[np.float32]

SETS = np.arange(1024)
BITS = ((SETS[:, None] >> np.arange(10)) & 1).astype(bool)
"""Row s: which pins (column n - 1) stand in set s."""
TOUCHED = 0.01
PLACE_PX = 0.3
"""Standard uncertainty of an outline's place in the picture after it was laid over it (own estimate)."""
LOW_IN = 7.5
WHITE_SHARE = 0.7
LEVELS = 256.0
TOGETHER_IN = 1.6
"""Pixels within about this distance err together: shading, stripes, a wrong outline (own estimate, checked by the
reliability of the probabilities)."""


@dataclass(frozen=True, slots=True)
class Clutter:
    """Probability that a pixel shows neither pins that stand nor what is behind: low on the pins and above."""

    low: float
    high: float


NO_CLUTTER, FALLEN = Clutter(0.03, 0.03), Clutter(0.35, 0.12)


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Pixels that the same number k of pins can cover, sorted by which pins these are.

    Attributes
    ----------
    pixels : array of shape (p,)
        Their flat indices in the picture.
    members : array of shape (k, p)
        Index of each pin that can cover a pixel, from the front to the back.
    alpha, edge, height_in, side : float32 arrays of shape (k, p)
        Of these pins at that pixel: share covered, steepness of that share, height, place across.
    starts : array of shape (g,)
        Where in ``pixels`` a new set of pins begins.
    subset : array of shape (g, 1024)
        For each set of standing pins, which of the 2^k cases of these k pins it is.
    """

    pixels: NDArray[np.int64]
    members: NDArray[np.int64]
    alpha: Float
    edge: Float
    height_in: Float
    side: Float
    starts: NDArray[np.int64]
    subset: NDArray[np.int64]


def batches(shapes: Sequence[PinShape]) -> tuple[Batch, ...]:
    """The pixels that pins of these shapes (all ten, in the order of their numbers) can cover."""
    alphas = np.stack([s.alpha.ravel() for s in shapes])
    touched = alphas > TOUCHED
    edges = np.stack([edge_of(s.alpha).ravel() for s in shapes])
    heights, sides = (np.stack([getattr(s, name).ravel() for s in shapes]) for name in ("height_in", "side"))
    code = (touched * (1 << np.arange(10))[:, None]).sum(axis=0)
    count = touched.sum(axis=0)
    made = []
    for k in range(1, int(count.max()) + 1):
        pixels = np.flatnonzero(count == k)
        pixels = pixels[np.argsort(code[pixels], kind="stable")]
        if not len(pixels):
            continue
        members = np.nonzero(touched[:, pixels].T)[1].reshape(len(pixels), k).T
        starts = np.flatnonzero(np.diff(code[pixels], prepend=-1))
        subset = np.stack([(BITS[:, members[:, i]] * (1 << np.arange(k))).sum(axis=1) for i in starts])
        made.append(
            Batch(
                pixels, members, alphas[members, pixels], edges[members, pixels], height_in=heights[members, pixels],
                side=sides[members, pixels], starts=starts, subset=subset,
            )
        )  # fmt: skip
    return tuple(made)


@dataclass(frozen=True, slots=True, eq=False)
class DeckModel:
    """What is needed to say what a set of pins looks like: shapes of all ten, their look and what is behind.

    ``batches`` are those of the shapes, ``free`` the pixels that no pin can cover.
    """

    shapes: Sequence[PinShape]
    batches: Sequence[Batch]
    look: PinLook
    behind: Backdrop
    free: FreeRows
    px_per_in: float

    def counts(self) -> float:
        """Share of the pixels that count as independent."""
        return 1.0 / (1.0 + (TOGETHER_IN * self.px_per_in) ** 2)

    def picture_of(self, pins: Sequence[int]) -> tuple[Float, Float]:
        """Mean and variance ``(h, w)`` of the picture of some standing pins, without noise."""
        mean, var = self.behind.luma, self.behind.sd**2
        for n in sorted(pins, reverse=True):
            shape = self.shapes[n - 1]
            step = self.look.luma_at(n - 1, shape.height_in, shape.side) - mean
            place = (np.float32(PLACE_PX) * edge_of(shape.alpha) * step) ** 2
            mean = mean + shape.alpha * step
            var = var * (1 - shape.alpha) ** 2 + (shape.alpha * np.float32(self.look.sd)) ** 2 + place
        return mean, var

    def other_things(self, seen: Float) -> Float:
        """Density of the luma of what is neither a pin that stands nor behind: most likely a pin that lies."""
        white = float(np.median(self.look.level))
        lying = normal(seen - np.float32(0.9 * white), np.float32((0.2 * white) ** 2))
        return np.asarray(np.float32(WHITE_SHARE) * lying + np.float32((1 - WHITE_SHARE) / LEVELS), np.float32)


def set_log_likelihoods(picture: Float, noise: Float, model: DeckModel, clutter: Clutter) -> Array:
    """Logarithm of the likelihood of each set of pins ``(1024,)``, pin n in set s where bit n - 1 of s is set.

    Parameters
    ----------
    picture : float32 array of shape (h, w)
        Luma of the deck's box.
    noise : float32 array of shape (h, w)
        Its standard deviation.
    model : DeckModel
    clutter : Clutter
    """
    total = np.zeros(len(SETS))
    for batch in model.batches:
        told, _ = _cases(batch, picture, noise, model=model, clutter=clutter)
        sums = np.add.reduceat(np.log(told), batch.starts, axis=1)
        total += np.take_along_axis(sums.T, batch.subset, axis=1).sum(axis=0)
    return np.asarray(total * model.counts())


def strange(picture: Float, noise: Float, model: DeckModel, *, standing: int, clutter: Clutter) -> Float:
    """Probability ``(h, w)`` that a pixel shows neither a set of pins nor what is behind; NaN where no pin can be."""
    out = np.full(picture.size, np.nan, dtype=np.float32)
    for batch in model.batches:
        told, other = _cases(batch, picture, noise, model=model, clutter=clutter)
        group = np.repeat(np.arange(len(batch.starts)), np.diff(batch.starts, append=len(batch.pixels)))
        case = batch.subset[group, standing]
        out[batch.pixels] = other / told[case, np.arange(len(batch.pixels))]
    return out.reshape(picture.shape)


def _cases(batch: Batch, picture: Float, noise: Float, *, model: DeckModel, clutter: Clutter) -> tuple[Float, Float]:
    """Likelihood ``(2^k, p)`` of each pixel in every case of its k pins, and its part ``(p,)`` of other things."""
    at = batch.pixels
    seen, behind = picture.ravel()[at], model.behind.luma.ravel()[at]
    behind_var, noise_var = model.behind.sd.ravel()[at] ** 2, noise.ravel()[at] ** 2
    pins = model.look.luma_at(batch.members, batch.height_in, batch.side)
    share = np.where(batch.height_in.min(axis=0) < LOW_IN, np.float32(clutter.low), np.float32(clutter.high))
    other = share * model.other_things(seen)
    pin_var = np.float32(model.look.sd**2)
    told = np.empty((1 << len(batch.members), len(at)), dtype=np.float32)
    for case in range(len(told)):
        mean, var, extra = behind, behind_var, noise_var
        for k in range(len(batch.members) - 1, -1, -1):
            if (case >> k) & 1:
                a, step = batch.alpha[k], pins[k] - mean
                extra = extra + (np.float32(PLACE_PX) * batch.edge[k] * step) ** 2
                mean, var = mean + a * step, var * (1 - a) ** 2 + pin_var * a**2
        told[case] = (1 - share) * normal(seen - mean, var + extra) + other
    return told, other


def normal(left: Float, variance: Float | np.float32) -> Float:
    """Density of a normal distribution at a distance from its mean."""
    return np.asarray(np.exp(np.float32(-0.5) * left**2 / variance) / np.sqrt(np.float32(2 * np.pi) * variance))


def edge_of(alpha: Float) -> Float:
    """How fast the share covered changes from pixel to pixel."""
    down, across = np.gradient(alpha)
    return np.asarray(np.hypot(down, across), dtype=np.float32)


def posterior(log_likelihood: Array, log_prior: Array) -> Array:
    """Probability ``(1024,)`` of each set."""
    total = log_likelihood + log_prior
    weight = np.exp(total - total.max())
    return np.asarray(weight / weight.sum())


def each_pin(probability: Array) -> Array:
    """Probability ``(10,)`` that each pin stands, from that of the sets ``(1024,)``."""
    return np.asarray(probability @ BITS)


def pins_of(index: int) -> tuple[int, ...]:
    """Numbers of the pins of a set."""
    return tuple(int(n) + 1 for n in np.flatnonzero(BITS[index]))


def set_of(pins: Sequence[int]) -> int:
    """Index of a set of pins."""
    return sum(1 << (n - 1) for n in pins)
