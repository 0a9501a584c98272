"""Does the jaw hit anything: against the shell and the head, swept over its travel."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np
from scipy.spatial import cKDTree

from fitkit.errors import DesignError
from fitkit.fit._checks import in_range
from fitkit.fit._reach import Surface, least_gaps
from fitkit.fit.jaw_parts import HungJaw
from fitkit.fit.jaw_travel import JawTravel
from fitkit.fit.placement import FloatArray
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import BoolArray, Mesh, join
from fitkit.wearer.jaw_mesh import OpeningHead

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Gap between moving parts that is asked for. [mm] Common practice in the workshop: what
#: filler, paint and a warm day take.
WANTED_GAP_MM = 1.0
#: The angle of first contact, and that of the least gap, are found to this. [deg]
ANGLE_STEP_DEG = 0.05
#: A face of the whole is that of the facing wall if their centres are this near. [mm]
_SAME_MM = 1e-6
#: Head this far outside the box around the swept jaw is left out. [mm]
_AROUND_MM = 40.0
#: Skin is first looked for this near to the jaw. [mm]
_NEAR_MM = 15.0
#: Skin farther than this beyond the jaw's wall has not come through it. [mm]
DEEPEST_MM = 30.0


@dataclass(frozen=True, kw_only=True, eq=False)
class GapTravel:
    """Gap between the jaw and one thing, finished surfaces, over the travel."""

    #: "shell" or "head".
    against: str
    #: Turn of the jaw from as drawn, (k,). [deg]
    jaw_deg: FloatArray
    #: Least gap of the drawn walls at each turn; negative is the depth of a clash, (k,).
    #: [mm]
    drawn_mm: FloatArray
    #: Least gap of the finished walls at each turn, layers taken off, (k,). [mm]
    gap_mm: FloatArray
    #: Where it is, in the head frame, (k, 3). [mm]
    at_mm: FloatArray
    #: Least gap over the travel, refined between the steps. [mm]
    least_mm: float
    #: Turn at which it is least. [deg]
    least_deg: float
    #: Where, in the head frame, (3,). [mm]
    least_at_mm: FloatArray
    #: First turn from closed at which the two touch; nan if they never do. [deg]
    first_contact_deg: float

    @property
    def clashes(self) -> bool:
        """Whether the drawn walls meet anywhere in the travel."""
        return bool((self.drawn_mm <= 0.0).any())

    @property
    def rubs(self) -> bool:
        """Whether the finished walls, layers included, touch anywhere."""
        return self.least_mm <= 0.0

    @property
    def depth_mm(self) -> float:
        """Deepest clash of the finished walls, 0 if none, in mm."""
        return max(0.0, -self.least_mm)


@dataclass(frozen=True, kw_only=True, eq=False)
class JawClash:
    """Everything that the jaw may hit."""

    #: Jaw against all other parts, from stop to stop.
    shell: GapTravel
    #: Jaw against head and neck, as far as the chin drives it.
    head: GapTravel
    #: Points of the jaw's lip and of the shell's that are nearest at the front, jaw as
    #: drawn, in the head frame, (2, 3). [mm]
    mouth_mm: FloatArray
    #: Gap of the finished lips or teeth there, jaw as drawn. [mm]
    teeth_gap_mm: float
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]


class _Bodies:
    """The jaw and the rest of one piece at one size, made ready for gap queries."""

    def __init__(self, piece: Piece, size: FloatArray) -> None:
        name = str(piece.design.notes.jaw_part)
        others = [m for key, m in piece.design.parts.items() if key != name]
        if not others:
            msg = (
                f"{piece.name} has no part besides its jaw '{name}', so nothing holds the "
                "hinge. Is the shell in another file? Name it under part_files."
            )
            raise DesignError(msg)
        self.piece, self.size = piece, size
        jaw, shell = piece.design.parts[name], join(others)
        self.jaw, self.shell = jaw.scaled(size), shell.scaled(size)
        self.jaw_surface = self._finished(jaw, self.jaw)
        self.shell_surface = self._finished(shell, self.shell)

    def _finished(self, drawn: Mesh, sized: Mesh) -> Surface:
        """Layers on each face: lining towards the head, growth on all else. [mm]."""
        piece = self.piece
        if piece.design.surface != "solid":
            return Surface(sized, ahead_mm=piece.growth_mm, behind_mm=piece.lining_mm)
        away = cKDTree(piece.facing.centroids).query(
            drawn.centroids, distance_upper_bound=_SAME_MM
        )[0]
        layer = np.where(np.isfinite(away), piece.lining_mm, piece.growth_mm)
        return Surface(sized, ahead_mm=layer, behind_mm=layer)

    @cached_property
    def jaw_tree(self) -> SurfaceTree:
        return SurfaceTree(self.jaw)

    @cached_property
    def shell_tree(self) -> SurfaceTree:
        return SurfaceTree(self.shell)

    @cached_property
    def jaw_wall(self) -> SurfaceTree | None:
        """The jaw's wall that faces the head; None if no face of it does."""
        if not self.piece.jaw_faces.any():
            return None
        wall = self.piece.facing.submesh(self.piece.jaw_faces)
        return SurfaceTree(wall.scaled(self.size))

    @cached_property
    def mouth(self) -> tuple[FloatArray, float]:
        """Lip of the jaw and of the shell, (2, 3), sized, and their drawn gap. [mm]."""
        points = self.jaw.vertices
        low, high = self.jaw.bounds_mm
        front = points[:, 1] > low[1] + 0.6 * (high[1] - low[1])
        middle = np.abs(points[:, 0] - (low[0] + high[0]) / 2) < 0.2 * (high[0] - low[0])
        chosen = points[front & middle] if (front & middle).any() else points
        best = int(self.shell_surface.near(chosen)[0].argmin())
        nearest = self.shell_tree.nearest(chosen[best][None])
        lips = np.stack([chosen[best], nearest.point[0]])
        return lips, float(nearest.distance_mm[0])


