"""What a route makes of a piece: finished surfaces, wall everywhere, places that fill."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from fitkit.errors import DesignError, MeshError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh
from fitkit.geometry.offsets import offset_surface
from fitkit.geometry.refine import split_long_edges
from fitkit.piece._rooms import Room, rooms_within
from fitkit.piece._uneven import moved_to_offsets, offsets_by_face
from fitkit.piece.buildup import (
    CLEAR_WALLS,
    WALL_SAMPLES,
    BuildUp,
    Layer,
    Piece,
    checked_size,
    finish,
)
from fitkit.piece.design import Design
from fitkit.piece.links import components, face_links
from fitkit.piece.rims import rim_points
from fitkit.piece.routes import Coat, Route

#: Where the wall is this much thicker than meant, a feature has filled; a square corner
#: is 1.41 times as thick.
FILLED = 1.5
#: Places that fill, of which no more are told one by one.
MOST_TOLD = 4
#: Smaller places that fill are left out. [mm²]
LEAST_FILLED_MM2 = 40.0
#: A distance smaller than this is none. [mm]
NOTHING_MM = 1e-6
#: Finest offset that is worth making; a nearer surface is the drawn one. [mm]
LEAST_OFFSET_MM = 0.01
#: Grid step of the finished surfaces unless another is asked for. [mm]
RESOLUTION_MM = 4.0
#: The wall is looked at no less often than this. [mm]
LONGEST_EDGE_MM = 6.0
#: Other rooms than the head's that are believed, from here. [mm³]
LEAST_ROOM_MM3 = 3000.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Filled:
    """A thin feature that comes out solid: the tip of a horn, the rim of an ear."""

    #: Where it is thickest, shape (3,), in the piece's axes at the finished size. [mm]
    at_mm: FloatArray
    #: Through what is laid there to the nearest hollow. [mm]
    solid_mm: float
    #: How thick that is meant to be. [mm]
    meant_mm: float
    #: Area of the surface over it. [mm²]
    area_mm2: float


@dataclass(frozen=True, kw_only=True, eq=False)
class WallMap:
    """Thickness of the finished wall, face by face."""

    #: The drawn surface it is mapped on, at the finished size: a skin, or the inner side
    #: of a drawn wall; long triangles are split. [mm]
    surface: Mesh
    #: Rows of `surface` that were measured, shape (k,).
    faces: IntArray
    #: Thickness there, shape (k,); a wall drawn, with its layers. [mm]
    thickness_mm: FloatArray
    #: Thickness that is meant; of a drawn wall, the median. [mm]
    meant_mm: float

    @property
    def least_mm(self) -> float:
        """Least thickness in mm."""
        return float(self.thickness_mm.min())

    @property
    def thinnest_at_mm(self) -> FloatArray:
        """Where it is least, in mm, shape (3,)."""
        at: FloatArray = self.surface.centroids[self.faces[self.thickness_mm.argmin()]]
        return at


@dataclass(frozen=True, kw_only=True, eq=False)
class RouteWalls:
    """The finished surfaces of a piece by one route, in its axes at the finished size."""

    route: Route
    #: Finished size over the drawn one, and size of the master over the drawn one,
    #: shape (3,).
    size: FloatArray
    master_size: FloatArray
    #: The finished inner wall, wound away from the head. [mm]
    inner: Mesh
    wall: WallMap
    #: Largest first.
    filled: tuple[Filled, ...]
    #: Rooms that the growing wall shuts off from the head's, largest first.
    shut_off: tuple[Room, ...]
    #: In words; empty if nothing.
    cautions: tuple[str, ...]


def finish_by_route(design: Design, *, route: Route) -> Piece:
    """
    Make a piece of a design by a route, for every question that a piece answers.

    Parameters
    ----------
    design : Design
    route : Route

    Returns
    -------
    Piece
        Its lining and growth are those of the route, exactly; its build-up lists what
        is in the finished wall. `sample_wall` and `weigh` know even layers only.

    Raises
    ------
    DesignError
        If the design and the route disagree on whether a wall is drawn, or the route
        leaves no wall.
    """
    solid = design.surface == "solid"
    if solid and not route.drawn_wall:
        msg = (
            f"{design.name} is drawn with its wall, but '{route.name}' starts from a bare "
            'skin or form. Save its outside alone with "surface": "outer", or take a '
            "route with drawn_wall."
        )
        raise DesignError(msg)
    if route.drawn_wall and not solid:
        msg = (
            f"'{route.name}' starts from a drawn wall, but {design.name} is an "
            f"{design.surface} skin. Take a route that lays the wall, or draw it."
        )
        raise DesignError(msg)
    if not solid and route.wall_mm < NOTHING_MM:
        msg = f"'{route.name}' leaves no wall: its last copy keeps a bare surface."
        raise DesignError(msg)
    piece = finish(design, build_up=build_up_by_route(route))
    return replace(piece, lining_mm=route.lining_mm, growth_mm=route.growth_mm)


def build_up_by_route(route: Route) -> BuildUp:
    """
    Say what a route leaves in the wall, as layers of the two sides of the drawn skin.

    A coat that lies across the drawn surface is listed on both sides, each with its
    share; where the whole wall lies on one side, layers start at the drawn surface.
    """
    outward: list[tuple[Coat, Layer]] = []
    inward: list[tuple[Coat, Layer]] = []
    for coat in route.finished.coats:
        out = min(coat.to_mm, coat.to_mm - coat.from_mm) if coat.to_mm > 0 else 0.0
        for side, thick in ((outward, out), (inward, coat.thickness_mm - out)):
            if thick > NOTHING_MM:
                side.append((coat, Layer(name=coat.name, thickness_mm=thick)))
    outward.sort(key=lambda pair: pair[0].from_mm)
    inward.sort(key=lambda pair: -pair[0].to_mm)
    return BuildUp(
        outward=tuple(layer for _, layer in outward),
        inward=tuple(layer for _, layer in inward),
        shrink_percent=tuple(copy.shrink_percent for copy in route.copies),
    )


def route_walls(
    piece: Piece,
    *,
    route: Route,
    size: float | ArrayLike = 1.0,
    resolution_mm: float = RESOLUTION_MM,
) -> RouteWalls:
    """
    Work out the finished surfaces of a route, the wall everywhere and what fills.

    Parameters
    ----------
    piece : Piece
        Made by `finish_by_route`, or any piece of the same design.
    route : Route
    size : float or array-like, shape (3,)
        Finished size over the drawn one, as placed on the head; the master is larger.
    resolution_mm : float
        Hollows and ridges smaller than this may be missed. [mm]

    Returns
    -------
    RouteWalls
        Surfaces at true distances: vertices exact to 0.001 mm, faces to 0.05 mm away
        from creases.

    Raises
    ------
    DesignError
        If the size is out of range, sanding goes through a drawn wall, or the inner
        wall meets itself where the head goes.
    """
    factors = checked_size(size)
    room = _Room(piece, route, factors, resolution_mm)
    inner, shut_off = room.inner(), room.shut_off()
    laid = _laid_map(room, inner)
    wall = _drawn_wall_map(room) if route.drawn_wall else laid
    if wall.least_mm <= 0:
        msg = (
            f"{piece.name}, '{route.name}': the wall would be negative "
            f"({wall.least_mm:.2f} mm at {_spot(wall.thinnest_at_mm)} mm). Sand less, or "
            "draw it thicker."
        )
        raise DesignError(msg)
    filled = _filled(laid)
    return RouteWalls(
        route=route,
        size=factors,
        master_size=factors * route.master_scale,
        inner=inner,
        wall=wall,
        filled=filled,
        shut_off=shut_off,
        cautions=_cautions(wall, filled, shut_off, drawn=route.drawn_wall),
    )


def route_outer(
    piece: Piece,
    *,
    route: Route,
    size: float | ArrayLike = 1.0,
    resolution_mm: float = RESOLUTION_MM,
) -> Mesh:
    """
    Give the finished outside of a route, wound outward; parameters as `route_walls`.

    Raises
    ------
    DesignError
        If the size is out of range.
    """
    return _Room(piece, route, checked_size(size), resolution_mm).outer()


def route_inner(
    piece: Piece,
    *,
    route: Route,
    size: float | ArrayLike = 1.0,
    resolution_mm: float = RESOLUTION_MM,
) -> Mesh:
    """
    Give the finished inner wall alone, wound away from the head; as `route_walls`.

    Raises
    ------
    DesignError
        If the size is out of range, or nothing of the cavity is left.
    """
    return _Room(piece, route, checked_size(size), resolution_mm).inner()


class _Room:
    """The drawn surfaces at the finished size, and how far the finished ones lie off."""

    def __init__(
        self, piece: Piece, route: Route, factors: FloatArray, resolution_mm: float
    ) -> None:
        self.piece, self.route, self.resolution_mm = piece, route, resolution_mm
        self.factors = factors
        self.facing = piece.facing.scaled(factors)
        self.skin = piece.skin.scaled(factors)
        self.inner_mm = offsets_by_face(route, piece.facing.centroids, "inner")
        self.outer_mm = offsets_by_face(route, piece.skin.centroids, "outer")

    def inner(self) -> Mesh:
        """The finished inner wall."""
        try:
            return self._offset(self.facing, self.inner_mm)
        except MeshError as error:
            raise DesignError(self._meets_itself(str(error))) from None

    def outer(self) -> Mesh:
        """The finished outside."""
        return self._offset(self.skin, self.outer_mm)

    def inner_at(self, points: FloatArray) -> FloatArray:
        """How far the inner wall lies off, outward positive, at points of the skin."""
        return offsets_by_face(self.route, points / self.factors, "inner")

    def outer_at(self, points: FloatArray) -> FloatArray:
        """How far the outside lies off, outward positive, at points of the skin."""
        return offsets_by_face(self.route, points / self.factors, "outer")

    def shut_off(self) -> tuple[Room, ...]:
        """Rooms that are walled off; refused if the head's own room is not left."""
        lining = -self.inner_mm
        rooms = rooms_within(self.facing, lining_mm=lining)
        if rooms.head_mm3 < rooms.before_mm3 / 2:
            cm3 = rooms.head_mm3 / 1000, rooms.before_mm3 / 1000
            words = f"of a cavity of {cm3[1]:.0f} cm³ the head is left {cm3[0]:.0f} cm³."
            raise DesignError(self._meets_itself(words))
        return tuple(r for r in rooms.others if r.volume_mm3 >= LEAST_ROOM_MM3)

    def _offset(self, mesh: Mesh, by_face: FloatArray) -> Mesh:
        even = float(by_face[np.abs(by_face).argmin()])
        if by_face.min() < 0 < by_face.max():
            msg = (
                f"'{self.route.name}': by regions, the finished surface lies "
                f"{by_face.min():.2f} to {by_face.max():.2f} mm off the drawn one, on both "
                "sides of it; make the regions' thicknesses keep it on one side."
            )
            raise DesignError(msg)
        made = mesh
        if abs(even) >= LEAST_OFFSET_MM:
            made = offset_surface(mesh, distance_mm=even, resolution_mm=self.resolution_mm)
        if np.ptp(by_face) > NOTHING_MM:
            made = moved_to_offsets(made, mesh, by_face)
        return made

    def _meets_itself(self, words: str) -> str:
        return (
            f"{self.piece.name}, '{self.route.name}': the inner wall, "
            f"{-float(self.inner_mm.min()):.1f} mm inside the drawn surface, meets itself "
            f"where the head goes: {words} Lay less inward, or make the piece larger."
        )


