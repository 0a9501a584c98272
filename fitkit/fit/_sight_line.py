"""One eye's straight-ahead line against its opening, with slopes over the unknowns."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit import _outline
from fitkit.fit._moves import Moves
from fitkit.fit.brief import Brief
from fitkit.fit.placement import FloatArray, Placement
from fitkit.fit.sight import SEEN, hull_corners, in_piece, sight_margin_mm
from fitkit.geometry.mesh import IntArray

if TYPE_CHECKING:
    from fitkit.piece.openings import Opening


class SightLine:
    """
    Margins of one straight-ahead line inside its opening, as seen along the line.

    Parameters
    ----------
    pupil : ndarray, shape (3,)
        Entrance pupil, head frame. [mm]
    """

    def __init__(self, opening: Opening, pupil: FloatArray, brief: Brief) -> None:
        outline = _outline.open_ring(opening.outline)
        self._hull = in_piece(opening, hull_corners(opening))
        self._outline = in_piece(opening, outline)
        self.pupil = pupil
        #: Centre of area of the opening on the drawn piece, shape (3,). [mm]
        self.centre = in_piece(opening, _outline.centroid(outline)[None, :])[0]
        #: Margin asked, less than the brief's where the opening is narrow. [mm]
        self.margin_mm = sight_margin_mm(opening, brief)

    def spare(self, placement: Placement, moves: Moves) -> tuple[FloatArray, FloatArray]:
        """
        Margin less what is asked, to each side of the hull and to the outline itself.

        Returns
        -------
        spare : ndarray, shape (m,)
            The last one decides; those to the hull are never less, and tell a solver
            of sides that are not the nearest yet. [mm]
        slope : ndarray, shape (m, k)
        """
        line = self.pupil[SEEN]
        seen = placement.to_head(self._hull)[:, SEEN]
        gap, inward = _outline.edge_gaps(seen, line)
        share = _outline.share_along(seen, line)
        slope = self._slope(
            placement, moves, self._hull, np.arange(len(gap)), inward, share
        )
        seen = placement.to_head(self._outline)[:, SEEN]
        margin, inward, side, share = _outline.nearest_side(seen, line)
        own = self._slope(placement, moves, self._outline, side, inward, share)
        return np.append(gap, margin) - self.margin_mm, np.vstack([slope, own])

    def widen(self, placement: Placement) -> FloatArray:
        """Direction, right and up, in which the nearest side of the outline lies, (2,)."""
        seen = placement.to_head(self._outline)[:, SEEN]
        _, inward, _, _ = _outline.nearest_side(seen, self.pupil[SEEN])
        outward: FloatArray = -inward[0]
        return outward

    @staticmethod
    def _slope(
        placement: Placement,
        moves: Moves,
        corners: FloatArray,
        side: IntArray,
        inward: FloatArray,
        share: FloatArray,
    ) -> FloatArray:
        """Slope of the margin to some sides: how the foot on each moves outward."""
        first, second = corners[side], corners[(side + 1) % len(corners)]
        foot = first + share[:, None] * (second - first)
        moved = moves.slopes(placement, foot)[:, SEEN]
        slope: FloatArray = -np.einsum("mi,mik->mk", inward, moved)
        return slope
