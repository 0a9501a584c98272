"""
Foam between a head and a wall: forces, energy and stiffness at one pose, or at many.

Every array may have more axes in front: many pieces at once, each with its own pose.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fitkit.fit.foam import Foam
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import BoolArray, IntArray

#: Newtons in one kPa on one mm².
N_PER_KPA_MM2 = 1e-3
#: Share of the stiffness at first touch that a foam has in shear: half, for a foam that
#: does not bulge when pressed (G = E / 2 (1 + nu), nu = 0).
SHEAR_SHARE = 0.5
#: Compression at which the first stiffness of a foam is read.
FIRST_STRAIN = 0.02


@dataclass(frozen=True, eq=False)
class Contacts:
    """Points of the head that may press into foam, n of them, head frame."""

    #: Shape (n, 3). [mm]
    point: FloatArray
    #: Area of the head each stands for, seen along the push, shape (n,). [mm²]
    area: FloatArray
    #: Gap at which the foam is first touched, shape (n,). [mm]
    reach: FloatArray
    #: Thickness of foam that is compressed, shape (n,). [mm]
    layer: FloatArray
    #: Which of `foams`, shape (n,).
    kind: IntArray
    foams: tuple[Foam, ...]
    #: Coefficient of friction, shape (n,).
    friction: FloatArray

    def __len__(self) -> int:
        return len(self.point)

    def shear(self) -> FloatArray:
        """Stiffness of each point's foam sideways, shape (n,). [N/mm]."""
        first = [SHEAR_SHARE * float(foam.stiffness(FIRST_STRAIN)) for foam in self.foams]
        stiff: FloatArray = np.array(first)[self.kind]
        return stiff * self.area / self.layer * N_PER_KPA_MM2


@dataclass(frozen=True, eq=False)
class Walls:
    """The wall facing each contact, in the piece's axes at full size: tangent planes."""

    #: Gap of each head point at zero height of its plane is counted from here, (n, 3). [mm]
    wall: FloatArray
    #: Unit normals towards the head, (n, 3).
    away: FloatArray
    #: Lining and hair between plane and head, shape (n,). [mm]
    between: FloatArray


@dataclass(frozen=True, eq=False)
class Pose:
    """Where the piece is: piece point x lies at ``turn @ x + shift`` in the head frame."""

    turn: FloatArray
    shift: FloatArray
    #: Sum of all small turns since the start, head frame, shape (3,). [rad]
    turned: FloatArray

    def local(self, points: FloatArray) -> FloatArray:
        """Carry head points, shape (n, 3), into the piece's axes."""
        carried: FloatArray = (points - self.shift[..., None, :]) @ self.turn
        return carried

    def at(self, point: FloatArray) -> FloatArray:
        """Carry a piece point, shape (3,), into the head frame."""
        carried: FloatArray = turned(self.turn, point) + self.shift
        return carried

    def stepped(self, step: FloatArray, about: FloatArray) -> Pose:
        """Move by (v, w), shape (6,): shift v and turn w about a piece point."""
        turn = rotation_of(step[..., 3:]) @ self.turn
        centre = self.at(about) + step[..., :3]
        return Pose(turn, centre - turned(turn, about), self.turned + step[..., 3:])


@dataclass(frozen=True, eq=False)
class Pressing:
    """What every contact does at one pose; all in the head frame."""

    #: Compression, below 0 where the foam is not touched, shape (n,).
    strain: FloatArray
    #: Force along `away`, never negative, shape (n,). [N]
    normal: FloatArray
    #: Unit directions from wall to head, shape (n, 3).
    away: FloatArray
    #: Slope of `normal` against the gap, shape (n,). [N/mm]
    stiff: FloatArray
    #: How far the head has slid along the wall since the start, (n, 3). [mm]
    slid: FloatArray


