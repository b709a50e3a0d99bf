"""The strip of a shot's pins: the deck before, at contact, among the pins and after, with what was read drawn on it."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from tracker.report.image import encode_png
from tracker.report.ink import FAINT, INK, MARKER, PAPER, PATH
from tracker.results import PinPicture, PinsReading, PinState

Image = NDArray[np.uint8]
Colour = tuple[int, int, int]

PICTURE_WIDTH, GAP, HEAD, FOOT = 330, 12, 30, 54
FONT, SMALL, PLAIN = cv2.FONT_HERSHEY_DUPLEX, 0.42, 0.5
UNSURE = (0.05, 0.95)


def pins_png(reading: PinsReading) -> bytes:
    """Draw the strip as a PNG; equal bytes for an equal reading.

    Standing pins have a bright outline before and after, others a thin one; a pin whose probability is neither near
    0 nor near 1 has it written beside it. A ring marks the ball.

    Raises
    ------
    ValueError
        If there are no pictures.
    """
    if not reading.pictures:
        msg = "a strip of the pins needs pictures of the deck; draw none for a shot without them"
        raise ValueError(msg)
    panels = [_panel(picture, reading) for picture in reading.pictures]
    height = HEAD + max(p.shape[0] for p in panels) + FOOT
    width = GAP + sum(p.shape[1] + GAP for p in panels)
    sheet = np.empty((height, width, 3), dtype=np.uint8)
    sheet[:] = _bgr(PAPER)
    left = GAP
    for panel, picture in zip(panels, reading.pictures, strict=True):
        sheet[HEAD : HEAD + panel.shape[0], left : left + panel.shape[1]] = panel
        _write(sheet, f"{picture.name}, {picture.t_s:.2f} s", (left, HEAD - 10), size=PLAIN)
        left += panel.shape[1] + GAP
    for k, line in enumerate(_words(reading)):
        _write(sheet, line, (GAP, height - FOOT + 22 + 20 * k), size=PLAIN)
    return encode_png(sheet)


def _panel(picture: PinPicture, reading: PinsReading) -> Image:
    zoom = PICTURE_WIDTH / picture.bgr.shape[1]
    size = (PICTURE_WIDTH, round(picture.bgr.shape[0] * zoom))
    panel = np.asarray(cv2.resize(picture.bgr, size, interpolation=cv2.INTER_CUBIC), dtype=np.uint8)
    chances = {"before": [p.before for p in reading.pins], "after": [p.after for p in reading.pins]}.get(picture.name)
    if chances is not None:
        for state, chance, outline in zip(reading.pins, chances, reading.outlines_px, strict=True):
            if chance is not None:
                _pin(panel, state, chance, outline * zoom, after=picture.name == "after")
    if picture.ball_px is not None:
        at = (round(picture.ball_px[0] * zoom), round(picture.ball_px[1] * zoom))
        cv2.circle(panel, at, 7, _bgr(MARKER), 2, cv2.LINE_AA)
        cv2.circle(panel, at, 10, _bgr(PATH), 1, cv2.LINE_AA)
    return panel


def _pin(panel: Image, state: PinState, chance: float, outline: NDArray[np.float64], *, after: bool) -> None:
    points = [np.round(outline * 16).astype(np.int32)]
    stands = chance > 0.5
    if not stands and (state.before or 0.0) < UNSURE[0]:
        return
    colour, thick = (_bgr(MARKER), 2) if stands else (_bgr(FAINT), 1)
    cv2.polylines(panel, points, True, colour, thick, cv2.LINE_AA, 4)  # noqa: FBT003
    foot = outline[[0, -1]].mean(axis=0) if len(outline) else np.zeros(2)
    if stands:
        _write(panel, str(state.number), (round(foot[0]) - 5, round(foot[1]) + 16), size=SMALL, colour=_bgr(MARKER))
    if UNSURE[0] < chance < UNSURE[1]:
        top = outline[:, 1].min()
        _write(panel, f"{chance:.2f}", (round(foot[0]) - 14, round(top) - 4), size=SMALL, colour=_bgr(MARKER))
    if after and state.codes:
        mark = {"pin_wobbles": "~", "pin_moved": ">", "pin_covered": "x", "pin_hidden": "?"}
        text = "".join(mark[c] for c in state.codes if c in mark)
        _write(panel, text, (round(foot[0]) + 6, round(foot[1]) + 16), size=SMALL, colour=_bgr(MARKER))


def _words(reading: PinsReading) -> Sequence[str]:
    before = reading.before or "not sure"
    moving = "pins_moving" in reading.flags
    after = "pins still in motion" if moving else reading.standing or "not sure"
    sure = "" if reading.sure is None or moving else f" (probability {reading.sure:.3f})"
    exit_ = reading.exit
    leaves = "not seen"
    if exit_.value is not None and exit_.u is not None:
        leaves = f"board {exit_.value:.1f} +- {exit_.u:.1f}, {reading.exit_words}"
    return (f"stood before: {before}    stand after: {after}{sure}", f"ball leaves the deck: {leaves}")


def _write(image: Image, text: str, at: tuple[int, int], *, size: float, colour: Colour | None = None) -> None:
    cv2.putText(image, text, at, FONT, size, colour or _bgr(INK), 1, cv2.LINE_AA)


def _bgr(colour: str) -> Colour:
    value = int(colour.lstrip("#"), 16)
    return value & 255, (value >> 8) & 255, value >> 16
