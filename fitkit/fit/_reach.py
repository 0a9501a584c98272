"""Least gap between two surfaces at many poses of one of them, exact and fast."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np
from scipy.spatial import cKDTree

from fitkit.fit._pieces import Floats, Ints, Surface, halved, normals, unit
from fitkit.fit._triangles import triangle_gaps

__all__ = ["Gaps", "Surface", "halved", "least_gaps", "least_gaps_of_each"]

#: Pieces of the moving and of the still surface, how far each pair is apart at least,
#: and the layers between them. [mm]
Pairs = tuple[Ints, Ints, Floats, Floats]

#: Pairs that are measured at once for each pose.
ROUND = 12
#: A pair that cannot be nearer than the nearest by more than this is let go, so that
#: walls that run along each other do not all have to be measured. [mm]
TOLERANCE_MM = 0.004
#: Pieces of each pose that are looked up first, to bound the least gap from above.
FIRST_TRIES = 12
#: Poses in a row are searched together as long as nothing moves farther than this from
#: the first to the last of them. [mm]
TOGETHER_MM = 15.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Gaps:
    """The least gap at each of p poses, in the frame of the surface that stays."""

    #: Gap between the finished surfaces: distance less both layers, (p,). [mm]
    gap_mm: Floats
    #: Least distance of the drawn surfaces, 0 where they meet, (p,). [mm] Where layers
    #: differ from face to face it may be at another place than the gap.
    apart_mm: Floats
    #: Points of the two drawn surfaces between which the gap is, (p, 3). [mm]
    on_moving: Floats
    on_still: Floats
    #: Face of each that they lie on, (p,).
    face_moving: Ints
    face_still: Ints


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
    Branch and bound. Pieces of the moving surface, then pairs of pieces are let go once
    balls around them, then planes between them, are farther apart than the least gap
    found so far; the pairs left are measured exactly, nearest first. Poses near each
    other are searched together from the middle one of them, everything reckoned nearer
    by how far it moves from there.
    """
    return _Sweep([moving], still, matrices).settle()


def swept_gaps(moving: Surface, still: Surface, matrices: Floats) -> Gaps:
    """
    Find the least gaps of a row of poses, as `least_gaps`, on two threads.

    The row is always parted in the same place: the same input gives the same gaps.
    """
    half = len(matrices) // 2
    if half == 0:
        return least_gaps(moving, still, matrices)
    with ThreadPoolExecutor(2) as pool:
        first, rest = pool.map(
            lambda some: least_gaps(moving, still, some), (matrices[:half], matrices[half:])
        )
    names = [one.name for one in fields(Gaps)]
    joined = {n: np.concatenate([getattr(first, n), getattr(rest, n)]) for n in names}
    return Gaps(**joined)


def least_gaps_of_each(moving: Sequence[Surface], still: Surface) -> Gaps:
    """
    Find the least gap from each of p surfaces to another one, in the same frame.

    As `least_gaps`, for a surface that changes its shape.
    """
    return _Sweep(moving, still, np.tile(np.eye(4), (len(moving), 1, 1))).settle()


class _Stock:
    """Pieces of all moving surfaces one after the other, and which belong to a pose."""

    def __init__(self, surfaces: Sequence[Surface], poses: int) -> None:
        self.triangles = np.concatenate([one.triangles for one in surfaces])
        self.centre = np.concatenate([one.centre for one in surfaces])
        self.columns = np.ascontiguousarray(self.centre.T)
        self.radius = np.concatenate([one.radius for one in surfaces])
        self.ahead = np.concatenate([one.ahead for one in surfaces])
        self.behind = np.concatenate([one.behind for one in surfaces])
        self.thick = np.maximum(self.ahead, self.behind)
        self.face = np.concatenate([one.face for one in surfaces])
        self.rigid = len(surfaces) == 1
        ends = np.cumsum([0, *(len(one.face) for one in surfaces)])
        spans = [slice(int(a), int(b)) for a, b in pairwise(ends)]
        self.spans = spans * poses if self.rigid else spans


