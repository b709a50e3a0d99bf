"""How far to believe a found lane: agreement of independent marks, predicted sigmas, and the reasons to refuse."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration import quality
from calibration.camera import Camera
from calibration.errors import Failure
from calibration.finding.arrows import LAID_FT, MISS_BOARDS, Arrows
from calibration.finding.deck_end import NAME as DECK_END
from calibration.finding.fan import fan_of, strips_of
from calibration.finding.lines import AcrossLine, across_lines
from calibration.finding.refine import LEAST_FOUL_POINTS
from calibration.finding.sampling import MAD_PER_SIGMA
from calibration.finding.search import Rough, View
from calibration.lane import ARROW_CENTRE_FT, BOARD_WIDTH_IN, INCHES_PER_FOOT
from calibration.observations import SIDES, EdgePoint, LanePoint, Observation, gather, lane_places, line_distances
from calibration.solve import Solution, solve_observations
from calibration.start import CHEVRON_FT

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
FinderVerdict = Literal["good", "usable", "refused"]

LOWEST_IN = 30.0
"""Below this height a pixel at the pins is a foot of lane and more: distances there are hardly told, and other lines
are easily taken for the foul line."""

_FREE_PX = 300.0
"""Sideways standard deviation that keeps a pin from telling where the lane is."""
_DECK_AT_IN = (740.0, 8.0)
"""Distance and height of the middle of the pins, where the worth of a board in pixels is taken."""
_SPREAD_IN = 18.0
_WIDEST_MISS_BOARDS, _GOOD_MISS_BOARDS = 0.8, 0.45
"""How far pins may stand beside where the edges put them; ones too close together for their spacing to confirm the
camera must agree as well as for a good lane."""
_WIDEST_SCALE, _GOOD_SCALE = 0.05, 0.03
_LEAST_EDGE_POINTS = 6
_WIDEST_LOSS = 0.19
"""Of lanes that are found right the loss is at most 0.16 (110 drawn views)."""
_SURE_PINS, _SURE_ARROWS, _SURE_LINES = 3.0, 4, 65.0
_MEASURED_PINS, _STANDING_PINS = 2, 3
_ARROW_NOISE_BOARDS, _PIN_NOISE_BOARDS = 0.15, 0.3
"""How far arrows and pins lie from their places on a lane that is found right: by measurement, and as they are laid."""
_ARROWS_LAID_FT = 0.9
"""How far from the usual distance houses lay their arrows: two of the prior's standard deviations and a little."""
_WIDEST_FACTOR = 25.0
_UNTESTED = 9.0
"""What an edge that was taken wrong may cost where nothing would show it: of eight such lanes one was 6.8 sigmas off,
the others within 1.2 (drawn views)."""
_WIDEST_RESIDUAL_BOARDS = 1.0
_RESIDUAL_BOARDS = 0.5
_APART = 1.5
"""Squared distance from the other lanes over its seven parameters; 1 is usual by chance."""
_AS_CLEAR = 0.85
"""Share of a lane's clearness from which on another place is as likely: two lanes that were taken a gutter's width off
had 0.97, right ones without arrows 0.6 to 0.75."""
_WHOLE = "film with the whole lane in view and nobody before it, or click the marks"
_HIGHER = "put the phone at chest height or higher behind the approach"
_CLEAR_STRIP, _FLAT_STRIP = 100.0, 60.0
_BOTTOM_SHARE = 0.97


@dataclass(frozen=True, slots=True)
class Agreement:
    """Independent marks against what the others predict.

    Attributes
    ----------
    pins : int
        Standing pins that were measured.
    pins_aside_boards : float or None
        How far the pins' middle lies from where lane edges and foul line alone put it, boards to the right; None with
        fewer than three pins.
    pins_scale : float or None
        Spacing of the pins over the predicted one; None where they stand over less than 18 in of width.
    arrows : int
        Arrows that stand out.
    arrows_aside_boards : float or None
        Root mean square distance of the arrows from their boards.
    edge_boards : tuple of (float, float)
        Distance in ft (15, 40 and 60) and robust scatter of the edges' points near it about the solved edges, boards
        (median distance over 0.6745), each edge's common error apart; NaN where there are none.
    """

    pins: int
    pins_aside_boards: float | None
    pins_scale: float | None
    arrows: int
    arrows_aside_boards: float | None
    edge_boards: tuple[tuple[float, float], ...]


