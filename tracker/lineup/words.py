"""The line-up in plain words, line by line: the answer first, then why, what next, what to watch, and the cautions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.errors import Failure
from calibration.lane import Hand
from tracker.flags import describe
from tracker.lineup.lines import Line, move_in_words
from tracker.lineup.lineup import LineUp, Way
from tracker.lineup.nextshot import Advice
from tracker.lineup.room import Reach, Room
from tracker.lineup.shots import ShotReading, plain
from tracker.lineup.window import Window
from tracker.results import Quantity
from tracker.session.bowler import BowlerReading
from tracker.session.oil import OilReading
from tracker.session.throws import OLDER, LeftOut

CAUTIONS = (
    "Stop on pain and rest between shots; medical questions go to a clinician. More speed, more revs or a heavier ball "
    "are no cure for a line that does not work.",
    "The centre's rules, and a competition's rules on devices and on practice, come before this note. Nobody steps "
    "past the foul line, nothing is put on the lane.",
    "All of this is an estimate from the shots that were filmed, no ruling on a ball, a lane or a score.",
)
RULE_LESS = 31
"""Rule of thumb: the ball leaves the oil at the board that is the oil's length in feet less 31 (common practice)."""
BACK_FT = 3.0
HIGH_SCATTERS = 1.3
"""Two throws in a row off to one side by so many standard deviations come by chance once in a hundred times."""
SURE, HALF, LEAST_REPEATS = 2.0, 0.5, 2
UNSEEN_FT = 40.0


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the note: the first is the title with the pocket, the second the answer; both without a heading."""

    heading: str
    lines: tuple[str, ...]


def line_up_sections(found: LineUp, window: Window) -> tuple[Section, ...]:
    """The note for one lane and one hand, part by part."""
    left = f"Next ({found.shots_left} practice {'shot' if found.shots_left == 1 else 'shots'} left)"
    parts = (
        Section("", (_title(found), f"Pocket: {_pocket(window, found.hand)}.")),
        Section("", (_headline(found), *(f"- {d.text}." for d in found.doubts))),
        Section("Ways to play", tuple(_ways(found))),
        Section("The lane", tuple(_lane(found))),
        Section(left, tuple(_next(found))),
        Section("Watch for", tuple(_watch(found)) if found.ways else ()),
        Section("Shot by shot", tuple(line for shot in found.shots for line in _shot(shot))),
    )
    return tuple(part for part in parts if part.lines)


def line_up_lines(found: LineUp, window: Window) -> list[str]:
    """The same line by line, an empty one after each part."""
    lines: list[str] = []
    for part in line_up_sections(found, window):
        lines += [*([part.heading] if part.heading else []), *part.lines, ""]
    return lines


def _pocket(window: Window, hand: Hand) -> str:
    return (
        f"contact board {window.low_board:g} to {window.high_board:g} and entry {window.low_deg:g} to "
        f"{window.high_deg:g} deg; boards count from the {hand}, targets at 15 ft"
    )


def too_few_in_words(failure: Failure, left_out: Sequence[LeftOut]) -> str:
    """Why nothing can be told where the shots are too few for any model, and what to do."""
    older = sum(one.why == OLDER for one in left_out)
    if older:
        shots = "the shot" if older == 1 else f"the {older} shots"
        cure = f"Measure {shots} named below again with `sixtyfeet measure --redo`: an older version noted too little."
    else:
        cure = describe(failure.reason).what_to_do
    return f"Cannot tell: {failure.detail}. {cure}"


def left_out_lines(left_out: Sequence[LeftOut]) -> list[str]:
    """What was not used and why; nothing where all was used."""
    if not left_out:
        return []
    return ["Left out", *(f"- {one.shot_id}: {one.why}" for one in left_out), ""]


def _title(found: LineUp) -> str:
    lane = f"Lane {plain(found.lane)}" if found.lane else "The lane"
    count = len(found.shots)
    return f"{lane}, {found.hand}-hander, {count} shot{'' if count == 1 else 's'}"


def _headline(found: LineUp) -> str:
    if found.verdict == "cannot_tell":
        return "Cannot tell which ball and line to bowl with:"
    best = found.ways[found.tied[0]]
    guess = " This is a guess by the model's form: nothing was thrown there yet." if best.option.unsampled else ""
    first = f"{_ball(best)}, {_where(best, found.bowler)}: {_chance(best, found.bowler)}."
    others = _other_balls(found)
    if not others:
        return f"Bowl with {first}{guess}"
    names = "; ".join(f"{_ball(w)}, {_where(w, found.bowler)}" for w in others)
    settles = _settles([best, *others], repeats_left=found.advice is not None and found.advice.lesson is not None)
    return f"A tie. {first}{guess} As good, as far as these shots tell: {names}. {settles}"


def _other_balls(found: LineUp) -> list[Way]:
    """The best tied way of each other ball."""
    first: dict[str, Way] = {}
    for k in found.tied:
        first.setdefault(found.ways[k].option.choice.ball, found.ways[k])
    return list(first.values())[1:]


def _settles(ways: Sequence[Way], *, repeats_left: bool) -> str:
    """What would decide between ways that are as good; no repeats where it is time to bowl."""
    said = "What settles it: what you throw most comfortably"
    smooth = _clearly(ways, [w.hook_length_ft for w in ways])
    if smooth is not None:
        said += f"; the smoother motion is {_ball(smooth)} (hook over {_number(smooth.hook_length_ft, 'ft', 0)})"
    return f"{said}; and a repeat of each." if repeats_left else f"{said}."


def _clearly(ways: Sequence[Way], numbers: Sequence[Quantity]) -> Way | None:
    """The way whose number is larger than every other's by two standard uncertainties, if there is one."""
    for k, own in enumerate(numbers):
        rest = [q for j, q in enumerate(numbers) if j != k]
        if own.value is not None and rest and all(_larger(own, q) for q in rest):
            return ways[k]
    return None


