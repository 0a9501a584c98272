"""Padding: where a piece settles on its pads, how it presses, and how still it sits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from fitkit.fit._checks import in_range
from fitkit.fit._contact import N_PER_KPA_MM2, Contacts, Pose, Walls
from fitkit.fit._hold import grip_wanted, slip_margin, wobble_deg_per_nm
from fitkit.fit._pad_words import check_reach, settled_words
from fitkit.fit._settle import BALANCED, ROUNDS, FindWalls, Load, Rest
from fitkit.fit._settle import settle as _come_to_rest
from fitkit.fit.balance import CONDYLES_MM, GRAVITY, POSTURES, Posture
from fitkit.fit.pads import (
    HeadInPiece,
    Pad,
    gaps_mm,
    head_in_piece,
    pad_bodies,
    within_reach,
)
from fitkit.fit.placement import FloatArray, Placement
from fitkit.geometry.mesh import BoolArray, IntArray
from fitkit.piece.buildup import Piece
from fitkit.piece.mass import MassProperties, Weighing
from fitkit.wearer.wearer import Wearer

#: Pressure at which small vessels of the skin are said to close: 32 mmHg, E. M. Landis
#: (1930), seen second-hand; reported anywhere from under 20 to over 40 mmHg. A guide to
#: comfort, not a limit. [kPa]
GUIDE_KPA = 4.2663
#: A pad whose contact is less than this share of itself has lost it.
LOST_SHARE = 0.02
#: Distance ahead of the eyes at which the eye line's shift is read. [mm]
AHEAD_MM = 40.0
#: Times that a piece is wriggled into place, to this balance and until it moves less.
SEATINGS, SEATED, SEATED_MM = 5, 1e-3, 0.1
AXES = ("pitch", "yaw", "roll")


@dataclass(frozen=True, kw_only=True)
class Case:
    """
    A posture of the head, and how it is being turned.

    Raises
    ------
    BriefError
        If an acceleration is beyond 200 rad/s², or a speed beyond 40 rad/s.
    """

    name: str
    posture: Posture = field(default_factory=Posture)
    #: Angular acceleration of the head about the condyles: chin down positive. [rad/s²]
    nod_rad_s2: float = 0.0
    #: About the upright axis: to the wearer's left positive. [rad/s²]
    turn_rad_s2: float = 0.0
    #: Angular speed at that moment, which throws the piece outward. [rad/s]
    nod_rad_s: float = 0.0
    turn_rad_s: float = 0.0

    def __post_init__(self) -> None:
        for name in ("nod_rad_s2", "turn_rad_s2"):
            value = getattr(self, name)
            in_range(name, value, low=-200, high=200, unit="rad/s²")
        for name in ("nod_rad_s", "turn_rad_s"):
            cure = "Is that deg/s? 1 rad/s is 57.3 deg/s."
            value = getattr(self, name)
            in_range(name, value, low=-40, high=40, unit="rad/s", cure=cure)

    def load(self, mass: MassProperties, pose: Placement) -> Load:
        """Give weight and inertia of a piece at a pose, in the head frame."""
        kilograms = mass.mass_g / 1000.0
        gains = np.array([-self.nod_rad_s2, 0.0, self.turn_rad_s2])
        spin = np.array([-self.nod_rad_s, 0.0, self.turn_rad_s])
        arm = pose.rotation @ mass.centre_mm + pose.shift_mm - np.asarray(CONDYLES_MM)
        pushed = np.cross(gains, arm) + np.cross(spin, np.cross(spin, arm))
        force = kilograms * (GRAVITY * self.posture.down - pushed / 1000.0)  # [m/s²]
        inertia = pose.rotation @ mass.inertia_g_mm2 @ pose.rotation.T
        torque = inertia @ gains + np.cross(spin, inertia @ spin)
        return Load(force, -torque * 1e-6, mass.centre_mm)


#: Postures of ``POSTURES``, a brisk nod and a brisk turn (20 rad/s²: from memory of
#: head movements in walking and looking about).
CASES: tuple[Case, ...] = (
    *(Case(name=name, posture=posture) for name, posture in POSTURES.items()),
    Case(name="nod", nod_rad_s2=20.0),
    Case(name="turn", turn_rad_s2=20.0),
)


@dataclass(frozen=True, kw_only=True, eq=False)
class PadState:
    """What one pad does when the piece has settled."""

    #: Of the pad; "bare wall" for wherever the wall itself presses.
    name: str
    #: Area of head under it, and how much of that is pressed. [mm²]
    area_mm2: float
    contact_mm2: float
    #: Sum of its pushes, and its share of those of all pads.
    force_n: float
    share: float
    #: Largest and mean pressure where it touches; 0 if nowhere. [kPa]
    peak_kpa: float
    mean_kpa: float
    #: Largest compression, as a share of its thickness.
    most_strain: float
    #: Mean compression where it touches.
    mean_strain: float
    #: Sideways force that the load asks over what friction can hold; 1 is slipping.
    grip_used: float
    #: Whether it hardly touches any more.
    lost: bool
    #: Whether it is pressed beyond what its foam's curve says anything about.
    bottomed: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class Settled:
    """Where the piece sits in one case, and how it presses."""

    case: Case
    #: The settled pose, same size.
    placement: Placement
    #: How far the wall ahead of the eyes has moved: right, front, up, (3,). [mm]
    eye_line_shift_mm: FloatArray
    #: Pressure at each head vertex, shape (n,); 0 where nothing presses. [kPa]
    pressure_kpa: FloatArray
    pads: tuple[PadState, ...]
    peak_kpa: float
    #: Head point of the peak, shape (3,). [mm]
    peak_at_mm: FloatArray
    mean_kpa: float
    #: Area pressed beyond the guide of 4.27 kPa. [mm²]
    over_guide_mm2: float
    #: Share of friction that the load leaves unused where it leaves least; 0 or less is
    #: slipping.
    slip_margin: float
    #: How far it rocks under one newton metre: pitch, yaw, roll. [deg/(N m)]
    wobble_deg_per_nm: Mapping[str, float]
    #: Unbalanced force, or moment over 100 mm, over the load.
    residual: float
    #: Total of forces on the piece from the head, and moment about the head's origin,
    #: each of shape (3,). [N, N mm]
    force_n: FloatArray
    moment_n_mm: FloatArray
    #: Energy after each step, one tuple a round of friction. [N mm]
    energies_n_mm: tuple[tuple[float, ...], ...]
    #: Whether it comes to rest; if not, all else is where it was given up.
    holds: bool
    #: What to look at, in words; empty means nothing.
    cautions: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Padding:
    """One set of pads in every case."""

    pads: tuple[Pad, ...]
    #: Piece with its pads, piece axes. [g, mm]
    mass: MassProperties
    #: By case, in the order asked.
    settled: Mapping[str, Settled]

    @property
    def peak_kpa(self) -> float:
        """Largest pressure in any case, in kPa."""
        return max(one.peak_kpa for one in self.settled.values())

    @property
    def holds(self) -> bool:
        """Whether it comes to rest in every case."""
        return all(one.holds for one in self.settled.values())


def pad_out(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    pads: Sequence[Pad],
    weighing: Weighing,
    cases: Sequence[Case] = CASES,
) -> Padding:
    """
    Let a piece settle on its pads in every case.

    Parameters
    ----------
    wearer : Wearer
        With n head vertices.
    piece : Piece
    placement : Placement
        Where it is put on; it settles from there.
    pads : sequence of Pad
        Where several lie on one another, the first counts.
    weighing : Weighing
        Of the piece, without pads, at the size of the placement.
    cases : sequence of Case

    Returns
    -------
    Padding

    Raises
    ------
    BriefError
        If no pad reaches the head, or one is pressed at the start beyond what its foam
        can be.

    Notes
    -----
    The piece is a rigid body; every head vertex under a pad presses its own column of
    foam along the line to the nearest wall (a Winkler bed: no skin, no sideways spread).
    Each column also holds sideways, as foam in shear from where it sat, up to
    Coulomb's limit. It is first wriggled into place upright, until its pads are hardly
    sheared; every case starts from there. Where the wall is bare, 3 mm of skin give
    way. Rest is where the energy of foam, friction and weight is least for friction
    limits that belong to it.
    """
    head, walls = within_reach(*head_in_piece(wearer, piece, placement), pads)
    whole = weighing.plus(*pad_bodies(wearer, pads, placement)).total
    task = make_task(head, pads, walls, whole, _remembering(head, walls))
    seat = seated(task)
    found = {case.name: settled(task, case, seat) for case in cases}
    return Padding(pads=tuple(pads), mass=whole, settled=MappingProxyType(found))


def _remembering(head: HeadInPiece, walls: Walls) -> FindWalls:
    """Find walls, the ones already known at the start for nothing."""
    start = head.start
    return lambda pose: walls if _same(pose, start) else head.walls(pose)


def _same(one: Pose, other: Pose) -> bool:
    return bool(np.all(one.turn == other.turn) and np.all(one.shift == other.shift))


@dataclass(frozen=True, eq=False)
class Task:
    """One set of pads on one head in one piece, ready to be loaded: arrays only."""

    contacts: Contacts
    #: Pad of each contact; the last number is the bare wall. Shape (n,).
    owner: IntArray
    #: Names of the pads, and of the bare wall.
    names: tuple[str, ...]
    #: Head vertex of each contact, shape (n,), and how many vertices there are.
    rows: IntArray
    vertices: int
    placement: Placement
    #: Point ahead of the eyes, head frame, shape (3,). [mm]
    ahead: FloatArray
    #: Piece with pads, piece axes.
    mass: MassProperties
    find: FindWalls
    #: Whether planes are found anew as the piece moves.
    exact: bool = True
    balanced: float = BALANCED
    rounds: int = ROUNDS
    seatings: int = SEATINGS

    @property
    def start(self) -> Pose:
        """The pose of the placement."""
        pose = self.placement
        return Pose(pose.rotation, pose.shift_mm, np.zeros(3))

    def eye_line_shift(self, settled: Placement) -> FloatArray:
        """How far the wall ahead of the eyes has moved, shape (3,). [mm]."""
        moved: FloatArray = settled.to_head(self.placement.to_piece(self.ahead))
        return moved - self.ahead

    def come_to_rest(self, case: Case, pose: Pose, *, balanced: float) -> Rest:
        """Load the piece from a pose on."""
        placement = placement_of(pose, self.placement.size)
        load = case.load(self.mass, placement)
        return _come_to_rest(
            self.contacts, load, pose, self.find,
            exact=self.exact, balanced=balanced, rounds=self.rounds,
        )  # fmt: skip


def make_task(
    head: HeadInPiece,
    pads: Sequence[Pad],
    walls: Walls,
    mass: MassProperties,
    find: FindWalls,
) -> Task:
    """Make a task of pads that reach the head; raises BriefError for those that do not."""
    contacts, owner = head.contacts(pads, walls), head.owners(pads)
    gap = gaps_mm(head.start.local(contacts.point), walls)
    check_reach(pads, owner, contacts, gap)
    wearer = head.wearer
    eyes = (wearer.eye_left.entrance_pupil + wearer.eye_right.entrance_pupil) / 2
    return Task(
        contacts=contacts,
        owner=owner,
        names=(*(pad.name for pad in pads), "bare wall"),
        rows=head.rows,
        vertices=len(wearer.zone),
        placement=head.placement,
        ahead=eyes + np.array([0.0, AHEAD_MM, 0.0]),
        mass=mass,
        find=find,
    )


def seated(task: Task, put_on: Pose | None = None) -> Pose:
    """
    Find where the piece sits once the wearer has moved about a little.

    It settles upright from `put_on`, or from where it was placed, and what its pads have
    been sheared by is let go, a few times over: as when a mask is wriggled into place.
    """
    pose = put_on or task.start
    for _ in range(task.seatings):
        rest = task.come_to_rest(Case(name="seat"), pose, balanced=SEATED)
        if not rest.rests:
            return pose
        still = np.linalg.norm(rest.pose.shift - pose.shift) < SEATED_MM
        pose = rest.pose
        if still:
            break
    return pose


def settled(task: Task, case: Case, seat: Pose) -> Settled:
    """Load a seated piece, and say all about where it comes to rest."""
    contacts = task.contacts
    rest = task.come_to_rest(case, seat, balanced=task.balanced)
    wanted = grip_wanted(contacts, rest.pressing, rest.grip)
    wobble = wobble_deg_per_nm(rest.stiffness).tolist()
    states = tuple(
        _pad_state(name, task.owner == index, contacts, rest, wanted)
        for index, name in enumerate(task.names)
    )
    area = np.maximum(contacts.area, 1e-9)
    pressure = rest.pressing.normal / area / N_PER_KPA_MM2
    on_head = np.zeros(task.vertices)
    on_head[task.rows] = pressure
    peak = int(np.argmax(pressure))
    touched = float(contacts.area[pressure > 0].sum())
    total = float(rest.pressing.normal.sum())
    placement = placement_of(rest.pose, task.placement.size)
    force, moment = _on_piece(contacts, rest)
    shift = task.eye_line_shift(placement)
    return Settled(
        case=case,
        placement=placement,
        eye_line_shift_mm=shift,
        pressure_kpa=on_head,
        pads=states,
        peak_kpa=float(pressure[peak]),
        peak_at_mm=contacts.point[peak],
        mean_kpa=total / touched / N_PER_KPA_MM2 if touched else 0.0,
        over_guide_mm2=float(contacts.area[pressure > GUIDE_KPA].sum()),
        slip_margin=float(slip_margin(wanted, rest.grip)),
        wobble_deg_per_nm=MappingProxyType(dict(zip(AXES, wobble, strict=True))),
        residual=rest.residual,
        force_n=force,
        moment_n_mm=moment,
        energies_n_mm=rest.energies,
        holds=rest.rests,
        cautions=tuple(settled_words(states, shift, rests=rest.rests)),
    )


def _pad_state(
    name: str,
    mine: BoolArray,
    contacts: Contacts,
    rest: Rest,
    wanted: FloatArray,
) -> PadState:
    touched = mine & (rest.pressing.normal > 0)
    area, normal = contacts.area[touched], rest.pressing.normal[touched]
    strain = rest.pressing.strain[touched]
    all_area, force = float(contacts.area[mine].sum()), float(normal.sum())
    most = float(strain.max(initial=0.0))
    limit = float(rest.grip.limit[mine].sum())
    return PadState(
        name=name,
        area_mm2=all_area,
        contact_mm2=float(area.sum()),
        force_n=force,
        share=force / max(float(rest.pressing.normal.sum()), 1e-12),
        peak_kpa=float((normal / area).max(initial=0.0)) / N_PER_KPA_MM2,
        mean_kpa=force / max(float(area.sum()), 1e-12) / N_PER_KPA_MM2,
        most_strain=most,
        mean_strain=float(strain @ area) / max(float(area.sum()), 1e-12),
        grip_used=float(wanted[mine].sum()) / max(limit, 1e-12),
        lost=float(area.sum()) < LOST_SHARE * all_area,
        bottomed=most > _most_strain(contacts, mine),
    )


def _most_strain(contacts: Contacts, mine: BoolArray) -> float:
    kinds = np.unique(contacts.kind[mine])
    return min((contacts.foams[kind].most_strain for kind in kinds), default=1.0)


def _on_piece(contacts: Contacts, rest: Rest) -> tuple[FloatArray, FloatArray]:
    slope, _ = rest.grip.slope(rest.grip.length(rest.pressing))
    push = slope[:, None] * rest.pressing.slid
    push = push - rest.pressing.normal[:, None] * rest.pressing.away
    return push.sum(axis=0), np.cross(contacts.point, push).sum(axis=0)


def band_kpa(*, tension_n: float, radius_mm: float, width_mm: float) -> float:
    """
    Give the pressure of a strap drawn over a round head: p = T / (R w), in kPa.

    Examples
    --------
    >>> round(band_kpa(tension_n=5, radius_mm=90, width_mm=25), 4)
    2.2222
    """
    in_range("radius_mm", radius_mm, low=20, high=500, unit="mm")
    in_range("width_mm", width_mm, low=2, high=300, unit="mm")
    return tension_n / (radius_mm * width_mm) / N_PER_KPA_MM2


def placement_of(pose: Pose, size: FloatArray) -> Placement:
    """Give a pose as pitch, yaw and roll (yaw, then pitch, then roll)."""
    turn = pose.turn
    return Placement(
        size=size,
        shift_mm=pose.shift,
        pitch_deg=float(-np.degrees(np.arcsin(np.clip(turn[2, 1], -1, 1)))),
        yaw_deg=float(np.degrees(np.arctan2(-turn[0, 1], turn[1, 1]))),
        roll_deg=float(np.degrees(np.arctan2(-turn[2, 0], turn[2, 2]))),
    )
