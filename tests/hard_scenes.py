"""Families of clips that are hard to see: gloss, balls like their ground, people, other balls, screens, no shot at all.

Every clip is rendered, so its truth is what was drawn. ``cases(folder)`` renders what is not there yet. Pictures are
960 x 540 with the ball at the pins 5.5 px in radius, what a small phone picture gives.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from hard_cases import HardCase
from scene_clips import Dying, SceneSpec, Throw, rendered
from scene_things import BallReturn, Screen, Sweep, Walker
from warped import Warp, shifted, warped_clip

from sample_media.optics import view_of
from sample_media.spec import BallSpec, BowlerSpec, CameraSpec, ClipSpec, LaneSpec, ShotSpec
from sample_media.timeline import Timeline, build_timeline

RIGHT = replace(CameraSpec().resized(960, 540, 30), shutter_s=1 / 120, crf=20, preset="ultrafast")
LEFT = replace(RIGHT, x_ft=-1.9, y_ft=-17.0, z_ft=6.4, yaw_deg=2.9, pitch_deg=9.6, roll_deg=-0.8, f_px=1185.0)
SLATE = BallSpec("slate", 8.58, 2.55, grip=0.9, colour=(0.030, 0.034, 0.042), shine=1.2)
LAGOON = BallSpec("lagoon", colour=(0.025, 0.115, 0.125), second=(0.05, 0.215, 0.205), pattern="pearl")
ROWAN = BallSpec("rowan", 8.57, 2.48, grip=1.2, colour=(0.3, 0.045, 0.02), second=(0.6, 0.36, 0.06), pattern="swirl")
CREAM = BallSpec("cream", colour=(0.55, 0.5, 0.42), second=(0.62, 0.6, 0.56), pattern="pearl")
MAPLE = BallSpec("maple", colour=(0.46, 0.31, 0.17), second=(0.5, 0.34, 0.19), pattern="pearl")
WHITE = BallSpec("white", colour=(0.8, 0.785, 0.74), second=(0.8, 0.785, 0.74))
MAGPIE = BallSpec("magpie", colour=(0.02, 0.02, 0.025), second=(0.7, 0.68, 0.62))
WOODPECKER = BallSpec("woodpecker", colour=(0.03, 0.03, 0.035), second=(0.46, 0.31, 0.17))
HOOK = ShotSpec(laydown_board=15.5, launch_deg=2.2, speed_mph=17.2, rev_rpm=310, rotation_deg=48)
STRONG = ShotSpec(laydown_board=22.0, launch_deg=3.2, speed_mph=16.0, rev_rpm=360, rotation_deg=52)
LEFTIE = ShotSpec("left", laydown_board=17.0, launch_deg=2.0, speed_mph=17.6, rev_rpm=300, rotation_deg=42)
LANE = LaneSpec()
NOBODY = BowlerSpec(present=False)
ANY = ("measured", "partial", "failed")
REFUSED = ("partial", "failed")
FAILED = ("failed",)
ON_THE_WAY = ("onset_ft", "breakpoint_board", "breakpoint_ft", "boards_out")
SIGNS = {"+": "p", "-": "m"}


@dataclass(frozen=True, slots=True)
class Hard:
    """One clip to render: where it stands in the table, and what may be answered to it.

    ``true`` False: nothing is true of it, no number may be given. ``warp`` films the rendered clip again.
    """

    family: str
    severity: str
    scene: SceneSpec
    wanted: tuple[str, ...] = ("measured",)
    true: bool = True
    lane_at: bool = False
    warp: Callable[[], Warp] | None = field(default=None, compare=False)

    @property
    def name(self) -> str:
        """Stem of its files."""
        return self.scene.clip.name


def base_clip(shot: ShotSpec = HOOK, ball: BallSpec = LAGOON, lane: LaneSpec = LANE, **more: Any) -> ClipSpec:
    """A clip of a right- or left-hander, from his side."""
    camera = RIGHT if shot.hand == "right" else LEFT
    start = {"start_s": -0.6, "tail_s": 0.35, "sub_exposures": 2, "camera": camera}
    return ClipSpec(shot=shot, ball=ball, lane=lane, **(start | more))


def _scene(shot: ShotSpec = HOOK, ball: BallSpec = LAGOON, **more: Any) -> SceneSpec:
    """A scene of one clip; keywords of the clip and of the scene may be mixed."""
    own = {k: more.pop(k) for k in tuple(more) if k in SceneSpec.__dataclass_fields__}
    return SceneSpec(base_clip(shot, ball, **more), **own)


def at_ft(timeline: Timeline, ft: float) -> float:
    """Time from the release at which the ball is so far down the lane."""
    return timeline.flight_s + float(np.interp(ft * 12, timeline.path.y_in, timeline.path.t_s))


def _time(ft: float, shot: ShotSpec, ball: BallSpec = LAGOON) -> float:
    return at_ft(build_timeline(base_clip(shot, ball)), ft)


def looks() -> Iterator[Hard]:
    """Gloss, and balls that look like what lies behind them."""
    for gloss in (1.7, 2.6, 3.6):
        for ball, shot in ((SLATE, HOOK), (CREAM, LEFTIE), (ROWAN, STRONG)):
            yield Hard("gloss", f"x{gloss:g}, {ball.name}", _scene(shot, ball, lane=LaneSpec(gloss=gloss)))
    for gutter, tint in ((0.3, 1.0), (0.3, 0.4)):
        lane = LaneSpec(gutter_brightness=gutter, brightness=tint, oil_ft=44)
        for shot, where in ((replace(HOOK, laydown_board=11.0, launch_deg=2.6), "outside"), (LEFTIE, "left")):
            yield Hard(
                "dark ball, dark gutter", f"gutter x{gutter:g}, lane x{tint:g}, {where}", _scene(shot, SLATE, lane=lane)
            )
    wide = replace(HOOK, laydown_board=8, launch_deg=3.2, rev_rpm=200)
    yield Hard(
        "dark ball, dark gutter", "gutter ball", _scene(wide, SLATE, lane=LaneSpec(gutter_brightness=0.3)), ("partial",)
    )
    for ball, bright, shot in ((CREAM, 1.35, HOOK), (MAPLE, 1.0, HOOK), (MAPLE, 1.0, LEFTIE), (MAPLE, 1.15, LEFTIE)):
        scene = _scene(shot, ball, lane=LaneSpec(brightness=bright))
        yield Hard("light ball, light lane", f"{ball.name}, lane x{bright:g}, {shot.hand}", scene, ANY)
    for ball in (MAGPIE, WOODPECKER):
        for revs in (120, 420):
            scene = _scene(replace(STRONG, rev_rpm=revs, launch_deg=1.4 if revs < 200 else 3.2), ball, halves=True)
            yield Hard("two-tone", f"{ball.name}, {revs} rpm", scene)
    for gloss in (1.0, 2.6):
        for ball, shot in ((WHITE, HOOK), (CREAM, STRONG), (MAGPIE, HOOK)):
            yield Hard("ball before pins", f"{ball.name} {shot.laydown_board:g}, gloss x{gloss:g}",
                       _scene(shot, ball, lane=LaneSpec(gloss=gloss), halves=ball is MAGPIE))  # fmt: skip


def people() -> Iterator[Hard]:
    """Bowlers before their own ball, and people who walk by."""
    for offset in (8.0, 16.0):
        for stays in (False, True):
            scene = _scene(bowler=BowlerSpec(x_offset_in=offset, steps_aside=not stays))
            yield Hard("bowler before the ball", f"{offset:g} in over{', stays' if stays else ''}", scene, ANY)
    for shot, ball in ((HOOK, LAGOON), (LEFTIE, SLATE)):
        for ft in (10, 20, 30, 45):
            scene = _scene(shot, ball, bowler=NOBODY, things=(_hiding(shot, _time(ft, shot, ball)),), start_s=-2.4)
            wanted = ("measured", "partial") if ft <= 10 else REFUSED
            yield Hard("first seen late", f"{ft} ft, {shot.hand}", scene, wanted)
        for ft, slow in ((8, 1.0), (25, 1.0), (25, 0.5), (45, 1.0)):
            scene = _scene(shot, ball, things=(_crossing(_time(ft, shot, ball), 1 / slow),))
            yield Hard("person walks by", f"at {ft} ft, {slow:g} of walking pace, {shot.hand}", scene, ANY)
        crowd = tuple(_crossing(_time(ft, shot, ball), way, y=y) for ft, way, y in ((10, 1.0, -60), (38, -1.2, -95)))
        yield Hard("person walks by", f"two, {shot.hand}", _scene(shot, ball, things=crowd), ANY)


def _hiding(shot: ShotSpec, until_s: float) -> Walker:
    """Somebody who stands between camera and lane and then walks off."""
    camera = RIGHT if shot.hand == "right" else LEFT
    away = 1.0 if shot.hand == "right" else -1.0
    # on the sight line to a ball 10 in out
    x = 0.74 * camera.x_ft * 12 + 0.26 * 10.0 * away
    side, back = x + 105 * away, -95.0
    way = ((-0.7, side, back), (-0.05, x, back), (until_s - 0.25, x, back), (until_s + 1.3, side, back))
    return Walker(way)


def _crossing(at_s: float, spread: float, y: float = -60.0) -> Walker:
    """Somebody who walks across before the foul line, in the lane's middle at a time, at 50 in/s over ``spread``."""
    reach = np.sign(spread) * 110.0
    span = 2.2 * abs(spread)
    return Walker(((at_s - span, -reach, y), (at_s + span, reach, y)), BowlerSpec(shirt=(0.1, 0.3, 0.1)))


