"""Volume and its first and second moments: of solids, and of layers on a surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.geometry.mesh import FloatArray, IntArray, Mesh


@dataclass(frozen=True, kw_only=True, eq=False)
class Moments:
    """Integrals of 1, x and x xᵀ over a region."""

    #: [mm³]
    volume: float
    #: Shape (3,). [mm⁴]
    first: FloatArray
    #: Shape (3, 3). [mm⁵]
    second: FloatArray


def solid_moments(mesh: Mesh) -> Moments:
    """
    Integrate over the inside of a closed mesh, exactly.

    Sums over the tetrahedra that each face spans with a point near the middle:
    F. Tonon, J. Math. Stat. 1, 8-11 (2005).
    """
    middle = mesh.bounds_mm.mean(axis=0)
    corners = mesh.triangles - middle
    volume = np.einsum("fi,fi->f", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    volume = volume / 6.0
    total = corners.sum(axis=1)
    squares = np.einsum("f,fki,fkj->ij", volume, corners, corners)
    second = (squares + np.einsum("f,fi,fj->ij", volume, total, total)) / 20.0
    near = Moments(volume=float(volume.sum()), first=volume @ total / 4.0, second=second)
    return _shifted(near, middle)


def band_moments(mesh: Mesh, low: float, high: float) -> Moments:
    """
    Integrate over what lies between two distances from a surface, by Steiner's formula.

    Faces carry prisms, exactly; edges carry wedges and corners cones, each taken at its
    own centre (and edges spread along their length). On the hollow side of a bend the
    wedges count negative: there the prisms overlap.
    """
    powers = [high**k - low**k for k in range(5)]
    middle = mesh.bounds_mm.mean(axis=0)
    parts = (
        _prisms(mesh, middle, powers),
        _wedges(mesh, middle, powers),
        _cones(mesh, middle, powers),
    )
    near = Moments(
        volume=sum(part.volume for part in parts),
        first=np.sum([part.first for part in parts], axis=0),
        second=np.sum([part.second for part in parts], axis=0),
    )
    return _shifted(near, middle)


def _prisms(mesh: Mesh, middle: FloatArray, powers: list[float]) -> Moments:
    area, normal = mesh.areas_mm2, mesh.normals
    corners, centre = mesh.triangles - middle, mesh.centroids - middle
    first = powers[1] * area @ centre + powers[2] / 2 * area @ normal
    flat = np.einsum("f,fki,fkj->ij", area, corners, corners)
    flat = (flat + 9 * np.einsum("f,fi,fj->ij", area, centre, centre)) / 12.0
    cross = np.einsum("f,fi,fj->ij", area, centre, normal)
    tall = np.einsum("f,fi,fj->ij", area, normal, normal)
    second = powers[1] * flat + powers[2] / 2 * (cross + cross.T) + powers[3] / 3 * tall
    return Moments(volume=powers[1] * mesh.area_mm2, first=first, second=second)


def _wedges(mesh: Mesh, middle: FloatArray, powers: list[float]) -> Moments:
    angle, bisector, edge = _bends(mesh)
    ends = mesh.vertices[mesh.edges[edge]] - middle
    along = ends[:, 1] - ends[:, 0]
    bent = angle * np.linalg.norm(along, axis=1)
    centre = ends.mean(axis=1)
    half = np.maximum(np.abs(angle) / 2, 1e-9)
    lean = (np.sin(half) / half)[:, None] * bisector
    weight = powers[2] / 2 * bent
    first = weight @ centre + powers[3] / 3 * bent @ lean
    second = np.einsum("e,ei,ej->ij", weight, centre, centre)
    second += np.einsum("e,ei,ej->ij", weight / 12, along, along)
    cross = powers[3] / 3 * np.einsum("e,ei,ej->ij", bent, centre, lean)
    second += cross + cross.T
    second += powers[4] / 4 * np.einsum("e,ei,ej->ij", bent, lean, lean)
    return Moments(volume=float(weight.sum()), first=first, second=second)


def _cones(mesh: Mesh, middle: FloatArray, powers: list[float]) -> Moments:
    angles = np.radians(mesh.corner_angles_deg).ravel()
    turned = np.bincount(mesh.faces.ravel(), angles, minlength=len(mesh.vertices))
    defect = np.where(mesh.boundary_vertices | (turned == 0), 0.0, 2 * np.pi - turned)
    centre, normal = mesh.vertices - middle, mesh.vertex_normals
    weight = powers[3] / 3 * defect
    first = weight @ centre + powers[4] / 4 * defect @ normal
    second = np.einsum("v,vi,vj->ij", weight, centre, centre)
    cross = powers[4] / 4 * np.einsum("v,vi,vj->ij", defect, centre, normal)
    return Moments(volume=float(weight.sum()), first=first, second=second + cross + cross.T)


def _bends(mesh: Mesh) -> tuple[FloatArray, FloatArray, IntArray]:
    """Angle (positive where convex), bisecting normal and row of every inner edge."""
    face, corner = np.nonzero((mesh.edge_uses == 2)[mesh.face_edges])
    rows = mesh.face_edges[face, corner]
    order = np.argsort(rows, kind="stable")
    one, two = face[order[0::2]], face[order[1::2]]
    start = mesh.vertices[mesh.faces[one, corner[order[0::2]]]]
    end = mesh.vertices[mesh.faces[one, (corner[order[0::2]] + 1) % 3]]
    first, second = mesh.normals[one], mesh.normals[two]
    turn = np.einsum("ei,ei->e", np.cross(first, second), end - start)
    size = np.linalg.norm(np.cross(first, second), axis=1)
    angle = np.arctan2(size, np.einsum("ei,ei->e", first, second))
    bisector = first + second
    length = np.linalg.norm(bisector, axis=1, keepdims=True)
    bisector = bisector / np.maximum(length, 1e-12)
    return np.copysign(angle, turn), bisector, rows[order[0::2]]


def _shifted(near: Moments, by: FloatArray) -> Moments:
    cross = np.outer(near.first, by)
    return Moments(
        volume=near.volume,
        first=near.first + near.volume * by,
        second=near.second + cross + cross.T + near.volume * np.outer(by, by),
    )