def _larger(one: Quantity, other: Quantity) -> bool:
    if one.value is None or other.value is None:
        return False
    return one.value - other.value > SURE * float(np.hypot(one.u or 0.0, other.u or 0.0))


def _ball(way: Way) -> str:
    return plain(way.option.choice.ball) or "the ball"


def _where(way: Way, bowler: BowlerReading) -> str:
    option = way.option
    move = move_in_words(option.feet, option.target, option.choice.hand)
    name = f" (\u2018{plain(option.base.name)}\u2019)" if option.base.name else ""
    moved = f"on its last line{name}" if move == "stay" else f"{move} of its last line{name}"
    return f"{moved}: {stance(option.choice.line, bowler)}, target board {option.board_15ft:.1f}"


def stance(line: Line, bowler: BowlerReading) -> str:
    """Where to stand: boards of the slide foot where feet were noted, else of the laydown."""
    if not bowler.feet_noted or bowler.feet_offset.value is None:
        return f"laydown board {line.laydown_board:.1f}"
    foot = line.laydown_board + bowler.feet_offset.value
    return f"slide foot board {foot:.1f} +- {bowler.feet_offset.u or 0:.1f} (laydown {line.laydown_board:.1f})"


def _chance(way: Way, bowler: BowlerReading) -> str:
    repeats = min(one.repeats for one in bowler.scatter.values())
    whose = "throws that scatter like yours" if repeats >= LEAST_REPEATS else "throws of a practised bowler"
    return f"pocket in {100 * (way.chance.value or 0):.0f} +- {100 * (way.chance.u or 0):.0f} of 100 {whose}"


def _number(q: Quantity, unit: str, decimals: int) -> str:
    if q.value is None or q.u is None:
        return "not known"
    return f"{q.value:.{decimals}f} +- {q.u:.{decimals}f} {unit}"


def _ways(found: LineUp) -> list[str]:
    lines = []
    for k, way in enumerate(found.ways):
        equal = "as good as the best: " if k in found.tied[1:] else ""
        said = (
            f"- {equal}{_ball(way)}, {_where(way, found.bowler)}: {_chance(way, found.bowler)}; contact board "
            f"{_number(way.contact_board, '', 1).strip()} (single throws scatter by {way.contact_scatter:.1f}), entry "
            f"{_number(way.entry_angle_deg, 'deg', 1)}"
        )
        said += f"; {_room(way.room)}" if way.room is not None else ""
        guess = "; nothing was thrown there yet: a guess by the model's form" if way.option.unsampled else ""
        lines.append(f"{said}{guess}.")
    return lines


