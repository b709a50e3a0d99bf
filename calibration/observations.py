"""What was seen of the lane, and how far a camera is from it: the observations and their residuals in pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration import lane
from calibration.camera import Camera

Array = NDArray[np.float64]
Side = Literal["left", "right", "foul", "left_gutter", "right_gutter"]
SIDES: tuple[Side, ...] = ("left", "right", "foul", "left_gutter", "right_gutter")
NO_SHIFTS: tuple[float, ...] = (0.0,) * len(SIDES)
UNSEEN_PX = 1e4
"""Residual of a point that the camera has behind it: far, finite, so that a fit can leave such a place."""


@dataclass(frozen=True, slots=True)
class EdgePoint:
    """A point somewhere on an edge of the lane or of a gutter, or on the foul line; where along it is unknown.

    Attributes
    ----------
    side : {'left', 'right', 'foul', 'left_gutter', 'right_gutter'}
        Edge, as seen down-lane; the foul line, which goes on beyond the lane's own corners; a gutter's outer edge.
    u_px, v_px : float
        Pixel in the upright frame, pixel centres at +0.5.
    sigma_px : float
        Standard deviation across the edge.
    name : str
        Name for reports.
    common_px : float
        Standard deviation at this point of an error that all points of this line share: blur that makes a whole edge
        look off, the width of the foul line. 0 where points are independent.
    """

    side: Side
    u_px: float
    v_px: float
    sigma_px: float
    name: str = ""
    common_px: float = 0.0


_SIDE_X_IN: dict[Side, float] = {
    "left": -lane.LANE_WIDTH_IN / 2,
    "right": lane.LANE_WIDTH_IN / 2,
    "foul": 0.0,
    "left_gutter": -lane.GUTTER_EDGE_IN,
    "right_gutter": lane.GUTTER_EDGE_IN,
}


@dataclass(frozen=True, slots=True)
class LanePoint:
    """A point whose place on the lane is known.

    Attributes
    ----------
    name : str
        Name for reports.
    xyz_in : tuple of float
        Place in the lane frame, inches.
    u_px, v_px : float
        Pixel in the upright frame, pixel centres at +0.5.
    sigma_px : float
        Standard deviation of u and of v.
    true_inches : bool
        Whether x is a true length (pins stand 12 in apart on any lane) and not a share of the lane's width.
    front_radius_in : float
        Radius of a disc about ``xyz_in``, on whose rim, toward the camera, the point was seen; 0 for a plain point.
    sigma_v_px : float or None
        Standard deviation of v where it differs from that of u.
    """

    name: str
    xyz_in: tuple[float, float, float]
    u_px: float
    v_px: float
    sigma_px: float
    true_inches: bool = False
    front_radius_in: float = 0.0
    sigma_v_px: float | None = None


@dataclass(frozen=True, slots=True)
class ArrowPoint:
    """An arrow's tip: its board (from the right) is known, its distance only through the chevron.

    ``u_px, v_px, sigma_px`` as in :class:`LanePoint`.
    """

    name: str
    board: float
    u_px: float
    v_px: float
    sigma_px: float


Observation = EdgePoint | LanePoint | ArrowPoint


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """Observations as arrays, edges first, then points with arrows last.

    Attributes
    ----------
    edges : tuple of EdgePoint
    points : tuple of LanePoint
    arrows : tuple of ArrowPoint
    width, height : int
        Size of the upright frame in pixels.
    """

    edges: tuple[EdgePoint, ...]
    points: tuple[LanePoint, ...]
    arrows: tuple[ArrowPoint, ...]
    width: int
    height: int
    edge_x_in: Array
    edge_true_inches: NDArray[np.bool_]
    edge_along: NDArray[np.bool_]
    edge_line: NDArray[np.int64]
    edge_common_px: Array
    edge_px: Array
    point_xyz_in: Array
    point_px: Array
    radius_in: Array
    true_inches: NDArray[np.bool_]
    board: Array
    edge_sigma_px: Array
    point_sigma_px: Array

    @property
    def all(self) -> tuple[Observation, ...]:
        """Edges, points and arrows, in the order of every per-observation array."""
        return (*self.edges, *self.points, *self.arrows)

    @property
    def names(self) -> tuple[str, ...]:
        """Names in the order of :attr:`all`."""
        return tuple(o.name for o in self.all)

    @property
    def pixels(self) -> Array:
        """Pixels ``(n, 2)`` in the order of :attr:`all`."""
        return np.concatenate([self.edge_px, self.point_px])

    @property
    def dimensions(self) -> NDArray[np.int64]:
        """Equations ``(n,)`` of each observation: 1 for an edge, 2 for a point."""
        return np.repeat([1, 2], [len(self.edges), len(self.point_px)]).astype(np.int64)


def gather(observations: Sequence[Observation], width: int, height: int) -> Observed:
    """Sort observations by kind and put them into arrays."""
    edges = tuple(o for o in observations if isinstance(o, EdgePoint))
    points = tuple(o for o in observations if isinstance(o, LanePoint))
    arrows = tuple(o for o in observations if isinstance(o, ArrowPoint))
    board = np.array([a.board for a in arrows], dtype=np.float64)
    arrow_xyz = np.stack([lane.x_from_board(board, "right"), np.zeros(len(arrows)), np.zeros(len(arrows))], axis=1)
    fixed = np.array([p.xyz_in for p in points], dtype=np.float64).reshape(-1, 3)
    return Observed(
        edges=edges,
        points=points,
        arrows=arrows,
        width=width,
        height=height,
        edge_x_in=np.array([_SIDE_X_IN[e.side] for e in edges], dtype=np.float64),
        edge_true_inches=np.array([e.side.endswith("gutter") for e in edges], dtype=bool),
        edge_along=np.array([e.side != "foul" for e in edges], dtype=bool),
        edge_line=np.array([SIDES.index(e.side) for e in edges], dtype=np.int64),
        edge_common_px=np.array([e.common_px for e in edges], dtype=np.float64),
        edge_px=_pixels(edges),
        point_xyz_in=np.concatenate([fixed, arrow_xyz]),
        point_px=_pixels((*points, *arrows)),
        radius_in=np.array([*(p.front_radius_in for p in points), *(0.0 for _ in arrows)], dtype=np.float64),
        true_inches=np.array([*(p.true_inches for p in points), *(False for _ in arrows)], dtype=bool),
        board=board,
        edge_sigma_px=np.array([e.sigma_px for e in edges], dtype=np.float64),
        point_sigma_px=np.array(
            [
                *((p.sigma_px, p.sigma_px if p.sigma_v_px is None else p.sigma_v_px) for p in points),
                *((a.sigma_px, a.sigma_px) for a in arrows),
            ],
            dtype=np.float64,
        ).reshape(-1, 2),
    )


def _pixels(observations: Sequence[Observation]) -> Array:
    return np.array([(o.u_px, o.v_px) for o in observations], dtype=np.float64).reshape(-1, 2)


def lane_places(observed: Observed, camera: Camera, chevron_ft: tuple[float, float]) -> Array:
    """Lane points ``(n_points, 3)`` of known points and arrows, as the camera's own lane coordinates need them.

    Pins are moved from true inches to the nominal lane's width and from their axis to the front of the base.
    """
    places = observed.point_xyz_in.copy()
    if len(observed.arrows):
        places[len(observed.points) :, 1] = lane.arrow_distance_in(observed.board, *chevron_ft)
    scale = np.where(observed.true_inches, 1.0, camera.width_scale)
    true = places * np.stack([scale, np.ones_like(scale), np.ones_like(scale)], axis=1)
    toward = np.array([camera.x_in, camera.y_in]) - true[:, :2]
    length = np.maximum(np.hypot(toward[:, 0], toward[:, 1]), 1e-9)
    true[:, :2] += toward * (observed.radius_in / length)[:, None]
    return np.asarray(true / np.array([camera.width_scale, 1.0, 1.0]))


def edge_residuals(
    camera: Camera, edge_x_in: Array, pixels: Array, along: NDArray[np.bool_] | None = None
) -> tuple[Array, Array]:
    """Signed distances ``(n,)`` of pixels from the projected edges and the unit directions ``(n, 2)`` across them.

    An edge runs along the lane through (``edge_x_in``, 0), or across it there where ``along`` is False.

    The distance is taken in the undistorted picture, where an edge is a line, and scaled back by the local distortion:
    zero exactly on the curve, within 2 % of the perpendicular distance near it.
    """
    rot = camera.rotation
    seen = camera.undistorted(pixels)
    x, y, z = camera.position
    start = np.stack([edge_x_in * camera.width_scale - x, np.full_like(edge_x_in, -y), np.full_like(edge_x_in, -z)])
    a = rot @ start
    b = rot[:, 1:2] if along is None else np.where(along, rot[:, 1:2], rot[:, 0:1])
    # written out: numpy's cross product takes a third of the solver's time
    normal = np.stack([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])
    length = np.maximum(np.hypot(normal[0], normal[1]), 1e-12)
    stretch = 1.0 + camera.k1 * np.sum(seen**2, axis=1)
    distance = (normal[0] * seen[:, 0] + normal[1] * seen[:, 1] + normal[2]) / length * camera.f_px * stretch
    return np.asarray(distance), np.asarray((normal[:2] / length).T)


def edge_places(observed: Observed, camera: Camera) -> Array:
    """Lane x ``(n,)`` of all edges, those of gutters at their true place whatever the lane's width."""
    return np.where(observed.edge_true_inches, observed.edge_x_in / camera.width_scale, observed.edge_x_in)