def agreement(solution: Solution, observations: Sequence[Observation], arrows: Arrows | None) -> Agreement:
    """Compare pins with edges and foul line alone, arrows with their boards, edges with the solved camera."""
    pins = [o for o in observations if isinstance(o, LanePoint) and o.name.startswith("pin_")]
    aside, scale = _pins_against_edges(solution, observations, pins) if len(pins) >= 3 else (None, None)
    return Agreement(
        pins=len(pins),
        pins_aside_boards=aside,
        pins_scale=scale,
        arrows=0 if arrows is None else len(arrows.boards),
        arrows_aside_boards=None if arrows is None else arrows.aside_rms_boards,
        edge_boards=_edge_boards(solution, observations),
    )


def _pins_against_edges(
    solution: Solution, observations: Sequence[Observation], pins: Sequence[LanePoint]
) -> tuple[float | None, float | None]:
    """Offset in boards and scale of the pins beside a camera for which they told only how far away the deck is."""
    edges = [o for o in observations if isinstance(o, EdgePoint) or o.name == DECK_END]
    heights = [
        LanePoint(p.name, p.xyz_in, p.u_px, p.v_px, _FREE_PX, true_inches=True, sigma_v_px=p.sigma_v_px) for p in pins
    ]
    camera = solution.camera
    alone = solve_observations([*edges, *heights], width=camera.width, height=camera.height, start=camera)
    if isinstance(alone, Failure):
        return None, None
    observed = gather(heights, camera.width, camera.height)
    predicted = alone.camera.project(lane_places(observed, alone.camera, CHEVRON_FT))[:, 0]
    seen, x = observed.point_px[:, 0], observed.point_xyz_in[:, 0]
    one = np.ptp(alone.camera.project([[0.0, *_DECK_AT_IN], [BOARD_WIDTH_IN, *_DECK_AT_IN]])[:, 0])
    aside = float(np.median(seen - predicted) / one)
    if np.ptp(x) < _SPREAD_IN:
        return aside, None
    slope = np.polyfit(predicted - predicted.mean(), seen - seen.mean(), 1)[0]
    return aside, float(slope)


def _edge_boards(solution: Solution, observations: Sequence[Observation]) -> tuple[tuple[float, float], ...]:
    camera = solution.camera
    edges = [o for o in observations if isinstance(o, EdgePoint) and o.side in ("left", "right")]
    observed = gather(edges, camera.width, camera.height)
    distance, across = line_distances(observed, camera)
    distance = distance - observed.edge_common_px * np.array(solution.line_shifts)[observed.edge_line]
    at, beside = (camera.back_project(observed.edge_px + step, 0.0) for step in (0.0, across))
    offset = distance * (beside - at)[:, 0] / BOARD_WIDTH_IN
    y = at[:, 1] / INCHES_PER_FOOT
    bounds = (0.0, 27.5, 50.0, 70.0)
    parts = []
    for at_ft, low, high in zip(quality.CHECK_DISTANCES_FT, bounds[:-1], bounds[1:], strict=True):
        near = (y >= low) & (y < high) & np.isfinite(offset)
        parts.append((at_ft, float(np.median(np.abs(offset[near])) / MAD_PER_SIGMA) if near.any() else float("nan")))
    return tuple(parts)


def widening(solution: Solution, found: Agreement, apart: float = 0.0) -> float:
    """What the covariance must be multiplied by for arrows, pins and other lanes to lie as they do; 1 or more.

    A camera that neither arrows nor pins on both sides test is known three times less well than its edges say. Else
    it is the squared distance of the arrows from their boards, and of the pins' middle from where edges and foul line
    put it, over what the camera's own uncertainty there and their measurement explain; ``apart`` is the same for other
    lanes.
    """
    arrows = found.arrows_aside_boards, 15.0, _ARROW_NOISE_BOARDS
    pairs = (arrows, (found.pins_aside_boards, 60.0, _PIN_NOISE_BOARDS))
    factors = [1.0 if _tested(found) else _UNTESTED, apart]
    for aside, at_ft, noise in pairs:
        if aside is not None:
            sigma = quality.lane_point_sigma(solution, at_ft)[0]
            factors.append((aside**2 - noise**2) / sigma**2)
    if found.arrows:
        along = solution.arrow_centre_ft - ARROW_CENTRE_FT
        factors.append((along**2 - _ARROWS_LAID_FT**2) / quality.lane_point_sigma(solution, ARROW_CENTRE_FT)[1] ** 2)
    return float(np.clip(max(factors), 1.0, _WIDEST_FACTOR))


