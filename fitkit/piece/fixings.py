"""Fixings: bolts of horns, hinge pads, strap anchors, batteries, and where they go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import ConvexHull, cKDTree

from fitkit.errors import DesignError
from fitkit.geometry.distance import SurfaceTree
from fitkit.geometry.mesh import FloatArray, Mesh
from fitkit.piece.buildup import Piece, checked_size
from fitkit.piece.laminate import within
from fitkit.piece.rims import rim_points

Kind = Literal["bolt", "hinge pad", "strap anchor", "battery", "switch"]
#: Least wall under each kind before a boss or backing is laid, common practice. [mm]
LEAST_WALL_MM = {
    "bolt": 4.0,
    "hinge pad": 4.0,
    "strap anchor": 3.0,
    "battery": 2.0,
    "switch": 1.5,
}
#: Centre of a hole to an edge, and to the next hole, over its diameter: common practice.
EDGE_DIAMETERS, APART_DIAMETERS = 2.0, 3.0
#: Two bolts nearer than this do not keep a horn from turning, common practice. [mm]
LEAST_SPREAD_MM = 20.0
#: A fixing farther from the wall than this is not on it. [mm]
ON_WALL_MM = 25.0


@dataclass(frozen=True, kw_only=True)
class Fixing:
    """
    One thing that is bolted, riveted or glued to the wall.

    Raises
    ------
    DesignError
        If a number is out of range.
    """

    name: str
    kind: Kind
    #: Near where it goes, in the axes of the drawn piece at its drawn size. [mm]
    at_mm: tuple[float, float, float]
    #: Diameter of the hole; 0 if it is glued. [mm]
    hole_mm: float
    #: Diameter of what lies on the wall inside: washer, boss, pad. [mm]
    foot_mm: float
    #: How far it stands out from the finished inner wall, towards the head. [mm]
    inside_mm: float = 0.0
    #: What it holds together with others of the same word: "left horn".
    holds: str = ""

    def __post_init__(self) -> None:
        within(f"hole_mm of {self.name}", self.hole_mm, low=0, high=30, unit="mm")
        low = max(self.hole_mm, 1.0)
        within(f"foot_mm of {self.name}", self.foot_mm, low=low, high=200, unit="mm")
        within(f"inside_mm of {self.name}", self.inside_mm, low=0, high=150, unit="mm")


@dataclass(frozen=True, kw_only=True, eq=False)
class Fixed:
    """A fixing on the wall of a piece at its finished size, checked."""

    fixing: Fixing
    #: Point of the drawn side that faces the head, shape (3,). [mm]
    at_mm: FloatArray
    #: Unit direction into the room, towards the head, shape (3,).
    inward: FloatArray
    #: Finished wall there, layers included, and how much is needed. [mm]
    wall_mm: float
    least_wall_mm: float
    #: Boss or backing to lay so that there is enough; 0 if there is. [mm]
    boss_mm: float
    #: Centre to the nearest edge of the wall, and how much is needed. [mm]
    edge_mm: float
    least_edge_mm: float
    #: How far the wall falls away under the foot: to be filled or filed. [mm]
    gap_under_foot_mm: float
    #: What is wrong, in words; empty if nothing.
    problems: tuple[str, ...]


def check_fixings(
    piece: Piece, fixings: Sequence[Fixing], *, size: float | ArrayLike = 1.0
) -> tuple[Fixed, ...]:
    """
    Put fixings on the wall, and check wall, edges, spacing and turning.

    Parameters
    ----------
    piece : Piece
    fixings : sequence of Fixing
        At least one; names differ.
    size : float or array-like, shape (3,)
        Finished size over the drawn one. Fixings keep their own sizes.

    Returns
    -------
    tuple of Fixed
        In the order given. Clearance from the head is asked of
        `fitkit.fit.fixings.fixing_clearance`.

    Raises
    ------
    DesignError
        If there is none, two have one name, or one is more than 25 mm off the wall.

    Notes
    -----
    Least walls, two hole diameters from centre to edge, three between holes, and two
    bolts 20 mm apart for what could turn are common practice, not a proof of strength:
    pull at a sample first.
    """
    factors = checked_size(size)
    _check_names(fixings)
    place = _Place(piece, factors)
    found = [place.fixed(fixing) for fixing in fixings]
    return tuple(_with_neighbours(one, found) for one in found)


class _Place:
    """The wall of one piece at one size, asked for point by point."""

    def __init__(self, piece: Piece, factors: FloatArray) -> None:
        self.piece, self.factors = piece, factors
        self.facing = piece.facing.scaled(factors)
        self.tree = SurfaceTree(self.facing)
        self.skin = SurfaceTree(piece.skin.scaled(factors))
        edge = rim_points(self.facing)
        self.rim = cKDTree(edge) if len(edge) else None

    def fixed(self, fixing: Fixing) -> Fixed:
        """Move one fixing to the wall and measure there."""
        wanted = np.array(fixing.at_mm)[None] * self.factors
        near = self.tree.nearest(wanted)
        at, off = near.point[0], float(near.distance_mm[0])
        if off > ON_WALL_MM + self._wall_mm(at):
            spot = ", ".join(f"{x:.0f}" for x in wanted[0])
            msg = (
                f"{fixing.name}: {spot} mm is {off:.0f} mm from the wall of "
                f"{self.piece.name}; put it within {ON_WALL_MM:g} mm. Left is at negative "
                "right."
            )
            raise DesignError(msg)
        wall, least = self._wall_mm(at), LEAST_WALL_MM[fixing.kind]
        edge = float(self.rim.query(at)[0]) if self.rim else np.inf
        inward = -_normal(self.facing, at, fixing.foot_mm / 2)
        least_edge = EDGE_DIAMETERS * fixing.hole_mm
        return Fixed(
            fixing=fixing,
            at_mm=at,
            inward=inward,
            wall_mm=wall,
            least_wall_mm=least,
            boss_mm=max(0.0, least - wall),
            edge_mm=edge,
            least_edge_mm=max(least_edge, fixing.foot_mm / 2),
            gap_under_foot_mm=self._gap_mm(at, inward, fixing.foot_mm / 2),
            problems=(),
        )

    def _wall_mm(self, at: FloatArray) -> float:
        layers = self.piece.lining_mm + self.piece.growth_mm
        if self.piece.design.surface != "solid":
            return float(layers)
        return float(self.skin.nearest(at[None]).distance_mm[0] + layers)

    def _gap_mm(self, at: FloatArray, inward: FloatArray, radius: float) -> float:
        """Largest departure of the wall from the plane of the foot."""
        across = _across(inward)
        turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
        ring = at + radius * (np.outer(np.cos(turn), across[0]) + np.outer(
            np.sin(turn), across[1]))  # fmt: skip
        off = (self.tree.nearest(ring).point - at) @ inward
        return float(np.ptp(np.append(off, 0.0)))


@dataclass(frozen=True, kw_only=True, eq=False)
class HoleTemplate:
    """A flat template for the holes of one group, 1:1, seen from outside."""

    name: str
    #: Closed outlines, the outer one first, then one a hole, each of shape (k, 2); the
    #: first point is not repeated. Up on the sheet is up on the piece. [mm]
    outlines_mm: tuple[FloatArray, ...]
    #: Names, centres, shape (n, 2), and diameters, shape (n,), of the holes. [mm]
    holes: tuple[str, ...]
    centres_mm: FloatArray
    diameters_mm: FloatArray
    #: How far the wall falls away from the flat sheet at the most, within its outline:
    #: drill square to the sheet, not to the wall. [mm]
    off_wall_mm: float


def hole_template(
    piece: Piece,
    fixed: Sequence[Fixed],
    *,
    name: str,
    size: float | ArrayLike = 1.0,
    margin_mm: float = 10.0,
) -> HoleTemplate:
    """
    Draw the holes of fixings that are drilled in one direction.

    Parameters
    ----------
    piece : Piece
    fixed : sequence of Fixed
        Those of one group, checked at the same size; glued ones have no hole.
    name : str
        Written on the sheet.
    size : float or array-like, shape (3,)
    margin_mm : float
        Of paper around the feet. [mm]

    Raises
    ------
    DesignError
        If none has a hole, or they do not lie on one side of the piece.

    Notes
    -----
    Centres are projected onto the plane square to the mean of the walls' normals: true
    for holes that are drilled square to that plane, as for the bolts of one horn foot.
    """
    drilled = [one for one in fixed if one.fixing.hole_mm > 0]
    if not drilled:
        msg = f"{name}: none of its fixings has a hole; there is nothing to drill."
        raise DesignError(msg)
    outward = -np.mean([one.inward for one in drilled], axis=0)
    if min(-one.inward @ outward for one in drilled) < 0.5:
        msg = (
            f"{name}: its fixings look in directions too far apart for one template; make "
            "one for each side."
        )
        raise DesignError(msg)
    outward /= np.linalg.norm(outward)
    across = _across(outward)
    points = np.array([one.at_mm for one in drilled])
    middle = points.mean(axis=0)
    centres = (points - middle) @ across.T
    diameters = np.array([one.fixing.hole_mm for one in drilled])
    feet = np.array([one.fixing.foot_mm / 2 for one in drilled]) + margin_mm
    outer = _hull(
        np.concatenate([_circle(c, r) for c, r in zip(centres, feet, strict=True)])
    )
    holes = [_circle(c, d / 2) for c, d in zip(centres, diameters, strict=True)]
    skin = piece.skin.scaled(checked_size(size))
    return HoleTemplate(
        name=name,
        outlines_mm=(outer, *holes),
        holes=tuple(one.fixing.name for one in drilled),
        centres_mm=centres,
        diameters_mm=diameters,
        off_wall_mm=_off_wall_mm(
            skin, middle + np.vstack([outer, centres, [[0.0, 0.0]]]) @ across, outward
        ),
    )


def _off_wall_mm(skin: Mesh, sheet: FloatArray, outward: FloatArray) -> float:
    """Range of the wall's height over points of a sheet, shape (n, 3)."""
    near = SurfaceTree(skin).nearest(sheet).point
    return float(np.ptp((near - sheet) @ outward))


