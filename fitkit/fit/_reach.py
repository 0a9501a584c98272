"""Least gap between two surfaces at many poses of one of them, exact and fast."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from scipy.spatial import cKDTree

from fitkit.fit._triangles import triangle_gaps
from fitkit.geometry.mesh import Mesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Triangles are halved until they fit into a ball of this radius. [mm]
PIECE_RADIUS_MM = 3.0
#: Step of the coarse field of distances, at least, and how many cells it may have. [mm]
FIELD_STEP_MM, FIELD_CELLS = 2.0, 1_500_000
#: Pairs that are measured at once for each pose.
ROUND = 12
#: A pair that cannot be nearer than the nearest by more than this is let go, so that
#: walls that run along each other do not all have to be measured. [mm]
TOLERANCE_MM = 0.004
#: No point of a triangle is farther from its corners and the centre of its ball than
#: this share of the ball's radius: 1 / sqrt(3), when it is equilateral.
COVER = 0.578
#: Corners this near to each other, along each axis, are marked once. [mm]
_SAME_MM = 0.01
#: How far around a surface its field reaches. [mm]
MARGIN_MM = 12.0
#: Pieces of each pose that are looked up first, to bound the least gap from above.
FIRST_TRIES = 12


@dataclass(frozen=True, kw_only=True, eq=False)
class Gaps:
    """The least gap at each of p poses, in the frame of the surface that stays."""

    #: Gap between the finished surfaces: distance less both layers, (p,). [mm]
    gap_mm: Floats
    #: Distance of the drawn surfaces, 0 where they meet, (p,). [mm]
    apart_mm: Floats
    #: Nearest points of the two drawn surfaces, (p, 3). [mm]
    on_moving: Floats
    on_still: Floats
    #: Face of each that they lie on, (p,).
    face_moving: Ints
    face_still: Ints


class Surface:
    """
    A surface made ready for gap queries.

    Parameters
    ----------
    mesh : Mesh
    ahead_mm, behind_mm : float or ndarray, shape (m,)
        Layers that grow on each face, along its normal and against it. [mm]
    """

    def __init__(
        self, mesh: Mesh, *, ahead_mm: float | Floats = 0.0, behind_mm: float | Floats = 0.0
    ) -> None:
        self.mesh = mesh
        self.triangles, self.face = halved(mesh.triangles, PIECE_RADIUS_MM)
        self.centre, self.radius = _balls(self.triangles)
        count = len(mesh.faces)
        self.ahead = np.broadcast_to(np.asarray(ahead_mm, float), (count,))[self.face]
        self.behind = np.broadcast_to(np.asarray(behind_mm, float), (count,))[self.face]
        self.thick = np.maximum(self.ahead, self.behind)
        self.thin = np.minimum(self.ahead, self.behind)
        self.widest = float(self.radius.max())
        self.cover = COVER * self.widest + 2 * _SAME_MM
        self.thickest = float(self.thick.max())

    @cached_property
    def tree(self) -> cKDTree:
        """Kept tree of the pieces' centres."""
        return cKDTree(self.centre, balanced_tree=False)

    def near(self, points: Floats, *, reach_mm: float = np.inf) -> tuple[Floats, Ints]:
        """Distance to the nearest mark within reach, inf beyond, and which, each (n,)."""
        away, met = self.mark_tree.query(points, distance_upper_bound=reach_mm)
        return np.asarray(away, dtype=float), np.asarray(met, dtype=np.int64)

    @cached_property
    def field(self) -> _Field:
        """Kept coarse field of distances from below."""
        return _Field(self.marks[0], self.cover)

    @cached_property
    def marks(self) -> tuple[Floats, Ints]:
        """Points no farther than `cover` from any of the surface, and their pieces."""
        corners = self.triangles.reshape(-1, 3)
        at = np.concatenate([self.centre, corners])
        rows = np.arange(len(self.face))
        piece = np.concatenate([rows, np.repeat(rows, 3)])
        cell = np.round(corners / _SAME_MM).astype(np.int64)
        key = cell @ np.array([1, 2_097_152, 2_097_152**2])
        first = np.unique(key, return_index=True)[1]
        keep = np.concatenate([np.arange(len(self.face)), len(self.face) + first])
        return at[keep], piece[keep]

    @cached_property
    def mark_tree(self) -> cKDTree:
        """Kept tree of the marks."""
        return cKDTree(self.marks[0], balanced_tree=False)