def verdict(
    solution: Solution,
    observations: Sequence[Observation],
    found: Agreement,
    *,
    loss: float,
    told: bool = False,
    apart: float = 0.0,
    rival: float = 0.0,
) -> tuple[FinderVerdict, Failure | None]:
    """Verdict on a solved lane, and the reason to refuse it.

    ``loss`` tells how badly its marks fit its camera; a lane that is ``told`` the camera by others of the picture need
    not show its own foul line and far end. One that lies ``apart`` from them, or that has a ``rival`` of some clearness
    in an overlapping place, must show pins or arrows.
    """
    failure = _doubt(observations, found, loss, told=told)
    failure = _contradicted(found, apart, rival) if failure is None else failure
    failure = _arrows_off(solution, found) if failure is None else failure
    failure = _flat_or_vague(solution) if failure is None else failure
    if failure is not None:
        return "refused", failure
    return ("good" if quality.verdict(solution) == "good" and _confirmed(found) else "usable"), None


def _confirmed(found: Agreement) -> bool:
    """Whether independent marks are there and agree well."""
    aside, scale = abs(found.pins_aside_boards or 0.0), abs((found.pins_scale or 1.0) - 1.0)
    agree = aside < _GOOD_MISS_BOARDS and scale < _GOOD_SCALE and _small(found.edge_boards)
    return agree and _tested(found)


def _tested(found: Agreement) -> bool:
    """Whether marks that were not used tell of both edges: arrows, or pins on both sides of the deck."""
    return found.arrows > 0 or found.pins_scale is not None


def _small(parts: Sequence[tuple[float, float]]) -> bool:
    return all(not np.isfinite(boards) or boards < _RESIDUAL_BOARDS for _, boards in parts)


def unmistakable(rough: Rough, found: Agreement, failure: Failure | None, *, standing: int) -> bool:
    """Whether this can only be a lane: clear lines, and pins or arrows where they belong.

    One such lane is enough to believe the others of the picture, which the same camera sees. ``standing`` is how many
    pins look like standing ones from the solved camera.
    """
    racked = found.pins >= _MEASURED_PINS or standing >= _STANDING_PINS
    marked = (rough.pins >= _SURE_PINS and racked) or found.arrows >= _SURE_ARROWS
    lines = sum(rough.edges) + 0.5 * sum(rough.gutters)
    close = all(not np.isfinite(boards) or boards < _WIDEST_RESIDUAL_BOARDS for _, boards in found.edge_boards)
    return failure is None and marked and lines > _SURE_LINES and close


def _arrows_off(solution: Solution, found: Agreement) -> Failure | None:
    """``lane_unclear`` where arrows stand out at a distance at which none are laid."""
    if not found.arrows or LAID_FT[0] < solution.arrow_centre_ft < LAID_FT[1]:
        return None
    detail = f"a lane is in view, but its arrows seem to lie {solution.arrow_centre_ft:.1f} ft past the foul line"
    return Failure("lane_unclear", f"{detail}: something else was taken for one of its ends; {_WHOLE}")


def _contradicted(found: Agreement, apart: float, rival: float) -> Failure | None:
    """``lane_unclear`` where other lanes or lines say something else, and no pins or arrows speak for this one."""
    if found.arrows or found.pins > _MEASURED_PINS:
        return None
    if apart >= _APART:
        detail = "something like a lane is in view, but the lanes beside it say that the camera stands elsewhere"
        return Failure("lane_unclear", f"{detail}; {_WHOLE}")
    if rival > _AS_CLEAR:
        detail = "a lane is in view, but its lines allow two places for it, and neither pins nor arrows tell which"
        return Failure("lane_unclear", f"{detail}; film with the whole rack standing, or click the marks")
    return None


