"""The wall as solids that can be cut, at the placed size, every face labelled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
from fitkit.geometry.solids import is_solid

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: What a face of a wall is.
OUTER, INNER, RIM = 0, 1, 2
#: A face whose middle lies this near the surface that faces the head belongs to it. [mm]
SAME_MM = 1e-4
#: A skin's face looks away from the nearest point of the inner side at least this much
#: where it is outer wall; a rim looks along the wall.
LOOKS_AWAY = 0.5


@dataclass(frozen=True, eq=False)
class WallSolid:
    """One part of the piece as a solid, in the piece's axes at its placed size."""

    mesh: Mesh
    #: What each face is: OUTER, INNER or RIM, shape (m,).
    kind: IntArray
    #: None if it can be cut; else why not.
    problem: str | None


def wall_solids(piece: Piece, size: FloatArray) -> Mapping[str, WallSolid]:
    """
    Give every part as a solid: as drawn, or with the wall that its layers make.

    A solid design keeps its drawn wall: its layers go on after the cut. A skin is given
    thickness by moving its vertices along their normals, inward and outward.
    """
    if piece.design.surface == "solid":
        facing = SurfaceTree(piece.facing.scaled(size))
        parts = {name: mesh.scaled(size) for name, mesh in piece.design.parts.items()}
        return {name: _drawn(mesh, facing) for name, mesh in parts.items()}
    return {piece.name: _grown(piece, size)}


def _drawn(mesh: Mesh, facing: SurfaceTree) -> WallSolid:
    near = facing.nearest(mesh.centroids)
    inner = near.distance_mm < SAME_MM
    away = np.einsum("ij,ij->i", mesh.normals, mesh.centroids - near.point)
    thick = 2 * np.median(near.distance_mm[~inner]) if (~inner).any() else 0.0
    rim = ~inner & (near.distance_mm < thick)
    rim &= away < LOOKS_AWAY * near.distance_mm
    rim = _touching(mesh, rim, inner)
    kind = np.where(inner, INNER, np.where(rim, RIM, OUTER))
    return WallSolid(mesh, kind, _problem(mesh))


def _touching(mesh: Mesh, chosen: BoolArray, others: BoolArray) -> BoolArray:
    """Keep only the chosen faces that hang together with an edge of the others."""
    face = np.nonzero(chosen)[0]
    if not len(face):
        return chosen
    patch = mesh.submesh(face)
    edges = np.unique(mesh.face_edges[others])
    meets = np.isin(mesh.face_edges[face], edges).any(axis=1)
    kept = np.isin(patch.face_parts, patch.face_parts[meets])
    touching = np.zeros(len(chosen), dtype=bool)
    touching[face[kept]] = True
    return touching


def _grown(piece: Piece, size: FloatArray) -> WallSolid:
    skin = piece.skin.scaled(size)
    normal = skin.vertex_normals
    count = len(skin.vertices)
    points = np.concatenate(
        [skin.vertices + piece.growth_mm * normal, skin.vertices - piece.lining_mm * normal]
    )
    a, b = skin.boundary_edges.T
    rims = np.concatenate(
        [np.column_stack([b, a, a + count]), np.column_stack([b, a + count, b + count])]
    )
    faces = np.concatenate([skin.faces, skin.faces[:, ::-1] + count, rims])
    sizes = [len(skin.faces), len(skin.faces), len(rims)]
    kind = np.repeat([OUTER, INNER, RIM], sizes)
    mesh = Mesh(points, faces)
    return WallSolid(mesh, kind, _problem(mesh))


def _problem(mesh: Mesh) -> str | None:
    if is_solid(mesh):
        return None
    holes = len(mesh.boundary_loops)
    return f"it is no closed solid ({holes} open edges around); mend it first"
