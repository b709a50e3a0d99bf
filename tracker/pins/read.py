"""All that the pins say of one shot, from the kept pictures of the deck and the ball's line before the pins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.lane import BOARD_WIDTH_IN, PIN_SPACING_IN, Hand, board_from_x, pin_positions
from tracker.pins.ballview import ball_view
from tracker.pins.collision import BALL_LB_RANGE, REACH_IN, RESTITUTION_RANGE, Bodies, Way, through_rack
from tracker.pins.contact import BallLine, FirstMotion, first_motion
from tracker.pins.rack import Rack, read_rack
from tracker.pins.standing import Standing, read_standing
from tracker.pins.stands import DeckView, pin_outline
from tracker.pins.still import picture_noise, placed, still_of
from tracker.pins.through import PLACE_U_IN, Through, follow
from tracker.pins.watch import Passage, passage_at
from tracker.pins.words import exit_words
from tracker.results import PinPicture, PinsReading, PinState, Quantity
from tracker.video.reader import Crop

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

SURE = 0.95
"""Probability of exactly this set of pins from which on it is written into the table."""
LEAST_BEFORE = 3
LATEST_BEFORE = 14
MODEL_DRAWS = 24
MODEL_U_BOARDS = 4.0
"""Smooth discs put the exit 2 to 3 boards to the right of the one published figure (community copy of an article), and
3 to 4 boards (root mean square) off in shots with truth that other engines moved."""
ODD_SIGMAS, DISAGREES_SIGMAS = 2.0, 3.0
MOST_EXIT_U, LEAST_LEAVES = 1.5, 0.9
BALL_AT_S = (0.10, 0.02)
START_BEFORE_S = 0.03
MIDDLE_S = 0.12
LEAST_SEEN = 3
NEAR_S = 0.05
COVERS_SDS, COVERS_LEVELS, COVERED_SHARE = 4.0, 12.0, 0.6
OUTLINE = 122
"""Points of an outline that go once around a pin."""
NOT_READ = PinsReading(flags=("pins_not_read",))


@dataclass(frozen=True, slots=True)
class Deck:
    """The deck's pictures of a clip: where it is, what was kept, how well the pins' places are known.

    ``smeared`` tells that they are stored in so few bits that what moves among the pins is not where it seems.
    """

    view: DeckView
    passages: Sequence[Passage]
    place_u_px: float
    smeared: bool = False


def place_u_px(camera: Camera, covariance: Array) -> float:
    """Standard uncertainty in pixels of the middle of the deck in the picture, from the camera's ``(9, 9)``."""
    at = np.array([0.0, pin_positions()[4, 1], 7.5])
    steps = np.array([0.05, 0.05, 0.05, 0.01, 0.01, 0.01, 1.0, 1e-3, 1e-4])
    base = camera.project(at)
    rows = [
        (camera.with_vector(camera.vector + step * np.eye(len(steps))[k]).project(at) - base) / step
        for k, step in enumerate(steps)
    ]
    slope = np.stack(rows, axis=1)
    return float(max(np.sqrt(np.trace(slope @ covariance @ slope.T) / 2), 0.7))


def read_pins(deck: Deck, line: BallLine, hand: Hand, *, reaches_pins: bool) -> PinsReading:
    """Read the pins of one shot.

    Parameters
    ----------
    deck : Deck
    line : BallLine
        The ball before the pins.
    hand : {'right', 'left'}
        Hand from whose edge boards count.
    reaches_pins : bool
        False for a ball that goes by in the gutter: nothing is said of contact and exit then.
    """
    passage = passage_at(deck.passages, line.t_s)
    if passage is None or len(passage.before) < LEAST_BEFORE:
        return NOT_READ
    before = passage.before[-LATEST_BEFORE:]
    noise = picture_noise(np.stack([c.luma for c in before]).astype(np.float32))
    rack = read_rack(deck.view, still_of(before, noise), noise, deck.place_u_px)
    if rack is None:
        return NOT_READ
    crops = [*passage.during, *passage.after]
    standing = read_standing(deck.view, rack, crops, line.t_s)
    made = _Reading(deck, line, hand, rack=rack, standing=standing)
    if reaches_pins:
        made.contact(crops)
        if not deck.smeared:
            made.through(passage.before, crops)
    else:
        made.exit = Quantity(missing="no_deck_exit")
    return made.result(before, crops)


def pins_text(pins: Sequence[int]) -> str:
    """Pins as tables name them."""
    return "-".join(str(n) for n in pins) or "none"


