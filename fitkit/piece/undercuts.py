"""Undercuts: what locks a mould half, or a shell on a head, against a pull, in mm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import ndimage

from fitkit.errors import DesignError
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh, join
from fitkit.geometry.rays import RayScene
from fitkit.piece.laminate import within

#: Grid across the pull, and steps of height along it. [mm]
PIXEL_MM = 1.0
#: A point this near to what hides it is not hidden. [mm]
SKIP_MM = 0.05
#: Margin of air around the grid. [pixels]
MARGIN = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Undercuts:
    """How deep every face lies behind an overhang, seen along a pull."""

    surface: Mesh
    #: Unit direction in which the mould half is pulled off, shape (3,).
    pull: FloatArray
    #: Sideways way from each face to where the pull is free, shape (m,); 0 if it is free
    #: already. [mm]
    depth_mm: FloatArray

    @property
    def worst_mm(self) -> float:
        """Deepest undercut in mm; 0 if there is none."""
        return float(self.depth_mm.max())

    @property
    def worst_at_mm(self) -> FloatArray:
        """Where it is deepest, in mm, shape (3,)."""
        at: FloatArray = self.surface.centroids[self.depth_mm.argmax()]
        return at

    def area_mm2(self, *, over_mm: float = 0.0) -> float:
        """Area that lies deeper than a depth, in mm²."""
        return float(self.surface.areas_mm2[self.depth_mm > over_mm].sum())


@dataclass(frozen=True, kw_only=True, eq=False)
class Parting:
    """A plane square to a pull, each side of which is pulled off its own way."""

    #: Any point of the plane, and its unit normal: the pull of the half ahead; (3,).
    #: [mm]
    point_mm: FloatArray
    normal: FloatArray
    #: What is left locked, ahead and behind together.
    left: Undercuts
    #: Depth that a rubber mould, or a flexing wall, gives way to. [mm]
    tolerance_mm: float
    #: Area that is locked deeper than that. [mm²]
    locked_mm2: float


def undercuts(mesh: Mesh, *, pull: ArrayLike, pixel_mm: float = PIXEL_MM) -> Undercuts:
    """
    Map the undercuts of a surface against a pull.

    Parameters
    ----------
    mesh : Mesh
        The moulded surface, wound outward. Its openings are taken as closed flat, as a
        mould maker closes them.
    pull : array-like, shape (3,)
        Direction in which the mould half is pulled off; any length but zero.
    pixel_mm : float
        Grid across the pull. [mm]

    Returns
    -------
    Undercuts
        Depths are good to about one and a half pixels.

    Raises
    ------
    DesignError
        If the pull has no direction, or the grid is not 0.2 to 10 mm.

    Notes
    -----
    A face is locked if a ray from it along the pull meets the surface. The mould material
    that fills the recess must then move sideways by as much as the recess goes in: the
    shortest way, square to the pull, from the face to where nothing lies above it.
    """
    within("pixel_mm", pixel_mm, low=0.2, high=10, unit="mm")
    direction = _unit(pull)
    return Undercuts(
        surface=mesh,
        pull=direction,
        depth_mm=_depths(mesh, _closed(mesh), direction, pixel_mm),
    )


def best_parting(
    mesh: Mesh, *, pull: ArrayLike, tolerance_mm: float = 0.0, pixel_mm: float = PIXEL_MM
) -> Parting:
    """
    Find where to part a surface so that two halves, pulled apart, are least locked.

    Parameters
    ----------
    mesh : Mesh
        The outside of a piece for a mould; the head, to see where a shell that is parted
        in two comes off it.
    pull : array-like, shape (3,)
        Of the half ahead; the half behind goes the other way.
    tolerance_mm : float
        Depth that gives way: rubber, or the ease of a shell on a head. [mm]
    pixel_mm : float
        Grid across the pull. [mm]

    Returns
    -------
    Parting
        Of all planes square to the pull, that with the least area times depth beyond the
        tolerance; the middle of those as good.

    Raises
    ------
    DesignError
        As `undercuts`, or if the tolerance is not 0 to 50 mm.
    """
    within("tolerance_mm", tolerance_mm, low=0, high=50, unit="mm")
    within("pixel_mm", pixel_mm, low=0.2, high=10, unit="mm")
    direction = _unit(pull)
    whole = _closed(mesh)
    ahead = _depths(mesh, whole, direction, pixel_mm)
    behind = _depths(mesh, whole, -direction, pixel_mm)
    height = mesh.centroids @ direction
    over = [
        np.maximum(depth - tolerance_mm, 0) * mesh.areas_mm2 for depth in (ahead, behind)
    ]
    at = _cheapest(height, *over)
    depth = np.where(height > at, ahead, behind)
    left = Undercuts(surface=mesh, pull=direction, depth_mm=depth)
    return Parting(
        point_mm=at * direction,
        normal=direction,
        left=left,
        tolerance_mm=tolerance_mm,
        locked_mm2=left.area_mm2(over_mm=tolerance_mm),
    )


def _cheapest(height: FloatArray, ahead: FloatArray, behind: FloatArray) -> float:
    """Middle of the heights above which `ahead`, and below which `behind`, sum least."""
    order = np.argsort(height)
    below = np.concatenate([[0.0], np.cumsum(behind[order])])
    above = np.concatenate([np.cumsum(ahead[order][::-1])[::-1], [0.0]])
    cost = below + above
    best = np.nonzero(cost <= cost.min() + 1e-6 * max(float(cost.max()), 1.0))[0]
    edges = np.concatenate([height[order][:1], height[order], height[order][-1:]])
    first, last = edges[best[0]], edges[best[-1] + 1]
    return float(first + last) / 2


def _depths(mesh: Mesh, whole: Mesh, pull: FloatArray, pixel: float) -> FloatArray:
    """Sideways way to where the pull is free, for the middle of every face, (m,)."""
    axes = across(pull)
    scene = RayScene(whole)
    at = mesh.centroids
    starts = at + SKIP_MM * mesh.normals
    ways = np.broadcast_to(pull, starts.shape)
    locked = np.nonzero(scene.blocked(starts, ways, skip_mm=SKIP_MM))[0]
    depth = np.zeros(len(at))
    if len(locked):
        low, top = _top_heights(scene, axes, pull, pixel)
        cells = np.round((at[locked] @ axes.T - low) / pixel).astype(np.int64)
        depth[locked] = _ways_out(top, cells, at[locked] @ pull, pixel)
    return depth


def _top_heights(
    scene: RayScene, plane: FloatArray, pull: FloatArray, pixel: float
) -> tuple[FloatArray, FloatArray]:
    """Corner of a grid across the pull, (2,), and the highest surface at each node."""
    flat = scene.mesh.vertices @ plane.T
    low, high = flat.min(axis=0) - MARGIN * pixel, flat.max(axis=0) + MARGIN * pixel
    axes = [np.arange(a, b, pixel) for a, b in zip(low, high, strict=True)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    far = float((scene.mesh.vertices @ pull).max()) + 10.0
    starts = nodes.reshape(-1, 2) @ plane + far * pull
    hits = scene.first_hit(starts, np.broadcast_to(-pull, starts.shape))
    top = np.where(np.isfinite(hits.distance_mm), far - hits.distance_mm, -np.inf)
    return low, top.reshape(nodes.shape[:2])


def _ways_out(
    top: FloatArray, cells: IntArray, height: FloatArray, pixel: float
) -> FloatArray:
    """Distance from cells, (n, 2), to the nearest node that nothing hides from above."""
    found = np.zeros(len(cells))
    level = np.ceil(height / pixel).astype(np.int64)
    for one in np.unique(level):
        rows = np.nonzero(level == one)[0]
        hidden = top > one * pixel
        way = ndimage.distance_transform_edt(hidden) * pixel
        found[rows] = np.maximum(way[tuple(cells[rows].T)] - pixel / 2, 0.0)
    return found


def _closed(mesh: Mesh) -> Mesh:
    """Close every opening with a fan about its middle."""
    caps = [mesh]
    for loop in mesh.boundary_loops:
        ring = mesh.vertices[loop]
        count = len(ring)
        rim = np.arange(count)
        fan = np.column_stack([np.roll(rim, -1), rim, np.full(count, count)])
        caps.append(Mesh(np.vstack([ring, ring.mean(axis=0)]), fan))
    return join(caps)


def _unit(pull: ArrayLike) -> FloatArray:
    direction = np.asarray(pull, dtype=float)
    length = float(np.linalg.norm(direction))
    if direction.shape != (3,) or not (np.isfinite(length) and length > 0):
        msg = f"pull must be a direction (right, front, up), not zero; got {pull!r}."
        raise DesignError(msg)
    return direction / length


def across(pull: FloatArray) -> FloatArray:
    """Give two unit axes square to a unit direction, right-handed with it, (2, 3)."""
    helper = np.eye(3)[np.abs(pull).argmin()]
    first = np.cross(helper, pull)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(pull, first)])
