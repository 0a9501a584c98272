"""The wall that a head has to pass: finished, seated, with jaw or back open if asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import ConvexHull, cKDTree

from fitkit.errors import BriefError, DesignError
from fitkit.fit._press import PassingHead, Soft, passing_head
from fitkit.fit._reach import Surface
from fitkit.fit._route import Door
from fitkit.fit.placement import FloatArray, Placement
from fitkit.geometry.mesh import BoolArray, Mesh, join
from fitkit.wearer.swing import hinge

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece
    from fitkit.piece.openings import Opening
    from fitkit.wearer.record import Glasses
    from fitkit.wearer.wearer import Wearer

#: The outer skin counts this near to the neck opening's rim; farther off no head can
#: come to it. [mm]
RIM_REACH_MM = 45.0
#: A neck opening that looks less far down than this is none to pull over a head.
LEAST_DOWN = 0.4
#: A face is the same in two meshes if the centres are this near. [mm]
_SAME_MM = 1e-6


@dataclass(frozen=True, kw_only=True)
class Panel:
    """A split plane of the piece as drawn; what lies beyond it swings away."""

    #: A point of it. [mm]
    point_mm: tuple[float, float, float]
    #: Normal, to what swings away; any length.
    normal: tuple[float, float, float]


@dataclass(frozen=True, kw_only=True, eq=False)
class Entry:
    """One head before one seated wall, in axes about the middle of the neck opening."""

    #: Finished wall, seated.
    wall: Surface
    head: PassingHead
    #: The plane of the neck opening, so far out that all of the wall is behind it.
    door: Door
    #: Rim of the neck opening, (k, 3). [mm]
    rim: FloatArray
    #: Middle of the neck opening in the head frame, (3,). [mm]
    middle: FloatArray


def make_entry(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    soft: Soft,
    glasses: Glasses | None,
    jaw_deg: float,
    panel: str | Panel | None,
) -> Entry:
    """
    Set the head before the wall; `jaw_deg` is how far the jaw is pulled open.

    Raises
    ------
    DesignError
        If there is no neck opening that faces down, or a part is missing.
    BriefError
        If the panel leaves nothing of the wall.
    """
    opening = neck_of(piece)
    rim = placement.to_head(opening.rim)
    outward = placement.rotation @ (opening.plane_normal / placement.size)
    outward = outward / np.linalg.norm(outward)
    if outward[2] > -LEAST_DOWN:
        msg = (
            f"{piece.name}: the neck opening '{opening.name}' does not face down as seated "
            "(its plane leans by more than 65 deg), so it cannot be pulled over a head. "
            "Check the notes' up axis, or name the back panel that opens."
        )
        raise DesignError(msg)
    middle = placement.to_head(opening.plane_point)
    head = passing_head(wearer, soft, glasses=glasses)
    mesh, layer = _wall(piece, placement, opening, jaw_deg=jaw_deg, panel=panel)
    mesh, worn, pressed = (
        one.with_vertices(one.vertices - middle) for one in (mesh, head.worn, head.pressed)
    )
    return Entry(
        wall=Surface(mesh, ahead_mm=layer, behind_mm=layer),
        head=PassingHead(worn=worn, pressed=pressed, zone=head.zone),
        door=Door(point=_beyond(mesh, outward), outward=outward, head=_corners(pressed)),
        rim=rim - middle,
        middle=middle,
    )


def _beyond(wall: Mesh, outward: FloatArray) -> FloatArray:
    """A point of the opening's plane, moved out until no wall is beyond it, (3,). [mm]."""
    out: FloatArray = max(0.0, float((wall.vertices @ outward).max())) * outward
    return out


def _corners(head: Mesh) -> FloatArray:
    """Corners of the convex hull: the head is past a plane when they are. [mm]."""
    corners: FloatArray = head.vertices[ConvexHull(head.vertices).vertices]
    return corners


def neck_of(piece: Piece) -> Opening:
    """Give the largest neck opening of a piece."""
    necks = [opening for opening in piece.openings if opening.kind == "neck"]
    if not necks:
        names = ", ".join(opening.name for opening in piece.openings) or "none at all"
        msg = (
            f"{piece.name} has no neck opening, so no head gets in. Openings: {names}. Is "
            'the bottom still closed, or is it named otherwise? Give "kind": "neck".'
        )
        raise DesignError(msg)
    return max(necks, key=lambda opening: opening.area_mm2)


