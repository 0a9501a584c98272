"""Solids: unions, cuts, simpler copies; and surfaces at a true distance."""

from __future__ import annotations

from typing import Literal

import numpy as np
from manifold3d import Error, Manifold, Mesh64
from numpy.typing import ArrayLike

from fitkit.errors import MeshError
from fitkit.geometry.mesh import Mesh
from fitkit.geometry.offsets import offset_surface

__all__ = [
    "difference",
    "intersection",
    "is_solid",
    "offset_surface",
    "overlap_mm3",
    "simplify",
    "split_by_plane",
    "union",
]


def is_solid(mesh: Mesh) -> bool:
    """
    Say whether a mesh encloses a volume: closed, wound outward, edges shared by two.

    Surfaces that cut through themselves are not looked for.
    """
    return mesh.is_closed and mesh.volume_mm3 > 0 and _wrapped(mesh).status() == _FINE


def union(first: Mesh, second: Mesh) -> Mesh:
    """
    Give what lies in either solid.

    Raises
    ------
    MeshError
        If either mesh is not a solid.
    """
    return _unwrapped(_solid(first, "first") + _solid(second, "second"), "union")


def difference(first: Mesh, second: Mesh) -> Mesh:
    """
    Give what lies in the first solid but not in the second.

    Raises
    ------
    MeshError
        If either mesh is not a solid, or nothing is left.
    """
    return _unwrapped(_solid(first, "first") - _solid(second, "second"), "difference")


def intersection(first: Mesh, second: Mesh) -> Mesh:
    """
    Give what lies in both solids.

    Raises
    ------
    MeshError
        If either mesh is not a solid, or they do not overlap (see `overlap_mm3`).
    """
    return _unwrapped(_solid(first, "first") ^ _solid(second, "second"), "intersection")


def overlap_mm3(first: Mesh, second: Mesh) -> float:
    """
    Give the volume that two solids share, 0 if they are apart, in mm³.

    Raises
    ------
    MeshError
        If either mesh is not a solid.
    """
    return float((_solid(first, "first") ^ _solid(second, "second")).volume())


def split_by_plane(
    mesh: Mesh, *, point_mm: ArrayLike, normal: ArrayLike
) -> tuple[Mesh, Mesh]:
    """
    Cut a solid in two along a plane; both halves are solids with a flat face.

    Parameters
    ----------
    mesh : Mesh
        A solid.
    point_mm : array-like, shape (3,)
        Any point of the plane. [mm]
    normal : array-like, shape (3,)
        Its normal, any length but zero.

    Returns
    -------
    tuple of two Mesh
        The half that the normal points into, then the other.

    Raises
    ------
    MeshError
        If the mesh is not a solid, or the plane misses it.
    """
    direction = np.asarray(normal, dtype=float)
    direction = direction / np.linalg.norm(direction)
    height = float(np.asarray(point_mm, dtype=float) @ direction)
    ahead, behind = _solid(mesh, "mesh").split_by_plane(direction.tolist(), height)
    return _unwrapped(ahead, "half ahead"), _unwrapped(behind, "half behind")


def simplify(mesh: Mesh, *, tolerance_mm: float) -> Mesh:
    """
    Drop vertices of a solid that the surface can spare.

    Parameters
    ----------
    mesh : Mesh
        A solid.
    tolerance_mm : float
        No surface moves farther than this. [mm]

    Raises
    ------
    MeshError
        If the mesh is not a solid, or nothing of it is thicker than the tolerance.
    """
    return _unwrapped(_solid(mesh, "mesh").simplify(tolerance_mm), "simpler copy")


_FINE = Error.NoError


def _wrapped(mesh: Mesh) -> Manifold:
    # the kernel takes no read-only array, so the vertices are copied
    return Manifold(Mesh64(mesh.vertices.copy(), mesh.faces.astype(np.uint64)))


def _solid(mesh: Mesh, name: Literal["first", "second", "mesh"]) -> Manifold:
    if not mesh.is_closed:
        loops = len(mesh.boundary_loops)
        msg = (
            f"{name} must be a solid; got an open or tangled surface with {loops} holes. "
            "Run mend first, then close what is left by hand."
        )
        raise MeshError(msg)
    if mesh.volume_mm3 <= 0:
        msg = (
            f"{name} must be wound outward; its volume comes out as "
            f"{mesh.volume_mm3:.0f} mm³. Did you mean {name}.flipped()?"
        )
        raise MeshError(msg)
    solid = _wrapped(mesh)
    if solid.status() != _FINE:
        msg = f"{name} must be a solid; the solid kernel says {solid.status().name}."
        raise MeshError(msg)
    return solid


def _unwrapped(solid: Manifold, what: str) -> Mesh:
    if solid.status() != _FINE or solid.is_empty():
        msg = f"The {what} is empty: nothing is left. Do the solids, or the plane, meet?"
        raise MeshError(msg)
    got = solid.to_mesh64()
    return Mesh(got.vert_properties[:, :3], got.tri_verts.astype(np.int64))
