"""How a piece loads the neck: moments about the joint, what is on or off, counterweight."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit.placement import FloatArray, Placement, rotation_matrix
from fitkit.piece.mass import Body, MassProperties, Weighing, combined, point_mass

#: Standard gravity. [m/s²]
GRAVITY = 9.80665
#: The occipital condyles, on which the head nods: midway, 11 mm behind and 26 mm below
#: the tragia. From memory of the US Naval Biodynamics Laboratory's work on head inertia
#: (C. L. Ewing and others) and later surveys of it. [mm]
CONDYLES_MM = (0.0, -11.0, -26.0)
#: A head of 4.5 kg, centred 8 mm ahead of and 31 mm above the tragia: from memory of the
#: same works. Radii of gyration 68.9, 71.8 and 58.5 mm: G. Beier et al. (1980), abstract.
HEAD_MASS_G, HEAD_CENTRE_MM = 4500.0, (0.0, 8.0, 31.0)
HEAD_GYRATION_MM = (71.8, 68.9, 58.5)
#: Weight moment at which dismounted soldiers did about a tenth worse: preliminary
#: guidance, S. Madison et al., Mil. Med. 188(S6), 520 (2023), abstract. [N cm]
SOLDIER_MOMENT_N_CM = 134.0
#: Aviators' performance moment, from memory of US Army aeromedical reports. [N cm]
AVIATOR_MOMENT_N_CM = 83.0
#: Mass that not all of 16 people wore for two hours: D. Odell and C. Dorbala, Work 77,
#: 651 (2024), abstract. [g]
TWO_HOURS_MASS_G = 500.0
#: A counterweight heavier than this is no answer. [g]
MOST_COUNTERWEIGHT_G = 5000.0
#: A place must lie at least this far on the other side for a counterweight. [mm]
LEAST_LEVER_MM = 5.0


@dataclass(frozen=True, kw_only=True)
class Posture:
    """How the head is held, turned about the condyles from upright."""

    #: Chin down positive. [deg]
    pitch_deg: float = 0.0
    #: Tilted to the wearer's right positive. [deg]
    roll_deg: float = 0.0

    def __post_init__(self) -> None:
        in_range("pitch_deg", self.pitch_deg, low=-90, high=90, unit="deg")
        in_range("roll_deg", self.roll_deg, low=-90, high=90, unit="deg")

    @property
    def down(self) -> FloatArray:
        """Direction of gravity in the head's own axes, shape (3,)."""
        turn = rotation_matrix(self.pitch_deg, 0.0, self.roll_deg)
        down: FloatArray = turn.T @ np.array([0.0, 0.0, -1.0])
        return down


#: Postures that every balance answers for.
POSTURES: Mapping[str, Posture] = MappingProxyType(
    {
        "upright": Posture(),
        "bowed": Posture(pitch_deg=30),
        "tilted": Posture(roll_deg=20),
        "looking up": Posture(pitch_deg=-30),
    }
)


@dataclass(frozen=True, kw_only=True)
class NeckLoad:
    """Moment of the piece's weight about the condyles in one posture."""

    #: Positive pulls the chin down. [N cm]
    forward_n_cm: float
    #: Positive tilts the head to the wearer's right. [N cm]
    right_n_cm: float

    @property
    def total_n_cm(self) -> float:
        """Size of the moment, whatever its direction, in N cm."""
        return float(np.hypot(self.forward_n_cm, self.right_n_cm))


@dataclass(frozen=True, kw_only=True, eq=False)
class Balance:
    """How one placed piece loads the neck."""

    #: The piece alone, head frame. [g, mm, g mm²]
    piece: MassProperties
    #: Piece and head together, head frame.
    with_head: MassProperties
    #: Share of the nodding inertia about the condyles that the piece adds. [percent]
    nod_inertia_percent: float
    #: Load by posture, in the order of ``POSTURES``.
    loads: Mapping[str, NeckLoad]
    #: Published figures beside it, in words: context, never a pass.
    context: tuple[str, ...]
    #: What to look out for; empty means nothing.
    cautions: tuple[str, ...]

    @property
    def worst(self) -> str:
        """Posture with the largest moment."""
        return max(self.loads, key=lambda name: self.loads[name].total_n_cm)


@dataclass(frozen=True, kw_only=True, eq=False)
class Counterweight:
    """A mass at a place that takes the forward moment away, and what it costs."""

    #: Where, head frame, shape (3,). [mm]
    at_mm: FloatArray
    #: Mass to add there. [g]
    mass_g: float
    before: Balance
    after: Balance


@dataclass(frozen=True, kw_only=True, eq=False)
class OnAndOff:
    """A piece with and without something that comes off."""

    names: tuple[str, ...]
    on: Balance
    off: Balance
    #: What comes off. [g]
    mass_g: float
    #: How far the piece's centre of mass moves when it comes off, shape (3,). [mm]
    centre_shift_mm: FloatArray


def balance(weighing: Weighing, placement: Placement | None = None) -> Balance:
    """
    Say how a placed piece loads the neck.

    Parameters
    ----------
    weighing : Weighing
        From `weigh`, at the size of the placement.
    placement : Placement, optional
        Its pose; upright at the origin if left out.

    Returns
    -------
    Balance
        Moments about the occipital condyles in every posture of ``POSTURES``.

    Notes
    -----
    Where the condyles lie in this wearer nobody can see from outside; 10 mm farther back
    adds 1 N cm for every 100 g. The figures beside it are for trained adults with fastened
    helmets, and are context only.
    """
    pose = placement or Placement()
    return balance_of(weighing.total.moved(rotation=pose.rotation, shift_mm=pose.shift_mm))


