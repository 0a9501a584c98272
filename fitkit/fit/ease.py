"""Ease: the gap between the head, with its hair, and the finished inner wall."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fitkit.fit._cavity import cavity_of
from fitkit.fit.brief import Brief
from fitkit.fit.placement import Placement
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import ZONES

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class ZoneEase:
    """Ease over one zone of the head; positive is air, negative a clash."""

    #: Zone, out of ``ZONES``.
    zone: str
    #: Least gap anywhere in the zone. [mm]
    least_mm: float
    #: Median gap over the zone's vertices. [mm]
    median_mm: float
    #: Head point where the gap is least, shape (3,): right, front, up. [mm]
    at: FloatArray
    #: Head vertex where the gap is least.
    vertex: int
    #: Gap asked of every point. [mm]
    wanted_mm: float
    #: Largest median gap asked for; None = any. [mm]
    most_mm: float | None
    #: How much of the asked gap is missing at the tightest point; 0 if none. [mm]
    short_mm: float
    #: How far the median gap exceeds the most asked for; 0 if it does not. [mm]
    loose_mm: float

    @property
    def spare_mm(self) -> float:
        """Least gap minus the gap asked for: negative where it falls short, in mm."""
        return self.least_mm - self.wanted_mm


@dataclass(frozen=True, kw_only=True, eq=False)
class EaseMap:
    """Ease at every head vertex of one wearer in one placed piece."""

    #: Ease at each head vertex, shape (n,): positive air, negative clash; nan on the
    #: neck. [mm]
    ease_mm: FloatArray
    #: Unit direction along which each head vertex would gain ease, head frame, (n, 3);
    #: nan on the neck.
    away: FloatArray
    #: Nearest point of the drawn wall in the head frame, (n, 3); nan on the neck. [mm]
    wall: FloatArray
    #: By zone, in the order of ``ZONES``; zones without vertices are left out.
    by_zone: Mapping[str, ZoneEase]

    @property
    def tightest(self) -> ZoneEase:
        """The zone with the least spare: least gap minus the gap asked for."""
        return min(self.by_zone.values(), key=lambda zone: zone.spare_mm)


def ease(
    wearer: Wearer, piece: Piece, placement: Placement, *, brief: Brief | None = None
) -> EaseMap:
    """
    Measure the ease at every head vertex against the finished inner wall.

    Parameters
    ----------
    wearer : Wearer
        With n head vertices.
    piece : Piece
        Its finished inner wall lies `lining_mm` inside its drawn wall, at any size.
    placement : Placement
        Size and pose of the piece on the head.
    brief : Brief, optional
        What `wanted_mm`, `short_mm` and `loose_mm` refer to; the default brief if left
        out.

    Returns
    -------
    EaseMap
        Exact, whatever the size: distances to true closest points on the triangles.

    Notes
    -----
    Ease is the signed distance to the drawn wall, less the lining, less the hair at the
    vertex. A point outside the room whose nearest point lies on an open rim passes
    through an opening and counts as air; any other point outside is a clash.
    """
    brief = Brief() if brief is None else brief
    rows = np.nonzero(wearer.zone >= 0)[0]
    cavity = cavity_of(piece).stretched(placement.size)
    gaps = cavity.gaps(wearer.head.vertices[rows], placement)
    gap_mm = gaps.signed_mm - piece.lining_mm - wearer.hair_mm[rows]
    ease_mm = _spread(gap_mm, rows, len(wearer.zone))
    return EaseMap(
        ease_mm=ease_mm,
        away=_spread(gaps.away, rows, len(wearer.zone)),
        wall=_spread(placement.to_head(gaps.wall), rows, len(wearer.zone)),
        by_zone=_by_zone(wearer, ease_mm, brief),
    )


def _spread(values: FloatArray, rows: NDArray[np.int64], count: int) -> FloatArray:
    spread = np.full((count, *values.shape[1:]), np.nan)
    spread[rows] = values
    spread.setflags(write=False)
    return spread


def _by_zone(wearer: Wearer, ease_mm: FloatArray, brief: Brief) -> Mapping[str, ZoneEase]:
    found = {}
    for index, zone in enumerate(ZONES):
        rows = np.nonzero(wearer.zone == index)[0]
        if len(rows):
            found[zone] = _zone_ease(zone, rows, wearer, ease_mm, brief)
    return MappingProxyType(found)


def _zone_ease(
    zone: str, rows: NDArray[np.int64], wearer: Wearer, ease_mm: FloatArray, brief: Brief
) -> ZoneEase:
    vertex = int(rows[np.argmin(ease_mm[rows])])
    least, median = float(ease_mm[vertex]), float(np.median(ease_mm[rows]))
    asked = brief.ease[zone]
    most = np.inf if asked.most_mm is None else asked.most_mm
    return ZoneEase(
        zone=zone,
        least_mm=least,
        median_mm=median,
        at=wearer.head.vertices[vertex],
        vertex=vertex,
        wanted_mm=float(asked.least_mm),
        most_mm=asked.most_mm,
        short_mm=max(0.0, asked.least_mm - least),
        loose_mm=max(0.0, median - most),
    )
