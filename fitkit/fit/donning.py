"""Getting in and out: a way of the head through the neck opening, or why there is none."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit._entry import Entry, Panel
from fitkit.fit._passage import Passage, matrix_about
from fitkit.fit._press import GLASSES, Soft, zone_words
from fitkit.fit._route import Route, find_route
from fitkit.fit.donning_ways import (
    DonningWay,
    TightPlace,
    entry_of,
    find_ways,
    tight_place,
)
from fitkit.fit.placement import FloatArray, Placement
from fitkit.wearer.zones import ZONES

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece
    from fitkit.wearer.wearer import Wearer

#: What is said of every way in, whatever the figures.
ALWAYS: tuple[str, ...] = (
    "Never lock a back panel or a jaw on a person: every fastening must open from the "
    "inside, one-handed, without sight, and the wearer must get out alone.",
    "Try it with a helper, unfastened and in the light, before anyone performs in it; "
    "stop at pain, short breath or fear.",
    "This is about costume. It certifies nothing; local rules and the advice of "
    "qualified people come first.",
)
#: Moves that a brief may leave free, in the order of a pose.
MOVES: tuple[str, ...] = ("right", "front", "up", "pitch", "yaw", "roll")
#: A seat that presses the head by more than this at rest is no seat. [mm]
SEAT_PRESS_MM = 0.5
#: Poses at which the ease of each zone is told, at most.
_TOLD = 24


@dataclass(frozen=True, kw_only=True)
class DonningBrief:
    """
    How the piece goes on.

    Raises
    ------
    BriefError
        If a name is unknown or a number is out of range.
    """

    #: How far the head may be pressed on the way.
    soft: Soft = field(default_factory=Soft)
    #: Whether the jaw is pulled open by hand, where there is one.
    jaw_clear: bool = False
    #: How far it is pulled then; None = to its stop. [deg]
    jaw_deg: float | None = None
    #: What swings away to let the head in: a part's name, or a plane as drawn (a point
    #: and a normal that points to what swings away); None = nothing.
    back_open: str | Panel | None = None
    #: Whether the glasses of the record stay on.
    glasses_on: bool = True
    #: Moves of the piece besides up that the wearer's hands may make. Front and pitch are
    #: tried first, the others where those do not do.
    free: tuple[str, ...] = ("right", "front", "pitch", "yaw", "roll")
    #: Buckles, zips, magnets and the like that have to be opened to get out.
    fastenings: int = 0

    def __post_init__(self) -> None:
        for name in self.free:
            if name not in MOVES:
                msg = f"free names no move '{name}'. Moves: {', '.join(MOVES)}."
                raise BriefError(msg)
        in_range("fastenings", self.fastenings, low=0, high=100, unit="")
        if self.jaw_deg is not None:
            in_range("jaw_deg", self.jaw_deg, low=0, high=90, unit="deg")

    @property
    def free_moves(self) -> tuple[int, ...]:
        """Places of the free moves in a pose, up among them."""
        return tuple(sorted({2, *(MOVES.index(name) for name in self.free)}))

    def turn_deg(self, piece: Piece) -> float:
        """How far the jaw of a piece is pulled open, in deg."""
        if not self.jaw_clear or piece.hinge is None:
            return 0.0
        return piece.hinge.open_stop_deg if self.jaw_deg is None else self.jaw_deg


@dataclass(frozen=True, kw_only=True, eq=False)
class DonningPath:
    """Poses of the piece, from above the head down to its seat."""

    #: Moves from the seat, (n, 6): right, front, up [mm], pitch, yaw, roll [deg]; the
    #: last row is the seat. No rows if there is none.
    moves: FloatArray
    #: What the turns are about: the middle of the seated neck opening, head frame. [mm]
    pivot_mm: FloatArray
    #: Least gap at each pose to the head pressed as far as it gives way, exact over all
    #: triangles, layers taken off, (n,). [mm]
    gap_mm: FloatArray
    #: Gap vouched for on the way from each pose to the next, (n - 1,): no point of the
    #: wall goes far enough to leave less. Where a way is tight it may be a little below 0,
    #: though the poses themselves are not. [mm]
    between_mm: FloatArray
    #: Least ease of each zone along the way, head as worn; negative where it is pressed.
    #: Zones that the wall never comes near are left out. [mm]
    zone_ease_mm: Mapping[str, float]

    @property
    def least_mm(self) -> float:
        """Least gap along the way, nan if there is none, in mm."""
        return float(self.gap_mm.min()) if len(self.gap_mm) else float("nan")

    @property
    def matrices(self) -> FloatArray:
        """Rigid maps of the seated piece to each pose, head frame, (n, 4, 4)."""
        if not len(self.moves):
            return np.zeros((0, 4, 4))
        return np.stack([matrix_about(move, self.pivot_mm) for move in self.moves])


@dataclass(frozen=True, kw_only=True, eq=False)
class DonningReport:
    """Whether a piece goes on and comes off, and what would let it."""

    goes_on: bool
    path: DonningPath
    #: The tightest place of the way, or what stops it.
    tight: TightPlace
    #: Largest head, as a factor on this one, that was shown to pass; 1 or more if it
    #: goes on.
    largest_head_scale: float
    #: Changes that let it through, smallest first; empty if it goes on.
    ways: tuple[DonningWay, ...]
    #: What the head was taken to give way, in words.
    pressed: tuple[str, ...]
    #: How the wearer gets out, in words.
    out: tuple[str, ...]
    #: Human-readable cautions, the ones that always hold last.
    cautions: tuple[str, ...]


def donning_report(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    *,
    brief: DonningBrief | None = None,
) -> DonningReport:
    """
    Find how a piece goes on and comes off, or say what stops it.

    Parameters
    ----------
    wearer : Wearer
    piece : Piece
        With a neck opening that faces down.
    placement : Placement
        Its seat on the head.
    brief : DonningBrief, optional

    Raises
    ------
    DesignError
        If the piece has no neck opening, or a part that is to swing away is missing.
    BriefError
        If the seat itself presses into the head.

    Notes
    -----
    The head is taken off its neck, which bends out of the way. The piece moves as one
    rigid body; its finished wall, layers included, may touch the pressed head and no
    more. The head is out when a plane across the neck opening parts it from the wall.
    The same input gives the same way.

    A way that is found is proven, pose by pose. A refusal is not: it says that none of
    the widest ways over a lattice of 4 mm and 4 deg, each moved to where there is most
    room, lets the head through.
    """
    brief = DonningBrief() if brief is None else brief
    entry = entry_of(wearer, piece, placement, brief)
    passage = Passage(entry.wall, entry.head.pressed, free=brief.free_moves)
    _seat_must_fit(passage, entry)
    route = find_route(passage, entry.door)
    tight = tight_place(route, entry)
    ways: tuple[DonningWay, ...] = ()
    if not route.found:
        ways = find_ways(wearer, piece, placement, entry, passage, route, brief)
    return DonningReport(
        goes_on=route.found,
        path=_path(route, entry),
        tight=tight,
        largest_head_scale=1.0 if route.found else ways[0].head_scale,
        ways=ways,
        pressed=brief.soft.words,
        out=_out_words(route, brief),
        cautions=_cautions(route, brief, piece),
    )


def back_half(*, front_mm: float = 0.0) -> Panel:
    """
    Give the plane across the head behind which the back swings away.

    Parameters
    ----------
    front_mm : float
        Where it stands, on the piece as drawn. [mm]
    """
    return Panel(point_mm=(0.0, front_mm, 0.0), normal=(0.0, -1.0, 0.0))


def panel(*, point_mm: ArrayLike, normal: ArrayLike) -> Panel:
    """
    Give a split plane of the piece as drawn.

    Parameters
    ----------
    point_mm : array-like, shape (3,)
        A point of it. [mm]
    normal : array-like, shape (3,)
        Points to what swings away; any length but zero.
    """
    point, way = np.asarray(point_mm, dtype=float), np.asarray(normal, dtype=float)
    if point.shape != (3,) or way.shape != (3,) or not np.linalg.norm(way) > 0:
        msg = (
            f"A split plane needs a point and a normal of three numbers each, the normal "
            f"not zero; got {point_mm!r} and {normal!r}."
        )
        raise BriefError(msg)
    return Panel(point_mm=tuple(point.tolist()), normal=tuple(way.tolist()))


def _seat_must_fit(passage: Passage, entry: Entry) -> None:
    near = passage.near(np.zeros(6))
    if near.least_mm >= -SEAT_PRESS_MM:
        return
    row = int(near.room_mm.argmin())
    index = int(entry.head.zone[near.face[row]])
    right, front, up = np.round(near.head[row] + entry.middle) + 0.0
    cure = "Find a seat with ease first (solve_size), or make the piece larger there."
    if index == GLASSES:
        cure = (
            "Make room for them in the piece, wear smaller ones or contact lenses; "
            "glasses_on=False tells whether it goes on without them."
        )
    msg = (
        f"The seat itself is in clash: the finished wall is {-near.least_mm:.1f} mm inside "
        f"the pressed head at the {zone_words(index)}, near ({right:g}, {front:g}, "
        f"{up:g}) mm. {cure}"
    )
    raise BriefError(msg)


def _path(route: Route, entry: Entry) -> DonningPath:
    if not route.found:
        return DonningPath(
            moves=np.zeros((0, 6)),
            pivot_mm=entry.middle,
            gap_mm=np.zeros(0),
            between_mm=np.zeros(0),
            zone_ease_mm=MappingProxyType({}),
        )
    moves, gap = route.moves[::-1].copy(), route.gap_mm[::-1].copy()
    worn = Passage(entry.wall, entry.head.worn, free=(2,))  # as it is, not pressed
    told = np.unique(np.linspace(0, len(moves) - 1, _TOLD).round().astype(int))
    told = np.union1d(told, [int(gap.argmin())])
    least: dict[str, float] = {}
    for k in told:
        near = worn.near(moves[k])
        index = entry.head.zone[near.face]
        for zone in np.unique(index[index >= 0]):
            room = float(near.room_mm[index == zone].min())
            name = ZONES[int(zone)]
            least[name] = min(least.get(name, np.inf), room)
    ordered = {name: least[name] for name in ZONES if name in least}
    return DonningPath(
        moves=moves,
        pivot_mm=entry.middle,
        gap_mm=gap,
        between_mm=route.between_mm[::-1].copy(),
        zone_ease_mm=MappingProxyType(ordered),
    )


def _out_words(route: Route, brief: DonningBrief) -> tuple[str, ...]:
    if not route.found:
        return ("No way off was found: this piece must not be put on as it is.",)
    lift = float(route.moves[:, 2].max())
    nod = float(np.abs(route.moves[:, 3]).max())
    said = [
        f"Off is the same way back: lift by {lift:.0f} mm, nodding the piece by up to "
        f"{nod:.0f} deg; the wearer's own two hands do it."
    ]
    if brief.fastenings:
        said.append(f"Before that, {brief.fastenings} fastening(s) have to be opened.")
    if brief.jaw_clear:
        said.append("One hand holds the jaw open meanwhile, or a catch that it can undo.")
    turned = np.abs(route.moves[:, [0, 4, 5]]).max(axis=0)
    if turned.any():
        right, yaw, roll = turned
        said.append(
            f"It has to be moved out of the midplane too: up to {right:.0f} mm aside, "
            f"turned by {yaw:.0f} deg and leaned by {roll:.0f} deg."
        )
    if brief.back_open is not None:
        said.append("The back has to be open: it must open from the inside.")
    return tuple(said)


def _cautions(route: Route, brief: DonningBrief, piece: Piece) -> tuple[str, ...]:
    said = []
    if route.found and float(route.gap_mm.min()) < 1.0:
        said.append(
            f"Only {float(route.gap_mm.min()):.1f} mm are left at the tightest, with the "
            "head pressed: other hair or a warm day may stop it. Ask for 1 mm or more."
        )
    if brief.fastenings > 3:
        said.append(
            f"{brief.fastenings} fastenings take long in an emergency: group them on one "
            "pull that the wearer reaches."
        )
    if brief.jaw_clear and piece.hinge is None:
        said.append("The piece has no jaw to pull clear; it was left as drawn.")
    return (*said, *ALWAYS)