def others() -> Iterator[Hard]:
    """Balls on other lanes, screens that move, the ball return."""
    near = ShotSpec(laydown_board=20, launch_deg=1.0, speed_mph=16, rev_rpm=150, rotation_deg=30)
    for offset, delay, alone in ((1, 0.4, True), (1, -0.5, False), (-1, 0.05, False), (-1, -0.9, True)):
        throw = Throw(near, LAGOON, delay, offset, NOBODY if alone else BowlerSpec(shirt=(0.05, 0.08, 0.3)))
        yield Hard("ball on the next lane", f"{offset:+d} lane, {delay:+g} s, {'ball' if alone else 'bowler'}",
                   _scene(throws=(throw,), start_s=-1.0), ("measured",) if alone else ANY)  # fmt: skip
    both = tuple(Throw(near, SLATE, delay, offset, NOBODY) for offset, delay in ((1, -0.3), (-1, 0.2)))
    yield Hard("ball on the next lane", "both sides", _scene(throws=both, start_s=-1.0))
    pair = (Throw(near, SLATE, 0.1, 1),)
    yield Hard("ball on the next lane", "bowler, told by lane_at", _scene(throws=pair, start_s=-1.0), lane_at=True)
    for bright, shot, ball in ((0.6, HOOK, LAGOON), (1.5, LEFTIE, SLATE)):
        above = Screen((0.0, 689.0, 46.0), (280.0, 34.0), bright)
        yield Hard("screens", f"above the pins x{bright:g}, {shot.hand}", _scene(shot, ball, things=(above,)))
        low = Screen((0.0, 689.0, 36.0), (60.0, 16.0), bright, 0.4)
        yield Hard("screens", f"low, fast x{bright:g}, {shot.hand}", _scene(shot, ball, things=(low,)))
    side = Screen((-52.0, 180.0, 40.0), (40.0, 26.0), 1.0, 0.7)
    yield Hard("screens", "beside the lane", _scene(things=(side,)))
    yield Hard("ball return", "beside the approach", _scene(things=(BallReturn(),)))
    yield Hard("ball return", "left", _scene(LEFTIE, SLATE, things=(BallReturn(36.0),)))


