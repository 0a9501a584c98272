"""The room inside a piece: signed distance from head points to the wall, and its slope."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np

from fitkit.fit.placement import FloatArray, Placement
from fitkit.geometry.distance import Nearest, SurfaceTree
from fitkit.geometry.mesh import BoolArray, IntArray, Mesh

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: A point nearer to the wall than this takes its direction from the face. [mm]
TOUCH_MM = 1e-9
#: A nearest point with a barycentric coordinate below this lies on an edge or corner.
ON_EDGE = 1e-7
#: The side of the wall is taken from its normal where that is at least this aligned
#: with the way to the nearest point; elsewhere from the winding number.
ALIGNED = 0.3


@dataclass(frozen=True, kw_only=True, eq=False)
class Gaps:
    """Distance of n head points from the drawn wall of a placed piece."""

    #: Positive inside the room or through an opening, negative beyond the wall, (n,). [mm]
    signed_mm: FloatArray
    #: Unit vector along which each head point would gain distance, head frame, (n, 3).
    away: FloatArray
    #: Nearest point of the wall, on the piece as drawn, (n, 3). [mm]
    wall: FloatArray
    #: Radius about each point, on the scale of the tree, that holds no wall; minus
    #: infinity for a point that is not in the room or is nearest to a rim, (n,).
    room: FloatArray


class Cavity:
    """
    The wall of one piece as the solver asks for it, at any size and pose.

    Parameters
    ----------
    tree : SurfaceTree
        Of the drawn wall that faces the head, its normals pointing away from the head.
    ratio : ndarray, shape (3,)
        Factors by which `tree` was stretched from the drawn piece.

    Notes
    -----
    At a size that is `ratio` times one number the distance is exact: distances scale
    with the piece, so one tree serves. At other sizes it is the distance to the plane
    through the nearest point, stretched with the piece: a plane with unit normal n
    stretched by S is |S^-1 n| times as near, for points carried along. Rebuild with
    `stretched` for the exact one.

    A point is beyond the wall if its nearest point is not on a rim and it lies on the
    outer side there, told by the angle-weighted normal: J. A. Bærentzen and H. Aanæs,
    IEEE Trans. Vis. Comput. Graph. 11, 243-253 (2005), whose proof needs only the
    surface about the nearest point and so holds for an open wall. Where faces are so
    thin that their normals cannot be trusted, the winding number of the wall with its
    openings capped decides.

    The gradient of a distance is the direction from the nearest point: where the
    nearest point itself moves along the wall, the change is of second order
    (J. M. Danskin, SIAM J. Appl. Math. 14, 641-664 (1966)).
    """

    def __init__(self, tree: SurfaceTree, ratio: FloatArray) -> None:
        self._tree = tree
        self._ratio = ratio

    def stretched(self, size: FloatArray) -> Cavity:
        """Rebuild for exact distances at the proportions of `size`, shape (3,)."""
        ratio = size / np.exp(np.log(size).mean())
        if np.array_equal(ratio, self._ratio):
            return self
        mesh = self._tree.mesh.scaled(ratio / self._ratio)
        return Cavity(SurfaceTree(mesh), ratio)

    def mismatch(self, size: FloatArray) -> float:
        """Largest relative difference of proportions between `size` and the tree's."""
        stretch = size / self._ratio
        return float(stretch.max() / stretch.min() - 1.0)

    def asked(self, points: FloatArray, placement: Placement) -> tuple[FloatArray, float]:
        """
        Carry head points, (n, 3), to the scale of the tree.

        Also give the least number of true mm that a unit there stands for.
        """
        stretch = placement.size / self._ratio
        return placement.to_sized(points) / stretch, float(stretch.min())

    def gaps(self, points: FloatArray, placement: Placement) -> Gaps:
        """Measure from head points, shape (n, 3), to the wall at a placement."""
        stretch = placement.size / self._ratio
        asked = placement.to_sized(points) / stretch
        near = self._tree.nearest(asked)
        offset = asked - near.point
        beyond = ~near.on_boundary & self._outer_side(asked, offset, near)
        slope = self._directions(offset, near, beyond) / stretch
        steep = np.linalg.norm(slope, axis=1)
        roomy = ~beyond & ~near.on_boundary
        return Gaps(
            signed_mm=np.where(beyond, -1.0, 1.0) * near.distance_mm / steep,
            away=(slope / steep[:, None]) @ placement.rotation.T,
            wall=near.point / self._ratio,
            room=np.where(roomy, near.distance_mm, -np.inf),
        )

    def _directions(
        self, offset: FloatArray, near: Nearest, beyond: BoolArray
    ) -> FloatArray:
        touching = near.distance_mm < TOUCH_MM
        unit = offset / np.where(touching, 1.0, near.distance_mm)[:, None]
        unit[beyond] *= -1.0
        unit[touching] = -self._tree.mesh.normals[near.face[touching]]
        return unit

    # -- sides --------------------------------------------------------------------

    def _outer_side(
        self, asked: FloatArray, offset: FloatArray, near: Nearest
    ) -> BoolArray:
        normal = self._normals_at(near.point, near.face)
        along = np.einsum("ij,ij->i", offset, normal)
        outer: BoolArray = along > 0.0
        length = near.distance_mm * np.linalg.norm(normal, axis=1)
        unsure = (np.abs(along) < ALIGNED * length) | (length == 0.0)
        unsure &= ~near.on_boundary & (near.distance_mm >= TOUCH_MM)
        rows = np.nonzero(unsure | self._thin[near.face])[0]
        if len(rows):
            outer[rows] = ~self.inside(asked[rows])
        return outer

    def inside(self, points: FloatArray) -> BoolArray:
        """Whether points on the scale of `tree`, shape (n, 3), are in the capped room."""
        inside: BoolArray = self._capped.winding(points) > 0.5
        return inside

    def _normals_at(self, points: FloatArray, face: IntArray) -> FloatArray:
        mesh = self._tree.mesh
        normal = mesh.normals[face].copy()
        low = _barycentric(points, mesh.triangles[face]) < ON_EDGE
        count = low.sum(axis=1)
        edge = np.nonzero(count == 1)[0]
        opposite = (np.argmax(low[edge], axis=1) + 1) % 3
        normal[edge] = self._edge_normals[mesh.face_edges[face[edge], opposite]]
        corner = np.nonzero(count == 2)[0]
        at = mesh.faces[face[corner], np.argmin(low[corner], axis=1)]
        normal[corner] = mesh.vertex_normals[at]
        return normal

    @cached_property
    def _edge_normals(self) -> FloatArray:
        mesh = self._tree.mesh
        total = np.zeros((len(mesh.edges), 3))
        for column in range(3):
            np.add.at(total, mesh.face_edges[:, column], mesh.normals)
        return total

    @cached_property
    def _thin(self) -> BoolArray:
        """Faces too thin for their normal to be trusted, shape (m,)."""
        mesh = self._tree.mesh
        longest = np.ptp(mesh.triangles, axis=1).max(axis=1)
        thin: BoolArray = mesh.areas_mm2 <= 1e-7 * longest**2
        return thin

    @cached_property
    def _capped(self) -> SurfaceTree:
        return SurfaceTree(capped_mesh(self._tree.mesh))


