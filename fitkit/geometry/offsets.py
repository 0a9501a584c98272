"""Surfaces at a true distance from a mesh: walls, linings, paint, laminate."""

from __future__ import annotations

import igl
import numpy as np

from fitkit.errors import MeshError, range_message
from fitkit.geometry.distance import Nearest, SurfaceTree
from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
from fitkit.geometry.refine import split_faces

#: Edges are halved until their middles are this near the true surface. [mm]
MIDDLE_ERROR_MM = 0.02
#: Rounds of halving; each shortens an edge that needs it to a half.
HALVINGS = 4
#: Steps along the closest-point direction; one is exact unless the closest point jumps.
NEWTON_STEPS = 6
#: Halvings of an edge that crosses the line where an open surface's offset ends.
BISECTIONS = 14
#: Most grid cells that may touch the surface, to bound time and memory.
MOST_CELLS = 2_000_000
#: Vertices are moved until their distance is right to this. [mm]
CLOSE_ENOUGH_MM = 1e-4
#: Grid values nearer zero than this share of a step are pushed out to it.
NUDGE = 0.02
#: Offsets that make sense for walls, linings and gauges. [mm]
LEAST_DISTANCE_MM, MOST_DISTANCE_MM = 0.01, 200.0


def offset_surface(mesh: Mesh, *, distance_mm: float, resolution_mm: float) -> Mesh:
    """
    Give the surface at a true distance from a mesh.

    Parameters
    ----------
    mesh : Mesh
        A closed mesh wound outward, or an open surface.
    distance_mm : float
        Positive on the side that the face normals point to, negative on the other. [mm]
    resolution_mm : float
        Grid step; hollows and ridges smaller than this may be missed. [mm]

    Returns
    -------
    Mesh
        Wound like `mesh`. Closed if `mesh` is. For an open surface it ends where the
        closest point comes to lie on the open edge: straight above the rim, so it
        does not roll over the rim to the other side.

    Raises
    ------
    MeshError
        If the distance is 0, a number is out of range, or nothing lies that far inside.

    Notes
    -----
    Candidates come from marching cubes over the grid cells that the surface can reach
    (a distance changes by no more than one moves). Their vertices are then moved along
    the direction to their closest point until the distance is right, and edges whose
    middles are off by more than 0.02 mm are halved, four times at most. Vertices are
    exact to 0.001 mm and faces to 0.05 mm, save within one `resolution_mm` of the
    medial axis, where the true surface has creases that are cut short.
    """
    _check(mesh, distance_mm, resolution_mm)
    field = _Field(SurfaceTree(mesh), distance_mm)
    vertices, faces = _candidates(field, resolution_mm)
    vertices = field.projected(vertices)
    if not mesh.is_closed:
        vertices, faces = _trimmed(field, vertices, faces)
    if not len(faces):
        raise MeshError(_nothing_there(distance_mm))
    vertices, faces = _refined(field, vertices, faces)
    return Mesh(vertices, faces).submesh(np.arange(len(faces)))