def events() -> Iterator[Hard]:
    """No shot, two shots, shots that do not arrive, racks that are set, clips cut short."""
    near = ShotSpec(laydown_board=20, launch_deg=1.0, speed_mph=16, rev_rpm=150, rotation_deg=30)
    yield Hard("nobody throws", "empty lane", _scene(bowler=NOBODY, thrown=False, length_s=3.0), FAILED, true=False)
    yield Hard("nobody throws", "walks up", _scene(thrown=False, length_s=4.0, start_s=-1.2), FAILED, true=False)
    yield Hard(
        "nobody throws", "left, walks up", _scene(LEFTIE, thrown=False, length_s=4.0, start_s=-1.2), FAILED, true=False
    )
    walk = (_crossing(0.6, 1.0), _crossing(2.0, -1.0, -100.0))
    yield Hard(
        "nobody throws",
        "people walk by",
        _scene(bowler=NOBODY, thrown=False, length_s=4.0, things=walk),
        FAILED,
        true=False,
    )
    for offset in (1, -1):
        throw = (Throw(near, SLATE, 0.4, offset, NOBODY),)
        yield Hard(
            "nobody throws",
            f"ball on lane {offset:+d}",
            _scene(throws=throw, thrown=False, bowler=NOBODY, length_s=4.0),
            REFUSED,
            true=False,
        )
        waits = _scene(throws=(Throw(near, SLATE, 0.4, offset),), thrown=False, length_s=4.0, start_s=-1.2)
        yield Hard("nobody throws", f"walks up, bowler on lane {offset:+d}", waits, REFUSED, true=False, lane_at=True)
    sweep = (Sweep(0.8),)
    yield Hard(
        "nobody throws",
        "rack is set",
        _scene(bowler=NOBODY, thrown=False, length_s=4.0, things=sweep),
        FAILED,
        true=False,
    )
    for ball in (LAGOON, CREAM):
        after = replace(HOOK, laydown_board=18.0)
        scene = _scene(ball=ball, throws=(Throw(after, SLATE, 5.6),), things=(Sweep(3.4),), length_s=9.2)
        yield Hard("two throws", f"one after the other, {ball.name}", scene)
    quick = _scene(throws=(Throw(replace(HOOK, laydown_board=25.0), SLATE, 0.7, 0, NOBODY),), length_s=4.6)
    yield Hard("two throws", "0.7 s apart on one lane", quick, ANY)
    yield Hard("two throws", "neighbours together", _scene(throws=(Throw(near, SLATE, 0.0, 1),), start_s=-1.0), ANY)
    yield Hard(
        "two throws",
        "neighbours together, left",
        _scene(LEFTIE, throws=(Throw(near, SLATE, 0.0, -1),), start_s=-1.0),
        ANY,
    )
    slow = replace(HOOK, speed_mph=10.0, rev_rpm=60)
    for stops, back in ((25.0, 0.0), (45.0, 0.0), (56.0, 0.0), (40.0, 1.2)):
        word = "comes back" if back else "stops"
        yield Hard(
            "dies on the lane", f"{word} at {stops:g} ft", _scene(slow, dying=Dying(stops, back), length_s=7.5), REFUSED
        )
    out = replace(HOOK, laydown_board=6.0, launch_deg=3.0, speed_mph=11.0, rev_rpm=60)
    yield Hard(
        "dies on the lane", "gutter, comes back", _scene(out, SLATE, dying=Dying(48.0, 1.2), length_s=7.5), REFUSED
    )
    for mph in (9.5, 6.5):
        yield Hard(
            "slow ball",
            f"{mph:g} mph",
            _scene(replace(HOOK, speed_mph=mph, rev_rpm=60, launch_deg=0.5, laydown_board=18)),
            ANY,
        )
    for start in (0.25, 0.6):
        things = (Sweep(_time(60.0, HOOK) + start),)
        yield Hard("rack is set", f"{start:g} s after contact", _scene(tail_s=2.4, things=things))
    yield Hard("rack is set", "as the clip begins", _scene(start_s=-1.4, things=(Sweep(-1.6),)))
    yield Hard("rack is set", "while the ball rolls", _scene(things=(Sweep(1.0),)), ANY)
    for shot, ball, late_ft, early_ft in (
        (HOOK, LAGOON, (3, 12, 25, 42), (20, 40, 52, 58)),
        (LEFTIE, SLATE, (25,), (40,)),
    ):
        for ft in late_ft:
            late = _scene(shot, ball, start_s=_time(ft, shot, ball), tail_s=0.6, bowler=NOBODY)
            yield Hard("starts late", f"ball at {ft} ft, {shot.hand}", late, ANY if ft < 15 else REFUSED)
        for ft in early_ft:
            early = _scene(shot, ball, tail_s=_time(ft, shot, ball) - _time(60.0, shot, ball))
            yield Hard("ends early", f"ball at {ft} ft, {shot.hand}", early, ANY if ft > 55 else REFUSED)


