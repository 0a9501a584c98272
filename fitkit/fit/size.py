"""The solver: what size to make the piece at, and where to put it on the head."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from fitkit.fit._demands import FAMILIES, SIZE, Demands, Rows
from fitkit.fit._descent import NO_RELIEF, Relief
from fitkit.fit._moves import free_moves
from fitkit.fit._search import Found, search
from fitkit.fit._wishes import SmallestSize, Wishes
from fitkit.fit._words import in_words
from fitkit.fit.brief import Brief
from fitkit.fit.glasses import wearing_glasses
from fitkit.fit.placement import FloatArray, Placement
from fitkit.fit.sight import SIDES
from fitkit.fit.ways_out import TIE_WEIGHT, WayOut, find_ways_out
from fitkit.wearer.wearer import Wearer
from fitkit.wearer.zones import ZONES

if TYPE_CHECKING:
    from fitkit.piece.buildup import Piece

#: Demands missed by no more than this are met. [mm]
MET_MM = 0.01
#: Families of demand that may be missed, as against size and distortion.
SOFT = np.arange(len(FAMILIES)) < SIZE
#: Price of a mm of shortfall beside the wishes that only settle ties.
SHORT_PRICE = 10.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Shortfall:
    """One demand that cannot be met together with the others."""

    #: The demand in words, for example "ease at the crown".
    demand: str
    #: By how much it is missed where the worst demand is missed least. [mm]
    short_mm: float
    #: Where on the head, shape (3,); nan where the demand has no one place. [mm]
    at: FloatArray


@dataclass(frozen=True, kw_only=True, eq=False)
class SizeAnswer:
    """Size and placement for one brief, or an honest no."""

    #: Whether every demand of the brief is met, to 0.01 mm.
    feasible: bool
    #: The answer; where there is none, the placement whose worst demand is missed by
    #: the least.
    placement: Placement
    #: Demands that are missed there, in words, and by how much; empty if none. [mm]
    short_mm: Mapping[str, float]
    #: The same with their places.
    shortfalls: tuple[Shortfall, ...]
    #: Demands that decide the answer: easing any other would not change it.
    binding: tuple[str, ...]
    #: Cheapest ways to make it possible, cheapest first; empty if it is possible, or if
    #: they were not asked for.
    ways_out: tuple[WayOut, ...]
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]
    #: Steps that the solver took.
    steps: int


@dataclass(frozen=True, kw_only=True, eq=False)
class EaseAnswer:
    """Pose in which a piece of given size sits with the most room."""

    placement: Placement
    #: Least ease minus what was asked, over all zones: negative where short. [mm]
    spare_mm: float


def solve_size(
    wearer: Wearer, piece: Piece, brief: Brief | None = None, *, ways_out: bool = True
) -> SizeAnswer:
    """
    Find the size and the pose that meet a brief.

    Parameters
    ----------
    wearer : Wearer
        The head, its hair, eyes and chin.
    piece : Piece
        Finished piece as drawn.
    brief : Brief, optional
        What is asked; the default brief if left out.
    ways_out : bool
        Whether to look for ways out where there is no answer, which takes longer than
        the answer itself.

    Returns
    -------
    SizeAnswer
        The same for the same input, bit for bit.

    Notes
    -----
    Unknown are the logarithm of size (one, or three within the brief's distortion) and
    the free moves. A uniform size of the piece is the inverse size of the head's points
    in the piece's own frame, so that one kept tree of closest points serves every size,
    and the direction to the closest point is the gradient. Demands that cannot all be
    met are answered with the placement whose worst miss is the least. The glasses of
    the record count with the zones of the eyes: no point of them may touch the wall.
    """
    brief = Brief() if brief is None else brief
    wearer = wearing_glasses(wearer, brief)
    uniform = brief.distortion_percent == 0.0 or brief.aim == "snug"
    demands = Demands(wearer, piece, brief, free_moves(brief, uniform=uniform))
    wishes = Wishes(demands, brief.weights)
    aim = SmallestSize(wishes, demands) if brief.aim == "snug" else wishes
    found = search(demands, aim, NO_RELIEF, thorough=brief.aim == "snug")
    if found.miss_mm <= MET_MM:
        return _answer(demands, found, found.steps)
    least = search(demands, wishes, _all_short(), weight=TIE_WEIGHT, start=found)
    if least.amounts[0] <= MET_MM:
        found = search(demands, aim, NO_RELIEF, start=least)
        return _answer(demands, found, found.steps + least.steps)
    ways = find_ways_out(demands, wishes, least) if ways_out else ()
    return _refusal(demands, least, ways, found.steps + least.steps)


def most_ease(
    wearer: Wearer, piece: Piece, brief: Brief | None = None, *, size: float
) -> EaseAnswer:
    """
    Find the pose in which the least spare ease is greatest, at one fixed size.

    Parameters
    ----------
    wearer, piece, brief
        As for `solve_size`; of the brief, the least ease by zone and the free moves are
        used.
    size : float
        Factor of size, the same on all axes.
    """
    brief = Brief() if brief is None else brief
    wearer = wearing_glasses(wearer, brief)
    fixed = replace(brief, size_least=size, size_most=size, distortion_percent=0.0)
    moves = free_moves(fixed, uniform=True)
    demands = Demands(wearer, piece, fixed, moves, ease_only=True)
    column = np.where(np.arange(len(FAMILIES)) < len(ZONES), 0, -1)
    relief = Relief(column=column, price=np.array([SHORT_PRICE]), floor=np.array([-np.inf]))
    wishes = Wishes(demands, fixed.weights)
    found = search(demands, wishes, relief, weight=TIE_WEIGHT, thorough=True)
    placement = replace(moves.placement(found.x), size=np.full(3, float(size)))
    return EaseAnswer(placement=placement, spare_mm=-float(found.amounts[0]))


def _all_short() -> Relief:
    return Relief(
        column=np.where(SOFT, 0, -1), price=np.array([SHORT_PRICE]), floor=np.zeros(1)
    )


def _answer(demands: Demands, found: Found, steps: int) -> SizeAnswer:
    placement = demands.moves.placement(found.x)
    return SizeAnswer(
        feasible=found.miss_mm <= MET_MM,
        placement=placement,
        short_mm=MappingProxyType({}),
        shortfalls=(),
        binding=_binding(found),
        ways_out=(),
        cautions=_cautions(demands),
        steps=steps,
    )


def _refusal(
    demands: Demands, least: Found, ways: tuple[WayOut, ...], steps: int
) -> SizeAnswer:
    shortfalls = _shortfalls(demands, least.rows)
    short = {one.demand: one.short_mm for one in shortfalls}
    return SizeAnswer(
        feasible=False,
        placement=demands.moves.placement(least.x),
        short_mm=MappingProxyType(short),
        shortfalls=shortfalls,
        binding=_binding(least),
        ways_out=ways,
        cautions=_cautions(demands),
        steps=steps,
    )


def _shortfalls(demands: Demands, rows: Rows) -> tuple[Shortfall, ...]:
    found = []
    for family in np.unique(rows.family[rows.value < -MET_MM]):
        chosen = np.nonzero(rows.family == family)[0]
        worst = chosen[np.argmin(rows.value[chosen])]
        vertex = int(rows.vertex[worst])
        head = demands.wearer.head.vertices
        found.append(
            Shortfall(
                demand=in_words(int(family)),
                short_mm=-float(rows.value[worst]),
                at=head[vertex] if vertex >= 0 else np.full(3, np.nan),
            )
        )
    return tuple(sorted(found, key=lambda one: -one.short_mm))


def _binding(found: Found) -> tuple[str, ...]:
    price = found.family_price
    order = np.argsort(-price, kind="stable")
    held = [int(k) for k in order if price[k] > 1e-3 * max(float(price.max()), 1e-9)]
    at_rest = bool(price.max() < 1e-4)
    return () if at_rest else tuple(in_words(k) for k in held)


def _cautions(demands: Demands) -> tuple[str, ...]:
    said = []
    for side in SIDES:
        if side not in demands.eyes:
            said.append(
                f"The piece has no opening named for the {side} eye, so nothing holds its "
                "line of sight: name one in the notes, or check sight by hand."
            )
        elif demands.eyes[side].margin_mm < demands.brief.eye_margin_mm:
            said.append(
                f"The {side} eye opening is narrower than twice the margin asked "
                f"({demands.brief.eye_margin_mm:g} mm): its straight-ahead line is kept "
                f"central, {demands.eyes[side].margin_mm:.1f} mm or more from the edge."
            )
    if demands.brief.hinge_tolerance_mm is not None and demands.hinge is None:
        said.append("The piece has no hinge: nothing was asked of the jaw.")
    return tuple(said)
