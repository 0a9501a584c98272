"""Where to part a shell so that its halves come off the head."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fitkit.fit.ease import ease
from fitkit.fit.placement import FloatArray, Placement
from fitkit.geometry.mesh import Mesh
from fitkit.piece.buildup import Piece
from fitkit.piece.undercuts import Parting, best_parting
from fitkit.wearer.wearer import Wearer

#: Grid across the pull. [mm]
PIXEL_MM = 1.5


@dataclass(frozen=True, kw_only=True, eq=False)
class DonningSeam:
    """A plane along which a shell can be parted to be put on in two halves."""

    #: Any point of the plane and its unit normal, shape (3,), in the piece's axes at its
    #: placed size: for `fitkit.piece.seams.part_solid`. [mm]
    point_mm: FloatArray
    normal: FloatArray
    #: What the head, hair included, still locks, on the head in those axes.
    parting: Parting
    #: How much the halves must give way at the deepest place beyond the ease; 0 if they
    #: come off freely. [mm]
    lacking_mm: float


def donning_seam(
    wearer: Wearer, piece: Piece, placement: Placement, *, pull: ArrayLike = (0, 1, 0)
) -> DonningSeam:
    """
    Find where to part a shell so that one half comes off along a pull, one against it.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
    placement : Placement
    pull : array-like, shape (3,)
        Of the half ahead, in the piece's axes: to the front unless another is given.

    Returns
    -------
    DonningSeam
        Square to the pull, where the head with its hair is widest, or nearly.

    Raises
    ------
    DesignError
        If the pull has no direction.

    Notes
    -----
    The neck is left out: halves end above it. The least ease anywhere gives way; pads
    that fill the ease do not, unless they are thinner than it.
    """
    even = ease(wearer, piece, placement)
    slack = max(0.0, min(zone.least_mm for zone in even.by_zone.values()))
    head = _head_in_piece(wearer, placement)
    parting = best_parting(
        head, pull=pull, tolerance_mm=min(slack, 50.0), pixel_mm=PIXEL_MM
    )
    return DonningSeam(
        point_mm=parting.point_mm,
        normal=parting.normal,
        parting=parting,
        lacking_mm=max(0.0, parting.left.worst_mm - slack),
    )


def _head_in_piece(wearer: Wearer, placement: Placement) -> Mesh:
    """The head above the neck with its hair, in the piece's axes at its placed size."""
    worn = wearer.head.vertices + wearer.hair_mm[:, None] * wearer.head.vertex_normals
    head = wearer.head.with_vertices(placement.to_sized(worn))
    above = np.asarray((wearer.zone[head.faces] >= 0).all(axis=1), dtype=bool)
    return head.submesh(above)
