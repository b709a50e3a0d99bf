"""Small windows of a picture found again to a few hundredths of a pixel, whatever the exposure did.

Lucas and Kanade's alignment in its inverse compositional form (Baker and Matthews, Int. J. Computer Vision 56, 2004;
from memory) for a shift only: the gradients are those of the reference, freed of what a change of gain and offset could
also explain. Both pictures are sampled through a Gaussian, which interpolates, keeps noise down and widens the reach.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Float = NDArray[np.float32]
Plane = NDArray[np.uint8] | NDArray[np.uint16]

MARGIN_PX = 8
"""Pixels kept around a window, for the Gaussian and for shifts."""
NOISE_FLOOR = 0.5
"""Noise of 8-bit samples is never taken to be less than this, grey levels."""
_RIDGE = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Template:
    """Reference windows ready for alignment.

    Attributes
    ----------
    half_px, step_px, sigma_px : int, int, float
        Samples lie at -half, -half + step, .. half pixels from the centre, seen through a Gaussian of ``sigma_px``.
    basis : array of shape (n, 3, p)
        The two steepest descents (u, v), levels a pixel, free of gain and offset; then the centred window over its
        square sum, which reads the gain.
    step : array of shape (n, 2, 2)
        Turns the projections on the descents into pixels, damped along an edge.
    information : array of shape (n, 2, 2)
        Inverse covariance (px^-2) of the shift for white noise of one grey level in the new picture.
    energy : array of shape (n,)
        Square sum of the centred window.
    freedom : float
        Square sum of the smoothed noise over a window, for white noise of one grey level.
    """

    half_px: int
    step_px: int
    sigma_px: float
    basis: Float
    step: Array
    information: Array
    energy: Array
    freedom: float


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """What windows say: one step of alignment each.

    Attributes
    ----------
    shift : array of shape (n, 2)
        Where the window still lies from the place looked at, pixels (u, v).
    gain : array of shape (n,)
        Contrast over the reference's.
    likeness : array of shape (n,)
        Correlation with the reference, -1 to 1.
    noise : array of shape (n,)
        White noise (grey levels) that would leave what the window cannot explain.
    """

    shift: Array
    gain: Array
    likeness: Array
    noise: Array


def eight_bit(plane: Plane, bit_depth: int | None = None) -> NDArray[np.uint8]:
    """Samples of any size as 8-bit ones, further bits cut off; 16-bit arrays hold 10 bits unless told otherwise."""
    if plane.dtype == np.uint8:
        return plane.astype(np.uint8, copy=False)
    return (plane >> ((bit_depth or 10) - 8)).astype(np.uint8)


@lru_cache(maxsize=32)
def _grid(half: int, step: int, margin: int) -> tuple[Array, Array]:
    samples = np.arange(-half, half + 1, step, dtype=np.float64)
    return samples, np.arange(-half - margin, half + margin + 1, dtype=np.float64)


def sampler(half: int, step: int, sigma: float, *, shift: Array, margin: int = MARGIN_PX) -> Array:
    """Matrices ``(n, a, m)`` that read the samples of a window moved by ``shift`` ``(n,)`` pixels along one axis."""
    samples, pixels = _grid(half, step, margin)
    away = pixels - samples[:, None] - np.asarray(shift, dtype=np.float64)[:, None, None]
    weight = np.exp(-0.5 * (away / sigma) ** 2)
    return np.asarray(weight / weight.sum(axis=-1, keepdims=True))


def _slopes(half: int, step: int, sigma: float, margin: int) -> Array:
    """Derivative ``(a, m)`` of :func:`sampler` for the shift, at 0."""
    h = 1e-3
    ends = sampler(half, step, sigma, shift=np.array([h, -h]), margin=margin)
    return np.asarray((ends[0] - ends[1]) / (2 * h))


def make_template(blocks: NDArray[np.uint8], half: int, step: int, sigma: float) -> Template:
    """Prepare reference windows.

    Parameters
    ----------
    blocks : uint8 array of shape (n, m, m)
        Reference pixels, the window's centre in the middle; what m exceeds 2 half + 1 by is margin.
    half, step : int
        Half the window's size and the distance of samples, pixels.
    sigma : float
        Of the Gaussian through which windows are seen, pixels.
    """
    margin = (blocks.shape[1] - 1) // 2 - half
    read = sampler(half, step, sigma, shift=np.zeros(1), margin=margin)[0]
    slope = _slopes(half, step, sigma, margin)
    b = blocks.astype(np.float64)
    n = len(b)
    a = len(read)
    window = (read @ b @ read.T).reshape(n, a * a)
    window -= window.mean(axis=1, keepdims=True)
    energy = np.maximum((window**2).sum(axis=1), 1e-6)
    descents = np.stack([read @ b @ slope.T, slope @ b @ read.T], axis=1).reshape(n, 2, a * a)
    descents -= descents.mean(axis=2, keepdims=True)
    descents -= ((descents @ window[:, :, None]) / energy[:, None, None]) * window[:, None, :]
    hessian = descents @ descents.transpose(0, 2, 1)
    ridge = np.trace(hessian, axis1=1, axis2=2)[:, None, None] * _RIDGE * np.eye(2) + 1e-9 * np.eye(2)
    onto_pixels = (read.T @ descents.reshape(n, 2, a, a) @ read).reshape(n, 2, read.shape[1] ** 2)
    scatter = onto_pixels @ onto_pixels.transpose(0, 2, 1)
    spare = np.trace(scatter, axis1=1, axis2=2)[:, None, None] * _RIDGE * np.eye(2) + 1e-9 * np.eye(2)
    basis = np.concatenate([descents, (window / energy[:, None])[:, None, :]], axis=1)
    return Template(
        half,
        step,
        sigma,
        basis.astype(np.float32),
        step=np.linalg.inv(hessian + 3 * ridge),
        information=hessian @ np.linalg.inv(scatter + spare) @ hessian,
        energy=energy,
        freedom=float((read**2).sum() ** 2),
    )


def read_samples(template: Template, samples: Float) -> Reading:
    """One step of alignment.

    Parameters
    ----------
    template : Template
        The reference, n windows.
    samples : float array of shape (n, p)
        The new picture through the same Gaussian at the same samples, moved to where the windows are looked for.
    """
    said = (template.basis @ samples[:, :, None])[:, :, 0].astype(np.float64)
    power = np.maximum(samples.var(axis=1, dtype=np.float64) * samples.shape[1], 1e-9)
    gain = said[:, 2]
    likeness = gain * np.sqrt(template.energy / power)
    safe = np.where(np.abs(gain) > 0.05, gain, np.inf)[:, None]
    slope = said[:, :2] / safe
    shift = (template.step @ -slope[:, :, None])[:, :, 0]
    explained = -(slope * shift).sum(axis=1)
    left = np.maximum(power / safe[:, 0] ** 2 - template.energy - explained, 0.0)
    noise = np.sqrt(left / max(template.freedom - 4.0, 1.0))
    # The step is from where the new picture was read to where the reference says it is.
    return Reading(shift, gain, likeness, np.maximum(noise, NOISE_FLOOR))


def cut_blocks(plane: NDArray[np.uint8], centres: NDArray[np.intp], reach: int) -> NDArray[np.uint8]:
    """Pixels ``(n, 2 reach + 1, 2 reach + 1)`` around centres ``(n, 2)`` (column, row); edges are repeated."""
    around = np.arange(-reach, reach + 1)
    rows = np.clip(centres[:, 1, None] + around, 0, plane.shape[0] - 1)
    columns = np.clip(centres[:, 0, None] + around, 0, plane.shape[1] - 1)
    return np.asarray(plane[rows[:, :, None], columns[:, None, :]])


def resample(template: Template, blocks: NDArray[np.uint8] | Float, shift: Array) -> Float:
    """Samples ``(n, p)`` of blocks ``(n, m, m)`` moved by ``shift`` ``(n, 2)`` pixels (u, v) from their middles."""
    margin = (blocks.shape[1] - 1) // 2 - template.half_px
    across, down = (
        sampler(template.half_px, template.step_px, template.sigma_px, shift=shift[:, k], margin=margin).astype(
            np.float32
        )
        for k in (0, 1)
    )
    picture = down @ blocks.astype(np.float32) @ across.transpose(0, 2, 1)
    return np.asarray(picture.reshape(len(blocks), template.basis.shape[2]), dtype=np.float32)