class _Reading:
    """Collects what is found of one shot."""

    def __init__(self, deck: Deck, line: BallLine, hand: Hand, *, rack: Rack, standing: Standing | None) -> None:
        self._deck, self._line, self._hand, self._rack, self._standing = deck, line, hand, rack, standing
        self._side = 1.0 if hand == "right" else -1.0
        self.numbers: dict[str, Quantity] = {}
        self.flags: list[str] = []
        self.exit = Quantity(missing="exit_unseen")
        self._words = ""
        self._first: int | None = None
        self._motion: FirstMotion | None = None
        self._way: Way | None = None
        self._found: Through | None = None

    def contact(self, crops: Sequence[Crop]) -> None:
        """First contact by line and by pictures, and what simple mechanics expects after it."""
        times, pins = self._line.contacts(self._rack.pins)
        offsets = self._side * self._line.offsets_in()
        self.numbers["contact_offset_in"] = Quantity(float(offsets[0]), float(offsets[1:].std()))
        if pins[0] == 0:
            return
        self._first = int(pins[0])
        u_s = float(np.nanstd(times[1:]))
        likely = [n for n in self._rack.pins if _near((n,), np.unique(pins))]
        self.numbers["contact_s"] = Quantity(float(times[0]), u_s)
        self._motion = first_motion(self._rack, crops, float(times[0]), likely)
        if self._motion is not None:
            self.numbers["contact_seen_s"] = Quantity(self._motion.t_s, self._motion.u_s)
            apart = abs(self._motion.t_s - float(times[0]))
            elsewhere = not set(likely) & set(self._motion.pins)
            if elsewhere or apart > DISAGREES_SIGMAS * float(np.hypot(u_s, self._motion.u_s)):
                self.flags.append("contact_disagrees")

    def through(self, before: Sequence[Crop], crops: Sequence[Crop]) -> None:
        """The ball among the pins and where it leaves them."""
        start = float(self._line.t_s) - START_BEFORE_S
        near = [c for c in crops if BALL_AT_S[1] <= self._line.t_s - c.t_s <= BALL_AT_S[0]]
        places = [(c, self._ball_px(self._line.at(c.t_s)[0])) for c in near]
        radius_px = self._line.radius_in * self._deck.view.px_per_in
        ball = ball_view(self._deck.view, self._rack, before, places, radius_px=radius_px)
        if ball is None:
            return
        found = follow(
            ball, crops, self._line.at(start), start_s=start, rack=self._rack.pins, radius_in=self._line.radius_in
        )
        self._found = found
        if found.leaves < LEAST_LEAVES:
            self.exit = Quantity(missing="no_deck_exit" if found.leaves < 0.1 else "exit_unseen")
            return
        boards = board_from_x(found.exit_x_in, self._hand)
        u = float(np.hypot(boards.std(), PLACE_U_IN / BOARD_WIDTH_IN))
        self.exit = Quantity(missing="exit_unseen")
        if u <= MOST_EXIT_U and found.seen >= LEAST_SEEN:
            self.exit = Quantity(float(boards.mean()), u)
            self._words = exit_words(float(boards.mean()), u, self._hand)
            turn = self._side * found.turn_deg
            self.numbers["deflection_deg"] = Quantity(float(turn.mean()), float(turn.std()))
        self._check()

    def _check(self) -> None:
        """What smooth discs would do, and whether the ball does something very different."""
        rng = np.random.default_rng(3)
        ways = []
        for state in self._line.states[:MODEL_DRAWS]:
            bodies = Bodies(
                ball_lb=float(rng.uniform(*BALL_LB_RANGE)), restitution=float(rng.uniform(*RESTITUTION_RANGE)),
                reach_in=REACH_IN,
            )  # fmt: skip
            ways.append(
                through_rack(state[:2] - 12 * state[2:] / state[3], state[2] / state[3], self._rack.pins, bodies=bodies)
            )
        self._way = ways[0]
        exits = np.array([w.exit_x_in for w in ways if w.exit_x_in is not None])
        if len(exits) < MODEL_DRAWS // 2:
            return
        boards = board_from_x(exits, self._hand)
        model = Quantity(float(np.median(boards)), float(np.hypot(boards.std(), MODEL_U_BOARDS)))
        self.numbers["model_exit_board"] = model
        if self.exit.value is not None and self.exit.u is not None:
            apart = abs(self.exit.value - float(np.median(boards)))
            if apart > ODD_SIGMAS * float(np.hypot(self.exit.u, model.u or 0.0)):
                self.flags.append("exit_implausible")

    def _ball_px(self, state: Array) -> Array:
        return self._deck.view.pixels(np.array([state[0], state[1], self._line.radius_in]))

    def result(self, before: Sequence[Crop], crops: Sequence[Crop]) -> PinsReading:
        """Everything together."""
        rack, standing = self._rack, self._standing
        before_sure = float(rack.sets.max())
        flags = list(self.flags)
        if before_sure > SURE and len(rack.pins) < 10:
            flags.append("rack_not_full")
        text, sure = "", None
        if standing is None or standing.flying:
            flags.append("pins_moving")
        else:
            sure = standing.sure
            text = pins_text(standing.pins) if sure >= SURE else ""
            flags += [] if text else ["pins_unsure"]
        states = tuple(self._state(n) for n in range(1, 11))
        flags += sorted({code for state in states for code in state.codes})
        if self.exit.missing:
            flags.append(self.exit.missing)
        return PinsReading(
            states, pins_text(rack.pins) if before_sure > SURE else "", text, before_sure, sure=sure,
            numbers=self.numbers, exit=self.exit, exit_words=self._words, first_pin=self._first,
            first_moved=self._motion.pins if self._motion else (), model_pins=self._way.pins if self._way else (),
            flags=tuple(flags), pictures=self._pictures(before, crops), outlines_px=self._outlines(),
        )  # fmt: skip

    def _state(self, n: int) -> PinState:
        before = float(self._rack.probability[n - 1])
        s = self._standing
        if s is None:
            return PinState(n, before, None)
        beside = next((p for p in s.beside if p.pin == n), None)
        told = {"pin_moved": beside is not None, "pin_wobbles": n in s.wobbling, "pin_covered": n in s.covered}
        hidden = n in s.hidden and before > 0.5
        codes = tuple(code for code, holds in {"pin_hidden": hidden, **told}.items() if holds)
        place = (beside.across_in, beside.along_in) if beside else None
        return PinState(n, before, float(s.probability[n - 1]), codes, place)

    def _pictures(self, before: Sequence[Crop], crops: Sequence[Crop]) -> tuple[PinPicture, ...]:
        """Small pictures of before, contact, among the pins and after; none that a person or a bar covers."""
        contact = self.numbers.get("contact_s", Quantity()).value or self._line.t_s
        wanted = [("before", _nearest(before, before[-1].t_s))]
        wanted += [
            (name, _nearest(crops, t)) for name, t in (("contact", contact), ("among the pins", contact + MIDDLE_S))
        ]
        if self._standing is not None:
            wanted.append(("after", _nearest(crops, self._standing.still.t_s)))
        shown = [(name, c) for name, c in wanted if c is not None and self._free(c)]
        return tuple(PinPicture(name, c.t_s, _bgr(c), self._marked(name, c.t_s)) for name, c in shown)

    def _free(self, crop: Crop) -> bool:
        """Whether most of what no pin can hide looks as it did before the shot."""
        model = self._rack.model
        here = placed(crop.luma.astype(np.float32), self._rack.place).ravel()[model.free.pixels]
        behind, sd = (a.ravel()[model.free.pixels] for a in (model.behind.luma, model.behind.sd))
        return bool(np.mean(np.abs(here - behind) > COVERS_SDS * sd + COVERS_LEVELS) < COVERED_SHARE)

    def _marked(self, name: str, t_s: float) -> tuple[float, float] | None:
        """The ball's centre in a picture, where it is on the deck."""
        if name == "contact":
            at = self._ball_px(self._line.at(t_s)[0])
        elif name == "among the pins" and self._found is not None and self._found.track:
            near = min(self._found.track, key=lambda row: abs(row[0] - t_s))
            if abs(near[0] - t_s) > 1e-3:
                return None
            at = self._ball_px(near[1])
        else:
            return None
        u, v = self._rack.in_picture(at)
        return float(u), float(v)

    def _outlines(self) -> tuple[Array, ...]:
        view = self._deck.view
        outlines = [pin_outline(view.camera, spot)[:OUTLINE] - view.origin for spot in pin_positions()]
        return tuple(self._rack.in_picture(outline) for outline in outlines)


def _near(moved: Sequence[int], expected: Sequence[int] | NDArray[np.int64]) -> bool:
    """Whether any pin that moves is one that the ball may meet first, or stands next to one."""
    spots = pin_positions()
    gaps = [np.hypot(*(spots[m - 1] - spots[n - 1])) for m in moved for n in expected if n > 0]
    return bool(min(gaps, default=0.0) < 1.1 * PIN_SPACING_IN)


def _nearest(crops: Sequence[Crop], t_s: float) -> Crop | None:
    """Picture nearest to a time; None where there is none within some hundredths of a second."""
    found = min(crops, key=lambda c: abs(c.t_s - t_s), default=None)
    return found if found is not None and abs(found.t_s - t_s) <= NEAR_S else None


def _bgr(crop: Crop) -> Image:
    h, w = crop.luma.shape
    cr, cb = (cv2.resize(p, (w, h), interpolation=cv2.INTER_LINEAR) for p in (crop.cr, crop.cb))
    return np.asarray(cv2.cvtColor(np.dstack([crop.luma, cr, cb]), cv2.COLOR_YCrCb2BGR), dtype=np.uint8)
