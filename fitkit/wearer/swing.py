"""A part that turns about a level axis while the axis itself slides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

#: The wearer's right: axis of a jaw that opens straight down.
RIGHTWARD = (1.0, 0.0, 0.0)
#: Poles are taken at no smaller turn than this; below it they have settled. [deg]
_LEAST_TURN_DEG = 1e-5


@dataclass(frozen=True, kw_only=True, eq=False)
class Swing:
    """
    Rotation about an axis, with the axis sliding in proportion to the turn.

    At a turn of ``share * full_deg`` the axis has moved by
    ``share * slide_mm + 2 share (1 - share) bow_mm``: straight where there is no bow,
    a parabola that starts along ``slide_mm + 2 bow_mm`` where there is. Without a
    slide it is a plain hinge. Outside 0 to ``full_deg`` the axis slides no farther.

    The turn that opens a jaw takes the front down: it is left-handed about `axis`.
    """

    #: A point of the axis when closed, shape (3,). [mm]
    centre_mm: Floats
    #: Unit direction of the axis, to the right, shape (3,).
    axis: Floats
    #: Turn at which the axis has slid all the way, above 0. [deg]
    full_deg: float
    #: How far the axis has slid at `full_deg`, shape (3,). [mm]
    slide_mm: Floats
    #: How far the middle of its path lies off the straight one, times two, (3,). [mm]
    bow_mm: Floats

    def slid_mm(self, turn_deg: ArrayLike) -> Floats:
        """Give how far the axis has slid at turns of any shape (...), (..., 3), in mm."""
        share = np.clip(np.asarray(turn_deg, dtype=float) / self.full_deg, 0.0, 1.0)
        share = share[..., None]
        slid: Floats = share * self.slide_mm + 2 * share * (1 - share) * self.bow_mm
        return slid

    def rotation(self, turn_deg: ArrayLike) -> Floats:
        """Give the rotation matrices at turns of shape (...), shape (..., 3, 3)."""
        angle = -np.radians(np.asarray(turn_deg, dtype=float))[..., None, None]
        cross = _cross_matrix(self.axis)
        turned: Floats = (
            np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * (cross @ cross)
        )
        return turned

    def matrix(self, turn_deg: ArrayLike) -> Floats:
        """Give the maps of points, closed to turned, shape (..., 4, 4)."""
        rotation = self.rotation(turn_deg)
        matrix = np.zeros((*rotation.shape[:-2], 4, 4))
        matrix[..., :3, :3] = rotation
        matrix[..., :3, 3] = (
            self.centre_mm - rotation @ self.centre_mm + self.slid_mm(turn_deg)
        )
        matrix[..., 3, 3] = 1.0
        return matrix

    def moved(self, points: ArrayLike, turn_deg: float) -> Floats:
        """Carry points that turn with the part, shape (..., 3), from closed. [mm]."""
        arm = np.asarray(points, dtype=float) - self.centre_mm
        carried: Floats = (
            arm @ self.rotation(turn_deg).T + self.centre_mm + self.slid_mm(turn_deg)
        )
        return carried

    def pole_mm(self, turn_deg: ArrayLike) -> Floats:
        """
        Give the finite pole of the turns from closed, shape (..., 3), in mm.

        It is the one point that a turn and its slide leave in place: a plain hinge
        there would carry the part from closed to that turn. At no turn it is the
        instantaneous centre.

        Notes
        -----
        ``P = C + (d + cot(t / 2) n x d) / 2`` for a right-handed turn t about n that
        carries C to C + d: O. Bottema and B. Roth, *Theoretical Kinematics* (1979),
        the pole of a displacement in the plane.
        """
        turn = np.asarray(turn_deg, dtype=float)
        turn = np.where(np.abs(turn) < _LEAST_TURN_DEG, _LEAST_TURN_DEG, turn)
        slid = self.slid_mm(turn)
        half = np.tan(-np.radians(turn) / 2)[..., None]
        pole: Floats = self.centre_mm + (slid + np.cross(self.axis, slid) / half) / 2
        return pole


def hinge(
    *, at_mm: ArrayLike, axis: ArrayLike = RIGHTWARD, full_deg: float = 45.0
) -> Swing:
    """
    Make the plain hinge: a turn about a fixed axis.

    Parameters
    ----------
    at_mm : array-like, shape (3,)
        Any point of the axis. [mm]
    axis : array-like, shape (3,)
        Direction of the axis, to the right; any length but zero.
    full_deg : float
        Turn that counts as fully open. [deg]
    """
    along = np.asarray(axis, dtype=float)
    return Swing(
        centre_mm=np.asarray(at_mm, dtype=float),
        axis=along / np.linalg.norm(along),
        full_deg=full_deg,
        slide_mm=np.zeros(3),
        bow_mm=np.zeros(3),
    )


def _cross_matrix(axis: Floats) -> Floats:
    a, b, c = axis
    return np.array([[0.0, -c, b], [c, 0.0, -a], [-b, a, 0.0]])
