import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from calibration.camera import Camera
from calibration.errors import CalibrationFileError, Failure
from calibration.observations import EdgePoint, LanePoint
from calibration.quality import lane_point_sigma, verdict
from calibration.solve import Solution, solve, solve_observations

FEET = (15.0, 40.0, 58.0)


def solved(marks, camera: Camera) -> Solution:
    result = solve(marks, width=camera.width, height=camera.height)
    assert isinstance(result, Solution), result
    return result


def lane_errors(solution: Solution, truth: Camera, x_in: float = 5.0) -> np.ndarray:
    """Errors ``(n, 2)`` in inches of points at FEET put on the lane by the solved camera."""
    places = np.array([(x_in, 12 * y, 0.0) for y in FEET])
    return solution.camera.back_project(truth.project(places), 0.0) - places[:, :2]


CAMERAS = {
    "landscape": Camera(20, -230, 70, -2.0, 7.5, 0.6, 2250, 0.02, 1.003, width=1920, height=1080),
    "upright": Camera(-30, -205, 82, 3.5, 10.2, -1.5, 1750, -0.01, 0.996, width=1080, height=1920),
    "low and wide": Camera(48, -150, 36, -6.0, 5.0, 3.0, 1080, 0.03, 1.0, width=1920, height=1080),
    "high to the left": Camera(-48, -180, 108, 5.0, 14.0, -3.0, 1300, 0.0, 1.0, width=1280, height=720),
    "threefold zoom": Camera(10, -330, 60, -0.8, 5.2, 1.0, 5600, 0.0, 1.0, width=1920, height=1080),
    "square behind": Camera(0, -216, 66, 0.0, 8.0, 0.0, 2000, 0.0, 1.0, width=1920, height=1080),
}


@pytest.mark.parametrize("name", CAMERAS)
def test_exact_marks_place_lane_points(name, clicked):
    camera = CAMERAS[name]
    solution = solved(clicked(camera), camera)
    errors = lane_errors(solution, camera)
    # Exact marks leave only the pull of the priors.
    assert np.abs(errors[:, 0]).max() < 0.15
    assert np.abs(errors[:, 1]).max() < 4.0
    assert solution.rms_px < 0.2
    assert solution.variance_factor == 1.0


def test_a_chevron_unlike_the_usual_one_is_found(camera, clicked):
    solution = solved(clicked(camera, chevron_ft=(15.2, 0.95)), camera)
    assert solution.arrow_centre_ft == pytest.approx(15.2, abs=0.1)
    assert solution.arrow_slope_ft == pytest.approx(0.95, abs=0.02)
    assert solution.arrow_centre_sd_ft < 0.25


def test_without_arrows_the_chevron_is_the_prior(camera, clicked):
    marks = {name: p for name, p in clicked(camera).items() if not name.startswith("arrow")}
    solution = solved(marks, camera)
    assert (solution.arrow_centre_ft, solution.arrow_slope_ft) == pytest.approx((15.8, 1.1))
    assert (solution.arrow_centre_sd_ft, solution.arrow_slope_sd_ft) == pytest.approx((0.4, 0.15))


@pytest.mark.parametrize("name", ["foul_right", "arrow_5", "left_edge_3", "pin_10_base"])
def test_one_bad_click_hardly_moves_the_lane_and_is_named(name, camera, clicked):
    marks = clicked(camera, 0.7, seed=4)
    clean = lane_errors(solved(marks, camera), camera)
    u, v = marks[name]
    solution = solved({**marks, name: (u + 12.0, v - 5.0)}, camera)
    moved = lane_errors(solution, camera) - clean
    assert np.abs(moved[:, 0]).max() < 0.4
    assert np.abs(moved[:, 1]).max() < 5.0
    worst = min(solution.residuals, key=lambda r: r.weight)
    assert worst.name == name
    assert worst.size_px > 5
    assert any(note.startswith(name) for note in solution.notes)


def test_residuals_are_seen_minus_predicted(camera, clicked):
    marks = clicked(camera)
    u, v = marks["foul_left"]
    solution = solved({**marks, "foul_left": (u + 20, v)}, camera)
    by_name = {r.name: r for r in solution.residuals}
    off = by_name["foul_left"]
    assert list(by_name) == sorted(marks)
    assert (off.du_px, off.dv_px) == pytest.approx((20, 0), abs=1.5)
    px_per_board = (marks["foul_right"][0] - u) / 39
    assert off.across_boards == pytest.approx(20 / px_per_board, rel=0.1)
    assert by_name["left_edge_1"].along_in is None
    assert by_name["arrow_4"].weight > 0.9


