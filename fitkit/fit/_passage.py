"""A rigid wall drawn over a rigid head: how near, and which way gains room."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation, binary_fill_holes, distance_transform_edt
from scipy.optimize import linprog

from fitkit.fit._reach import Gaps, Surface, halved, least_gaps
from fitkit.fit.placement import FloatArray, rotation_matrix
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import Mesh

Ints = NDArray[np.int64]

#: Moves of the wall: right, front, up in mm, then pitch, yaw, roll in degrees.
MOVES = 6
#: Step of the field of distances around the head. [mm]
FIELD_STEP_MM = 2.0
#: The field reaches this far around the head. [mm]
FIELD_MARGIN_MM = 20.0
#: How far the field may be off; marks within this of the least are measured. [mm]
FIELD_ERROR_MM = 3.5
#: One mark of the wall is kept in each cube of this size for the search. [mm]
THIN_MM = 3.0
#: Cubes of this size keep one mark each to bound how far the wall goes. [mm]
GONE_MM = 4.0
#: Marks that are measured exactly at one pose: first, and at most.
FIRST_MEASURED, MOST_MEASURED = 60, 800
#: Marks, the tightest, that a small move has to mind.
MINDED = 160
#: Room that is enough: no more is sought. [mm]
ENOUGH_MM = 4.0
#: Radius that turns are weighed with: a degree counts as this many mm. About the arc of
#: one degree at the rim of a neck opening.
DEGREE_MM = 2.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Nearness:
    """The tightest marks of the wall at one pose."""

    #: Room at the marks that were measured, (k,); negative inside the head. [mm]
    room_mm: FloatArray
    #: The marks, carried to the pose, (k, 3). [mm]
    at: FloatArray
    #: Nearest points of the head, (k, 3). [mm]
    head: FloatArray
    #: Direction along which each mark would gain room, (k, 3).
    away: FloatArray
    #: Face of the head that each is nearest to, (k,).
    face: Ints

    @property
    def least_mm(self) -> float:
        """Least room in mm; inf if no mark is near."""
        return float(self.room_mm.min()) if len(self.room_mm) else float("inf")


class Passage:
    """
    One wall, seated on a head that stays where it is.

    Parameters
    ----------
    wall : Surface
        Seated, in axes of the head frame about the middle of the neck opening, which
        moves turn about; its layers grow towards the head.
    head : Mesh
        Closed, in the same axes.
    free : tuple of int
        Which of the six moves may be made besides up.
    """

    def __init__(self, wall: Surface, head: Mesh, *, free: tuple[int, ...]) -> None:
        self.head, self.free = head, free
        self.tree = SurfaceTree(head)
        self.field = SignedField(head, self.tree)
        self._take(wall)

    def _take(self, wall: Surface) -> None:
        self.wall = wall
        marks, piece = wall.marks
        thin = _per_cube(marks, THIN_MM)[0]
        self.marks = marks[thin]
        self.layer = wall.thick[piece[thin]]
        self._spread = self.cubes(GONE_MM)[0]

    def heed(self, points: FloatArray, layer: FloatArray) -> None:
        """Take more points of the seated wall, (k, 3), and their layers into account."""
        self.marks = np.concatenate([self.marks, points])
        self.layer = np.concatenate([self.layer, layer])

    def behind(self, wall: Surface) -> Passage:
        """Give the same head before another wall."""
        other = copy(self)
        other._take(wall)
        return other

    def freed(self, free: tuple[int, ...]) -> Passage:
        """Give the same, with other moves free."""
        other = copy(self)
        other.free = free
        return other

    def cubes(self, size_mm: float) -> tuple[Ints, Ints]:
        """Give one mark of each cube of a size, and for every mark which of them."""
        return _per_cube(self.marks, size_mm)

    def enlarged(self, factor: float, about: FloatArray) -> Passage:
        """
        Give the same head before a wall enlarged about a point, layers and all.

        A head that is smaller by that factor meets the wall just so. It is for looking
        at marks only.
        """
        other = copy(self)
        other.marks = about + factor * (self.marks - about)
        other.layer = factor * self.layer
        return other

    @cached_property
    def head_surface(self) -> Surface:
        return Surface(self.head)

    def near(self, move: FloatArray) -> Nearness:
        """Measure the tightest marks at a move of the wall from its seat, (6,)."""
        at = carry(matrix_of(move), self.marks)
        rough = self.field.at(at) - self.layer
        first = np.argpartition(rough, min(FIRST_MEASURED, len(rough) - 1))[:FIRST_MEASURED]
        room = self._measured(at[first], self.layer[first])[0]
        rows = np.nonzero(rough < room.min() + FIELD_ERROR_MM)[0]
        if len(rows) > MOST_MEASURED:
            rows = rows[np.argpartition(rough[rows], MOST_MEASURED)[:MOST_MEASURED]]
        rows = np.union1d(rows, first)
        room, head, away, face = self._measured(at[rows], self.layer[rows])
        return Nearness(room_mm=room, at=at[rows], head=head, away=away, face=face)

    def _measured(
        self, points: FloatArray, layer: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, Ints]:
        """Room (k,), nearest points, ways to gain room (k, 3) and faces (k,)."""
        squared, face, head = self.tree.squared(points)
        length = np.sqrt(squared)
        away = (points - head) / np.maximum(length, 1e-12)[:, None]
        inside = self.tree.winding(points) > 0.5
        sign = np.where(inside, -1.0, 1.0)
        return sign * length - layer, head, away * sign[:, None], face

    def gained(
        self, move: FloatArray, *, reach: float = 6.0, rounds: int = 6, hold_up: bool = True
    ) -> tuple[FloatArray, Nearness]:
        """
        Move the wall a little so that its least room grows, until there is enough.

        Parameters
        ----------
        move : ndarray, shape (6,)
        reach : float
            How far it may move in all, in each free move; a degree counts two mm. [mm]
        rounds : int
            Linear programs solved at most.
        hold_up : bool
            Whether the height is kept.

        Returns
        -------
        move, near
            The better move, and what is tight there.
        """
        free = np.array([k for k in self.free if not (hold_up and k == 2)], dtype=np.int64)
        unit = np.where(free < 3, 1.0, 1.0 / DEGREE_MM)
        start, near, step = move.copy(), self.near(move), reach / 2
        for _ in range(rounds):
            if near.least_mm >= ENOUGH_MM or step < 0.02 or not len(free):
                break
            moved = move.copy()
            shift = _best_step(near, move, free, unit, start, reach, step)
            moved[free] += shift
            tried = self.near(moved)
            if tried.least_mm > near.least_mm + 1e-4:
                move, near = moved, tried
            else:
                step /= 3
        return move, near

    def gone(self, before: FloatArray, after: FloatArray) -> float:
        """
        Bound how far the wall goes from one move to another, where it is near. [mm].

        What is too far off to come near on the way is left out.
        """
        one, two = matrix_of(before), matrix_of(after)
        spread = GONE_MM * np.sqrt(3)  # from a mark to any point of its cube
        at = carry(one, self.marks[self._spread])
        way = np.linalg.norm(carry(two, self.marks[self._spread]) - at, axis=1)
        way += spread * np.linalg.norm(two[:3, :3] - one[:3, :3], ord=2)
        rough = self.field.at(at) - self.layer[self._spread]
        near = rough < rough.min() + 2 * FIELD_ERROR_MM + spread + way.max()
        return float(way[near].max())

    def exact(self, moves: FloatArray) -> Gaps:
        """
        Measure moves (n, 6) over all pairs of triangles; 0 apart where they meet.

        The wall is the one that moves; the points are where they then are.
        """
        one_by_one = [self._exact(matrix) for matrix in matrices_of(moves)]
        return Gaps(
            **{
                part.name: np.concatenate([getattr(one, part.name) for one in one_by_one])
                for part in fields(Gaps)
            }
        )

    def _exact(self, matrix: FloatArray) -> Gaps:
        """Measure one pose alone: poses of a way are too far apart to share a search."""
        back: FloatArray = np.linalg.inv(matrix).astype(np.float64)
        found = least_gaps(self.head_surface, self.wall, back[None])
        return Gaps(
            gap_mm=found.gap_mm,
            apart_mm=found.apart_mm,
            on_moving=carry(matrix, found.on_still),
            on_still=carry(matrix, found.on_moving),
            face_moving=found.face_still,
            face_still=found.face_moving,
        )


def _best_step(
    near: Nearness,
    move: FloatArray,
    free: Ints,
    unit: FloatArray,
    start: FloatArray,
    reach: float,
    step: float,
) -> FloatArray:
    """Solve for the small move that lifts the least room most, to first order."""
    slope = slopes(near, move)[:, free]
    rows = near.room_mm < near.least_mm + 4 * step
    if len(rows) > MINDED:
        rows &= near.room_mm <= np.partition(near.room_mm, MINDED)[MINDED]
    # room_i + slope_i . d >= t, maximise t
    below = np.column_stack([-slope[rows] * unit, np.ones(int(rows.sum()))])
    gone = (move - start)[free] / unit
    low, high = np.maximum(-step, -reach - gone), np.minimum(step, reach - gone)
    bounds = [*zip(np.minimum(low, 0), np.maximum(high, 0), strict=True), (None, ENOUGH_MM)]
    goal = np.append(np.zeros(len(free)), -1.0)
    found = linprog(goal, A_ub=below, b_ub=near.room_mm[rows], bounds=bounds)
    if found.x is None:
        return np.zeros(len(free))
    return np.asarray(found.x[:-1] * unit, dtype=float)


def slopes(near: Nearness, move: FloatArray) -> FloatArray:
    """Room gained by each mark per unit of each move, (k, 6). [mm/mm, mm/deg]."""
    pivot = move[:3]
    arm = near.at - pivot
    axes = _turning(move)
    turn = np.stack([np.einsum("ij,ij->i", near.away, np.cross(a, arm)) for a in axes], 1)
    gain: FloatArray = np.column_stack([near.away, np.radians(1.0) * turn])
    return gain


def _turning(move: FloatArray) -> FloatArray:
    """Axes about which pitch, yaw and roll turn the wall at a move, (3, 3)."""
    pitch, yaw, _ = np.radians(move[3:])
    about_up = np.array([[np.cos(yaw), -np.sin(yaw), 0], [np.sin(yaw), np.cos(yaw), 0]])
    right = np.array([about_up[0, 0], about_up[1, 0], 0.0])
    front = np.array([about_up[0, 1], about_up[1, 1], 0.0]) * np.cos(pitch)
    front[2] = -np.sin(pitch)
    return np.array([-right, [0.0, 0.0, 1.0], front])


def matrix_of(move: FloatArray) -> FloatArray:
    """Rigid map of a move: turned about the origin, then shifted, (4, 4)."""
    matrix = np.eye(4)
    matrix[:3, :3] = rotation_matrix(*move[3:])
    matrix[:3, 3] = move[:3]
    return matrix


def matrices_of(moves: FloatArray) -> FloatArray:
    """Rigid maps of moves (n, 6), (n, 4, 4)."""
    return np.stack([matrix_of(move) for move in moves])


def matrix_about(move: FloatArray, pivot: FloatArray) -> FloatArray:
    """Rigid map of a move that turns about a point instead of the origin, (4, 4)."""
    matrix = matrix_of(move)
    matrix[:3, 3] += pivot - matrix[:3, :3] @ pivot
    return matrix


def carry(matrix: FloatArray, points: FloatArray) -> FloatArray:
    """Carry points (n, 3) by a rigid map."""
    x, y, z, shift = matrix[:3].T
    carried: FloatArray = points[:, :1] * x
    carried += points[:, 1:2] * y
    carried += points[:, 2:] * z
    carried += shift
    return carried


def size_of(moves: FloatArray) -> FloatArray:
    """How far moves (..., 6) go, in mm; a degree counts two."""
    length: FloatArray = np.linalg.norm(moves[..., :3], axis=-1)
    turned: FloatArray = np.linalg.norm(moves[..., 3:], axis=-1)
    return length + DEGREE_MM * turned


def _per_cube(points: FloatArray, size_mm: float) -> tuple[Ints, Ints]:
    """One point of each cube, and for every point which of those is of its cube."""
    cell = np.floor(points / size_mm).astype(np.int64)
    cell -= cell.min(axis=0)
    spans = cell.max(axis=0) + 1
    key = (cell[:, 0] * spans[1] + cell[:, 1]) * spans[2] + cell[:, 2]
    _, first, group = np.unique(key, return_index=True, return_inverse=True)
    return np.asarray(first, dtype=np.int64), np.asarray(group, dtype=np.int64)


class SignedField:
    """
    Distances to a closed head on a grid, negative inside; roughly right.

    Near the skin they are exact at the middles of cells, but for the side, which is that
    of the nearest face; farther off they are counted from cell to cell.
    """

    def __init__(self, head: Mesh, tree: SurfaceTree) -> None:
        self.low = head.bounds_mm[0] - FIELD_MARGIN_MM
        spans = head.size_mm + 2 * FIELD_MARGIN_MM
        self.shape = np.ceil(spans / FIELD_STEP_MM).astype(np.int64)
        skin = np.zeros(self.shape, dtype=bool)
        fine = halved(head.triangles, FIELD_STEP_MM / 2)[0]
        skin[tuple(self._clipped(fine.reshape(-1, 3)).T)] = True
        band = binary_dilation(skin)
        inside = binary_fill_holes(band) & ~band
        field = distance_transform_edt(~skin) * np.where(inside, -1, 1) * FIELD_STEP_MM
        rows = np.argwhere(band)
        field[tuple(rows.T)] = _near_skin(
            head, tree, self.low + (rows + 0.5) * FIELD_STEP_MM
        )
        #: The field, all cells in one row.
        self.flat = field.astype(np.float32).ravel()

    def cell_of(self, points: FloatArray) -> Ints:
        """Cells of points (n, 3), by their three indices; beyond the grid too."""
        cell: Ints = np.floor((points - self.low) / FIELD_STEP_MM).astype(np.int64)
        return cell

    def _clipped(self, points: FloatArray) -> Ints:
        return np.asarray(np.clip(self.cell_of(points), 0, self.shape - 1), dtype=np.int64)

    def at(self, points: FloatArray) -> FloatArray:
        """Rough distance at points (n, 3); at the border's value beyond it. [mm]."""
        cell = self._clipped(points)
        flat = (cell[:, 0] * self.shape[1] + cell[:, 1]) * self.shape[2] + cell[:, 2]
        found: FloatArray = self.flat[flat].astype(float)
        return found


def _near_skin(head: Mesh, tree: SurfaceTree, points: FloatArray) -> FloatArray:
    """Distance of points near the skin, by the side of the nearest face. [mm]."""
    squared, face, skin = tree.squared(points)
    ahead = np.einsum("ij,ij->i", points - skin, head.normals[face])
    signed: FloatArray = np.sqrt(squared) * np.where(ahead < 0, -1.0, 1.0)
    return signed