_KEPT: WeakKeyDictionary[Piece, _Bodies] = WeakKeyDictionary()


def bodies_of(piece: Piece, size: FloatArray) -> _Bodies:
    """Jaw and shell of a piece at a size, the last ones kept."""
    kept = _KEPT.get(piece)
    if kept is None or not np.array_equal(kept.size, size):
        kept = _KEPT[piece] = _Bodies(piece, size)
    return kept


def mouth_points(hung: HungJaw) -> FloatArray:
    """Give the lip of the jaw and that of the shell, jaw as drawn, (2, 3), in mm."""
    sized, _ = bodies_of(hung.piece, hung.placement.size).mouth
    return _to_head(hung, sized)


@dataclass(frozen=True, kw_only=True, eq=False)
class Gaps:
    """Least gaps at k turns."""

    #: Of the finished walls, and of the drawn ones, each (k,); minus the depth where
    #: they meet, which is found at vertices. [mm]
    finished_mm: FloatArray
    drawn_mm: FloatArray
    #: Where, in the head frame, (k, 3). [mm]
    at_mm: FloatArray


def shell_gaps(hung: HungJaw, turns: FloatArray) -> Gaps:
    """
    Give the least gap between jaw and shell at turns, exact over all triangles.

    Parameters
    ----------
    hung : HungJaw
    turns : ndarray, shape (k,)
        Turns of the jaw from as drawn. [deg]
    """
    bodies = bodies_of(hung.piece, hung.placement.size)
    matrices = hung.swing_sized.matrix(turns)
    found = least_gaps(bodies.jaw_surface, bodies.shell_surface, matrices)
    finished, drawn = found.gap_mm.copy(), found.apart_mm.copy()
    at = (found.on_moving + found.on_still) / 2
    for row in np.nonzero(drawn <= 0)[0]:
        depth, where = _depth(bodies, matrices[row])
        if depth > 0:
            drawn[row], at[row] = -depth, where
            finished[row] -= depth
    return Gaps(finished_mm=finished, drawn_mm=drawn, at_mm=_to_head(hung, at))