class _Field:
    """Signed distance to the wanted surface: below zero on the inner side of it."""

    def __init__(self, tree: SurfaceTree, level: float) -> None:
        self.tree, self.level = tree, level
        self._edge_normals = _edge_normals(tree.mesh)

    def __call__(self, points: FloatArray) -> FloatArray:
        squared, face, closest = self.tree.squared(points)
        return self._side(points, face, closest) * np.sqrt(squared) - self.level

    def least_distance(self, points: FloatArray) -> FloatArray:
        """
        Give a distance to the wanted surface that changes no faster than one moves.

        Beyond the rim of an open mesh the signed value jumps, so its sign is left out.
        """
        if self.tree.mesh.is_closed:
            return np.abs(self(points))
        return np.abs(np.sqrt(self.tree.squared(points)[0]) - abs(self.level))

    def projected(self, points: FloatArray) -> FloatArray:
        """Move points along the line to their closest point until the distance is right."""
        points = points.copy()
        left = np.arange(len(points))
        for _ in range(NEWTON_STEPS):
            at = self.tree.nearest(points[left])
            left, at = _off(left, at, abs(self.level))
            if not len(left):
                break
            away = self._outward(points[left], at)
            points[left] = at.point + self.level * away
        return points

    def on_rim(self, points: FloatArray) -> BoolArray:
        """Say where the closest point lies on an open edge of the mesh."""
        return self.tree.nearest(points).on_boundary

    def _outward(self, points: FloatArray, at: Nearest) -> FloatArray:
        """Give unit directions from the closest points to the outer side."""
        away = points - at.point
        normal = self._normals(at.face, at.point)
        touching = at.distance_mm < 1e-6
        away[touching] = normal[touching]
        away /= np.linalg.norm(away, axis=1, keepdims=True)
        side = self._side(points, at.face, at.point)
        side[touching] = 1.0
        side[at.on_boundary] = np.sign(self.level)  # stay on this side of the rim
        return side[:, None] * away

    def _side(self, points: FloatArray, face: IntArray, closest: FloatArray) -> FloatArray:
        if self.tree.mesh.is_closed:
            return np.where(self.tree.winding(points) > 0.5, -1.0, 1.0)
        height = np.einsum("ij,ij->i", points - closest, self._normals(face, closest))
        return np.where(height < 0, -1.0, 1.0)

    def _normals(self, face: IntArray, closest: FloatArray) -> FloatArray:
        """
        Give the normal of the face, edge or corner that each closest point lies on.

        J. A. Bærentzen and H. Aanæs, "Signed distance computation using the angle
        weighted pseudonormal", IEEE Trans. Vis. Comput. Graph. 11(3) (2005): right
        next to the surface, and defined for open surfaces, where winding numbers
        would need a threshold that differs from place to place.
        """
        mesh = self.tree.mesh
        weights = _barycentric(mesh.triangles[face], closest)
        off = weights < 1e-7
        normal = mesh.normals[face]
        for corner in range(3):
            on_edge = off[:, corner]
            opposite = mesh.face_edges[face[on_edge], (corner + 1) % 3]
            normal[on_edge] = self._edge_normals[opposite]
        at_corner = off.sum(axis=1) >= 2
        corner_of = mesh.faces[face, np.argmax(weights, axis=1)]
        normal[at_corner] = mesh.vertex_normals[corner_of[at_corner]]
        return normal


def _off(left: IntArray, at: Nearest, wanted: float) -> tuple[IntArray, Nearest]:
    """Keep only the points whose distance is not right yet."""
    keep = np.abs(at.distance_mm - wanted) > CLOSE_ENOUGH_MM
    kept = Nearest(
        distance_mm=at.distance_mm[keep],
        point=at.point[keep],
        face=at.face[keep],
        on_boundary=at.on_boundary[keep],
    )
    return left[keep], kept


def _edge_normals(mesh: Mesh) -> FloatArray:
    index, count = mesh.face_edges.ravel(), len(mesh.edges)
    each = np.repeat(mesh.normals, 3, axis=0)
    return np.column_stack([np.bincount(index, each[:, k], count) for k in range(3)])


def _barycentric(corners: FloatArray, points: FloatArray) -> FloatArray:
    a, b, c = np.moveaxis(corners, 1, 0)
    whole = np.cross(b - a, c - a)
    size = np.maximum(np.einsum("ij,ij->i", whole, whole), np.finfo(float).tiny)
    pairs = ((b, c), (c, a), (a, b))
    parts = [np.cross(p - points, q - points) for p, q in pairs]
    return np.column_stack([np.einsum("ij,ij->i", v, whole) / size for v in parts])


def _candidates(field: _Field, step: float) -> tuple[FloatArray, IntArray]:
    """Run marching cubes over the grid cells that the surface can pass through."""
    low, high = field.tree.mesh.bounds_mm
    origin = low - abs(field.level) - 2 * step
    extent = float(np.max(high - low)) + 2 * abs(field.level) + 4 * step
    depth = int(np.ceil(np.log2(extent / step)))
    root = step * 2**depth
    cells = igl.lipschitz_octree(origin, root, depth, field.least_distance)
    _, corners, points = igl.unique_sparse_voxel_corners(origin, root, depth, cells)
    value = field(points)
    least = NUDGE * step  # keeps vertices off the grid points, where slivers arise
    value = np.where(np.abs(value) < least, np.where(value < 0, -least, least), value)
    vertices, faces, _ = igl.marching_cubes(value, points, corners, 0.0)
    return vertices, faces


