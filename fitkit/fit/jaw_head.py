"""How near the jaw comes to the head, that opens its mouth with it."""

from __future__ import annotations

import numpy as np

from fitkit.fit._reach import Surface, least_gaps_of_each
from fitkit.fit.jaw_bodies import Bodies, Gaps, back, bodies_of, carry, to_head
from fitkit.fit.jaw_parts import HungJaw
from fitkit.fit.jaw_travel import JawTravel
from fitkit.fit.placement import FloatArray
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import BoolArray, Mesh
from fitkit.wearer.jaw_mesh import OpeningHead

#: Skin farther than this beyond the jaw's wall has not come through it. [mm]
DEEPEST_MM = 30.0
#: Openings at which the skin's vertices are looked up.
LOOKED_UP = 5
#: The few faces of the skin that are left are cut no finer than this. [mm]
SKIN_RADIUS_MM = 6.0
#: Skin farther than this beyond the nearest is not looked up again. [mm]
AROUND_MM = 25.0
#: No point of a triangle is farther from its nearest corner than this share of its
#: longest edge: 1 / sqrt(3), when it is equilateral.
_COVER = 0.578


def head_gaps(head: OpeningHead, hung: HungJaw, travel: JawTravel) -> Gaps:
    """
    Give the least gap between the jaw and the head at the openings of a travel.

    The head opens its mouth with the chin; hair and beard are added to the skin. One
    answer for each row of the travel, exact over all triangles.
    """
    bodies = bodies_of(hung.piece, hung.placement.size)
    skin = _Skin(head, hung, travel, bodies)
    rows = range(len(travel.jaw_deg))
    near = [skin.mesh(row, skin.may_be_nearest(row)) for row in rows]
    found = least_gaps_of_each(
        [Surface(mesh, radius_mm=SKIN_RADIUS_MM) for mesh in near], bodies.jaw_surface
    )
    finished, drawn = found.gap_mm.copy(), found.apart_mm.copy()
    at = (found.on_moving + found.on_still) / 2
    for row in np.nonzero(drawn <= 0)[0]:
        depth, where = skin.deepest(int(row))
        if depth > 0:
            drawn[row], at[row] = -depth, where
            finished[row] -= depth
    placed = [carry(skin.matrices[row], at[row][None])[0] for row in rows]
    return Gaps(finished_mm=finished, drawn_mm=drawn, at_mm=to_head(hung, np.array(placed)))


class _Skin:
    """The skin in the jaw's own axes at every opening, and how near each vertex may be."""

    def __init__(
        self, head: OpeningHead, hung: HungJaw, travel: JawTravel, bodies: Bodies
    ) -> None:
        self.faces, self.hair = head.wearer.head.faces, head.wearer.hair_mm
        self.jaw, self.wall = bodies.jaw_surface, bodies.jaw_wall
        self.tree = bodies.jaw_tree
        self.matrices = hung.swing_sized.matrix(travel.jaw_deg)
        self.points = np.stack(
            [
                carry(back(matrix), hung.placement.to_sized(head.vertices(float(chin))))
                for matrix, chin in zip(self.matrices, travel.chin_deg, strict=True)
            ]
        )
        self._look_up()

    def _look_up(self) -> None:
        """Bound distances to the jaw at each opening from those at a few of them."""
        count = len(self.points)
        self.least = np.full(self.points.shape[:2], -np.inf)
        self.most = np.full(count, np.inf)  # of the least gap, drawn, hair included
        for row in np.unique(np.linspace(0, count - 1, LOOKED_UP).round().astype(int)):
            chosen = np.nonzero(self.least[row] < self.most[row] + AROUND_MM)[0]
            points = self.points[:, chosen]
            away, moved = self._away(points[row]), _length(points - points[row])
            hair = self.hair[chosen]
            self.most = np.minimum(self.most, (away + moved + hair).min(axis=1))
            bound = away - moved - hair
            self.least[:, chosen] = np.maximum(self.least[:, chosen], bound)

    def _away(self, points: FloatArray) -> FloatArray:
        """Exact distance of points to the drawn jaw, (n,). [mm]."""
        away: FloatArray = np.sqrt(self.tree.squared(points)[0])
        return away

    def may_be_nearest(self, row: int) -> BoolArray:
        """Faces that may be the nearest to the finished or the drawn jaw, (m,)."""
        corners = self.points[row][self.faces]
        edges = _length(corners - np.roll(corners, 1, axis=1)).max(axis=1)
        spread = _COVER * (edges + 2 * self.hair[self.faces].max(axis=1))
        spare = self.jaw.thickest - float(self.jaw.thin.min())
        near = self._within(row, spread, spare)
        close = np.unique(self.faces[near])
        away = self._away(self.points[row, close])
        self.most[row] = min(self.most[row], float((away + self.hair[close]).min()))
        self.least[row, close] = away - self.hair[close]
        return self._within(row, spread, spare)

    def _within(self, row: int, spread: FloatArray, spare: float) -> BoolArray:
        """Faces of which some point may be nearer than the least gap is at most, (m,)."""
        least = self.least[row][self.faces].min(axis=1) - spread
        within: BoolArray = least < self.most[row] + spare
        return within

    def mesh(self, row: int, chosen: BoolArray) -> Mesh:
        """Some faces of the skin at one opening, with hair and beard added."""
        used = np.zeros(len(self.hair), dtype=bool)
        used[self.faces[chosen]] = True
        around = np.asarray(used[self.faces].any(axis=1))
        vertices = np.unique(self.faces[around])
        skin = Mesh(self.points[row], self.faces).submesh(around)
        grown = skin.vertices + self.hair[vertices, None] * skin.vertex_normals
        return skin.with_vertices(grown).submesh(chosen[around])

    def deepest(self, row: int) -> tuple[float, FloatArray]:
        """How far skin has gone through the jaw's wall, away from the head. [mm]."""
        if self.wall is None:
            return 0.0, np.full(3, np.nan)
        close = (self.least[row] < DEEPEST_MM)[self.faces].any(axis=1)
        return _beyond(self.wall, self.mesh(row, close).vertices)


def _length(vectors: FloatArray) -> FloatArray:
    length: FloatArray = np.sqrt(np.einsum("...i,...i->...", vectors, vectors))
    return length


def _beyond(wall: SurfaceTree, points: FloatArray) -> tuple[float, FloatArray]:
    """How far points have gone through an open wall, away from the head. [mm]."""
    near = wall.nearest(points)
    off = np.einsum("ij,ij->i", points - near.point, wall.mesh.normals[near.face])
    through = (off > 0) & ~near.on_boundary & (near.distance_mm < DEEPEST_MM)
    depth = np.where(through, near.distance_mm, 0.0)
    row = int(depth.argmax())
    return float(depth[row]), points[row]
