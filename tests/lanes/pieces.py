"""Pieces that several tests of the lane model share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tracker.session.lanemap import LANE_PRIORS, LANE_SIZE, LaneMaps
from tracker.session.release import Covers, Releases
from tracker.session.throws import Throw


def lane(count: int = 1, **values: float) -> LaneMaps:
    """The priors' middle lane with some values set, without departures."""
    maps = LaneMaps.from_deviates(np.zeros((count, LANE_SIZE)))
    names = [p.name for p in LANE_PRIORS]
    shape = maps.shape.copy()
    for name, value in values.items():
        shape[:, names.index(name)] = value
    return LaneMaps(shape, maps.departures)


def plain_ball(count: int = 1, log_grip: float = 0.0, gyration_in: float = 2.50) -> Covers:
    return Covers(np.full(count, log_grip), np.zeros(count), np.full(count, gyration_in), np.zeros((count, 6)))


def release(hand="right", board=20.0, launch_deg=2.0, speed_mph=18.0, level_rpm=338.0, rotation_deg=45.0) -> Releases:
    one = np.ones(1)
    return Releases(hand, board * one, launch_deg * one, speed_mph * one, level_rpm * one, rotation_deg * one)


def mirrored(throw: Throw) -> Throw:
    """The other hand's mirror image of a shot: its boards count from the other edge and stay what they are."""
    return replace(throw, hand="left" if throw.hand == "right" else "right")
