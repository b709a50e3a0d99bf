"""Whether a clip is filmed from where its calibration says: small turns are taken into account, others named."""

from __future__ import annotations

from dataclasses import dataclass, replace

from calibration.anchors import Anchors
from calibration.drift import carried_covariance, move_in_boards, register, turned
from calibration.errors import Failure
from calibration.store import Calibration
from calibration.windows import Plane

IGNORED_BOARDS = 0.02
"""A turn that misplaces a ball by less than this, a fifth of what the path is to be known to, changes nothing."""


@dataclass(frozen=True, slots=True, eq=False)
class Checked:
    """A calibration that holds for a clip.

    Attributes
    ----------
    calibration : Calibration
        Of this clip: the one given, or turned with the camera.
    moved_px, moved_boards : float
        How far the view moved since the calibration; 0 where that was not looked at.
    corrected : bool
        Whether the calibration was turned.
    """

    calibration: Calibration
    moved_px: float = 0.0
    moved_boards: float = 0.0
    corrected: bool = False


def check_place(calibration: Calibration, luma: Plane) -> Checked | Failure:
    """Compare a picture of a clip with the calibration's reference.

    Parameters
    ----------
    calibration : Calibration
        Without reference windows it is taken as it is.
    luma : array of shape (H, W)
        A whole upright picture of the clip, 8 or 10 bits; people may stand in it.

    Returns
    -------
    Checked or Failure
        Reason: ``camera_moved``.
    """
    anchors: Anchors | None = calibration.reference
    if anchors is None:
        return Checked(calibration)
    move = register(anchors, luma)
    if isinstance(move, Failure):
        return Failure("camera_moved", move.detail)
    camera = turned(calibration.camera, move)
    boards = move_in_boards(calibration.camera, camera)
    if boards < IGNORED_BOARDS:
        return Checked(calibration, move.moved_px, boards)
    covariance = carried_covariance(calibration.camera, calibration.covariance, move)
    corrected = replace(calibration, camera=camera, covariance=covariance)
    return Checked(corrected, move.moved_px, boards, corrected=True)
