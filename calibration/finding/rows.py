"""Which row the standing pins are in: ones of the middle columns may as well be those two rows before or behind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeGuard

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import Failure
from calibration.finding.pins import IN_LINE
from calibration.fit import Prior
from calibration.lane import pin_positions
from calibration.observations import LanePoint, Observation
from calibration.solve import Solution, solve_observations

Array = NDArray[np.float64]

_BEHIND = {front + 1: back + 1 for front, back in IN_LINE}
_BEFORE = {back: front for front, back in _BEHIND.items()}
_WIDEST_LOG_ODDS = 50.0


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """A solution and the observations, with the pins as they were read, that it was solved from."""

    solution: Solution
    observations: tuple[Observation, ...]


def solve_either(observations: Sequence[Observation], camera: Camera, prior: Prior) -> Reading | Failure:
    """Camera from the likelier reading of the pins' rows, with a covariance that covers the other one.

    Pins 1, 2 and 3 stand to one another as 5, 8 and 9 do, two rows behind. Where no other pin is seen, the picture
    of the pins alone does not tell which of them they are: from low down the rows are less than a pixel apart, and a
    longer lens moves one onto the other. So the lane is solved with each, and how well all marks and the prior fit
    tells the odds, exp of the costs' difference (of the two modes of a posterior of nearly equal width, Laplace). The
    covariance is the second moment of both about the likelier one.

    Parameters
    ----------
    observations : sequence of Observation
    camera : Camera
        Where the solver starts.
    prior : Prior

    Returns
    -------
    Reading or Failure
        As :func:`calibration.solve.solve_observations`; a reading that fails is left out.
    """
    read = tuple(observations)
    first, swapped = _solved(read, camera, prior), other_rows(read)
    if swapped is None:
        return first
    # the rows are close together, and from the one camera it is not far to the other
    other = _solved(swapped, first.solution.camera if isinstance(first, Reading) else camera, prior)
    sound = sorted((one for one in (first, other) if isinstance(one, Reading)), key=lambda one: one.solution.cost)
    return _covering(*sound) if len(sound) == 2 else (*sound, first)[0]


def _solved(observations: tuple[Observation, ...], camera: Camera, prior: Prior) -> Reading | Failure:
    found = solve_observations(observations, width=camera.width, height=camera.height, start=camera, prior=prior)
    return found if isinstance(found, Failure) else Reading(found, observations)


def other_rows(observations: Sequence[Observation]) -> tuple[Observation, ...] | None:
    """The same observations with all pins read two rows behind or before; None where a pin has none there."""
    numbers = [_number(o) for o in observations if _is_pin(o)]
    for partner in (_BEHIND, _BEFORE):
        if numbers and all(number in partner for number in numbers):
            return tuple(_as_pin(o, partner[_number(o)]) if _is_pin(o) else o for o in observations)
    return None


def likeness_as_read(likeness: Array, observations: Sequence[Observation]) -> Array:
    """Likenesses ``(10,)`` of the places, none for one behind a pin that was read as the front one."""
    read = likeness.copy()
    for front, back in IN_LINE:
        if any(o.name == f"pin_{front + 1}" for o in observations):
            read[front] = max(read[front], read[back])
            read[back] = 0.0
    return read


def _is_pin(seen: Observation) -> TypeGuard[LanePoint]:
    return isinstance(seen, LanePoint) and seen.name.startswith("pin_")


def _number(pin: LanePoint) -> int:
    return int(pin.name.removeprefix("pin_"))


def _as_pin(point: LanePoint, number: int) -> LanePoint:
    x, y = (float(c) for c in pin_positions()[number - 1])
    return replace(point, name=f"pin_{number}", xyz_in=(x, y, point.xyz_in[2]))


def _covering(likelier: Reading, other: Reading) -> Reading:
    """The likelier reading with the covariance of both about its camera."""
    one, two = likelier.solution, other.solution
    # marks that scatter more than their sigmas say tell the readings apart less well
    log_odds = (two.cost - one.cost) / max(one.variance_factor, two.variance_factor)
    share = 1.0 / (1.0 + np.exp(min(log_odds, _WIDEST_LOG_ODDS)))
    away = two.camera.vector - one.camera.vector
    covariance = (1.0 - share) * one.covariance + share * (two.covariance + np.outer(away, away))
    return replace(likelier, solution=replace(one, covariance=covariance))
