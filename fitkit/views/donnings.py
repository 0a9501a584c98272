"""What a drawing of a way on shows: the head at a few poses on its way into the piece."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit._passage import matrix_about
from fitkit.fit.donning_ways import entry_of
from fitkit.views.jaws import DRAWN, FloatArray, Lines, midplane

if TYPE_CHECKING:
    from fitkit.fit.donning import DonningBrief, DonningReport
    from fitkit.fit.placement import Placement
    from fitkit.piece.buildup import Piece
    from fitkit.wearer.wearer import Wearer

#: Poses drawn besides the tightest one, from outside to the seat.
POSES = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class DonningView:
    """A way on in the piece's midplane; all lines (k, 2): front, up. [mm]."""

    #: The wall that the head passes, jaw or back open if so asked.
    wall: Lines
    #: Head as worn, hair and glasses included, at each drawn pose, from outside to the
    #: seat; if there is no way: where it stops, then the seat.
    heads: tuple[Lines, ...]
    #: Lift of each of them. [mm]
    lifts_mm: tuple[float, ...]
    #: Which of them is at the tightest place.
    tight: int
    #: Tightest place on the wall, in the midplane's projection, (2,). [mm]
    tight_at: FloatArray
    #: Room there; negative is how much is missing. [mm]
    room_mm: float
    #: Lift of every pose of the way, (n,), and the least gap there, (n,). [mm]
    lift_mm: FloatArray
    gap_mm: FloatArray
    #: Nod of every pose, (n,). [deg]
    pitch_deg: FloatArray
    #: Whether a way was found.
    goes_on: bool


def donning_view(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    report: DonningReport,
    *,
    brief: DonningBrief,
) -> DonningView:
    """
    Cut head and piece at the midplane at a few poses of a way.

    Parameters
    ----------
    wearer, piece, placement
        As given to `donning_report`.
    report : DonningReport
    brief : DonningBrief
        The one it answers.
    """
    entry = entry_of(wearer, piece, placement, brief)
    shift = np.eye(4)
    shift[:3, 3] = entry.middle
    moves, tight = _drawn(report)
    back = [np.linalg.inv(matrix_about(move, entry.middle)) for move in moves]
    head = entry.head.worn.moved(shift)
    return DonningView(
        wall=midplane(entry.wall.mesh.moved(shift)),
        heads=tuple(midplane(head.moved(matrix)) for matrix in back),
        lifts_mm=tuple(float(move[2]) for move in moves),
        tight=tight,
        tight_at=report.tight.wall_mm[DRAWN],
        room_mm=report.tight.room_mm,
        lift_mm=report.path.moves[:, 2],
        gap_mm=report.path.gap_mm,
        pitch_deg=report.path.moves[:, 3],
        goes_on=report.goes_on,
    )


def _drawn(report: DonningReport) -> tuple[FloatArray, int]:
    """Moves of the poses that are drawn, (k, 6), and which of them is the tightest."""
    moves, gap = report.path.moves, report.path.gap_mm
    if not len(moves):
        return np.stack([report.tight.move, np.zeros(6)]), 0
    lift = np.linspace(moves[:, 2].max(), 0.0, POSES)
    even = [int(np.abs(moves[:, 2] - height).argmin()) for height in lift]
    rows = sorted({*even, int(gap.argmin())})
    return moves[rows], rows.index(int(gap.argmin()))
