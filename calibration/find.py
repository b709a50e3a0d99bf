"""Find the lanes in a picture: every lane in view with its camera, what was found of it and how far to believe it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import Failure
from calibration.finding import judge
from calibration.finding.arrows import Arrows, find_arrows
from calibration.finding.judge import Agreement, FinderVerdict
from calibration.finding.pins import STANDING
from calibration.finding.refine import Refined, loss_of, refine_all
from calibration.finding.search import Rough, rough_lanes, view_of
from calibration.observations import EdgePoint, LanePoint, Observation
from calibration.solve import Solution

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]

CHEVRON_SD_FT = (0.15, 0.06)
"""Standard deviations of a seen chevron's centre and slope (own estimate: tips are read to about 0.1 ft, and how far a
drawn tip's point is lost in blur is known no better)."""


@dataclass(frozen=True, slots=True, eq=False)
class FoundLane:
    """One lane of a picture.

    Attributes
    ----------
    solution : Solution
        Its camera, in this lane's own frame; the chevron is the seen one where arrows were found, and the covariance is
        widened where independent marks lie farther off than it says.
    observations : tuple of Observation
        What the camera was solved from: points on edges and foul line, standing pins.
    arrows : Arrows or None
        The arrows, which the camera was not solved from.
    standing : tuple of int
        Pins that seem to stand, 1 to 10.
    agreement : Agreement
        Marks that did not go into a prediction, compared with it.
    verdict : {'good', 'usable', 'refused'}
    failure : Failure or None
        Why it is refused.
    """

    solution: Solution
    observations: tuple[Observation, ...]
    arrows: Arrows | None
    standing: tuple[int, ...]
    agreement: Agreement
    verdict: FinderVerdict
    failure: Failure | None = None

    @property
    def camera(self) -> Camera:
        """Its camera."""
        return self.solution.camera

    @property
    def covariance(self) -> Array:
        """Covariance ``(9, 9)`` of the camera's parameters."""
        return self.solution.covariance

    def marks_px(self) -> dict[str, tuple[float, float]]:
        """Pixels (u, v) of what was found, by name.

        ``left_K``, ``right_K``, ``left_gutter_K``, ``right_gutter_K`` and ``foul_K`` lie somewhere on these lines;
        ``pin_N`` and ``arrow_N`` are those of that number.
        """
        named: dict[str, tuple[float, float]] = {}
        for seen in self.observations:
            if isinstance(seen, EdgePoint | LanePoint):
                named[seen.name] = (seen.u_px, seen.v_px)
        if self.arrows is not None:
            for board, (u, v) in zip(self.arrows.boards, self.arrows.pixels, strict=True):
                named[f"arrow_{int(board) // 5}"] = (float(u), float(v))
        return named


@dataclass(frozen=True, slots=True, eq=False)
class LaneSearch:
    """All lanes of a picture, the clearest first, and why there is none to measure on.

    Attributes
    ----------
    lanes : tuple of FoundLane
        Those that can be measured on (``good`` or ``usable``).
    refused : tuple of FoundLane
        Lanes that were found and cannot.
    failure : Failure or None
        Reason and sentence where ``lanes`` is empty.
    """

    lanes: tuple[FoundLane, ...]
    refused: tuple[FoundLane, ...] = ()
    failure: Failure | None = None


def find_lanes(luma: Image, hidden: Mask | None = None) -> LaneSearch:
    """Find every lane in a clean picture.

    Lines that meet in a vanishing point, a foul line across them, two edges with gutters of the right width, and pins
    in their triangle at the end give first cameras; sub-pixel edges, foul line and pins give the solved ones, all held
    to one camera in one house. No colour and no brightness is assumed but that pins are lighter than the pit.

    Parameters
    ----------
    luma : uint8 array of shape (H, W)
        Upright picture of the view, best with nobody in it.
    hidden : bool array of shape (H / 8, W / 8), optional
        Cells of 8 x 8 pixels before which somebody stands.

    Returns
    -------
    LaneSearch
        Failures: ``no_lane``, ``foul_line_unseen``, ``pin_end_unseen``, ``lane_too_flat``, ``lane_unclear``.

    Raises
    ------
    ValueError
        If ``luma`` is no 8-bit picture of at least 64 x 64 pixels.
    """
    if luma.ndim != 2 or luma.dtype != np.uint8 or min(luma.shape) < 64:
        msg = f"luma: expected uint8 (H, W) of at least 64 x 64 pixels, got {luma.dtype} {luma.shape}"
        raise ValueError(msg)
    view = view_of(luma)
    roughs = rough_lanes(luma, view)
    if not roughs:
        return LaneSearch((), failure=judge.nothing_found(luma, view))
    flat = judge.too_flat([rough.camera for rough in roughs])
    if flat is not None:
        # with the foul line out of the frame another line is taken for it, and any camera seems to stand low
        other = judge.nothing_found(luma, view)
        return LaneSearch((), failure=other if other.reason == "foul_line_unseen" else flat)
    solved = refine_all(luma, roughs, hidden)
    return _sorted_out(luma, roughs, solved)


def _sorted_out(luma: Image, roughs: Sequence[Rough], solved: Sequence[Refined | Failure]) -> LaneSearch:
    judged = [_judged(luma, rough, one) for rough, one in zip(roughs, solved, strict=True) if isinstance(one, Refined)]
    known = any(
        judge.unmistakable(rough, lane.agreement, lane.failure, standing=len(lane.standing)) for rough, lane in judged
    )
    lanes = tuple(lane for _, lane in judged if known and lane.failure is None)
    refused = tuple(lane for _, lane in judged if not known or lane.failure is not None)
    if lanes:
        return LaneSearch(lanes, refused)
    failures = [lane.failure for lane in refused if lane.failure is not None]
    failures += [one for one in solved if isinstance(one, Failure)]
    return LaneSearch((), refused, judge.reason_of(failures))


def _judged(luma: Image, rough: Rough, refined: Refined) -> tuple[Rough, FoundLane]:
    solution = refined.solution
    arrows = find_arrows(luma, solution.camera)
    if arrows is not None:
        solution = replace(
            solution, arrow_centre_ft=arrows.centre_ft, arrow_centre_sd_ft=CHEVRON_SD_FT[0],
            arrow_slope_ft=arrows.slope_ft, arrow_slope_sd_ft=CHEVRON_SD_FT[1],
        )  # fmt: skip
    agreement = judge.agreement(solution, refined.observations, arrows)
    solution = replace(solution, covariance=solution.covariance * judge.widening(solution, agreement, refined.apart))
    standing = tuple(int(k) + 1 for k in np.flatnonzero(refined.pins > STANDING))
    verdict, failure = judge.verdict(
        solution, refined.observations, agreement, loss=loss_of(refined), told=refined.told, apart=refined.apart,
        rival=rough.rival,
    )  # fmt: skip
    lane = FoundLane(solution, refined.observations, arrows, standing, agreement, verdict=verdict, failure=failure)
    return rough, lane