def _laid_map(room: _Room, inner: Mesh) -> WallMap:
    """
    Measure what a route lays, to the nearest hollow, at every face of the drawn skin.

    On a drawn wall, only what is laid inward of it.
    """
    surface = split_long_edges(
        room.facing if room.route.drawn_wall else room.skin, longest_mm=LONGEST_EDGE_MM
    )
    rows = _sampled(surface)
    at = surface.centroids[rows]
    within = room.inner_at(at)
    out = np.zeros(len(rows)) if room.route.drawn_wall else room.outer_at(at)
    gap = SurfaceTree(inner).nearest(at).distance_mm
    # a crease that was cut short can come nearer than the true surface, which cannot
    gap = np.maximum(gap, np.abs(within))
    thickness = out + np.where(within > 0, -gap, gap)  # the wall may lie all outside
    return WallMap(
        surface=surface,
        faces=rows,
        thickness_mm=thickness,
        meant_mm=float(np.median(out - within)),
    )


def _drawn_wall_map(room: _Room) -> WallMap:
    """Measure a drawn wall from its inner side, away from its openings; add layers."""
    surface = split_long_edges(room.facing, longest_mm=LONGEST_EDGE_MM)
    rows = _sampled(surface)
    at = surface.centroids[rows]
    near = SurfaceTree(room.skin).nearest(at)
    drawn = near.distance_mm
    clear = np.full(len(rows), fill_value=True)
    edge = rim_points(room.facing)
    if len(edge):
        off = np.asarray(cKDTree(edge).query(at)[0])
        clear = off > CLEAR_WALLS * float(np.median(drawn))
    if not clear.any():
        msg = f"{room.piece.name}: its wall is nowhere far enough from an opening."
        raise DesignError(msg)
    added = room.outer_mm[near.face] - room.inner_at(at)
    thickness = (drawn + added)[clear]
    return WallMap(
        surface=surface,
        faces=rows[clear],
        thickness_mm=thickness,
        meant_mm=float(np.median(thickness)),
    )


