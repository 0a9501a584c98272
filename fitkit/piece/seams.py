"""Part a solid along planes, with keys that bring the parts together again."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from fitkit.errors import DesignError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import FloatArray, Mesh, join
from fitkit.geometry.sections import section
from fitkit.geometry.shapes import lies_in
from fitkit.geometry.solids import difference, split_by_plane, union
from fitkit.piece.laminate import within
from fitkit.piece.undercuts import across

#: Wall kept around a key. [mm]
COVER_MM = 0.8
#: Points along a key's axis that must lie deep enough in the wall.
STATIONS = 7
#: Keys are at least so many of their radii apart.
APART_RADII = 6.0
#: Sides of a round pin.
SIDES = 24
#: Grid over a cut face. [mm]
FACE_STEP_MM = 0.5


@dataclass(frozen=True, kw_only=True)
class Keys:
    """
    Round pins on one side of a seam, and holes for them in the other.

    Raises
    ------
    DesignError
        If a number is out of range.
    """

    #: Of the pin. [mm]
    radius_mm: float = 1.2
    #: How far it stands out of the seam; as much again sits in its own part. [mm]
    length_mm: float = 5.0
    #: Air around it in the hole. [mm]
    clearance_mm: float = 0.15
    #: As many as there is room for, up to this.
    count: int = 6

    def __post_init__(self) -> None:
        within("radius_mm", self.radius_mm, low=0.5, high=20, unit="mm")
        within("length_mm", self.length_mm, low=1, high=60, unit="mm")
        within("clearance_mm", self.clearance_mm, low=0, high=2, unit="mm")
        within("count", self.count, low=2, high=100, unit="")

    @property
    def needs_mm(self) -> float:
        """Least distance from a key's axis to the edge of the cut face, in mm."""
        return self.radius_mm + self.clearance_mm + COVER_MM


@dataclass(frozen=True, kw_only=True, eq=False)
class Parted:
    """A solid cut in two, each half a solid."""

    #: The half that the normal points into, with the holes; and the other, with pins.
    ahead: Mesh
    behind: Mesh
    #: Any point of the plane and its unit normal, shape (3,). [mm]
    point_mm: FloatArray
    normal: FloatArray
    #: Where the keys are, shape (k, 3). [mm]
    keys_mm: FloatArray
    #: Area of the cut face. [mm²]
    face_mm2: float
    #: Length of seam to see, all edges of the cut face. [mm]
    seam_mm: float
    #: In words; empty if nothing.
    cautions: tuple[str, ...]


def part_solid(
    solid: Mesh, *, point_mm: ArrayLike, normal: ArrayLike, keys: Keys | None = None
) -> Parted:
    """
    Part a solid along a plane.

    Parameters
    ----------
    solid : Mesh
        Closed, wound outward: a part drawn with its wall. [mm]
    point_mm, normal : array-like, shape (3,)
        The plane; the normal of any length but zero.
    keys : Keys, optional
        Without it the halves meet flat.

    Returns
    -------
    Parted
        Keys go where the wall is thickest and far from one another. Fewer than two are a
        caution: the halves could then turn.

    Raises
    ------
    MeshError
        If the mesh is no solid, or the plane misses it.
    """
    ahead, behind = split_by_plane(solid, point_mm=point_mm, normal=normal)
    direction = np.asarray(normal, dtype=float)
    direction = direction / np.linalg.norm(direction)
    face = _CutFace(solid, np.asarray(point_mm, dtype=float), direction)
    spots: list[FloatArray] = []
    cautions: list[str] = []
    if keys is not None:
        spots = face.spots(keys)
        if spots:
            behind = union(behind, _pins(spots, direction, keys, grown_mm=0.0))
            holes = _pins(spots, direction, keys, grown_mm=keys.clearance_mm)
            ahead = difference(ahead, holes)
        if len(spots) < 2:
            cautions.append(
                f"The wall has room for {len(spots)} keys of {2 * keys.radius_mm:g} mm on "
                f"this seam: up to {2 * face.widest_mm:.1f} mm wide, and it slants. Take "
                "thinner or shorter keys, or glue a strip across it inside."
            )
    return Parted(
        ahead=ahead,
        behind=behind,
        point_mm=np.asarray(point_mm, dtype=float),
        normal=direction,
        keys_mm=np.array(spots).reshape(-1, 3),
        face_mm2=face.area_mm2,
        seam_mm=face.edge_mm,
        cautions=tuple(cautions),
    )


