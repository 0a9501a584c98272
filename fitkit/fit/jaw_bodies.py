"""The jaw and the rest of one piece at one size, made ready for gap queries."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np
from scipy.spatial import cKDTree

from fitkit.errors import DesignError
from fitkit.fit._reach import Surface
from fitkit.fit.jaw_parts import HungJaw
from fitkit.fit.placement import FloatArray
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh, join
from fitkit.geometry.rays import RayScene

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: A face of the whole is that of the facing wall if their centres are this near. [mm]
_SAME_MM = 1e-6


@dataclass(frozen=True, kw_only=True, eq=False)
class Gaps:
    """Least gaps at k turns."""

    #: Of the finished walls, and of the drawn ones, each (k,); minus the depth where
    #: they meet, which is found at vertices. [mm]
    finished_mm: FloatArray
    drawn_mm: FloatArray
    #: Where, in the head frame, (k, 3). [mm]
    at_mm: FloatArray


class Bodies:
    """The jaw and the rest of one piece at one size, made ready for gap queries."""

    def __init__(self, piece: Piece, size: FloatArray) -> None:
        name = str(piece.design.notes.jaw_part)
        others = [m for key, m in piece.design.parts.items() if key != name]
        if not others:
            msg = (
                f"{piece.name} has no part besides its jaw '{name}', so nothing holds the "
                "hinge. Is the shell in another file? Name it under part_files."
            )
            raise DesignError(msg)
        self.piece, self.size = piece, size
        jaw, shell = piece.design.parts[name], join(others)
        self.jaw, self.shell = jaw.scaled(size), shell.scaled(size)
        self.jaw_surface = self._finished(jaw, self.jaw)
        self.shell_surface = self._finished(shell, self.shell)

    def _finished(self, drawn: Mesh, sized: Mesh) -> Surface:
        """Layers on each face: lining towards the head, growth on all else. [mm]."""
        piece = self.piece
        if piece.design.surface != "solid":
            return Surface(sized, ahead_mm=piece.growth_mm, behind_mm=piece.lining_mm)
        away = cKDTree(piece.facing.centroids).query(
            drawn.centroids, distance_upper_bound=_SAME_MM
        )[0]
        layer = np.where(np.isfinite(away), piece.lining_mm, piece.growth_mm)
        return Surface(sized, ahead_mm=layer, behind_mm=layer)

    @cached_property
    def jaw_tree(self) -> SurfaceTree:
        """Kept tree of the sized jaw."""
        return SurfaceTree(self.jaw)

    @cached_property
    def shell_tree(self) -> SurfaceTree:
        """Kept tree of the sized shell."""
        return SurfaceTree(self.shell)

    @cached_property
    def shell_rays(self) -> RayScene:
        """Kept scene of the sized shell."""
        return RayScene(self.shell)

    @cached_property
    def jaw_wall(self) -> SurfaceTree | None:
        """The jaw's wall that faces the head; None if no face of it does."""
        if not self.piece.jaw_faces.any():
            return None
        wall = self.piece.facing.submesh(self.piece.jaw_faces)
        return SurfaceTree(wall.scaled(self.size))

    @cached_property
    def mouth(self) -> tuple[FloatArray, float]:
        """Lip of the jaw and of the shell, (2, 3), sized, and their drawn gap. [mm]."""
        points = self.jaw.vertices
        low, high = self.jaw.bounds_mm
        front = points[:, 1] > low[1] + 0.6 * (high[1] - low[1])
        middle = np.abs(points[:, 0] - (low[0] + high[0]) / 2) < 0.2 * (high[0] - low[0])
        chosen = points[front & middle] if (front & middle).any() else points
        best = int(self.shell_surface.near(chosen)[0].argmin())
        nearest = self.shell_tree.nearest(chosen[best][None])
        lips = np.stack([chosen[best], nearest.point[0]])
        return lips, float(nearest.distance_mm[0])


_KEPT: WeakKeyDictionary[Piece, Bodies] = WeakKeyDictionary()


def bodies_of(piece: Piece, size: FloatArray) -> Bodies:
    """Jaw and shell of a piece at a size, the last ones kept."""
    kept = _KEPT.get(piece)
    if kept is None or not np.array_equal(kept.size, size):
        kept = _KEPT[piece] = Bodies(piece, size)
    return kept


def carry(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Carry points (n, 3) by a map (4, 4)."""
    carried: FloatArray = points @ matrix[:3, :3].T + matrix[:3, 3]
    return carried


def back(matrix: FloatArray) -> FloatArray:
    """Inverse of a rigid map, (4, 4)."""
    inverse = np.eye(4)
    inverse[:3, :3] = matrix[:3, :3].T
    inverse[:3, 3] = -matrix[:3, :3].T @ matrix[:3, 3]
    return inverse


def to_head(hung: HungJaw, sized: FloatArray) -> FloatArray:
    """Carry points of the sized piece to the head frame, same shape, in mm."""
    placed: FloatArray = sized @ hung.placement.rotation.T + hung.placement.shift_mm
    return placed
