"""One ball that was followed twice is one shot; two balls at once are two."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calibration.lane import Hand
from tracker.results import PathTable, ShotResult
from tracker.shot.table import distinct, rejoined


def _table(frames: range, *, board: float = 15.0, behind_ft: float = 0.0) -> PathTable:
    frame = np.array(frames)
    n = len(frame)
    return PathTable(
        frame=frame,
        t_s=frame / 30.0,
        board=np.full(n, board),
        distance_ft=frame * 0.8 - behind_ft,
        board_u=np.full(n, 0.1),
        distance_ft_u=np.full(n, 0.1),
        speed_mph=np.full(n, 16.4),
        heading_deg=np.zeros(n),
        seen=np.ones(n, np.int64),
    )


def _shot(table: PathTable | None, hand: Hand = "right") -> ShotResult:
    return ShotResult("", "", "measured", path=table, hand=hand)


def test_parts_of_one_ball_are_one_shot_and_the_longer_part_is_kept():
    short, whole = _shot(_table(range(40, 70), board=15.3)), _shot(_table(range(5, 70)))
    assert distinct([short, whole]) == [whole]


def test_balls_beside_or_behind_each_other_are_two_shots():
    first = _shot(_table(range(5, 70)))
    beside, behind = _shot(_table(range(5, 70), board=25.0)), _shot(_table(range(5, 70), behind_ft=6.0))
    assert distinct([first, beside, behind]) == [first, beside, behind]


def test_one_ball_after_another_and_shots_without_a_path_stay():
    first, later, lost = _shot(_table(range(5, 70))), _shot(_table(range(200, 260))), _shot(None)
    little = replace(first, path=_table(range(69, 120)))
    assert distinct([first, later, lost, little]) == [first, later, lost, little]


def test_one_ball_read_with_either_hand_is_one_shot():
    right, left = _shot(_table(range(5, 70))), _shot(_table(range(5, 60), board=25.0), "left")
    assert distinct([right, left]) == [right]
    far = _shot(_table(range(5, 60), board=15.0), "left")
    assert distinct([right, far]) == [right, far]


def _gutter_ball(aside_board: float = -3.5, later: int = 60) -> list[ShotResult]:
    """A ball at 16.4 mph lost at the right edge at 32 ft, and one seen in a gutter from 20 rows on."""
    lost = replace(_shot(_table(range(5, 40), board=1.0)), status="partial", reason="ball_lost")
    table = _table(range(later, later + 20), board=aside_board)
    return [lost, replace(_shot(table), status="failed", reason="gutter")]


def test_ball_lost_at_the_edge_and_seen_in_that_gutter_is_one_gutter_ball():
    (ball,) = rejoined(_gutter_ball())
    assert (ball.status, ball.reason) == ("partial", "gutter")
    assert ball.path is not None
    assert float(ball.path.distance_ft[-1]) < 32.0


def test_ball_in_the_other_gutter_or_too_late_is_another():
    assert len(rejoined(_gutter_ball(aside_board=44.0))) == 2
    late = _gutter_ball()
    path = late[1].path
    assert path is not None
    late[1] = replace(late[1], path=replace(path, t_s=path.t_s + 3.0))
    assert len(rejoined(late)) == 2
