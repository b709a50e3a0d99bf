"""The line-up in plain words, line by line: the answer first, then why, what next, what to watch, and the cautions."""

from __future__ import annotations

from collections.abc import Sequence

from calibration.lane import Hand
from tracker.lineup.lines import Line, move_in_words
from tracker.lineup.lineup import LineUp, Way
from tracker.lineup.nextshot import Advice
from tracker.lineup.room import Reach
from tracker.lineup.shots import ShotReading
from tracker.results import Quantity
from tracker.session.bowler import BowlerReading
from tracker.session.oil import OilReading
from tracker.session.throws import LeftOut

CAUTIONS = (
    "Stop on pain and rest between shots; medical questions go to a clinician. More speed, more revs or a heavier ball "
    "are no cure for a line that does not work.",
    "The centre's rules, and a competition's rules on devices and on practice, come before this note. Nobody steps "
    "past the foul line, nothing is put on the lane.",
    "All of this is an estimate from the shots that were filmed, no ruling on a ball, a lane or a score.",
)
RULE_LESS = 31.0
"""Rule of thumb: the ball leaves the oil at the board that is the oil's length in feet less 31 (common practice)."""
BACK_FT, BACK_BOARDS = 2.0, 1.0
UNSEEN_FT = 40.0


def line_up_lines(found: LineUp) -> list[str]:
    """The note for one lane and one hand."""
    lines = [_title(found), ""]
    lines += [_headline(found), *(f"- {d.text}." for d in found.doubts), ""]
    if found.ways and found.verdict != "cannot_tell":
        lines += ["Ways to play", *_ways(found), ""]
    lines += ["The lane", *_lane(found), ""]
    lines += ["Next", *_next(found), ""]
    if found.ways and found.verdict != "cannot_tell":
        lines += ["Watch for", *_watch(found), ""]
    lines += ["Shot by shot", *(line for shot in found.shots for line in _shot(shot)), ""]
    return lines


def left_out_lines(left_out: Sequence[LeftOut]) -> list[str]:
    """What was not used and why; nothing where all was used."""
    if not left_out:
        return []
    return ["Left out", *(f"- {one.shot_id}: {one.why}" for one in left_out), ""]


def _title(found: LineUp) -> str:
    lane = f"Lane {found.lane}" if found.lane else "The lane"
    return f"{lane}, {found.hand}-hander, {found.lane_reading.shots} shots"


def _headline(found: LineUp) -> str:
    if found.verdict == "cannot_tell":
        return "Cannot tell which ball and line to bowl with:"
    best = found.ways[0]
    first = f"{_ball(best)}, {_where(best, found.bowler)}: {_chance(best)}."
    if found.verdict == "decided":
        return f"Bowl with {first}"
    equal = [found.ways[k] for k in found.tied]
    others = [w for k, w in enumerate(equal) if w.option.choice.ball not in {o.option.choice.ball for o in equal[:k]}][
        1:
    ]
    if not others:
        return f"Bowl with {first} Other lines of this ball are as good (marked below). {_settles(equal)}"
    names = "; ".join(f"{_ball(w)}, {_where(w, found.bowler)} ({100 * (w.chance.value or 0):.0f})" for w in others)
    return f"A tie. {first} As good within what these shots tell: {names}. {_settles([best, *others])}"


def _settles(ways: Sequence[Way]) -> str:
    """What would decide between ways that are as good."""
    smooth = max(ways, key=lambda w: w.hook_length_ft.value if w.hook_length_ft.value is not None else -1.0)
    steady = min(ways, key=lambda w: abs(w.ages_boards.value or 0.0))
    said = "What settles it: what you throw most comfortably"
    if smooth.hook_length_ft.value is not None:
        said += f"; the smoother motion is {_ball(smooth)} (hook over {_number(smooth.hook_length_ft, 'ft', 0)})"
    if steady.ages_boards.value is not None and steady.ages_boards.u is not None:
        change = _number(steady.ages_boards, "board", 1)
        said += f"; the one that will change least is {_ball(steady)} ({change} in ten shots)"
    return f"{said}."


def _ball(way: Way) -> str:
    return way.option.choice.ball or "the ball"


def _where(way: Way, bowler: BowlerReading) -> str:
    option = way.option
    move = move_in_words(option.feet, option.target, option.choice.hand)
    name = f" ({option.base.name})" if option.base.name else ""
    moved = f"on its last line{name}" if move == "stay" else f"{move} of its last line{name}"
    return f"{moved}: {stance(option.choice.line, bowler)}, target board {option.choice.line.target_board:.1f} at 15 ft"


def stance(line: Line, bowler: BowlerReading) -> str:
    """Where to stand: boards of the slide foot where feet were noted, else of the laydown."""
    if not bowler.feet_noted or bowler.feet_offset.value is None:
        return f"laydown board {line.laydown_board:.1f}"
    foot = line.laydown_board + bowler.feet_offset.value
    return f"slide foot board {foot:.1f} +- {bowler.feet_offset.u or 0:.1f} (laydown {line.laydown_board:.1f})"


def _chance(way: Way) -> str:
    return f"pocket in {100 * (way.chance.value or 0):.0f} +- {100 * (way.chance.u or 0):.0f} of 100 throws like yours"


def _number(q: Quantity, unit: str, decimals: int) -> str:
    if q.value is None or q.u is None:
        return "not known"
    return f"{q.value:.{decimals}f} +- {q.u:.{decimals}f} {unit}"