def press(contacts: Contacts, walls: Walls, pose: Pose, start: FloatArray) -> Pressing:
    """Press the head, whose points were at `start` in the piece's axes, into the foam."""
    local = pose.local(contacts.point)
    gap = dot(local - walls.wall, walls.away) - walls.between
    strain = (contacts.reach - gap) / contacts.layer
    area = contacts.area * N_PER_KPA_MM2
    stress, stiff = _by_foam(contacts, strain, "stress", "stiffness")
    moved = local - start
    moved = moved - dot(moved, walls.away)[..., None] * walls.away
    back = np.swapaxes(pose.turn, -1, -2)
    return Pressing(
        strain=strain,
        normal=area * stress,
        away=walls.away @ back,
        stiff=area / contacts.layer * stiff,
        slid=moved @ back,
    )


def stored_energy(contacts: Contacts, strain: FloatArray) -> float:
    """Energy in the compressed foam. [N mm]."""
    (density,) = _by_foam(contacts, strain, "energy")
    return float(N_PER_KPA_MM2 * (contacts.area * contacts.layer) @ density)


@dataclass(frozen=True, eq=False)
class Grip:
    """Friction as sheared foam that slips at a limit, for limits that stay put."""

    #: Sideways stiffness and most force of each contact, shape (n,). [N/mm, N]
    shear: FloatArray
    limit: FloatArray

    def length(self, pressing: Pressing) -> FloatArray:
        """How far each contact has slid, shape (n,). [mm]."""
        slid: FloatArray = np.sqrt(dot(pressing.slid, pressing.slid))
        return slid

    def slope(self, length: FloatArray) -> tuple[FloatArray, BoolArray]:
        """Force over distance slid, and whether each contact slips, shapes (n,)."""
        slips = self.shear * length > self.limit
        slope = np.where(slips, self.limit / np.maximum(length, 1e-12), self.shear)
        held: FloatArray = np.where(self.limit > 0, slope, 0.0)
        return held, slips

    def energy(self, length: FloatArray) -> float:
        """Energy of sheared and slipped foam. [N mm]."""
        shear = np.maximum(self.shear, 1e-12)
        stuck = self.shear * length**2 / 2
        slipped = self.limit * length - self.limit**2 / (2 * shear)
        each = np.where(self.shear * length > self.limit, slipped, stuck)
        return float(np.where(self.limit > 0, each, 0.0).sum())


def gripping(contacts: Contacts, shear: FloatArray, normal: FloatArray) -> Grip:
    """Friction limits of the normal forces, shape (n,), in N."""
    return Grip(shear, contacts.friction * normal)


