import json
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from calibration.camera import Camera
from calibration.errors import CalibrationFileError
from calibration.solve import MarkResidual, Solution, solve
from calibration.store import Calibration, check_frame, from_json, from_solution, load, save, to_json

number = st.floats(-1e6, 1e6)
positive = st.floats(1e-3, 1e6)


@st.composite
def calibrations(draw):
    place = [draw(number), draw(number), draw(positive), draw(number), draw(number), draw(number)]
    camera = Camera.from_vector([*place, draw(positive), draw(number), draw(positive)], 1920, 1080)
    root = np.random.default_rng(draw(st.integers(0, 99))).normal(size=(9, 9)) * draw(st.floats(1e-6, 1e3))
    names = draw(st.lists(st.text(min_size=1, max_size=8), unique=True, max_size=3))
    residuals = tuple(
        MarkResidual(n, draw(number), draw(number), draw(number), draw(st.none() | number), draw(number)) for n in names
    )
    return Calibration(
        camera=camera,
        covariance=root @ root.T,
        rotation_deg=draw(st.sampled_from([0, 90, 180, 270])),
        clip=draw(st.text(max_size=12)),
        marks_px={n: (draw(number), draw(number)) for n in names},
        residuals=residuals,
        rms_px=draw(number),
        arrow_centre_ft=draw(number),
        notes=tuple(names),
    )


@given(calibrations())
def test_reads_back_what_was_written(calibration):
    again = from_json(to_json(calibration))
    assert again.camera == calibration.camera
    assert_array_equal(again.covariance, calibration.covariance)
    fields = ("rotation_deg", "clip", "how", "marks_px", "residuals", "rms_px", "arrow_centre_ft", "notes", "version")
    assert [getattr(again, f) for f in fields] == [getattr(calibration, f) for f in fields]
    assert to_json(again) == to_json(calibration)


@pytest.fixture
def calibration(camera, clicked) -> Calibration:
    marks = clicked(camera, 0.5)
    solution = solve(marks, width=camera.width, height=camera.height)
    assert isinstance(solution, Solution)
    return from_solution(solution, marks, clip="takes/monday/shot.mp4", rotation_deg=-90)


def test_solution_becomes_a_calibration_without_paths(calibration):
    assert (calibration.clip, calibration.rotation_deg, calibration.how) == ("shot.mp4", 270, "marks")
    assert len(calibration.residuals) == len(calibration.marks_px) == 20


def test_file_is_written_whole_and_alone(tmp_path, calibration):
    file = tmp_path / "lane.json"
    save(file, calibration)
    first = file.read_bytes()
    save(file, load(file))
    assert file.read_bytes() == first
    assert [p.name for p in tmp_path.iterdir()] == ["lane.json"]


def test_unwritable_place_is_named(tmp_path, calibration):
    with pytest.raises(CalibrationFileError, match=r"lane\.json: cannot write"):
        save(tmp_path / "absent" / "lane.json", calibration)


def test_residual_above_the_horizon_survives(calibration):
    odd = replace(calibration, residuals=(MarkResidual("left_edge_1", 1.0, 2.0, math.nan, None, 0.1),))
    assert math.isnan(from_json(to_json(odd)).residuals[0].across_boards)


def change(calibration: Calibration, *path: str | int, value: object) -> str:
    """The calibration's JSON with one element replaced, or removed for ``...``."""
    data = json.loads(to_json(calibration))
    inner = data
    for key in path[:-1]:
        inner = inner[key]
    if value is ...:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return json.dumps(data)


@pytest.mark.parametrize(
    ("path", "value", "complaint"),
    [
        (("format",), "other", "not a calibration file"),
        (("version",), 99, "layout version 99, this program reads 1"),
        (("camera", "f_px"), -5, "camera: f_px must be a positive number, found -5"),
        (("camera", "z_in"), -5, "camera: z_in must be a positive height"),
        (("camera", "k1"), ..., "camera: k1 must be a finite number, found None"),
        (("camera", "yaw_deg"), "left", "camera: yaw_deg must be a finite number, found 'left'"),
        (("frame", "rotation_deg"), 45, "frame: rotation_deg must be 0, 90, 180 or 270, found 45"),
        (("frame", "width"), 0, "frame: width must be a positive whole number"),
        (("covariance", 0, 0), -1.0, "covariance must be a symmetric 9x9 matrix"),
        (("covariance", 0, 1), 1e9, "covariance must be a symmetric 9x9 matrix"),
        (("covariance", 3), [1, 2], "covariance must be a symmetric 9x9 matrix"),
        (("marks_px", "foul_left"), [1], "marks_px must be an object of names and pixels"),
        (("residuals",), 3, "residuals must be a list of objects"),
        (("residuals", 0, "weight"), None, r"residuals\[0\]: weight must be a finite number"),
        (("notes",), [1], "notes must be a list of texts"),
        (("arrows",), [], "arrows must be an object"),
    ],
)
def test_damaged_file_is_refused_with_words(calibration, path, value, complaint):
    with pytest.raises(CalibrationFileError, match=complaint) as caught:
        from_json(change(calibration, *path, value=value), "lane.json")
    assert str(caught.value).startswith("lane.json: ")


def test_unreadable_files_are_refused(tmp_path):
    with pytest.raises(CalibrationFileError, match=r"absent\.json: cannot read"):
        load(tmp_path / "absent.json")
    with pytest.raises(CalibrationFileError, match="not JSON, line 1"):
        from_json("{")
    with pytest.raises(CalibrationFileError, match="not a calibration file"):
        from_json("[]")


def test_frame_must_be_the_calibrated_one(calibration):
    check_frame(calibration, 1920, 1080, -90)
    with pytest.raises(CalibrationFileError, match=r"shot\.mp4 is for a 1920x1080 frame, this clip is 1080x1920"):
        check_frame(calibration, 1080, 1920, 270)
    with pytest.raises(CalibrationFileError, match="has the rotation 270"):
        check_frame(calibration, 1920, 1080, 90)