def line_distances(observed: Observed, camera: Camera) -> tuple[Array, Array]:
    """:func:`edge_residuals` of all edges."""
    return edge_residuals(camera, edge_places(observed, camera), observed.edge_px, observed.edge_along)


def offsets(observed: Observed, camera: Camera, chevron_ft: tuple[float, float]) -> Array:
    """Seen minus predicted pixel ``(n, 2)`` of every observation; an edge's offset is the perpendicular one."""
    across, direction = line_distances(observed, camera)
    predicted = camera.project(lane_places(observed, camera, chevron_ft))
    points = np.where(np.isnan(predicted), UNSEEN_PX, observed.point_px - predicted)
    return np.concatenate([across[:, None] * direction, points])


def misfits(
    observed: Observed, camera: Camera, chevron_ft: tuple[float, float], shifts: Sequence[float] = NO_SHIFTS
) -> tuple[Array, Array]:
    """Residuals in sigmas: edges ``(n_edges,)`` and points ``(n_points, 2)``.

    ``shifts`` are the common errors of the lines of :data:`SIDES`, in their own standard deviations.
    """
    across, _ = line_distances(observed, camera)
    across = across - observed.edge_common_px * np.asarray(shifts)[observed.edge_line]
    predicted = camera.project(lane_places(observed, camera, chevron_ft))
    points = np.where(np.isnan(predicted), UNSEEN_PX, observed.point_px - predicted)
    return across / observed.edge_sigma_px, np.asarray(points / observed.point_sigma_px)
