"""The jaw of a piece as it hangs on one head: hinge, stops, play, slots, pads, straps."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fitkit.errors import DesignError
from fitkit.fit.placement import FloatArray, Placement
from fitkit.wearer.swing import Swing

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Key of a notes file under which the fittings of a jaw stand.
NOTES_KEY = "jaw_fittings"
#: Most that a placed hinge axis may lie off the wearer's right, so that the jaw does not
#: swing sideways past the chin. [deg] The notes allow 3 as drawn; the rest is the tilt
#: that a piece may have on the head.
MOST_TILT_DEG = 6.0
#: Gravity. [m/s²] Standard value, BIPM SI brochure.
GRAVITY_M_S2 = 9.80665
#: Where nothing is known of the material: a printed or laminated plastic wall. [g/cm³]
#: Common values lie from 1.0 to 1.3.
USUAL_DENSITY_G_CM3 = 1.1

Point = tuple[float, float, float]
Name = Annotated[str, Field(min_length=1, max_length=100)]


class _Noted(BaseModel):
    """A frozen, strict entry of the notes."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class ChinPad(_Noted):
    """A pad of the jaw that rests on the chin."""

    name: Name
    #: Middle of its face that touches the chin, on the piece as drawn. [mm]
    at_mm: Point


class Strap(_Noted):
    """An elastic cord, or a spring that only pulls, from the jaw to the shell."""

    name: Name
    #: Where it is tied to the jaw, on the piece as drawn, jaw closed. [mm]
    jaw_mm: Point
    #: Where it is tied to the shell, on the piece as drawn. [mm]
    shell_mm: Point
    #: Pull for each mm beyond its free length. [N/mm]
    stiffness_n_per_mm: Annotated[float, Field(gt=0, le=100)]
    #: Length without pull. [mm]
    free_mm: Annotated[float, Field(gt=0, le=2000)]
    #: Most that it may be stretched, over its free length. [%]
    most_strain_percent: Annotated[float, Field(gt=0, le=900)] = 100.0


class JawFittings(_Noted):
    """What hangs the jaw, besides the hinge of the notes; all as drawn, in mm."""

    #: Pads; the first one carries the jaw when the chin opens. None = under the chin
    #: and in front of it, as thick as the room there is.
    pads: tuple[ChinPad, ...] = ()
    #: Free play of the pivot, all around. [mm]
    play_mm: Annotated[float, Field(ge=0, le=10)] = 0.0
    #: How far the axis slides along its slots up to the open stop, front and up. [mm]
    slot_mm: tuple[float, float] = (0.0, 0.0)
    straps: tuple[Strap, ...] = ()
    #: Mass of the jaw with all that sits on it; None = worked out. [g]
    mass_g: Annotated[float, Field(gt=0, le=5000)] | None = None
    #: Its centre of mass as drawn; None = that of its volume. [mm]
    centre_mm: Point | None = None
    #: Friction of the pivot that the strap has to overcome. [N mm]
    friction_nmm: Annotated[float, Field(ge=0, le=5000)] = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class HungJaw:
    """The jaw of a placed piece, in the head frame, from closed as drawn."""

    piece: Piece
    placement: Placement
    fittings: JawFittings
    #: How it moves in the head frame; the turn is counted from the drawn pose.
    swing: Swing
    #: The same in the axes of the piece at its full size, where its meshes are.
    swing_sized: Swing
    #: Widest opening. [deg]
    open_stop_deg: float
    #: Where it stops closing. [deg]
    close_stop_deg: float
    #: Mass. [g]
    mass_g: float
    #: Centre of mass in the head frame, jaw as drawn, shape (3,). [mm]
    centre_mm: FloatArray
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]

    def to_head(self, drawn_mm: Point | FloatArray) -> FloatArray:
        """Carry points of the drawn piece to the head frame, same shape, in mm."""
        return self.placement.to_head(drawn_mm)

    @property
    def turns_deg(self) -> FloatArray:
        """Every whole degree from stop to stop, and the stops, in degrees."""
        low, high = self.close_stop_deg, self.open_stop_deg
        between = np.arange(math.floor(low) + 1, math.ceil(high))
        return np.concatenate([[low], between, [high]]).astype(float)


def read_fittings(piece: Piece) -> JawFittings:
    """
    Take the fittings of the jaw from the notes of a piece.

    They stand under ``"jaw_fittings"``; without that key the jaw has a plain hinge and
    no strap.

    Raises
    ------
    DesignError
        If a value there cannot be used; names it.
    """
    raw = (piece.design.notes.model_extra or {}).get(NOTES_KEY, {})
    return make_fittings(raw)


def make_fittings(raw: Mapping[str, Any]) -> JawFittings:
    """
    Check fittings given as a mapping, keys as in the notes.

    Raises
    ------
    DesignError
        If a value cannot be used; names it.

    Examples
    --------
    >>> make_fittings({"play_mm": 0.5}).play_mm
    0.5
    """
    try:
        return JawFittings.model_validate(raw)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(step) for step in first["loc"])
        said = first["msg"].replace("Input should", "must")
        msg = f"{NOTES_KEY}: {where} {said[0].lower()}{said[1:]}; got {first['input']!r}."
        raise DesignError(msg[:500]) from None