class _Sweep:
    """One run of `least_gaps`."""

    def __init__(
        self, surfaces: Sequence[Surface], still: Surface, matrices: Floats
    ) -> None:
        count = len(matrices)
        self.moving, self.still = _Stock(surfaces, count), still
        self.matrices, self.poses = matrices, range(count)
        self.layered = bool(self.moving.thick.any()) or still.thickest > 0
        #: No gap of finished, and of drawn walls, is larger than these.
        self.most, self.most_drawn = np.full(count, np.inf), np.full(count, np.inf)
        self.best, self.drawn = np.full(count, np.inf), np.full(count, np.inf)
        self.best_pair = np.full((2, count), -1)
        self.points = np.full((2, count, 3), np.nan)

    def settle(self) -> Gaps:
        possible = self._possible()
        pairs: list[Pairs] = []
        for group in self._groups():
            rows = np.unique(np.concatenate([possible[pose] for pose in group]))
            pairs += self._promising(group, rows)
        size = ROUND
        while any(len(one[0]) for one in pairs):
            pairs = self._measure_nearest(pairs, size)
            size *= 2
        i, j = self.best_pair
        return Gaps(
            gap_mm=self.best,
            apart_mm=self.drawn,
            on_moving=self.points[0],
            on_still=self.points[1],
            face_moving=self.moving.face[i],
            face_still=self.still.face[j],
        )

    def _limit(self, group: range, layers_mm: Floats) -> Floats:
        """How far pieces with so much between them may be and still be nearest."""
        poses = slice(group.start, group.stop)
        limit: Floats = np.maximum(
            self.most[poses].max() + layers_mm, self.most_drawn[poses].max()
        )
        return limit

    def _carry(self, points: Floats, pose: int) -> Floats:
        """Carry points of the moving surface, (..., 3), to a pose."""
        x, y, z, shift = self.matrices[pose, :3].T
        carried: Floats = points[..., :1] * x  # no matrix product: threads cost more
        carried += points[..., 1:2] * y
        carried += points[..., 2:] * z
        carried += shift
        return carried

    # -- pieces -----------------------------------------------------------------------

    def _possible(self) -> list[Ints]:
        """Pieces at each pose that may be the nearest by the coarse field."""
        moving, still = self.moving, self.still
        bounds, first, at_first = [], [], []
        for pose, span in enumerate(moving.spans):
            at = _carried_columns(self.matrices[pose], moving.columns[:, span])
            bounds.append(still.field.below(at) - moving.radius[span])
            least = bounds[-1] - moving.thick[span]
            few = np.argpartition(least, min(FIRST_TRIES, len(least)) - 1)[:FIRST_TRIES]
            first.append(few + span.start)
            at_first.append(at[:, few].T)
        self._bound_by_nearest(self.poses, first, np.concatenate(at_first))
        if moving.rigid:
            self._bound_by_others()
        limits = [
            self._limit(self.poses[pose : pose + 1], moving.thick[span] + still.thickest)
            for pose, span in enumerate(moving.spans)
        ]
        return [
            span.start + np.nonzero(bound < limit)[0]
            for span, bound, limit in zip(moving.spans, bounds, limits, strict=True)
        ]

    def _groups(self) -> list[range]:
        """Part the poses into runs that are searched together."""
        if not self.moving.rigid:
            return [self.poses[pose : pose + 1] for pose in self.poses]
        low, high = self.moving.columns.min(axis=1), self.moving.columns.max(axis=1)
        corner = np.array([[low, high][k >> a & 1][a] for k in range(8) for a in range(3)])
        at = np.stack([self._carry(corner.reshape(8, 3), pose) for pose in self.poses])
        groups, start = [], 0
        for pose in self.poses[1:]:
            if np.linalg.norm(at[pose] - at[start], axis=1).max() > TOGETHER_MM:
                groups.append(self.poses[start:pose])
                start = pose
        return [*groups, self.poses[start:]]

    def _moved(self, rows: Ints, group: range, middle: int) -> Floats:
        """How far no point of a piece moves at most from the middle pose, (n,). [mm]."""
        farthest = np.zeros(len(rows))
        centre, radius = self.moving.columns[:, rows], self.moving.radius[rows]
        for pose in group:
            change = self.matrices[pose] - self.matrices[middle]
            way = _carried_columns(change, centre)
            spun = np.linalg.norm(change[:3, :3], ord=2) * radius
            moved = np.sqrt(way[0] ** 2 + way[1] ** 2 + way[2] ** 2) + spun
            np.maximum(farthest, moved, out=farthest)
        return farthest

    def _promising(self, group: range, rows: Ints) -> list[Pairs]:
        """Pairs at each pose of a group that neither balls nor planes keep apart."""
        middle = group[len(group) // 2]
        rows, moved = self._near(group, middle, rows, self._moved(rows, group, middle))
        i, j, bound = self._in_reach(group, middle, rows, moved)
        shift = np.zeros(len(self.moving.face))
        shift[rows] = moved
        i, j, bound = self._apart(group, middle, (i, j, bound), shift)
        if len(group) == 1:
            return [self._ordered(middle, i, j, bound)]
        still = np.zeros(len(shift))
        pairs = []
        for pose in group:
            one = self.poses[pose : pose + 1]
            kept = self._apart(one, pose, (i, j, np.full(len(i), -np.inf)), still)
            pairs.append(self._ordered(pose, *kept))
        return pairs

    def _near(
        self, group: range, middle: int, rows: Ints, moved: Floats
    ) -> tuple[Ints, Floats]:
        """Those that may be the nearest by their distance to the marks, and their way."""
        moving, still = self.moving, self.still
        at = self._carry(moving.centre[rows], middle)
        spare = moving.radius[rows] + still.cover + moved
        layers = moving.thick[rows] + still.thickest
        reach = (self._limit(group, layers) + spare).max(initial=0.0)
        away, met = still.near(at, reach_mm=reach)
        bound = np.minimum(away, reach) - spare
        few = np.argsort(bound - moving.thick[rows], kind="stable")[:FIRST_TRIES]
        few = few[met[few] < len(still.marks[1])]
        self._measure(
            np.repeat(group, len(few)),
            np.tile(rows[few], len(group)),
            np.tile(still.marks[1][met[few]], len(group)),
        )
        keep = bound < self._limit(group, layers)
        return rows[keep], moved[keep]

    def _bound_by_nearest(self, poses: range, rows: list[Ints], at: Floats) -> None:
        """Bound the gaps by those of a few pieces to the still ones nearest to them."""
        met = self.still.marks[1][self.still.near(at)[1]]
        self._measure(
            np.repeat(poses, [len(one) for one in rows]), np.concatenate(rows), met
        )

    def _bound_by_others(self) -> None:
        """Bound the gap of each pose by that of every other's best pair."""
        count = len(self.poses)
        i, j = np.tile(self.best_pair, count)
        self._measure(np.repeat(self.poses, count), i, j)

    # -- pairs ------------------------------------------------------------------------

    def _in_reach(
        self, group: range, middle: int, rows: Ints, moved: Floats
    ) -> tuple[Ints, Ints, Floats]:
        """Pairs whose balls are near enough, and how far these are apart at least."""
        moving, still = self.moving, self.still
        reach = self._limit(group, moving.thick[rows] + still.thickest)
        reach = reach + moving.radius[rows] + moved + still.widest
        tree = cKDTree(self._carry(moving.centre[rows], middle))
        near = tree.sparse_distance_matrix(
            still.tree, max(float(reach.max(initial=0.0)), 1e-9), output_type="ndarray"
        )
        i, j = near["i"], near["j"].astype(np.int64)
        bound = near["v"] - (moving.radius[rows] + moved)[i] - still.radius[j]
        layers = moving.thick[rows][i] + still.thick[j]
        keep = np.nonzero(bound < self._limit(group, layers))[0]
        return rows[i[keep]], j[keep], bound[keep]

    def _apart(
        self, group: range, pose: int, pairs: tuple[Ints, Ints, Floats], moved: Floats
    ) -> tuple[Ints, Ints, Floats]:
        """Let pairs go that the plane of either, or one across the way, keeps apart."""
        whole, j, bound = pairs
        used, i = np.unique(whole, return_inverse=True)
        corners = self._carry(self.moving.triangles[used], pose)
        thick, less = self.moving.thick[used], moved[used]
        for kept_apart in (_beside_still, _beside_moving, _across_way):
            apart = kept_apart(corners, i, self.still, j) - less[i]
            bound = np.maximum(bound, apart)
            limit = self._limit(group, thick[i] + self.still.thick[j])
            keep = np.nonzero(bound < limit)[0]
            i, j, bound = i[keep], j[keep], bound[keep]
        return used[i], j, bound

    def _ordered(self, pose: int, i: Ints, j: Ints, bound: Floats) -> Pairs:
        """The pairs of a pose, the most promising first, with their layers."""
        layers = self.moving.thick[i] + self.still.thick[j]
        limit = self._limit(self.poses[pose : pose + 1], layers)
        order = np.argsort(bound - limit, kind="stable")
        return i[order], j[order], bound[order], layers[order]

    # -- exact ------------------------------------------------------------------------

    def _measure_nearest(self, pairs: list[Pairs], size: int) -> list[Pairs]:
        """Measure the most promising pairs of every pose, and let others go."""
        pose = np.repeat(self.poses, [min(size, len(one[0])) for one in pairs])
        i, j = (np.concatenate([one[k][:size] for one in pairs]) for k in (0, 1))
        self._measure(pose, i, j)
        left = []
        for p, (i, j, bound, layers) in enumerate(pairs):
            limit = self._limit(self.poses[p : p + 1], layers[size:])
            keep = size + np.nonzero(bound[size:] < limit)[0]
            left.append((i[keep], j[keep], bound[keep], layers[keep]))
        return left

    def _measure(self, pose: Ints, i: Ints, j: Ints) -> None:
        """Measure pairs of pieces at their poses, and keep the least of each pose."""
        turn = self.matrices[pose]
        a = np.einsum("kij,kcj->kci", turn[:, :3, :3], self.moving.triangles[i])
        a += turn[:, None, :3, 3]
        b = self.still.triangles[j]
        apart, on_a, on_b = triangle_gaps(a, b)
        np.minimum.at(self.drawn, pose, apart)
        gap = apart - self._layers(i, j, a, b, on_b - on_a)
        order = np.lexsort((gap, pose))
        poses, first = np.unique(pose[order], return_index=True)
        rows = order[first]
        better = gap[rows] < self.best[poses]
        poses, rows = poses[better], rows[better]
        self.best[poses] = gap[rows]
        self.best_pair[:, poses] = i[rows], j[rows]
        self.points[:, poses] = on_a[rows], on_b[rows]
        self.most, self.most_drawn = self.best - TOLERANCE_MM, self.drawn - TOLERANCE_MM

    def _layers(self, i: Ints, j: Ints, a: Floats, b: Floats, way: Floats) -> Floats:
        """Layers between the two of each pair, by the side they see each other on."""
        if not self.layered:
            return np.zeros(len(i))
        moving, still = self.moving, self.still
        front = _sided(_dot(normals(a), way), moving.ahead[i], moving.behind[i])
        back = _sided(_dot(normals(b), -way), still.ahead[j], still.behind[j])
        layers: Floats = front + back
        return layers


def _carried_columns(matrix: Floats, columns: Floats) -> Floats:
    """Carry points given as three rows, (3, n)."""
    carried = np.empty_like(columns)
    for row, (x, y, z, shift) in zip(carried, matrix[:3], strict=True):
        np.multiply(columns[0], x, out=row)
        row += columns[1] * y
        row += columns[2] * z
        row += shift
    return carried


def _beside_still(corners: Floats, i: Ints, still: Surface, j: Ints) -> Floats:
    """How far moving pieces are off the planes of still ones, below 0 if across."""
    three = [corners[:, k][i] for k in range(3)]
    return _off_plane(three, still.normal[j], still.height[j])


def _beside_moving(corners: Floats, i: Ints, still: Surface, j: Ints) -> Floats:
    """How far still pieces are off the planes of moving ones, below 0 if across."""
    normal = unit(normals(corners))
    height = _dot(normal, corners[:, 0])
    return _off_plane([still.corner(k)[j] for k in range(3)], normal[i], height[i])


def _across_way(corners: Floats, i: Ints, still: Surface, j: Ints) -> Floats:
    """How far pieces are apart along the line between their middles."""
    way = unit(still.centre[j] - corners.mean(axis=1)[i])
    near = [_dot(still.corner(k)[j], way) for k in range(3)]
    far = [_dot(corners[:, k][i], way) for k in range(3)]
    return _least(near) - _most(far)


def _off_plane(corners: list[Floats], normal: Floats, height: Floats) -> Floats:
    off = [_dot(corner, normal) - height for corner in corners]
    apart: Floats = np.maximum(_least(off), -_most(off))
    return apart


def _least(three: list[Floats]) -> Floats:
    least: Floats = np.minimum(np.minimum(three[0], three[1]), three[2])
    return least


def _most(three: list[Floats]) -> Floats:
    most: Floats = np.maximum(np.maximum(three[0], three[1]), three[2])
    return most


def _dot(a: Floats, b: Floats) -> Floats:
    product: Floats = np.einsum("ij,ij->i", a, b)
    return product


def _sided(ahead: Floats, front: Floats, back: Floats) -> Floats:
    """Layer on the side that is looked at; the thicker where that cannot be told."""
    told = np.where(ahead > 0, front, back)
    sided: Floats = np.where(ahead == 0, np.maximum(front, back), told)
    return sided
