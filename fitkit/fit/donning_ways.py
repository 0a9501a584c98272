"""What stops a head, how large a one would pass, and the smallest change that lets it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy.spatial import cKDTree

from fitkit.fit._entry import Entry, Panel, make_entry
from fitkit.fit._passage import Passage, matrix_of
from fitkit.fit._press import zone_words
from fitkit.fit._route import Route, find_route
from fitkit.fit.placement import FloatArray, Placement

if TYPE_CHECKING:
    from fitkit.fit.donning import DonningBrief
    from fitkit.piece.buildup import Piece
    from fitkit.wearer.wearer import Wearer

#: A tight place this near to the neck opening's rim is cured at the rim. [mm]
AT_RIM_MM = 25.0
#: The largest head is found to this share.
SCALE_STEP = 0.015
#: The smallest head that is tried, as a factor on this one.
LEAST_SCALE = 0.6
#: Shares of the jaw's way to its stop that are tried, the smallest first.
JAW_SHARES = (0.5, 1.0)
#: Room asked of a change, beyond touching. [mm]
SPARE_MM = 1.0

Kind = Literal["opening", "inside", "size", "jaw", "split"]


@dataclass(frozen=True, kw_only=True, eq=False)
class TightPlace:
    """Where the wall and the head come nearest on the way."""

    #: Zone of the head, in words; "glasses", or "underside of the head".
    zone: str
    #: Point of the pressed head, head frame, (3,). [mm]
    head_mm: FloatArray
    #: Point of the seated finished piece's drawn wall, head frame, (3,). [mm]
    wall_mm: FloatArray
    #: Room there; negative is how much is missing. [mm]
    room_mm: float
    #: Whether it lies at the rim of the neck opening.
    at_rim: bool
    #: Move of the piece from its seat then, (6,). [mm, deg]
    move: FloatArray
    #: How high the piece was lifted then. [mm]
    lifted_mm: float
    #: How far it was nodded then. [deg]
    pitch_deg: float
    #: All of that in a sentence.
    words: str


@dataclass(frozen=True, kw_only=True, eq=False)
class DonningWay:
    """One change that lets the head through, or does not."""

    kind: Kind
    #: How much; nan where the change has no amount. [unit]
    amount: float
    unit: str
    #: Whether a way was found with it; an estimate is not checked by a search.
    found: bool
    checked: bool
    #: Largest head, as a factor on this one, that passes unchanged.
    head_scale: float
    words: str


def tight_place(route: Route, entry: Entry) -> TightPlace:
    """Name the tightest place of a route."""
    near, move = route.near, route.tight
    row = int(near.room_mm.argmin())
    zone = zone_words(int(entry.head.zone[near.face[row]]))
    seated = _seated(near.at[row], move)
    rim = cKDTree(entry.rim).query(seated)[0] < AT_RIM_MM
    room = float(near.room_mm[row])
    right, front, up = np.round(near.head[row] + entry.middle) + 0.0
    where = "the rim of the neck opening" if rim else "the inner wall"
    how = f"{room:.1f} mm are left" if room >= 0 else f"{-room:.1f} mm are missing"
    words = (
        f"Lifted by {move[2]:.0f} mm and nodded by {move[3]:.0f} deg, {how} between "
        f"{where} and the {zone}, at ({right:g}, {front:g}, {up:g}) mm "
        "of the head."
    )
    return TightPlace(
        zone=zone,
        head_mm=near.head[row] + entry.middle,
        wall_mm=seated + entry.middle,
        room_mm=room,
        at_rim=bool(rim),
        move=move,
        lifted_mm=float(move[2]),
        pitch_deg=float(move[3]),
        words=words,
    )


def find_ways(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    entry: Entry,
    passage: Passage,
    route: Route,
    brief: DonningBrief,
) -> tuple[DonningWay, ...]:
    """
    Find changes that let the head through.

    A larger piece is checked with the head made smaller at the places that stopped it, an
    open jaw or back by a search with them open; how much the opening has to grow is read
    off the way that was stopped.
    """
    scale = _largest_scale(entry, passage, route)
    place = tight_place(route, entry)
    ways = [_widen(place, scale), _larger(scale)]
    ways += _openings(wearer, piece, placement, passage, brief, scale)
    return tuple(sorted(ways, key=lambda way: (not way.found, _cost(way))))


def _widen(place: TightPlace, scale: float) -> DonningWay:
    missing = max(0.0, -place.room_mm) + SPARE_MM
    side = _side(place.wall_mm)
    zone = place.zone
    if place.at_rim:
        words = (
            f"Widen the neck opening {side} by about {missing:.0f} mm, where it passes "
            f"the {zone}: {-place.room_mm:.1f} mm are missing, and {SPARE_MM:g} mm spare."
        )
    else:
        words = (
            f"Carve the inner wall {side} by about {missing:.0f} mm, where it passes the "
            f"{zone}, if the wall allows; the opening itself is wide enough there."
        )
    return DonningWay(
        kind="opening" if place.at_rim else "inside",
        amount=missing,
        unit="mm",
        found=True,
        checked=False,
        head_scale=scale,
        words=words,
    )


def _larger(scale: float) -> DonningWay:
    found = scale > LEAST_SCALE
    size = 1.0 / scale
    words = f"Make the piece {100 * (size - 1):.0f} % larger, layers as they are."
    if not found:
        words = f"No size up to {1 / LEAST_SCALE:.2f} times this one lets the head through."
    return DonningWay(
        kind="size",
        amount=size,
        unit="times",
        found=found,
        checked=found,
        head_scale=scale,
        words=words,
    )


def _openings(
    wearer: Wearer,
    piece: Piece,
    placement: Placement,
    passage: Passage,
    brief: DonningBrief,
    scale: float,
) -> list[DonningWay]:
    """Try the jaw pulled clear or left shut, and the back half swung away."""

    def passes(other: DonningBrief) -> bool:
        entry = entry_of(wearer, piece, placement, other)
        return find_route(passage.behind(entry.wall), entry.door, exact=False).found

    ways = []
    if piece.hinge is not None and piece.jaw_faces.any():
        if brief.turn_deg(piece):
            found = passes(replace(brief, jaw_clear=False))
            ways.append(_jaw_way(0.0, found, scale))
        else:
            stop = piece.hinge.open_stop_deg
            turns = [share * stop for share in JAW_SHARES]
            tried = (replace(brief, jaw_clear=True, jaw_deg=turn) for turn in turns)
            first = next((one.jaw_deg for one in tried if passes(one)), None)
            turn = stop if first is None else first
            ways.append(_jaw_way(turn, first is not None, scale))
    if brief.back_open is None:
        back = Panel(point_mm=(0.0, 0.0, 0.0), normal=(0.0, -1.0, 0.0))
        found = passes(replace(brief, back_open=back))
        words = "Split the piece across, through the ears, and let the back swing away"
        words += _whether(found)
        ways.append(_tried("split", float("nan"), "", found, scale, words))
    return ways


def _jaw_way(turn: float, found: bool, scale: float) -> DonningWay:
    words = "Leave the jaw shut: open, it swings into the neck opening"
    if turn:
        words = f"Pull the jaw clear by {turn:.0f} deg"
    return _tried("jaw", turn, "deg", found, scale, words + _whether(found))


def _whether(found: bool) -> str:
    return ": that lets the head through." if found else "; that alone is not enough."


def _tried(
    kind: Kind,
    amount: float,
    unit: str,
    found: bool,
    scale: float,
    words: str,
) -> DonningWay:
    return DonningWay(
        kind=kind,
        amount=amount,
        unit=unit,
        found=found,
        checked=True,
        head_scale=scale,
        words=words,
    )


def entry_of(
    wearer: Wearer, piece: Piece, placement: Placement, brief: DonningBrief
) -> Entry:
    """
    Set a wearer's head before a seated piece, by a brief.

    Raises
    ------
    DesignError
        If there is no neck opening that faces down, or a part is missing.
    BriefError
        If the panel leaves nothing of the wall.
    """
    return make_entry(
        wearer,
        piece,
        placement,
        soft=brief.soft,
        glasses=wearer.record.glasses if brief.glasses_on else None,
        jaw_deg=brief.turn_deg(piece),
        panel=brief.back_open,
    )


def _largest_scale(entry: Entry, passage: Passage, route: Route) -> float:
    """Halve between a head that passes the places that stopped it and one that does not."""
    place = tight_place(route, entry)
    radius = max(40.0, float(np.hypot(place.head_mm[0], place.head_mm[1] - 5.0)))
    worst = np.argsort(route.gap_mm, kind="stable")
    stopped = route.moves[worst[: int((route.gap_mm < 0).sum())]]
    high, low = 1.0, max(LEAST_SCALE, 1.0 - 1.3 * max(0.5, -place.room_mm) / radius)
    while not _passes_scaled(entry, passage, stopped, low):
        if low <= LEAST_SCALE:
            return LEAST_SCALE
        high, low = low, max(LEAST_SCALE, low - (1.0 - low))
    while high - low > SCALE_STEP:
        middle = (low + high) / 2
        if _passes_scaled(entry, passage, stopped, middle):
            low = middle
        else:
            high = middle
    return low


def _passes_scaled(entry: Entry, passage: Passage, moves: FloatArray, scale: float) -> bool:
    """Whether a smaller head has room at moves: the wall is made larger instead."""
    about, factor = entry.head.pressed.bounds_mm.mean(axis=0), 1 / scale
    enlarged = passage.enlarged(factor, about)
    for move in moves:
        larger = move.copy()
        turned = matrix_of(move)[:3, :3] @ about
        larger[:3] = factor * move[:3] + (1 - factor) * (about - turned)
        if enlarged.gained(larger, reach=12.0, rounds=10)[1].least_mm < 0:
            return False
    return True


def _seated(point: FloatArray, move: FloatArray) -> FloatArray:
    matrix = matrix_of(move)
    back: FloatArray = (point - matrix[:3, 3]) @ matrix[:3, :3]
    return back


def _side(point: FloatArray) -> str:
    right, front = float(point[0]), float(point[1] - 5.0)
    if abs(right) > abs(front):
        return "at the right" if right > 0 else "at the left"
    return "at the front" if front > 0 else "at the back"


def _cost(way: DonningWay) -> float:
    """Ours: millimetres of a cut, percent of size, a pulled jaw 5, a split 30."""
    if way.kind in ("opening", "inside"):
        return way.amount
    if way.kind == "size":
        return 2 * 100 * (way.amount - 1)
    return 5.0 if way.kind == "jaw" else 30.0