def resistance(
    contacts: Contacts, pressing: Pressing, grip: Grip, centre: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """
    Slope of the contact energy against (v, w) about a centre, and its curvature.

    Shapes (6,) [N, N mm] and (6, 6). The curvature is that of the springs, never
    negative; what the turning of the planes adds is left out.
    """
    arm = contacts.point - centre[..., None, :]
    length = grip.length(pressing)
    slope, slips = grip.slope(length)
    pull = pressing.normal[..., None] * pressing.away - slope[..., None] * pressing.slid
    turning = cross(arm, pull).sum(axis=-2)
    gradient = np.concatenate([pull.sum(axis=-2), turning], axis=-1)
    curvature = springs(arm, slope)
    curvature += _sum(lines(pressing.away, arm), pressing.stiff - slope)
    sliding = slips & (slope > 0)
    if sliding.any():
        way = pressing.slid / np.maximum(length, 1e-12)[..., None]
        curvature -= _sum(lines(way, arm), np.where(sliding, slope, 0.0))
    return gradient, curvature


def coupling(
    contacts: Contacts, pressing: Pressing, grip: Grip, centre: FloatArray
) -> FloatArray:
    """
    Slope of friction against the pressure that limits it, shape (6, 6).

    Added to the curvature it gives the slope of the forces themselves: not symmetric,
    for friction has no energy.
    """
    arm = contacts.point - centre[..., None, :]
    length = grip.length(pressing)
    sliding = grip.slope(length)[1] & (grip.limit > 0)
    way = pressing.slid / np.maximum(length, 1e-12)[..., None]
    push = np.where(sliding, contacts.friction * pressing.stiff, 0.0)
    slope: FloatArray = -_sum(lines(way, arm), push, lines(pressing.away, arm))
    return slope


def lines(way: FloatArray, arm: FloatArray) -> FloatArray:
    """Lines of action (direction, moment about the centre), shape (n, 6)."""
    lines: FloatArray = np.concatenate([way, cross(arm, way)], axis=-1)
    return lines


def _sum(
    first: FloatArray, weight: FloatArray, second: FloatArray | None = None
) -> FloatArray:
    """Sum of weight times first by second, row by row, of shapes (n, i) and (n, j)."""
    other = first if second is None else second
    total: FloatArray = np.swapaxes(first * weight[..., None], -1, -2) @ other
    return total


def dot(first: FloatArray, second: FloatArray) -> FloatArray:
    """Dot products of rows, shapes (n, 3)."""
    product: FloatArray = np.einsum("...i,...i->...", first, second)
    return product


def turned(turn: FloatArray, point: FloatArray) -> FloatArray:
    """Turn a point, shape (3,), by a rotation matrix."""
    carried: FloatArray = (turn @ point[..., None])[..., 0]
    return carried


def cross(first: FloatArray, second: FloatArray) -> FloatArray:
    """Cross products of rows, shape (n, 3); several times as quick as numpy's."""
    a, b, c = first[..., 0], first[..., 1], first[..., 2]
    x, y, z = second[..., 0], second[..., 1], second[..., 2]
    product = np.empty_like(second)
    product[..., 0] = b * z - c * y
    product[..., 1] = c * x - a * z
    product[..., 2] = a * y - b * x
    return product


def springs(arm: FloatArray, stiff: FloatArray) -> FloatArray:
    """Curvature of springs that hold points in every direction, shape (6, 6)."""
    total = stiff.sum(axis=-1)[..., None, None]
    first = (stiff[..., None, :] @ arm)[..., 0, :]
    second = _sum(arm, stiff)
    tilt = crossing(first)
    block = np.zeros((*stiff.shape[:-1], 6, 6))
    block[..., :3, :3] = total * np.eye(3)
    block[..., :3, 3:], block[..., 3:, :3] = -tilt, tilt
    spread = np.trace(second, axis1=-2, axis2=-1)[..., None, None]
    block[..., 3:, 3:] = spread * np.eye(3) - second
    return block


def crossing(vector: FloatArray) -> FloatArray:
    """Matrix that crosses a vector, shape (3,), with what it is applied to."""
    matrix = np.zeros((*vector.shape, 3))
    x, y, z = vector[..., 0], vector[..., 1], vector[..., 2]
    matrix[..., 0, 1], matrix[..., 0, 2] = -z, y
    matrix[..., 1, 0], matrix[..., 1, 2] = z, -x
    matrix[..., 2, 0], matrix[..., 2, 1] = -y, x
    return matrix


def _by_foam(contacts: Contacts, strain: FloatArray, *curves: str) -> list[FloatArray]:
    """Ask every foam for some of its curves at its own contacts that are pressed."""
    flat, kinds = strain.ravel(), contacts.kind.ravel()
    values = [np.zeros(len(flat)) for _ in curves]
    touched = np.nonzero(flat > 0)[0]
    kind = kinds[touched]
    for index, foam in enumerate(contacts.foams):
        rows = touched[kind == index]
        if len(rows):
            pressed = flat[rows]
            for value, curve in zip(values, curves, strict=True):
                value[rows] = getattr(foam, curve)(pressed)
    return [value.reshape(strain.shape) for value in values]


def rotation_of(vector: FloatArray) -> FloatArray:
    """Rotation matrix of a rotation vector, shape (3,) in rad (O. Rodrigues, 1840)."""
    angle = np.sqrt(dot(vector, vector))[..., None, None]
    small = angle < 1e-4  # where the next terms of the two series are below 1e-9
    safe = np.where(small, 1.0, angle)
    sine = np.where(small, 1 - angle**2 / 6, np.sin(safe) / safe)
    cosine = np.where(small, 0.5 - angle**2 / 24, (1 - np.cos(safe)) / safe**2)
    matrix = crossing(vector)
    rotation: FloatArray = np.eye(3) + sine * matrix + cosine * (matrix @ matrix)
    return rotation