def head_gaps(head: OpeningHead, hung: HungJaw, travel: JawTravel) -> Gaps:
    """
    Give the least gap between the jaw and the head at the openings of a travel.

    The head opens its mouth with the chin; hair and beard are added to the skin. One
    answer for each row of the travel.
    """
    bodies = bodies_of(hung.piece, hung.placement.size)
    part = _near_jaw(head, hung, travel)
    rows = []
    for chin, jaw in zip(travel.chin_deg, travel.jaw_deg, strict=True):
        skin = _with_hair(head, float(chin), part)
        matrix = hung.swing_sized.matrix(float(jaw))
        local = _carry(_back(matrix), hung.placement.to_sized(skin.vertices))
        finished, drawn, at = _gap_to_jaw(bodies, skin.with_vertices(local))
        rows.append((finished, drawn, _carry(matrix, at[None])[0]))
    return Gaps(
        finished_mm=np.array([row[0] for row in rows]),
        drawn_mm=np.array([row[1] for row in rows]),
        at_mm=_to_head(hung, np.array([row[2] for row in rows])),
    )


def sweep_jaw(
    head: OpeningHead,
    hung: HungJaw,
    travel: JawTravel,
    *,
    step_deg: float = 1.0,
) -> JawClash:
    """
    Sweep the jaw over its travel and find what it hits.

    Parameters
    ----------
    head : OpeningHead
    hung : HungJaw
    travel : JawTravel
        Of the same wearer and jaw, for the sweep against the head.
    step_deg : float
        Step of the jaw's turn against the shell, 0.1 to 5. [deg]

    Raises
    ------
    BriefError
        If the step is out of range.
    DesignError
        If the piece has no part besides its jaw.
    """
    in_range("step_deg", step_deg, low=0.1, high=5, unit="deg")
    span = hung.open_stop_deg - hung.close_stop_deg
    count = int(np.ceil(span / step_deg)) + 1
    turns = np.linspace(hung.close_stop_deg, hung.open_stop_deg, max(2, count))
    shell = _refined("shell", turns, shell_gaps(hung, turns), hung)
    against_head = _gap_travel("head", travel.jaw_deg, head_gaps(head, hung, travel))
    bodies = bodies_of(hung.piece, hung.placement.size)
    mouth, drawn = bodies.mouth
    growth = bodies.jaw_surface.thin.min() + bodies.shell_surface.thin.min()
    return JawClash(
        shell=shell,
        head=against_head,
        mouth_mm=_to_head(hung, mouth),
        teeth_gap_mm=float(drawn - growth),
        cautions=_cautions(hung, shell, against_head),
    )


def _gap_travel(against: str, turns: FloatArray, gaps: Gaps) -> GapTravel:
    least = int(gaps.finished_mm.argmin())
    closed = np.nonzero(gaps.finished_mm <= 0)[0]
    return GapTravel(
        against=against,
        jaw_deg=turns,
        drawn_mm=gaps.drawn_mm,
        gap_mm=gaps.finished_mm,
        at_mm=gaps.at_mm,
        least_mm=float(gaps.finished_mm[least]),
        least_deg=float(turns[least]),
        least_at_mm=gaps.at_mm[least],
        first_contact_deg=float(turns[closed[0]]) if len(closed) else float("nan"),
    )


