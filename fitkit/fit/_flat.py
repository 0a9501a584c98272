"""Lay a curved patch flat with as little stretch as may be, for a template."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array, csr_array, identity
from scipy.sparse.linalg import splu
from scipy.spatial import Delaunay

from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray, Mesh
from fitkit.geometry.rays import RayScene

#: Spacing of the net that is laid flat, unless the patch is large. [mm]
NET_MM = 2.0
#: Most nodes of the net.
MOST_NODES = 3000
#: Rounds of the solver; it stops when a round betters the sum by less than this share.
MOST_ROUNDS, SETTLED = 100, 1e-9


@dataclass(frozen=True, eq=False)
class FlatPatch:
    """Outlines of a patch laid flat."""

    #: Closed outlines in the plane, each (k, 2), first point repeated: right-ish and
    #: up-ish as seen from inside. [mm]
    outlines: tuple[FloatArray, ...]
    #: Largest change of a length in laying it flat. [%]
    stretch_percent: float


def lay_flat(
    patch: Mesh,
    outlines: Sequence[FloatArray],
    *,
    seen_from: FloatArray,
    up: FloatArray,
) -> FlatPatch:
    """
    Flatten a patch that is seen whole, without folds, from one point.

    Parameters
    ----------
    patch : Mesh
        Open surface, of one piece.
    outlines : sequence of ndarray, shape (k, 3)
        Its closed edges, first point repeated. [mm]
    seen_from : ndarray, shape (3,)
        Point from which no ray meets it twice. [mm]
    up : ndarray, shape (3,)
        Direction that points up on the template.

    Notes
    -----
    An even net is laid over the patch in the polar chart about the middle direction,
    lifted onto it, and relaxed in the plane: the sum over its threads of (flat - true
    length)² / true length is made least. What can be developed comes out true; what
    cannot be is spread evenly.
    """
    step = max(NET_MM, float(np.sqrt(1.5 * patch.area_mm2 / MOST_NODES)))
    rings = [_evenly(outline, step / 2) for outline in outlines]
    frame = _Chart(patch, seen_from, up)
    charts = [frame.flat(ring) for ring in rings]
    inner = _net_within(charts, step)
    nodes = np.concatenate([*rings, frame.lifted(inner)])
    start = np.concatenate([*charts, inner])
    triangles = Delaunay(start).simplices.astype(np.int64)
    triangles = triangles[_within(start[triangles].mean(axis=1), charts)]
    edges = _threads(triangles, [len(ring) for ring in rings])
    true = np.linalg.norm(nodes[edges[:, 1]] - nodes[edges[:, 0]], axis=1)
    edges, true = edges[true > 1e-9], true[true > 1e-9]
    points = _relaxed(start.ravel(), edges, true).reshape(-1, 2)
    flat = np.linalg.norm(points[edges[:, 1]] - points[edges[:, 0]], axis=1)
    points -= points[: sum(len(ring) for ring in rings)].mean(axis=0)
    cuts = np.cumsum([len(ring) for ring in rings])
    laid = np.split(points[: cuts[-1]], cuts[:-1])
    return FlatPatch(
        outlines=tuple(np.vstack([ring, ring[:1]]) for ring in laid),
        stretch_percent=100 * float(np.abs(flat / true - 1).max()),
    )


class _Chart:
    """The polar chart of a patch about the middle of the directions to it."""

    def __init__(self, patch: Mesh, seen_from: FloatArray, up: FloatArray) -> None:
        rays = patch.vertices - seen_from
        distance = np.linalg.norm(rays, axis=1)
        middle = (rays / distance[:, None]).mean(axis=0)
        self.middle = middle / np.linalg.norm(middle)
        across = np.cross(self.middle, up)
        across /= np.linalg.norm(across)
        self.axes = np.stack([across, np.cross(across, self.middle)])
        self.scale = float(distance.mean())
        self.seen_from = seen_from
        self.scene = RayScene(patch)

    def flat(self, points: FloatArray) -> FloatArray:
        """Angle off the middle, times the mean distance, along the meridian, (n, 2)."""
        rays = points - self.seen_from
        unit = rays / np.linalg.norm(rays, axis=1)[:, None]
        across = unit @ self.axes.T
        length = np.linalg.norm(across, axis=1)
        off = np.arctan2(length, unit @ self.middle)
        grown: FloatArray = across * (self.scale * off / np.maximum(length, 1e-12))[:, None]
        return grown

    def lifted(self, flat: FloatArray) -> FloatArray:
        """Undo `flat`: points of the patch, (n, 3)."""
        length = np.linalg.norm(flat, axis=1)
        off = length / self.scale
        across = flat / np.maximum(length, 1e-12)[:, None] @ self.axes
        ways = np.cos(off)[:, None] * self.middle + np.sin(off)[:, None] * across
        hits = self.scene.first_hit(self.seen_from, ways).distance_mm
        missed = ~np.isfinite(hits)
        hits[missed] = self.scale if missed.all() else np.median(hits[~missed])
        lifted: FloatArray = self.seen_from + hits[:, None] * ways
        return lifted


def _evenly(outline: FloatArray, step: float) -> FloatArray:
    """Points along a closed outline, at most `step` apart, corners kept, (k, 3)."""
    lengths = np.linalg.norm(np.diff(outline, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(lengths)])
    count = max(8, int(np.ceil(along[-1] / step)))
    at = np.linspace(0, along[-1], count, endpoint=False)
    turns = _corners(outline)
    at = np.unique(np.concatenate([at, along[:-1][turns]]))
    at = at[np.append(np.diff(at) > 0.05 * step, True)]
    return np.column_stack([np.interp(at, along, outline[:, k]) for k in range(3)])


def _corners(outline: FloatArray) -> BoolArray:
    """Whether a closed outline turns sharply, by more than 20 degrees, at each point."""
    ahead = np.diff(outline, axis=0)
    ahead /= np.maximum(np.linalg.norm(ahead, axis=1, keepdims=True), 1e-12)
    turn = np.einsum("ij,ij->i", ahead, np.roll(ahead, 1, axis=0))
    sharp: BoolArray = turn < np.cos(np.radians(20))
    return sharp


def _net_within(charts: Sequence[FloatArray], step: float) -> FloatArray:
    """Nodes of a triangular net inside the outlines, not too near to them, (n, 2)."""
    low, high = np.min(charts[0], axis=0), np.max(charts[0], axis=0)
    rows = np.arange(low[1], high[1], step * np.sqrt(3) / 2)
    columns = np.arange(low[0], high[0] + step, step)
    right, up = np.meshgrid(columns, rows)
    right[1::2] += step / 2
    nodes = np.column_stack([right.ravel(), up.ravel()])
    nodes = nodes[_within(nodes, charts)]
    edge = np.concatenate(charts)
    gaps = np.array([np.min(np.hypot(*(edge - node).T)) for node in nodes])
    return nodes[gaps > 0.5 * step] if len(nodes) else nodes


def _within(points: FloatArray, loops: Sequence[FloatArray]) -> BoolArray:
    """Whether points lie inside an odd number of closed loops (first not repeated)."""
    inside = np.zeros(len(points), dtype=bool)
    for loop in loops:
        after = np.roll(loop, -1, axis=0)
        for a, b in zip(loop, after, strict=True):
            spans = (a[1] > points[:, 1]) != (b[1] > points[:, 1])
            at = a[0] + (points[spans, 1] - a[1]) * (b[0] - a[0]) / (b[1] - a[1])
            inside[spans] ^= at > points[spans, 0]
    return inside


def _threads(triangles: IntArray, ring_sizes: Sequence[int]) -> IntArray:
    """Every edge of the net once, and the outlines' own edges, (e, 2)."""
    sides = np.concatenate(
        [triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]
    )
    start = 0
    rings = []
    for size in ring_sizes:
        ring = start + np.arange(size)
        rings.append(np.column_stack([ring, np.roll(ring, -1)]))
        start += size
    both = np.sort(np.concatenate([sides, *rings]), axis=1)
    return np.unique(both, axis=0).astype(np.int64)


