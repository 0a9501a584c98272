"""A surface cut into small pieces, with what finds the near ones quickly."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from scipy.spatial import cKDTree

from fitkit.fit._triangles import cross
from fitkit.geometry.mesh import Mesh

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Triangles are halved until they fit into a ball of this radius. [mm]
PIECE_RADIUS_MM = 3.0
#: Step of the coarse field of distances, at least, and how many cells it may have. [mm]
FIELD_STEP_MM, FIELD_CELLS = 2.0, 1_500_000
#: No point of a triangle is farther from its corners and the centre of its ball than
#: this share of the ball's radius: 1 / sqrt(3), when it is equilateral.
COVER = 0.578
#: Corners this near to each other, along each axis, are marked once. [mm]
_SAME_MM = 0.01
#: How far around a surface its field reaches. [mm]
MARGIN_MM = 12.0


class Surface:
    """
    A surface made ready for gap queries.

    Parameters
    ----------
    mesh : Mesh
    ahead_mm, behind_mm : float or ndarray, shape (m,)
        Layers that grow on each face, along its normal and against it. [mm]
    radius_mm : float
        Of the balls that the pieces fit into; larger ones are made sooner. [mm]
    """

    def __init__(
        self,
        mesh: Mesh,
        *,
        ahead_mm: float | Floats = 0.0,
        behind_mm: float | Floats = 0.0,
        radius_mm: float = PIECE_RADIUS_MM,
    ) -> None:
        self.mesh = mesh
        self.triangles, self.face = halved(mesh.triangles, radius_mm)
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
    def normal(self) -> Floats:
        """Unit normals of the pieces."""
        return unit(normals(self.triangles))

    @cached_property
    def height(self) -> Floats:
        """How far the planes of the pieces lie along their normals, in mm."""
        height: Floats = np.einsum("ij,ij->i", self.normal, self.corner(0))
        return height

    def corner(self, k: int) -> Floats:
        """One corner of each piece, (n, 3), in mm."""
        corner: Floats = self._corners[k]
        return corner

    @cached_property
    def _corners(self) -> Floats:
        return np.ascontiguousarray(np.moveaxis(self.triangles, 1, 0))

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
        self.low, self.high = marks.min(axis=0) - MARGIN_MM, marks.max(axis=0) + MARGIN_MM
        size = self.high - self.low
        self.step = max(FIELD_STEP_MM, float((np.prod(size) / FIELD_CELLS) ** (1 / 3)))
        shape = np.floor(size / self.step).astype(np.int64) + 1
        free = np.ones(shape, dtype=bool)
        free[tuple(((marks - self.low) / self.step).astype(np.int64).T)] = False
        away = distance_transform_edt(free) * self.step
        self.least = (away - np.sqrt(3) * self.step - cover).ravel()
        self.strides = np.array([shape[1] * shape[2], shape[2], 1])

    def below(self, columns: Floats) -> Floats:
        """Give what points (3, n) are surely away from the surface, (n,), in mm."""
        flat = np.zeros(columns.shape[1], dtype=np.int64)
        out = np.zeros(columns.shape[1])
        for points, low, high, stride in zip(
            columns, self.low, self.high, self.strides, strict=True
        ):
            inside = np.minimum(np.maximum(points, low), high)
            flat += stride * ((inside - low) / self.step).astype(np.int64)
            np.maximum(out, np.abs(points - inside), out=out)
        beyond = np.where(out > 0, MARGIN_MM - 2 * _SAME_MM + out, 0.0)
        least: Floats = np.maximum(self.least[flat], beyond)
        return least


def normals(triangles: Floats) -> Floats:
    corner = triangles[:, 0]
    return cross(triangles[:, 1] - corner, triangles[:, 2] - corner)


def unit(vectors: Floats) -> Floats:
    """Vectors (n, 3) at length 1; those without length stay 0."""
    length = np.linalg.norm(vectors, axis=1)
    of_one: Floats = vectors / np.where(length > 0, length, 1.0)[:, None]
    return of_one


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
