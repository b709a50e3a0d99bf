"""A session's files as what charts draw."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tracker.columns import HEADER
from tracker.report.chartdata import chart_shot, friction_grids, room_curves, standing_pins
from tracker.report.charts.data import Span
from tracker.report.files import OutputError
from tracker.report.shot import shot_json
from tracker.results import PathCurves, ShotResult

FEET = np.array([10.0, 11.0, 12.0])
CURVES = PathCurves(FEET, *(np.full(3, float(k)) for k in range(1, 9)))


def reach(recovery, hold, width, middle) -> dict[str, object]:
    return {
        "recovery_boards": recovery,
        "hold_boards": hold,
        "width_boards": dict(zip(("value", "low", "high"), width, strict=True)),
        "middle_boards": middle,
        "none_share": 0.0,
    }


LINE_UP = {
    "hand": "left",
    "ways": [
        {"room": None},
        {
            "ball": "Tern",
            "move": "stay",
            "room": {
                "laydown_unchanged": reach(None, None, (0.4, 0.3, 0.5), 0.1),
                "parallel": reach(1.0, 2.0, (None, None, None), None),
                "miss_boards": [-1.0, 0.0, 1.0],
                "chance_laydown_unchanged": [0.1, None, 0.2],
                "chance_parallel": [0.3, 0.4, 0.5],
            },
        },
    ],
}  # fmt: skip
MODEL = {
    "lane": "7",
    "oil": {"oil_end_ft": {"value": 40.0, "u": 1.0, "low": 38.0, "high": 42.0}},
    "friction": {"board": [1.0, 2.0], "distance_ft": [2.0, 4.0], "rows": [[0.04, "unsampled"], ["unsampled", 0.2]]},
}


def row(**cells: str) -> dict[str, str]:
    usual = {"shot_id": "one", "hand": "left", "ball": "Tern", "contact_board": "17.50", "contact_board_u": "0.150"}
    return dict.fromkeys(HEADER, "") | usual | cells


@pytest.fixture
def out(tmp_path):
    (tmp_path / "one").mkdir()
    return tmp_path


def test_a_shot_with_curves(out):
    text = shot_json(ShotResult("one", "one.mp4", "measured", curves=CURVES), {})
    (out / "one" / "shot.json").write_text(text, encoding="utf-8")
    found = chart_shot(out, row(standing_pins="4-7-10"))
    assert (found.shot_id, found.hand, found.ball, found.standing) == ("one", "left", "Tern", (4, 7, 10))
    assert (found.board.value[0], found.board.u[0]) == (1.0, 2.0)
    assert (found.sideways_ft_s2.value[0], found.sideways_ft_s2.u[0]) == (7.0, 8.0)
    assert (found.number("contact_board").value, found.number("contact_board").u) == (17.5, 0.15)
    assert found.number("onset_ft").value is None


def test_an_older_shot_has_its_boards_from_the_path(out):
    text = shot_json(ShotResult("one", "one.mp4", "measured"), {}).replace('"layout": 4', '"layout": 3')
    (out / "one" / "shot.json").write_text(text, encoding="utf-8")
    (out / "one" / "path.csv").write_text("board,distance_ft,board_u\r\n9,5,.2\r\n8,4,.1\r\n", encoding="utf-8")
    found = chart_shot(out, row(reason="gutter: the ball leaves the lane"))
    assert found.board.distance_ft.tolist() == [4.0, 5.0]
    assert (found.board.value.tolist(), found.board.u.tolist()) == ([8.0, 9.0], [0.1, 0.2])
    assert found.heading_deg is None
    assert found.gutter


def test_without_files_there_are_the_tables_numbers(out):
    found = chart_shot(out, row())
    assert found.board is None
    assert found.number("contact_board").value == 17.5


def test_a_spoilt_path_is_refused_in_one_line(out):
    (out / "one" / "path.csv").write_text("board,distance_ft,board_u\r\nx,5,.2\r\n", encoding="utf-8")
    with pytest.raises(OutputError, match=r"one/path.csv: cannot be read as a path .*--redo$"):
        chart_shot(out, row())


@pytest.mark.parametrize(
    ("cell", "pins"),
    [("none", ()), ("", None), ("4-7-10", (4, 7, 10)), ("10", (10,)), ("11", None), ("4-x", None), ("7-4-4", (4, 7))],
)
def test_cells_of_standing_pins(cell, pins):
    assert standing_pins(cell) == pins


def test_friction_of_lanes_that_were_sampled():
    blank = {**MODEL, "friction": {**MODEL["friction"], "rows": [["unsampled"] * 2] * 2}}
    found = friction_grids({"model": {"lanes": [MODEL, blank]}})
    assert len(found) == 1
    assert np.array_equal(found[0].friction, [[0.04, np.nan], [np.nan, 0.2]], equal_nan=True)
    assert found[0].oil_end_ft == Span(40.0, 38.0, 42.0)
    assert friction_grids({"line_ups": []}) == ()


def test_room_of_the_ways_that_have_one():
    (found,) = room_curves(LINE_UP)
    assert (found.hand, found.ball, found.move) == ("left", "Tern", "stay")
    assert np.isnan(found.aside_chance[1])
    assert found.aside.width_boards == Span(0.4, 0.3, 0.5)
    assert found.parallel.width_boards is None
    assert (found.parallel.recovery_boards, found.parallel.hold_boards) == (1.0, 2.0)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda: friction_grids({"model": {"lanes": [{**MODEL, "friction": {**MODEL["friction"], "board": [1.0]}}]}}),
        lambda: friction_grids({"model": {"lanes": [{"lane": "7"}]}}),
        lambda: room_curves(
            {"hand": "right", "ways": [json.loads(json.dumps(LINE_UP["ways"][1]).replace("[0.3, ", "["))]}
        ),
        lambda: room_curves({"hand": "right"}),
    ],
)
def test_a_spoilt_line_up_is_refused_in_one_line(spoil):
    with pytest.raises(OutputError, match=r"lineup.json: cannot be read as a line-up .*run lineup again$"):
        spoil()