def _wall(
    piece: Piece,
    placement: Placement,
    opening: Opening,
    *,
    jaw_deg: float,
    panel: str | Panel | None,
) -> tuple[Mesh, FloatArray]:
    """Faces that a head may meet, in the head frame, and the layer on each. [mm]."""
    rows = [(piece.facing.submesh(~piece.jaw_faces), piece.lining_mm)]
    jaw = piece.facing.submesh(piece.jaw_faces) if piece.jaw_faces.any() else None
    if piece.design.surface == "solid":
        rows.append((_near_rim(piece.skin, opening), piece.growth_mm))
    parts = [
        (mesh.scaled(placement.size), layer) for mesh, layer in rows if len(mesh.faces)
    ]
    if jaw is not None:
        parts += _jaw(piece, jaw, placement, turn_deg=jaw_deg)
    if panel is not None:
        parts = [_without(piece, mesh, layer, placement, panel) for mesh, layer in parts]
    kept = [(mesh, layer) for mesh, layer in parts if len(mesh.faces)]
    if not kept:
        msg = (
            "back_open swings the whole wall away: nothing is left. Is the normal reversed?"
        )
        raise BriefError(msg)
    whole = join([mesh for mesh, _ in kept])
    layers = np.concatenate([np.full(len(mesh.faces), layer) for mesh, layer in kept])
    turn = np.eye(4)
    turn[:3, :3], turn[:3, 3] = placement.rotation, placement.shift_mm
    return whole.moved(turn), layers


def _jaw(
    piece: Piece, facing: Mesh, placement: Placement, *, turn_deg: float
) -> list[tuple[Mesh, float]]:
    """The jaw's walls at full size, turned as far as it is pulled open."""
    walls = [(facing, piece.lining_mm)]
    whole = piece.design.parts.get(str(piece.design.notes.jaw_part))
    if turn_deg and piece.design.surface == "solid" and whole is not None:
        same = cKDTree(facing.centroids).query(
            whole.centroids, distance_upper_bound=_SAME_MM
        )[0]
        outer = whole.submesh(~np.isfinite(same))
        walls.append((outer, piece.growth_mm))
    sized = [(mesh.scaled(placement.size), layer) for mesh, layer in walls]
    if not turn_deg or piece.hinge is None:
        return sized
    ends = np.stack([piece.hinge.left_mm, piece.hinge.right_mm]) * placement.size
    swing = hinge(at_mm=ends.mean(axis=0), axis=ends[1] - ends[0])
    turn = swing.matrix(turn_deg)
    return [(mesh.moved(turn), layer) for mesh, layer in sized]


def _near_rim(skin: Mesh, opening: Opening) -> Mesh:
    away = cKDTree(opening.rim).query(skin.centroids, distance_upper_bound=RIM_REACH_MM)[0]
    near: BoolArray = np.isfinite(np.asarray(away))
    return skin.submesh(near)


def _without(
    piece: Piece, mesh: Mesh, layer: float, placement: Placement, panel: str | Panel
) -> tuple[Mesh, float]:
    """Leave out what swings away; triangles across a plane are cut at it."""
    if isinstance(panel, str):
        parts = piece.design.parts
        if panel not in parts:
            there = ", ".join(sorted(parts))
            msg = f"{piece.name} has no part '{panel}' to swing away. There are: {there}."
            raise DesignError(msg)
        gone = cKDTree(parts[panel].scaled(placement.size).centroids).query(
            mesh.centroids, distance_upper_bound=_SAME_MM
        )[0]
        return mesh.submesh(~np.isfinite(np.asarray(gone))), layer
    point = np.asarray(panel.point_mm, dtype=float) * placement.size
    normal = np.asarray(panel.normal, dtype=float) / placement.size
    return _cut(mesh, point, normal / np.linalg.norm(normal)), layer


def _cut(mesh: Mesh, point: FloatArray, normal: FloatArray) -> Mesh:
    """Keep what lies behind a plane; triangles across it are cut at it."""
    height = (mesh.triangles - point) @ normal
    whole = (height <= 0).all(axis=1)
    across = ~whole & (height < 0).any(axis=1)
    cut = [mesh.triangles[whole]]
    for triangle, above in zip(mesh.triangles[across], height[across], strict=True):
        cut.append(_clipped(triangle, above))
    triangles = np.concatenate(cut)
    if not len(triangles):
        return Mesh(mesh.vertices[:1], np.zeros((0, 3), dtype=np.int64))
    return Mesh(triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3))


def _clipped(triangle: FloatArray, height: FloatArray) -> FloatArray:
    """Part of a triangle below height 0, as triangles (k, 3, 3)."""
    ring = []
    for k in range(3):
        a, b = height[k], height[(k + 1) % 3]
        if a <= 0:
            ring.append(triangle[k])
        if (a < 0 < b) or (b < 0 < a):
            share = a / (a - b)
            ring.append(triangle[k] + share * (triangle[(k + 1) % 3] - triangle[k]))
    fans = [(ring[0], ring[k], ring[k + 1]) for k in range(1, len(ring) - 1)]
    return np.array(fans).reshape(-1, 3, 3)
