"""Which detections are one ball on its way down the lane."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
import pytest
from rolling import CAMERA, detection, hook, seen_from

from sample_media.physics import simulate
from sample_media.spec import BallSpec, LaneSpec, ShotSpec
from tracker.detection.outline import coarse_fit
from tracker.detection.watch import Detection, FrameLook
from tracker.path.runs import at_once, find_runs

PIXEL_IN = 6.0
TIMES = np.arange(-15, 90) / 30


def _with(looks: list[FrameLook], others: dict[int, list[Detection]]) -> list[FrameLook]:
    return [FrameLook(k.frame, k.t_s, (*others.get(k.frame, ()), *k.detections)) for k in looks]


def _at(frame: int, x_in: float, y_in: float, score: float = 0.8) -> Detection:
    return detection(frame, float(TIMES[frame]), CAMERA.project([x_in, y_in, 4.295]), 0.25, score=score)


def _runs(looks: list[FrameLook]) -> list[list[Detection]]:
    return [list(run.detections) for run in find_runs(looks, PIXEL_IN)]


def _names(detections: Iterable[Detection], beyond_in: float = -99.0) -> set[tuple[int, float]]:
    """Frame and place of each detection farther than a distance."""
    return {(d.frame, d.x_in) for d in detections if d.y_in > beyond_in}


def _all(looks: list[FrameLook]) -> list[Detection]:
    return [d for look in looks for d in look.detections]


def test_finds_the_one_ball_whole():
    looks = seen_from(hook(), TIMES)
    (run,) = _runs(looks)
    assert _names(run) == _names(_all(looks))


def test_picks_the_ball_among_limbs_and_still_things():
    looks, random = seen_from(hook(), TIMES), np.random.default_rng(4)
    shoes = {k: [_at(k, -16.0, 8.0, 0.9), _at(k, random.uniform(-20, 5), random.uniform(0, 60))] for k in range(60)}
    (run,) = _runs(_with(looks, shoes))
    ball = _names(_all(looks), 100)
    assert len(ball & _names(run)) > 0.97 * len(ball)
    assert _names(run, 100) <= ball


def test_two_shots_in_one_take_are_two_runs_in_order():
    first = seen_from(hook(), TIMES)
    second = [
        FrameLook(k.frame + 200, k.t_s + 8.0, tuple(detection(k.frame + 200, k.t_s + 8.0, d.fit.centre_px, 0.25)
                  for d in k.detections)) for k in first
    ]  # fmt: skip
    runs = _runs([*first, *second])
    assert [len(r) for r in runs] == [len(_runs(first)[0])] * 2
    assert runs[0][-1].t_s < runs[1][0].t_s


def test_ball_of_the_next_lane_at_the_same_time_is_no_part_of_the_run():
    other = simulate(ShotSpec(laydown_board=20, launch_deg=0, speed_mph=15.5), BallSpec(), LaneSpec())
    looks = seen_from(hook(), TIMES)
    beside = {}
    for k, t_s in enumerate(TIMES):
        if 0.3 < t_s < 2.4:
            y = float(np.interp(t_s, other.t_s, other.y_in))
            beside[k] = [_at(k, 26.0, y, 0.4)]
    (run,) = _runs(_with(looks, beside))
    assert _names(run, 100) <= _names(_all(looks))


def test_two_balls_at_once_on_the_lane_are_two_runs():
    looks, later = seen_from(hook(), TIMES), seen_from(hook(), TIMES - 0.7)
    both = _with(looks, {k.frame: [replace(d, t_s=float(TIMES[k.frame])) for d in k.detections] for k in later})
    runs = find_runs(both, PIXEL_IN)
    assert len(runs) == 2
    assert all(at_once(run, runs) for run in runs)
    lengths = [run.length_in for run in runs]
    assert min(lengths) > 240
    assert not at_once(runs[0], [runs[0]])


def test_plain_thing_without_a_rim_is_no_run():
    looks = seen_from(hook(), TIMES)
    near = seen_from(hook(), TIMES, until_in=300.0)
    assert _runs([replace(k, detections=tuple(_as_disc(d, 30.0) for d in k.detections)) for k in near]) == []
    for part, contrast in ((near, 5.0), (looks, 30.0)):
        discs = [replace(k, detections=tuple(_as_disc(d, contrast) for d in k.detections)) for k in part]
        assert len(_runs(discs)) == 1


def _as_disc(d: Detection, contrast: float) -> Detection:
    return replace(d, fit=replace(d.fit, how="disc", contrast=contrast, rim_share=0.6))


def test_half_a_second_out_of_sight_is_bridged():
    looks = seen_from(hook(), TIMES, hidden_s=(0.9, 1.4))
    (run,) = _runs(looks)
    gaps = np.diff([d.t_s for d in run])
    assert gaps.max() == pytest.approx(0.5, abs=0.05)
    assert run[-1].y_in > 650


def test_what_comes_back_is_never_a_run():
    looks = seen_from(hook(), TIMES)
    reverse = [look.detections for look in looks[::-1]]
    back = [
        FrameLook(k, float(t), tuple(replace(d, frame=k, t_s=float(t)) for d in seen))
        for k, (t, seen) in enumerate(zip(TIMES, reverse, strict=True))
    ]
    assert _runs(back) == []


@pytest.mark.parametrize(
    ("y_from", "y_to"), [(0.0, 90.0), (300.0, 400.0)], ids=["only the first feet", "a glimpse down the lane"]
)
def test_too_short_a_way_is_no_run(y_from, y_to):
    assert _runs(seen_from(hook(), TIMES, from_in=y_from, until_in=y_to)) == []


def test_too_slow_or_too_fast_is_no_ball():
    for speed in (60.0, 900.0):
        looks = [FrameLook(k, float(t), (_at(k, 0.0, 20 + speed * (t + 0.5)),)) for k, t in enumerate(TIMES)]
        looks = [k for k in looks if k.detections[0].y_in < 700]
        assert _runs(looks) == []


def test_no_detections_are_no_runs():
    assert _runs([]) == []
    assert _runs([FrameLook(0, 0.0, ())]) == []


def test_vague_sightings_alone_are_no_run_and_among_sharp_ones_they_stay():
    looks = seen_from(hook(), TIMES)
    assert _runs([_vague(look) for look in looks]) == []
    mixed = [_vague(look) if look.frame % 2 else look for look in looks]
    (run,) = _runs(mixed)
    assert {d.frame % 2 for d in run} == {0, 1}


def _vague(look: FrameLook) -> FrameLook:
    coarse = tuple(replace(d, fit=coarse_fit(d.fit.centre_px, 12.0)) for d in look.detections)
    return replace(look, detections=coarse)


def test_a_heavier_chain_that_is_no_ball_does_not_hide_the_ball():
    looks = [FrameLook(k, float(TIMES[k]), ()) for k in range(len(TIMES))]
    short = {k: [_at(k, -15.0, 640.0 + 9.0 * (k - 30), score=1.0)] for k in range(30, 38)}
    ball = {k: [_at(k, 0.0, 60.0 + 9.0 * (k - 30), score=0.1)] for k in range(30, 90)}
    both = {k: [*short.get(k, ()), *ball[k]] for k in ball}
    found = _runs(_with(looks, both))
    assert len(found) == 1
    assert {d.frame for d in found[0]} >= set(range(40, 90))


def test_what_flies_among_the_pins_is_no_run():
    flying = [FrameLook(k, float(TIMES[k]), (_at(k, 18.0 - k, 722.0 + 9.5 * k),)) for k in range(16)]
    assert _runs(flying) == []
    ball = [FrameLook(k, float(TIMES[k]), (_at(k, 18.0 - k, 522.0 + 9.5 * k),)) for k in range(16)]
    assert len(_runs(ball)) == 1
