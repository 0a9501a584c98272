"""Flatten open surfaces with as little stretch as can be, and measure the stretch."""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np

from fitkit.errors import MeshError
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh

#: Rounds of the flattening, each of so many steps, until the lengths settle.
ROUNDS, STEPS = 30, 5
#: A round that moves no point by more than this is the last. [mm]
SETTLED_MM = 1e-4


@dataclass(frozen=True, kw_only=True, eq=False)
class FlatSheet:
    """An open surface and its flat copy."""

    mesh: Mesh
    #: Flat position of every vertex, shape (n, 2). [mm]
    flat: FloatArray
    #: How much longer a line of the flat sheet becomes on the surface, at most and at
    #: least over all directions, by face, shape (m, 2): 1 is unstretched.
    stretch: FloatArray

    @property
    def worst_percent(self) -> float:
        """Largest stretch or squeeze of any line in any face, in percent."""
        return float(100.0 * np.abs(self.stretch - 1.0).max())

    @property
    def mean_percent(self) -> float:
        """Mean over the area of the larger of stretch and squeeze, in percent."""
        worst = np.abs(self.stretch - 1.0).max(axis=1)
        return float(100.0 * worst @ self.mesh.areas_mm2 / self.mesh.area_mm2)

    @property
    def flat_area_mm2(self) -> float:
        """Area of the flat sheet, in mm²."""
        return float(_doubled_areas(self.flat[self.mesh.faces]).sum() / 2)


def flatten(mesh: Mesh) -> FlatSheet:
    """
    Lay an open surface flat.

    Parameters
    ----------
    mesh : Mesh
        One connected part with at least one open edge loop.

    Returns
    -------
    FlatSheet
        No triangle is turned over; its outside faces the viewer.

    Raises
    ------
    MeshError
        If the mesh is closed, in several parts, or cannot be flattened without folds.

    Notes
    -----
    Starts from the least squares conformal map (B. Lévy et al., ACM Trans. Graph. 21(3)
    (2002)) and minimizes the symmetric Dirichlet energy, which weighs stretch and
    squeeze alike and forbids folds, by scalable locally injective mappings
    (M. Rabinovich et al., ACM Trans. Graph. 36(2) (2017)).
    """
    if not mesh.boundary_loops or int(mesh.face_parts.max(initial=0)) > 0:
        msg = (
            f"Only one open surface can be laid flat; got {len(mesh.boundary_loops)} open "
            f"loops and {int(mesh.face_parts.max(initial=0)) + 1} parts."
        )
        raise MeshError(msg)
    flat = _unfolded(mesh)
    used = np.unique(mesh.faces)
    data = igl.slim_precompute(
        np.asfortranarray(mesh.vertices),
        np.asfortranarray(mesh.faces.astype(np.int32)),
        np.asfortranarray(flat),
        igl.SYMMETRIC_DIRICHLET,
        np.zeros(0, dtype=np.int32),
        np.asfortranarray(np.zeros((0, 2))),
        0.0,
    )
    for _ in range(ROUNDS):
        after = np.asarray(igl.slim_solve(data, STEPS))[:, :2]
        moved = float(np.abs(after[used] - flat[used]).max())
        flat = after
        if moved < SETTLED_MM:
            break
    flat = np.array(flat - flat[used].mean(axis=0))
    return FlatSheet(mesh=mesh, flat=flat, stretch=stretches(mesh, flat))


def stretches(mesh: Mesh, flat: FloatArray) -> FloatArray:
    """Lengths on the surface over lengths on a flat copy: most and least, (m, 2)."""
    there = _frames(mesh.triangles)
    here = np.moveaxis(flat[mesh.faces], 1, 0)
    edges = np.stack([here[1] - here[0], here[2] - here[0]], axis=-1)
    maps = there @ np.linalg.inv(edges)
    return np.asarray(np.linalg.svd(maps, compute_uv=False), dtype=float)


def _frames(triangles: FloatArray) -> FloatArray:
    """Edges of triangles in axes of their own plane, shape (m, 2, 2)."""
    first, second = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    length = np.linalg.norm(first, axis=1)
    along = np.einsum("ij,ij->i", first, second) / length
    across = np.linalg.norm(np.cross(first, second), axis=1) / length
    frames = np.zeros((len(triangles), 2, 2))
    frames[:, 0, 0], frames[:, 0, 1], frames[:, 1, 1] = length, along, across
    return frames


def _unfolded(mesh: Mesh) -> FloatArray:
    """Give a flat start without folds, at about the right size."""
    rim = mesh.boundary_loops[0]
    for start in (_conformal, _harmonic):
        flat = start(mesh, rim)
        doubled = _doubled_areas(flat[mesh.faces])
        if doubled.sum() < 0:
            flat, doubled = flat * [1.0, -1.0], -doubled
        if np.all(doubled > 0):
            sized: FloatArray = flat * np.sqrt(2 * mesh.area_mm2 / doubled.sum())
            return sized
    msg = "This surface folds over itself when laid flat: split it into smaller pads."
    raise MeshError(msg)


def _conformal(mesh: Mesh, rim: IntArray) -> FloatArray:
    points = mesh.vertices[rim]
    away = np.linalg.norm(points - points[0], axis=1)
    ends = np.array([rim[0], rim[int(away.argmax())]], dtype=np.int64)
    places = np.array([[0.0, 0.0], [float(away.max()), 0.0]])
    flat: FloatArray = igl.lscm(mesh.vertices, mesh.faces, ends, places)[0]
    return flat


def _harmonic(mesh: Mesh, rim: IntArray) -> FloatArray:
    ring = igl.map_vertices_to_circle(
        np.asfortranarray(mesh.vertices), rim.astype(np.int32)
    )
    flat: FloatArray = igl.harmonic(
        mesh.vertices, mesh.faces, rim, np.ascontiguousarray(ring), 1
    )
    return flat


def _doubled_areas(flat: FloatArray) -> FloatArray:
    a, b, c = np.moveaxis(flat, 1, 0)
    first, second = b - a, c - a
    doubled: FloatArray = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    return doubled