class _Field:
    """Distances to a surface from below, on a grid: to let far pieces go quickly."""

    def __init__(self, marks: Floats, cover: float) -> None:
        low, high = marks.min(axis=0) - MARGIN_MM, marks.max(axis=0) + MARGIN_MM
        step = max(FIELD_STEP_MM, float((np.prod(high - low) / FIELD_CELLS) ** (1 / 3)))
        self.low, self.step = low, step
        self.shape = np.ceil((high - low) / step).astype(np.int64)
        free = np.ones(self.shape, dtype=bool)
        free[tuple(self._cell(marks).T)] = False
        away = distance_transform_edt(free) * step
        slack = np.sqrt(3) * step + cover
        self.least = (away - slack).astype(np.float32).ravel()

    def _cell(self, points: Floats) -> Ints:
        cell: Ints = ((points - self.low) / self.step).astype(np.int64)
        return cell.clip(0, self.shape - 1)

    def below(self, points: Floats) -> Floats:
        """Give a distance that the surface is surely not nearer than, (n,), in mm."""
        cell = self._cell(points)
        inside = np.clip(points, self.low, self.low + self.shape * self.step)
        out = np.abs(points - inside).max(axis=1)
        flat = (cell[:, 0] * self.shape[1] + cell[:, 1]) * self.shape[2] + cell[:, 2]
        beyond = MARGIN_MM * (out > 0) + out - self.step
        least: Floats = np.maximum(self.least[flat] - out, beyond)
        return least


def least_gaps(moving: Surface, still: Surface, matrices: Floats) -> Gaps:
    """
    Find the least gap between two surfaces at each of p poses.

    Parameters
    ----------
    moving, still : Surface
    matrices : ndarray, shape (p, 4, 4)
        Rigid maps of the moving surface into the frame of the other.

    Returns
    -------
    Gaps
        Over all pairs of triangles, not at vertices only; at most 0.004 mm more than
        the least there is.

    Notes
    -----
    Branch and bound, for all poses side by side. Pieces of the moving surface, then
    pairs of pieces are let go once the balls around them are farther apart than the
    least gap found so far; the pairs left are measured exactly, nearest first.
    """
    sweep = _Sweep(moving, still, matrices)
    sweep.look_up()
    return sweep.settle()


