"""Median ease of a zone as a linear function of the unknowns, set right at each look."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import IntArray

#: Moves shorter than this tell nothing of a slope. [percent, mm, degrees]
LEAST_MOVE = 1e-3


@dataclass(frozen=True, kw_only=True, eq=False)
class _Known:
    """One median as it was last measured."""

    #: Where, shape (k,).
    x: FloatArray
    #: What it was. [mm]
    value_mm: float
    #: Mean slope of the zone there, shape (k,).
    slope: FloatArray
    #: How the median has been seen to change beside that, shape (k,).
    beside: FloatArray

    def at(self, x: FloatArray) -> float:
        return self.value_mm + float((self.slope + self.beside) @ (x - self.x))

    def seen_beside(self, x: FloatArray, value_mm: float) -> FloatArray:
        move = x - self.x
        length2 = float(move @ move)
        if length2 <= LEAST_MOVE**2:
            return self.beside
        beside: FloatArray = self.beside + (value_mm - self.at(x)) / length2 * move
        return beside


class Medians:
    """
    Medians of the ease over whole zones, foretold from the last look at them.

    A median is taken to move with the mean of its zone, which is smooth and, unlike the
    median itself, gains nothing from a piece that is pushed to one side. How it moves
    beside the mean is learned from look to look (C. G. Broyden, Math. Comput. 19,
    577-593 (1965)), so that where the solver rests the median is exact.

    Parameters
    ----------
    zone : ndarray of int, shape (n,)
        Zone of each head vertex.
    zones : list of int
        Those whose medians are wanted.
    """

    def __init__(self, zone: IntArray, zones: list[int]) -> None:
        self._zone = zone
        self._zones = [index for index in zones if (zone == index).any()]
        self._known: dict[int, _Known] = {}

    def of(self, index: int, x: FloatArray) -> tuple[float, FloatArray] | None:
        """Foretell a zone's median at x and its slope; None if it was never measured."""
        if index not in self._known:
            return None
        known = self._known[index]
        return known.at(x), known.slope + known.beside

    def learn(
        self,
        x: FloatArray,
        vertex: IntArray,
        ease_mm: FloatArray,
        slope: FloatArray,
        *,
        afresh: bool,
    ) -> dict[int, float]:
        """Measure medians at x from vertices in view; say how far off each was, in mm."""
        off = {}
        for index in self._zones:
            rows = self._zone[vertex] == index
            value = float(np.median(ease_mm[rows]))
            known = None if afresh else self._known.get(index)
            off[index] = np.inf if known is None else abs(value - known.at(x))
            mean = slope[rows].mean(axis=0)
            beside = np.zeros(len(x)) if known is None else known.seen_beside(x, value)
            self._known[index] = _Known(x=x, value_mm=value, slope=mean, beside=beside)
        return off