def _refined(against: str, turns: FloatArray, gaps: Gaps, hung: HungJaw) -> GapTravel:
    """Look between the steps where the gap is least, and where it first closes."""
    coarse = _gap_travel(against, turns, gaps)
    best, step = coarse, float(turns[1] - turns[0])
    while step > ANGLE_STEP_DEG:
        around = best.least_deg + step * np.array([-0.5, 0.5])
        between = np.clip(around, turns[0], turns[-1])
        tried = _gap_travel(against, between, shell_gaps(hung, between))
        best = min(best, tried, key=lambda one: one.least_mm)
        step /= 2
    first = coarse.first_contact_deg
    if first > turns[0]:
        free = float(turns[np.searchsorted(turns, first) - 1])
        first = _first_contact(hung, free, first)
    return replace(
        coarse,
        least_mm=best.least_mm,
        least_deg=best.least_deg,
        least_at_mm=best.least_at_mm,
        first_contact_deg=first,
    )


def _first_contact(hung: HungJaw, free: float, hit: float) -> float:
    """Halve between a free turn and one that touches. [deg]."""
    while hit - free > ANGLE_STEP_DEG:
        middle = (free + hit) / 2
        if shell_gaps(hung, np.array([middle])).finished_mm[0] > 0:
            free = middle
        else:
            hit = middle
    return hit


def _depth(bodies: _Bodies, matrix: FloatArray) -> tuple[float, FloatArray]:
    """Deepest vertex of either body in the other's wall, and where it is, sized. [mm]."""
    jaw = _carry(matrix, bodies.jaw.vertices)
    one = _deepest(bodies.shell_tree, jaw)
    other = _deepest(bodies.jaw_tree, _carry(_back(matrix), bodies.shell.vertices))
    if other[0] > one[0]:
        return other[0], _carry(matrix, other[1][None])[0]
    return one


def _deepest(tree: SurfaceTree, points: FloatArray) -> tuple[float, FloatArray]:
    low, high = tree.mesh.bounds_mm
    near = np.nonzero(((points > low) & (points < high)).all(axis=1))[0]
    inside = near[tree.winding(points[near]) > 0.5] if len(near) else near
    if not len(inside):
        return 0.0, np.full(3, np.nan)
    depth = np.sqrt(tree.squared(points[inside])[0])
    row = int(depth.argmax())
    return float(depth[row]), points[inside[row]]


def _gap_to_jaw(bodies: _Bodies, skin: Mesh) -> tuple[float, float, FloatArray]:
    """Finished and drawn gap from skin to the jaw, in the jaw's own axes. [mm]."""
    near = skin.submesh(_nearest_faces(bodies.jaw_surface, skin))
    found = least_gaps(Surface(near), bodies.jaw_surface, np.eye(4)[None])
    gap, drawn = float(found.gap_mm[0]), float(found.apart_mm[0])
    at = (found.on_moving[0] + found.on_still[0]) / 2
    if drawn <= 0 and bodies.jaw_wall is not None:
        depth, where = _beyond(bodies.jaw_wall, skin.vertices)
        if depth > 0:
            return gap - depth, -depth, where
    return gap, drawn, at


def _nearest_faces(jaw: Surface, skin: Mesh) -> BoolArray:
    """Faces of the skin that may be the nearest to the jaw, (m,)."""
    reach = _NEAR_MM
    away = jaw.near(skin.vertices, reach_mm=reach)[0]
    if not np.isfinite(away).any():
        return np.ones(len(skin.faces), dtype=bool)
    most = away.min() - jaw.thin.min()
    edges = skin.triangles - np.roll(skin.triangles, 1, axis=1)
    longest = np.linalg.norm(edges, axis=2).max(axis=1)
    least = np.minimum(away, reach)[skin.faces].min(axis=1)
    near: BoolArray = least - longest - jaw.cover - jaw.thickest < most
    return near


def _beyond(wall: SurfaceTree, points: FloatArray) -> tuple[float, FloatArray]:
    """How far points have gone through an open wall, away from the head. [mm]."""
    near = wall.nearest(points)
    off = np.einsum("ij,ij->i", points - near.point, wall.mesh.normals[near.face])
    through = (off > 0) & ~near.on_boundary & (near.distance_mm < DEEPEST_MM)
    depth = np.where(through, near.distance_mm, 0.0)
    row = int(depth.argmax())
    return float(depth[row]), points[row]