class _CutFace:
    """The face along which a solid is cut, and the room for keys on it."""

    def __init__(self, solid: Mesh, point: FloatArray, normal: FloatArray) -> None:
        self.solid, self.normal = solid, normal
        lines = section(solid, point_mm=point, normal=normal)
        self.edge_mm = float(
            sum(np.linalg.norm(np.diff(line, axis=0), axis=1).sum() for line in lines)
        )
        self.axes = across(normal)
        self.level = float(point @ normal)
        flat = [line @ self.axes.T for line in lines if len(line) > 3]
        self.nodes, self.clear = _inside(flat)
        self.area_mm2 = abs(sum(_area_mm2(ring) for ring in flat))
        self.widest_mm = float(self.clear.max(initial=0.0))

    def spots(self, keys: Keys) -> list[FloatArray]:
        """Places for keys: the roomiest first, then each far from those before."""
        fit = self.clear >= keys.needs_mm
        places = self.nodes[fit] @ self.axes + self.level * self.normal
        room = self._room_mm(places, keys.length_mm)
        places, room = places[room >= keys.needs_mm], room[room >= keys.needs_mm]
        found: list[FloatArray] = []
        reach = np.full(len(places), np.inf)
        while len(found) < keys.count and len(places):
            best = int((reach if found else room).argmax())
            if reach[best] < APART_RADII * keys.radius_mm:
                break
            found.append(places[best])
            reach = np.minimum(reach, np.linalg.norm(places - places[best], axis=1))
        return found

    def _room_mm(self, places: FloatArray, length: float) -> FloatArray:
        """Least depth in the wall along the axis of a key at each place, (n,)."""
        if not len(places):
            return np.empty(0)
        tree = SurfaceTree(self.solid)
        depths = [
            -tree.signed_mm(places + share * length * self.normal)
            for share in np.linspace(-1.0, 1.0, STATIONS)
        ]
        least: FloatArray = np.min(depths, axis=0)
        return least


