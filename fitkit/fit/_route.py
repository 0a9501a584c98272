"""A way of a seated wall off a head: straight if it can, else by a search on a lattice."""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fitkit.fit._passage import (
    ENOUGH_MM,
    Ints,
    Nearness,
    Passage,
    carry,
    matrix_of,
    size_of,
)
from fitkit.fit.placement import FloatArray

#: Lift at each step of the straight way. [mm]
LIFT_MM = 6.0
#: Steps of the lattice: up and front in mm, pitch in degrees.
LATTICE_STEP = (8.0, 8.0, 8.0)
#: How far it reaches to either side, front in mm and pitch in degrees.
LATTICE_REACH = (72.0, 56.0)
#: Above this room a node of the lattice is as good as any. [mm]
ROOMY_MM = 3.0
#: A node with less rough room than this is not entered. [mm]
HOPELESS_MM = -70.0
#: Cubes of this size keep one mark each for the lattice. [mm]
_COARSE_MM = 9.0
#: Poses of a finished way are no farther apart than this. [mm]
STRIDE_MM = 6.0
#: Rounds in which points that the exact check finds too near are heeded.
_MENDINGS = 4
#: Room that an exact check may fall short by and still count as touching free. [mm]
TOUCH_MM = 1e-3


@dataclass(frozen=True, kw_only=True, eq=False)
class Route:
    """A way off, from the seat outward, or as far as it got."""

    found: bool
    #: Moves of the wall from its seat, (n, 6). [mm, deg]
    moves: FloatArray
    #: Exact least gap at each, (n,); of a way that was not found, room at marks. [mm]
    gap_mm: FloatArray
    #: The tightest place: its move, (6,), and what is near there.
    tight: FloatArray
    near: Nearness


@dataclass(frozen=True, kw_only=True, eq=False)
class Door:
    """The plane of the opening that the head leaves by, on the seated wall."""

    #: A point of it, (3,). [mm]
    point: FloatArray
    #: Unit normal, out of the wall, (3,).
    outward: FloatArray
    #: Points of the head that have to pass, (k, 3). [mm]
    head: FloatArray

    def is_passed(self, move: FloatArray) -> bool:
        """Whether all of the head lies beyond the plane."""
        matrix = matrix_of(move)
        seen = (self.head - matrix[:3, 3]) @ matrix[:3, :3]
        return bool(((seen - self.point) @ self.outward > 0).all())


def find_route(passage: Passage, door: Door, *, exact: bool = True) -> Route:
    """
    Find a way off the head.

    The straight way lifts the wall step by step and, where it gets tight, moves it to
    where there is most room. If that sticks, the widest way over a lattice of height,
    depth and pitch is taken as a guide, and each of its poses moved to where there is
    most room. Every pose of what is returned as found was measured over all pairs of
    triangles, unless `exact` is False: then at the wall's marks alone, and a way that
    sticks is given up at once, which is quicker.
    """
    straight = straight_way(passage, door)
    if straight is not None:
        done = _finished(passage, straight, exact=exact)
        if done.found:
            return done
    return along(passage, widest(passage, door), exact=exact)


def along(passage: Passage, guide: FloatArray, *, exact: bool) -> Route:
    """Follow a guide (n, 6), each pose moved to where there is most room."""
    moves, rooms = [guide[0]], [passage.near(guide[0]).least_mm]
    for node in guide[1:]:
        move, near = passage.gained(node, reach=8.0, rounds=8)
        moves.append(move)
        rooms.append(near.least_mm)
        if rooms[-1] < -TOUCH_MM and not exact:
            break
    if min(rooms) < -TOUCH_MM:
        return _reached(passage, np.array(moves), np.array(rooms), found=False)
    return _finished(passage, np.array(moves), exact=exact)


def straight_way(passage: Passage, door: Door) -> FloatArray | None:
    """Lift step by step, moved to where there is room; None if that sticks."""
    move = np.zeros(6)
    moves = [move]
    for _ in range(200):
        if door.is_passed(move):
            return np.array(moves)
        lifted = move + np.array([0, 0, LIFT_MM, 0, 0, 0])
        move, near = passage.gained(lifted)
        if near.least_mm < 0:
            return None
        moves.append(move)
    return None


def _finished(passage: Passage, moves: FloatArray, *, exact: bool) -> Route:
    """Fill a way up to small strides, mend it where it is tight, and measure it."""
    dense = _filled(moves)
    rooms = [passage.near(move).least_mm for move in dense]
    for k in np.nonzero(np.array(rooms) < ENOUGH_MM)[0]:
        if k:  # the seat stays
            dense[k], near = passage.gained(dense[k], reach=STRIDE_MM, rounds=10)
            rooms[k] = near.least_mm
            if rooms[k] < -TOUCH_MM:
                break
    if min(rooms) < -TOUCH_MM:
        return _reached(passage, dense, np.array(rooms), found=False)
    if not exact:
        return _reached(passage, dense, np.array(rooms), found=True)
    for _ in range(_MENDINGS):
        found = passage.exact(dense)
        meets = found.apart_mm <= 0
        gap = np.where(meets, np.minimum(found.gap_mm, -2 * TOUCH_MM), found.gap_mm)
        short = np.nonzero(gap < -TOUCH_MM)[0]
        if not len(short):
            return _reached(passage, dense, gap, found=True)
        _heed(passage, dense, short, found.on_moving, found.face_moving)
        for k in short:
            if k:
                dense[k] = passage.gained(dense[k], reach=STRIDE_MM, rounds=10)[0]
    return _reached(passage, dense, gap, found=False)


