"""What is done with each frame, in order, whatever the bursts in which frames come."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from tracker.detection.region import Box
from tracker.video.reader import Crop, Frame
from tracker.watching import lane_crops

LANE, DECK = Box(0, 0, 32, 32), Box(0, 0, 16, 16)
REPEATED, LOST = (5, 6, 11), (3, 12)


class Hall:
    """Stands for the holder of the view, who bowls where, and the deck; writes down who sees which frame when."""

    def __init__(self, wanted_every: int = 1) -> None:
        self.told: list[tuple[str, int]] = []
        self.deck_times: list[float] = []
        self.view = SimpleNamespace(box=DECK)
        self._now, self._every = -1, wanted_every

    def see(self, seen: Frame | Crop) -> None:
        self.told.append(("bowler" if isinstance(seen, Frame) else "deck", seen.index))
        if isinstance(seen, Crop):
            self.deck_times.append(seen.t_s)

    def look(self, frame: Frame) -> None:
        self._now = frame.index
        self.told.append(("view", frame.index))

    def crop(self, frame: Frame, box: Box) -> Crop | None:
        assert frame.index == self._now, "the view was followed beyond the frame that is cut"
        return None if frame.index in LOST else frame.crop(box.left, box.top, box.width, box.height)

    def wants(self, t_s: float) -> bool:
        return round(t_s * 30) % self._every == 0


def frames(count: int) -> list[Frame]:
    luma = np.full((32, 32), 100, np.uint8)
    chroma = (np.full((16, 16), 128, np.uint8),) * 2
    return [Frame(k, k / 30, luma, chroma, 8, repeated=k in REPEATED) for k in range(count)]


def watched(count: int, scale: float = 1.0) -> tuple[Hall, list[Crop]]:
    hall = Hall()
    region = SimpleNamespace(box=LANE)
    crops = lane_crops(frames(count), region, hall, attendance=hall, scale=scale, deck=hall)  # type: ignore[arg-type]
    return hall, list(crops)


@pytest.mark.parametrize("count", [0, 1, 8, 9, 20])
def test_every_new_frame_is_seen_once_and_in_order(count):
    hall, crops = watched(count)
    new = [k for k in range(count) if k not in REPEATED]
    for who in ("bowler", "view"):
        assert [k for name, k in hall.told if name == who] == new
    kept = [k for k in new if k not in LOST]
    assert [k for name, k in hall.told if name == "deck"] == kept
    assert [crop.index for crop in crops] == kept


@pytest.mark.parametrize("scale", [1.0, 0.25])
def test_lane_and_deck_have_the_same_true_times(scale):
    hall, crops = watched(20, scale)
    assert hall.deck_times[:1] == [0.0]
    times = {k: k / 30 * scale for k in range(20)}
    assert [crop.t_s for crop in crops] == pytest.approx([times[crop.index] for crop in crops])
    seen = [k for name, k in hall.told if name == "deck"]
    assert hall.deck_times == pytest.approx([times[k] for k in seen])
