"""Section gauges: where head and finished inner wall run in a few planes, and the gap."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np

from fitkit.errors import SheetError
from fitkit.fit.ease import EaseMap
from fitkit.fit.placement import Placement
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import FloatArray, IntArray, Mesh
from fitkit.geometry.sections import section
from fitkit.geometry.shapes import Shape, bodies, box, common, shape
from fitkit.views.sections import SectionPlane
from fitkit.views.walls import FinishedWall
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import ZONES, zone_words

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

Side = Literal[1, -1]
#: Gauges stay this far above the ears, or at the glabella where that is higher. [mm]
ABOVE_EARS_MM = 4.0
#: Step between rays to the wall. [deg]
RAY_STEP_DEG = 0.5
#: The wall is looked for up to this far beyond the head. [mm]
REACH_MM = 60.0
#: A ray that is this near has met the wall; and most steps to get there. [mm]
MET_MM, MOST_STEPS = 0.002, 400
#: A zone that a gauge runs along for less than this is not named. [mm]
LEAST_RUN_MM = 18.0
#: Longest way from the head to the wall at which a gap is read with a gauge. [mm]
READ_MM = 45.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Station:
    """A half plane in which a gauge stands: all of the plane beyond its base line."""

    #: Short name, for files.
    name: str
    #: How the gauge is held, for people.
    title: str
    plane: SectionPlane
    #: Where the base line lies on the paper's upward axis. [mm]
    base_mm: float
    #: 1 if the gauge stands above the base line on paper, −1 if below.
    side: Side
    #: What the left and the right end of the gauge are called.
    ends: tuple[str, str]


@dataclass(frozen=True, kw_only=True, eq=False)
class GaugePlace:
    """One place at which a gap is read."""

    #: Zone of the head, in words.
    name: str
    #: On the head over its hair, and straight ahead of it on the finished inner wall,
    #: shape (2,), on the gauge. [mm]
    head_mm: FloatArray
    wall_mm: FloatArray
    #: Predicted gap in space there; positive air, negative clash. [mm]
    ease_mm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Gauge:
    """Head and wall in one station; points are (along the base line, off it) in mm."""

    station: Station
    #: The head over its hair, cut off at the base line.
    head: Shape
    #: The finished inner wall as first met from the middle of the base line, from the
    #: right end of the paper to the left, shape (k, 2). [mm]
    wall_mm: FloatArray
    #: Share of those rays that met no wall near the head: openings and deep hollows,
    #: over which the gauge runs straight.
    open_share: float
    places: tuple[GaugePlace, ...]


def usual_stations(wearer: Wearer) -> tuple[Station, ...]:
    """
    Give the stations of a set of gauges.

    Over the crown from front to back and from ear to ear, and level around the front and
    the back, all from the level of the glabella, or from just above the ears where they
    reach higher: there a card goes on and off a head.
    """
    level, front = _girth_level(wearer), _widest_front(wearer)
    over = np.array([0.0, 0.0, level])

    def plane(name: str, across: int, upward: int) -> SectionPlane:
        return SectionPlane(
            name=name, title=name, point_mm=over, across=across, upward=upward
        )

    return (
        Station(
            name="midline",
            title="over the crown from front to back, on the midline",
            plane=plane("midline", 1, 2),
            base_mm=level,
            side=1,
            ends=("back", "front"),
        ),
        Station(
            name="across",
            title="over the crown from ear to ear, straight above the ear holes",
            plane=plane("across", 0, 2),
            base_mm=level,
            side=1,
            ends=("left", "right"),
        ),
        Station(
            name="level front",
            title="level, around the front",
            plane=plane("level front", 0, 1),
            base_mm=front,
            side=1,
            ends=("left", "right"),
        ),
        Station(
            name="level back",
            title="level, around the back",
            plane=plane("level back", 0, 1),
            base_mm=front,
            side=-1,
            ends=("right", "left"),
        ),
    )


def gauges(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    ease_map: EaseMap,
    *,
    stations: Sequence[Station] | None = None,
) -> tuple[Gauge, ...]:
    """
    Work out section gauges.

    Parameters
    ----------
    wearer, piece, placement
    ease_map : EaseMap
        Of the same three, for the gaps.
    stations : sequence of Station, optional
        `usual_stations` if left out.

    Raises
    ------
    SheetError
        If a station misses the head, or its base line does not start inside the piece.

    Notes
    -----
    The wall is met by walking along each ray by the distance to it, which never oversteps
    (J. C. Hart, The Visual Computer 12, 527-545 (1996)), to 0.002 mm.
    """
    wall = FinishedWall(piece, placement)
    reader = _Reader(wearer, _haired(wearer), ease_map, wall)
    chosen = usual_stations(wearer) if stations is None else stations
    return tuple(_gauge(reader, station) for station in chosen)


def _girth_level(wearer: Wearer) -> float:
    ears = np.isin(wearer.zone, [ZONES.index(ear) for ear in ("ear_left", "ear_right")])
    above = float(wearer.head.vertices[ears, 2].max()) + ABOVE_EARS_MM
    return max(above, float(wearer.landmarks["glabella"][2]))


def _haired(wearer: Wearer) -> Mesh:
    head = wearer.head
    return head.with_vertices(head.vertices + head.vertex_normals * wearer.hair_mm[:, None])


def _widest_front(wearer: Wearer) -> float:
    """Where head and hair are broadest at the level of the girth, on the front axis."""
    level = [0.0, 0.0, _girth_level(wearer)]
    loop = section(_haired(wearer), point_mm=level, normal=[0.0, 0.0, 1.0])[0]
    ends = loop[[int(loop[:, 0].argmin()), int(loop[:, 0].argmax())], 1]
    return float(ends.mean())


@dataclass(frozen=True, eq=False)
class _Reader:
    wearer: Wearer
    haired: Mesh
    ease_map: EaseMap
    wall: FinishedWall


def _gauge(reader: _Reader, station: Station) -> Gauge:
    head = _head_half(reader.haired, station)
    low, high = head[0].min(axis=0), head[0].max(axis=0)
    middle = np.array([(low[0] + high[0]) / 2, 0.0])
    reach = float(np.hypot((high[0] - low[0]) / 2, high[1])) + REACH_MM
    turns = np.radians(np.arange(0.0, 180.0 + RAY_STEP_DEG, RAY_STEP_DEG))
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    found = _met_mm(reader.wall, station, np.tile(middle, (len(ways), 1)), ways, reach)
    missed = np.isnan(found)
    if missed.all():
        msg = (
            f"Gauge {station.name}: no wall stands near the head in its plane, so there "
            "is nothing to gauge."
        )
        raise SheetError(msg)
    found[missed] = np.interp(turns[missed], turns[~missed], found[~missed])
    return Gauge(
        station=station,
        head=head,
        wall_mm=middle + found[:, None] * ways,
        open_share=float(missed.mean()),
        places=tuple(_places(reader, station, head)),
    )


def _head_half(haired: Mesh, station: Station) -> Shape:
    """Give the head beyond the base line, counted from it."""
    plane = station.plane
    loops = section(haired, point_mm=plane.point_mm, normal=plane.normal)
    if not loops:
        msg = f"Gauge {station.name}: its plane misses the head."
        raise SheetError(msg)
    flat = [_onto_gauge(station, plane.flat(loop)) for loop in loops]
    beyond = box(low=(-500.0, 0.0), high=(500.0, 500.0))
    parts = bodies(common(shape(flat), beyond))
    if not parts:
        msg = f"Gauge {station.name}: no head lies beyond its base line."
        raise SheetError(msg)
    return parts[0][:1]


def _onto_gauge(station: Station, flat: FloatArray) -> FloatArray:
    """Count from the base line; a gauge below it is turned by half a turn."""
    counted: FloatArray = station.side * (flat - [0.0, station.base_mm])
    return counted


def in_head(station: Station, points: FloatArray) -> FloatArray:
    """Carry points of a gauge, shape (n, 2), into the head frame, (n, 3). [mm]."""
    flat = station.side * points + [0.0, station.base_mm]
    placed = np.tile(station.plane.point_mm, (len(points), 1))
    placed[:, station.plane.across] = flat[:, 0]
    placed[:, station.plane.upward] = flat[:, 1]
    return placed


def _met_mm(
    wall: FinishedWall,
    station: Station,
    starts: FloatArray,
    ways: FloatArray,
    reach: float,
) -> FloatArray:
    """How far from each start the wall is first met along each way; nan if nowhere."""
    gone = np.zeros(len(ways))
    walking = np.ones(len(ways), dtype=bool)
    for _ in range(MOST_STEPS):
        rows = np.nonzero(walking)[0]
        if not len(rows):
            break
        at = starts[rows] + gone[rows, None] * ways[rows]
        room = wall.sample(in_head(station, at))
        gone[rows] += np.maximum(room, 0.0)
        walking[rows] = (room > MET_MM) & (gone[rows] < reach)
    return np.where(gone < reach, gone, np.nan)


# -- places to read --------------------------------------------------------------------


def _places(reader: _Reader, station: Station, head: Shape) -> Iterator[GaugePlace]:
    """Give the middle of every zone that the gauge runs along."""
    curve = _curve(head[0])
    near = SurfaceTree(reader.haired).nearest(in_head(station, curve))
    vertex = reader.haired.faces[near.face][:, 0]
    zone = reader.wearer.zone[vertex]
    steps = np.append(0.0, np.linalg.norm(np.diff(curve, axis=0), axis=1).cumsum())
    for start, stop in _runs(zone):
        length = float(steps[stop - 1] - steps[start])
        if zone[start] < 0 or length < LEAST_RUN_MM:
            continue
        row = int(np.searchsorted(steps, (steps[start] + steps[stop - 1]) / 2))
        wall = _wall_ahead(reader, station, curve, row)
        gap = float(reader.ease_map.ease_mm[vertex[row]])
        if wall is not None:
            name = zone_words(ZONES[zone[row]])
            yield GaugePlace(name=name, head_mm=curve[row], wall_mm=wall, ease_mm=gap)


def _curve(outline: FloatArray) -> FloatArray:
    """Walk the head from the right end of the base line to the left in even steps."""
    on_base = outline[:, 1] < 1e-6
    first = int(np.where(on_base, outline[:, 0], -np.inf).argmax())
    walk = np.roll(outline, -first, axis=0)
    along = np.append(0.0, np.linalg.norm(np.diff(walk, axis=0), axis=1).cumsum())
    even = np.linspace(0.0, along[-1], 400)
    return np.column_stack([np.interp(even, along, walk[:, axis]) for axis in (0, 1)])


def _runs(labels: IntArray) -> Iterator[tuple[int, int]]:
    cuts = [0, *(np.nonzero(np.diff(labels))[0] + 1).tolist(), len(labels)]
    yield from pairwise(cuts)


def _wall_ahead(
    reader: _Reader, station: Station, curve: FloatArray, row: int
) -> FloatArray | None:
    """Meet the wall straight off the head; behind it where they clash."""
    along = curve[min(row + 4, len(curve) - 1)] - curve[max(row - 4, 0)]
    out = np.array([along[1], -along[0]]) / np.linalg.norm(along)
    start = curve[row] - READ_MM * out  # from well inside, so that a clash shows too
    gone = _met_mm(reader.wall, station, start[None], out[None], 2 * READ_MM)[0]
    return None if np.isnan(gone) else np.asarray(start + gone * out)