def balance_of(piece: MassProperties) -> Balance:
    """Say how a mass in the head frame loads the neck; as `balance`."""
    loads = {name: neck_load(piece, posture) for name, posture in POSTURES.items()}
    head = head_mass()
    nod = [mass.inertia_about(CONDYLES_MM)[0, 0] for mass in (piece, head)]
    return Balance(
        piece=piece,
        with_head=combined([head, piece]),
        nod_inertia_percent=100.0 * float(nod[0] / nod[1]),
        loads=MappingProxyType(loads),
        context=_context(loads),
        cautions=_cautions(piece, loads),
    )


def neck_load(piece: MassProperties, posture: Posture) -> NeckLoad:
    """Give the moment of a mass in the head frame about the condyles in a posture."""
    arm = (piece.centre_mm - np.asarray(CONDYLES_MM)) / 10.0  # [cm]
    weight = piece.mass_g / 1000.0 * GRAVITY * posture.down  # [N]
    moment = np.cross(arm, weight)
    return NeckLoad(forward_n_cm=float(-moment[0]), right_n_cm=float(moment[1]))


def head_mass() -> MassProperties:
    """Give the mass of an average head, in the head frame."""
    gyration = np.square(HEAD_GYRATION_MM)
    return MassProperties(
        mass_g=HEAD_MASS_G,
        centre_mm=np.array(HEAD_CENTRE_MM),
        inertia_g_mm2=HEAD_MASS_G * np.diag(gyration),
    )


def counterweight(
    weighing: Weighing, placement: Placement | None = None, *, at_mm: ArrayLike
) -> Counterweight:
    """
    Find the mass at a place that takes the upright forward moment away.

    Parameters
    ----------
    weighing : Weighing
    placement : Placement, optional
    at_mm : array-like, shape (3,)
        Place in the head frame. [mm]

    Raises
    ------
    BriefError
        If the place lies on the heavy side of the neck, or too near it to help.
    """
    before, pose = balance(weighing, placement), placement or Placement()
    place = np.asarray(at_mm, dtype=float)
    lever = float(before.piece.centre_mm[1] - CONDYLES_MM[1])
    arm = float(place[1] - CONDYLES_MM[1])
    side = "behind" if lever > 0 else "ahead of"
    limit = CONDYLES_MM[1] - np.copysign(LEAST_LEVER_MM, lever)
    if arm * lever > 0 or abs(arm) < LEAST_LEVER_MM:
        msg = (
            f"at_mm must lie {side} the condyles (front beyond {limit:g} mm) to even this "
            f"piece; got front {place[1]:g} mm, which adds to the moment or hardly turns."
        )
        raise BriefError(msg)
    mass = -before.piece.mass_g * lever / arm
    in_range("counterweight mass_g", mass, low=0, high=MOST_COUNTERWEIGHT_G, unit="g")
    added = point_mass(mass_g=mass, at_mm=pose.to_sized(place))
    body = Body(name="counterweight", kind="counterweight", mass=added)
    after = balance(weighing.plus(body), placement)
    return Counterweight(at_mm=place, mass_g=mass, before=before, after=after)


def on_and_off(
    weighing: Weighing, placement: Placement | None = None, *, names: tuple[str, ...]
) -> OnAndOff:
    """
    Compare a piece with and without bodies that come off, such as horns for travel.

    Raises
    ------
    DesignError
        If a name is unknown.
    """
    on = balance(weighing, placement)
    off = balance(weighing.without(*names), placement)
    return OnAndOff(
        names=names,
        on=on,
        off=off,
        mass_g=on.piece.mass_g - off.piece.mass_g,
        centre_shift_mm=off.piece.centre_mm - on.piece.centre_mm,
    )


def _context(loads: Mapping[str, NeckLoad]) -> tuple[str, ...]:
    upright = abs(loads["upright"].forward_n_cm)
    worst = max(load.total_n_cm for load in loads.values())
    return (
        f"Upright {upright:.0f} N cm, at worst {worst:.0f} N cm. Preliminary guidance "
        f"for soldiers on foot: about a tenth worse at {SOLDIER_MOMENT_N_CM:g} N cm. "
        f"Aviators (from memory): {AVIATOR_MOMENT_N_CM:g} N cm. Both are for trained "
        "adults with fastened helmets: context, not a pass.",
    )


def _cautions(piece: MassProperties, loads: Mapping[str, NeckLoad]) -> tuple[str, ...]:
    words = []
    if piece.mass_g > TWO_HOURS_MASS_G:
        words.append(
            f"At {piece.mass_g:.0f} g plan breaks: of 16 people not all kept even "
            f"{TWO_HOURS_MASS_G:g} g of headset on for two hours."
        )
    for name, load in loads.items():
        if load.total_n_cm > SOLDIER_MOMENT_N_CM:
            words.append(
                f"When {name} it pulls with {load.total_n_cm:.0f} N cm, beyond the "
                f"{SOLDIER_MOMENT_N_CM:g} N cm at which fit soldiers did worse: shorten "
                "the wear, lighten what sticks out, or carry it on the shoulders."
            )
    side = loads["upright"].right_n_cm
    if abs(side) > 0.1 * AVIATOR_MOMENT_N_CM:
        where = "right" if side > 0 else "left"
        words.append(f"It is heavier on the wearer's {where}: {abs(side):.0f} N cm.")
    return tuple(words)
