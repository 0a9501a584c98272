"""Pads: where foam sits between head and wall, how thick, and how much of it there is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._cavity import cavity_of
from fitkit.fit._checks import in_range
from fitkit.fit._contact import Contacts, Pose, Walls
from fitkit.fit._sample import vertex_areas_mm2
from fitkit.fit.foam import Foam
from fitkit.fit.placement import FloatArray, Placement
from fitkit.geometry.mesh import BoolArray, IntArray
from fitkit.piece.buildup import Piece
from fitkit.piece.mass import Body, MassProperties
from fitkit.piece.notes import nearest_name
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import ZONES

#: Thicknesses of one pad that are believed. [mm]
LEAST_THICK_MM, MOST_THICK_MM = 2.0, 100.0
#: What gives way where a bare wall presses: 3 mm of skin on bone at 300 kPa of
#: modulus. From memory of indentation of the scalp, an order of magnitude.
SKIN_MM, SKIN_KPA = 3.0, 300.0
#: Without a pad, points farther from the wall than this are never pressed. [mm]
BARE_REACH_MM = 10.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Pad:
    """
    One pad, glued to the inner wall over a region of the head.

    Give the region as zones, or as a round patch (centre and radius), or as the head
    vertices that were painted: exactly one of the three.

    Raises
    ------
    BriefError
        If the region is given in none or several ways, a zone is unknown, or the
        thickness is not 2 to 100 mm.
    """

    name: str
    foam: Foam
    #: Before it is pressed. [mm]
    thickness_mm: float
    #: Zones that it covers.
    zones: tuple[str, ...] = ()
    #: Middle of a round patch, head frame; the nearest head point counts. [mm]
    centre_mm: tuple[float, float, float] | None = None
    #: Radius of a round patch, in a straight line. [mm]
    radius_mm: float = 30.0
    #: Head vertices under the pad.
    painted: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        low, high = LEAST_THICK_MM, MOST_THICK_MM
        what = f"{self.name}: thickness_mm"
        in_range(what, self.thickness_mm, low=low, high=high, unit="mm")
        in_range(f"{self.name}: radius_mm", self.radius_mm, low=3, high=200, unit="mm")
        ways = bool(self.zones) + (self.centre_mm is not None) + bool(self.painted)
        if ways != 1:
            msg = (
                f"{self.name}: give its region once, as zones, as centre_mm, or as "
                f"painted vertices; got {ways} of them."
            )
            raise BriefError(msg)
        for zone in self.zones:
            if zone not in ZONES:
                msg = f"{self.name}: no zone '{zone}'. {nearest_name(zone, ZONES)}"
                raise BriefError(msg)

    def covers(self, wearer: Wearer) -> BoolArray:
        """
        Say which head vertices lie under the pad, shape (n,).

        Raises
        ------
        BriefError
            If there are none.
        """
        under = np.zeros(len(wearer.zone), dtype=bool)
        if self.zones:
            under = np.isin(wearer.zone, [ZONES.index(zone) for zone in self.zones])
        elif self.painted:
            under[list(self.painted)] = True
        elif self.centre_mm is not None:
            vertices = wearer.head.vertices
            away = np.linalg.norm(vertices - np.asarray(self.centre_mm), axis=1)
            middle = vertices[np.argmin(away)]
            under = np.linalg.norm(vertices - middle, axis=1) <= self.radius_mm
            under &= wearer.head.vertex_normals @ _normal(wearer, middle) > 0
        if not under.any():
            msg = f"{self.name} covers no part of the head; move it or make it larger."
            raise BriefError(msg)
        return under


def pad_area_mm2(wearer: Wearer, pad: Pad) -> float:
    """Give the area of head under a pad, in mm²."""
    return float(vertex_areas_mm2(wearer.head)[pad.covers(wearer)].sum())


@dataclass(frozen=True, kw_only=True)
class Coverage:
    """How much of the head a set of pads lies on, and how much foam that takes."""

    #: Area of head under each pad, by name; where several lie, the first counts. [mm²]
    area_mm2: Mapping[str, float]
    #: Foam in each as it comes from the sheet, by name. [mm³]
    volume_mm3: Mapping[str, float]
    #: Share of the head above the neck that lies under any. [percent]
    share_percent: float


def coverage(wearer: Wearer, pads: Sequence[Pad]) -> Coverage:
    """
    Say how much of the head pads cover; what they touch is said by `pad_out`.

    Raises
    ------
    BriefError
        If a pad covers no part of the head.
    """
    area = vertex_areas_mm2(wearer.head)
    free = wearer.zone >= 0
    whole = float(area[free].sum())
    areas: dict[str, float] = {}
    for pad in pads:
        under = pad.covers(wearer) & free
        areas[pad.name] = float(area[under].sum())
        free &= ~under
    volumes = {pad.name: areas[pad.name] * pad.thickness_mm for pad in pads}
    return Coverage(
        area_mm2=MappingProxyType(areas),
        volume_mm3=MappingProxyType(volumes),
        share_percent=100.0 * sum(areas.values()) / whole,
    )


def pad_bodies(
    wearer: Wearer, pads: Sequence[Pad], placement: Placement
) -> tuple[Body, ...]:
    """Weigh pads as they come from the sheet, in the piece's axes at full size."""
    return tuple(
        Body(name=pad.name, kind="pad", mass=_pad_mass(wearer, pad, placement))
        for pad in pads
    )