def _sampled(mesh: Mesh) -> IntArray:
    rows = np.nonzero(mesh.areas_mm2 > 0)[0]
    return np.asarray(rows[:: max(1, len(rows) // (4 * WALL_SAMPLES))])


def _filled(wall: WallMap) -> tuple[Filled, ...]:
    """Group the places where the wall is much thicker than meant."""
    thick = np.full(len(wall.surface.faces), np.nan)
    thick[wall.faces] = wall.thickness_mm
    if wall.meant_mm < NOTHING_MM:
        return ()
    thick = _carried(wall, thick)
    solid = np.asarray(np.greater(thick, FILLED * wall.meant_mm), dtype=bool)
    links = face_links(wall.surface).faces
    both = links[solid[links].all(axis=1)]
    group = components(len(solid), both[:, 0], both[:, 1])
    found = []
    for number in np.unique(group[solid]):
        rows = np.nonzero(solid & (group == number))[0]
        area = float(wall.surface.areas_mm2[rows].sum())
        if area >= LEAST_FILLED_MM2:
            tip = rows[thick[rows].argmax()]
            found.append(
                Filled(
                    at_mm=wall.surface.centroids[tip],
                    solid_mm=float(thick[tip]),
                    meant_mm=wall.meant_mm,
                    area_mm2=area,
                )
            )
    return tuple(sorted(found, key=lambda one: -one.solid_mm))


def _carried(wall: WallMap, thick: FloatArray) -> FloatArray:
    """Give faces that were not sampled the thickness of the nearest one that was."""
    left = np.nonzero(np.isnan(thick))[0]
    if len(left):
        at = wall.surface.centroids
        nearest = cKDTree(at[wall.faces]).query(at[left])[1]
        thick[left] = wall.thickness_mm[nearest]
    return thick


def _cautions(
    wall: WallMap, filled: tuple[Filled, ...], shut_off: tuple[Room, ...], *, drawn: bool
) -> tuple[str, ...]:
    words = []
    if wall.least_mm < 0.5 * wall.meant_mm:
        words.append(
            f"The wall is only {wall.least_mm:.1f} mm at {_spot(wall.thinnest_at_mm)} mm; "
            f"{wall.meant_mm:.1f} mm is usual on this piece."
        )
    words += [_filled_words(one, drawn=drawn) for one in filled[:MOST_TOLD]]
    if len(filled) > MOST_TOLD:
        words.append(f"{len(filled) - MOST_TOLD} smaller places fill as well.")
    words += [
        "The inner wall meets itself and shuts off a room of "
        f"{room.volume_mm3 / 1000:.0f} cm³ about {_spot(room.at_mm)} mm."
        for room in shut_off
    ]
    return tuple(words)


def _filled_words(one: Filled, *, drawn: bool) -> str:
    size = f"over {one.area_mm2 / 100:.1f} cm²"
    if drawn:
        return (
            f"At {_spot(one.at_mm)} mm what is laid inward meets itself and fills "
            f"{one.solid_mm:.0f} mm deep, {size}: leave it out there, above all between "
            "parts that move."
        )
    return (
        f"At {_spot(one.at_mm)} mm it comes out solid: {one.solid_mm:.0f} mm to the "
        f"nearest hollow where {one.meant_mm:.1f} mm are meant, {size}. It weighs more, "
        "and resin cast that thick heats and shrinks more."
    )


def _spot(at: FloatArray) -> str:
    return ", ".join(f"{x + 0.0:.0f}" for x in np.round(at))