def _with_hair(head: OpeningHead, chin_deg: float, part: BoolArray) -> Mesh:
    """Give some faces of the open head, hair and beard added."""
    used = np.unique(head.wearer.head.faces[part])
    skin = head.mesh(chin_deg).submesh(part)
    hair = head.wearer.hair_mm[used]
    if not hair.any():
        return skin
    return skin.with_vertices(skin.vertices + hair[:, None] * skin.vertex_normals)


def _near_jaw(head: OpeningHead, hung: HungJaw, travel: JawTravel) -> BoolArray:
    """Faces of the head that the swept jaw may come near, (m,)."""
    bodies = bodies_of(hung.piece, hung.placement.size)
    turns = np.linspace(float(travel.jaw_deg.min()), float(travel.jaw_deg.max()), 5)
    swept = np.concatenate(
        [_carry(hung.swing_sized.matrix(t), bodies.jaw.vertices[::4]) for t in turns]
    )
    low, high = swept.min(axis=0) - _AROUND_MM, swept.max(axis=0) + _AROUND_MM
    near = np.zeros(len(head.wearer.head.vertices), dtype=bool)
    for chin in (travel.chin_deg[0], travel.chin_deg[-1]):
        points = hung.placement.to_sized(head.vertices(float(chin)))
        near[((points > low) & (points < high)).all(axis=1)] = True
    faces: BoolArray = near[head.wearer.head.faces].max(axis=1)
    return faces if faces.any() else np.ones(len(faces), dtype=bool)


def _carry(matrix: FloatArray, points: FloatArray) -> FloatArray:
    carried: FloatArray = points @ matrix[:3, :3].T + matrix[:3, 3]
    return carried


def _back(matrix: FloatArray) -> FloatArray:
    """Inverse of a rigid map, (4, 4)."""
    back = np.eye(4)
    back[:3, :3] = matrix[:3, :3].T
    back[:3, 3] = -matrix[:3, :3].T @ matrix[:3, 3]
    return back


def _to_head(hung: HungJaw, sized: FloatArray) -> FloatArray:
    placed: FloatArray = sized @ hung.placement.rotation.T + hung.placement.shift_mm
    return placed


def _cautions(hung: HungJaw, shell: GapTravel, head: GapTravel) -> tuple[str, ...]:
    said = []
    play = hung.fittings.play_mm
    if shell.rubs:
        said.append(_clash_words(shell, "the shell"))
    elif shell.least_mm - play < WANTED_GAP_MM:
        said.append(
            f"Between jaw and shell only {shell.least_mm:.1f} mm are left at "
            f"{shell.least_deg:.0f} deg{_less_play(play)}; paint and warmth want "
            f"{WANTED_GAP_MM:g} mm."
        )
    if head.rubs:
        said.append(_clash_words(head, "the wearer"))
    return tuple(said)


def _clash_words(gap: GapTravel, what: str) -> str:
    right, front, up = np.round(gap.least_at_mm) + 0.0
    where = f"near ({right:g}, {front:g}, {up:g}) mm"
    if not gap.clashes:
        return (
            f"As drawn the jaw clears {what} by {gap.drawn_mm.min():.1f} mm, but its "
            f"layers take that and {gap.depth_mm:.1f} mm more at {gap.least_deg:.0f} deg, "
            f"{where}: leave them off there, or open the seam."
        )
    return (
        f"The jaw meets {what} from {gap.first_contact_deg:.1f} deg on, by up to "
        f"{gap.depth_mm:.1f} mm at {gap.least_deg:.0f} deg, {where}."
    )


def _less_play(play: float) -> str:
    return f", less {play:g} mm of play" if play > 0 else ""
