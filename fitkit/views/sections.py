"""Sections through head and finished piece, flat and in millimetres, with ease leaders."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitkit.fit.ease import EaseMap
from fitkit.fit.placement import Placement
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.sections import section
from fitkit.views.walls import FinishedWall
from fitkit.views.words import UNSEEN_MM
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import ZONES

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

FloatArray = NDArray[np.float64]

#: Room left around the head in a section; what lies farther out is cut off. [mm]
ROOM_MM = 70.0
#: Step of the grid on which the finished wall is sampled. [mm]
STEP_MM = 1.0
#: Head vertices this near the plane may carry a leader. [mm]
NEAR_MM = 4.0
#: A leader may lean out of the plane by a sine of at most this, so that its drawn
#: length is within 4 % of its figure.
LEAN = 0.27
#: Leaders are at least this far apart. [mm]
APART_MM = 30.0
#: Most leaders of one section.
MOST_LEADERS = 7
#: How far a line of sight is drawn beyond the cornea. [mm]
SIGHT_MM = 100.0


@dataclass(frozen=True, kw_only=True, eq=False)
class SectionPlane:
    """A plane to cut with, and how the cut is laid on paper."""

    #: Short name, for files and captions.
    name: str
    #: What the reader looks at, for example "midplane, seen from the wearer's right".
    title: str
    #: Any point of the plane, head frame, shape (3,). [mm]
    point_mm: FloatArray
    #: Axis of the head that runs across the paper: 0 right, 1 front, 2 up.
    across: int
    #: Axis of the head that runs up the paper.
    upward: int

    @property
    def normal(self) -> FloatArray:
        """Unit normal, shape (3,)."""
        unit: FloatArray = np.eye(3)[3 - self.across - self.upward]
        return unit

    @property
    def words(self) -> tuple[str, str]:
        """Names of the axes across and up the paper."""
        names = ("right", "front", "up")
        return names[self.across], names[self.upward]

    def flat(self, points: ArrayLike) -> FloatArray:
        """Lay points of the head frame, shape (..., 3), on the paper, (..., 2). [mm]."""
        laid: FloatArray = np.asarray(points, dtype=float)[..., [self.across, self.upward]]
        return laid

    def off_plane_mm(self, points: ArrayLike) -> FloatArray:
        """Distance of points, shape (..., 3), from the plane, signed. [mm]."""
        off: FloatArray = (np.asarray(points, dtype=float) - self.point_mm) @ self.normal
        return off


@dataclass(frozen=True, kw_only=True, eq=False)
class Leader:
    """One dimension of a section: the gap at one place of the head."""

    #: On the head over its hair, and on the finished inner wall, shape (2,). [mm]
    start: FloatArray
    end: FloatArray
    #: The gap in space; positive air, negative clash. [mm]
    ease_mm: float
    #: Gap asked for there. [mm]
    wanted_mm: float
    zone: str

    @property
    def is_short(self) -> bool:
        """Whether the gap is visibly less than was asked."""
        return self.ease_mm < self.wanted_mm - UNSEEN_MM


@dataclass(frozen=True, kw_only=True, eq=False)
class SectionView:
    """One section, ready to draw; every point is (across, upward) in mm."""

    plane: SectionPlane
    #: Outline of the bare head, closed polylines of shape (k, 2). [mm]
    head: tuple[FloatArray, ...]
    #: Outline of the head over its hair. [mm]
    hair: tuple[FloatArray, ...]
    #: Where the finished wall is sampled, shapes (w,) and (h,). [mm]
    wall_across: FloatArray
    wall_upward: FloatArray
    #: Below 0 inside the finished wall, 0 on its surfaces, above 0 in air, (h, w). [mm]
    wall_mm: FloatArray
    leaders: tuple[Leader, ...]
    #: Landmarks in or next to the plane, by name. [mm]
    marks: Mapping[str, FloatArray]
    #: Straight-ahead lines from the front of each eye, shape (2, 2). [mm]
    sight: tuple[FloatArray, ...]

    @property
    def frame_mm(self) -> tuple[float, float, float, float]:
        """Least and greatest across, least and greatest upward. [mm]."""
        across, upward = self.wall_across, self.wall_upward
        return (
            float(across[0]),
            float(across[-1]),
            float(upward[0]),
            float(upward[-1]),
        )


def usual_planes(wearer: Wearer) -> tuple[SectionPlane, ...]:
    """
    Give the four planes of a report.

    The midplane; beside it the plane through the right eye; across through both
    tragia; level through both pupils.
    """
    right_eye, left_eye = wearer.eye_right.entrance_pupil, wearer.eye_left.entrance_pupil
    return (
        SectionPlane(
            name="side",
            title="Side: midplane, seen from the wearer's right",
            point_mm=np.zeros(3),
            across=1,
            upward=2,
        ),
        SectionPlane(
            name="eye",
            title="Side: through the right eye",
            point_mm=right_eye,
            across=1,
            upward=2,
        ),
        SectionPlane(
            name="front",
            title="Across: through the tragia, seen from behind",
            point_mm=np.zeros(3),
            across=0,
            upward=2,
        ),
        SectionPlane(
            name="top",
            title="Level: through the pupils, seen from above",
            point_mm=(right_eye + left_eye) / 2,
            across=0,
            upward=1,
        ),
    )


def section_views(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    ease_map: EaseMap,
    *,
    planes: Sequence[SectionPlane] | None = None,
) -> tuple[SectionView, ...]:
    """
    Cut a head in its placed and finished piece.

    Parameters
    ----------
    wearer, piece, placement
        What is cut.
    ease_map : EaseMap
        Ease of the same three, for the leaders.
    planes : sequence of SectionPlane, optional
        Where; `usual_planes` if left out.

    Returns
    -------
    tuple of SectionView
        One for each plane. The wall is taken at its true distance from the drawn
        surface, in space, at every node of a grid in the plane.
    """
    wall = FinishedWall(piece, placement)
    haired = wearer.head.with_vertices(
        wearer.head.vertices + wearer.head.vertex_normals * wearer.hair_mm[:, None]
    )
    views = []
    for plane in usual_planes(wearer) if planes is None else planes:
        across, upward = _grid(wearer, plane)
        views.append(
            SectionView(
                plane=plane,
                head=_cut(wearer.head, plane),
                hair=_cut(haired, plane),
                wall_across=across,
                wall_upward=upward,
                wall_mm=wall.sample_grid(_nodes(plane, across, upward), step_mm=STEP_MM),
                leaders=_leaders(wearer, ease_map, plane),
                marks=_marks(wearer, plane),
                sight=_sight(wearer, plane),
            )
        )
    return tuple(views)


def _cut(mesh: Mesh, plane: SectionPlane) -> tuple[FloatArray, ...]:
    lines = section(mesh, point_mm=plane.point_mm, normal=plane.normal)
    return tuple(plane.flat(line) for line in lines)


def _grid(wearer: Wearer, plane: SectionPlane) -> tuple[FloatArray, FloatArray]:
    low, high = wearer.head.vertices[wearer.zone >= 0].min(axis=0), wearer.head.bounds_mm[1]
    ends = plane.flat(low) - ROOM_MM, plane.flat(high) + ROOM_MM
    across, upward = (
        np.arange(start, stop + STEP_MM, STEP_MM) for start, stop in zip(*ends, strict=True)
    )
    return across, upward


def _nodes(plane: SectionPlane, across: FloatArray, upward: FloatArray) -> FloatArray:
    nodes = np.empty((len(upward), len(across), 3))
    nodes[:] = plane.point_mm
    nodes[..., plane.across] = across
    nodes[..., plane.upward] = upward[:, None]
    return nodes


# -- leaders --------------------------------------------------------------------------


def _leaders(wearer: Wearer, ease_map: EaseMap, plane: SectionPlane) -> tuple[Leader, ...]:
    """Give the tightest places of the section, one a zone, well apart."""
    near = np.abs(plane.off_plane_mm(wearer.head.vertices)) <= NEAR_MM
    lean = np.abs(np.nan_to_num(ease_map.away, nan=1.0) @ plane.normal)
    rows = np.nonzero(near & (wearer.zone >= 0) & (lean <= LEAN))[0]
    rows = rows[np.argsort(ease_map.ease_mm[rows], kind="stable")]
    chosen: list[Leader] = []
    for row in rows:
        leader = _leader(wearer, ease_map, plane, int(row))
        if _adds(leader, chosen):
            chosen.append(leader)
        if len(chosen) == MOST_LEADERS:
            break
    return tuple(chosen)


def _leader(wearer: Wearer, ease_map: EaseMap, plane: SectionPlane, row: int) -> Leader:
    zone = ZONES[wearer.zone[row]]
    gap = float(ease_map.ease_mm[row])
    outward = -ease_map.away[row]
    start = wearer.head.vertices[row] + outward * wearer.hair_mm[row]
    return Leader(
        start=plane.flat(start),
        end=plane.flat(start + outward * gap),
        ease_mm=gap,
        wanted_mm=ease_map.by_zone[zone].wanted_mm,
        zone=zone,
    )


def _adds(leader: Leader, chosen: Sequence[Leader]) -> bool:
    return all(
        leader.zone != other.zone
        and float(np.linalg.norm(leader.start - other.start)) >= APART_MM
        for other in chosen
    )


# -- landmarks and sight --------------------------------------------------------------


def _marks(wearer: Wearer, plane: SectionPlane) -> Mapping[str, FloatArray]:
    """Give the landmarks that a reader looks for, of those in or next to the plane."""
    at = wearer.landmarks
    named = {
        "sellion": at["sellion"],
        "chin": at["menton"],
        "left tragion": at["tragion_left"],
        "right tragion": at["tragion_right"],
        "chin pole": wearer.chin_pole,
    }
    if plane.across == 1:
        named["tragion"] = (at["tragion_left"] + at["tragion_right"]) / 2
    return {
        name: plane.flat(point)
        for name, point in named.items()
        if abs(plane.off_plane_mm(point)) <= NEAR_MM
    }


def _sight(wearer: Wearer, plane: SectionPlane) -> tuple[FloatArray, ...]:
    """Lines along +front from the corneas in the plane; none seen end on."""
    if abs(plane.normal[1]) > 0.5:
        return ()
    corneas = (wearer.eye_left.cornea, wearer.eye_right.cornea)
    ahead = np.array([0.0, SIGHT_MM, 0.0])
    return tuple(
        np.stack([plane.flat(cornea), plane.flat(cornea + ahead)])
        for cornea in corneas
        if abs(plane.off_plane_mm(cornea)) <= NEAR_MM
    )
