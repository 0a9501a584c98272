"""Whether what is fixed to the wall stays clear of the head."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from fitkit.fit.brief import Brief
from fitkit.fit.placement import FloatArray, Placement
from fitkit.geometry.distance import SurfaceTree
from fitkit.piece.buildup import Piece
from fitkit.piece.fixings import Fixed
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import ZONES, zone_words

#: Points around the edge of a foot that are asked.
RING = 24


@dataclass(frozen=True, kw_only=True, eq=False)
class FixingClearance:
    """Room between the inner end of a fixing and the head."""

    name: str
    #: Least gap to the head with its hair; negative is a clash. [mm]
    gap_mm: float
    #: Ease asked for there. [mm]
    asked_mm: float
    #: Zone of the head it faces, "" for the neck.
    zone: str
    #: Where it is least, on the fixing, head frame, shape (3,). [mm]
    at_mm: FloatArray
    #: What is wrong, in words; empty if nothing.
    problem: str

    @property
    def spare_mm(self) -> float:
        """Gap less the ease asked for, in mm."""
        return self.gap_mm - self.asked_mm


def fixing_clearance(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    fixed: Sequence[Fixed],
    brief: Brief | None = None,
) -> tuple[FixingClearance, ...]:
    """
    Measure how far the inner ends of fixings stay from the head.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
        Of the size that the fixings were checked at.
    fixed : sequence of Fixed
        From `fitkit.piece.fixings.check_fixings`.
    brief : Brief, optional
        Ease asked for by zone.

    Returns
    -------
    tuple of FixingClearance
        In the same order. Pads between the head and a fixing are not looked at.

    Notes
    -----
    The inner end is taken as a flat round foot, parallel to the wall, the lining, its
    boss and its own height inside the drawn wall.
    """
    brief = Brief() if brief is None else brief
    head = SurfaceTree(wearer.head)
    vertices = cKDTree(wearer.head.vertices)
    found = []
    for one in fixed:
        points = placement.rotation @ _end(one, piece).T
        points = points.T + placement.shift_mm
        near = np.asarray(vertices.query(points)[1])
        gap = head.signed_mm(points) - wearer.hair_mm[near]
        worst = int(gap.argmin())
        index = int(wearer.zone[near[worst]])
        zone = ZONES[index] if index >= 0 else ""
        asked = float(brief.ease[zone].least_mm) if zone else 0.0
        found.append(
            FixingClearance(
                name=one.fixing.name,
                gap_mm=float(gap[worst]),
                asked_mm=asked,
                zone=zone,
                at_mm=points[worst],
                problem=_problem(one, float(gap[worst]), asked, zone),
            )
        )
    return tuple(found)


def _end(one: Fixed, piece: Piece) -> FloatArray:
    """Points of a fixing's inner end in the piece's axes at its size, (n, 3)."""
    reach = piece.lining_mm + one.boss_mm + one.fixing.inside_mm
    helper = np.eye(3)[np.abs(one.inward).argmin()]
    first = np.cross(one.inward, helper)
    first /= np.linalg.norm(first)
    second = np.cross(one.inward, first)
    turn = np.linspace(0, 2 * np.pi, RING, endpoint=False)[:, None]
    ring = one.fixing.foot_mm / 2 * (np.cos(turn) * first + np.sin(turn) * second)
    middle = one.at_mm + reach * one.inward
    points: FloatArray = np.vstack([middle, middle + ring / 2, middle + ring])
    return points


def _problem(one: Fixed, gap: float, asked: float, zone: str) -> str:
    if gap >= asked:
        return ""
    where = zone_words(zone) if zone else "neck"
    state = f"presses {-gap:.1f} mm into" if gap < 0 else f"comes to {gap:.1f} mm from"
    return (
        f"{one.fixing.name} {state} the head at the {where}, where {asked:g} mm are asked: "
        "a flatter head or nut, another place, or a recess in the wall."
    )