def _pad_mass(wearer: Wearer, pad: Pad, placement: Placement) -> MassProperties:
    """Take the pad as points in the middle of its thickness, one a head vertex."""
    under = pad.covers(wearer)
    area = vertex_areas_mm2(wearer.head)[under]
    grams = pad.foam.density_kg_m3 * 1e-6 * pad.thickness_mm * area
    at = wearer.head.vertices + pad.thickness_mm / 2 * wearer.head.vertex_normals
    places = placement.to_sized(at[under])
    centre = grams @ places / grams.sum()
    off = places - centre
    spread = np.einsum("n,ni,nj->ij", grams, off, off)
    return MassProperties(
        mass_g=float(grams.sum()),
        centre_mm=centre,
        inertia_g_mm2=np.trace(spread) * np.eye(3) - spread,
    )


# -- contact points ---------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class HeadInPiece:
    """The head's points that may meet the wall, and how to find the wall near them."""

    wearer: Wearer
    piece: Piece
    placement: Placement
    #: Head vertices, shape (n,).
    rows: IntArray
    #: Their areas, shape (n,). [mm²]
    area: FloatArray

    @property
    def start(self) -> Pose:
        """The pose of the placement."""
        pose = self.placement
        return Pose(pose.rotation, pose.shift_mm, np.zeros(3))

    def walls(self, pose: Pose) -> Walls:
        """Find the tangent planes of the wall at a pose, exactly."""
        cavity = cavity_of(self.piece).stretched(self.placement.size)
        local = pose.local(self.wearer.head.vertices[self.rows])
        gaps = cavity.gaps(local, Placement(size=self.placement.size))
        return Walls(
            local - gaps.signed_mm[:, None] * gaps.away,
            gaps.away,
            self.piece.lining_mm + self.wearer.hair_mm[self.rows],
        )

    def owners(self, pads: Sequence[Pad]) -> IntArray:
        """Which pad each point lies under, the first counts; len(pads) is none, (n,)."""
        owner = np.full(len(self.rows), len(pads), dtype=np.int64)
        for index, pad in reversed(list(enumerate(pads))):
            owner[pad.covers(self.wearer)[self.rows]] = index
        return owner

    def contacts(self, pads: Sequence[Pad], walls: Walls) -> Contacts:
        """Put pads on the points; where several lie, the first counts."""
        owner, skin = self.owners(pads), _skin()
        foams = tuple(dict.fromkeys((*(pad.foam for pad in pads), skin)))
        kind = np.array([*(foams.index(pad.foam) for pad in pads), foams.index(skin)])
        reach = np.array([*(pad.thickness_mm for pad in pads), 0.0])[owner]
        layer = np.array([*(pad.thickness_mm for pad in pads), SKIN_MM])[owner]
        grip = np.array([*(pad.foam.friction.mean for pad in pads), skin.friction.mean])
        away = walls.away @ self.start.turn.T
        normal = self.wearer.head.vertex_normals[self.rows]
        facing = np.maximum(-np.einsum("ni,ni->n", away, normal), 0.0)
        return Contacts(
            self.wearer.head.vertices[self.rows],
            self.area * facing,
            reach,
            layer,
            kind[owner],
            foams,
            grip[owner],
        )


def head_in_piece(
    wearer: Wearer, piece: Piece, placement: Placement
) -> tuple[HeadInPiece, Walls]:
    """Take every vertex of the head above the neck, and the wall as it is put on."""
    rows = np.nonzero(wearer.zone >= 0)[0]
    area = vertex_areas_mm2(wearer.head)[rows]
    head = HeadInPiece(wearer, piece, placement, rows, area)
    return head, head.walls(head.start)


def within_reach(
    head: HeadInPiece, walls: Walls, pads: Sequence[Pad]
) -> tuple[HeadInPiece, Walls]:
    """Leave out points without a pad that are too far from the wall ever to meet it."""
    local = head.start.local(head.wearer.head.vertices[head.rows])
    kept = gaps_mm(local, walls) < BARE_REACH_MM
    for pad in pads:
        kept |= pad.covers(head.wearer)[head.rows]
    fewer = replace(head, rows=head.rows[kept], area=head.area[kept])
    return fewer, Walls(walls.wall[kept], walls.away[kept], walls.between[kept])


def gaps_mm(local: FloatArray, walls: Walls) -> FloatArray:
    """Room between points in the piece's axes and the finished wall, hair taken off."""
    height: FloatArray = np.einsum("ni,ni->n", local - walls.wall, walls.away)
    return height - walls.between


@cache
def _skin() -> Foam:
    return Foam(
        name="bare wall",
        material="skin",
        density_kg_m3=100,
        solid_kg_m3=1100,
        cells="closed",
        strain=(0.3, 0.6, 0.9),
        stress_kpa=(0.3 * SKIN_KPA, 0.6 * SKIN_KPA, 0.9 * SKIN_KPA),
        most_strain=0.9,
        spread_percent=0.0,
        source="from memory",
    )


def _normal(wearer: Wearer, point: FloatArray) -> FloatArray:
    at = np.argmin(np.linalg.norm(wearer.head.vertices - point, axis=1))
    normal: FloatArray = wearer.head.vertex_normals[at]
    return normal
