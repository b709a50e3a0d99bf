"""A camera that was bumped between two pictures: how far it turned, and the camera afterwards.

Fixed windows of a reference picture are found again in another one and a small turn is fitted to how they moved. A turn
moves near and far alike, so no distances are needed; what it cannot explain tells of a camera that was carried, and
such a picture is refused instead of corrected.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.anchors import Anchors, checked_plane
from calibration.camera import Camera
from calibration.errors import Failure
from calibration.lane import BALL_RADIUS_IN, BOARD_WIDTH_IN, HEAD_PIN_IN, INCHES_PER_FOOT, LANE_WIDTH_IN
from calibration.refind import BENT_PX, Found, bend, coarse_move, find_windows
from calibration.turning import CARRIED, TURN, Fit, fit_move, jacobian, moved_camera, moved_pixels, sight
from calibration.windows import Plane

Array = NDArray[np.float64]

LEAST_WINDOWS = 8
LEAST_SHARE = 0.4
"""Fewer windows than either agree: it is another view."""
PARALLAX_LIMIT_PX = 1.0
"""What a turn may leave unexplained on the lane, pixels of a frame 1920 long; the same share of other frames."""
_COMMON_FLOOR_PX = 0.01
_AGREE_PX = 0.3
_SURE = 4.0


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """A small turn of the camera between the reference and another picture.

    Attributes
    ----------
    turn_deg : array of shape (3,)
        What to add to yaw, pitch and roll.
    log_zoom : float
        Logarithm of the factor on the focal length.
    covariance : array of shape (4, 4)
        Of the three angles (deg) and the logarithm: noise, the scatter that was seen, a floor for common errors,
        and the parallax where it is sure.
    rms_px : float
        Root mean square, over the windows that agree, of what the turn leaves (across the edge for an edge).
    agreeing, windows : int
        Windows that agree with the turn, and windows inside the new picture.
    moved_px : float
        Largest motion of a point of the lane between foul line and head pin.
    parallax_px, parallax_sd_px : float
        Largest motion of such a point that the turn does not explain but a carried camera would, and its standard
        deviation.
    """

    turn_deg: Array
    log_zoom: float
    covariance: Array
    rms_px: float
    agreeing: int
    windows: int
    moved_px: float
    parallax_px: float
    parallax_sd_px: float

    @property
    def share(self) -> float:
        """Share of the windows that agree."""
        return self.agreeing / max(self.windows, 1)


def register(anchors: Anchors, luma: Plane) -> Move | Failure:
    """Turn of the camera from the reference picture to another.

    Parameters
    ----------
    anchors : Anchors
        Of the reference, from :func:`calibration.anchors.choose_anchors`.
    luma : array of shape (H, W)
        The other picture, 8 bits (or 10 in uint16); people in it may hide up to half of the windows.

    Returns
    -------
    Move or Failure
        Reason: ``view_changed``.

    Raises
    ------
    ValueError
        If the picture is not of the reference's frame size.
    """
    plane = checked_plane(luma, anchors.camera)
    if len(anchors.centres) < LEAST_WINDOWS:
        return _too_plain(len(anchors.centres))
    guess = coarse_move(anchors, plane)
    seen = sight(anchors.camera, anchors.pixels)
    found = find_windows(anchors, plane, guess, bent=False)
    carried = fit_move(seen, found.pixels, found.covariance, start=guess, free=CARRIED, usable=found.usable)
    if bend(anchors, carried.move)[1] > BENT_PX:
        found = find_windows(anchors, plane, carried.move, bent=True)
        carried = fit_move(seen, found.pixels, found.covariance, start=carried.move, free=CARRIED, usable=found.usable)
    turn = fit_move(seen, found.pixels, found.covariance, start=carried.move, free=TURN, usable=found.usable)
    return _judged(anchors, found, turn, carried)


def turned(camera: Camera, move: Move) -> Camera:
    """The camera after the move."""
    return moved_camera(camera, np.array([*move.turn_deg, move.log_zoom]))


def carried_covariance(camera: Camera, covariance: Array, move: Move) -> Array:
    """Covariance ``(9, 9)`` of the camera after the move, from that before.

    The move was measured in pixels, so its angles are as wrong as the focal length is, the other way round: that part
    follows the camera's own covariance.

    Parameters
    ----------
    camera : Camera
        The camera before.
    covariance : array of shape (9, 9)
        Of its parameters in the order of :data:`calibration.camera.PARAMETERS`.
    move : Move
    """
    zoom = float(np.exp(move.log_zoom))
    keep = np.eye(9)
    keep[3:5, 6] = -move.turn_deg[:2] / camera.f_px
    keep[6, 6] = zoom
    add = np.zeros((9, 4))
    add[3:6, :3] = np.eye(3)
    add[6, 3] = camera.f_px * zoom
    return np.asarray(keep @ np.asarray(covariance) @ keep.T + add @ move.covariance @ add.T)


def move_in_boards(camera: Camera, moved: Camera) -> float:
    """Boards by which a ball at 15, 40 or 58 ft would be misplaced at worst if the move were ignored.

    Infinite where such a ball would be taken for something above the horizon.
    """
    x, y = np.meshgrid(np.array([-0.5, 0.0, 0.5]) * LANE_WIDTH_IN, np.array([15.0, 40.0, 58.0]) * INCHES_PER_FOOT)
    points = np.stack([x, y, np.full_like(x, BALL_RADIUS_IN)], axis=-1).reshape(-1, 3)
    taken = camera.back_project(moved.project(points), BALL_RADIUS_IN)
    wrong = np.abs(taken[:, 0] - points[:, 0]) / BOARD_WIDTH_IN
    return float(np.max(np.where(np.isfinite(wrong), wrong, np.inf)))


def moved_px(camera: Camera, moved: Camera) -> float:
    """Largest distance in pixels between where two cameras see the same point of the lane."""
    points = _lane_points(camera)
    apart = moved.project(points) - camera.project(points)
    known = np.isfinite(apart).all(axis=1)
    return float(np.hypot(*apart[known].T).max()) if known.any() else float("inf")


def _lane_points(camera: Camera) -> Array:
    """Points of the lane ``(n, 3)`` between foul line and head pin that the frame shows; all if it shows none."""
    x, y = np.meshgrid(np.array([-0.5, 0.0, 0.5]) * LANE_WIDTH_IN, np.linspace(0.0, HEAD_PIN_IN, 13))
    points = np.stack([x, y, np.zeros_like(x)], axis=-1).reshape(-1, 3)
    pixels = camera.project(points)
    shown = ((pixels > 0) & (pixels < np.array([camera.width, camera.height]))).all(axis=1)
    return points[shown] if shown.any() else points


def _agreeing(found: Found, fit: Fit, scale: float) -> NDArray[np.bool_]:
    tolerant = np.linalg.inv(found.covariance + (_AGREE_PX * scale) ** 2 * np.eye(2))
    square = np.einsum("ni,nij,nj->n", fit.residual, tolerant, fit.residual)
    return np.asarray((found.usable > 0) & (square < 9.0))


def _judged(anchors: Anchors, found: Found, turn: Fit, carried: Fit) -> Move | Failure:
    """The move, or why there is none."""
    camera = anchors.camera
    scale = max(camera.width, camera.height) / 1920
    windows = int(found.inside.sum())
    agree, other = _agreeing(found, turn, scale), _agreeing(found, carried, scale)
    enough = max(LEAST_WINDOWS, LEAST_SHARE * windows)
    parallax, sd = _parallax(camera, turn, carried)
    if other.sum() >= enough and parallax > max(PARALLAX_LIMIT_PX * scale, _SURE * sd):
        return _carried_failure(int(agree.sum()), windows, carried.move, parallax)
    if agree.sum() < enough:
        return _other_view(int(agree.sum()), windows)
    across = _across(found, turn)[agree]
    lane = sight(camera, camera.project(_lane_points(camera)))
    motion = moved_pixels(lane, np.array([*turn.move[:TURN], 0.0, 0.0, 0.0])) - lane.pixels
    return Move(
        turn.move[:3].copy(),
        float(turn.move[3]),
        turn.covariance + _shared_errors(camera, max(parallax - 2.0 * sd, 0.0)),
        float(np.sqrt(np.mean(across**2))),
        agreeing=int(agree.sum()),
        windows=windows,
        moved_px=float(np.nanmax(np.hypot(motion[:, 0], motion[:, 1]))),
        parallax_px=parallax,
        parallax_sd_px=sd,
    )


def _across(found: Found, fit: Fit) -> Array:
    """Residual ``(n,)`` along the direction that a window knows best, pixels."""
    _, vectors = np.linalg.eigh(found.covariance)
    return np.asarray(np.einsum("ni,ni->n", fit.residual, vectors[:, :, 0]))


def _parallax(camera: Camera, turn: Fit, carried: Fit) -> tuple[float, float]:
    """Largest difference of the two moves over the lane, pixels, and its standard deviation."""
    lane = sight(camera, camera.project(_lane_points(camera)))
    apart = moved_pixels(lane, carried.move) - moved_pixels(lane, np.array([*turn.move[:TURN], 0.0, 0.0, 0.0]))
    size = np.nan_to_num(np.hypot(apart[:, 0], apart[:, 1]))
    worst = int(np.argmax(size))
    slope = np.nan_to_num(jacobian(lane, carried.move, CARRIED)[worst])
    # The turn moves with the carrying when only it is fitted, so the carried fit's own spread bounds the difference's.
    spread = slope @ carried.covariance @ slope.T
    return float(size[worst]), float(np.sqrt(np.linalg.eigvalsh(spread)[-1]))


def _shared_errors(camera: Camera, unexplained_px: float) -> Array:
    """Covariance ``(4, 4)`` of errors that all windows share: a floor, and what the turn surely leaves unexplained."""
    size = float(np.hypot(_COMMON_FLOOR_PX, unexplained_px))
    angle = np.degrees(size / camera.f_px)
    share = size / (np.hypot(camera.width, camera.height) / 4)
    return np.diag(np.array([angle, angle, np.degrees(share), share]) ** 2)


def _carried_failure(agreeing: int, windows: int, move: Array, parallax: float) -> Failure:
    way = float(np.hypot(np.hypot(move[4], move[5]), move[6]))
    return Failure(
        "view_changed",
        f"the camera was carried, not only turned: near and far moved differently, as if it stood about {way:.1f} in "
        f"elsewhere ({parallax:.1f} px on the lane that no turn explains; {agreeing} of {windows} fixed places agree "
        "on a turn); calibrate again from this clip",
    )


def _other_view(agreeing: int, windows: int) -> Failure:
    return Failure(
        "view_changed",
        f"{agreeing} of {windows} fixed places of the calibrated picture are found where one turn of the camera would "
        "put them: it shows another place, or the camera was carried or moved far; calibrate again from this clip",
    )


def _too_plain(windows: int) -> Failure:
    return Failure(
        "view_changed",
        f"the calibrated picture shows only {windows} fixed places by which a moved camera could be noticed, "
        f"{LEAST_WINDOWS} are needed; film with more light and keep walls and ceiling in the frame, or calibrate every "
        "clip by itself",
    )
