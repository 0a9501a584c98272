"""First checks of the jaw: the piece's hinge against the chin, and mouth against mouth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit.placement import FloatArray, Placement
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece
    from fitkit.piece.openings import Opening


@dataclass(frozen=True, kw_only=True, eq=False)
class JawCheck:
    """
    Hinge and mouth of a placed piece against those of the wearer.

    A jaw follows the chin best when its hinge lies at the finite pole of the chin's
    motion: the one centre of a rotation that carries the closed chin to the open one.
    Distances are nan where the piece has no hinge, or no mouth opening.
    """

    #: Middle of the hinge axis in the head frame, shape (3,). [mm]
    hinge_at: FloatArray
    #: Hinge from the chin pole seen from the side: front (positive) and up. [mm]
    offset_front_mm: float
    offset_up_mm: float
    #: Length of that offset. [mm]
    distance_mm: float
    #: Name of the mouth opening; None if there is none.
    mouth_opening: str | None
    #: Centre of the mouth opening from the stomion: right (positive) and up. [mm]
    mouth_right_mm: float
    mouth_up_mm: float

    @property
    def has_hinge(self) -> bool:
        """Whether the piece has a hinge at all."""
        return bool(np.isfinite(self.distance_mm))


def check_jaw(wearer: Wearer, piece: Piece, placement: Placement) -> JawCheck:
    """
    Compare the placed hinge axis with the wearer's chin pole, and mouth with mouth.

    The sweep of the jaw over its travel, with clashes, is another question.
    """
    hinge = hinge_middle(piece)
    at = np.full(3, np.nan) if hinge is None else placement.to_head(hinge)
    off = at - wearer.chin_pole
    mouth = mouth_opening(piece)
    apart = np.full(3, np.nan)
    if mouth is not None:
        apart = placement.to_head(mouth.plane_point) - wearer.landmarks["stomion"]
    return JawCheck(
        hinge_at=at,
        offset_front_mm=float(off[1]),
        offset_up_mm=float(off[2]),
        distance_mm=float(np.hypot(off[1], off[2])),
        mouth_opening=None if mouth is None else mouth.name,
        mouth_right_mm=float(apart[0]),
        mouth_up_mm=float(apart[2]),
    )


def hinge_middle(piece: Piece) -> FloatArray | None:
    """Middle of the piece's hinge axis as drawn, shape (3,); None without a hinge. [mm]."""
    if piece.hinge is None:
        return None
    ends = np.array([piece.hinge.left_mm, piece.hinge.right_mm], dtype=float)
    middle: FloatArray = ends.mean(axis=0)
    return middle


def mouth_opening(piece: Piece) -> Opening | None:
    """Choose the largest opening of kind "mouth"; None if there is none."""
    mouths = [opening for opening in piece.openings if opening.kind == "mouth"]
    return max(mouths, key=lambda opening: opening.area_mm2, default=None)
