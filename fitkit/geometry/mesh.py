"""The one mesh type: triangles in millimetres, wound outward, never changed in place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fitkit.errors import MeshError
from fitkit.geometry.chains import chain

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Array = TypeVar("Array", bound=NDArray[Any])


@dataclass(frozen=True, eq=False)
class Mesh:
    """
    A triangle mesh; every derived quantity is computed once, when first asked for.

    Parameters
    ----------
    vertices : array-like, shape (n, 3)
        Right, front, up. [mm]
    faces : array-like, shape (m, 3)
        Vertex indices, counter-clockwise seen from outside.

    Raises
    ------
    MeshError
        If a shape is wrong, a coordinate is not finite, or an index has no vertex.

    Notes
    -----
    Arrays are kept read-only; a writable array given is copied. Every array handed
    out is read-only too.
    """

    #: Vertices, shape (n, 3): right, front, up. [mm]
    vertices: FloatArray
    #: Triangles, shape (m, 3): vertex indices, counter-clockwise seen from outside.
    faces: IntArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "vertices", _checked_vertices(self.vertices))
        object.__setattr__(self, "faces", _checked_faces(self.faces, len(self.vertices)))

    def __reduce__(self) -> tuple[type[Mesh], tuple[FloatArray, IntArray]]:
        return Mesh, (self.vertices, self.faces)

    def __repr__(self) -> str:
        return f"Mesh({len(self.vertices)} vertices, {len(self.faces)} faces)"

    # -- size ---------------------------------------------------------------------

    @cached_property
    def bounds_mm(self) -> FloatArray:
        """Least and most corner of the box around all vertices, shape (2, 3), in mm."""
        return _lock(np.array([self.vertices.min(axis=0), self.vertices.max(axis=0)]))

    @property
    def size_mm(self) -> FloatArray:
        """Extent along right, front, up, shape (3,), in mm."""
        extent: FloatArray = self.bounds_mm[1] - self.bounds_mm[0]
        return extent

    @cached_property
    def scale_mm(self) -> float:
        """Diagonal of the bounding box: the length that tolerances refer to, in mm."""
        return float(np.linalg.norm(self.size_mm))

    # -- faces and vertices -------------------------------------------------------

    @cached_property
    def triangles(self) -> FloatArray:
        """Corner positions of each face, shape (m, 3, 3), in mm."""
        return _lock(self.vertices[self.faces])

    @cached_property
    def _doubled_area_vectors(self) -> FloatArray:
        a, b, c = np.moveaxis(self.triangles, 1, 0)
        return _lock(np.cross(b - a, c - a))

    @cached_property
    def areas_mm2(self) -> FloatArray:
        """Area of each face, shape (m,), in mm²."""
        return _lock(np.linalg.norm(self._doubled_area_vectors, axis=1) / 2)

    @cached_property
    def normals(self) -> FloatArray:
        """Unit outward normal of each face, shape (m, 3); zero where it has no area."""
        return _lock(_unit(self._doubled_area_vectors))

    @cached_property
    def corner_angles_deg(self) -> FloatArray:
        """Inner angle of each face at each of its corners, shape (m, 3), in degrees."""
        corners = self.triangles
        ahead = _unit(np.roll(corners, -1, axis=1) - corners)
        behind = _unit(np.roll(corners, 1, axis=1) - corners)
        cosine = np.einsum("fij,fij->fi", ahead, behind)
        sine = np.linalg.norm(np.cross(ahead, behind), axis=2)
        return _lock(np.degrees(np.arctan2(sine, cosine)))

    @cached_property
    def vertex_normals(self) -> FloatArray:
        """
        Unit outward normal at each vertex, shape (n, 3); zero at loose vertices.

        Face normals weighted by the corner angle: G. Thürmer and C. Wüthrich,
        "Computing vertex normals from polygonal facets", J. Graphics Tools 3(1),
        43-46 (1998).
        """
        weighted = self.normals[:, None, :] * self.corner_angles_deg[:, :, None]
        flat, index = weighted.reshape(-1, 3), self.faces.ravel()
        count = len(self.vertices)
        total = [np.bincount(index, flat[:, k], minlength=count) for k in range(3)]
        return _lock(_unit(np.column_stack(total)))

    @cached_property
    def centroids(self) -> FloatArray:
        """Centre of each face, shape (m, 3), in mm."""
        return _lock(self.triangles.mean(axis=1))

    # -- edges --------------------------------------------------------------------

    @cached_property
    def _edge_table(self) -> tuple[IntArray, IntArray]:
        ends = np.stack([self.faces, np.roll(self.faces, -1, axis=1)], axis=2)
        low, high = ends.min(axis=2), ends.max(axis=2)
        key = low * len(self.vertices) + high
        found, inverse = np.unique(key.ravel(), return_inverse=True)
        edges = np.column_stack(np.divmod(found, max(len(self.vertices), 1)))
        return _lock(edges), _lock(inverse.reshape(-1, 3).astype(np.int64))

    @property
    def edges(self) -> IntArray:
        """Each edge once, shape (e, 2): lower vertex index first."""
        return self._edge_table[0]

    @property
    def face_edges(self) -> IntArray:
        """Rows of `edges` of each face, shape (m, 3): column k joins corners k, k + 1."""
        return self._edge_table[1]

    @cached_property
    def edge_uses(self) -> IntArray:
        """How many faces share each edge, shape (e,)."""
        uses = np.bincount(self.face_edges.ravel(), minlength=len(self.edges))
        return _lock(uses.astype(np.int64))

    @cached_property
    def edge_balance(self) -> IntArray:
        """
        Faces that run up each edge minus faces that run down it, shape (e,).

        Zero on a consistently wound closed mesh, 1 or -1 on an open edge, 2 or -2
        where two neighbours are wound against each other.
        """
        up = np.where(self.faces < np.roll(self.faces, -1, axis=1), 1.0, -1.0)
        sums = np.bincount(self.face_edges.ravel(), up.ravel(), minlength=len(self.edges))
        return _lock(np.rint(sums).astype(np.int64))

    @cached_property
    def is_closed(self) -> bool:
        """Whether every edge joins exactly two faces that are wound alike."""
        twice = bool(np.all(self.edge_uses == 2))
        return len(self.faces) > 0 and twice and not np.any(self.edge_balance)

    @cached_property
    def open_edges(self) -> BoolArray:
        """Whether each row of `edges` belongs to one face only, shape (e,)."""
        return _lock(self.edge_uses == 1)

    @cached_property
    def boundary_edges(self) -> IntArray:
        """Open edges as vertex pairs, run in the direction of their face, shape (b, 2)."""
        face, corner = np.nonzero(self.open_edges[self.face_edges])
        start, end = self.faces[face, corner], self.faces[face, (corner + 1) % 3]
        return _lock(np.column_stack([start, end]))

    @cached_property
    def boundary_loops(self) -> tuple[IntArray, ...]:
        """
        Vertex indices around each hole, longest first; the first one is not repeated.

        A loop runs in the direction of its faces (the surface lies to the left, seen
        from outside).
        """
        walks = chain(self.boundary_edges)
        loops = [_lock(w[:-1] if w[0] == w[-1] else w) for w in walks]
        return tuple(sorted(loops, key=self.loop_length_mm, reverse=True))

    def loop_length_mm(self, loop: IntArray) -> float:
        """Length once around a closed loop of vertex indices, shape (k,), in mm."""
        ring = self.vertices[loop]
        return float(np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1).sum())

    @cached_property
    def boundary_vertices(self) -> BoolArray:
        """Whether each vertex lies on an open edge, shape (n,)."""
        flags = np.zeros(len(self.vertices), dtype=bool)
        flags[self.boundary_edges] = True
        return _lock(flags)

    # -- whole --------------------------------------------------------------------

    @cached_property
    def area_mm2(self) -> float:
        """Area of all faces, in mm²."""
        return float(self.areas_mm2.sum())

    @cached_property
    def volume_mm3(self) -> float:
        """
        Enclosed volume in mm³, negative when wound inward.

        Only a closed mesh has one: see `is_closed`.
        """
        centred = self.centroids - self.bounds_mm.mean(axis=0)
        return float(np.einsum("ij,ij->", centred, self._doubled_area_vectors) / 6)

    @cached_property
    def face_parts(self) -> IntArray:
        """Which connected part each face belongs to, shape (m,): 0, 1, ..."""
        corners = self.faces
        ends = np.concatenate([corners[:, :2], corners[:, 1:]])
        shape = (len(self.vertices), len(self.vertices))
        graph = coo_array((np.ones(len(ends), dtype=bool), tuple(ends.T)), shape=shape)
        _, labels = connected_components(graph, directed=False)
        _, part = np.unique(labels[corners[:, 0]], return_inverse=True)
        return _lock(part.astype(np.int64))

    def parts(self) -> tuple[Mesh, ...]:
        """Split into connected parts, most faces first."""
        rows = np.split(
            np.argsort(self.face_parts, kind="stable"),
            np.cumsum(np.bincount(self.face_parts))[:-1],
        )
        return tuple(self.submesh(each) for each in sorted(rows, key=len, reverse=True))

    # -- made from this one -------------------------------------------------------

    def submesh(self, chosen: BoolArray | IntArray) -> Mesh:
        """
        Keep only some faces, and the vertices they use.

        Parameters
        ----------
        chosen : ndarray of bool, shape (m,), or of int, shape (k,)
            Faces to keep. Kept vertices stay in order: row i of the new mesh was row
            ``np.unique(mesh.faces[chosen])[i]``.
        """
        kept, faces = np.unique(self.faces[chosen], return_inverse=True)
        return Mesh(self.vertices[kept], faces.reshape(-1, 3))

    def with_vertices(self, vertices: FloatArray) -> Mesh:
        """Give the same triangles other positions, shape (n, 3), in mm."""
        return Mesh(vertices, self.faces)

    def flipped(self) -> Mesh:
        """Wind every face the other way round."""
        return Mesh(self.vertices, self.faces[:, ::-1])

    def moved(self, matrix: ArrayLike) -> Mesh:
        """
        Apply an affine map; a mirroring one also reverses the faces.

        Parameters
        ----------
        matrix : array-like, shape (4, 4)
            Column-vector convention, last row 0, 0, 0, 1; translation in mm.
        """
        m = np.asarray(matrix, dtype=float)
        out = Mesh(self.vertices @ m[:3, :3].T + m[:3, 3], self.faces)
        return out.flipped() if np.linalg.det(m[:3, :3]) < 0 else out

    def scaled(self, factor: float | ArrayLike) -> Mesh:
        """Scale about the origin by one factor, or by one per axis, shape (3,)."""
        factors = np.broadcast_to(np.asarray(factor, dtype=float), (3,))
        return self.moved(np.diag([*factors, 1.0]))


def join(meshes: Sequence[Mesh]) -> Mesh:
    """Put several meshes into one, side by side; nothing is merged or cut."""
    if not meshes:
        msg = "join needs at least one mesh; got none."
        raise MeshError(msg)
    shift = np.cumsum([0, *(len(m.vertices) for m in meshes[:-1])])
    faces = [m.faces + s for m, s in zip(meshes, shift, strict=True)]
    return Mesh(np.concatenate([m.vertices for m in meshes]), np.concatenate(faces))


def _checked_vertices(given: ArrayLike) -> FloatArray:
    vertices = _owned(np.asarray(given, dtype=np.float64))
    if vertices.ndim != 2 or vertices.shape[1] != 3 or len(vertices) == 0:
        msg = f"vertices must have shape (n, 3) with n > 0; got {vertices.shape}."
        raise MeshError(msg)
    bad = ~np.isfinite(vertices).all(axis=1)
    if bad.any():
        first = int(np.argmax(bad))
        msg = (
            f"vertices must be finite, in mm; {int(bad.sum())} of {len(vertices)} are "
            f"not, the first at row {first}: {vertices[first]}."
        )
        raise MeshError(msg)
    return vertices


def _checked_faces(given: ArrayLike, count: int) -> IntArray:
    raw = np.asarray(given)
    if raw.ndim != 2 or raw.shape[1] != 3 or not np.issubdtype(raw.dtype, np.integer):
        msg = (
            "faces must be whole numbers of shape (m, 3); got "
            f"{raw.dtype} of shape {raw.shape}. Split polygons into triangles first."
        )
        raise MeshError(msg)
    if len(raw) and (raw.min() < 0 or raw.max() >= count):
        msg = (
            f"faces must index vertices 0 to {count - 1}; got {raw.min()} to {raw.max()}."
            " Files that count from 1 need 1 taken off."
        )
        raise MeshError(msg)
    return _owned(raw.astype(np.int64, copy=False))


def _owned(array: Array) -> Array:
    """Give a read-only row-by-row array, copied only if someone could still write."""
    ours = array.flags.c_contiguous and not array.flags.writeable
    return array if ours else _lock(array.copy(order="C"))


def _lock(array: Array) -> Array:
    array.setflags(write=False)
    return array


def _unit(vectors: FloatArray) -> FloatArray:
    length = np.linalg.norm(vectors, axis=-1, keepdims=True)
    unit: FloatArray = np.divide(
        vectors, length, out=np.zeros_like(vectors), where=length > 0
    )
    return unit