def held() -> Iterator[Hard]:
    """A phone held in the hand, or knocked."""
    for px, shot, ball in ((1.0, HOOK, LAGOON), (2.0, LEFTIE, SLATE), (3.0, HOOK, LAGOON)):
        word = f"tremor {px:g} px, {shot.hand}"
        yield Hard("held in the hand", word, _scene(shot, ball), ANY, warp=lambda p=px: shifted(_tremor(p)))
    for px in (12.0,):
        yield Hard(
            "knocked",
            f"{px:g} px at mid lane",
            _scene(),
            ANY,
            warp=lambda p=px: shifted(lambda k: (p, -0.6 * p) if k > 45 else (0.0, 0.0)),
        )


def _tremor(px: float) -> Callable[[int], tuple[float, float]]:
    """A sway of some seconds and a tremor of ``px`` in a second or less, by frames at 30 a second."""
    rng = np.random.default_rng(8)
    steps = rng.normal(0.0, 1.0, (600, 2))
    shake = np.stack(
        [np.convolve(a, np.hanning(7) / np.sqrt((np.hanning(7) ** 2).sum()), mode="same") for a in steps.T], axis=-1
    )

    def at(k: int) -> tuple[float, float]:
        sway = 1.5 * px * np.sin(2 * np.pi * k / 30 / 3.1), 1.1 * px * np.sin(2 * np.pi * k / 30 / 2.3 + 1.0)
        return float(px * shake[k, 0] * 0.6 + sway[0]), float(px * shake[k, 1] * 0.6 + sway[1])

    return at