def hang(
    piece: Piece, placement: Placement, *, fittings: JawFittings | None = None
) -> HungJaw:
    """
    Hang the jaw of a piece at a placement.

    Parameters
    ----------
    piece : Piece
        With a hinge and a jaw part.
    placement : Placement
    fittings : JawFittings, optional
        Those in the notes if not given.

    Raises
    ------
    DesignError
        If the piece has no hinge or no jaw part, the stops are the wrong way round, or
        the axis does not lie level across the head.
    """
    fittings = read_fittings(piece) if fittings is None else fittings
    hinge = piece.hinge
    if hinge is None:
        msg = (
            f"{piece.name} has no hinge. Add one point on each side to the notes: "
            '"hinge": {"left_mm": [...], "right_mm": [...]}.'
        )
        raise DesignError(msg)
    _must_have_jaw(piece)
    _stops_in_order(hinge.open_stop_deg, hinge.close_stop_deg)
    ends = np.stack([hinge.left_mm, hinge.right_mm]) * placement.size
    along = ends[1] - ends[0]
    axis = along / np.linalg.norm(along)
    _must_lie_level(placement.rotation @ axis)
    slot = np.array([0.0, *fittings.slot_mm]) * placement.size
    sized = Swing(
        centre_mm=ends.mean(axis=0),
        axis=axis,
        full_deg=hinge.open_stop_deg,
        slide_mm=slot,
        bow_mm=np.zeros(3),
    )
    mass, centre, cautions = _mass(piece, placement, fittings)
    return HungJaw(
        piece=piece,
        placement=placement,
        fittings=fittings,
        swing=_in_head(sized, placement),
        swing_sized=sized,
        open_stop_deg=float(hinge.open_stop_deg),
        close_stop_deg=float(hinge.close_stop_deg),
        mass_g=mass,
        centre_mm=centre,
        cautions=cautions,
    )


def _in_head(swing: Swing, placement: Placement) -> Swing:
    turn = placement.rotation
    return Swing(
        centre_mm=turn @ swing.centre_mm + placement.shift_mm,
        axis=turn @ swing.axis,
        full_deg=swing.full_deg,
        slide_mm=turn @ swing.slide_mm,
        bow_mm=turn @ swing.bow_mm,
    )


def _must_have_jaw(piece: Piece) -> None:
    name = piece.design.notes.jaw_part
    if name is not None and name in piece.design.parts:
        return
    parts = ", ".join(sorted(piece.design.parts))
    missing = "names no jaw part" if name is None else f"has no part '{name}'"
    msg = (
        f"{piece.name} {missing}. Say which part turns about the hinge: "
        f'"jaw_part": "..." in the notes. There are: {parts}.'
    )
    raise DesignError(msg)


def _stops_in_order(open_deg: float, close_deg: float) -> None:
    if close_deg < open_deg:
        return
    msg = (
        f"close_stop_deg must be below open_stop_deg; got {close_deg:g} and {open_deg:g}. "
        f"Opening counts as positive: are the two swapped?"
    )
    raise DesignError(msg)


def _must_lie_level(axis: FloatArray) -> None:
    tilt = math.degrees(math.acos(min(1.0, abs(float(axis[0])))))
    if axis[0] > 0 and tilt <= MOST_TILT_DEG:
        return
    msg = (
        f"The hinge axis must lie level across the head to {MOST_TILT_DEG:g} deg, or the "
        f"jaw swings sideways past the chin; as placed it is {tilt:.1f} deg off."
    )
    if axis[0] <= 0:
        msg += " left_mm lies to the wearer's right of right_mm: are the two swapped?"
    else:
        msg += " Give both ends the same height and depth, or seat the piece straight."
    raise DesignError(msg)


def _mass(
    piece: Piece, placement: Placement, fittings: JawFittings
) -> tuple[float, FloatArray, tuple[str, ...]]:
    """Mass [g], its centre in the head frame [mm], and what had to be guessed."""
    notes = piece.design.notes
    jaw = piece.design.parts[str(notes.jaw_part)]
    sized = jaw.scaled(placement.size)
    cautions = []
    if sized.is_closed:
        volume, middle = abs(sized.volume_mm3), _volume_centre(sized.triangles)
    else:
        volume = sized.area_mm2 * piece.build_up.wall_mm
        share = sized.areas_mm2 / sized.area_mm2
        middle = share @ sized.centroids
    mass = volume / 1000.0 * USUAL_DENSITY_G_CM3
    centre = placement.rotation @ middle + placement.shift_mm
    if fittings.mass_g is None:
        cautions.append(
            f"The jaw's mass was worked out as {mass:.0f} g, at "
            f"{USUAL_DENSITY_G_CM3:g} g/cm³ and without what sits on it: weigh it, and "
            'give "mass_g" in the fittings.'
        )
    else:
        mass = fittings.mass_g
    if fittings.centre_mm is not None:
        centre = placement.to_head(fittings.centre_mm)
    return mass, centre, tuple(cautions)


def _volume_centre(triangles: FloatArray) -> FloatArray:
    """Centre of the volume that triangles (m, 3, 3) enclose, shape (3,). [mm]."""
    origin = triangles.mean(axis=(0, 1))
    a, b, c = np.moveaxis(triangles - origin, 1, 0)
    sixfold = np.einsum("ij,ij->i", a, np.cross(b, c))
    centre: FloatArray = origin + sixfold @ (a + b + c) / (4 * sixfold.sum())
    return centre
