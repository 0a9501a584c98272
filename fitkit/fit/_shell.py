"""What stands in the way of sight: the finished shell as placed, and the wearer's face."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Protocol
from weakref import WeakKeyDictionary

import numpy as np

from fitkit.fit._layers import Sheet
from fitkit.fit.placement import Placement
from fitkit.fit.sight import Side
from fitkit.geometry.mesh import BoolArray, FloatArray, Mesh, join
from fitkit.geometry.rays import Hits, RayScene
from fitkit.wearer.wearer import Eye, Wearer
from fitkit.wearer.zones import ZONES

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Lids, lashes and the skin over the globe make way for sight: what lies this near to
#: the centre about which the eye turns never blocks that eye. On heads made from records
#: the limits set by brow, nose and cheek move by less than 1 degree from 17 to 20 mm. [mm]
LIDS_MM = 18.0
#: Layers are kept at steps of this, over the size, so that a scene serves many sizes. [mm]
LAYER_STEP_MM = 0.05
#: Walls kept per piece.
KEPT_WALLS = 4


class Occluder(Protocol):
    """Anything that may stand in the way of a ray, in the head frame."""

    def blocked(self, origins: FloatArray, directions: FloatArray) -> BoolArray:
        """Say which rays, shapes (n, 3), meet it at any distance."""


class Wall:
    """Inner and outer sheet of one piece's finished wall, at one proportion."""

    def __init__(self, inner: Mesh, outer: Mesh) -> None:
        self.inner, self.outer = inner, outer

    @cached_property
    def whole(self) -> RayScene:
        """Both sheets in one scene."""
        return RayScene(join([self.inner, self.outer]))

    @cached_property
    def inner_scene(self) -> RayScene:
        """The sheet that faces the head."""
        return RayScene(self.inner)

    @cached_property
    def outer_scene(self) -> RayScene:
        """The outer sheet."""
        return RayScene(self.outer)


class _Drawn:
    """The drawn sheets of a piece at one proportion, and the walls made of them."""

    def __init__(self, piece: Piece, ratio: FloatArray) -> None:
        self.facing = Sheet(piece.facing.scaled(ratio))
        same = piece.skin is piece.facing
        self.skin = self.facing if same else Sheet(piece.skin.scaled(ratio))
        self._walls: OrderedDict[tuple[float, float], Wall] = OrderedDict()

    def wall(self, lining_mm: float, growth_mm: float) -> Wall:
        key = _rounded(lining_mm), _rounded(growth_mm)
        if key not in self._walls:
            inner, outer = self.facing.pushed(-key[0]), self.skin.pushed(key[1])
            self._walls[key] = Wall(inner, outer)
            while len(self._walls) > KEPT_WALLS:
                self._walls.popitem(last=False)
        self._walls.move_to_end(key)
        return self._walls[key]


_DRAWN: WeakKeyDictionary[Piece, dict[tuple[float, ...], _Drawn]] = WeakKeyDictionary()
_FACES: WeakKeyDictionary[Wearer, dict[Side, RayScene]] = WeakKeyDictionary()


