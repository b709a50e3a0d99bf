"""Sights of a path that are probably not of the whole ball: beside what hides it, or of what hides it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from tracker.detection.watch import Detection, FrameLook

Array = NDArray[np.float64]

LONE_GAP_S, LONE_GAP_STEPS, LONE_SIGHTS = (0.05, 0.25), 2.5, 4
"""So few sights beyond a gap of so many usual steps are of whatever hid the ball, where nothing else confirms them."""
POOR, HALF_SEEN, HALF_SEEN_SIGHTS = 0.6, 0.8, 4
"""Share of the rim that is usual in a path below which the last sights before a gap are of a ball half hidden."""
CLEAR_TO_IN, CLEAR_ASIDE_IN = 55 * 12.0, 16.0
"""From about here on pins and pit, not people, take a part of the rim; a ball this far aside falls into a gutter."""


def doubted_frames(taken: Iterable[tuple[FrameLook, Detection | None]]) -> frozenset[int]:
    """Frames, of those with what a pass took for the ball, whose sight is probably not of the whole ball."""
    sights = [(look, d) for look, d in taken if d is not None]
    times = np.array([look.t_s for look, _ in sights])
    shares = np.array([d.fit.rim_share for _, d in sights])
    open_lane = np.array([d.y_in < CLEAR_TO_IN for _, d in sights])
    out = np.flatnonzero(doubted(times, shares, open_lane))
    return frozenset(sights[k][0].frame for k in out if abs(sights[k][1].x_in) < CLEAR_ASIDE_IN)


def doubted(t_s: Array, rim_share: Array, open_lane: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which sights of a path ``(n,)`` are probably not of the whole ball.

    Parameters
    ----------
    t_s : ndarray of shape (n,)
        Times of the sights, rising, seconds.
    rim_share : ndarray of shape (n,)
        Share of the rim followed in each.
    open_lane : bool array of shape (n,)
        Whether the ball is well before the pins.

    Returns
    -------
    bool array of shape (n,)
        True for a few sights alone beyond a long gap, and for those next to a gap, or last before the ball is lost,
        that show less of the rim than is usual in this path.
    """
    out = np.zeros(len(t_s), dtype=bool)
    if len(t_s) < 2 * LONE_SIGHTS:
        return out
    steps = np.diff(t_s)
    # a ball that is seen now and then has gaps everywhere
    gap_s = float(np.clip(LONE_GAP_STEPS * np.percentile(steps, 90), *LONE_GAP_S))
    groups = np.split(np.arange(len(t_s)), np.flatnonzero(steps > gap_s) + 1)
    largest = max(groups, key=len)
    least = POOR * float(np.median(rim_share[largest]))
    kept = [g for g in groups if g is largest or int((rim_share[g] >= least).sum()) >= LONE_SIGHTS]
    out[np.setdiff1d(np.arange(len(t_s)), np.concatenate(kept))] = True
    usual = HALF_SEEN * float(np.median(rim_share[~out]))
    for group in kept:
        for side, faces_gap in ((group, group[0] > 0), (group[::-1], True)):
            for row in side[: HALF_SEEN_SIGHTS if faces_gap and open_lane[side[0]] else 0]:
                if rim_share[row] >= usual:
                    break
                out[row] = True
    return out