def _room(room: Room) -> str:
    slow, fast = room.speed_chance[0], room.speed_chance[-1]
    said = f"room at 15 ft {_reach(room.aside)} with the same laydown, {_reach(room.parallel)} parallel"
    for name, reach in (("same laydown", room.aside), ("parallel", room.parallel)):
        if reach.outward is not None:
            said += f", in 8 of 10 {reach.outward:g} outward and {reach.inward or 0:g} inward ({name})"
    here = room.speed_chance[len(room.speed_chance) // 2]
    return f"{said}; thrown as meant {100 * here:.0f} of 100, 1 mph slower {100 * slow:.0f}, faster {100 * fast:.0f}"


def _reach(reach: Reach) -> str:
    if reach.none_share > 1.0 - HALF:
        return "none on most of the lanes that are possible"
    return f"{reach.width:.1f} boards wide ({reach.width_low:.1f} to {reach.width_high:.1f})"


def _lane(found: LineUp) -> list[str]:
    oil, change = found.lane_reading.oil, found.reading.change
    lines = [f"- {_oil(oil)}."]
    if found.exit_board.value is not None:
        lines.append(
            f"- Rule of thumb (a starting point only): leave the oil at the board of the length on the pattern's sheet "
            f"less {RULE_LESS}; the best way here leaves it at board {_number(found.exit_board, '', 1).strip()}."
        )
    if change.verdict in ("nothing seen", "cannot tell"):
        least = change.carry_ft.smallest_shown
        shown = (
            f"; a change of the oil's end by less than {least:.0f} ft in ten shots would not have shown"
            if least < UNSEEN_FT
            else ""
        )
        lines.append(f"- Change over the shots: {change.verdict}{shown}.")
    else:
        moved = _number(change.carry_ft.over_ten, "ft", 1)
        lines.append(f"- Change over the shots: {change.verdict}; the oil's end moved {moved} in ten shots.")
    return lines + _balls(found)


def _oil(oil: OilReading) -> str:
    if oil.length is None:
        return "These shots do not tell where the oil ends"
    return (
        f"Oil ends at {_number(oil.end_ft, 'ft', 1)} along the lines thrown (95 %: {oil.low_ft:.1f} to "
        f"{oil.high_ft:.1f}); a pattern's sheet has its longest boards, most often farther inside"
    )


def _balls(found: LineUp) -> list[str]:
    lines = []
    for one in found.reading.comparison.differences:
        onset, entry = one.values["onset_ft"], one.values["entry_angle_deg"]
        told = [f"picks up {_beside(onset, 'ft', 'later', 'earlier')}"] if "onset_ft" in one.told else []
        told += [f"comes in {_beside(entry, 'deg', 'steeper', 'flatter')}"] if "entry_angle_deg" in one.told else []
        if told:
            lines.append(f"- On one line {plain(one.ball)} {' and '.join(told)} than {plain(one.other)}.")
    return lines


def _beside(q: Quantity, unit: str, more: str, less: str) -> str:
    value = q.value or 0.0
    return f"{abs(value):.1f} +- {q.u or 0:.1f} {unit} {more if value > 0 else less}"


def _next(found: LineUp) -> list[str]:
    advice: Advice | None = found.advice
    if advice is None:
        return ["- As said above, then run this again."]
    if advice.lesson is None:
        return [f"- {_NO_NEXT[advice.why]}"]
    option = advice.lesson.option
    line = option.choice.line
    move = move_in_words(option.feet, option.target, option.choice.hand)
    moved = "its last line again" if move == "stay" else f"{move} of its last line"
    worth = 100 * advice.lesson.gain
    new = ", where nothing was thrown yet" if option.unsampled else ""
    return [
        f"- Throw {plain(option.choice.ball) or 'the ball'}, {moved}: {stance(line, found.bowler)}, target board "
        f"{option.board_15ft:.1f}{new}. {_WHY[advice.why]}: worth about {worth:.1f} pockets in 100 to the choice. Then "
        "run this again."
    ]


_WHY = {
    "teaches_most": "Of all shots within reach it teaches most",
    "hold": "The last one struck: a board inside tells how much hold there is",
}
_NO_NEXT = {
    "enough": "All shots that are left would be worth less than half a pocket in 100 throws: bowl.",
    "no_shots_left": "No practice shot is left: bowl with the best way above and watch the lane.",
    "nothing_to_compare": "No ball and line within reach to compare: throw the ball that turns most, near the second "
    "arrow.",
}


def _watch(found: LineUp) -> list[str]:
    best, hand = found.ways[found.tied[0]], found.hand
    high = HIGH_SCATTERS * best.contact_scatter
    lines = [
        f"- Two throws in a row over {high:.0f} boards high, or picking up {BACK_FT:.0f} ft earlier: oil is gone from "
        f"its line; first move 2-1 {_side(hand, inside=True)}.",
        f"- Two in a row {BACK_FT:.0f} ft longer for the same throw: oil was carried down; first move 1-1 "
        f"{_side(hand, inside=False)}, or the ball that picks up earlier.",
    ]
    ages = best.ages_boards
    if ages.value is not None and ages.u is not None and abs(ages.value) > SURE * ages.u:
        way = "higher" if ages.value > 0 else "lighter"
        lines.append(
            f"- From these shots it is expected to come in {abs(ages.value):.1f} +- {ages.u:.1f} boards {way} in ten."
        )
    return lines


def _side(hand: Hand, *, inside: bool) -> str:
    return "left" if (hand == "right") == inside else "right"


def _shot(shot: ShotReading) -> list[str]:
    name = ", ".join(part for part in (plain(shot.ball), plain(shot.line)) if part)
    head = f"- {shot.shot_id}" + (f" ({name})" if name else "")
    said = "; ".join(r.text for r in shot.remarks)
    return [f"{head}: {said or 'like the others, nothing stands out'}."]
