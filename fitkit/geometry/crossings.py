"""Where a mesh passes through itself."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

#: Most cells entered for each face or edge, on average, before cells are made larger.
MOST_CELLS = 12
#: Pairs of an edge and a face that are tested at once.
BATCH = 200_000
#: Volumes below this share of the largest there can be count as zero: rounding.
FLAT = 1e-14


def crossing_faces(mesh: Mesh) -> IntArray:
    """
    Find every pair of faces, not joined along an edge, that pass through each other.

    Parameters
    ----------
    mesh : Mesh
        Open or closed; vertices welded, for faces at one place that share no vertex
        count as touching.

    Returns
    -------
    ndarray of int, shape (k, 2)
        Each pair once, lower face index first, in order. Faces that only touch count
        too. None means that the surface is embedded.

    Notes
    -----
    Two triangles meet just when an edge of one meets the other, so every edge is held
    against every face with which it shares no corner, if their boxes overlap; boxes
    meet through a uniform grid, and the test itself is by signs of volumes in double
    precision, rounding counted as touching. Faces that share one corner are thus found
    too if they cross away from it. Two faces that lie in one plane are found by the
    edges that leave it.
    """
    found = []
    for edge, face in _boxes_that_overlap(mesh):
        apart = ~(mesh.edges[edge][:, :, None] == mesh.faces[face][:, None, :]).any((1, 2))
        edge, face = edge[apart], face[apart]
        hit = _meets(mesh.vertices[mesh.edges[edge]], mesh.triangles[face])
        found.append(np.column_stack([edge[hit], face[hit]]))
    edge, face = np.concatenate(found).T if found else np.empty((2, 0), dtype=np.int64)
    return _as_face_pairs(mesh, edge, face)


def _as_face_pairs(mesh: Mesh, edge: IntArray, face: IntArray) -> IntArray:
    """Turn pairs of an edge and a face into pairs of faces, leaving out neighbours."""
    order = np.argsort(mesh.face_edges.ravel(), kind="stable")
    start = np.concatenate([[0], np.cumsum(mesh.edge_uses)])
    row, nth = _expanded(mesh.edge_uses[edge])
    other = order[start[edge[row]] + nth] // 3
    pairs = np.unique(np.sort(np.column_stack([face[row], other]), axis=1), axis=0)
    return np.asarray(pairs.astype(np.int64))


def _meets(segments: FloatArray, triangles: FloatArray) -> BoolArray:
    """Whether segments (k, 2, 3) meet triangles (k, 3, 3), by signs of volumes."""
    start, along = segments[:, 0], segments[:, 1] - segments[:, 0]
    corners = triangles - start[:, None]
    a, b, c = np.moveaxis(corners, 1, 0)
    normal = np.cross(b - a, c - a)
    first = -np.einsum("ij,ij->i", a, normal)
    last = first + np.einsum("ij,ij->i", along, normal)
    round_ab, round_bc, round_ca = (
        np.einsum("ij,ij->i", along, np.cross(p, q)) for p, q in ((a, b), (b, c), (c, a))
    )
    size = np.linalg.norm(along, axis=1) * np.abs(corners).max((1, 2)) ** 2
    slack = FLAT * np.maximum(size, np.abs(corners).max((1, 2)) ** 3)
    through = (np.minimum(first, last) <= slack) & (np.maximum(first, last) >= -slack)
    rounds = np.stack([round_ab, round_bc, round_ca])
    within = (rounds.min(0) >= -slack) | (rounds.max(0) <= slack)
    in_plane = (np.abs(first) <= slack) & (np.abs(last) <= slack)
    meets: BoolArray = through & within & ~in_plane
    return meets


@dataclass(frozen=True, kw_only=True, eq=False)
class _Boxes:
    """Boxes of edges or faces, shape (3, k): corners, and the cells these lie in."""

    low: FloatArray
    high: FloatArray
    low_cell: IntArray
    high_cell: IntArray


def _boxes(corners: FloatArray, origin: FloatArray, cell_mm: float) -> _Boxes:
    low, high = corners.min(axis=1).T.copy(), corners.max(axis=1).T.copy()
    local = [(end - origin[:, None]) / cell_mm for end in (low, high)]
    cells = [np.floor(end).astype(np.int64) for end in local]
    return _Boxes(low=low, high=high, low_cell=cells[0], high_cell=cells[1])


def _boxes_that_overlap(mesh: Mesh) -> Iterator[tuple[IntArray, IntArray]]:
    """Give edge and face indices of pairs whose boxes overlap, batch by batch."""
    if not len(mesh.faces):
        return
    origin, cell_mm = mesh.bounds_mm[0], _cell_mm(mesh)
    edges = _boxes(mesh.vertices[mesh.edges], origin, cell_mm)
    faces = _boxes(mesh.triangles, origin, cell_mm)
    across = (mesh.size_mm / cell_mm).astype(np.int64) + 2
    edge, edge_key = _entries(edges, across)
    face, face_key = _entries(faces, across)
    order = np.argsort(face_key, kind="stable")
    face, face_key = face[order], face_key[order]
    first = np.searchsorted(face_key, edge_key, side="left")
    count = np.searchsorted(face_key, edge_key, side="right") - first
    done = np.concatenate([[0], np.cumsum(count)])
    cuts = np.searchsorted(done, np.arange(0, done[-1] + BATCH, BATCH), side="left")
    for a, b in pairwise(cuts):
        row, nth = _expanded(count[a:b])
        i, j, key = edge[a:b][row], face[first[a:b][row] + nth], edge_key[a:b][row]
        for axis in range(3):
            overlap = edges.low[axis, i] <= faces.high[axis, j]
            overlap &= faces.low[axis, j] <= edges.high[axis, i]
            i, j, key = i[overlap], j[overlap], key[overlap]
        meet = np.maximum(edges.low_cell[:, i], faces.low_cell[:, j])
        once = _key(meet, across) == key  # of all the cells they share, in one
        yield i[once], j[once]


def _cell_mm(mesh: Mesh) -> float:
    """Side of the grid's cells: about a face, but not so small that entries abound."""
    extent = np.ptp(mesh.triangles, axis=1)
    cell = max(float(np.median(extent.max(axis=1))), 1e-6 * mesh.scale_mm, 1e-300)
    while (extent / cell + 1).prod(axis=1).mean() > MOST_CELLS:
        cell *= 1.3
    return cell


def _entries(boxes: _Boxes, across: IntArray) -> tuple[IntArray, IntArray]:
    """Every cell that each box touches: the box's index and the cell's key."""
    span = boxes.high_cell - boxes.low_cell + 1
    row, nth = _expanded(span.prod(axis=0))
    rest, up = np.divmod(nth, span[2, row])
    right, front = np.divmod(rest, span[1, row])
    cell = boxes.low_cell[:, row] + np.stack([right, front, up])
    return row, _key(cell, across)


def _key(cell: IntArray, across: IntArray) -> IntArray:
    key: IntArray = (cell[0] * across[1] + cell[1]) * across[2] + cell[2]
    return key


def _expanded(count: IntArray) -> tuple[IntArray, IntArray]:
    """Row numbers, each repeated as often as counted, and the place within the row."""
    row = np.repeat(np.arange(len(count)), count)
    nth = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    return row, nth