def _doubt(observations: Sequence[Observation], found: Agreement, loss: float, *, told: bool) -> Failure | None:
    """``lane_unclear`` where marks are missing or contradict one another, with the numbers."""
    counts = dict.fromkeys(SIDES, 0)
    for o in observations:
        if isinstance(o, EdgePoint):
            counts[o.side] += 1
    far = any(isinstance(o, LanePoint) for o in observations)
    left, right = counts["left"] + counts["left_gutter"], counts["right"] + counts["right_gutter"]
    said = (
        (min(left, right) < _LEAST_EDGE_POINTS, f"its edges are seen in only {left} and {right} places"),
        (not told and counts["foul"] < LEAST_FOUL_POINTS, f"its foul line is seen in only {counts['foul']} places"),
        (not told and not far, "nothing at its far end is seen"),
        (loss > _WIDEST_LOSS, "its edges, foul line and pins do not fit one camera"),
        (
            abs(found.pins_aside_boards or 0.0)
            > (_GOOD_MISS_BOARDS if found.pins_scale is None else _WIDEST_MISS_BOARDS),
            f"the pins stand {abs(found.pins_aside_boards or 0.0):.1f} boards beside where its edges put them",
        ),
        (
            abs((found.pins_scale or 1.0) - 1.0) > _WIDEST_SCALE,
            f"the pins stand {(found.pins_scale or 1.0) - 1.0:+.0%} wider than its edges say",
        ),
        (
            (found.arrows_aside_boards or 0.0) > MISS_BOARDS,
            f"the arrows lie {found.arrows_aside_boards or 0.0:.1f} boards from theirs",
        ),
    )
    words = [sentence for holds, sentence in said if holds]
    if not words:
        return None
    detail = f"something like a lane is in view, but {' and '.join(words)}"
    return Failure("lane_unclear", f"{detail}; {_WHOLE}")


def _flat_or_vague(solution: Solution) -> Failure | None:
    flat = too_flat([solution.camera])
    if flat is not None:
        return flat
    if quality.verdict(solution) != "poor":
        return None
    boards, feet = np.max([quality.lane_point_sigma(solution, y) for y in quality.CHECK_DISTANCES_FT], axis=0)
    detail = f"the lane is found, but a point on it only within {boards:.1f} boards and {feet:.1f} ft"
    return Failure("lane_unclear", f"{detail}; film from higher up, nearer or with more zoom, or click the marks")


def too_flat(cameras: Sequence[Camera]) -> Failure | None:
    """``lane_too_flat`` where a camera stands too low to tell distances down the lane."""
    height = min(camera.z_in for camera in cameras)
    if height >= LOWEST_IN:
        return None
    detail = f"the lane is seen too flat: the camera is about {height:.0f} in above it"
    return Failure("lane_too_flat", f"{detail}; {_HIGHER}")


def nothing_found(luma: Image, view: View) -> Failure:
    """Why no lane was found: its near or its far end out of the picture, or nothing like a lane in it."""
    if not view.points:
        return _no_lane()
    point = view.points[0]
    lines = [line for line in across_lines(view.segments, point, 4) if line.v_at(point[0]) - point[1] > 0.1 * len(luma)]
    if any(_clear(luma, point, line) for line in lines):
        end = "lies above the frame" if point[1] < 0 else "shows no pins"
        detail = f"a lane is in view, but its pin end {end}"
        advice = "film so that foul line and all pins are in the frame, pins standing"
        return Failure("pin_end_unseen", f"{detail}; {advice}")
    height, width = luma.shape
    bottom = AcrossLine(width / 2, _BOTTOM_SHARE * height, 0.0, float(width))
    if bottom.v_px - point[1] > 0.1 * height and _clear(luma, point, bottom):
        detail = "lanes are in view, but not the foul line"
        return Failure("foul_line_unseen", f"{detail}; stand farther back or zoom out until it is in the frame")
    flat = [line for line in across_lines(view.segments, point, 4) if 0 < line.v_at(point[0]) - point[1] < 0.1 * height]
    if any(_strip_score(luma, point, line) > _FLAT_STRIP for line in flat):
        detail = "something like a lane is in view, but seen too flat to tell distances on it"
        return Failure("lane_too_flat", f"{detail}; {_HIGHER}")
    return _no_lane()


def _strip_score(luma: Image, point: Array, line: AcrossLine) -> float:
    strips = strips_of(fan_of(luma, point, line), 1)
    return strips[0].score if strips else 0.0


def _clear(luma: Image, point: Array, line: AcrossLine) -> bool:
    return _strip_score(luma, point, line) > _CLEAR_STRIP


def _no_lane() -> Failure:
    detail = "no lane is found in the picture"
    return Failure("no_lane", f"{detail}; film from behind the approach with foul line and pins in the frame")


def reason_of(failures: Sequence[Failure]) -> Failure:
    """The failure to tell of the lanes' own, the clearest lane's first: the first that is not about clicked marks."""
    own = [f for f in failures if not f.reason.startswith(("marks_", "camera_"))]
    if own:
        return own[0]
    what = "its edges, foul line and pins do not fit one camera" if failures else "neither pins nor arrows confirm it"
    return Failure("lane_unclear", f"something like a lane is in view, but {what}; {_WHOLE}")
