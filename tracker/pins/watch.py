"""Small pictures of the pin deck kept for each ball that comes down the lane, in one pass and bounded memory.

Balls are found about two seconds later than their frames come, so that the last seconds wait in a ring. Of each ball
that nears the pins are kept: some pictures from before, every one while it goes through the pins, and some after that.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

from calibration.lane import HEAD_PIN_IN
from tracker.pins.stands import DeckView
from tracker.video.reader import Crop

RING_S = 2.4
"""A little more than the ball's finder lags behind the frames."""
EVERY_S = 1 / 70
"""Of faster clips 60 or so pictures a second tell as much."""
SAMPLE_S, SAMPLES = 0.25, 24
NEAR_IN = 540.0
FASTEST_IN_S, SLOWEST_IN_S = 420.0, 160.0
"""Speeds between which a bowled ball comes to the pins: 24 and 9 mph."""
LEAD_S, TRAIL_S = 0.1, 0.6
LONGEST_S = 2.6
AFTER_EVERY_S, AFTER_S = 0.1, 9.0
LAST_S = 0.35
MOST_BYTES = 64_000_000


@dataclass(slots=True)
class Passage:
    """Pictures of the deck around one ball's arrival, each list in order of time.

    Attributes
    ----------
    begins_s, ends_s : float
        Between these times the ball may come to the pins, with some time to spare.
    before, during, after : list of Crop
        Before the ball was near; every picture between the times; further ones later, the last ones densely.
    """

    begins_s: float
    ends_s: float
    before: list[Crop]
    during: list[Crop] = field(default_factory=list)
    after: list[Crop] = field(default_factory=list)

    @property
    def nbytes(self) -> int:
        """Bytes of its pictures."""
        return sum(_nbytes(c) for part in (self.before, self.during, self.after) for c in part)


class DeckWatcher:
    """Feeds on crops of the deck's box in order of time.

    Parameters
    ----------
    view : DeckView
        Where the deck is.
    """

    def __init__(self, view: DeckView) -> None:
        self.view = view
        self._ring: deque[Crop] = deque()
        self._samples: deque[Crop] = deque(maxlen=SAMPLES)
        self._passages: list[Passage] = []
        self._closed = True
        self._next_s = float("-inf")

    def wants(self, t_s: float) -> bool:
        """Whether to hand over the frame at a time; ask in order of time."""
        if t_s < self._next_s:
            return False
        self._next_s = t_s + EVERY_S
        return True

    def see(self, crop: Crop) -> None:
        """Take one picture of the deck."""
        self._ring.append(crop)
        while crop.t_s - self._ring[0].t_s > RING_S:
            self._ring.popleft()
        if not self._samples or crop.t_s - self._samples[-1].t_s >= SAMPLE_S:
            self._samples.append(crop)
        if not self._closed:
            self._keep(crop)

    def _keep(self, crop: Crop) -> None:
        passage = self._passages[-1]
        if crop.t_s < passage.begins_s:
            return
        if crop.t_s <= passage.ends_s:
            passage.during.append(crop)
        elif crop.t_s > passage.ends_s + AFTER_S:
            self._closed = True
        elif not passage.after or crop.t_s - passage.after[-1].t_s >= AFTER_EVERY_S:
            passage.after.append(crop)

    def ball_at(self, t_s: float, y_in: float) -> None:
        """Tell that a ball was seen at a distance down the lane, inches, at a time that has been seen already."""
        if not NEAR_IN < y_in < HEAD_PIN_IN:
            return
        way = HEAD_PIN_IN - y_in
        begins, ends = t_s + way / FASTEST_IN_S - LEAD_S, t_s + way / SLOWEST_IN_S + TRAIL_S
        last = self._passages[-1] if self._passages else None
        if last is not None and begins <= last.ends_s:
            self._lengthen(last, min(ends, last.begins_s + LONGEST_S))
            return
        self._end()
        passage = Passage(begins, ends, [c for c in self._samples if c.t_s <= min(begins, t_s)])
        self._passages.append(passage)
        self._closed = False
        for crop in self._ring:
            self._keep(crop)
        self._spare()

    def _lengthen(self, passage: Passage, ends_s: float) -> None:
        """What was seen since the former end belongs to the time of arrival too."""
        if ends_s <= passage.ends_s or self._closed:
            return
        passage.ends_s = ends_s
        kept = passage.during[-1].t_s if passage.during else float("-inf")
        passage.during += [c for c in self._ring if max(kept, passage.begins_s) < c.t_s <= ends_s]
        passage.after = [c for c in passage.after if c.t_s > ends_s]

    def _end(self) -> None:
        """No more is kept for the last ball: another one comes, or the clip is over."""
        if not self._closed and self._passages and self._ring:
            passage = self._passages[-1]
            kept = {c.index for c in (*passage.during, *passage.after)}
            last_s = self._ring[-1].t_s - LAST_S
            late = [c for c in self._ring if c.t_s > max(last_s, passage.ends_s) and c.index not in kept]
            passage.after = sorted([*passage.after, *late], key=lambda c: c.index)
        self._closed = True

    def _spare(self) -> None:
        """Let the pictures of the oldest balls go where all together take too much."""
        total = sum(p.nbytes for p in self._passages)
        for passage in self._passages[:-1]:
            if total <= MOST_BYTES:
                return
            total -= passage.nbytes
            passage.before, passage.during, passage.after = [], [], []

    def passages(self) -> Sequence[Passage]:
        """What was kept, a passage for each ball, once all frames were seen."""
        self._end()
        return tuple(self._passages)


def passage_at(passages: Sequence[Passage], t_s: float) -> Passage | None:
    """The passage of the ball that came to the pins at a time; None where none was kept."""
    for passage in passages:
        if passage.begins_s - LEAD_S <= t_s <= passage.ends_s and passage.during:
            return passage
    return None


def _nbytes(crop: Crop) -> int:
    return crop.luma.nbytes + crop.cb.nbytes + crop.cr.nbytes