FAMILIES = (others, events, held, looks, people)


def all_hard() -> Iterator[Hard]:
    """Every clip, named by its place in the table."""
    for make in FAMILIES:
        for hard in make():
            stem = "".join(SIGNS.get(c, c if c.isalnum() else "-") for c in f"{hard.family} {hard.severity}".lower())
            yield replace(hard, scene=replace(hard.scene, clip=replace(hard.scene.clip, name=stem)))


def cases(folder: Path) -> Iterator[HardCase]:
    """Cases of all families; clips are rendered one by one where they are not there."""
    for hard in all_hard():
        yield from cases_of(hard, folder)


def cases_of(hard: Hard, folder: Path) -> Iterator[HardCase]:
    """The case of a clip; one for each shot where several roll down the lane one after the other."""
    clip, truth = rendered(hard.scene, folder, 7)
    if hard.warp is not None:
        target = folder / f"{hard.name}-held.mp4"
        clip = target if target.exists() else warped_clip(clip, target, hard.warp())
    pixel = view_of(hard.scene.clip.camera).project(np.array([0.0, 240.0, 0.0])) if hard.lane_at else None
    true = truth if hard.true else truth.get("neighbour") or {}
    if hard.scene.dying is not None:
        # what a ball does on the way to where it stops may be told or not
        true = true | {"shot": {k: v for k, v in true["shot"].items() if k not in ON_THE_WAY}}
    case = HardCase(hard.family, hard.severity, clip, true, wanted=hard.wanted,
                    lane_at=None if pixel is None else (float(pixel[0]), float(pixel[1])))  # fmt: skip
    yield case
    for further in truth["others"] if hard.true else ():
        first = {k: v for k, v in truth.items() if k != "others"}
        yield replace(case, severity=f"{hard.severity}: then", truth=further | {"others": [first]})
