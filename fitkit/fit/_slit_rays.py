"""Where every ray from the pupils crosses the wall: all that a slit is judged by."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._directions import direction_grid
from fitkit.fit._patches import opening_patches
from fitkit.fit._shell import Shell, any_blocked, eye_of, own_face
from fitkit.fit.placement import Placement
from fitkit.fit.pupil import eye_pupil
from fitkit.fit.sight import SIDES, Side
from fitkit.fit.visual_fields import ReferenceField
from fitkit.geometry.mesh import BoolArray, FloatArray
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Places above and below the pupils where a slit is looked for. [mm]
SPAN_MM = (-70.0, 50.0)
#: Wall this near to a slit's middle tells how the surface slants there. [mm]
SLANT_NEAR_MM = 6.0
#: Rays this near to straight ahead tell where the wall stands ahead. [deg]
AHEAD_DEG = 60.0
#: A slab is cut this much deeper than the wall. [mm]
SPARE_MM = 1.0


@dataclass(frozen=True, kw_only=True, eq=False)
class SlitRays:
    """
    Wall crossings of the rays from both pupils, in k directions.

    Arrays over rays have shape (2, s, k): eye, point of the pupil, direction.
    """

    #: Middle between the pupils, head frame, shape (3,). [mm]
    middle: FloatArray
    #: Unit directions that either eye sees bare-headed, shape (k, 3), and their weight.
    directions: FloatArray
    solid_angle_sr: FloatArray
    #: Share of the pupil that sees them bare-headed, the better of both eyes, (k,).
    bare: FloatArray
    #: Share of the pupil that each of its points stands for, (s,).
    weights: FloatArray
    #: Whether the ray crosses the first wall and meets nothing else, before or after.
    open: BoolArray
    #: Where it enters and leaves the wall, head frame, (2, s, k, 3). [mm]
    enters: FloatArray
    leaves: FloatArray
    #: Unit normal of the outer surface where it leaves, head frame, (2, s, k, 3).
    normal: FloatArray
    #: From the pupils straight ahead to the inner wall, mean of both. [mm]
    eye_to_wall_mm: float

    def span_mm(self, tilt_deg: float) -> tuple[float, float]:
        """Lowest and highest place to try, across the saw, in mm."""
        at = float(self.middle @ across_saw(tilt_deg))
        return at + SPAN_MM[0], at + SPAN_MM[1]

    def lit(
        self,
        *,
        tilt_deg: float,
        place_mm: float,
        gauge_mm: float,
        width_mm: float,
        bridge_mm: float,
    ) -> FloatArray:
        """Share of the pupil seen by through a slit, the better of both eyes, (k,)."""
        low, high = self._heights(tilt_deg)
        near, far = self._asides
        passes = self.open & (low >= place_mm - gauge_mm / 2)
        passes &= (high <= place_mm + gauge_mm / 2) & (far <= width_mm / 2)
        if bridge_mm > 0:
            passes &= near >= bridge_mm / 2
        lit: FloatArray = np.einsum("esk,s->ek", passes, self.weights).max(axis=0)
        return lit

    def gauge_mm(self, place_mm: float, tilt_deg: float, height_mm: float) -> float:
        """Height square to the saw of a height along the outer surface, in mm."""
        key = place_mm, tilt_deg
        if key not in self._slants:
            self._slants[key] = self._slant(place_mm, tilt_deg)
        return height_mm * self._slants[key]

    @cached_property
    def _slants(self) -> dict[tuple[float, float], float]:
        return {}

    def _slant(self, place_mm: float, tilt_deg: float) -> float:
        """Height square to the saw over height along the outer surface."""
        near = self._near(place_mm, tilt_deg)
        lean = np.abs(self.normal[:, 0][near] @ across_saw(tilt_deg))
        return float(np.sqrt(1 - np.median(lean) ** 2)) if len(lean) else 1.0

    def ahead_mm(self, place_mm: float, tilt_deg: float) -> tuple[float, float]:
        """Front and up of the outer surface at a slit's middle, between the eyes."""
        near = self._near(place_mm, tilt_deg)
        if not near.any():
            return float("nan"), float("nan")
        at = self.leaves[:, 0][near]
        front = float(np.median(at[:, 1]))
        tilt = np.radians(tilt_deg)
        return front, float((place_mm - front * np.sin(tilt)) / np.cos(tilt))

    def depth_mm(
        self, place_mm: float, tilt_deg: float, gauge_mm: float, width_mm: float
    ) -> float:
        """How deep along the saw the first wall reaches at a slit, in mm."""
        low, high = self._heights(tilt_deg)
        inside = self.open & (high >= place_mm - gauge_mm) & (low <= place_mm + gauge_mm)
        inside &= self._asides[0] <= width_mm / 2
        along = along_saw(tilt_deg)
        depth = self.leaves[inside] @ along
        start = float(self.middle @ along)
        return float(depth.max(initial=start + 5.0)) + SPARE_MM

    def _heights(self, tilt_deg: float) -> tuple[FloatArray, FloatArray]:
        """Least and greatest height across the saw on the way through the wall."""
        if tilt_deg not in self._kept:
            across = across_saw(tilt_deg)
            one, other = self.enters @ across, self.leaves @ across
            self._kept[tilt_deg] = np.minimum(one, other), np.maximum(one, other)
        return self._kept[tilt_deg]

    @cached_property
    def _kept(self) -> dict[float, tuple[FloatArray, FloatArray]]:
        return {}

    @cached_property
    def _asides(self) -> tuple[FloatArray, FloatArray]:
        """Least and greatest distance from the midplane on the way through the wall."""
        one = np.abs(self.enters[..., 0] - self.middle[0])
        other = np.abs(self.leaves[..., 0] - self.middle[0])
        return np.minimum(one, other), np.maximum(one, other)

    def _near(self, place_mm: float, tilt_deg: float) -> BoolArray:
        """Rays of the pupils' centres that leave near a slit's middle, (2, k)."""
        height = self.leaves[:, 0] @ across_saw(tilt_deg)
        ahead = self.directions[:, 1] > np.cos(np.radians(AHEAD_DEG))
        near: BoolArray = self.open[:, 0] & (np.abs(height - place_mm) < SLANT_NEAR_MM)
        near &= ahead
        return near