def _check_names(fixings: Sequence[Fixing]) -> None:
    if not fixings:
        msg = "There are no fixings to check."
        raise DesignError(msg)
    names = [fixing.name for fixing in fixings]
    for name in names:
        if names.count(name) > 1:
            msg = f"Two fixings are named '{name}'; number them."
            raise DesignError(msg)


def _with_neighbours(one: Fixed, all_of_them: Sequence[Fixed]) -> Fixed:
    """Say what is wrong with one, among the others."""
    fixing, words = one.fixing, []
    if one.boss_mm > 0:
        words.append(
            f"{fixing.name}: the wall is {one.wall_mm:.1f} mm and {one.least_wall_mm:g} mm "
            f"are needed; lay a boss of {one.boss_mm:.1f} mm over {fixing.foot_mm:g} mm."
        )
    if one.edge_mm < one.least_edge_mm:
        words.append(
            f"{fixing.name}: {one.edge_mm:.1f} mm from an edge of the wall; "
            f"{one.least_edge_mm:.1f} mm are needed. Move it away from the opening."
        )
    for other in all_of_them:
        words += _too_near(one, other)
    if fixing.kind == "bolt" and fixing.holds:
        words += _could_turn(one, all_of_them)
    return replace(one, problems=tuple(words))


def _too_near(one: Fixed, other: Fixed) -> list[str]:
    least = APART_DIAMETERS * max(one.fixing.hole_mm, other.fixing.hole_mm)
    apart = float(np.linalg.norm(one.at_mm - other.at_mm))
    if other is one or apart >= least:
        return []
    return [
        f"{one.fixing.name}: {apart:.1f} mm from {other.fixing.name}; holes need "
        f"{least:.1f} mm between centres."
    ]


