"""The sample session: eight shots of an invented right-hander with three invented balls on one lane.

The practice tells a story: a smooth ball near the second arrow that comes in light, a better one, a miss inside; a
stronger ball on the same line goes high, a move left brings it back; the strongest asks for another move; one shot is
thrown wide on purpose.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sample_media.spec import BallSpec, CameraSpec, ClipSpec, LaneSpec, NeighbourBall, ShotSpec
from sample_media.timeline import build_timeline

SEED = 20
LANE_NAME = "14"
CAMERA = CameraSpec()
LANE = LaneSpec()
WEAR_FT = 0.12
SLATE = BallSpec(
    name="Fen Slate",
    diameter_in=8.58,
    gyration_in=2.55,
    grip=0.85,
    colour=(0.030, 0.034, 0.042),
    pattern="plain",
    shine=1.2,
    surface="polished",
    strength=1,
)
LAGOON = BallSpec(
    name="Tern Lagoon",
    diameter_in=8.59,
    gyration_in=2.50,
    grip=1.0,
    colour=(0.025, 0.115, 0.125),
    second=(0.050, 0.215, 0.205),
    pattern="pearl",
    surface="2000 grit",
    strength=2,
)
ROWAN = BallSpec(
    name="Rowan Twist",
    diameter_in=8.57,
    gyration_in=2.48,
    grip=1.22,
    colour=(0.30, 0.045, 0.020),
    second=(0.60, 0.36, 0.06),
    pattern="swirl",
    shine=0.8,
    surface="800 grit",
    strength=3,
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One clip of the session and what the bowler wrote about it."""

    clip: ClipSpec
    line: str
    feet: float
    target: float
    intent: str
    execution: str
    note: str

    @property
    def written(self) -> tuple[str, ...]:
        """The sheet's columns from feet to note."""
        return f"{self.feet:g}", f"{self.target:g}", self.intent, self.execution, self.standing, self.note

    @property
    def standing(self) -> str:
        """Pins that stand at the end, as the sheet names them."""
        pins = build_timeline(self.clip).deck.standing_at(self.clip.tail_s)
        return "-".join(map(str, pins)) or "none"


def _shot(board: float, launch_deg: float, speed_mph: float, rev_rpm: float = 310.0) -> ShotSpec:
    release = ShotSpec(rev_rpm=rev_rpm, rotation_deg=48.0, tilt_deg=13.0)
    return replace(release, laydown_board=board, launch_deg=launch_deg, speed_mph=speed_mph)


def _clip(number: int, ball: BallSpec, shot: ShotSpec, camera: CameraSpec = CAMERA) -> ClipSpec:
    lane = replace(LANE, oil_ft=LANE.oil_ft - WEAR_FT * (number - 1))
    return ClipSpec(name=f"practice-{number}", camera=camera, lane=lane, ball=ball, shot=shot)


def practice() -> list[Entry]:
    """The eight clips in the order they were thrown."""
    dropped = replace(CAMERA, drops=(31, 77, 78, 120, 151, 190))
    walker = NeighbourBall(
        _shot(24.0, 0.4, 15.5, rev_rpm=180.0), replace(LAGOON, colour=(0.09, 0.02, 0.07)), delay_s=1.0
    )
    two = replace(_clip(4, LAGOON, _shot(15.2, 2.239, 17.1)), neighbour=walker)
    return [
        Entry(
            _clip(1, SLATE, _shot(15.3, 2.282, 17.4)),
            "second arrow",
            22,
            10,
            "same",
            "good",
            "first shot after warm-up",
        ),
        Entry(_clip(2, SLATE, _shot(15.1, 2.268, 17.1)), "second arrow", 22, 10, "same", "good", ""),
        Entry(_clip(3, SLATE, _shot(15.6, 1.95, 17.3)), "second arrow", 22, 10, "same", "in", "pulled it"),
        Entry(two, "second arrow", 22, 10, "test", "good", "changed ball, same line"),
        Entry(
            _clip(5, LAGOON, _shot(18.2, 2.657, 17.2), dropped),
            "three and two left",
            25,
            12,
            "move",
            "good",
            "moved 3 and 2",
        ),
        Entry(
            _clip(6, ROWAN, _shot(18.0, 2.614, 17.0)),
            "three and two left",
            25,
            12,
            "test",
            "good",
            "strong ball, same line",
        ),
        Entry(
            _clip(7, ROWAN, _shot(22.1, 3.148, 17.3)),
            "seven and four left",
            29,
            14,
            "move",
            "good",
            "moved 4 and 2 more",
        ),
        Entry(
            _clip(8, ROWAN, _shot(22.0, 3.482, 17.1)), "seven and four left", 29, 14, "test", "out", "wide on purpose"
        ),
    ]


def session_sheet(entries: Sequence[Entry]) -> str:
    """The session sheet as CSV text."""
    rows = [(f"{e.clip.name}.mp4", e.clip.ball.name, e.clip.shot.hand, LANE_NAME, e.line, *e.written) for e in entries]
    header = ("clip", "ball", "hand", "lane", "line", "feet", "target", "intent", "execution", "standing", "note")
    return _csv([header, *rows])


def ball_sheet(entries: Sequence[Entry]) -> str:
    """The ball sheet as CSV text, balls in the order of their first use."""
    balls = dict.fromkeys(e.clip.ball for e in entries)
    rows = [(b.name, b.surface, str(b.strength), f"{b.diameter_in:.2f}") for b in balls]
    return _csv([("ball", "surface", "strength", "diameter_in"), *rows])


def _csv(rows: Sequence[Sequence[str]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()
