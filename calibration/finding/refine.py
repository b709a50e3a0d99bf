"""From a rough camera to the solved one: edges, foul line and pins, looked for again from each better camera."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import Failure
from calibration.finding.deck_end import deck_end, unconfirmed
from calibration.finding.edges import edge_points
from calibration.finding.foul import foul_points
from calibration.finding.pins import pin_points
from calibration.finding.rows import likeness_as_read, solve_either
from calibration.finding.search import Rough
from calibration.finding.together import SHARED, Shared, agreeing, distance, shared_prior
from calibration.fit import K1_SD, ROLL_SD_DEG, Prior, camera_prior
from calibration.lane import LANE_WIDTH_SCALE_SD
from calibration.observations import EdgePoint, LanePoint, Observation, Side
from calibration.quality import CHECK_DISTANCES_FT, lane_point_sigma
from calibration.solve import Solution

Array = NDArray[np.float64]
Image = NDArray[np.uint8]
Mask = NDArray[np.bool_]

REACHES_PX = (6.0, 3.0)
_PIN_WORTH = 4.0
_SOUND_LOSS, _WORSE_LOSS = 0.25, 0.06
"""Loss of a lane: 0.01 to 0.1 where every line is the right one, 0.3 and more where one is not."""
_VAGUER = 1.2
_KEPT_SHARE = 0.7
"""A solution that leaves out more marks than this fits the rest easily."""
_ABOUT_IN, _ABOUT_SHARE, _ABOUT_DEG = 12.0, 0.06, 3.0
"""How far a rough camera may be off: to the side, of height, distance and focal length, in direction."""
LEAST_FOUL_POINTS = 8
_CLEAR_COUNT, _CLEAR_PX = 8, 0.75


@dataclass(frozen=True, slots=True, eq=False)
class Refined:
    """A solved camera.

    Attributes
    ----------
    solution : Solution
    observations : tuple of Observation
        What it was solved from.
    pins : array (10,)
        The pins' likenesses.
    told : bool
        Whether another lane helped that shows both foul line and far end: without one such, all may be wrong alike.
    apart : float
        How far it lies from the other lanes, where they could not help: squared distance over the number of parameters
        that lanes share, in its uncertainty and theirs.
    """

    solution: Solution
    observations: tuple[Observation, ...]
    pins: Array
    told: bool = False
    apart: float = 0.0


def refine_all(luma: Image, roughs: Sequence[Rough], hidden: Mask | None = None) -> list[Refined | Failure]:
    """Solve every lane of a picture ``(H, W)``, in the order of ``roughs``.

    All lanes are seen by one camera. Each is solved by itself first; the largest group of them that agrees on the
    camera tells each one what the others know, and each is solved again with that: where somebody hides one of its
    edges, it is still known, and a lane that was led astray by a wrong line comes back or stands out.

    Parameters
    ----------
    luma : uint8 array of shape (H, W)
    roughs : sequence of Rough
        First cameras of the lanes.
    hidden : bool array of shape (H / 8, W / 8), optional
        Where somebody stands before the lane.
    """
    alone = [refine(luma, rough.camera, hidden=hidden) for rough in roughs]
    sound = [k for k, one in enumerate(alone) if isinstance(one, Refined) and loss_of(one) < _SOUND_LOSS]
    # a lane without foul line or far end knows little of the camera: it speaks only where no lane is whole
    sound = [k for k in sound if _whole(alone[k])] or sound
    solved = {k: one.solution for k in sound if isinstance(one := alone[k], Refined)}
    if not solved:
        return alone
    group = agreeing(solved, {k: min(roughs[k].edges) + _PIN_WORTH * roughs[k].pins for k in solved})
    found: list[Refined | Failure] = []
    for k, rough in enumerate(roughs):
        others = [solved[j] for j in group if j != k]
        if not others:
            found.append(alone[k])
            continue
        lane = alone[k]
        x = lane.solution.camera.x_in if k in solved and isinstance(lane, Refined) else rough.camera.x_in
        together = _with_others(luma, lane, shared_prior(others, x), hidden)
        if together is not None:
            found.append(replace(together, told=_whole_together([lane, *(alone[j] for j in group if j != k)])))
        elif isinstance(lane, Refined):
            apart = min(distance(lane.solution, other) for other in others) / len(SHARED)
            found.append(replace(lane, apart=apart))
        else:
            found.append(lane)
    return found


def _with_others(luma: Image, alone: Refined | Failure, shared: Shared, hidden: Mask | None) -> Refined | None:
    """A lane solved with what others know: its lines looked for where they put it, else where it was found alone.

    None where it then fits worse than by itself.
    """
    starts = [shared.camera, *([alone.solution.camera] if isinstance(alone, Refined) else [])]
    for camera in starts:
        together = refine(luma, camera, shared.prior, REACHES_PX[1:], hidden=hidden)
        if isinstance(together, Refined) and _as_good(together, alone):
            return together
    return None


def _whole(lane: Refined | Failure) -> bool:
    """Whether a lane shows its foul line and pins or the end of its deck."""
    return _near(lane) and _far(lane)


def _whole_together(lanes: Sequence[Refined | Failure]) -> bool:
    """Whether another lane than the first shows both its ends, or the first one what no other does."""
    near, far = [_near(lane) for lane in lanes], [_far(lane) for lane in lanes]
    return any(n and f for n, f in zip(near[1:], far[1:], strict=True)) or (any(near) and any(far))


def _near(lane: Refined | Failure) -> bool:
    return sum(isinstance(o, EdgePoint) and o.side == "foul" for o in _seen(lane)) >= LEAST_FOUL_POINTS


def _far(lane: Refined | Failure) -> bool:
    return any(isinstance(o, LanePoint) for o in _seen(lane))


def _seen(lane: Refined | Failure) -> tuple[Observation, ...]:
    return () if isinstance(lane, Failure) else lane.observations


def _as_good(together: Refined | Failure, alone: Refined | Failure) -> bool:
    """Whether a lane solved with what others know fits about as well, on about as many marks, as by itself.

    With more known it must also be better known: else the others led it away from its own clear edges.
    """
    if isinstance(together, Failure) or isinstance(alone, Failure):
        return isinstance(alone, Failure)
    kept = len(together.observations) > _KEPT_SHARE * len(alone.observations)
    vaguer = _vagueness(together) > _VAGUER * _vagueness(alone)
    return kept and not vaguer and loss_of(together) <= loss_of(alone) + _WORSE_LOSS


def _vagueness(lane: Refined) -> float:
    """Standard uncertainty of a point on the lane, boards, where it is largest."""
    return max(lane_point_sigma(lane.solution, y)[0] for y in CHECK_DISTANCES_FT)


def loss_of(lane: Refined | Failure) -> float:
    """How badly a lane's marks fit its camera: mean Cauchy loss of marks and of their lines' common errors."""
    if isinstance(lane, Failure):
        return np.inf
    weights = np.array([r.weight for r in lane.solution.residuals])
    shifts = np.array(lane.solution.line_shifts)
    return float(np.mean(-np.log(weights)) + np.mean(np.log1p((shifts / 2.0) ** 2)))


def refine(
    luma: Image,
    camera: Camera,
    prior: Prior | None = None,
    reaches: Sequence[float] = REACHES_PX,
    *,
    hidden: Mask | None = None,
) -> Refined | Failure:
    """Solve a lane's camera from a rough one on a picture ``(H, W)``; arguments as in :func:`refine_all`."""
    scale = max(1.0, max(luma.shape) / 1280)
    known = _about(camera) if prior is None else prior
    found = _once(luma, camera, known, reach_px=reaches[0] * scale, hidden=hidden)
    for reach in reaches[1:]:
        if isinstance(found, Failure):
            break
        found = _once(luma, found.solution.camera, known, reach_px=reach * scale, hidden=hidden)
    return found