def test_sharp_edges_count_by_their_own_sigma(camera, clicked):
    marks = {n: p for n, p in clicked(camera, 1.0, seed=1).items() if n.startswith(("foul", "pin"))}
    points = {"foul_left": (-20.75, 0.0), "foul_right": (20.75, 0.0)}
    corners = [LanePoint(n, (*points[n], 0.0), *marks[n], 1.0) for n in points]
    pins = {"pin_7_base": (-18, 751.18), "pin_10_base": (18, 751.18), "pin_1_base": (0, 720)}
    corners += [LanePoint(n, (*pins[n], 0.0), *marks[n], 1.0, true_inches=True, front_radius_in=1.0) for n in pins]
    sigmas = []
    for sigma in (1.0, 0.1):
        edges = [
            EdgePoint(side, *camera.project((x, 12.0 * y, 0.0)), sigma, f"{side} {y}")
            for side, x in (("left", -20.75), ("right", 20.75))
            for y in range(3, 58, 6)
        ]
        solution = solve_observations([*corners, *edges], width=camera.width, height=camera.height)
        assert isinstance(solution, Solution)
        sigmas.append(lane_point_sigma(solution, 40.0)[0])
    assert sigmas[1] < 0.5 * sigmas[0]


def test_same_marks_in_any_order_give_the_same_bytes(camera, clicked):
    marks = clicked(camera, 1.0, seed=2)
    one, two = (solved(dict(items), camera) for items in (marks.items(), reversed(marks.items())))
    assert_array_equal(one.camera.vector, two.camera.vector)
    assert_array_equal(one.covariance, two.covariance)


def failure(marks, camera: Camera) -> Failure:
    result = solve(marks, width=camera.width, height=camera.height)
    assert isinstance(result, Failure), result
    return result


def test_too_few_marks_say_what_is_missing(camera, clicked):
    marks = clicked(camera)
    near = failure({n: marks[n] for n in ("foul_left", "foul_right", "left_edge_1", "right_edge_1")}, camera)
    assert near.reason == "marks_too_few"
    assert "pin_1_base" in near.detail
    one_side = failure(
        {n: p for n, p in marks.items() if n.startswith("left") or n in {"foul_left", "arrow_4"}}, camera
    )
    assert one_side.reason == "marks_too_few"
    assert "right edge" in one_side.detail
    assert failure({}, camera).reason == "marks_too_few"


def test_marks_on_one_line_are_degenerate(camera, clicked):
    marks = {name: (800 + 0.1 * v, v) for name, (_, v) in clicked(camera).items()}
    assert failure(marks, camera).reason == "marks_degenerate"


def test_no_mark_past_the_arrows_is_never_good(camera, clicked):
    near = ("foul", "arrow", "left_edge_1", "right_edge_1")
    marks = {n: p for n, p in clicked(camera).items() if n.startswith(near)}
    result = solve(marks, width=camera.width, height=camera.height)
    assert isinstance(result, Failure) or verdict(result) != "good"


def test_a_view_that_leaves_the_lane_open_is_degenerate(camera, clicked):
    near = ("foul", "arrow", "left_edge_1", "right_edge_1")
    marks = {n: p for n, p in clicked(camera).items() if n.startswith(near)}
    result = solve(marks, width=camera.width, height=camera.height, sigma_px=30.0)
    assert isinstance(result, Failure)
    assert result.reason == "marks_degenerate"
    assert "boards and" in result.detail


def test_a_camera_nobody_would_set_up_is_implausible(clicked):
    high = Camera(0, -216, 260, 0.0, 25.0, 0.0, 2000, 0.0, 1.0, width=1920, height=1080)
    found = failure(clicked(high), high)
    assert found.reason == "camera_implausible"
    assert "height above the lane of 2" in found.detail


def test_left_and_right_exchanged_is_mirrored(camera, clicked):
    marks = {name: (camera.width - u, v) for name, (u, v) in clicked(camera).items()}
    assert failure(marks, camera).reason == "marks_mirrored"
    swapped = clicked(camera)
    swapped["arrow_2"], swapped["arrow_6"] = swapped["arrow_6"], swapped["arrow_2"]
    found = failure(swapped, camera)
    assert found.reason == "marks_mirrored"
    assert "arrow_2" in found.detail
    assert "arrow_6" in found.detail


def test_upside_down_is_mirrored(camera, clicked):
    marks = {name: (camera.width - u, camera.height - v) for name, (u, v) in clicked(camera).items()}
    found = failure(marks, camera)
    assert found.reason == "marks_mirrored"
    assert "foul" in found.detail


def test_a_bad_mark_among_too_few_is_a_contradiction_that_names_it(camera, clicked):
    names = ("foul_left", "foul_right", "left_edge_2", "right_edge_2", "left_edge_4", "right_edge_4", "pin_1_base")
    marks = {n: p for n, p in clicked(camera, 0.3).items() if n in names}
    u, v = marks["right_edge_2"]
    found = failure({**marks, "right_edge_2": (u + 60, v)}, camera)
    assert found.reason == "marks_contradictory"
    assert "right_edge_2 is " in found.detail
    assert "boards" in found.detail


def test_unknown_name_is_a_mistake(camera, clicked):
    with pytest.raises(CalibrationFileError, match="unknown mark 'middle'"):
        solve({**clicked(camera), "middle": (1.0, 2.0)}, width=camera.width, height=camera.height)


def test_covariance_is_symmetric_and_positive(camera, clicked):
    covariance = solved(clicked(camera, 1.0, seed=3), camera).covariance
    assert_allclose(covariance, covariance.T, rtol=1e-6)
    sd = np.sqrt(np.diag(covariance))
    assert np.linalg.eigvalsh(covariance / np.outer(sd, sd)).min() > 0
