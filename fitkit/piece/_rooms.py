"""Rooms that are left inside a wall that grows inward, on a grid."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import FloatArray, Mesh

#: Step of the grid. [mm]
STEP_MM = 5.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Room:
    """A room that a wall has shut off from that of the head."""

    volume_mm3: float
    #: Its middle, shape (3,). [mm]
    at_mm: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Rooms:
    """What is left of a cavity."""

    #: Volume of the cavity that holds the origin before the wall grows, and after.
    before_mm3: float
    head_mm3: float
    #: Rooms that were one with it before, largest first.
    others: tuple[Room, ...]


def rooms_within(facing: Mesh, *, lining_mm: FloatArray) -> Rooms:
    """
    Find the rooms farther than a lining from a surface that is wound away from them.

    Parameters
    ----------
    facing : Mesh
        With m faces, about the origin.
    lining_mm : ndarray, shape (m,)
        How far the wall grows inward of each face; negative leaves more room. [mm]

    Notes
    -----
    Volumes are counted in cells of 5 mm: for finding rooms, not for measuring them.
    """
    low, high = facing.bounds_mm
    axes = [np.arange(a, b + STEP_MM, STEP_MM) for a, b in zip(low, high, strict=True)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    points = nodes.reshape(-1, 3)
    shape = nodes.shape[:3]
    tree = SurfaceTree(facing)
    within = (tree.winding(points) > 0.5).reshape(shape)
    home = tuple(int(np.abs(axis).argmin()) for axis in axes)
    before = _with(home, within)
    rows = np.nonzero(before.ravel())[0]
    left = np.zeros(before.size, dtype=bool)
    gap = _gap_mm(tree, points[rows], lining_mm)
    left[rows] = gap > 0
    label, count = ndimage.label(left.reshape(shape))
    cell = STEP_MM**3
    head = int(label[home])
    others = [
        Room(
            volume_mm3=cell * int((label == number).sum()),
            at_mm=nodes[label == number].mean(axis=0),
        )
        for number in range(1, count + 1)
        if number != head
    ]
    return Rooms(
        before_mm3=cell * int(before.sum()),
        head_mm3=cell * int((label == head).sum()) if head else 0.0,
        others=tuple(sorted(others, key=lambda room: -room.volume_mm3)),
    )


def _with(home: tuple[int, ...], within: np.ndarray) -> np.ndarray:
    """The cells of the cavity that is one with the origin's cell."""
    label, _ = ndimage.label(within)
    number = label[home]
    return label == number if number else np.zeros_like(within)


def _gap_mm(tree: SurfaceTree, points: FloatArray, lining_mm: FloatArray) -> FloatArray:
    """Distance to the grown wall; thicker regions are each asked for on their own."""
    gap = np.full(len(points), np.inf)
    for value in np.unique(lining_mm):
        part = tree
        if np.ptp(lining_mm) > 0:
            part = SurfaceTree(tree.mesh.submesh(lining_mm == value))
        gap = np.minimum(gap, part.nearest(points).distance_mm - value)
    return gap