def _refined(
    field: _Field, vertices: FloatArray, faces: IntArray
) -> tuple[FloatArray, IntArray]:
    """Halve the edges whose middles are too far from the wanted surface."""
    seen = 0  # edges between vertices before this one are good already
    for _ in range(HALVINGS):
        mesh = Mesh(vertices, faces)
        fresh = np.nonzero(mesh.edges[:, 1] >= seen)[0]
        middle = vertices[mesh.edges[fresh]].mean(axis=1)
        distance = np.sqrt(field.tree.squared(middle)[0])
        off = np.abs(distance - abs(field.level)) > MIDDLE_ERROR_MM
        if not off.any():
            break
        seen = len(vertices)
        number = np.full(len(mesh.edges), -1)
        number[fresh[off]] = seen + np.arange(off.sum())
        vertices = np.concatenate([vertices, field.projected(middle[off])])
        faces = split_faces(faces, number[mesh.face_edges])
    return vertices, faces


def _trimmed(
    field: _Field, vertices: FloatArray, faces: IntArray
) -> tuple[FloatArray, IntArray]:
    """Cut away what lies beyond the rim: its closest point is on an open edge."""
    beyond = field.on_rim(vertices)
    mesh = Mesh(vertices, faces)
    crossing = beyond[mesh.edges].sum(axis=1) == 1
    number = np.where(crossing, len(vertices) + np.cumsum(crossing) - 1, -1)
    ends = mesh.edges[crossing]
    swap = beyond[ends[:, 0]]
    ends[swap] = ends[swap][:, ::-1]
    added = _last_within(field, vertices[ends[:, 0]], vertices[ends[:, 1]])
    kept = _clipped(faces, beyond[faces], number[mesh.face_edges])
    return np.concatenate([vertices, field.projected(added)]), kept


def _last_within(field: _Field, inner: FloatArray, outer: FloatArray) -> FloatArray:
    """Find the last point of each line from inner to outer that is not past the rim."""
    for _ in range(BISECTIONS):
        middle = (inner + outer) / 2
        past = field.on_rim(middle)[:, None]
        inner, outer = np.where(past, inner, middle), np.where(past, middle, outer)
    return inner


def _clipped(faces: IntArray, beyond: BoolArray, cut: IntArray) -> IntArray:
    """
    Keep the part of each triangle whose corners are not beyond.

    `cut` (m, 3) holds the new vertex on the edge from corner k to k + 1, or -1.
    """
    count = beyond.sum(axis=1)
    lone = np.where(count == 1, np.argmax(beyond, axis=1), np.argmin(beyond, axis=1))
    order = (lone[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(faces, order, axis=1).T
    ab, _, ca = np.take_along_axis(cut, order, axis=1).T
    whole, one, two = (np.nonzero(count == k)[0] for k in range(3))
    pieces = [(whole, (a, b, c)), (one, (ab, b, c)), (one, (ab, c, ca)), (two, (a, ab, ca))]
    return np.concatenate([np.column_stack(corners)[rows] for rows, corners in pieces])


def _nothing_there(distance: float) -> str:
    return (
        f"Nothing lies distance_mm = {distance:g} mm from the mesh on that side: it is "
        "thinner than twice that. Did you mean a smaller distance?"
    )


def _check(mesh: Mesh, distance: float, resolution: float) -> None:
    low, high = LEAST_DISTANCE_MM, MOST_DISTANCE_MM
    if not low <= abs(distance) <= high:
        name = "the size of distance_mm"
        msg = range_message(name, low=low, high=high, unit="mm", got=distance)
        raise MeshError(msg)
    reach = mesh.area_mm2 + 4 * np.pi * distance**2
    finest = float(np.sqrt(3 * reach / MOST_CELLS))
    if not finest <= resolution <= mesh.scale_mm:
        most = mesh.scale_mm
        msg = range_message(
            "resolution_mm", low=finest, high=most, unit="mm", got=resolution
        )
        raise MeshError(msg)
