"""Flatten open surfaces with as little stretch as can be, and measure the stretch."""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from scipy.sparse import coo_array, diags_array
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import spsolve

from fitkit.errors import MeshError
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh

#: Rounds of the flattening, each of so many steps, until the lengths settle.
ROUNDS, STEPS = 30, 5
#: A triangle smaller than this share of the whole has no shape to keep.
LEAST_SHARE = 1e-9
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
        If the mesh is closed, in several parts, pinched to a point, has a triangle
        without area, or cannot be laid flat without folds.

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
    if np.any(np.bincount(mesh.boundary_edges[:, 0]) > 1) or mesh.edge_uses.max() > 2:
        msg = "This surface hangs together at a single point: split it there first."
        raise MeshError(msg)
    if mesh.areas_mm2.min() <= LEAST_SHARE * mesh.area_mm2:
        msg = "A triangle of this surface has no area: mend it before it is laid flat."
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


def edge_parts(mesh: Mesh) -> tuple[Mesh, ...]:
    """Split into parts that hang together by edges, not by points; most faces first."""
    face, corner = np.nonzero((mesh.edge_uses == 2)[mesh.face_edges])
    order = np.argsort(mesh.face_edges[face, corner], kind="stable")
    pairs = face[order].reshape(-1, 2)
    shape = (len(mesh.faces), len(mesh.faces))
    graph = coo_array((np.ones(len(pairs), dtype=bool), tuple(pairs.T)), shape=shape)
    count, label = connected_components(graph, directed=False)
    parts = [mesh.submesh(label == index) for index in range(count)]
    return tuple(sorted(parts, key=lambda part: len(part.faces), reverse=True))


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
    for start in (_conformal, _spread_out):
        try:
            flat = start(mesh, rim)
        except RuntimeError:  # the solver gave up on a singular system
            continue
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


def _spread_out(mesh: Mesh, rim: IntArray) -> FloatArray:
    """
    Put the rim on a circle and every other vertex amid its neighbours.

    Without folds on any disc: W. T. Tutte, Proc. London Math. Soc. 13, 743-767 (1963).
    igl's own map to the circle has written past its arrays and is not used.
    """
    count = len(mesh.vertices)
    ring = mesh.vertices[rim]
    steps = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1)
    angle = 2 * np.pi * (np.cumsum(steps) - steps) / steps.sum()
    flat = np.zeros((count, 2))
    flat[rim] = np.column_stack([np.cos(angle), np.sin(angle)])
    free = np.setdiff1d(np.arange(count), rim)
    if len(free):
        ends = np.concatenate([mesh.edges, mesh.edges[:, ::-1]])
        links = coo_array((np.ones(len(ends)), tuple(ends.T)), shape=(count, count)).tocsr()
        laplace = diags_array(links.sum(axis=1)) - links
        known = -(laplace.tocsr()[free] @ flat)
        flat[free] = spsolve(laplace.tocsc()[free][:, free], known)
    return flat


def _doubled_areas(flat: FloatArray) -> FloatArray:
    a, b, c = np.moveaxis(flat, 1, 0)
    first, second = b - a, c - a
    doubled: FloatArray = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    return doubled
