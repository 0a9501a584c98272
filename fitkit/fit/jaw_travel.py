"""Does the piece's jaw follow the chin: slip, lift-off, squeeze and force at the pads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit.jaw_parts import HungJaw
from fitkit.fit.jaw_return import JawReturn
from fitkit.fit.placement import FloatArray
from fitkit.geometry.distance import SurfaceTree
from fitkit.wearer.jaw import ChinMotion
from fitkit.wearer.swing import Swing

if TYPE_CHECKING:
    from fitkit.wearer.wearer import Wearer

#: Squeeze of chin and pad that is still borne. [mm] Ours: about half of the soft tissue
#: over the chin (10 to 12 mm, from memory of profile analyses) and a firm pad give way.
BORNE_SQUEEZE_MM = 6.0
#: The jaw's turn is looked for this far to either side of the chin's. [deg]
_SEARCH_DEG = (-40.0, 70.0)
_HALVINGS = 60
#: A push whose arm about the hinge is no longer than this opens nothing. [mm]
LEAST_ARM_MM = 1e-6


@dataclass(frozen=True, kw_only=True, eq=False)
class Contact:
    """A place where the jaw touches the chin, teeth together, in the head frame."""

    name: str
    #: Point of the chin, shape (3,). [mm]
    at_mm: FloatArray
    #: Unit normal of the skin there, out of the head, shape (3,).
    outward: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class PadTravel:
    """What happens at one pad while the mouth opens."""

    contact: Contact
    #: How far the skin has slid along the pad, (k,): positive to the front under the
    #: chin, upward before it. [mm]
    slip_mm: FloatArray
    #: How far chin and pad press into each other, (k,); negative where they part. [mm]
    squeeze_mm: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class JawTravel:
    """The jaw of a piece following one chin, at k openings."""

    #: Turn of the wearer's jaw, (k,). [deg]
    chin_deg: FloatArray
    #: Opening between the wearer's front teeth, (k,). [mm]
    opening_mm: FloatArray
    #: Turn of the piece's jaw from as drawn, (k,). [deg]
    jaw_deg: FloatArray
    #: Opening of the piece's mouth seen from outside, (k,). [mm]
    seen_mm: FloatArray
    #: Pads; the first one carries the jaw.
    pads: tuple[PadTravel, ...]
    #: Force that the chin gives to the jaw, standing upright, (k,); nan if no strap. [N]
    chin_force_n: FloatArray
    #: Turn of the chin at which the jaw meets its open stop; nan if it does not. [deg]
    stopped_deg: float
    #: Largest opening between the teeth before a pad squeezes more than is borne. [mm]
    kept_opening_mm: float
    #: Opening of the piece's mouth at that opening. [mm]
    kept_seen_mm: float
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]

    @property
    def slip_mm(self) -> float:
        """Largest slip at any pad, in mm."""
        return max(float(np.abs(pad.slip_mm).max()) for pad in self.pads)

    @property
    def squeeze_mm(self) -> float:
        """Largest squeeze at any pad, 0 if none, in mm."""
        return max(0.0, *(float(pad.squeeze_mm.max()) for pad in self.pads))

    @property
    def lift_mm(self) -> float:
        """Largest parting at any pad, 0 if none, in mm."""
        return max(0.0, *(-float(pad.squeeze_mm.min()) for pad in self.pads))


def chin_contacts(wearer: Wearer, hung: HungJaw) -> tuple[Contact, ...]:
    """
    Find where the jaw's pads touch this chin.

    Pads of the fittings touch at the nearest point of the head; without any, the chin
    is held from below (menton) and from the front (pogonion).
    """
    tree = SurfaceTree(wearer.head)
    if not hung.fittings.pads:
        named = {"under the chin": "menton", "front of the chin": "pogonion"}
        points = [wearer.landmarks[mark] for mark in named.values()]
        names = list(named)
    else:
        names = [pad.name for pad in hung.fittings.pads]
        points = [hung.to_head(pad.at_mm) for pad in hung.fittings.pads]
    near = tree.nearest(np.array(points, dtype=float))
    contacts = []
    for name, point, face in zip(names, near.point, near.face, strict=True):
        normal = wearer.head.vertex_normals[wearer.head.faces[face]].sum(axis=0)
        contacts.append(
            Contact(name=name, at_mm=point, outward=normal / np.linalg.norm(normal))
        )
    return tuple(contacts)


def follow_chin(
    motion: ChinMotion,
    hung: HungJaw,
    contacts: Sequence[Contact],
    *,
    step_deg: float = 1.0,
    to_opening_mm: float | None = None,
    mouth_mm: FloatArray | None = None,
    closing: JawReturn | None = None,
) -> JawTravel:
    """
    Let the chin open the jaw, and see whether the two agree.

    Parameters
    ----------
    motion : ChinMotion
    hung : HungJaw
    contacts : sequence of Contact
        Pads; the first one carries the jaw.
    step_deg : float
        Step of the chin's turn, 0.05 to 5. [deg]
    to_opening_mm : float, optional
        Opening between the front teeth to go to; the wearer's largest if not given. [mm]
    mouth_mm : ndarray, shape (2, 3), optional
        A point of the jaw's lip and one of the shell's, in the head frame, jaw as drawn.
    closing : JawReturn, optional
        What closes the jaw, for the force at the chin.

    Raises
    ------
    BriefError
        If there is no contact, or a step is out of range.
    MeasureError
        If the wearer does not open so far.

    Notes
    -----
    A pad is a plane on the jaw that touches the skin's plane with the teeth together.
    The jaw turns just so far that the first pad's plane still holds the same point of
    the chin; what is left along the plane is slip. For a pad whose plane runs through
    the hinge that is the difference of the point's distances from the hinge. The other
    pads slip along their planes, and press or part across them. Beyond a stop the jaw
    stays, and the first pad presses as well.
    """
    in_range("step_deg", step_deg, low=0.05, high=5, unit="deg")
    if not contacts:
        msg = "follow_chin needs at least one contact between jaw and chin; got none."
        raise BriefError(msg)
    full = motion.full_deg
    if to_opening_mm is not None:
        full = motion.turn_for_opening_deg(to_opening_mm)
    turns = np.linspace(0.0, full, max(2, int(np.ceil(full / step_deg)) + 1))
    free = turned_by_chin(motion.swing, hung.swing, contacts[0], turns)
    jaw = np.clip(free, min(0.0, hung.close_stop_deg), hung.open_stop_deg)
    jaw[np.isnan(free)] = 0.0
    pads = tuple(_pad_travel(motion.swing, hung, c, turns, jaw) for c in contacts)
    opening = motion.opening_at_mm(turns)
    seen = _seen(hung.swing, jaw, mouth_mm)
    kept = _kept_rows(pads)
    return JawTravel(
        chin_deg=turns,
        opening_mm=opening,
        jaw_deg=jaw,
        seen_mm=seen,
        pads=pads,
        chin_force_n=_chin_force(hung, contacts[0], jaw, closing),
        stopped_deg=_stopped_deg(turns, free, hung.open_stop_deg),
        kept_opening_mm=float(opening[kept]),
        kept_seen_mm=float(seen[kept]),
        cautions=_cautions(hung, turns, free, opening, kept),
    )


def turned_by_chin(
    chin: Swing, jaw: Swing, contact: Contact, turns: FloatArray
) -> FloatArray:
    """
    Give the jaw's turn at which a pad still holds its point of the chin, (k,), in deg.

    nan where no turn does: the push runs through the hinge, or would close the jaw.
    """
    if _opening_arm(jaw, contact, np.zeros(1))[0] <= LEAST_ARM_MM:
        return np.full(len(turns), np.nan)
    at = (chin.matrix(turns) @ np.append(contact.at_mm, 1.0))[:, :3]
    if jaw.slide_mm.any() or jaw.bow_mm.any():
        return _turned_in_slots(jaw, contact, at, turns)
    return _turned_about_pivot(jaw, contact, at, turns)


def _turned_about_pivot(
    jaw: Swing, contact: Contact, chin_at: FloatArray, turns: FloatArray
) -> FloatArray:
    """Turns of a plain hinge in closed form: ``A cos t + B sin t = D`` for each row."""
    arm, normal, axis = chin_at - jaw.centre_mm, contact.outward, jaw.axis
    along = (normal @ axis) * axis
    cosine, sine = arm @ (normal - along), -arm @ np.cross(axis, normal)
    wanted = normal @ (contact.at_mm - jaw.centre_mm) - arm @ along
    reach = np.hypot(cosine, sine)
    meets = np.abs(wanted) <= reach
    share = np.divide(wanted, reach, out=np.zeros_like(reach), where=meets & (reach > 0))
    found = np.degrees(np.arctan2(sine, cosine) + np.arccos(np.clip(share, -1, 1)))
    off = (found - turns + 180.0) % 360.0 - 180.0
    held = meets & (off > _SEARCH_DEG[0]) & (off <= _SEARCH_DEG[1])
    return np.where(held, turns + off, np.nan)


def _turned_in_slots(
    jaw: Swing, contact: Contact, chin_at: FloatArray, turns: FloatArray
) -> FloatArray:
    """Turns of a hinge that slides as it turns, by halving."""
    low, high = turns + _SEARCH_DEG[0], turns + _SEARCH_DEG[1]
    start, end = (_pressed(jaw, contact, chin_at, t) for t in (low, high))
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        pressed = _pressed(jaw, contact, chin_at, middle) > 0
        low, high = np.where(pressed, middle, low), np.where(pressed, high, middle)
    return np.where((start > 0) & (end <= 0), (low + high) / 2, np.nan)


def pressure_arm_mm(hung: HungJaw, contact: Contact, jaw_deg: FloatArray) -> FloatArray:
    """Give the arm of the chin's push about the hinge, opening positive, (k,), in mm."""
    return _opening_arm(hung.swing, contact, jaw_deg)