class _Sweep:
    """One run of `least_gaps`."""

    def __init__(self, moving: Surface, still: Surface, matrices: Floats) -> None:
        self.moving, self.still, self.matrices = moving, still, matrices
        count = len(matrices)
        self.most = np.full(count, np.inf)  # no gap is larger than this
        self.best = np.full(count, np.inf)
        self.last: tuple[Ints, Ints]
        self.pairs: list[tuple[Ints, Ints, Floats]] = []
        self.apart = np.full(count, np.inf)
        self.points = np.full((2, count, 3), np.nan)
        self.faces = np.full((2, count), -1)

    def _carry(self, points: Floats, pose: int) -> Floats:
        """Carry points of the moving surface, (..., 3), to a pose."""
        x, y, z, shift = self.matrices[pose, :3].T
        carried: Floats = points[..., :1] * x  # no matrix product: threads cost more
        carried += points[..., 1:2] * y
        carried += points[..., 2:] * z
        carried += shift
        return carried

    @property
    def _poses(self) -> range:
        return range(len(self.matrices))

    def look_up(self) -> None:
        """Pose by pose, keep the pieces, then the pairs, that may be the nearest."""
        moving, still = self.moving, self.still
        spare = moving.radius + moving.thick + still.thickest
        known, place = np.full(len(spare), -np.inf), np.zeros((len(spare), 3))
        for pose in self._poses:
            at = self._carry(moving.centre, pose)
            away = np.maximum(known - _length(at - place), still.field.below(at))
            least = away - spare
            first = np.argpartition(least, min(FIRST_TRIES, len(least) - 1))[:FIRST_TRIES]
            if not pose:
                self._bound(pose, first, still.marks[1][still.near(at[first])[1]])
            else:
                self._bound(pose, *self.last)
            rows = np.nonzero(least < self.most[pose])[0]
            reach = self.most[pose] + spare[rows].max(initial=0.0) + still.cover
            found, met = still.near(at[rows], reach_mm=reach)
            found = np.minimum(found, reach) - still.cover
            known[rows], place[rows] = found, at[rows]
            nearest = np.argsort(found - spare[rows], kind="stable")[:FIRST_TRIES]
            nearest = nearest[met[nearest] < len(still.marks[1])]
            if len(nearest):
                self._bound(pose, rows[nearest], still.marks[1][met[nearest]])
            rows = rows[found - spare[rows] < self.most[pose]]
            self.pairs.append(self._pairs_near(pose, rows, at[rows]))

    def _bound(self, pose: int, rows: Ints, met: Ints) -> None:
        """Bound the least gap of a pose from above by that of a few pairs."""
        self._measure(np.full(len(rows), pose), rows, met)
        self.last = rows, met

    def _pairs_near(self, pose: int, rows: Ints, at: Floats) -> tuple[Ints, Ints, Floats]:
        moving, still = self.moving, self.still
        if not len(rows):
            return rows, rows, np.zeros(0)
        reach = self.most[pose] + moving.radius[rows].max() + still.widest
        reach += moving.thickest + still.thickest
        found = cKDTree(at).sparse_distance_matrix(
            still.tree, max(float(reach), 1e-9), output_type="ndarray"
        )
        i, j = rows[found["i"]], found["j"].astype(np.int64)
        least = found["v"] - moving.radius[i] - still.radius[j]
        least -= moving.thick[i] + still.thick[j]
        keep = np.nonzero(least < self.most[pose])[0]
        return i[keep], j[keep], least[keep]

    # -- exact ------------------------------------------------------------------------

    def settle(self) -> Gaps:
        self._drop_by_direction()
        size = ROUND
        while any(len(pair[0]) for pair in self.pairs):
            self._measure_nearest(size)
            size *= 2
        return Gaps(
            gap_mm=self.best,
            apart_mm=self.apart,
            on_moving=self.points[0],
            on_still=self.points[1],
            face_moving=self.faces[0],
            face_still=self.faces[1],
        )

    def _measure_nearest(self, size: int) -> None:
        """Measure the most promising pairs of every pose, and let others go."""
        chunk = [tuple(part[:size] for part in pair) for pair in self.pairs]
        self.pairs = [(i[size:], j[size:], v[size:]) for i, j, v in self.pairs]
        pose = np.repeat(np.arange(len(chunk)), [len(one[0]) for one in chunk])
        i, j = (np.concatenate([one[k] for one in chunk]).astype(np.int64) for k in (0, 1))
        self._measure(pose, i, j)
        for p, (i, j, least) in enumerate(self.pairs):
            left = int(np.searchsorted(least, self.most[p]))
            self.pairs[p] = (i[:left], j[:left], least[:left])

    def _measure(self, pose: Ints, i: Ints, j: Ints) -> None:
        """Measure pairs of pieces at their poses, and keep the least of each pose."""
        turn = self.matrices[pose]
        a = np.einsum("kij,kcj->kci", turn[:, :3, :3], self.moving.triangles[i])
        a += turn[:, None, :3, 3]
        b = self.still.triangles[j]
        apart, on_a, on_b = triangle_gaps(a, b)
        gap = apart - self._layers(i, j, a, b, on_b - on_a)
        order = np.lexsort((gap, pose))
        poses, first = np.unique(pose[order], return_index=True)
        for p, row in zip(poses, order[first], strict=True):
            if gap[row] < self.best[p]:
                self.best[p], self.apart[p] = gap[row], apart[row]
                self.points[:, p] = on_a[row], on_b[row]
                self.faces[:, p] = self.moving.face[i[row]], self.still.face[j[row]]
        self.most = np.minimum(self.most, self.best - TOLERANCE_MM)

    def _layers(self, i: Ints, j: Ints, a: Floats, b: Floats, way: Floats) -> Floats:
        """Layers between the two of each pair, by the side they see each other on."""
        moving, still = self.moving, self.still
        if moving.thickest == 0 and still.thickest == 0:
            return np.zeros(len(i))
        ahead, facing = _dot(_normals(a), way), _dot(_normals(b), -way)
        return _sided(ahead, moving, i) + _sided(facing, still, j)

    def _drop_by_direction(self) -> None:
        """Let pairs go that a plane keeps apart: across the way, or along either face."""
        for p, (i, j, least) in enumerate(self.pairs):
            used, i = np.unique(i, return_inverse=True)
            a = self._carry(self.moving.triangles[used], p)
            bound = least
            for plane in ("still", "moving", "way"):
                gap = self._kept_apart(a[i], j, plane) - self.moving.thick[used[i]]
                bound = np.maximum(bound, gap)
                keep = np.nonzero(bound < self.most[p])[0]
                i, j, bound = i[keep], j[keep], bound[keep]
            order = np.argsort(bound, kind="stable")
            self.pairs[p] = (used[i[order]], j[order], bound[order])

    def _kept_apart(self, one: Floats, j: Ints, plane: str) -> Floats:
        """Gap of pairs along the normals of planes; negative where they overlap."""
        other = self.still.triangles[j]
        way = self.still.centre[j] - (one[:, 0] + one[:, 1] + one[:, 2]) / 3
        square = {"still": other, "moving": one}.get(plane)
        along = way if square is None else _normals(square)
        length = np.maximum(_length(along), 1e-300)
        toward = np.where(_dot(along, way) < 0, -1.0, 1.0) / length
        unit = along * toward[:, None]
        near = [_dot(other[:, k], unit) for k in range(3)]
        far = [_dot(one[:, k], unit) for k in range(3)]
        gap: Floats = np.minimum(np.minimum(near[0], near[1]), near[2])
        gap -= np.maximum(np.maximum(far[0], far[1]), far[2])
        gap -= self.still.thick[j]
        return gap


