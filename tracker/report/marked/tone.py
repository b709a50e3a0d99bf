"""Samples of any clip as those of an ordinary one: luma from 16 to 235, a high dynamic range made the usual one."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.video.reader import Crop
from tracker.video.stretch import Colour

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

BLACK, SPAN, CHROMA_SPAN = 16.0, 219.0, 224.0
WIDE_PRIMARIES = 9
"""Code of the primaries of ITU-R BT.2020 in ITU-T H.273."""
HIGH_DEFINITION, STANDARD_DEFINITION = (1, 1, 1), (6, 6, 6)
"""Codes of ITU-R BT.709 and of SMPTE 170M."""
HIGH_PX = 720
UNSAID = (0, 2)
HLG_WHITE = 0.75
"""Signal of diffuse white in hybrid log-gamma (ITU-R BT.2408; from memory)."""
PQ_WHITE_NITS = 203.0
"""The same in perceptual quantisation (ITU-R BT.2408; from memory)."""
KNEE = 0.8
"""Light above this share of white is bent so that any more of it stays below the end of the scale."""
MOST_GAIN = 3.0

_WIDE = (0.2627, 0.6780, 0.0593)
_USUAL = (0.2126, 0.7152, 0.0722)
# Linear light of BT.2020 primaries in those of BT.709 (ITU-R BT.2087, annex 1; from memory); every row adds up to one.
_NARROWED = np.array([[1.6605, -0.5876, -0.0728], [-0.1246, 1.1329, -0.0083], [-0.0182, -0.1006, 1.1187]])


@dataclass(frozen=True, slots=True)
class Tone:
    """How stored samples become ordinary ones.

    Attributes
    ----------
    luma : uint8 array of shape (256,)
        By stored luma.
    gain : float32 array of shape (256,)
        Factor of the colour differences by stored luma: about grey a curve stretches colours by its slope.
    mix : ndarray of shape (2, 2)
        What then makes of Cb and Cr those of the usual primaries.
    """

    luma: Image
    gain: NDArray[np.float32]
    mix: Array

    def ordinary(self, crop: Crop) -> tuple[Image, Image, Image]:
        """Luma, Cb and Cr of a crop, shapes kept."""
        gain = self.gain[crop.luma[::2, ::2]]
        blue, red = (plane.astype(np.float32) - 128.0 for plane in (crop.cb, crop.cr))
        mixed = [np.rint((float(b) * blue + float(r) * red) * gain + 128.0) for b, r in self.mix]
        cb, cr = (np.clip(plane, 0, 255).astype(np.uint8) for plane in mixed)
        return np.asarray(cv2.LUT(crop.luma, self.luma), dtype=np.uint8), cb, cr


def tone_of(colour: Colour) -> Tone | None:
    """The tone of a clip; None where its samples are ordinary already."""
    high = colour.transfer in CURVES
    wide = colour.primaries == WIDE_PRIMARIES
    if not (high or wide or colour.full_range):
        return None
    stored = np.arange(256.0)
    signal = np.clip(stored / 255.0 if colour.full_range else (stored - BLACK) / SPAN, 0.0, 1.0)
    curve = CURVES.get(colour.transfer, _same)
    step = 1e-3
    slope = (curve(np.clip(signal + step, 0, 1)) - curve(np.clip(signal - step, 0, 1))) / (
        np.clip(signal + step, 0, 1) - np.clip(signal - step, 0, 1)
    )
    range_gain = CHROMA_SPAN / 255.0 if colour.full_range else 1.0
    return Tone(
        luma=np.clip(np.rint(BLACK + SPAN * curve(signal)), 0, 255).astype(np.uint8),
        gain=(range_gain * np.clip(slope, 0.0, MOST_GAIN)).astype(np.float32),
        mix=_chroma_mix() if wide else np.eye(2),
    )


def output_codes(colour: Colour, short_side_px: int) -> tuple[int, int, int]:
    """Primaries, transfer and matrix (ITU-T H.273) of a clip's pictures after its tone.

    Where a clip does not say, players take its size for a hint, and a crop has another one: so it is said.
    """
    if colour.transfer in CURVES or colour.primaries == WIDE_PRIMARIES:
        return HIGH_DEFINITION
    if colour.matrix in UNSAID:
        return HIGH_DEFINITION if short_side_px >= HIGH_PX else STANDARD_DEFINITION
    return colour.primaries, colour.transfer_code, colour.matrix


def _same(signal: Array) -> Array:
    return signal


def _from_hlg(signal: Array) -> Array:
    """Ordinary signal of hybrid log-gamma: its scene light (ITU-R BT.2100) through the curve of ITU-R BT.709."""
    white = float(_hlg_light(np.array([HLG_WHITE]))[0])
    light = _bent(_hlg_light(signal) / white)
    return np.where(light < 0.018, 4.5 * light, 1.099 * np.maximum(light, 0.018) ** 0.45 - 0.099)


def _hlg_light(signal: Array) -> Array:
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    return np.where(signal <= 0.5, signal**2 / 3.0, (np.exp((signal - c) / a) + b) / 12.0)


def _from_pq(signal: Array) -> Array:
    """Ordinary signal of perceptual quantisation: its light (SMPTE ST 2084) by a screen's power law of 2.4."""
    m1, m2, c1, c2, c3 = 0.1593017578125, 78.84375, 0.8359375, 18.8515625, 18.6875
    root = signal ** (1.0 / m2)
    nits = 10000.0 * (np.maximum(root - c1, 0.0) / (c2 - c3 * root)) ** (1.0 / m1)
    return np.asarray(_bent(nits / PQ_WHITE_NITS) ** (1.0 / 2.4))


def _bent(light: Array) -> Array:
    rest = 1.0 - KNEE
    return np.where(light <= KNEE, light, KNEE + rest * (1.0 - np.exp(-(np.maximum(light, KNEE) - KNEE) / rest)))


CURVES = {"arib-std-b67": _from_hlg, "smpte2084": _from_pq}
"""Transfer characteristics of a high dynamic range."""


def _chroma_mix() -> Array:
    """Cb and Cr of BT.709 ``(2, 2)`` of those of BT.2020 about grey."""
    columns = []
    for blue, red in ((1.0, 0.0), (0.0, 1.0)):
        r, b = 2 * (1 - _WIDE[0]) * red, 2 * (1 - _WIDE[2]) * blue
        g = -(_WIDE[0] * r + _WIDE[2] * b) / _WIDE[1]
        usual = _NARROWED @ np.array([r, g, b])
        y = float(np.dot(_USUAL, usual))
        columns.append([(usual[2] - y) / (2 * (1 - _USUAL[2])), (usual[0] - y) / (2 * (1 - _USUAL[0]))])
    return np.array(columns).T