def _ways(found: LineUp) -> list[str]:
    lines = []
    for k, way in enumerate(found.ways):
        equal = "as good as the best: " if k and k in found.tied else ""
        said = (
            f"- {equal}{_ball(way)}, {_where(way, found.bowler)}: {_chance(way)}; contact board "
            f"{_number(way.contact_board, '', 1).strip()} (single throws scatter by {way.contact_scatter:.1f}), entry "
            f"{_number(way.entry_angle_deg, 'deg', 1)}"
        )
        said += f"; {_room(way)}" if way.room is not None else ""
        lines.append(
            said + ("; runs where nothing was thrown, so this is a guess by form" if way.unsampled else "") + "."
        )
    return lines


def _room(way: Way) -> str:
    room = way.room
    if room is None:
        return ""
    if room.recovery.boards is None:
        out, hold = _likely(room.recovery), _likely(room.hold)
        return (
            f"room at 15 ft on the likeliest lane {out} outward and {hold} inward; too little is known of the lane to "
            "promise the pocket in 8 of 10 even for a perfect throw"
        )
    inward = room.hold.boards or 0.0
    return f"room at 15 ft {room.recovery.boards:g} boards outward (recovery), {inward:g} inward (hold)"


def _likely(reach: Reach) -> str:
    return f"{reach.likely:g} ({reach.low:g} to {reach.high:g}) boards"


def _lane(found: LineUp) -> list[str]:
    oil, change = found.lane_reading.oil, found.reading.change
    lines = [f"- {_oil(oil)}."]
    if found.exit_board.value is not None and oil.end_ft.value is not None and oil.end_ft.value > RULE_LESS + 1:
        rule = oil.end_ft.value - RULE_LESS
        lines.append(
            f"- Rule of thumb (a starting point only): leave oil of that length near board {rule:.0f}; the best way "
            f"here leaves it at board {_number(found.exit_board, '', 1).strip()}."
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
    sure = oil.length_share[oil.length]
    return (
        f"Oil ends at {_number(oil.end_ft, 'ft', 0)} along the lines thrown (95 %: {oil.low_ft:.0f} to "
        f"{oil.high_ft:.0f}), {oil.length} with {100 * sure:.0f} of 100"
    )


def _balls(found: LineUp) -> list[str]:
    lines = []
    for one in found.reading.comparison.differences:
        onset, entry = one.values["onset_ft"], one.values["entry_angle_deg"]
        told = [f"picks up {_beside(onset, 'ft', 'later', 'earlier')}"] if "onset_ft" in one.told else []
        told += [f"comes in {_beside(entry, 'deg', 'steeper', 'flatter')}"] if "entry_angle_deg" in one.told else []
        if told:
            lines.append(f"- On one line {one.ball} {' and '.join(told)} than {one.other}.")
    return lines


def _beside(q: Quantity, unit: str, more: str, less: str) -> str:
    value = q.value or 0.0
    return f"{abs(value):.1f} +- {q.u or 0:.1f} {unit} {more if value > 0 else less}"


def _next(found: LineUp) -> list[str]:
    advice: Advice | None = found.advice
    if advice is None or advice.lesson is None:
        why = "nothing_to_compare" if advice is None else advice.why
        return [f"- {_NO_NEXT[why]}"]
    option = advice.lesson.option
    line = option.choice.line
    move = move_in_words(option.feet, option.target, option.choice.hand)
    moved = "its last line again" if move == "stay" else f"{move} of its last line"
    said = (
        f"- Throw {option.choice.ball or 'the ball'}, {moved}: {stance(line, found.bowler)}, target board "
        f"{line.target_board:.1f}. {_WHY[advice.why]} (the decision is expected to lose "
        f"{100 * advice.lesson.loss_now:.1f} of 100 now and {100 * advice.lesson.loss_then:.1f} after it)."
    )
    return [said, "- Stop looking when a further shot is worth less than half a pocket in 100, or it hurts."]


_WHY = {
    "teaches_most": "Of all shots within reach it teaches most about the choice",
    "hold": "It struck: a board inside tells how much hold there is, and teaches nearly as much as any",
}
_NO_NEXT = {
    "enough": "Looking further is worth less than half a pocket in 100 throws: bowl.",
    "no_shots_left": "No practice shot is left: bowl with the best way above and watch the lane.",
    "nothing_to_compare": "No ball and line within reach to compare: throw the ball that turns most, near the second "
    "arrow.",
}


def _watch(found: LineUp) -> list[str]:
    best, hand = found.ways[0], found.hand
    inside = _side(hand, inside=True)
    lines = [
        f"- If it picks up more than {BACK_FT:.0f} ft earlier, or comes in over {BACK_BOARDS:.0f} board high twice: "
        f"oil is gone from its line; first move 2-1 {inside}.",
        f"- If it goes more than {BACK_FT:.0f} ft longer for the same throw: oil was carried down; first move 1-1 "
        f"{_side(hand, inside=False)}, or the ball that picks up earlier.",
    ]
    if best.ages_boards.value is not None and best.ages_boards.u is not None:
        lines.append(
            f"- Expected from these shots: contact moves by {_number(best.ages_boards, 'board', 1)} over the next ten."
        )
    return lines


def _side(hand: Hand, *, inside: bool) -> str:
    return "left" if (hand == "right") == inside else "right"


def _shot(shot: ShotReading) -> list[str]:
    name = ", ".join(part for part in (shot.ball, shot.line) if part)
    head = f"- {shot.shot_id}" + (f" ({name})" if name else "")
    said = "; ".join(r.text for r in shot.remarks)
    return [f"{head}: {said or 'like the others, nothing stands out'}."]
