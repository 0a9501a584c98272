"""Exact distances to a mesh and which side a point is on, from trees that are kept."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import igl
import numpy as np

from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

#: A closest point this near an open edge, over the mesh's diagonal, lies on it.
RIM_TOLERANCE = 1e-9
#: Far-field settings of the winding number: order of expansion, and how many cell
#: radii away it may be used. Measured against the exact sum on head-size meshes: off by
#: 0.005 at 2, 0.0007 at 3 and 0.0002 at 4, where it costs 2 and 4 times as much.
EXPANSION_ORDER = 2
FAR_RADII = 2.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Nearest:
    """The closest point of a mesh to each of n query points."""

    #: Distance to the closest point, shape (n,); never negative. [mm]
    distance_mm: FloatArray
    #: The closest points, shape (n, 3): right, front, up. [mm]
    point: FloatArray
    #: Face that each closest point lies on, shape (n,).
    face: IntArray
    #: Whether the closest point lies on an open edge (a rim), shape (n,).
    on_boundary: BoolArray


class SurfaceTree:
    """
    Distance and side queries on one mesh; each tree is built once, when first needed.

    Parameters
    ----------
    mesh : Mesh
        Closed or open. It is kept as `mesh`.

    Notes
    -----
    Distances are those to the true closest point on the triangles, from a kept
    bounding-box tree. Sides come from the generalized winding number: A. Jacobson,
    L. Kavan and O. Sorkine-Hornung, "Robust inside-outside segmentation using
    generalized winding numbers", ACM Trans. Graph. 32(4) (2013), evaluated fast as in
    G. Barill et al., "Fast winding numbers for soups and clouds", ACM Trans. Graph.
    37(4) (2018). It is defined for open surfaces too: a point counts as inside where
    it exceeds one half.
    """

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh

    def __reduce__(self) -> tuple[type[SurfaceTree], tuple[Mesh]]:
        return SurfaceTree, (self.mesh,)

    @cached_property
    def _boxes(self) -> igl.AABB:
        tree = igl.AABB()
        tree.init(self.mesh.vertices, self.mesh.faces)
        return tree

    @cached_property
    def _expansion(self) -> igl.FastWindingNumberBVH:
        tree = igl.FastWindingNumberBVH()
        tree.init(self.mesh.vertices, self.mesh.faces, EXPANSION_ORDER)
        return tree

    @cached_property
    def _rim_faces(self) -> BoolArray:
        return np.asarray(self.mesh.boundary_vertices[self.mesh.faces].any(axis=1))

    def squared(self, points: FloatArray) -> tuple[FloatArray, IntArray, FloatArray]:
        """
        Give squared distance [mm²] (n,), face (n,) and closest point [mm] (n, 3).

        The bare query for inner loops; `points` is float64 of shape (n, 3).
        """
        found: tuple[FloatArray, IntArray, FloatArray] = self._boxes.squared_distance(
            self.mesh.vertices, self.mesh.faces, points
        )
        return found

    def nearest(self, points: FloatArray) -> Nearest:
        """
        Find the closest point of the mesh to each query point.

        Parameters
        ----------
        points : ndarray of float64, shape (n, 3)
            Right, front, up. [mm]
        """
        squared, face, point = self.squared(points)
        return Nearest(
            distance_mm=np.sqrt(squared),
            point=point,
            face=face,
            on_boundary=self._on_rim(point, face),
        )

    def winding(self, points: FloatArray) -> FloatArray:
        """
        Give the generalized winding number at each point, shape (n,).

        On a closed mesh wound outward: 1 inside, 0 outside. Within 0.01 of exact.
        """
        number: FloatArray = self._expansion.winding_number(points, FAR_RADII)
        return number

    def signed_mm(self, points: FloatArray) -> FloatArray:
        """Give the distance to the mesh, negative inside, positive outside, in mm."""
        distance = np.sqrt(self.squared(points)[0])
        return np.where(self.winding(points) > 0.5, -distance, distance)

    def _on_rim(self, points: FloatArray, face: IntArray) -> BoolArray:
        on_rim = np.zeros(len(points), dtype=bool)
        rows = np.nonzero(self._rim_faces[face])[0]
        if len(rows):
            on_rim[rows] = self._touches_rim(points[rows], face[rows])
        return on_rim

    def _touches_rim(self, points: FloatArray, face: IntArray) -> BoolArray:
        mesh, tolerance = self.mesh, RIM_TOLERANCE * self.mesh.scale_mm
        corners = mesh.triangles[face]
        to_corner = np.linalg.norm(points[:, None] - corners, axis=2)
        to_edge = _segment_distance(points[:, None], corners, np.roll(corners, -1, axis=1))
        at_vertex = mesh.boundary_vertices[mesh.faces[face]] & (to_corner <= tolerance)
        at_edge = mesh.open_edges[mesh.face_edges[face]] & (to_edge <= tolerance)
        touches: BoolArray = (at_vertex | at_edge).any(axis=1)
        return touches


def _segment_distance(points: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    along, to_point = b - a, points - a
    length2 = np.einsum("...i,...i->...", along, along)
    share = np.einsum("...i,...i->...", to_point, along)
    share = np.clip(np.divide(share, length2, where=length2 > 0, out=share * 0), 0, 1)
    gap: FloatArray = np.linalg.norm(to_point - share[..., None] * along, axis=-1)
    return gap