def _length(vectors: Floats) -> Floats:
    length: Floats = np.sqrt(_dot(vectors, vectors))
    return length


def _dot(a: Floats, b: Floats) -> Floats:
    product: Floats = np.einsum("ij,ij->i", a, b)
    return product


def _sided(ahead: Floats, surface: Surface, rows: Ints) -> Floats:
    """Layer on the side that is looked at; the thicker where that cannot be told."""
    front, back = surface.ahead[rows], surface.behind[rows]
    told = np.where(ahead > 0, front, back)
    return np.where(ahead == 0, surface.thick[rows], told)


def _normals(triangles: Floats) -> Floats:
    u = triangles[:, 1] - triangles[:, 0]
    v = triangles[:, 2] - triangles[:, 0]
    normal = np.empty_like(u)
    for k, (m, n) in enumerate(((1, 2), (2, 0), (0, 1))):
        normal[:, k] = u[:, m] * v[:, n] - u[:, n] * v[:, m]
    return normal


def halved(triangles: Floats, radius_mm: float) -> tuple[Floats, Ints]:
    """Cut triangles across their longest edge until each fits into a ball."""
    done: list[Floats] = []
    whose: list[Ints] = []
    face = np.arange(len(triangles))
    while len(triangles):
        large = _balls(triangles)[1] > radius_mm
        done.append(triangles[~large])
        whose.append(face[~large])
        triangles, face = triangles[large], face[large]
        edge = np.linalg.norm(np.roll(triangles, -1, axis=1) - triangles, axis=2)
        turn = (edge.argmax(axis=1)[:, None] + [0, 1, 2]) % 3
        a, b, c = np.moveaxis(np.take_along_axis(triangles, turn[..., None], 1), 1, 0)
        middle = (a + b) / 2
        triangles = np.concatenate(
            [np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)]
        )
        face = np.concatenate([face, face])
    return np.concatenate(done), np.concatenate(whose)


def _balls(triangles: Floats) -> tuple[Floats, Floats]:
    """Centre (n, 3) and radius (n,) of the least ball around each triangle. [mm]."""
    edge = np.roll(triangles, -2, axis=1) - np.roll(triangles, -1, axis=1)
    square = np.einsum("nij,nij->ni", edge, edge)  # of the edge across from each corner
    weight = square * (square.sum(axis=1, keepdims=True) - 2 * square)
    longest = square.argmax(axis=1)
    rows = np.arange(len(triangles))
    blunt = weight[rows, longest] <= 0
    weight[blunt] = 1.0
    weight[rows[blunt], longest[blunt]] = 0.0
    weight /= weight.sum(axis=1, keepdims=True)
    centre = np.einsum("ni,nij->nj", weight, triangles)
    radius = np.linalg.norm(triangles - centre[:, None], axis=2).max(axis=1)
    return centre, radius
