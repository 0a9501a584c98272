"""Ease at the same vertices again and again, measured anew only where it could matter."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import BoolArray, IntArray

if TYPE_CHECKING:
    from fitkit.fit._demands import Demands, View

#: Spare ease below which a vertex is always measured anew. [mm]
ALWAYS_MM = 2.0
#: So is every vertex that may have less than this more than the tightest. [mm]
NEAR_MM = 10.0


class Watch:
    """
    Views of chosen head vertices as the unknowns change.

    A distance changes by no more than the point moves. So a vertex that had so much
    room that it cannot have become tight is not measured: it is given the least ease
    it can have, and its last slope. The tightest vertices are always exact, and with
    them all that is minimised; and the far ones are those that take longest to measure.
    """

    def __init__(self, demands: Demands, vertex: IntArray) -> None:
        self._demands, self._vertex = demands, vertex
        self._points = demands.wearer.head.vertices[vertex]
        self._asked = np.zeros((len(vertex), 3))
        self._room = np.full(len(vertex), -np.inf)
        self._slope = np.zeros((len(vertex), demands.moves.count))

    def view(self, x: FloatArray) -> View:
        """Measure ease and slopes at x."""
        demands = self._demands
        placement = demands.moves.placement(x)
        asked, shrink = demands.cavity.asked(self._points, placement)
        moved = np.linalg.norm(asked - self._asked, axis=1)
        taken = demands.taken_mm(self._vertex)
        ease = shrink * (self._room - moved) - taken
        wanted = demands.least_mm[demands.wearer.zone[self._vertex]]
        spare = ease - wanted
        look = spare < max(ALWAYS_MM, spare.min() + NEAR_MM)
        self._measure(x, look, asked, ease)
        tightest = (ease - wanted)[look].min()
        self._measure(x, ~look & (spare < tightest), asked, ease)
        return demands.seen(x, self._vertex, ease, self._slope.copy())

    def _measure(
        self, x: FloatArray, look: BoolArray, asked: FloatArray, ease: FloatArray
    ) -> None:
        if look.any():
            view, room = self._demands.look(x, self._vertex[look])
            ease[look], self._slope[look] = view.ease_mm, view.slope
            self._asked[look], self._room[look] = asked[look], room
