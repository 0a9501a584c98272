"""Median ease of a zone as a smooth function: a few vertices stand for all of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.fit._sample import farthest_points
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import IntArray
from fitkit.wearer.wearer import Wearer

#: Vertices that stand for a zone, spread over it.
STAND_INS = 24
#: Moves shorter than this tell nothing of a slope. [percent, mm, degrees]
LEAST_MOVE = 1e-3


@dataclass(frozen=True, kw_only=True, eq=False)
class _Shift:
    """What a median exceeds the mean of its stand-ins by, as far as it is known."""

    #: Where all vertices were last measured, shape (k,).
    x: FloatArray
    #: The excess there. [mm]
    shift_mm: float
    #: Its slope, as far as the ways gone have told, shape (k,).
    slope: FloatArray

    def at(self, x: FloatArray) -> float:
        return self.shift_mm + float(self.slope @ (x - self.x))

    def learned(self, x: FloatArray, shift_mm: float) -> _Shift:
        move = x - self.x
        length2 = float(move @ move)
        slope = self.slope
        if length2 > LEAST_MOVE**2:
            slope = slope + (shift_mm - self.at(x)) / length2 * move
        return _Shift(x=x, shift_mm=shift_mm, slope=slope)


class Medians:
    """
    Medians of the ease over whole zones, foretold from the mean over a few vertices.

    The mean is smooth, and unlike the median itself it gains nothing from a piece that
    is pushed to one side. What the median exceeds it by is measured at each look at all
    vertices, and its slope learned from look to look (C. G. Broyden, Math. Comput. 19,
    577-593 (1965)), so that where the solver rests the median is exact.
    """

    def __init__(self, wearer: Wearer, zones: list[int]) -> None:
        self._rows: dict[int, IntArray] = {}
        self._stand_ins: dict[int, IntArray] = {}
        self._shift: dict[int, _Shift] = {}
        for index in zones:
            rows = np.nonzero(wearer.zone == index)[0]
            if len(rows):
                points = wearer.head.vertices[rows]
                kept = farthest_points(points, min(STAND_INS, len(rows)))
                self._rows[index], self._stand_ins[index] = rows, np.sort(rows[kept])

    @property
    def vertex(self) -> IntArray:
        """Head vertices that must be in view, in rising order."""
        none = np.zeros(0, dtype=np.int64)
        return np.unique(np.concatenate([none, *self._stand_ins.values()]))

    def of(
        self,
        index: int,
        x: FloatArray,
        vertex: IntArray,
        ease_mm: FloatArray,
        slope: FloatArray,
    ) -> tuple[float, FloatArray] | None:
        """Give a zone's median and slope from vertices in view; None if never learned."""
        if index not in self._shift:
            return None
        seen = np.searchsorted(vertex, self._stand_ins[index])
        shift = self._shift[index]
        median = float(ease_mm[seen].mean()) + shift.at(x)
        return median, slope[seen].mean(axis=0) + shift.slope

    def learn(
        self, x: FloatArray, vertex: IntArray, ease_mm: FloatArray
    ) -> dict[int, float]:
        """Take exact medians from all vertices at x; say how far off each had been, mm."""
        off = {}
        for index, rows in self._rows.items():
            exact = float(np.median(ease_mm[np.searchsorted(vertex, rows)]))
            seen = np.searchsorted(vertex, self._stand_ins[index])
            shift = exact - float(ease_mm[seen].mean())
            known = self._shift.get(index)
            if known is None:
                off[index] = np.inf
                known = _Shift(x=x, shift_mm=shift, slope=np.zeros(len(x)))
            else:
                off[index] = abs(shift - known.at(x))
            self._shift[index] = known.learned(x, shift)
        return off