def _heed(
    passage: Passage, moves: FloatArray, rows: Ints, touched: FloatArray, face: Ints
) -> None:
    """Take the points that touched, and the corners of their faces, into account."""
    mesh, thick = passage.wall.mesh, passage.wall.thick
    for k in rows:
        matrix = matrix_of(moves[k])
        back = (touched[k] - matrix[:3, 3]) @ matrix[:3, :3]
        points = np.vstack([back, mesh.triangles[face[k]]])
        layer = float(thick[np.nonzero(passage.wall.face == face[k])[0][0]])
        passage.heed(points, np.full(len(points), layer))


def _reached(
    passage: Passage, moves: FloatArray, rooms: FloatArray, *, found: bool
) -> Route:
    worst = int(rooms.argmin())
    return Route(
        found=found,
        moves=moves,
        gap_mm=rooms,
        tight=moves[worst],
        near=passage.near(moves[worst]),
    )


def _filled(moves: FloatArray) -> FloatArray:
    """Add poses between, so that no stride is longer than `STRIDE_MM`."""
    rows = [moves[:1]]
    for a, b in pairwise(moves):
        count = max(1, int(np.ceil(size_of(b - a) / STRIDE_MM)))
        share = np.arange(1, count + 1)[:, None] / count
        rows.append(a + share * (b - a))
    return np.concatenate(rows)


# -- lattice ---------------------------------------------------------------------------


def widest(passage: Passage, door: Door) -> FloatArray:
    """
    Give the way over the lattice whose tightest node is the roomiest, (n, 6).

    Rough room from the field is used, held to 3 mm, and of ways that are as wide the
    shortest is taken: Dijkstra's algorithm with the pair of both as its length.
    """
    lattice = _Lattice(passage, door)
    start = lattice.seat
    best: dict[tuple[int, int, int], tuple[float, float]] = {start: (0.0, 0.0)}
    before: dict[tuple[int, int, int], tuple[int, int, int]] = {}
    queue = [(0.0, 0.0, start)]
    last = start
    while queue:
        narrow, length, node = heapq.heappop(queue)
        if (narrow, length) > best[node]:
            continue
        last = node if node[0] >= last[0] else last
        if node[0] and door.is_passed(lattice.move(node)):
            last = node
            break
        for other, way in lattice.around(node):
            there = (max(narrow, ROOMY_MM - lattice.room(other)), length + way)
            if there < best.get(other, (np.inf, np.inf)):
                best[other], before[other] = there, node
                heapq.heappush(queue, (*there, other))
    path = [last]
    while path[-1] in before:
        path.append(before[path[-1]])
    return np.array([lattice.move(node) for node in reversed(path)])


class _Lattice:
    """Nodes of height, depth and pitch, with their rough room, found when asked for."""

    def __init__(self, passage: Passage, door: Door) -> None:
        self._passage = passage
        lift = 0.0
        while not door.is_passed(np.array([0, 0, lift, 0, 0, 0])) and lift < 700:
            lift += LATTICE_STEP[0]
        front, pitch = (
            int(reach // step) if kind in passage.free else 0
            for reach, step, kind in zip(
                LATTICE_REACH, LATTICE_STEP[1:], (1, 3), strict=True
            )
        )
        self.seat = (0, front, pitch)
        self.shape = (int(lift / LATTICE_STEP[0]) + 12, 2 * front + 1, 2 * pitch + 1)
        cell = np.floor(passage.marks / _COARSE_MM).astype(np.int64)
        keep = np.unique(cell, axis=0, return_index=True)[1]
        self._marks, self._layer = passage.marks[keep], passage.layer[keep]
        self._turned: dict[int, FloatArray] = {}
        self._rooms: dict[tuple[int, int, int], float] = {self.seat: ROOMY_MM}

    def move(self, node: tuple[int, int, int]) -> FloatArray:
        up, front, pitch = (
            (k - s) * step for k, s, step in zip(node, self.seat, LATTICE_STEP, strict=True)
        )
        return np.array([0.0, front, up, pitch, 0.0, 0.0])

    def room(self, node: tuple[int, int, int]) -> float:
        if node not in self._rooms:
            if node[2] not in self._turned:
                turn = matrix_of(self.move((0, self.seat[1], node[2])))
                self._turned[node[2]] = carry(turn, self._marks)
            at = self._turned[node[2]] + self.move(node)[:3]
            room = float((self._passage.field.at(at) - self._layer).min())
            self._rooms[node] = min(room, ROOMY_MM)
        return self._rooms[node]

    def around(
        self, node: tuple[int, int, int]
    ) -> list[tuple[tuple[int, int, int], float]]:
        """Neighbours that are not hopeless, and how far they are. [mm]."""
        found = []
        for u in (-1, 0, 1):
            for f in (-1, 0, 1):
                for p in (-1, 0, 1):
                    other = (node[0] + u, node[1] + f, node[2] + p)
                    inside = all(0 <= k < n for k, n in zip(other, self.shape, strict=True))
                    if other == node or not inside or self.room(other) < HOPELESS_MM:
                        continue
                    way = float(np.hypot(8.0 * u, 8.0 * f) + 16.0 * abs(p))
                    found.append((other, way))
        return found