def across_saw(tilt_deg: float) -> FloatArray:
    """Unit normal of a saw that leans down to the front by an angle, shape (3,)."""
    tilt = np.radians(tilt_deg)
    return np.array([0.0, np.sin(tilt), np.cos(tilt)])


def along_saw(tilt_deg: float) -> FloatArray:
    """Unit direction along that saw, to the front, shape (3,)."""
    tilt = np.radians(tilt_deg)
    return np.array([0.0, np.cos(tilt), -np.sin(tilt)])


def slit_rays(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    step_deg: float,
    pupil_mm: float,
    samples: int,
    reference: ReferenceField,
) -> SlitRays:
    """Cast every ray of both pupils at the wall, eye openings taken as filled."""
    grid = direction_grid(step_deg)
    shell = Shell(piece, placement)
    wall = _Crossing(shell)
    pupils = [
        eye_pupil(eye_of(wearer, side), side=side, diameter_mm=pupil_mm, samples=samples)
        for side in SIDES
    ]
    middle = np.mean([pupil.centre for pupil in pupils], axis=0)
    bare = np.array(
        [
            _bare(wearer, side, pupil.points, grid.directions, reference)
            for side, pupil in zip(SIDES, pupils, strict=True)
        ]
    )
    chosen = np.nonzero(bare.any(axis=(0, 1)))[0]
    ways, bare = grid.directions[chosen], bare[:, :, chosen]
    crossed = [[wall.cross(point, ways) for point in pupil.points] for pupil in pupils]
    free, enters, leaves, normal = (
        np.array([[each[k] for each in eye] for eye in crossed]) for k in range(4)
    )
    if not free.any():
        msg = "No wall stands before the eyes, so there is nothing to put a slit in."
        raise BriefError(msg)
    weights = pupils[0].weights
    return SlitRays(
        middle=middle,
        directions=ways,
        solid_angle_sr=grid.solid_angle_sr.ravel()[chosen],
        bare=np.einsum("esk,s->ek", bare, weights).max(axis=0),
        weights=weights,
        open=free.astype(bool) & bare,
        enters=enters,
        leaves=leaves,
        normal=normal,
        eye_to_wall_mm=wall.straight_ahead([pupil.centre for pupil in pupils]),
    )


def _bare(
    wearer: Wearer, side: Side, points: FloatArray, ways: FloatArray, known: ReferenceField
) -> BoolArray:
    """Whether each point of a pupil sees each direction bare-headed, (s, k)."""
    within = known.contains(ways, side=side)
    face = own_face(wearer, side)
    seen = np.zeros((len(points), len(ways)), dtype=bool)
    for row, point in enumerate(points):
        starts = np.broadcast_to(point, (int(within.sum()), 3))
        seen[row, within] = ~any_blocked((face,), starts, ways[within])
    return seen


class _Crossing:
    """The first wall that a ray crosses, with the eye openings filled in flush."""

    def __init__(self, shell: Shell) -> None:
        self.shell = shell
        eyes = [o.name for o in shell.piece.openings if o.kind == "eye"]
        self.filling = opening_patches(shell, eyes)

    def cross(
        self, origin: FloatArray, ways: FloatArray
    ) -> tuple[BoolArray, FloatArray, FloatArray, FloatArray]:
        """Whether the way is open but for one wall; where it enters and leaves; normal."""
        shell, starts = self.shell, np.broadcast_to(origin, ways.shape)
        inner = shell.hit(shell.wall.inner_scene, starts, ways).distance_mm
        filled = np.full(len(ways), np.inf)
        if self.filling is not None:
            filled = shell.hit(self.filling.scene, starts, ways).distance_mm
        hole = filled < inner
        first = np.minimum(inner, filled)
        found = np.isfinite(first)
        at = np.where(found, first, 0.0)
        enters = starts + at[:, None] * ways
        leaves, normal = enters.copy(), -ways.copy()
        through = np.nonzero(found & ~hole)[0]
        outer = shell.wall.outer_scene
        lifted = enters[through] + 1e-3 * ways[through]
        hits = shell.hit(outer, lifted, ways[through])
        met = np.isfinite(hits.distance_mm)
        rows = through[met]
        leaves[rows] = lifted[met] + hits.distance_mm[met, None] * ways[rows]
        normal[rows] = outer.mesh.normals[hits.face[met]] @ shell.placement.rotation.T
        beyond = np.ones(len(ways), dtype=bool)
        rows = np.nonzero(found)[0]
        onward = leaves[rows] + 5e-3 * ways[rows]
        beyond[rows] = shell.blocked(onward, ways[rows])
        return found & ~beyond, enters, leaves, normal

    def straight_ahead(self, pupils: list[FloatArray]) -> float:
        """Mean distance from the pupils straight ahead to the wall, in mm."""
        ahead = np.array([[0.0, 1.0, 0.0]])
        reach = []
        for pupil in pupils:
            found, enters, _, _ = self.cross(pupil, ahead)
            reach.append(float(np.linalg.norm(enters[0] - pupil)) if found[0] else np.nan)
        return float(np.mean(reach))
