"""What a drawing of a way on shows: the piece's midplane at a few poses over the head."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit._press import Soft, passing_head
from fitkit.views.jaws import DRAWN, FloatArray, Lines, midplane

if TYPE_CHECKING:
    from fitkit.fit.donning import DonningReport
    from fitkit.fit.placement import Placement
    from fitkit.piece.buildup import Piece
    from fitkit.wearer.wearer import Wearer

#: Poses drawn besides the tightest one.
POSES = 4


@dataclass(frozen=True, kw_only=True, eq=False)
class DonningView:
    """A way on in the midplane; all lines (k, 2): front, up. [mm]."""

    #: Head as worn, hair and glasses included.
    head: Lines
    #: The piece's wall at each drawn pose, from far to seated.
    walls: tuple[Lines, ...]
    #: Which of them is the tightest; -1 if none was found.
    tight: int
    #: Tightest place in the midplane's projection, (2,). [mm]
    tight_at: FloatArray
    #: Lift of every pose of the way, (n,), and the least gap there, (n,). [mm]
    lift_mm: FloatArray
    gap_mm: FloatArray
    #: Nod of every pose, (n,). [deg]
    pitch_deg: FloatArray
    #: Whether a way was found.
    goes_on: bool


def donning_view(
    wearer: Wearer, piece: Piece, placement: Placement, report: DonningReport, *, soft: Soft
) -> DonningView:
    """
    Cut head and piece at the midplane at a few poses of a way.

    Parameters
    ----------
    wearer, piece, placement
        As given to `donning_report`.
    report : DonningReport
    soft : Soft
        That of the brief.
    """
    head = passing_head(wearer, soft)
    wall = piece.facing.moved(placement.matrix)
    matrices, gap = report.path.matrices, report.path.gap_mm
    rows = _rows(gap)
    walls = tuple(midplane(wall.moved(matrices[k])) for k in rows) or (midplane(wall),)
    tight = rows.index(int(gap.argmin())) if rows else -1
    moves = report.path.moves
    return DonningView(
        head=midplane(head.worn),
        walls=walls,
        tight=tight,
        tight_at=report.tight.head_mm[DRAWN],
        lift_mm=moves[:, 2],
        gap_mm=gap,
        pitch_deg=moves[:, 3],
        goes_on=report.goes_on,
    )


def _rows(gap: FloatArray) -> list[int]:
    if not len(gap):
        return []
    even = np.linspace(0, len(gap) - 1, POSES).round().astype(int)
    return sorted({*even.tolist(), int(gap.argmin())})
