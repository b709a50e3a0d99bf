"""All that is done with each frame of a clip: who bowls where, shake, crops of lane and deck in one light."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from tracker.detection.region import LaneRegion
from tracker.detection.watch import FrameLook, Pace
from tracker.lane.attend import Attendance
from tracker.lane.hold import Holder
from tracker.pins.watch import DeckWatcher
from tracker.video.bursts import in_bursts
from tracker.video.light import Evener
from tracker.video.reader import Crop, Frame


def lane_crops(
    reader: Iterable[Frame], region: LaneRegion, holder: Holder, *, attendance: Attendance, scale: float = 1.0,
    deck: DeckWatcher | None = None,
) -> Iterator[Crop]:  # fmt: skip
    """Crops of the lane, held still and evened, of the frames that are looked at; all the rest sees its frames too.

    Times are the clip's multiplied by ``scale``.
    """
    pace, light = Pace(), Evener()
    for burst in in_bursts(reader):
        cut = []
        for frame in burst:
            if frame.repeated:
                continue
            t_s = frame.t_s * scale
            attendance.see(frame)
            holder.look(frame)
            crop = holder.crop(frame, region.box) if pace.due(t_s) else None
            small = holder.crop(frame, deck.view.box) if deck is not None and deck.wants(t_s) else None
            cut.append((crop, small))
        burst.clear()
        for crop, small in cut:
            lit = None if crop is None else light.even(crop)
            if deck is not None and small is not None:
                deck.see(_at_true_speed(light.even_as_last(small, region.box.top), scale))
            if lit is not None:
                yield _at_true_speed(lit, scale)


def _at_true_speed(crop: Crop, scale: float) -> Crop:
    return crop if scale == 1.0 else replace(crop, t_s=crop.t_s * scale)


def told_to(deck: DeckWatcher | None, looks: Iterator[FrameLook]) -> Iterator[FrameLook]:
    """The looks as they come; the deck's watcher hears of the balls in them."""
    for look in looks:
        if deck is not None:
            for ball in look.detections:
                deck.ball_at(look.t_s, ball.y_in)
        yield look
