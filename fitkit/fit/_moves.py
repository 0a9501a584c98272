"""The solver's unknowns: size and pose as one short vector in percent, mm and degrees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.fit.brief import MOVES, Brief
from fitkit.fit.placement import FloatArray, Placement, turning_axes

#: Every move in order: three sizes (100 times their logarithm), then the pose.
SIZES = ("size_right", "size_front", "size_up")
ALL_MOVES = (*SIZES, *MOVES)


@dataclass(frozen=True, kw_only=True, eq=False)
class Moves:
    """
    Which of the nine moves are unknown, and how a vector of unknowns makes them.

    The nine moves are ``spread @ x``: sizes as 100 ln(factor), which is percent to
    first order, shifts in mm, angles in degrees.
    """

    #: One column for each unknown, shape (9, k).
    spread: FloatArray

    @property
    def count(self) -> int:
        """How many unknowns there are."""
        return int(self.spread.shape[1])

    def placement(self, x: FloatArray) -> Placement:
        """Make the placement of the unknowns x, shape (k,)."""
        moves = self.spread @ x
        return Placement(
            size=np.exp(moves[:3] / 100.0),
            shift_mm=moves[3:6],
            pitch_deg=moves[6],
            yaw_deg=moves[7],
            roll_deg=moves[8],
        )

    def unknowns(self, placement: Placement) -> FloatArray:
        """Give the unknowns nearest to a placement, shape (k,)."""
        x, *_ = np.linalg.lstsq(self.spread, nine_moves(placement), rcond=None)
        return np.asarray(x, dtype=float)

    def slopes(self, placement: Placement, drawn: FloatArray) -> FloatArray:
        """
        Tell how points fixed to the piece move in the head frame, per unit of unknown.

        Parameters
        ----------
        drawn : ndarray, shape (n, 3)
            Points of the piece as drawn. [mm]

        Returns
        -------
        ndarray, shape (n, 3, k)
            mm per percent, mm or degree.
        """
        sized = drawn * placement.size
        turned = sized @ placement.rotation.T
        moved = np.zeros((len(drawn), 3, 9))
        moved[:, :, :3] = placement.rotation * sized[:, None, :] / 100.0
        moved[:, :, 3:6] = np.eye(3)
        axes = turning_axes(placement.pitch_deg, placement.yaw_deg)
        for column, axis in enumerate(axes, start=6):
            moved[:, :, column] = np.radians(1.0) * turned @ _turning(axis)
        slopes: FloatArray = moved @ self.spread
        return slopes


def nine_moves(placement: Placement) -> FloatArray:
    """Give the nine moves of a placement, shape (9,): percent, mm, degrees."""
    turns = [placement.pitch_deg, placement.yaw_deg, placement.roll_deg]
    return np.concatenate([100.0 * np.log(placement.size), placement.shift_mm, turns])


def free_moves(brief: Brief, *, uniform: bool) -> Moves:
    """Give the unknowns of a brief: one size or three, and the moves left free."""
    columns = [np.repeat([1.0, 0.0], [3, 6])] if uniform else list(np.eye(9)[:3])
    columns += [np.eye(9)[ALL_MOVES.index(name)] for name in brief.free]
    return Moves(spread=np.column_stack(columns))


def _turning(axis: FloatArray) -> FloatArray:
    """Give the matrix T such that ``v @ T`` is the cross product of the axis and v."""
    a, b, c = axis
    return np.array([[0.0, c, -b], [-c, 0.0, a], [b, -a, 0.0]])
