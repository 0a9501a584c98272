"""Median ease of a zone as a smooth function: a few vertices stand for all of them."""

from __future__ import annotations

import numpy as np

from fitkit.fit._sample import farthest_points
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import IntArray
from fitkit.wearer.wearer import Wearer

#: Vertices that stand for a zone, spread over it.
STAND_INS = 24


class Medians:
    """
    Medians of the ease over whole zones, foretold from the mean over a few vertices.

    Between two looks at all vertices the median is taken to move with that mean; each
    look sets the difference right, so that where the solver rests the median is exact.
    The mean is smooth, and unlike the median itself it gains nothing from a piece that
    is pushed to one side.
    """

    def __init__(self, wearer: Wearer, zones: list[int]) -> None:
        self._rows: dict[int, IntArray] = {}
        self._stand_ins: dict[int, IntArray] = {}
        self._shift: dict[int, float] = {}
        for index in zones:
            rows = np.nonzero(wearer.zone == index)[0]
            if len(rows):
                points = wearer.head.vertices[rows]
                kept = farthest_points(points, min(STAND_INS, len(rows)))
                self._rows[index], self._stand_ins[index] = rows, np.sort(rows[kept])
                self._shift[index] = 0.0

    @property
    def vertex(self) -> IntArray:
        """Head vertices that must be in view, in rising order."""
        none = np.zeros(0, dtype=np.int64)
        return np.unique(np.concatenate([none, *self._stand_ins.values()]))

    def of(
        self, index: int, vertex: IntArray, ease_mm: FloatArray, slope: FloatArray
    ) -> tuple[float, FloatArray] | None:
        """Give a zone's median and slope from vertices in view; None for no such zone."""
        if index not in self._stand_ins:
            return None
        seen = np.searchsorted(vertex, self._stand_ins[index])
        mean_slope: FloatArray = slope[seen].mean(axis=0)
        return float(ease_mm[seen].mean()) + self._shift[index], mean_slope

    def learn(self, vertex: IntArray, ease_mm: FloatArray) -> dict[int, float]:
        """Take exact medians from all vertices; say how far off each had been. [mm]."""
        off = {}
        for index, rows in self._rows.items():
            exact = float(np.median(ease_mm[np.searchsorted(vertex, rows)]))
            seen = np.searchsorted(vertex, self._stand_ins[index])
            shift = exact - float(ease_mm[seen].mean())
            off[index] = abs(shift - self._shift[index])
            self._shift[index] = shift
        return off