def _once(luma: Image, camera: Camera, prior: Prior, *, reach_px: float, hidden: Mask | None) -> Refined | Failure:
    observations, pins = observe(luma, camera, reach_px, hidden)
    found = solve_either(observations, camera, prior)
    if isinstance(found, Failure):
        return found
    return Refined(found.solution, found.observations, likeness_as_read(pins, found.observations))


def _about(camera: Camera) -> Prior:
    """A wide prior about a rough camera: what a lane's own marks leave open stays near where all pins put it."""
    sd = np.array([_ABOUT_IN, *(_ABOUT_SHARE * np.abs(camera.vector[1:3])), _ABOUT_DEG, _ABOUT_DEG, ROLL_SD_DEG])
    sd = np.array([*sd, _ABOUT_SHARE * camera.f_px, K1_SD, LANE_WIDTH_SCALE_SD])
    return camera_prior(camera, np.diag(sd**2))


def observe(
    luma: Image, camera: Camera, reach_px: float, hidden: Mask | None = None
) -> tuple[list[Observation], Array]:
    """Edges, foul line and standing pins near where a camera expects them; and the pins' likenesses ``(10,)``."""
    left, right = (_side_points(luma, camera, side, reach_px=reach_px, hidden=hidden) for side in ("left", "right"))
    foul = foul_points(luma, camera, reach_px, hidden=hidden)
    pins, likeness = pin_points(luma, camera, reach_px / 2, hidden=hidden)
    end = deck_end(luma, camera, reach_px, likeness, hidden=hidden)
    if end is not None and not pins:
        end = unconfirmed(end, camera)
    return [*left, *right, *foul, *pins, *([] if end is None else [end])], likeness


def _side_points(luma: Image, camera: Camera, side: Side, *, reach_px: float, hidden: Mask | None) -> list[EdgePoint]:
    """Points on one edge of the lane, and where that is hardly seen (a gutter as pale as the lane) on its gutter's."""
    own = edge_points(luma, camera, side, reach_px, hidden=hidden)
    if len(own) >= _CLEAR_COUNT and np.median([point.common_px for point in own]) <= _CLEAR_PX:
        return own
    gutter: Side = "left_gutter" if side == "left" else "right_gutter"
    return [*own, *edge_points(luma, camera, gutter, reach_px, hidden=hidden)]
