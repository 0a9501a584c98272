"""Ways out of a brief that cannot be met: one relaxation at a time, solved and ranked."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from fitkit.fit._demands import DISTORTION, FAMILIES, HINGE, SIGHT_LEFT, SIZE, Demands
from fitkit.fit._descent import Relief
from fitkit.fit._moves import free_moves
from fitkit.fit._search import Found, search
from fitkit.fit._wishes import Wishes
from fitkit.fit._words import in_words, listed, move_words, percent
from fitkit.fit.brief import PAIRS
from fitkit.fit.placement import FloatArray, Placement
from fitkit.fit.sight import SIDES
from fitkit.wearer.zones import ZONES, zone_words

#: Weight of the wishes where they only settle ties.
TIE_WEIGHT = 1e-3
#: Price of one unit of relief beside them.
RELIEF_PRICE = 10.0
#: A way out holds if no demand is missed by more than this. [mm]
MET_MM = 0.01
#: Radius of a scoop out of the wall, measured on the head. [mm]
SCOOP_RADIUS_MM = 30.0
#: Largest amount of each kind of way out that is worth saying: mm or percent.
LARGEST = 40.0
#: Share of the total price above which a demand counts as clashing.
CLASHES = 1e-3
#: Slack on the bound by which hopeless trials are left out.
HOPE = 1.5
#: Several changes at once are offered where they cost less than this share of one.
CHEAPER = 0.9
#: Distortion that no maker would go beyond. [%]
MOST_DISTORTION = 15.0
#: What a unit of each way costs the maker, beside 1 mm less padding: our own judgement
#: of time and comfort, used for nothing but the order.
COST = {
    "size": 1.0,  # per percent beyond the limit
    "padding": 1.0,  # per mm
    "looser": 0.5,  # per mm: a thicker pad
    "lining": 1.5,  # per mm, everywhere
    "hair": 0.7,  # per mm at the thickest
    "distortion": 1.5,  # per percent
    "eye opening": 0.8,  # per mm
    "hinge": 0.8,  # per mm
    "scoop": 2.0,  # per mm
}


@dataclass(frozen=True, kw_only=True, eq=False)
class WayOut:
    """One change after which every demand is met; found by solving with it."""

    #: The change as a sentence.
    words: str
    #: What is changed: "size", "padding crown", "hair", "hinge" and so on.
    change: str
    #: How much, rounded up to a tenth: a piece so changed fits.
    amount: float
    #: Unit of the amount: "mm" or "%".
    unit: str
    #: Rank: smaller is cheaper. Our own judgement; see ``COST``.
    cost: float
    #: Where the piece sits once it is changed.
    placement: Placement


@dataclass(frozen=True, kw_only=True, eq=False)
class _Trial:
    """One relaxation to be tried: families of demand eased by one common amount."""

    kind: str
    change: str
    families: tuple[int, ...]
    unit: str = "mm"
    #: Rate of easing at each head vertex; None = 1.
    vertex_rate: FloatArray | None = None
    #: Most that can be had. [unit]
    limit: float = LARGEST
    #: How many times the cost is paid.
    times: int = 1


def find_ways_out(demands: Demands, wishes: Wishes, least: Found) -> tuple[WayOut, ...]:
    """
    Try every single change that could help, and several at once, and rank them.

    Parameters
    ----------
    demands, wishes
        Of the brief that cannot be met.
    least : Found
        Where its worst demand is missed the least.

    Returns
    -------
    tuple of WayOut
        Cheapest first. Several changes at once are offered only where they cost less
        than any single one, or where no single one is enough.
    """
    trials = [trial for trial in _trials(demands, least) if _hopeful(least, trial)]
    tried = [_try(demands, wishes, least, trial) for trial in trials]
    ways = [way for way in tried if way is not None]
    several = _several(demands, wishes, least)
    cheapest = min((way.cost for way in ways), default=math.inf)
    if several is not None and several.cost < CHEAPER * cheapest:
        ways.append(several)
    return tuple(sorted(ways, key=lambda way: way.cost))


# -- what to try ----------------------------------------------------------------------


def _trials(demands: Demands, least: Found) -> Iterator[_Trial]:
    clashing = _clashing(least)
    yield _Trial(kind="size", change="size", families=(SIZE,), unit="%")
    yield from _zone_trials(clashing)
    yield from _lining_and_hair_trials(demands)
    if demands.brief.distortion_percent < MOST_DISTORTION:
        change = "distortion"
        yield _Trial(kind=change, change=change, families=(DISTORTION,), unit="%")
    eyes = [k for k in (SIGHT_LEFT, SIGHT_LEFT + 1) if k in clashing]
    if eyes:
        yield _Trial(
            kind="eye opening",
            change="eye opening",
            families=(SIGHT_LEFT, SIGHT_LEFT + 1),
            times=len(eyes),
        )
    if HINGE in clashing:
        yield _Trial(kind="hinge", change="hinge", families=(HINGE,))
    yield from _scoop_trials(demands, least)


def _zone_trials(clashing: set[int]) -> Iterator[_Trial]:
    zones = len(ZONES)
    for first, kind in ((0, "padding"), (zones, "looser")):
        alone = {zone: (first + index,) for index, zone in enumerate(ZONES)}
        pairs = {
            name: tuple(first + ZONES.index(f"{name}_{side}") for side in SIDES)
            for name in PAIRS
        }
        for name, families in {**alone, **pairs}.items():
            if set(families) <= clashing:
                yield _Trial(
                    kind=kind,
                    change=f"{kind} {name}",
                    families=families,
                    times=len(families),
                )


def _lining_and_hair_trials(demands: Demands) -> Iterator[_Trial]:
    every = tuple(range(len(ZONES)))
    lining, hair = demands.piece.lining_mm, demands.wearer.hair_mm
    most_hair = float(hair[demands.everyone].max(initial=0.0))
    if lining > 0:
        yield _Trial(kind="lining", change="lining", families=every, limit=lining)
    if most_hair > 0:
        yield _Trial(
            kind="hair",
            change="hair",
            families=every,
            vertex_rate=hair / most_hair,
            limit=most_hair,
        )


def _scoop_trials(demands: Demands, least: Found) -> Iterator[_Trial]:
    about = np.nonzero(least.rows.vertex >= 0)[0]
    worst = int(least.rows.vertex[about[np.argmin(least.rows.value[about])]])
    head = demands.wearer.head.vertices
    near = np.linalg.norm(head - head[worst], axis=1) < SCOOP_RADIUS_MM
    yield _Trial(
        kind="scoop",
        change=f"scoop {ZONES[demands.wearer.zone[worst]]}",
        families=tuple(range(len(ZONES))),
        vertex_rate=near.astype(float),
    )


def _clashing(least: Found) -> set[int]:
    total = float(least.family_price.sum())
    return {int(k) for k in np.nonzero(least.family_price > CLASHES * total)[0]}


def _hopeful(least: Found, trial: _Trial) -> bool:
    """
    Whether a trial could succeed within its limit.

    The prices at the least worst miss bound what easing some families alone takes: the
    miss times all prices over theirs (weak duality, exact where distances bend down).
    """
    if trial.kind == "distortion":
        return True
    price = least.family_price
    eased = float(price[list(trial.families)].sum())
    needed = float(least.amounts[0]) * float(price[:SIZE].sum())
    return needed <= HOPE * trial.limit * eased


# -- trying ---------------------------------------------------------------------------


def _try(demands: Demands, wishes: Wishes, least: Found, trial: _Trial) -> WayOut | None:
    if trial.kind == "distortion":
        demands, wishes, least = _stretchable(demands, least)
    column = np.full(len(FAMILIES), -1)
    column[list(trial.families)] = 0
    relief = Relief(
        column=column,
        price=np.array([RELIEF_PRICE]),
        floor=np.zeros(1),
        vertex_rate=trial.vertex_rate,
    )
    found = search(demands, wishes, relief, weight=TIE_WEIGHT, start=least)
    placement = demands.moves.placement(found.x)
    amount = _amount(demands, placement, trial, float(found.amounts[0]))
    if found.miss_mm > MET_MM or not 0.0 < amount <= trial.limit:
        return None
    return WayOut(
        words=_words(demands, placement, trial, amount),
        change=trial.change,
        amount=amount,
        unit=trial.unit,
        cost=round(COST[trial.kind] * amount * trial.times, 3),
        placement=placement,
    )


def _stretchable(demands: Demands, least: Found) -> tuple[Demands, Wishes, Found]:
    brief = demands.brief
    moves = free_moves(brief, uniform=False)
    x = moves.unknowns(demands.moves.placement(least.x))
    other = Demands(demands.wearer, demands.piece, brief, moves)
    return other, Wishes(other, brief.weights), replace(least, x=x)


def _amount(demands: Demands, placement: Placement, trial: _Trial, amount: float) -> float:
    brief = demands.brief
    if trial.kind == "size":
        over = float(placement.size.max()) - brief.size_most
        under = brief.size_least - float(placement.size.min())
        return _rounded_up(100.0 * max(over, under))
    if trial.kind == "distortion":
        return _rounded_up(placement.distortion_percent - brief.distortion_percent)
    return _rounded_up(amount)


def _rounded_up(amount: float) -> float:
    return math.ceil(10.0 * amount - 1e-3) / 10.0


def _several(demands: Demands, wishes: Wishes, least: Found) -> WayOut | None:
    """Ease any demand by an amount of its own, at the least total cost."""
    families = np.unique(least.rows.family)
    families = families[families <= SIZE]
    kinds = [_kind(int(family)) for family in families]
    column = np.full(len(FAMILIES), -1)
    column[families] = np.arange(len(families))
    cost = np.array([COST[kind] for kind in kinds])
    relief = Relief(column=column, price=RELIEF_PRICE * cost, floor=np.zeros(len(cost)))
    found = search(demands, wishes, relief, weight=TIE_WEIGHT, start=least)
    amounts = np.array([_rounded_up(float(amount)) for amount in found.amounts])
    if found.miss_mm > MET_MM:
        return None
    placement = demands.moves.placement(found.x)
    used = [int(k) for k in np.argsort(-cost * amounts, kind="stable") if amounts[k] > 0]
    parts = [
        f"{in_words(int(families[k]))} by {amounts[k]:.1f} "
        f"{'%' if families[k] == SIZE else 'mm'}"
        for k in used
    ]
    return WayOut(
        words=f"Ease several demands a little: {listed(parts)}.",
        change="several",
        amount=float(amounts[used].max(initial=0.0)),
        unit="mm",
        cost=round(float((cost * amounts)[used].sum()), 3),
        placement=placement,
    )


def _kind(family: int) -> str:
    zones = len(ZONES)
    if family < 2 * zones:
        return "padding" if family < zones else "looser"
    if family < HINGE:
        return "eye opening"
    return "hinge" if family == HINGE else "size"


# -- saying ---------------------------------------------------------------------------


def _words(demands: Demands, placement: Placement, trial: _Trial, amount: float) -> str:
    say = {
        "size": _size_words,
        "padding": _padding_words,
        "looser": _looser_words,
        "lining": _lining_words,
        "hair": _hair_words,
        "distortion": _distortion_words,
        "eye opening": _eye_words,
        "hinge": _hinge_words,
        "scoop": _scoop_words,
    }
    return say[trial.kind](demands, placement, trial, amount)


def _size_words(demands: Demands, placement: Placement, _: _Trial, amount: float) -> str:
    brief = demands.brief
    if placement.mean_size > brief.size_most:
        size, limit, way = brief.size_most + amount / 100.0, brief.size_most, "above"
    else:
        size, limit, way = brief.size_least - amount / 100.0, brief.size_least, "below"
    allowed = percent(limit, 0)
    return f"Make it at {percent(size)}: {amount:.1f} % {way} the {allowed} allowed."


def _padding_words(demands: Demands, _: Placement, trial: _Trial, amount: float) -> str:
    zone = ZONES[trial.families[0]]
    asked = demands.brief.ease[zone].least_mm
    name = _place(trial)
    return (
        f"Take {amount:.1f} mm less padding at the {name}: ask for "
        f"{asked - amount:.1f} mm of ease there instead of {asked:g} mm."
    )


def _looser_words(demands: Demands, _: Placement, trial: _Trial, amount: float) -> str:
    zone = ZONES[trial.families[0] - len(ZONES)]
    most = demands.brief.ease[zone].most_mm or 0.0
    return (
        f"Let the {_place(trial)} gape {amount:.1f} mm more: a pad for a median gap of "
        f"{most + amount:.1f} mm instead of {most:g} mm."
    )


def _lining_words(demands: Demands, _: Placement, __: _Trial, amount: float) -> str:
    lining = demands.piece.lining_mm
    return (
        f"Build the inside {amount:.1f} mm thinner everywhere: {lining - amount:.1f} mm "
        f"of layers instead of {lining:g} mm."
    )


def _hair_words(_: Demands, __: Placement, trial: _Trial, amount: float) -> str:
    return (
        f"Press or tie the hair flatter by {100 * amount / trial.limit:.0f} %: "
        f"{amount:.1f} mm where it is thickest ({trial.limit:.0f} mm)."
    )


def _distortion_words(_: Demands, placement: Placement, __: _Trial, amount: float) -> str:
    right, front, up = 100.0 * placement.size
    return (
        f"Let the axes differ by {amount:.1f} % more: {right:.1f} % across, {front:.1f} % "
        f"front to back, {up:.1f} % in height."
    )


def _eye_words(demands: Demands, placement: Placement, _: _Trial, amount: float) -> str:
    offs = []
    for side, eye in demands.eyes.items():
        move = amount * eye.widen(placement)
        offs.append(f"the {side} one {move_words((move[0], 0.0, move[1]))}")
    return f"Cut the eye openings wider by {amount:.1f} mm: {listed(offs)}."


def _hinge_words(demands: Demands, placement: Placement, _: _Trial, amount: float) -> str:
    off, _slope = demands.hinge_offset(placement)
    toward = -amount * off / float(np.linalg.norm(off))
    move = move_words((0.0, *toward))
    return f"Move the hinge {amount:.1f} mm: {move}."


def _scoop_words(_: Demands, __: Placement, trial: _Trial, amount: float) -> str:
    zone = zone_words(trial.change.removeprefix("scoop "))
    return (
        f"Scoop {amount:.1f} mm out of the inside at the {zone}, over a patch about "
        f"{2 * SCOOP_RADIUS_MM:.0f} mm across; keep the wall thick enough."
    )


def _place(trial: _Trial) -> str:
    name = trial.change.split(" ", 1)[1]
    return f"{name}s, both sides" if name in PAIRS else zone_words(name)
