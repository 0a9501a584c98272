"""All heights, depths and pitches of a wall over a head at once, and the widest way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import label
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from fitkit.fit._passage import FIELD_STEP_MM, Ints, carry, matrix_of
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import BoolArray

if TYPE_CHECKING:
    from fitkit.fit._passage import Passage
    from fitkit.fit._route import Door

#: Steps of the lattice: up and front in cells of the field, pitch in degrees.
UP_CELLS, FRONT_CELLS, PITCH_DEG = 2, 2, 4.0
#: How far it reaches to either side, front in mm and pitch in degrees, at first and at
#: most.
FRONT_REACH_MM, PITCH_REACH_DEG = 64.0, (28.0, 56.0)
#: Above this room a node is as good as any. [mm]
ROOMY_MM = 4.0
#: Cubes of these sizes keep one mark each: those that find out where the head is near,
#: and those that tell how near. [mm]
COARSE_MM, FINE_MM = 15.0, 5.0
#: Where the first kind finds less room than this, the other is not asked. [mm]
_SHUT_MM = -25.0
#: Cubes with more room than the least by this do not tell how near. [mm]
_FAR_MM = 24.0
#: The widest way is known to this. [mm]
_WIDTH_STEP_MM = 0.25
#: No way is sought through nodes that lack more than this. [mm]
_HOPELESS_MM = -80.0
#: A mm of room short of roomy costs as much as this share of the way.
_NARROW_COST = 0.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Guide:
    """A way over the lattice, from the seat out."""

    #: Nodes, (n, 3): up, front, pitch, as indices.
    nodes: Ints
    #: Moves of the nodes, (n, 6). [mm, deg]
    moves: FloatArray
    #: Room at its tightest node, rough and held to `ROOMY_MM`. [mm]
    width_mm: float


class Lattice:
    """
    Rough room at every height, depth and pitch of a wall over a head.

    Parameters
    ----------
    passage : Passage
        Depth and pitch are left out where they are not free.
    door : Door
    pitch_reach_deg : float
        How far it reaches to either side.
    inner : Lattice, optional
        One of the same that reaches less far, whose nodes need not be looked up again.

    Notes
    -----
    Room is read off the field of distances, at marks of the wall a few mm apart; the
    steps of height and depth are whole cells of that field, so that all depths of one
    height and pitch are looked up at once.
    """

    def __init__(
        self,
        passage: Passage,
        door: Door,
        *,
        pitch_reach_deg: float,
        inner: Lattice | None = None,
    ) -> None:
        self.fronts = _steps(FRONT_REACH_MM, FRONT_CELLS * FIELD_STEP_MM, 1 in passage.free)
        self.pitches = _steps(pitch_reach_deg, PITCH_DEG, 3 in passage.free)
        self.ups = np.arange(0.0, _clear_lift(door), UP_CELLS * FIELD_STEP_MM)
        self.seat = (0, len(self.fronts) // 2, len(self.pitches) // 2)
        shape = len(self.ups), len(self.fronts), len(self.pitches)
        self.room = np.empty(shape)
        self.out = np.empty(shape, dtype=bool)
        spare = 0 if inner is None else (len(self.pitches) - len(inner.pitches)) // 2
        for k, pitch in enumerate(self.pitches):
            self.out[:, :, k] = self._passed(door, pitch)
            if inner is not None and 0 <= k - spare < len(inner.pitches):
                self.room[:, :, k] = inner.room[:, :, k - spare]
                continue
            inside = ~self.out[:, :, k].all(axis=1)
            self.room[:, :, k] = ROOMY_MM
            self.room[inside, :, k] = _rooms(passage, pitch, self.ups[inside], self.fronts)
        self.room[self.seat] = ROOMY_MM

    def moves(self, nodes: Ints) -> FloatArray:
        """Give the moves (n, 6) of nodes (n, 3)."""
        moves = np.zeros((len(nodes), 6))
        moves[:, 2] = self.ups[nodes[:, 0]]
        moves[:, 1] = self.fronts[nodes[:, 1]]
        moves[:, 3] = self.pitches[nodes[:, 2]]
        return moves

    def block(self, nodes: Ints, room_mm: FloatArray) -> None:
        """Take it that no pose near these nodes has more room than this."""
        for node, room in zip(nodes, room_mm, strict=True):
            if tuple(node) != self.seat:
                low, high = np.maximum(node - 1, 0), node + 2
                near = self.room[low[0] : high[0], low[1] : high[1], low[2] : high[2]]
                np.minimum(near, room, out=near)
        self.room[self.seat] = ROOMY_MM

    def widest(self) -> Guide:
        """
        Give the way out whose tightest node is the roomiest.

        The width is found by halving: is the seat still joined to a node outside through
        nodes that are at least so wide? Of the ways that are as wide, the shortest is
        taken, where a narrow stretch counts as longer (Dijkstra's algorithm).
        """
        count = int((ROOMY_MM - _HOPELESS_MM) / _WIDTH_STEP_MM)
        low, high = 0, count  # steps below roomy at which the way is shut, and open
        if self._joined(ROOMY_MM).any():
            high = 0
        while high - low > 1:
            middle = (low + high) // 2
            if self._joined(ROOMY_MM - middle * _WIDTH_STEP_MM).any():
                high = middle
            else:
                low = middle
        width = ROOMY_MM - high * _WIDTH_STEP_MM
        nodes = self._shortest(self._joined(width), width)
        return Guide(nodes=nodes, moves=self.moves(nodes), width_mm=width)

    def _passed(self, door: Door, pitch: float) -> BoolArray:
        """Whether the head is beyond the door, for all heights and depths."""
        turn = matrix_of(np.array([0, 0, 0, pitch, 0, 0]))[:3, :3]
        way = turn @ door.outward
        least = float((door.head @ way).min()) - float(door.point @ door.outward)
        gone = self.ups[:, None] * way[2] + self.fronts * way[1]
        passed: BoolArray = gone < least
        return passed

    def _joined(self, width_mm: float) -> BoolArray:
        """Nodes outside that are joined to the seat through nodes at least so wide."""
        wide = self.room >= width_mm
        named = label(wide, structure=np.ones((3, 3, 3)))[0]
        joined: BoolArray = (named == named[self.seat]) & self.out
        return joined

    def _shortest(self, ends: BoolArray, width_mm: float) -> Ints:
        wide = np.nonzero((self.room >= width_mm).ravel())[0]
        row = np.full(self.room.size, -1)
        row[wide] = np.arange(len(wide))
        start = int(row[np.ravel_multi_index(self.seat, self.room.shape)])
        graph = self._graph(wide, row)
        found = dijkstra(graph, directed=False, indices=[start], return_predecessors=True)
        far, before = found[0][0], found[1][0]
        goals = row[np.nonzero(ends.ravel())[0]]
        if not len(goals):  # nothing leads out at all: as far up as it goes
            goals = np.nonzero(np.isfinite(far))[0][-1:]
        path = [int(goals[far[goals].argmin()])]
        while path[-1] != start:
            path.append(int(before[path[-1]]))
        nodes = np.unravel_index(wide[path[::-1]], self.room.shape)
        return np.stack(nodes, axis=1).astype(np.int64)

    def _graph(self, wide: Ints, row: Ints) -> csr_matrix:
        at = np.stack(np.unravel_index(wide, self.room.shape), axis=1)
        flat = self.room.ravel()
        short = ROOMY_MM - np.minimum(flat[wide], ROOMY_MM)
        here, there, weight = [], [], []
        for step, length in self._directions():
            other = at + step
            inside = ((other >= 0) & (other < self.room.shape)).all(axis=1)
            rows = np.nonzero(inside)[0]
            met = row[np.ravel_multi_index(tuple(other[rows].T), self.room.shape)]
            rows, met = rows[met >= 0], met[met >= 0]
            here.append(rows)
            there.append(met)
            weight.append(length * (1 + _NARROW_COST * (short[rows] + short[met]) / 2))
        whole = np.concatenate(weight), (np.concatenate(here), np.concatenate(there))
        return csr_matrix(whole, shape=(len(wide), len(wide)))

    def _directions(self) -> Iterator[tuple[Ints, float]]:
        """Half of the 26 neighbours, and how far each is; a degree counts two mm."""
        scale = np.array([UP_CELLS, FRONT_CELLS, 0]) * FIELD_STEP_MM
        for step in product((-1, 0, 1), repeat=3):
            if step > (0, 0, 0):
                way = np.array(step)
                length = float(np.linalg.norm(way * scale)) + 2 * PITCH_DEG * abs(step[2])
                yield way, length


def _steps(reach: float, step: float, free: bool) -> FloatArray:
    count = int(reach // step) if free else 0
    steps: FloatArray = np.arange(-count, count + 1, dtype=float) * step
    return steps


def _clear_lift(door: Door) -> float:
    """Lift that surely takes the wall off the head, nodded or not. [mm]."""
    least = float(((door.head - door.point) @ door.outward).min())
    return 1.15 * least / float(door.outward[2]) + 50.0


def _rooms(
    passage: Passage, pitch: float, ups: FloatArray, fronts: FloatArray
) -> FloatArray:
    """Rough room at all heights and depths of one pitch, held to roomy, (u, f). [mm]."""
    turn = matrix_of(np.array([0, 0, 0, pitch, 0, 0]))
    (coarse, cube), (fine, _) = passage.cubes(COARSE_MM), passage.cubes(FINE_MM)
    group = cube[fine]
    looks = [_Look(passage, turn, rows, fronts) for rows in (coarse, fine)]
    room = np.empty((len(ups), len(fronts)))
    everything = np.arange(len(fronts))
    for k, up in enumerate(ups):
        rough = looks[0].at(up, np.arange(len(coarse)), everything)
        room[k] = np.minimum(rough.min(axis=0), ROOMY_MM)
        deep = np.nonzero(room[k] > _SHUT_MM)[0]
        near = (rough[:, deep] < room[k, deep] + _FAR_MM).any(axis=1)
        rows = np.nonzero(near[group])[0]
        if len(rows):
            told = looks[1].at(up, rows, deep).min(axis=0)
            room[k, deep] = np.minimum(room[k, deep], told)
    return room


class _Look:
    """Marks at one pitch, looked up in the field at any height, at all depths."""

    def __init__(
        self, passage: Passage, turn: FloatArray, rows: Ints, fronts: FloatArray
    ) -> None:
        self._field = passage.field
        cell = self._field.cell_of(carry(turn, passage.marks[rows]))
        size = self._field.shape
        shift = np.round(fronts / FIELD_STEP_MM).astype(np.int64)
        right = cell[:, 0].clip(0, size[0] - 1)
        front = (cell[:, 1, None] + shift).clip(0, size[1] - 1)
        self._base = ((right[:, None] * size[1] + front) * size[2]).astype(np.int32)
        self._up, self._most = cell[:, 2].astype(np.int32), int(size[2]) - 1
        self._layer = passage.layer[rows].astype(np.float32)

    def at(self, up: float, rows: Ints, depths: Ints) -> NDArray[np.float32]:
        """Room of marks at a height, at depths, (k, d)."""
        height = (self._up[rows] + round(up / FIELD_STEP_MM)).clip(0, self._most)
        found = self._field.flat[self._base[np.ix_(rows, depths)] + height[:, None]]
        room: NDArray[np.float32] = found - self._layer[rows][:, None]
        return room