def _relaxed(flat: FloatArray, edges: IntArray, true: FloatArray) -> FloatArray:
    """Let the threads find their true lengths: Levenberg and Marquardt's damped steps."""
    damping, (strain, slope) = 1e-3, _strain(flat, edges, true)
    for _ in range(MOST_ROUNDS):
        pull = slope.T @ slope
        scale = damping * float(pull.diagonal().mean())
        step = splu((pull + scale * identity(len(flat))).tocsc()).solve(slope.T @ strain)
        moved, turned = _strain(flat - step, edges, true)
        before, after = float(strain @ strain), float(moved @ moved)
        if after >= before:
            damping *= 8
            if damping > 1e6:
                break
            continue
        flat, strain, slope, damping = flat - step, moved, turned, damping / 4
        if before - after < SETTLED * before or after < 1e-12 * float(true.sum()):
            break
    return flat


def _strain(
    flat: FloatArray, edges: IntArray, true: FloatArray
) -> tuple[FloatArray, csr_array]:
    """Strain of every thread, and its slope by the nodes' coordinates."""
    points = flat.reshape(-1, 2)
    along = points[edges[:, 1]] - points[edges[:, 0]]
    length = np.maximum(np.linalg.norm(along, axis=1), 1e-12)
    weight = 1 / np.sqrt(true)
    unit = along / length[:, None] * weight[:, None]
    row = np.repeat(np.arange(len(edges)), 4)
    column = np.column_stack(
        [2 * edges[:, 0], 2 * edges[:, 0] + 1, 2 * edges[:, 1], 2 * edges[:, 1] + 1]
    ).ravel()
    value = np.column_stack([-unit, unit]).ravel()
    slope = coo_array((value, (row, column)), shape=(len(edges), len(flat))).tocsr()
    return (length - true) * weight, slope
