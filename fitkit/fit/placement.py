"""Where the piece sits on the head and at what size: one map from piece to head frame."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fitkit.errors import BriefError, range_message
from fitkit.fit._checks import in_range

FloatArray = NDArray[np.float64]

#: Least and most factor of size that a placement may carry, on any axis.
SIZE_RANGE = (0.2, 5.0)
#: Most that a piece may be shifted along any axis. [mm]
SHIFT_LIMIT_MM = 1000.0


@dataclass(frozen=True, kw_only=True, eq=False, init=False)
class Placement:
    """
    Size and pose of a piece on a head.

    A point of the piece as drawn, ``x``, comes to lie at ``R (size * x) + shift`` in
    the head frame: first sized along the piece's own axes about the piece's origin,
    then turned about that origin, then shifted. ``R`` is yaw, then pitch about the
    turned right axis, then roll about the twice-turned front axis
    (``R = R_yaw @ R_pitch @ R_roll``, intrinsic).

    Parameters
    ----------
    size : float or array-like, shape (3,)
        One factor for all axes, or one for each.
    shift_mm : array-like, shape (3,)
        Right, front, up. [mm]
    pitch_deg, yaw_deg, roll_deg : float
        See the fields. [deg]

    Raises
    ------
    BriefError
        If a size is not a factor from 0.2 to 5, an angle is beyond 180 degrees, or a
        shift is beyond 1000 mm.

    Examples
    --------
    >>> nod = Placement(size=1.1, shift_mm=(0, 5, 0), pitch_deg=90)
    >>> nod.to_head([[0, 100, 0]]).round(6).tolist()  # the front now points down
    [[0.0, 5.0, -110.0]]
    """

    #: Factors along the piece's own right, front, up axes, shape (3,).
    size: FloatArray
    #: Where the piece's origin lies in the head frame, shape (3,): right, front, up. [mm]
    shift_mm: FloatArray
    #: Nod; positive turns the front of the piece down. [deg]
    pitch_deg: float
    #: Turn; positive turns the front of the piece to the wearer's left. [deg]
    yaw_deg: float
    #: Tilt; positive leans the top of the piece to the wearer's right. [deg]
    roll_deg: float

    def __init__(
        self,
        *,
        size: ArrayLike = 1.0,
        shift_mm: ArrayLike = (0.0, 0.0, 0.0),
        pitch_deg: float = 0.0,
        yaw_deg: float = 0.0,
        roll_deg: float = 0.0,
    ) -> None:
        low, high = SIZE_RANGE
        cure = "Sizes are factors, not percent: 105 % is 1.05."
        limit = SHIFT_LIMIT_MM
        fields = {
            "size": _triple("size", size, low=low, high=high, unit="", cure=cure),
            "shift_mm": _triple("shift_mm", shift_mm, low=-limit, high=limit, unit="mm"),
            "pitch_deg": _angle("pitch_deg", pitch_deg),
            "yaw_deg": _angle("yaw_deg", yaw_deg),
            "roll_deg": _angle("roll_deg", roll_deg),
        }
        for name, value in fields.items():
            object.__setattr__(self, name, value)

    @cached_property
    def rotation(self) -> FloatArray:
        """Rotation matrix from the piece's axes to the head's, shape (3, 3)."""
        return rotation_matrix(self.pitch_deg, self.yaw_deg, self.roll_deg)

    @cached_property
    def matrix(self) -> FloatArray:
        """The whole map, piece to head, column-vector convention, shape (4, 4)."""
        matrix = np.eye(4)
        matrix[:3, :3] = self.rotation * self.size
        matrix[:3, 3] = self.shift_mm
        matrix.setflags(write=False)
        return matrix

    @property
    def is_uniform(self) -> bool:
        """Whether the three factors of size are the same."""
        return bool(np.ptp(self.size) == 0.0)

    @property
    def mean_size(self) -> float:
        """Geometric mean of the three factors: the cube root of the volume's factor."""
        return float(np.exp(np.log(self.size).mean()))

    @property
    def distortion_percent(self) -> float:
        """How far the largest factor exceeds the smallest, in percent."""
        return float(100.0 * (self.size.max() / self.size.min() - 1.0))

    def to_head(self, points: ArrayLike) -> FloatArray:
        """Carry points of the piece as drawn, shape (..., 3), into the head frame."""
        drawn = np.asarray(points, dtype=float)
        placed: FloatArray = (drawn * self.size) @ self.rotation.T + self.shift_mm
        return placed

    def to_sized(self, points: ArrayLike) -> FloatArray:
        """
        Carry head points, shape (..., 3), into the axes of the piece at its full size.

        Distances there are true millimetres. [mm]
        """
        head = np.asarray(points, dtype=float)
        sized: FloatArray = (head - self.shift_mm) @ self.rotation
        return sized

    def to_piece(self, points: ArrayLike) -> FloatArray:
        """Carry head points, shape (..., 3), onto the piece as drawn."""
        drawn: FloatArray = self.to_sized(points) / self.size
        return drawn


def rotation_matrix(pitch_deg: float, yaw_deg: float, roll_deg: float) -> FloatArray:
    """
    Give ``R_yaw @ R_pitch @ R_roll``, shape (3, 3), for angles in degrees.

    Right, front, up are right-handed, so a right-handed turn about right lifts the
    front: pitch, which counts chin down as positive, is the reverse of it.
    """
    pitch, yaw, roll = np.radians([-pitch_deg, yaw_deg, roll_deg])
    rotation: FloatArray = _about(2, yaw) @ _about(0, pitch) @ _about(1, roll)
    return rotation


def turning_axes(pitch_deg: float, yaw_deg: float) -> FloatArray:
    """
    Give the head-frame axes about which pitch, yaw and roll turn the piece, shape (3, 3).

    Row k is the angular velocity, in radians per radian of growing pitch, yaw, roll.
    """
    yaw = _about(2, np.radians(yaw_deg))
    pitch = _about(0, np.radians(-pitch_deg))
    axes: FloatArray = np.array([-yaw[:, 0], [0.0, 0.0, 1.0], (yaw @ pitch)[:, 1]])
    return axes


def _about(axis: int, angle: float) -> FloatArray:
    first, second = (axis + 1) % 3, (axis + 2) % 3
    turn = np.eye(3)
    turn[first, first] = turn[second, second] = np.cos(angle)
    turn[second, first] = np.sin(angle)
    turn[first, second] = -np.sin(angle)
    return turn


def _triple(
    name: str, given: object, *, low: float, high: float, unit: str, cure: str = ""
) -> FloatArray:
    values = np.array(given, dtype=float)
    if values.shape not in ((), (3,)):
        msg = f"{name} must be one number or three (right, front, up); got {given}."
        raise BriefError(msg)
    if not bool(np.all((values >= low) & (values <= high))):
        raise BriefError(
            range_message(name, low=low, high=high, unit=unit, got=given, cure=cure)
        )
    triple = np.array(np.broadcast_to(values, (3,)))
    triple.setflags(write=False)
    return triple


def _angle(name: str, given: float) -> float:
    in_range(name, given, low=-180, high=180, unit="deg")
    return float(given)
