"""A practice folder whose names try to be something else: markup, scripts, formulas, control characters."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from lineup.practice import practise
from made_up import CAMERA, hook

from tracker.cli.lineup import line_up_folder
from tracker.cli.talk import Talk
from tracker.report.files import write_tables
from tracker.report.rows import failed_row, failure_row, shot_row
from tracker.report.shot import write_shot
from tracker.results import Quantity, ShotResult

from calibration.errors import Failure  # isort: skip

BALL = "\"><script>document.title='run'</script>"
OTHER = "]]><img src=x onerror=\"document.title='run'\">&amp; {{ 7 * 7 }}"
LINE = '=HYPERLINK("http://example.invalid";"x")\u202e\u0007'
LANE = "</title><b onmouseover=alert(1)>\u20287"
SHOT = "s <i>&'=\"x"
NOTE = "private words of the bowler"
CLIP = "<svg onload=document.title='run'>.mp4"
NAMES = (BALL, OTHER, LANE, SHOT, CLIP)


def write_hostile(out: Path, count: int = 5, *, seed: int = 2) -> None:
    """A measured practice with line-up: some shots whole, one partial, one failed."""
    practice = practise(seed, count)
    names = list(practice.balls)
    rows = []
    for k, (throw, (board, angle)) in enumerate(zip(practice.throws, practice.seen, strict=True)):
        shot = _shot(throw, board, angle, f"{SHOT}{k}")
        ball = (BALL, OTHER)[names.index(throw.ball) % 2]
        texts = {"ball": ball, "line": LINE, "lane": LANE, "intent": "move", "execution": "good", "note": NOTE}
        rows.append(shot_row(shot, texts))
        write_shot(out, shot, {})
    rows[-1]["status"], rows[-1]["reason"] = "partial", "pins_unseen: pins out of the picture"
    lost = Failure("no_ball", f"nothing rolls in {BALL}")
    rows.append(failed_row(CLIP, "zz-lost", lost))
    write_tables(out, rows, [failure_row(CLIP, "zz-lost", lost.reason, lost.detail)])
    line_up_folder(out, Talk(-1))


def _shot(throw, board: float, angle: float, name: str) -> ShotResult:
    path = hook()
    offset = float(throw.stations.board[3]) - float(path.board[12])
    return ShotResult(
        shot_id=name, clip=f"{name}.mp4", status="measured", flags=("gap",), hand=throw.hand,
        quantities={
            "laydown_board": Quantity(float(throw.stations.board[0]), 0.12),
            "board_15ft": Quantity(float(throw.stations.board[3]), 0.05),
            "onset_ft": Quantity(31.0, 0.3), "breakpoint_board": Quantity(8.0, 0.1),
            "breakpoint_ft": Quantity(42.4, 0.4), "roll_ft": Quantity(missing="still_turning"),
            "turn_deg": Quantity(angle + 1.5, 0.1), "entry_angle_deg": Quantity(angle, 0.1),
            "contact_board": Quantity(board, 0.12), "contact_ft": Quantity(59.41, 0.01),
            "speed_release_mph": Quantity(17.2, 0.06),
        },
        path=replace(path, board=path.board + offset), camera=CAMERA, stations=throw.stations,
    )  # fmt: skip
