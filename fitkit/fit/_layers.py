"""The finished wall as sheets for rays: the drawn faces pushed out or in by the layers."""

from __future__ import annotations

import numpy as np

from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh

#: Faces that meet at more than this are pushed apart, and the gap is bridged. [deg]
CREASE_DEG = 40.0


class Sheet:
    """
    One drawn surface, ready to be pushed along its normals by any thickness.

    Notes
    -----
    Each corner of a face moves along the mean normal of the faces around its vertex
    that lie within 40 degrees of it; across sharper edges the two copies of the edge
    are bridged by a flat strip, and at a rim a strip joins the drawn edge to the pushed
    one. Flat and smooth parts come to lie at the true distance; over a sharp ridge the
    strip cuts the true rounding short by at most 8 % of the thickness at 90 degrees.
    """

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self._ways = corner_normals(mesh)
        self._creases = _crease_corners(mesh)
        self._rims = _ends(mesh, mesh.open_edges)

    def pushed(self, thickness_mm: float) -> Mesh:
        """Give the surface pushed along its normals (negative: against them), in mm."""
        if thickness_mm == 0:
            return self.mesh
        corners = self.mesh.triangles + thickness_mm * self._ways
        flat = corners.reshape(-1, 3)
        drawn = self.mesh.triangles.reshape(-1, 3)
        first, second = self._creases
        bridges = _strip(flat[first], flat[second])
        bands = _strip(drawn[self._rims], flat[self._rims])
        soup = np.concatenate([corners, bridges, bands])
        return Mesh(soup.reshape(-1, 3), np.arange(3 * len(soup)).reshape(-1, 3))


def corner_normals(mesh: Mesh) -> FloatArray:
    """Unit normal at each corner of each face, averaged up to creases, (m, 3, 3)."""
    at = mesh.vertex_normals[mesh.faces]
    sharp = np.zeros(len(mesh.vertices), dtype=bool)
    sharp[mesh.edges[_creased(mesh)]] = True
    chosen = np.nonzero(sharp[mesh.faces].ravel())[0]
    if not len(chosen):
        return at
    flat = at.reshape(-1, 3).copy()
    flat[chosen] = _grouped(mesh, chosen)
    return flat.reshape(-1, 3, 3)


def _grouped(mesh: Mesh, corners: IntArray) -> FloatArray:
    """Mean normal of the faces around each corner that look much the same way."""
    vertex = mesh.faces.ravel()[corners]
    order = np.argsort(vertex, kind="stable")
    sorted_vertex = vertex[order]
    start = np.searchsorted(sorted_vertex, vertex, side="left")
    count = np.searchsorted(sorted_vertex, vertex, side="right") - start
    mine = np.repeat(np.arange(len(corners)), count)
    step = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    other = order[np.repeat(start, count) + step]
    normal = mesh.normals[corners // 3]
    alike = np.einsum("ij,ij->i", normal[mine], normal[other])
    near = alike > np.cos(np.radians(CREASE_DEG))
    weight = mesh.corner_angles_deg.ravel()[corners]
    total = np.zeros((len(corners), 3))
    for axis in range(3):
        pulls = (normal[:, axis] * weight)[other[near]]
        total[:, axis] = np.bincount(mine[near], pulls, minlength=len(corners))
    length = np.linalg.norm(total, axis=1, keepdims=True)
    flat: FloatArray = np.where(length > 0, total / np.maximum(length, 1e-12), normal)
    return flat


def _creased(mesh: Mesh) -> BoolArray:
    """Whether the two faces at each edge meet sharply, shape (e,)."""
    total = np.zeros((len(mesh.edges), 3))
    for column in range(3):
        for axis in range(3):
            total[:, axis] += np.bincount(
                mesh.face_edges[:, column], mesh.normals[:, axis], minlength=len(total)
            )
    bend = np.linalg.norm(total, axis=1) < 2 * np.cos(np.radians(CREASE_DEG / 2))
    sharp: BoolArray = bend & (mesh.edge_uses == 2)
    return sharp


def _ends(mesh: Mesh, chosen: BoolArray) -> IntArray:
    """Corner numbers at both ends of the chosen edges, face by face, sorted by edge."""
    face, corner = np.nonzero(chosen[mesh.face_edges])
    order = np.argsort(mesh.face_edges[face, corner], kind="stable")
    face, corner = face[order], corner[order]
    return np.column_stack([3 * face + corner, 3 * face + (corner + 1) % 3])


def _crease_corners(mesh: Mesh) -> tuple[IntArray, IntArray]:
    """
    Corner numbers of the two copies of every creased edge, each of shape (k, 2).

    Row i of both names the same two vertices in the same order.
    """
    ends = _ends(mesh, _creased(mesh))
    first, second = ends[0::2], ends[1::2]
    vertex = mesh.faces.ravel()
    crossed = vertex[first[:, 0]] != vertex[second[:, 0]]
    second = np.where(crossed[:, None], second[:, ::-1], second)
    return first, second


def _strip(first: FloatArray, second: FloatArray) -> FloatArray:
    """Two triangles between each pair of segments, shapes (k, 2, 3) to (2 k, 3, 3)."""
    a, b = first[:, 0], first[:, 1]
    c, d = second[:, 0], second[:, 1]
    return np.concatenate([np.stack([a, b, d], axis=1), np.stack([a, d, c], axis=1)])