def _opening_arm(jaw: Swing, contact: Contact, jaw_deg: FloatArray) -> FloatArray:
    at, outward = _carried(jaw, contact, jaw_deg)
    arm = at - jaw.centre_mm - jaw.slid_mm(jaw_deg)
    opening: FloatArray = -np.cross(arm, outward) @ jaw.axis
    return opening


def _carried(
    jaw: Swing, contact: Contact, turns: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Pad point and its normal, carried with the jaw, each (k, 3)."""
    matrix = jaw.matrix(turns)
    at = (matrix @ np.append(contact.at_mm, 1.0))[:, :3]
    return at, matrix[:, :3, :3] @ contact.outward


def _pressed(
    jaw: Swing, contact: Contact, chin_at: FloatArray, t: FloatArray
) -> FloatArray:
    """How far points of the chin (k, 3) are beyond the carried pad's plane. [mm]."""
    pad, outward = _carried(jaw, contact, t)
    pressed: FloatArray = np.einsum("ij,ij->i", chin_at - pad, outward)
    return pressed


def _pad_travel(
    chin: Swing, hung: HungJaw, contact: Contact, turns: FloatArray, jaw: FloatArray
) -> PadTravel:
    at = (chin.matrix(turns) @ np.append(contact.at_mm, 1.0))[:, :3]
    pad, outward = _carried(hung.swing, contact, jaw)
    along = np.cross(hung.swing.axis, outward)
    along /= np.linalg.norm(along, axis=1)[:, None]
    off = at - pad
    slip = np.einsum("ij,ij->i", off, along)
    squeeze = np.einsum("ij,ij->i", off, outward)
    play = hung.fittings.play_mm
    squeeze = np.sign(squeeze) * np.maximum(np.abs(squeeze) - play, 0.0)
    return PadTravel(contact=contact, slip_mm=slip, squeeze_mm=squeeze)


def _stopped_deg(turns: FloatArray, free: FloatArray, stop_deg: float) -> float:
    """Turn of the chin at which the jaw meets its open stop; nan if it does not."""
    beyond = np.nonzero(free > stop_deg + 1e-9)[0]
    if not len(beyond):
        return float("nan")
    rows = [max(0, int(beyond[0]) - 1), int(beyond[0])]
    return float(np.interp(stop_deg, free[rows], turns[rows]))


def _seen(jaw: Swing, turns: FloatArray, mouth_mm: FloatArray | None) -> FloatArray:
    if mouth_mm is None:
        return np.full(len(turns), np.nan)
    moved = (jaw.matrix(turns) @ np.append(mouth_mm[0], 1.0))[:, :3]
    seen: FloatArray = np.linalg.norm(moved - mouth_mm[1], axis=1)
    return seen


def _kept_rows(pads: Sequence[PadTravel]) -> int:
    """Last row before any pad squeezes more than is borne."""
    worst = np.max([pad.squeeze_mm for pad in pads], axis=0)
    beyond = np.nonzero(worst > BORNE_SQUEEZE_MM)[0]
    return max(0, int(beyond[0]) - 1) if len(beyond) else len(worst) - 1


def _chin_force(
    hung: HungJaw, contact: Contact, jaw: FloatArray, closing: JawReturn | None
) -> FloatArray:
    if closing is None or not closing.straps:
        return np.full(len(jaw), np.nan)
    name = "upright" if "upright" in closing.net_nmm else next(iter(closing.net_nmm))
    left = np.interp(jaw, closing.jaw_deg, closing.net_nmm[name])
    arm = pressure_arm_mm(hung, contact, jaw)
    given = np.maximum(left, 0.0) / np.where(arm > 0, arm, 1.0)
    return np.where(arm > 0, given, np.nan)


def _cautions(
    hung: HungJaw,
    turns: FloatArray,
    free: FloatArray,
    opening: FloatArray,
    kept: int,
) -> tuple[str, ...]:
    said = []
    if np.isnan(free[1:]).any():
        said.append(
            "The chin's push runs through the hinge, or past it: this pad cannot open the "
            "jaw. Move the pad forward, or the hinge."
        )
    if np.nanmax(free, initial=0.0) > hung.open_stop_deg + 1e-9:
        at = float(np.interp(hung.open_stop_deg, free, turns))
        said.append(
            f"The open stop at {hung.open_stop_deg:.0f} deg is met when the chin has "
            f"turned {at:.0f} of {turns[-1]:.0f} deg; from there the jaw holds the chin."
        )
    elif np.nanmax(free, initial=0.0) < hung.open_stop_deg - 1.0:
        said.append(
            f"The jaw's travel of {hung.open_stop_deg:.0f} deg is more than this wearer's "
            f"chin opens it, {np.nanmax(free, initial=0.0):.0f} deg: the rest goes unused."
        )
    if kept < len(opening) - 1:
        said.append(
            f"Beyond {opening[kept]:.0f} mm between the teeth a pad squeezes more than "
            f"{BORNE_SQUEEZE_MM:g} mm: the wearer cannot yawn or call out freely inside."
        )
    return tuple(said)
