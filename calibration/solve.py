"""From marks to the camera: robust least squares with priors, its covariance, and the reasons when it cannot be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration import checks, lane
from calibration.camera import Camera
from calibration.errors import Failure
from calibration.fit import (
    K1_SD,
    UNIT,
    Prior,
    best,
    cost_of,
    descend,
    information,
    stacked,
    unpack,
    usual_prior,
    variance_factor,
    weights_of,
)
from calibration.marks import CLICK_SIGMA_PX, observe_marks
from calibration.observations import NO_SHIFTS, Observation, Observed, edge_places, gather, offsets
from calibration.start import first_guesses

Array = NDArray[np.float64]

_GUESSES = 4


@dataclass(frozen=True, slots=True)
class MarkResidual:
    """How far one mark lies from where the solved camera puts it.

    Attributes
    ----------
    name : str
        The mark.
    du_px, dv_px : float
        Seen minus predicted pixel; for a point on an edge the perpendicular offset.
    across_boards : float
        The same across the lane, boards to the right positive; NaN where the click lies above the horizon.
    along_in : float or None
        The same along the lane, inches; None for a point on an edge that runs along it.
    weight : float
        Weight in the fit, 1 for a mark in full agreement, toward 0 for one set aside.
    """

    name: str
    du_px: float
    dv_px: float
    across_boards: float
    along_in: float | None
    weight: float

    @property
    def size_px(self) -> float:
        """Length of the offset in pixels."""
        return float(np.hypot(self.du_px, self.dv_px))


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """A solved camera.

    Attributes
    ----------
    camera : Camera
    covariance : array of shape (9, 9)
        Of the camera's parameters in the order of :data:`calibration.camera.PARAMETERS`.
    residuals : tuple of MarkResidual
        One a mark, by name.
    rms_px : float
        Root mean square length of the residuals over all marks, those set aside included.
    arrow_centre_ft, arrow_centre_sd_ft, arrow_slope_ft, arrow_slope_sd_ft : float
        The arrows' chevron (:func:`calibration.lane.arrow_distance_in`) and its standard deviations: the prior without
        arrows.
    variance_factor : float
        What the covariance was multiplied by because marks scatter more than their sigmas say; 1 or more.
    notes : tuple of str
        Sentences for a person: marks set aside, parameters the marks do not determine.
    line_shifts : tuple of float
        Common errors of the lines of :data:`calibration.observations.SIDES`, in their own standard deviations.
    cost : float
        Half of the robust squares of marks and prior, in sigmas: minus the logarithm of how likely both are together,
        but for a constant.
    """

    camera: Camera
    covariance: Array
    residuals: tuple[MarkResidual, ...]
    rms_px: float
    arrow_centre_ft: float
    arrow_centre_sd_ft: float
    arrow_slope_ft: float
    arrow_slope_sd_ft: float
    variance_factor: float
    notes: tuple[str, ...] = ()
    line_shifts: tuple[float, ...] = NO_SHIFTS
    cost: float = 0.0


def solve(
    marks: Mapping[str, tuple[float, float]], *, width: int, height: int, sigma_px: float = CLICK_SIGMA_PX
) -> Solution | Failure:
    """Camera from clicked marks.

    Parameters
    ----------
    marks : mapping of str to (float, float)
        Pixel (u, v) of each mark in the upright frame, pixel centres at +0.5; names as in :mod:`calibration.marks`.
    width, height : int
        Size of the upright frame in pixels.
    sigma_px : float
        Standard deviation of a careful click; single clicks may be far worse.

    Returns
    -------
    Solution or Failure
        Reasons: ``marks_too_few``, ``marks_degenerate``, ``marks_mirrored``, ``marks_contradictory``,
        ``camera_implausible``.

    Raises
    ------
    CalibrationFileError
        If a mark's name is unknown.
    """
    return solve_observations(observe_marks(marks, sigma_px), width=width, height=height)


def solve_observations(
    observations: Sequence[Observation],
    *,
    width: int,
    height: int,
    start: Camera | None = None,
    prior: Prior | None = None,
) -> Solution | Failure:
    """Camera from observations of edges, known points and arrows, each with its own sigma.

    A Cauchy loss a mark, Gaussian priors on every parameter (weak except roll, k1 and the lane's width, unless another
    ``prior`` is given), from the best of several closed-form starts or from ``start``. Returns as :func:`solve`, but
    that with a given ``prior`` any marks are enough: the covariance tells what they and it leave open.
    """
    known = usual_prior(width, height) if prior is None else prior
    observed = gather(observations, width, height)
    for check in (checks.too_few, checks.degenerate, checks.mirrored) if prior is None else ():
        failure = check(observed)
        if failure is not None:
            return failure
    starts = [start] if start is not None else first_guesses(observed, _GUESSES)
    if not starts:
        return checks.no_start()
    state = best(observed, known, starts)
    contradiction = _contradiction(observed, known, state)
    if contradiction is not None:
        return contradiction
    solution = _solution(observed, known, state)
    failure = checks.implausible(solution.camera)
    if failure is None and prior is None:
        failure = checks.undetermined(solution.camera, solution.covariance)
    return solution if failure is None else failure


def _solution(observed: Observed, prior: Prior, state: Array) -> Solution:
    camera, chevron = unpack(state, observed)
    _, squares = stacked(observed, state)
    weights = weights_of(observed, squares)
    marks, priors = information(observed, prior, state, weights)
    factor = variance_factor(observed, squares, marks, priors)
    turn = UNIT.copy()
    turn[6] *= camera.f_px
    covariance = np.asarray(np.linalg.inv(marks / factor + priors) * np.outer(turn, turn))
    residuals = mark_residuals(observed, camera, chevron, weights)
    sd = np.sqrt(np.diag(covariance))
    return Solution(
        camera=camera,
        covariance=covariance[:9, :9],
        residuals=tuple(sorted(residuals, key=lambda r: r.name)),
        rms_px=float(np.sqrt(np.mean([r.size_px**2 for r in residuals]))),
        arrow_centre_ft=chevron[0],
        arrow_centre_sd_ft=float(sd[9]),
        arrow_slope_ft=chevron[1],
        arrow_slope_sd_ft=float(sd[10]),
        variance_factor=factor,
        notes=_notes(residuals, camera, sd),
        line_shifts=tuple(float(v) for v in state[11:]),
        cost=cost_of(observed, prior, state),
    )


def mark_residuals(
    observed: Observed, camera: Camera, chevron_ft: tuple[float, float], weights: Array
) -> tuple[MarkResidual, ...]:
    """Residual of every observation, edges first, then points and arrows."""
    shift = offsets(observed, camera, chevron_ft)
    seen = camera.back_project(observed.pixels, 0.0)
    lane_shift = seen - camera.back_project(observed.pixels - shift, 0.0)
    n = len(observed.edges)
    # For an edge only the offset across the lane means something: the click's own x against the edge's.
    lane_shift[:n, 0] = np.where(observed.edge_along, seen[:n, 0] - edge_places(observed, camera), 0.0)
    lane_shift[:n, 1] = np.where(observed.edge_along, np.nan, seen[:n, 1])
    boards = lane_shift[:, 0] / lane.BOARD_WIDTH_IN
    return tuple(
        MarkResidual(
            name=name,
            du_px=float(shift[i, 0]),
            dv_px=float(shift[i, 1]),
            across_boards=float(boards[i]),
            along_in=None if i < n and observed.edge_along[i] else float(lane_shift[i, 1]),
            weight=float(weights[i]),
        )
        for i, name in enumerate(observed.names)
    )


def _notes(residuals: Sequence[MarkResidual], camera: Camera, sd: Array) -> tuple[str, ...]:
    notes = [
        f"{r.name} is {r.size_px:.1f} px ({abs(r.across_boards):.1f} boards) off and nearly left out: check it"
        for r in residuals
        if r.weight < checks.SET_ASIDE_WEIGHT
    ]
    if sd[6] > 0.03 * camera.f_px:
        notes.append(
            f"the view hardly determines the focal length: {camera.f_px:.0f} +- {sd[6]:.0f} px; "
            "marks on pins and foul line, or a camera turned a little, help"
        )
    if sd[7] > 0.8 * K1_SD:
        notes.append("the marks do not determine the lens distortion; it comes from the prior")
    return tuple(notes)


def _contradiction(observed: Observed, prior: Prior, state: Array) -> Failure | None:
    """Failure when too many marks disagree for the rest to be believed, naming the mark whose removal helps most."""
    _, squares = stacked(observed, state)
    if not checks.disagree(observed, squares):
        return None
    name, offset, boards = _culprit(observed, prior, state, squares=squares)
    return checks.contradictory(name, offset, boards)


def _culprit(observed: Observed, prior: Prior, state: Array, *, squares: Array) -> tuple[str, float, float]:
    """Mark whose removal lowers the cost most, and how far (px, boards) it is from where the others put it."""
    everything = observed.all
    suspects = sorted(np.argsort(-squares, kind="stable")[:6].tolist())
    trials = []
    for i in suspects:
        rest = gather([o for j, o in enumerate(everything) if j != i], observed.width, observed.height)
        found, cost = descend(rest, prior, state, 1.0)
        trials.append((cost, i, found))
    _, index, found = min(trials, key=lambda trial: trial[:2])
    camera, chevron = unpack(found, observed)
    residual = mark_residuals(observed, camera, chevron, np.ones(len(everything)))[index]
    return residual.name, residual.size_px, residual.across_boards
