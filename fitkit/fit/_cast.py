"""Cast the pupil's rays: which of its points see a direction, cell by cell."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fitkit.fit._directions import DirectionGrid
from fitkit.fit._shell import Occluder, any_blocked
from fitkit.fit.pupil import Pupil
from fitkit.geometry.mesh import BoolArray, FloatArray, IntArray

Bits = NDArray[np.uint32]
#: Unit directions (k, 3) to whether a reference field holds them (k,).
Within = Callable[[FloatArray], BoolArray]
#: How much of the pupil must get light: all of it, its centre, any of it.
LEVELS = ("clear", "centre", "some")
#: From where to where, in rising order.
Windows = tuple[tuple[float, float], ...]
#: Directions along a meridian are first tried at this step. [deg]
MERIDIAN_STEP_DEG = 0.25
#: Halvings of a step in which something changes: 0.25 degrees to 0.004.
HALVINGS = 6


@dataclass(frozen=True, kw_only=True, eq=False)
class Look:
    """One eye, what stands in its way, and what it could see at all."""

    pupil: Pupil
    #: What is worn.
    worn: Sequence[Occluder]
    #: What is always there: the wearer's own face.
    own: Sequence[Occluder]
    #: The reference field.
    within: Within

    def bits(self, directions: FloatArray, bare: Bits | None = None) -> Bits:
        """
        Mark the pupil's points that see each direction, shape (k,).

        Bit j stands for point j; `bare` marks those that see it when nothing is worn.
        """
        occluders: list[Occluder] = [*self.worn]
        start = bare
        if start is None:
            within = self.within(directions)
            start = np.where(within, self._everything, 0).astype(np.uint32)
            occluders += self.own
        found = np.zeros(len(directions), dtype=np.uint32)
        for j, point in enumerate(self.pupil.points):
            rows = np.nonzero(start >> np.uint32(j) & np.uint32(1))[0]
            aims = directions[rows]
            blocked = any_blocked(occluders, np.broadcast_to(point, aims.shape), aims)
            found[rows[~blocked]] |= np.uint32(1 << j)
        return found

    def lit(self, bits: Bits) -> FloatArray:
        """Give the share of the pupil that gets light, shape (k,)."""
        lit = np.zeros(bits.shape)
        for j, weight in enumerate(self.pupil.weights):
            lit += weight * (bits >> np.uint32(j) & np.uint32(1))
        return np.where(bits == self._everything, 1.0, lit)

    @property
    def _everything(self) -> np.uint32:
        return np.uint32((1 << len(self.pupil.weights)) - 1)

    def levels(self, bits: Bits) -> BoolArray:
        """Say whether all, the centre, and any of the pupil gets light, shape (3, k)."""
        return np.stack([bits == self._everything, bits & np.uint32(1) > 0, bits > 0])


@dataclass(frozen=True, kw_only=True, eq=False)
class CellField:
    """What one eye sees, cell by cell of a grid of shape (n, m)."""

    #: Mean share of the pupil that gets light from the cell.
    lit: FloatArray
    #: Share of the cell's solid angle seen at each level, shape (3, n, m).
    seen: FloatArray
    #: Pupil points that see the cell's middle, shape (n, m).
    bits: Bits


def cast_cells(
    look: Look, grid: DirectionGrid, *, bare: Bits | None = None, refine: int = 1
) -> CellField:
    """
    Cast every cell's middle, then parts of the cells where something ends.

    Parameters
    ----------
    look : Look
    grid : DirectionGrid
    bare : ndarray, shape (n, m), optional
        Points of the pupil that see each cell when nothing is worn.
    refine : int
        Cells whose level differs from a neighbour's are split into refine x refine
        parts.
    """
    flat = None if bare is None else bare.ravel()
    bits = look.bits(grid.directions, flat)
    lit = look.lit(bits)
    seen = look.levels(bits).astype(float)
    cells = _edge_cells(seen.sum(axis=0).reshape(grid.shape))
    if refine > 1 and len(cells):
        parts = grid.parts(cells, count=refine)
        inner = look.bits(parts.reshape(-1, 3))
        lit[cells] = look.lit(inner).reshape(len(cells), -1).mean(axis=1)
        seen[:, cells] = look.levels(inner).reshape(3, len(cells), -1).mean(axis=2)
    return CellField(
        lit=lit.reshape(grid.shape),
        seen=seen.reshape(3, *grid.shape),
        bits=bits.reshape(grid.shape),
    )


def _edge_cells(level: FloatArray) -> IntArray:
    """Cells that differ from one of their eight neighbours, flat numbers."""
    framed = np.pad(level, 1, mode="edge")
    differs = np.zeros(level.shape, dtype=bool)
    rows, columns = level.shape
    for up in range(3):
        for aside in range(3):
            differs |= framed[up : up + rows, aside : aside + columns] != level
    return np.nonzero(differs.ravel())[0]


def find_windows(
    seen: Callable[[FloatArray], BoolArray], *, low: float, high: float, step: float
) -> tuple[Windows, ...]:
    """
    Find from where to where something is seen, on one line of places.

    Parameters
    ----------
    seen : callable
        Places, shape (k,), to whether each of some levels is met, shape (l, k).
    low, high : float
        The part of the line that is asked about.
    step : float
        Places tried at first; every change is then closed in on to step / 64.

    Returns
    -------
    tuple of tuples of (from, to)
        One for each level, in rising order.
    """
    place = np.linspace(low, high, max(2, int(np.ceil((high - low) / step)) + 1))
    met = seen(place)
    level, at = np.nonzero(met[:, 1:] != met[:, :-1])
    opens = met[level, at + 1]
    before, after = place[at].copy(), place[at + 1].copy()
    for _ in range(HALVINGS if len(at) else 0):
        middle = (before + after) / 2
        beyond = seen(middle)[level, np.arange(len(level))] == opens
        after = np.where(beyond, middle, after)
        before = np.where(beyond, before, middle)
    edge = (before + after) / 2
    return tuple(
        _windows(row, edge[level == k], opens[level == k], low, high)
        for k, row in enumerate(met)
    )


def _windows(
    met: BoolArray, edge: FloatArray, opens: BoolArray, low: float, high: float
) -> Windows:
    starts = ([low] if met[0] else []) + edge[opens].tolist()
    ends = edge[~opens].tolist() + ([high] if met[-1] else [])
    return tuple(zip(starts, ends, strict=True))
