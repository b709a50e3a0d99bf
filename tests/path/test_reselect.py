"""The second look at which detection was the ball."""

from dataclasses import replace

import numpy as np
import pytest
from rolling import CAMERA, QUIET, RADIUS_IN, hook, moved_px, run_of, seen_from

from tracker.detection.watch import FrameLook
from tracker.path.motion import MotionModel
from tracker.path.posterior import CommonErrors, PathDraws, draw_paths
from tracker.path.reselect import overlooked, reselect
from tracker.path.smooth import SmoothPath, smooth_run

LOOKS: list[FrameLook] = seen_from(hook(), np.arange(-12, 170) / 60)


@pytest.fixture(scope="module")
def known() -> tuple[SmoothPath, MotionModel, PathDraws]:
    found = smooth_run(run_of(LOOKS), LOOKS, CAMERA, RADIUS_IN, model=QUIET)
    assert found is not None
    errors = CommonErrors(CAMERA, np.zeros((9, 9)), RADIUS_IN, 0.0)
    return *found, draw_paths(found[0], errors, found[1])


def test_second_look_takes_the_detection_on_the_path_and_no_other(known):
    path, model, draws = known
    both = [replace(k, detections=(*(moved_px(d, 7.0, 2.0) for d in k.detections), *k.detections)) for k in LOOKS]
    chosen = reselect(both, draws, path, CAMERA, radius_in=RADIUS_IN, model=model)
    on_path = set(path.frame.tolist())
    picked = [(new, old) for new, old in zip(chosen, LOOKS, strict=True) if old.frame in on_path and old.detections]
    assert len(picked) > 120
    for new, old in picked:
        (d,) = new.detections
        assert d.fit.centre_px == pytest.approx(old.detections[0].fit.centre_px)


def test_frames_outside_the_path_are_left_alone(known):
    path, model, draws = known
    odd = FrameLook(9999, 60.0, LOOKS[60].detections)
    chosen = reselect([*LOOKS, odd], draws, path, CAMERA, radius_in=RADIUS_IN, model=model)
    assert chosen[-1] is odd
    assert len(chosen) == len(LOOKS) + 1


def test_what_lies_far_from_the_path_is_dropped(known):
    path, model, draws = known
    far = [replace(k, detections=tuple(moved_px(d, 60.0, 0.0) for d in k.detections)) for k in LOOKS]
    chosen = reselect(far, draws, path, CAMERA, radius_in=RADIUS_IN, model=model)
    on_path = set(path.frame.tolist())
    assert [k.frame for k in chosen if k.detections and k.frame in on_path] == []


def test_overlooked_counts_frames_with_something_else_in_them(known):
    path, _, _ = known
    assert overlooked(path, LOOKS) == 0
    blind = replace(path, seen=path.seen & ~np.isin(path.frame, [40, 41, 42]))
    assert overlooked(blind, LOOKS) == 3
