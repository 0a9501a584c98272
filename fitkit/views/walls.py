"""The finished wall of a placed piece as a field: below zero inside it, above in air."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitkit.fit.placement import Placement
from fitkit.geometry.distance import SurfaceTree

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

FloatArray = NDArray[np.float64]

#: Across an open surface the winding number jumps by one, from about -0.2 to 0.8; near a
#: wide opening from -0.5 to 0.5. A point next to the surface is on the head's side above:
HEAD_SIDE = 0.15
#: Nodes of a grid are first asked at every so manyth, then where the wall may be.
STRIDE = 6


class FinishedWall:
    """
    Finished wall of one piece at one placement, asked for point by point.

    Parameters
    ----------
    piece : Piece
    placement : Placement
    """

    def __init__(self, piece: Piece, placement: Placement) -> None:
        self._piece = piece
        self._placement = placement
        self._facing = SurfaceTree(piece.facing.scaled(placement.size))
        self._skin = self._facing
        if piece.design.surface == "solid":
            self._skin = SurfaceTree(piece.skin.scaled(placement.size))
            self._whole = SurfaceTree(piece.design.whole.scaled(placement.size))

    def sample(self, points: FloatArray) -> FloatArray:
        """
        Say how far points of the head frame are from the finished wall.

        Parameters
        ----------
        points : ndarray, shape (..., 3)
            Right, front, up. [mm]

        Returns
        -------
        ndarray, shape (...)
            Distance to the finished wall in air, 0 on its surfaces, below 0 inside. [mm]
            The surfaces lie at the true distance of the layers from what was drawn.
        """
        at = self._placement.to_sized(points.reshape(-1, 3))
        solid = self._piece.design.surface == "solid"
        field = self._grown_solid(at) if solid else self._grown_skin(at)
        return field.reshape(points.shape[:-1])

    def sample_grid(self, nodes: FloatArray, *, step_mm: float) -> FloatArray:
        """
        Sample a flat grid, finely where the wall is near and coarsely elsewhere.

        Parameters
        ----------
        nodes : ndarray, shape (h, w, 3)
            Right, front, up, `step_mm` apart along rows and columns. [mm]
        step_mm : float
            Step of the grid. [mm]

        Returns
        -------
        ndarray, shape (h, w)
            As `sample` where the wall is within a step; elsewhere the value of a node
            near by, which has the same sign: the field changes by no more than 1 mm a
            mm, so that no wall can hide between.
        """
        height, width = nodes.shape[:2]
        coarse = self.sample(nodes[::STRIDE, ::STRIDE])
        rows, columns = np.arange(height) // STRIDE, np.arange(width) // STRIDE
        field = coarse[np.ix_(rows, columns)]
        near = np.abs(field) <= (np.sqrt(2) * STRIDE + 1) * step_mm
        field[near] = self.sample(nodes[near])
        return field

    def _grown_solid(self, at: FloatArray) -> FloatArray:
        """Drawn solid, joined with all within the layers of its two sides."""
        inner = self._facing.nearest(at).distance_mm
        outer = self._skin.nearest(at).distance_mm
        drawn = np.minimum(inner, outer)
        drawn = np.where(self._whole.winding(at) > 0.5, -drawn, drawn)
        grown = np.minimum(inner - self._piece.lining_mm, outer - self._piece.growth_mm)
        return np.minimum(drawn, grown)

    def _grown_skin(self, at: FloatArray) -> FloatArray:
        """All within the inner layers on the head's side, the outer ones on the other."""
        distance = self._facing.nearest(at).distance_mm
        inward = np.where(self._facing.winding(at) > HEAD_SIDE, distance, -distance)
        field: FloatArray = np.maximum(
            inward - self._piece.lining_mm, -inward - self._piece.growth_mm
        )
        return field