@dataclass(frozen=True, kw_only=True, eq=False)
class BedPart:
    """One part that fits a print bed."""

    name: str
    #: In the axes of the whole piece. [mm]
    mesh: Mesh
    #: Its extents: right, front, up, pins included, shape (3,). [mm]
    size_mm: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class BedSplit:
    """A solid in parts that each fit a print bed, in some upright or lying pose."""

    bed_mm: tuple[float, float, float]
    parts: tuple[BedPart, ...]
    #: The cuts in order.
    cuts: tuple[Parted, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class KeepWhole:
    """A ball that no seam may pass through."""

    name: str
    centre_mm: tuple[float, float, float]
    radius_mm: float


#: Beds that are believed. [mm]
LEAST_BED_MM, MOST_BED_MM = 50.0, 3000.0
#: Most parts that a piece is split into.
MOST_PARTS = 64
#: What a cut only grazes off is no part, if smaller than this. [mm³]
CRUMB_MM3 = 50.0
#: Places at which each cut is tried.
PLACES = 9


def split_to_bed(
    solid: Mesh,
    *,
    bed_mm: tuple[float, float, float],
    keys: Keys | None = None,
    keep_whole: Sequence[KeepWhole] = (),
    name: str = "part",
) -> BedSplit:
    """
    Split a solid until every part fits a print bed.

    Parameters
    ----------
    solid : Mesh
        Closed, wound outward. [mm]
    bed_mm : tuple of three float
        Width, depth and height that can be printed; a part may be laid on any of its
        sides. [mm]
    keys : Keys, optional
        On every seam; pins count for the size of a part.
    keep_whole : sequence of KeepWhole
        Places that no seam may pass through.
    name : str
        Parts are named after it.

    Returns
    -------
    BedSplit
        Each cut is square to an axis, where, of nine places that keep the number of parts
        low, the least face is cut; if none of them may be cut, anywhere along it.

    Raises
    ------
    DesignError
        If the bed is no bed, a place to be kept whole leaves no room for a seam, or more
        than 64 parts would be needed.
    MeshError
        If the mesh is no solid.
    """
    for extent in bed_mm:
        within("bed_mm", extent, low=LEAST_BED_MM, high=MOST_BED_MM, unit="mm")
    limit = np.sort(np.array(bed_mm)) - (keys.length_mm if keys else 0.0)
    waiting, done, cuts, crumbs_mm3 = [solid], [], [], 0.0
    if np.ceil(np.sort(solid.size_mm) / np.maximum(limit, 1.0) - 1e-9).prod() > MOST_PARTS:
        raise DesignError(_too_many(solid, bed_mm, name))
    while waiting:
        part = waiting.pop()
        if np.all(np.sort(part.size_mm) <= np.sort(bed_mm) + 1e-9):
            done.append(part)
            continue
        if len(waiting) + len(done) + 2 > MOST_PARTS:
            raise DesignError(_too_many(solid, bed_mm, name))
        cut = _best_cut(part, limit, keep_whole, keys, name, bed_mm)
        cuts.append(cut)
        for each in (*_apart(cut.ahead), *_apart(cut.behind)):
            if each.volume_mm3 >= CRUMB_MM3:
                waiting.append(each)
            else:
                crumbs_mm3 += each.volume_mm3
    done.sort(key=lambda mesh: tuple(np.round(mesh.bounds_mm.mean(axis=0)[::-1], 3)))
    return BedSplit(
        bed_mm=bed_mm,
        parts=tuple(
            BedPart(name=f"{name} {number}", mesh=mesh, size_mm=mesh.size_mm)
            for number, mesh in enumerate(done, start=1)
        ),
        cuts=tuple(cuts),
        cautions=tuple(dict.fromkeys(_cautions(cuts, crumbs_mm3))),
    )


def _cautions(cuts: Sequence[Parted], crumbs_mm3: float) -> Iterator[str]:
    for cut in cuts:
        yield from cut.cautions
    if crumbs_mm3 >= 1.0:
        yield (
            f"Crumbs of {crumbs_mm3:.0f} mm³ in all, where a cut only grazes the surface, "
            "are left out."
        )


def _too_many(solid: Mesh, bed_mm: tuple[float, float, float], name: str) -> str:
    return (
        f"{name}: more than {MOST_PARTS} parts would be needed for a bed of {_by(bed_mm)} "
        f"mm; it is {_by(solid.size_mm)} mm. Take a larger bed."
    )


def _best_cut(
    part: Mesh,
    limit: FloatArray,
    keep_whole: Sequence[KeepWhole],
    keys: Keys | None,
    name: str,
    bed_mm: tuple[float, float, float],
) -> Parted:
    """Cut across the axis that is most too long, where the face is least."""
    order = np.argsort(part.size_mm)
    pieces = np.ones(3, dtype=int)
    pieces[order] = np.ceil(part.size_mm[order] / limit - 1e-9).astype(int)
    ratio = np.empty(3)
    ratio[order] = part.size_mm[order] / limit
    room = np.empty(3)
    room[order] = limit
    for axis in np.argsort(-ratio):
        if pieces[axis] < 2 and ratio[axis] <= 1:
            continue
        best = _least_face(part, int(axis), float(room[axis]), keep_whole)
        if best is not None:
            normal = np.eye(3)[axis]
            return part_solid(part, point_mm=best * normal, normal=normal, keys=keys)
    kept = ", ".join(one.name for one in keep_whole)
    msg = (
        f"{name}: a part of {_by(part.size_mm)} mm cannot be split to a bed of "
        f"{_by(bed_mm)} mm without a seam through what is kept whole ({kept}). Take a "
        "larger bed, or let a seam pass there."
    )
    raise DesignError(msg)


def _least_face(
    part: Mesh, axis: int, room: float, keep_whole: Sequence[KeepWhole]
) -> float | None:
    """Of places that keep the number of parts low, or else of any, the least face."""
    low, high = part.bounds_mm[:, axis]
    extent = float(high - low)
    count = max(2, math.ceil(extent / room - 1e-9))
    # the first part may be as long as the bed, and no shorter than the rest allows
    first = low + max(extent - (count - 1) * room, 0.1 * room)
    last = low + min(room, extent - 0.1 * room)
    anywhere = low + extent * np.linspace(0.04, 0.96, 4 * PLACES)  # with more parts
    for places in (np.linspace(first, last, PLACES), anywhere):
        free = [
            float(at)
            for at in places
            if not any(_passes(one, axis, float(at)) for one in keep_whole)
        ]
        if free:
            return min(free, key=lambda at: _face_mm2(part, axis, at))
    return None


def _passes(one: KeepWhole, axis: int, at: float) -> bool:
    return abs(one.centre_mm[axis] - at) < one.radius_mm


def _face_mm2(part: Mesh, axis: int, at: float) -> float:
    normal = np.eye(3)[axis]
    lines = section(part, point_mm=at * normal, normal=normal)
    keep = [k for k in range(3) if k != axis]
    return abs(sum(_area_mm2(line[:, keep]) for line in lines))


def _apart(half: Mesh) -> Iterator[Mesh]:
    """Give what hangs together, each on its own; a part with a closed void stays whole."""
    parts = half.parts()
    if any(part.volume_mm3 <= 0 for part in parts):
        yield half
        return
    yield from parts


def _pins(
    spots: Sequence[FloatArray], normal: FloatArray, keys: Keys, *, grown_mm: float
) -> Mesh:
    """All pins of a seam, which stand apart from one another."""
    return join([_pin(spot, normal, keys, grown_mm=grown_mm) for spot in spots])


def _pin(spot: FloatArray, normal: FloatArray, keys: Keys, *, grown_mm: float) -> Mesh:
    """A round pin through a seam, its free end tapered so that it finds its hole."""
    radius, length = keys.radius_mm + grown_mm, keys.length_mm
    taper = min(radius / 2, length / 3)
    top = 2 * length + grown_mm
    profile = ((0.0, radius), (top - taper, radius), (top, radius - taper / 2))
    turn = np.linspace(0, 2 * np.pi, SIDES, endpoint=False)
    rings = [
        np.column_stack([r * np.cos(turn), r * np.sin(turn), np.full(SIDES, up)])
        for up, r in profile
    ]
    points = np.vstack([*rings, [[0.0, 0.0, 0.0]], [[0.0, 0.0, top]]])
    ring = np.arange(SIDES)
    after = np.roll(ring, -1)
    low, high = len(points) - 2, len(points) - 1
    faces = [np.column_stack([after, ring, np.full(SIDES, low)])]
    for level in (0, SIDES):
        a, b = ring + level, after + level
        faces += [
            np.column_stack([a, b, b + SIDES]),
            np.column_stack([a, b + SIDES, a + SIDES]),
        ]
    end = 2 * SIDES
    faces.append(np.column_stack([ring + end, after + end, np.full(SIDES, high)]))
    placed = points @ _turn_to(normal).T + spot - length * normal
    return Mesh(placed, np.concatenate(faces))


def _turn_to(normal: FloatArray) -> FloatArray:
    """A rotation that carries up to the normal, shape (3, 3)."""
    return np.column_stack([*across(normal), normal])


def _inside(rings: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Nodes inside outlines, (n, 2), and how far each is from the nearest one, (n,)."""
    if not rings:
        return np.empty((0, 2)), np.empty(0)
    edge = np.concatenate([_dotted(ring) for ring in rings])
    low, high = edge.min(axis=0), edge.max(axis=0)
    axes = [np.arange(a, b, FACE_STEP_MM) for a, b in zip(low, high, strict=True)]
    nodes = np.stack(np.meshgrid(*axes), axis=-1).reshape(-1, 2)
    nodes = nodes[lies_in(nodes, [ring[:-1] for ring in rings])]
    clear = np.asarray(cKDTree(edge).query(nodes)[0]) if len(nodes) else np.empty(0)
    return nodes, clear


def _dotted(ring: FloatArray) -> FloatArray:
    along = np.append(0.0, np.linalg.norm(np.diff(ring, axis=0), axis=1).cumsum())
    at = np.arange(0.0, along[-1], FACE_STEP_MM / 2)
    return np.column_stack([np.interp(at, along, ring[:, axis]) for axis in (0, 1)])


def _area_mm2(ring: FloatArray) -> float:
    right, up = ring.T
    return float(np.sum(right[:-1] * up[1:] - right[1:] * up[:-1]) / 2)


def _by(size: ArrayLike) -> str:
    return " x ".join(f"{x:.0f}" for x in np.asarray(size, dtype=float))