@dataclass(frozen=True, eq=False)
class Shell:
    """
    The finished piece at a placement, asked in the head frame.

    Rays are carried into the drawn piece and its scene, so poses and uniform sizes need
    no new scene: only the layers, which do not grow with the size, are pushed anew when
    their share of the size changes by more than 0.05 mm.
    """

    piece: Piece
    placement: Placement

    @cached_property
    def wall(self) -> Wall:
        """The finished wall in the frame of the scene."""
        size = self.placement.mean_size
        ratio = np.round(self.placement.size / size, 9)
        kept = _DRAWN.setdefault(self.piece, {})
        key = tuple(ratio.tolist())
        if key not in kept:
            while len(kept) >= 2:
                kept.pop(next(iter(kept)))
            kept[key] = _Drawn(self.piece, ratio)
        return kept[key].wall(self.piece.lining_mm / size, self.piece.growth_mm / size)

    def to_scene(self, points: FloatArray) -> FloatArray:
        """Carry head points, shape (n, 3), into the frame of the scene, in mm."""
        return self.placement.to_sized(points) / self.placement.mean_size

    def from_scene(self, points: FloatArray) -> FloatArray:
        """Carry points of the scene, shape (n, 3), into the head frame, in mm."""
        sized = points * self.placement.mean_size
        placed: FloatArray = sized @ self.placement.rotation.T + self.placement.shift_mm
        return placed

    def turned(self, directions: FloatArray) -> FloatArray:
        """Turn head directions, shape (n, 3), into the frame of the scene."""
        turned: FloatArray = directions @ self.placement.rotation
        return turned

    def blocked(self, origins: FloatArray, directions: FloatArray) -> BoolArray:
        """Say which rays, shapes (n, 3) or (3,) and (n, 3), meet the finished wall."""
        return self.wall.whole.blocked(self.to_scene(origins), self.turned(directions))

    def blocked_within(
        self, origins: FloatArray, directions: FloatArray, *, reach_mm: float
    ) -> BoolArray:
        """Say which rays meet the finished wall within `reach_mm`."""
        return self.wall.whole.blocked(
            self.to_scene(origins),
            self.turned(directions),
            reach_mm=reach_mm / self.placement.mean_size,
        )

    def first_hit(self, origins: FloatArray, directions: FloatArray) -> Hits:
        """Find what rays meet first; distances in the head frame, in mm."""
        return self.hit(self.wall.whole, origins, directions)

    def hit(self, scene: RayScene, origins: FloatArray, directions: FloatArray) -> Hits:
        """Find what rays meet first in a scene of this shell's frame, in mm."""
        hits = scene.first_hit(self.to_scene(origins), self.turned(directions))
        distance = hits.distance_mm * self.placement.mean_size
        return Hits(distance_mm=distance, face=hits.face)


def own_face(wearer: Wearer, side: Side) -> RayScene:
    """The head as it stands before one of its own eyes, without that eye's lids."""
    kept = _FACES.setdefault(wearer, {})
    if side not in kept:
        kept[side] = RayScene(wearer.head.submesh(_before(wearer, side)))
    return kept[side]


def face_by_zone(wearer: Wearer, side: Side) -> dict[str, Mesh]:
    """The same, zone by zone, by what a maker calls the zone."""
    before = _before(wearer, side)
    zone = wearer.zone[wearer.head.faces[:, 0]]
    found = {}
    for number in np.unique(zone[before]).tolist():
        name, _, aside = ZONES[number].partition("_") if number >= 0 else ("neck", "", "")
        words = f"{aside} eye's lids" if name == "eye" else f"{aside} {name}".strip()
        found[words] = wearer.head.submesh(np.nonzero(before & (zone == number))[0])
    return found


def _before(wearer: Wearer, side: Side) -> BoolArray:
    """Faces of the head that may hide something from an eye, shape (m,)."""
    eye = eye_of(wearer, side)
    near = np.linalg.norm(wearer.head.vertices - eye.rotation_centre, axis=1) < LIDS_MM
    before: BoolArray = ~near[wearer.head.faces].any(axis=1)
    return before


def eye_of(wearer: Wearer, side: Side) -> Eye:
    """The wearer's left or right eye."""
    return wearer.eye_left if side == "left" else wearer.eye_right


def any_blocked(
    occluders: Iterable[Occluder], origins: FloatArray, directions: FloatArray
) -> BoolArray:
    """Say which rays, both of shape (n, 3), meet anything; each is cast until it does."""
    blocked = np.zeros(len(directions), dtype=bool)
    for occluder in occluders:
        free = np.nonzero(~blocked)[0]
        if not len(free):
            break
        blocked[free] = occluder.blocked(origins[free], directions[free])
    return blocked


def _rounded(thickness_mm: float) -> float:
    return round(thickness_mm / LAYER_STEP_MM) * LAYER_STEP_MM
