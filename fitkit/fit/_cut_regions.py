"""What may not be cut: noted places, the bridge between the eyes, far or named parts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import ConvexHull

from fitkit.errors import BriefError, MeshError
from fitkit.fit._shell import Shell
from fitkit.fit._wall_solids import WallSolid
from fitkit.fit.placement import Placement
from fitkit.geometry.mesh import FloatArray, Mesh
from fitkit.geometry.solids import difference, intersection
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: The bridge is kept this far ahead of the wall between the eyes; where there is none
#: at all, of this distance from the pupils. [mm]
BRIDGE_AHEAD_MM, BRIDGE_AT_MM = 20.0, 40.0
#: Overlaps smaller than this are none. [mm³]
NOTHING_MM3 = 0.01
#: Things at this share of the reach already count as far.
FAR_SHARE = 0.97
#: Meridians and rings of a ball, drawn around the true one.
AROUND, RINGS = 64, 33


@dataclass(frozen=True, kw_only=True)
class Keep:
    """What the maker keeps, besides what the notes say."""

    #: Width of the bridge between the eyes; 0 for none. [mm]
    bridge_mm: float
    #: What stands farther from the eye than this stays; None: everything may go. [mm]
    reach_mm: float | None
    #: Parts that stay whole.
    parts: tuple[str, ...]


def check_parts(keep: Keep, walls: Mapping[str, WallSolid]) -> None:
    """Refuse to keep a part that is not there."""
    for name in keep.parts:
        if name not in walls:
            msg = f"keep_parts: there is no part {name!r}; there are {', '.join(walls)}."
            raise BriefError(msg)


def kept_things(
    regions: Mapping[str, Mesh], walls: Mapping[str, WallSolid], keep: Keep
) -> dict[str, Mesh]:
    """What of the piece may not be cut, by name, in its axes at its placed size."""
    found = {f"the part '{name}', which is kept": walls[name].mesh for name in keep.parts}
    for region, mesh in regions.items():
        for name, wall in walls.items():
            shared = common(wall.mesh, mesh) if wall.problem is None else None
            if shared is not None:
                found[f"{region} ({name})"] = shared
    return found


def far_things(
    pupil: FloatArray, walls: Mapping[str, WallSolid], keep: Keep
) -> dict[str, Mesh]:
    """What stands too far from one pupil to be cut; same axes."""
    if keep.reach_mm is None:
        return {}
    near = _ball(pupil, FAR_SHARE * keep.reach_mm)
    found = {}
    for name, wall in walls.items():
        if wall.problem is None:
            far = difference(wall.mesh, near)
            found[f"'{name}' beyond {keep.reach_mm:g} mm"] = far
    return found


def common(first: Mesh, second: Mesh) -> Mesh | None:
    """What two solids share, None if they are apart."""
    low = np.maximum(first.bounds_mm[0], second.bounds_mm[0])
    high = np.minimum(first.bounds_mm[1], second.bounds_mm[1])
    if (low >= high).any():
        return None
    try:
        shared = intersection(first, second)
    except MeshError:  # both are solids, so they are apart
        return None
    return shared if shared.volume_mm3 > NOTHING_MM3 else None


def kept_regions(
    wearer: Wearer, piece: Piece, placement: Placement, keep: Keep
) -> dict[str, Mesh]:
    """Solids in which nothing is cut, by name, in the piece's axes at its placed size."""
    regions = {
        f"'{note.name}', which may not be cut": _ball(
            np.array(note.centre_mm, dtype=float), note.radius_mm
        ).scaled(placement.size)
        for note in piece.design.notes.no_cut
        if note.radius_mm > 0
    }
    if keep.bridge_mm > 0:
        name = f"the {keep.bridge_mm:g} mm bridge between the eyes"
        regions[name] = _bridge(wearer, piece, placement, keep.bridge_mm)
    return regions


def without(tool: Mesh, regions: Mapping[str, Mesh]) -> Mesh:
    """Take from a cutting solid the regions in which nothing is cut; same axes."""
    for region in regions.values():
        if common(tool, region) is not None:
            tool = difference(tool, region)
    return tool


def to_head(mesh: Mesh, placement: Placement) -> Mesh:
    """Carry a mesh from the piece's axes at its placed size into the head frame."""
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = placement.rotation, placement.shift_mm
    return mesh.moved(matrix)


def to_sized(mesh: Mesh, placement: Placement) -> Mesh:
    """Carry a mesh from the head frame into the piece's axes at its placed size."""
    matrix = np.eye(4)
    matrix[:3, :3] = placement.rotation.T
    matrix[:3, 3] = -placement.rotation.T @ placement.shift_mm
    return mesh.moved(matrix)


def _bridge(wearer: Wearer, piece: Piece, placement: Placement, width_mm: float) -> Mesh:
    """A slab between the eyes, as deep as the wall that stands there."""
    pupils = np.array([wearer.eye_left.entrance_pupil, wearer.eye_right.entrance_pupil])
    middle, ahead = pupils.mean(axis=0), np.array([[0.0, 1.0, 0.0]])
    at = float(Shell(piece, placement).first_hit(middle[None], ahead).distance_mm[0])
    at = at if np.isfinite(at) else BRIDGE_AT_MM
    centre = placement.to_sized(middle)
    high = float(np.abs(piece.skin.bounds_mm).max() * placement.size.max()) * 2
    low = centre - np.array([width_mm / 2, high, high])
    top = centre + np.array([width_mm / 2, at + BRIDGE_AHEAD_MM, high])
    corners = np.array(np.meshgrid(*np.stack([low, top], axis=1)))
    return hull_mesh(corners.reshape(3, -1).T)


def _ball(centre: FloatArray, radius_mm: float) -> Mesh:
    rise = np.linspace(-np.pi / 2, np.pi / 2, RINGS)[1:-1, None]
    turn = 2 * np.pi * np.arange(AROUND) / AROUND
    ring = [
        np.cos(rise) * np.cos(turn),
        np.cos(rise) * np.sin(turn),
        np.sin(rise) + 0 * turn,
    ]
    points = np.concatenate(
        [np.stack(ring, axis=-1).reshape(-1, 3), [[0, 0, 1], [0, 0, -1]]]
    )
    around = radius_mm / np.cos(np.pi / AROUND) / np.cos(np.pi / 2 / (RINGS - 1))
    return hull_mesh(centre + around * points)


def hull_mesh(points: FloatArray) -> Mesh:
    """Convex hull of points, shape (n, 3), as a solid wound outward."""
    centre = points.mean(axis=0)
    hull = ConvexHull(points - centre)
    kept, flat = np.unique(hull.simplices, return_inverse=True)
    faces = flat.reshape(-1, 3).astype(np.int64)
    corners = hull.points[kept]
    a, b, c = np.moveaxis(corners[faces], 1, 0)
    inward = np.einsum("ij,ij->i", np.cross(b - a, c - a), hull.equations[:, :3]) < 0
    faces[inward] = faces[inward][:, ::-1]
    return Mesh(corners + centre, faces)
