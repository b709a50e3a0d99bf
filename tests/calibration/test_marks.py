import json

import pytest

from calibration.errors import CalibrationFileError
from calibration.marks import observe_mark, observe_marks, parse_marks, read_marks
from calibration.observations import ArrowPoint, EdgePoint, LanePoint

GOOD = {"width": 1920, "height": 1080, "marks_px": {"foul_left": [589.5, 966], "left_edge_12": [744.1, 719.6]}}


def test_reads_size_and_pixels(tmp_path):
    file = tmp_path / "marks.json"
    file.write_text(json.dumps(GOOD), encoding="utf-8")
    marks = read_marks(file)
    assert (marks.width, marks.height) == (1920, 1080)
    assert marks.marks_px == {"foul_left": (589.5, 966.0), "left_edge_12": (744.1, 719.6)}


def test_names_say_what_is_known():
    corner, arrow = observe_mark("foul_right", (1, 2)), observe_mark("arrow_2", (1, 2))
    pin, edge = observe_mark("pin_10_base", (1, 2)), observe_mark("right_edge_3", (1, 2), 0.4)
    assert isinstance(corner, LanePoint)
    assert corner.xyz_in == (20.75, 0.0, 0.0)
    assert isinstance(arrow, ArrowPoint)
    assert arrow.board == 10
    assert isinstance(pin, LanePoint)
    assert pin.true_inches
    assert (pin.xyz_in[0], pin.front_radius_in) == (18.0, 1.0155)
    assert isinstance(edge, EdgePoint)
    assert (edge.side, edge.sigma_px) == ("right", 0.4)


def test_order_in_the_file_does_not_matter():
    pixels = {"foul_right": (2.0, 3.0), "arrow_1": (1.0, 1.0)}
    assert observe_marks(pixels) == observe_marks(dict(reversed(pixels.items())))


@pytest.mark.parametrize(
    ("change", "complaint"),
    [
        ({"width": 0}, "width must be a positive whole number of pixels, found 0"),
        ({"height": "1080"}, "height must be a positive whole number"),
        ({"marks_px": {}}, "marks_px must be an object of mark names"),
        ({"marks_px": {"arrow_8": [1, 2]}}, "unknown mark 'arrow_8'; known names are foul_left"),
        ({"marks_px": {"pin_11_base": [1, 2]}}, "unknown mark 'pin_11_base'"),
        ({"marks_px": {"arrow_1": [1]}}, r"mark 'arrow_1' must be two numbers \[x, y\]"),
        ({"marks_px": {"arrow_1": [1, float("nan")]}}, "mark 'arrow_1' must be two numbers"),
        ({"marks_px": {"arrow_1": [True, 2]}}, "mark 'arrow_1' must be two numbers"),
        ({"marks_px": {"arrow_1": [100, 1200]}}, "lies outside the 1920x1080 frame"),
    ],
)
def test_bad_content_is_refused_with_words(change, complaint):
    with pytest.raises(CalibrationFileError, match=complaint) as caught:
        parse_marks({**GOOD, **change}, "club.json")
    assert str(caught.value).startswith("club.json: ")


def test_unreadable_files_are_refused(tmp_path):
    with pytest.raises(CalibrationFileError, match=r"absent\.json: cannot read"):
        read_marks(tmp_path / "absent.json")
    (tmp_path / "half.json").write_text('{"width": 1920,', encoding="utf-8")
    with pytest.raises(CalibrationFileError, match=r"half\.json: not JSON, line 1"):
        read_marks(tmp_path / "half.json")
    with pytest.raises(CalibrationFileError, match="expected an object"):
        parse_marks([1, 2])