_KEPT: WeakKeyDictionary[Piece, Cavity] = WeakKeyDictionary()


def cavity_of(piece: Piece) -> Cavity:
    """Give the cavity of a piece at its drawn proportions, built once and kept."""
    if piece not in _KEPT:
        _KEPT[piece] = Cavity(piece.tree, np.ones(3))
    return _KEPT[piece]


def capped_mesh(mesh: Mesh) -> Mesh:
    """Close every open loop of a mesh by a fan of triangles about the loop's centre."""
    loops = mesh.boundary_loops
    if not loops:
        return mesh
    centres = [mesh.vertices[loop].mean(axis=0) for loop in loops]
    fans = [
        np.column_stack([np.roll(loop, -1), loop, np.full(len(loop), at)])
        for at, loop in enumerate(loops, start=len(mesh.vertices))
    ]
    return Mesh(np.vstack([mesh.vertices, *centres]), np.vstack([mesh.faces, *fans]))


def _barycentric(points: FloatArray, triangles: FloatArray) -> FloatArray:
    """Barycentric coordinates of points (n, 3) in their triangles (n, 3, 3)."""
    a, b, c = np.moveaxis(triangles - points[:, None, :], 1, 0)
    parts = np.stack([np.cross(b, c), np.cross(c, a), np.cross(a, b)], axis=1)
    whole = parts.sum(axis=1)
    square = np.maximum(np.einsum("ij,ij->i", whole, whole), 1e-300)
    shares: FloatArray = np.einsum("ikj,ij->ik", parts, whole) / square[:, None]
    return shares
