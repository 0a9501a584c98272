"""The best place for a narrow sight slit, and what each millimetre of height brings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit._cut_regions import hull_mesh
from fitkit.fit._slit_rays import SlitRays, across_saw, along_saw, slit_rays
from fitkit.fit.field import check_eyes
from fitkit.fit.floor import eye_height
from fitkit.fit.placement import Placement
from fitkit.fit.pupil import PUPIL_MM, check_pupil
from fitkit.fit.visual_fields import ReferenceField, reference_field
from fitkit.geometry.mesh import FloatArray, Mesh
from fitkit.wearer.wearer import Wearer

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Heights of slit that are compared unless others are asked for. [mm]
HEIGHTS_MM = (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0)
#: Width of slit unless another is asked for: both eyes and some to either side. [mm]
WIDTH_MM = 130.0
#: Ways to lean the saw: level, then down to the front. [deg]
TILTS_DEG = (0.0, 10.0, 20.0, 30.0)
#: Places are tried this far apart, then this finely about the best. [mm]
COARSE_MM, FINE_MM = 2.0, 0.5
#: Fineness of the directions that are weighed: from the pupil's centre, and by the light
#: on all of it. [deg]
SHARP_STEP_DEG, SOFT_STEP_DEG = 1.0, 2.0


@dataclass(frozen=True, kw_only=True)
class Weighting:
    """
    What counts how much in judging a slit.

    Every direction counts by its solid angle; those that meet level floor between two
    distances count `floor_factor` times.
    """

    name: str = "twice the floor between 1 and 4 m"
    #: The floor that counts more, from the place below the eyes. [mm]
    floor_from_mm: float = 1000.0
    floor_to_mm: float = 4000.0
    floor_factor: float = 2.0

    def __post_init__(self) -> None:
        in_range("floor_from_mm", self.floor_from_mm, low=1, high=1e5, unit="mm")
        in_range("floor_to_mm", self.floor_to_mm, low=1, high=1e6, unit="mm")
        in_range("floor_factor", self.floor_factor, low=0, high=1000, unit="")
        if self.floor_from_mm >= self.floor_to_mm:
            msg = (
                f"floor_from_mm must be less than floor_to_mm; got {self.floor_from_mm:g} "
                f"and {self.floor_to_mm:g}. Were the two swapped?"
            )
            raise BriefError(msg)

    def of(self, directions: FloatArray, *, eye_height_mm: float) -> FloatArray:
        """Weigh unit directions, shape (k, 3)."""
        down = -directions[:, 2]
        level = np.hypot(directions[:, 0], directions[:, 1])
        away = np.divide(
            eye_height_mm * level, down, where=down > 0, out=np.full(len(down), np.inf)
        )
        floor = (away >= self.floor_from_mm) & (away <= self.floor_to_mm)
        return np.where(floor, self.floor_factor, 1.0)


#: Every direction counts alike.
EVEN = Weighting(name="every direction alike", floor_factor=1.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Slit:
    """One slit: a slab of space between two parallel planes, cut through the wall."""

    #: Height along the outer surface, up the middle of the slit. [mm]
    height_mm: float
    #: Height square to the saw: a gauge of this passes. [mm]
    gauge_mm: float
    width_mm: float
    #: How far the saw leans down to the front. [deg]
    tilt_deg: float
    #: Where the middle of the slit lies on the outer surface ahead of the middle
    #: between the eyes: front and up, head frame. [mm]
    front_mm: float
    up_mm: float
    #: Its height above the pupils there; negative is below. [mm]
    above_pupils_mm: float
    #: What either eye sees through it, weighted, of the same wearer bare-headed; from
    #: the pupil's centre. [%]
    seen_percent: float
    #: The same by light: every direction by the share of the pupil that is lit. [%]
    light_percent: float
    #: Solid angle seen by either eye from the pupil's centre, unweighted. [sr]
    either_sr: float
    #: The slab, closed, head frame: cut it out of the wall.
    tool: Mesh


@dataclass(frozen=True, kw_only=True, eq=False)
class SlitSearch:
    """The best slit of every height, for one wearer in one placed piece."""

    #: Rising in height.
    best: tuple[Slit, ...]
    weighting: Weighting
    #: From the pupils straight ahead to the inner wall, mean of both. [mm]
    eye_to_wall_mm: float

    def at(self, height_mm: float) -> Slit:
        """The best slit that is at most this high."""
        fits = [slit for slit in self.best if slit.height_mm <= height_mm + 1e-9]
        if not fits:
            least = self.best[0].height_mm
            msg = f"height_mm must be at least {least:g} mm here; got {height_mm:g}."
            raise BriefError(msg)
        return max(fits, key=lambda slit: slit.seen_percent)


def best_slits(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    heights_mm: Sequence[float] = HEIGHTS_MM,
    width_mm: float = WIDTH_MM,
    area_mm2: float | None = None,
    bridge_mm: float = 0.0,
    weighting: Weighting | None = None,
    pupil_mm: float = PUPIL_MM,
    reference: str | ReferenceField = "wide",
    eye_height_mm: float | None = None,
) -> SlitSearch:
    """
    Find where a level slit sees most, for each of several heights.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
        Its eye openings are taken as filled in flush: the slit is all there is.
    placement : Placement
    heights_mm : sequence of float
        Heights along the outer surface. [mm]
    width_mm : float
        Width from end to end, straight across. [mm]
    area_mm2 : float, optional
        Open area instead of a width: each height gets the width that makes it. [mm²]
    bridge_mm : float
        Width left standing in the middle. [mm]
    weighting : Weighting, optional
        What counts how much; twice the floor between 1 and 4 m unless given.
    pupil_mm : float
        Diameter of the pupil. [mm]
    reference : str or ReferenceField
        How far an eye sees when nothing is in its way.
    eye_height_mm : float, optional
        Of the standing wearer; the record's unless given. [mm]

    Raises
    ------
    BriefError
        If a number is out of range, or no wall stands before the eyes.

    Notes
    -----
    A ray passes a slab-shaped cut if and only if the whole of its way through the wall
    lies between the slab's planes. So the wall is crossed once, with every ray; all
    places, heights and tilts of a slit are then comparisons of numbers. What stands
    behind the first wall, a muzzle say, still hides what it hides.
    """
    weighting = weighting or Weighting()
    _check(heights_mm, width_mm, area_mm2, bridge_mm)
    check_pupil(pupil_mm=pupil_mm, samples=19)
    shown = reference_field(reference)
    height, _ = eye_height(wearer, eye_height_mm)
    check_eyes(wearer, piece, placement)
    cast = partial(slit_rays, wearer, piece, placement, pupil_mm=pupil_mm, reference=shown)
    sharp = cast(step_deg=SHARP_STEP_DEG, samples=1)
    soft = cast(step_deg=SOFT_STEP_DEG, samples=19)
    search = _Search(
        sharp=sharp,
        soft=soft,
        sharp_weights=_weights(sharp, weighting, height),
        soft_weights=_weights(soft, weighting, height),
        bridge_mm=bridge_mm,
    )
    found = []
    for asked in sorted(heights_mm):
        width = width_mm if area_mm2 is None else area_mm2 / asked
        found.append(search.best(float(asked), float(width)))
    return SlitSearch(
        best=tuple(found), weighting=weighting, eye_to_wall_mm=sharp.eye_to_wall_mm
    )


# -- how it is done -------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True, eq=False)
class _Search:
    #: Rays from the pupils' centres, and from all of the pupils.
    sharp: SlitRays
    soft: SlitRays
    #: What each of their directions counts, over what all that is seen bare counts.
    sharp_weights: FloatArray
    soft_weights: FloatArray
    bridge_mm: float

    def best(self, height_mm: float, width_mm: float) -> Slit:
        """Try every tilt and place, coarsely and then finely about the best."""
        ranked = []
        for tilt in TILTS_DEG:
            low, high = self.sharp.span_mm(tilt)
            places = np.arange(low, high + COARSE_MM, COARSE_MM)
            scores = self._scores(places, tilt, height_mm, width_mm)
            ranked.append((float(scores.max()), tilt, float(places[scores.argmax()])))
        _, tilt, near = max(ranked, key=lambda entry: (entry[0], -entry[1]))
        places = near + np.arange(-COARSE_MM, COARSE_MM + FINE_MM, FINE_MM)
        scores = self._scores(places, tilt, height_mm, width_mm)
        ties = places[scores >= scores.max() - 1e-9]
        best = ties[np.abs(ties - ties.mean()).argmin()]
        return self._slit(float(best), tilt, height_mm, width_mm)

    def _scores(
        self, places: FloatArray, tilt: float, height_mm: float, width_mm: float
    ) -> FloatArray:
        scores = []
        for place in places:
            gauge = self.sharp.gauge_mm(place, tilt, height_mm)
            lit = self._lit(self.sharp, place, tilt, gauge, width_mm)
            scores.append(float((self.sharp_weights * lit).sum()))
        return np.array(scores)

    def _lit(
        self, rays: SlitRays, place: float, tilt: float, gauge: float, width_mm: float
    ) -> FloatArray:
        return rays.lit(
            tilt_deg=tilt,
            place_mm=place,
            gauge_mm=gauge,
            width_mm=width_mm,
            bridge_mm=self.bridge_mm,
        )

    def _slit(self, place: float, tilt: float, height_mm: float, width_mm: float) -> Slit:
        front, up = self.sharp.ahead_mm(place, tilt)
        gauge = self.sharp.gauge_mm(place, tilt, height_mm)
        lit = self._lit(self.sharp, place, tilt, gauge, width_mm)
        soft = self._lit(self.soft, place, tilt, gauge, width_mm)
        return Slit(
            height_mm=height_mm,
            gauge_mm=gauge,
            width_mm=width_mm,
            tilt_deg=tilt,
            front_mm=front,
            up_mm=up,
            above_pupils_mm=up - float(self.sharp.middle[2]),
            seen_percent=float(100 * self.sharp_weights @ lit),
            light_percent=float(100 * self.soft_weights @ soft),
            either_sr=float(self.sharp.solid_angle_sr @ lit),
            tool=_slab(self.sharp, place, tilt, gauge, width_mm),
        )


def _weights(rays: SlitRays, weighting: Weighting, eye_height_mm: float) -> FloatArray:
    """What each direction counts, over what all that is seen bare-headed counts, (k,)."""
    weights = weighting.of(rays.directions, eye_height_mm=eye_height_mm)
    weights *= rays.solid_angle_sr
    shares: FloatArray = weights / (weights @ rays.bare)
    return shares


def _slab(
    rays: SlitRays, place_mm: float, tilt_deg: float, gauge_mm: float, width_mm: float
) -> Mesh:
    """The slab as a solid, from the pupils to just past the first wall, head frame."""
    along, across = along_saw(tilt_deg), across_saw(tilt_deg)
    near = float(rays.middle @ along)
    far = rays.depth_mm(place_mm, tilt_deg, gauge_mm, width_mm)
    corners = [
        (float(rays.middle[0]) + aside) * np.array([1.0, 0, 0])
        + depth * along
        + up * across
        for aside in (-width_mm / 2, width_mm / 2)
        for depth in (near, far)
        for up in (place_mm - gauge_mm / 2, place_mm + gauge_mm / 2)
    ]
    return hull_mesh(np.array(corners))


def _check(
    heights_mm: Sequence[float], width_mm: float, area_mm2: float | None, bridge_mm: float
) -> None:
    if not len(heights_mm):
        msg = "heights_mm must name at least one height of slit, in mm; got none."
        raise BriefError(msg)
    for height in heights_mm:
        in_range("heights_mm", height, low=0.2, high=80, unit="mm")
    in_range("width_mm", width_mm, low=5, high=400, unit="mm")
    in_range("bridge_mm", bridge_mm, low=0, high=100, unit="mm")
    if area_mm2 is not None:
        in_range("area_mm2", area_mm2, low=5, high=50_000, unit="mm²")
