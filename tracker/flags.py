"""The codes a shot can carry: flags (what to know about it) and reasons (why it is partial or failed), each once.

Tables, shot files, ``docs/numbers.md`` and messages derive from this registry. A code keeps its meaning for ever; a new
meaning gets a new code.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Kind = Literal["flag", "reason"]


@dataclass(frozen=True, slots=True)
class Flag:
    """One code.

    Attributes
    ----------
    code : str
        Lower case with underscores.
    title : str
        A few words, for table cells.
    text : str
        What it means, in a sentence.
    what_to_do : str
        What the person can do about it; empty where there is nothing to do.
    kind : {'flag', 'reason'}
        Flags stand beside numbers or explain an empty cell; reasons explain a partial or failed shot.
    """

    code: str
    title: str
    text: str
    what_to_do: str = ""
    kind: Kind = "flag"


def _reason(code: str, title: str, text: str, what_to_do: str) -> Flag:
    return Flag(code, title, text, what_to_do, kind="reason")


REASONS: tuple[Flag, ...] = (
    # The session.
    _reason(
        "few_shots",
        "too few shots",
        "Fewer than two measured shots, spares not counted, tell nothing of the lane.",
        "Throw and film eight to twelve shots.",
    ),
    # The clip.
    _reason("clip_missing", "file not found", "The clip is not there.", "Check its name and folder."),
    _reason("clip_empty", "empty file", "The clip has no content.", "Copy it from the phone again."),
    _reason(
        "clip_unreadable",
        "file cannot be read",
        "The clip could not be opened or decoded.",
        "Copy it again; `sixtyfeet doctor` lists the decoders.",
    ),
    _reason(
        "clip_truncated",
        "file cut off",
        "The clip ends or is damaged before a shot could be measured.",
        "Copy it from the phone again, whole.",
    ),
    _reason(
        "not_a_video", "not a video", "The file is not a video that this program knows.", "Give the video file itself."
    ),
    _reason(
        "no_video_stream", "no picture in the file", "The file holds no video stream.", "Give a clip with a picture."
    ),
    _reason(
        "no_frames",
        "no frames",
        "Not one frame could be decoded.",
        "Copy the clip again; `sixtyfeet doctor` lists the decoders.",
    ),
    _reason(
        "too_few_frames",
        "too few frames",
        "The clip is too short to hold a shot.",
        "Film from before the release until the pins have fallen.",
    ),
    _reason(
        "io_error",
        "disk trouble",
        "A file could not be read or written while the clip was in work.",
        "Check the disk and the folder, then run again.",
    ),
    # The marked-up video; the shot itself is measured all the same.
    _reason(
        "video_no_encoder",
        "no video: no encoder",
        "There is no marked-up video: the installed decoding library cannot write H.264.",
        "Install the package av anew from its own wheels; `sixtyfeet doctor` lists encoders.",
    ),
    _reason(
        "video_nothing",
        "no video: nothing to show",
        "There is no marked-up video: too little of path or lane lies in the pictures.",
        "Film with the whole lane in the picture.",
    ),
    _reason(
        "video_failed",
        "no video: trouble",
        "There is no marked-up video: reading the clip once more, drawing or writing went wrong.",
        "Check the disk, then run again with --video.",
    ),
    # The camera.
    _reason(
        "frame_mismatch",
        "calibration of another size",
        "The clip's frames have another size or turn than those of the calibration.",
        "Calibrate on a clip filmed with the same settings, the phone held the same way.",
    ),
    _reason(
        "camera_moved",
        "camera moved",
        "The lane is not where the calibration says.",
        "Calibrate again from this place, and fix the phone.",
    ),
    _reason(
        "view_changed",
        "another view",
        "The picture is not of the view it is compared with, or the camera was carried elsewhere.",
        "Calibrate again from this place, and fix the phone.",
    ),
    _reason(
        "view_pans",
        "view pans",
        "The view does not hold still over the clip, or the clip is cut.",
        "Put the phone on a tripod and give one take that is not cut.",
    ),
    _reason(
        "view_zooms",
        "view zooms",
        "The zoom changes over the clip.",
        "Keep one zoom setting and leave the phone alone while it films.",
    ),
    _reason(
        "no_lane",
        "no lane in view",
        "Nothing in the picture looks like a lane with its foul line and pins.",
        "Film from behind the approach, foul line and pins in the frame; or click the marks with `calibrate --page`.",
    ),
    _reason(
        "lane_unclear",
        "lane not clear",
        "Something like a lane is in view, but its marks are hidden, missing or contradict each other.",
        "Film with the whole lane in view and nobody before it; or click the marks with `calibrate --page`.",
    ),
    _reason(
        "foul_line_unseen",
        "foul line not in view",
        "Lanes are in view, but not the foul line.",
        "Stand farther back, or zoom out, until the foul line is in the frame.",
    ),
    _reason(
        "pin_end_unseen",
        "pin end not in view",
        "A lane is in view, but its pins are not.",
        "Tilt the phone up so that all pins are in the frame, standing in the first clip.",
    ),
    _reason(
        "lane_too_flat",
        "camera too low",
        "The camera stands so low that distances down the lane cannot be told.",
        "Put the phone at chest height or higher.",
    ),
    _reason(
        "lane_doubtful",
        "which lane is not clear",
        "Several lanes are in view and nobody was clearly seen to bowl on this one.",
        "Look at the overlay; give --lane-at with a pixel on the lane.",
    ),
    _reason(
        "lane_not_there",
        "no lane at that place",
        "No lane was found at the pixel given with --lane-at.",
        "Give a pixel of the upright frame on the surface of the lane.",
    ),
    _reason(
        "marks_too_few",
        "too few marks",
        "The marks do not determine the camera.",
        "Add marks: lane edges, corners at the foul line, pin bases.",
    ),
    _reason(
        "marks_degenerate",
        "marks too close together",
        "The marks lie so that they do not determine the camera.",
        "Spread the marks over the lane's length and both edges.",
    ),
    _reason(
        "marks_mirrored",
        "marks mirrored",
        "Left and right marks are swapped.",
        "Swap the names of the left and right marks.",
    ),
    _reason(
        "marks_contradictory",
        "marks contradict each other",
        "No camera puts all marks where they are.",
        "Check the marks with the largest residuals.",
    ),
    _reason(
        "camera_implausible",
        "camera place implausible",
        "The marks lead to a camera that cannot have filmed this.",
        "Check the marks' names and the frame's size.",
    ),
    # The ball.
    _reason(
        "no_ball",
        "no ball found",
        "No ball rolls down this lane.",
        "Nothing if nobody threw; else check the lane's picture, and that the clip shows the whole shot.",
    ),
    _reason(
        "path_short",
        "path too short",
        "The ball was seen over too little of the lane for numbers.",
        "Film so that the lane is free in the picture from the arrows to the pins.",
    ),
    _reason(
        "ball_lost",
        "ball lost on the way",
        "The ball was lost before the pins.",
        "More light, a steadier phone, or a ball that differs more from the lane.",
    ),
    _reason(
        "ball_stops",
        "ball does not arrive",
        "The ball loses its speed, stops or comes back before the pins; numbers that need the pins do not exist.",
        "Nothing: it is what happened.",
    ),
    _reason(
        "ball_hidden",
        "ball hidden",
        "Someone or something hides the ball over most of the lane.",
        "Film from the bowling-arm side and higher, so that the bowler stands beside the ball's path.",
    ),
    _reason(
        "gutter",
        "gutter ball",
        "The ball left the lane for the gutter; numbers that need the pins do not exist.",
        "Nothing: it is what happened.",
    ),
    _reason(
        "track_implausible",
        "does not move like a ball",
        "What was followed does not move as a ball slips and rolls.",
        "Look at the overlay; check the calibration's picture.",
    ),
    _reason(
        "speed_implausible",
        "speed out of range",
        "The speed is not one of a bowled ball; a slow-motion clip that plays slowed down looks like that.",
        "For slow motion give --capture-fps with the true rate; else check the calibration.",
    ),
    _reason(
        "speed_changes",
        "clip's speed changes",
        "The ball's speed changes on the way as no lane changes it: part of the clip plays slowed down, or is cut out.",
        "Give the clip as it was recorded, without the slow-motion effect, or its slow part alone with --capture-fps.",
    ),
    _reason(
        "clip_starts_late",
        "clip starts late",
        "The clip begins when the ball is already well down the lane.",
        "Start filming before the bowler moves.",
    ),
    _reason(
        "pins_unseen",
        "pins out of the picture",
        "The clip ends, or the picture does, before the ball reaches the pins.",
        "Keep filming until the pins have fallen, the pins in the picture.",
    ),
    # The program.
    _reason(
        "internal_error",
        "fault in the program",
        "An unexpected fault stopped the measuring of this clip.",
        "Run again with -v and report it.",
    ),
    _reason(
        "worker_died",
        "measuring ended its process",
        "The process that measured this clip died; the file is damaged or memory ran out.",
        "Run again with --workers 1; copy the clip again.",
    ),
)

FLAGS: tuple[Flag, ...] = (
    # Why a number does not exist in this shot.
    Flag(
        "straight_ball",
        "no hook onset",
        "The heading never turns by 1.0 deg beyond 15 ft: hook onset, end of the hook and its length do not exist.",
    ),
    Flag("no_breakpoint", "no breakpoint", "The path has no point farthest toward the gutter beyond 15 ft."),
    Flag(
        "still_turning",
        "still slipping at contact",
        "The ball still slips when it meets the pins: the hook has no end in this shot.",
    ),
    Flag(
        "laydown_unseen",
        "laydown not seen",
        "The first contact with the lane lies more than 3 ft before the first sight.",
        "Film from the bowling-arm side or higher.",
    ),
    Flag(
        "not_seen",
        "not seen",
        "The stretch of lane this number needs was not seen.",
        "Keep the lane free in the picture.",
    ),
    Flag("after_contact", "only after contact", "The quantity would lie beyond the first contact with a pin."),
    Flag("misses_pins", "misses every pin", "The ball passes all pins; contact is taken at 59.5 ft."),
    Flag("pins_not_read", "pins not read", "Standing pins and deck exit were not read in this clip."),
    Flag(
        "pins_moving",
        "pins still in motion",
        "The clip ends before pins in the air or toppling have come to rest; no standing pins are given.",
        "Keep filming until the pins have fallen.",
    ),
    Flag(
        "pins_unsure",
        "standing pins not sure",
        "The pictures do not tell surely enough which pins stand; the probability of each is in shot.json.",
        "Look at pins.png, and note them in the session sheet.",
    ),
    Flag(
        "exit_unseen",
        "deck exit not seen",
        "The ball cannot be followed among the pins well enough to say where it leaves the deck.",
    ),
    Flag("no_deck_exit", "no deck exit", "The ball does not leave the lane over the end of the pin deck."),
    Flag("not_determined", "not determined", "The fit does not determine this number well enough to give it."),
    # The path.
    Flag(
        "late_start",
        "seen late",
        "The ball is first seen beyond the arrows; numbers near the foul line are missing or carried by the model.",
        "Film from the bowling-arm side or higher.",
    ),
    Flag(
        "early_end",
        "lost early",
        "The ball is last seen well before the pins; numbers there are carried by the model.",
        "More light, and the pins in the picture.",
    ),
    Flag(
        "gap",
        "hidden on the way",
        "The ball was hidden for more than 0.2 s; the path is carried by the model there.",
        "Keep the lane free in the picture.",
    ),
    Flag(
        "weak_contrast",
        "weak contrast",
        "The ball hardly differs from the lane over part of the path.",
        "More light, or another ball.",
    ),
    Flag(
        "model_disagrees",
        "model and smoother differ",
        "The physical model fits no path, or another than the plain smoother; the numbers are the smoother's.",
        "Look at the overlay before using the numbers.",
    ),
    Flag(
        "speed_doubtful",
        "speed may be of slow motion",
        "The ball is so slow that the clip may play slowed down, and its path does not tell; speeds are those of the "
        "clip's own times.",
        "If it was recorded in slow motion, give --capture-fps with the true rate.",
    ),
    Flag(
        "other_ball",
        "two balls at once",
        "Another ball rolled down this lane at the same time; each was followed by itself.",
        "Look at the overlay before using the numbers.",
    ),
    # The pins.
    Flag(
        "rack_not_full",
        "fewer than ten pins before",
        "Some pins were down before this shot; contact_board and contact_ft are those with a full rack.",
    ),
    Flag("pin_hidden", "pin behind another", "A standing pin leaves too little to see of another one behind it."),
    Flag("pin_moved", "pin moved", "A pin was pushed and stands beside its spot; it counts as standing."),
    Flag(
        "pin_wobbles", "pin wobbles", "A pin that stands goes to and fro in the last pictures.", "Film a little longer."
    ),
    Flag("pin_covered", "pin covered", "Something lies or stands before the place of a pin in the last pictures."),
    Flag(
        "contact_disagrees",
        "contact seen otherwise",
        "By the ball's path it meets the pins at another time, or another pin first, than the pictures show.",
        "Look at pins.png and the overlay before using the numbers at the pins.",
    ),
    Flag(
        "exit_implausible",
        "way through pins odd",
        "The ball leaves the deck far from where simple mechanics would have it.",
        "Look at pins.png before using the deck exit.",
    ),
    # The hand.
    Flag(
        "hand_assumed",
        "hand assumed",
        "Neither sheet nor path tells the hand; boards are counted from the right.",
        "Give hand in the session sheet, or --hand.",
    ),
    Flag(
        "hand_differs",
        "hand differs from the path",
        "The path hooks the other way than the hand given.",
        "Check the hand in the session sheet, or --hand.",
    ),
    # The camera.
    Flag(
        "arrows_modelled",
        "arrows not marked",
        "The arrows' distances are taken from what is usual, with its uncertainty.",
        "Mark the arrows when calibrating.",
    ),
    Flag(
        "camera_turned",
        "camera had turned",
        "The camera had turned a little since the calibration; that was measured and taken into account.",
        "Fix the phone.",
    ),
    Flag(
        "camera_found_again",
        "camera had moved",
        "The camera stood elsewhere than at the calibration; the lane was found again in this clip.",
        "Fix the phone, or calibrate again.",
    ),
    Flag(
        "calibration_usable",
        "lane found, not well",
        "The lane was found in the picture, but few marks confirm it or it is seen from afar.",
        "Look at the lane grid; film from higher up or with nobody before the lane.",
    ),
    Flag(
        "calibration_poor",
        "calibration poor",
        "The camera is poorly known; every number is less certain.",
        "Add marks or lane edges and calibrate again.",
    ),
    # The clip.
    Flag("variable_rate", "uneven frame times", "The frames' intervals vary; each frame's own time is used."),
    Flag(
        "dropped_frames",
        "frames missing",
        "The phone dropped frames; each frame's own time is used.",
        "Close other programs on the phone.",
    ),
    Flag(
        "hdr",
        "high dynamic range",
        "The clip is filmed in a high dynamic range; brightness is not that of an ordinary clip.",
        "Film in the ordinary range.",
    ),
    Flag(
        "truncated",
        "file cut off",
        "The clip ends or is damaged before the end that its header promises.",
        "Copy it from the phone again, whole.",
    ),
    Flag("shaky", "camera shakes", "The picture moves; part of it was taken out.", "Put the phone on a tripod."),
)

REGISTRY: Mapping[str, Flag] = MappingProxyType({flag.code: flag for flag in (*REASONS, *FLAGS)})


def describe(code: str) -> Flag:
    """Return what a code means; an unknown code stands for itself, so that no result is lost over a word."""
    return REGISTRY.get(code) or Flag(code, code.replace("_", " "), f"Code {code}, not described.")


def explain(code: str) -> str:
    """Write a code as a table cell: the code, a colon and its title; empty for an empty code."""
    return f"{code}: {describe(code).title}" if code else ""
