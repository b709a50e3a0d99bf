"""What two sessions hold beside their numbers: shots that count, shares in the pocket, lanes, and bowlers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tracker.lineup.window import Window
from tracker.report.folder import SessionFolder, ShotEntry
from tracker.report.page.said import Said, quantity, say
from tracker.session.versus import Share, share

SCATTERS = {"board": ("laydown", "board"), "launch_deg": ("launch angle", "deg"), "speed_mph": ("speed", "mph")}


@dataclass(frozen=True, slots=True)
class Session:
    """One of the two sessions.

    Attributes
    ----------
    name : str
        Of its folder.
    out : Path
    folder : SessionFolder
    shots : tuple of ShotEntry
        With numbers, spare shots left out.
    """

    name: str
    out: Path
    folder: SessionFolder
    shots: tuple[ShotEntry, ...]


def two_sessions(outs: tuple[Path, Path], folders: tuple[SessionFolder, SessionFolder]) -> tuple[Session, Session]:
    """Both sessions under names that tell them apart, the earlier one first."""
    names = [out.resolve().name for out in outs]
    if names[0] == names[1]:
        names = [f"{name} ({which})" for name, which in zip(names, ("earlier", "later"), strict=True)]
    first, last = (
        Session(name, out, folder, tuple(s for s in folder.shots if _counts(s)))
        for name, out, folder in zip(names, outs, folders, strict=True)
    )
    return first, last


def _counts(shot: ShotEntry) -> bool:
    """Whether a shot was measured and thrown at a full rack."""
    spare = shot.row["intent"] == "spare" or "rack_not_full" in shot.row["flags"].split()
    return shot.row["status"] != "failed" and not spare


def fact_of(session: Session) -> str:
    """How many shots it has, on which lanes, with which balls."""
    lanes = list(dict.fromkeys(s.row["lane"] for s in session.shots if s.row["lane"]))
    balls = list(dict.fromkeys(s.row["ball"] for s in session.shots if s.row["ball"]))
    said = f"{session.name}: {len(session.shots)} shots at a full rack"
    said += f", lane {' and '.join(lanes)}" if lanes else ""
    return f"{said}{', ' + ', '.join(balls) if balls else ''}."


def pocket_window(before: Session, after: Session) -> Window:
    """What counts as the pocket for both: as the later session's line-up has it, else the earlier's, else the usual."""
    for one in (after, before):
        held = (one.folder.lineup or {}).get("window", {})
        if held:
            return Window(*held["contact_board"], *held["entry_angle_deg"])
    return Window()


def in_words(window: Window) -> str:
    """A window's limits."""
    return (
        f"contact board {window.low_board:g} to {window.high_board:g} and entry {window.low_deg:g} to "
        f"{window.high_deg:g} deg"
    )


def pocket_shares(before: Session, after: Session, window: Window) -> list[tuple[str, str]]:
    """Share of shots that came to the pocket window, of each session."""
    out = []
    for one in (before, after):
        seen = [_in_window(shot, window) for shot in one.shots]
        known = [inside for inside in seen if inside is not None]
        if known:
            out.append((one.name, _share(share(sum(known), len(known)))))
    return out


def _in_window(shot: ShotEntry, window: Window) -> bool | None:
    board, angle = (shot.numbers[name].value for name in ("contact_board", "entry_angle_deg"))
    if board is None or angle is None:
        return None
    return window.low_board <= board <= window.high_board and window.low_deg <= angle <= window.high_deg


def _share(found: Share) -> str:
    return f"{found.count} of {found.of} (95 %: {100 * found.low:.0f} to {100 * found.high:.0f} of 100)"


def oil_ends(before: Session, after: Session) -> list[tuple[str, str, Said]]:
    """Oil of every lane of both sessions: session, lane, where the oil ends."""
    return [
        (one.name, lane["lane"] or "the lane", say(quantity(lane["oil"]["oil_end_ft"]), "ft"))
        for one in (before, after)
        for lane in _model(one).get("lanes", ())
    ]


def scatters(before: Session, after: Session) -> list[tuple[str, str, str, str]]:
    """How repeats scatter in both sessions: session, hand, what, standard deviation with its interval."""
    return [
        (one.name, bowler["hand"], SCATTERS[name][0], _deviation(found, SCATTERS[name][1]))
        for one in (before, after)
        for bowler in _model(one).get("bowlers", ())
        for name, found in bowler["scatter"].items()
        if name in SCATTERS and found["repeats"] > 0
    ]


def _deviation(found: Mapping[str, Any], unit: str) -> str:
    ends = f"{found['low']:.2f} to {found['high']:.2f}"
    return f"{found['value']:.2f} {unit} (95 %: {ends}; {found['repeats']} repeats)"


def _model(session: Session) -> Mapping[str, Any]:
    model: Mapping[str, Any] = (session.folder.lineup or {}).get("model", {})
    return model