def _could_turn(one: Fixed, all_of_them: Sequence[Fixed]) -> list[str]:
    group = [
        other.at_mm
        for other in all_of_them
        if other.fixing.holds == one.fixing.holds and other.fixing.kind == "bolt"
    ]
    spread = max(float(np.linalg.norm(one.at_mm - at)) for at in group)
    if spread >= LEAST_SPREAD_MM:
        return []
    number = "one bolt" if len(group) == 1 else f"bolts {spread:.0f} mm apart"
    return [
        f"{one.fixing.name}: {number} will let {one.fixing.holds} turn; use two, at least "
        f"{LEAST_SPREAD_MM:g} mm apart."
    ]


def _normal(mesh: Mesh, at: FloatArray, radius: float) -> FloatArray:
    """Mean outward normal of the faces within a foot, by area; at least the nearest."""
    off = np.linalg.norm(mesh.centroids - at, axis=1)
    near = off <= max(radius, float(off.min()) + 1e-9)
    mean = mesh.areas_mm2[near] @ mesh.normals[near]
    length = float(np.linalg.norm(mean))
    if length < 1e-9:
        mean, length = mesh.normals[off.argmin()], 1.0
    return np.asarray(mean / length)


def _across(normal: FloatArray) -> FloatArray:
    """Two unit axes in a plane, (2, 3), seen from the normal's tip: right-ish and up."""
    up = np.array([0.0, 0.0, 1.0])
    if abs(normal @ up) > 0.95:  # a crown: up on the sheet is the front
        up = np.array([0.0, 1.0, 0.0])
    second = up - (up @ normal) * normal
    second /= np.linalg.norm(second)
    return np.stack([np.cross(second, normal), second])


def _circle(centre: FloatArray, radius: float, *, pieces: int = 72) -> FloatArray:
    turn = np.linspace(0, 2 * np.pi, pieces, endpoint=False)
    ring: FloatArray = centre + radius * np.column_stack([np.cos(turn), np.sin(turn)])
    return ring


def _hull(points: FloatArray) -> FloatArray:
    hull: FloatArray = points[ConvexHull(points).vertices]
    return hull
