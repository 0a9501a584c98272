"""Where the hinge should be, where it should stop, and what a misplaced one costs."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fitkit.errors import BriefError
from fitkit.fit._checks import in_range
from fitkit.fit.jaw_bodies import bodies_of
from fitkit.fit.jaw_clash import WANTED_GAP_MM, shell_gaps
from fitkit.fit.jaw_parts import HungJaw
from fitkit.fit.jaw_travel import Contact, turned_by_chin
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import BoolArray
from fitkit.wearer.jaw import ChinMotion
from fitkit.wearer.swing import Swing

#: How far off the true axis a located one has to be reckoned with. [mm] Arbitrary hinge
#: points lie within 5 to 6 mm of it in 17 to 98 % of people, by method and study
#: (review, J. Prosthet. Dent. 1984).
AXIS_DOUBT_MM = 5.0
#: Compass points of the sensitivity, as front and up.
COMPASS: tuple[tuple[str, float, float], ...] = tuple(
    (name, math.cos(math.radians(45 * k)), math.sin(math.radians(45 * k)))
    for k, name in enumerate(
        (
            "forward",
            "forward and up",
            "up",
            "back and up",
            "back",
            "back and down",
            "down",
            "forward and down",
        )
    )
)
#: A millimetre that the gap falls short counts as this many millimetres of misfit. Ours:
#: a jaw that jams is worse than one that rubs the chin.
GAP_WEIGHT = 3.0
#: A millimetre that the hinge is moved counts as this many millimetres of misfit. Ours:
#: where a whole valley of places does as well, the one nearest to the drawn is taken.
MOVE_WEIGHT = 0.03
#: The search ends when its step is below this: where nothing is near the jaw, and where
#: every place has to be swept for clashes. [mm]
FINEST_MM, FINEST_SWEPT_MM = 0.1, 0.7
#: Turns of the chin, and of the jaw, at which a hinge is tried.
_CHIN_TURNS, _JAW_TURNS = 7, 7
#: Turns of the jaw at which places are compared.
_QUICK_TURNS = 4
#: Places along each side of the region that are tried first.
_GRID = 13


@dataclass(frozen=True, kw_only=True)
class HingeRegion:
    """
    Where a bolt may go, counted from the drawn hinge.

    Raises
    ------
    BriefError
        If a bound is beyond 100 mm, or a pair is the wrong way round.
    """

    #: Least and most move to the front. [mm]
    front_mm: tuple[float, float] = (-25.0, 25.0)
    #: Least and most move up. [mm]
    up_mm: tuple[float, float] = (-25.0, 25.0)

    def __post_init__(self) -> None:
        for name, (low, high) in (("front_mm", self.front_mm), ("up_mm", self.up_mm)):
            in_range(f"{name}, least", low, low=-100, high=100, unit="mm")
            in_range(f"{name}, most", high, low=-100, high=100, unit="mm")
            if low > high:
                msg = f"{name} must run from least to most; got {low:g} to {high:g}."
                raise BriefError(msg)


@dataclass(frozen=True, kw_only=True, eq=False)
class HingeTry:
    """One place of the hinge and what it does."""

    #: Move from the drawn hinge, to the front and up. [mm]
    front_mm: float
    up_mm: float
    #: Farthest that any pad gets from the skin it held with the teeth together. [mm]
    misfit_mm: float
    #: Most of that along the pads: slip. [mm]
    slip_mm: float


@dataclass(frozen=True, kw_only=True, eq=False)
class HingeAnswer:
    """The best place of the hinge within a region."""

    drawn: HingeTry
    best: HingeTry
    #: The best hinge in the head frame, middle of its axis, (3,). [mm]
    at_mm: FloatArray
    #: From the chin's finite pole, seen from the side, drawn and best. [mm]
    drawn_from_pole_mm: float
    best_from_pole_mm: float
    #: Least gap to the shell with the hinge as drawn and at its best, finished. [mm]
    drawn_gap_mm: float
    best_gap_mm: float
    #: Open stop for this wearer's largest opening, held back from the first contact. [deg]
    open_stop_deg: float
    #: Close stop: as drawn. [deg]
    close_stop_deg: float
    #: What the best hinge does if it is off by `off_mm` in each direction of the compass.
    off_mm: float
    off: tuple[tuple[str, HingeTry], ...]
    #: Human-readable cautions; empty means none.
    cautions: tuple[str, ...]

    @property
    def worst_off(self) -> tuple[str, HingeTry]:
        """The direction in which being off costs most, and what it then does."""
        return max(self.off, key=lambda one: one[1].misfit_mm)


def move_hinge(hung: HungJaw, *, front_mm: float, up_mm: float) -> HungJaw:
    """Give the same jaw on a hinge moved to the front and up in the head frame, in mm."""
    by = np.array([0.0, front_mm, up_mm])
    swing = replace(hung.swing, centre_mm=hung.swing.centre_mm + by)
    turned = hung.placement.rotation.T @ by
    sized = replace(hung.swing_sized, centre_mm=hung.swing_sized.centre_mm + turned)
    return replace(hung, swing=swing, swing_sized=sized)


def try_hinge(
    motion: ChinMotion,
    hung: HungJaw,
    contacts: Sequence[Contact],
    *,
    front_mm: float = 0.0,
    up_mm: float = 0.0,
    turns: int = 33,
) -> HingeTry:
    """
    Say how well a hinge lets the pads follow the chin, stops left aside.

    Parameters
    ----------
    motion, hung, contacts
        As for `follow_chin`.
    front_mm, up_mm : float
        Move of the hinge. [mm]
    turns : int
        Turns of the chin that are looked at.
    """
    swing = move_hinge(hung, front_mm=front_mm, up_mm=up_mm).swing
    angles = np.linspace(0.0, motion.full_deg, turns)
    jaw = turned_by_chin(motion.swing, swing, contacts[0], angles)
    if np.isnan(jaw[1:]).any():
        return HingeTry(front_mm=front_mm, up_mm=up_mm, misfit_mm=np.inf, slip_mm=np.inf)
    jaw = np.nan_to_num(jaw)
    off = [_off(motion.swing, swing, contact, angles, jaw) for contact in contacts]
    return HingeTry(
        front_mm=float(front_mm),
        up_mm=float(up_mm),
        misfit_mm=max(float(one[0].max()) for one in off),
        slip_mm=max(float(one[1].max()) for one in off),
    )


def solve_hinge(
    motion: ChinMotion,
    hung: HungJaw,
    contacts: Sequence[Contact],
    *,
    region: HingeRegion | None = None,
    off_mm: float = AXIS_DOUBT_MM,
) -> HingeAnswer:
    """
    Find where the hinge keeps slip, squeeze and clashes least.

    Parameters
    ----------
    motion : ChinMotion
    hung : HungJaw
    contacts : sequence of Contact
        Pads; the first one carries the jaw.
    region : HingeRegion, optional
        Where a bolt may go; 25 mm around the drawn hinge if not given. Places where a
        bolt along the axis would miss the shell on either side are left out.
    off_mm : float
        How far off a hinge is reckoned to be for the sensitivity, 0.5 to 20. [mm]

    Raises
    ------
    BriefError
        If the region holds no place where a bolt meets the shell on both sides.

    Notes
    -----
    Minimises the largest distance of any pad from the skin it held, over the whole
    opening, and a little how far the hinge is moved: a grid, then a compass search
    (T. Kolda, R. Lewis and V. Torczon, SIAM Review 45, 385-482 (2003)). If that hinge
    brings the jaw nearer to the shell than 1 mm, or than it is when shut, places are
    swept too, in the order of their misfit, and each millimetre short counts three.
    """
    in_range("off_mm", off_mm, low=0.5, high=20, unit="mm")
    region = HingeRegion() if region is None else region
    tries = [_quick(motion, hung, contacts, *place) for place in _places(hung, region)]
    tries.sort(key=_cost)
    shut = float(shell_gaps(hung, np.zeros(1)).finished_mm[0])
    wanted = min(WANTED_GAP_MM, shut)

    def around(one: HingeTry, step: float) -> list[HingeTry]:
        places = _compass_places(hung, region, one, step)
        return [_quick(motion, hung, contacts, *place) for place in places]

    start = max(np.ptp(region.front_mm), np.ptp(region.up_mm)) / (_GRID - 1) / 2
    best = _compass(tries[0], around, _cost, (start, FINEST_MM))
    gap = _least_gap(hung, best.front_mm, best.up_mm, count=_QUICK_TURNS)
    if gap < wanted:
        cost = _Swept(hung, wanted, [best, *tries])
        best = _compass(cost.best, around, cost, (start, FINEST_SWEPT_MM))
    gap = _least_gap(hung, best.front_mm, best.up_mm)
    drawn_gap = _least_gap(hung, 0.0, 0.0)
    drawn = try_hinge(motion, hung, contacts)
    best = try_hinge(motion, hung, contacts, front_mm=best.front_mm, up_mm=best.up_mm)
    off = _off_by(motion, hung, contacts, best, off_mm)
    moved = move_hinge(hung, front_mm=best.front_mm, up_mm=best.up_mm)
    at = moved.swing.centre_mm
    stop = _open_stop(motion, moved, contacts)
    return HingeAnswer(
        drawn=drawn,
        best=best,
        at_mm=at,
        drawn_from_pole_mm=_from(hung.swing.centre_mm, motion.pole_mm),
        best_from_pole_mm=_from(at, motion.pole_mm),
        drawn_gap_mm=drawn_gap,
        best_gap_mm=gap,
        open_stop_deg=stop,
        close_stop_deg=hung.close_stop_deg,
        off_mm=off_mm,
        off=off,
        cautions=_cautions(best, (gap, wanted), region, off, off_mm),
    )


def _off_by(
    motion: ChinMotion,
    hung: HungJaw,
    contacts: Sequence[Contact],
    best: HingeTry,
    off_mm: float,
) -> tuple[tuple[str, HingeTry], ...]:
    """What the best hinge does when it is off in each direction of the compass."""
    found = []
    for name, front, up in COMPASS:
        at = best.front_mm + off_mm * front, best.up_mm + off_mm * up
        tried = try_hinge(motion, hung, contacts, front_mm=at[0], up_mm=at[1])
        found.append((name, tried))
    return tuple(found)


def _quick(
    motion: ChinMotion, hung: HungJaw, contacts: Sequence[Contact], front: float, up: float
) -> HingeTry:
    return try_hinge(motion, hung, contacts, front_mm=front, up_mm=up, turns=_CHIN_TURNS)


def _off(
    chin: Swing, jaw: Swing, contact: Contact, chin_deg: FloatArray, jaw_deg: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """How far pad and skin are apart, and along the pad, each (k,). [mm]."""
    point = np.append(contact.at_mm, 1.0)
    matrix = jaw.matrix(jaw_deg)
    apart = (chin.matrix(chin_deg) @ point - matrix @ point)[:, :3]
    across = np.einsum("ij,ij->i", apart, matrix[:, :3, :3] @ contact.outward)
    length = np.linalg.norm(apart, axis=1)
    return length, np.sqrt(np.maximum(length**2 - across**2, 0.0))


def _places(hung: HungJaw, region: HingeRegion) -> list[tuple[float, float]]:
    """Places of a grid where a bolt meets the shell on both sides."""
    front = np.linspace(*region.front_mm, _GRID)
    up = np.linspace(*region.up_mm, _GRID)
    grid = np.array([(f, u) for f in front for u in up])
    drawn = np.zeros((1, 2))
    if _within(region, 0.0, 0.0):
        grid = np.concatenate([drawn, grid])
    held = grid[bolts_hold(hung, grid)]
    if not len(held):
        msg = (
            "Nowhere in the region does a bolt along the axis meet the shell on both "
            f"sides: front {region.front_mm}, up {region.up_mm} mm from the drawn hinge. "
            "Widen the region, or check left_mm and right_mm."
        )
        raise BriefError(msg)
    return [(float(f), float(u)) for f, u in held]


def bolts_hold(hung: HungJaw, moves: FloatArray) -> BoolArray:
    """
    Say whether a bolt along the axis meets the shell on both sides, (n,).

    Parameters
    ----------
    hung : HungJaw
    moves : ndarray, shape (n, 2)
        Moves of the hinge, to the front and up. [mm]
    """
    bodies = bodies_of(hung.piece, hung.placement.size)
    by = np.column_stack([np.zeros(len(moves)), moves])
    start = hung.swing_sized.centre_mm + by @ hung.placement.rotation
    way = np.broadcast_to(hung.swing_sized.axis, start.shape)
    scene = bodies.shell_rays
    held: BoolArray = scene.blocked(start, way) & scene.blocked(start, -way)
    return held


def _cost(one: HingeTry) -> float:
    return one.misfit_mm + MOVE_WEIGHT * math.hypot(one.front_mm, one.up_mm)


class _Swept:
    """Misfit of a hinge and what its gap falls short, swept no oftener than it must."""

    def __init__(self, hung: HungJaw, wanted_mm: float, tries: Sequence[HingeTry]) -> None:
        self.hung, self.wanted_mm = hung, wanted_mm
        self.least, self.best = np.inf, tries[0]
        stops = np.linspace(hung.open_stop_deg, hung.close_stop_deg, _QUICK_TURNS)
        self.turns = stops[:-1]  # widest open first: there it clashes most often
        for one in tries:
            if _cost(one) < self.least:
                self(one)

    def __call__(self, one: HingeTry) -> float:
        if _cost(one) >= self.least and one is not self.best:
            return _cost(one)  # the gap can only make it worse
        moved = move_hinge(self.hung, front_mm=one.front_mm, up_mm=one.up_mm)
        cost = _cost(one)
        for turn in self.turns:
            gap = float(shell_gaps(moved, np.array([turn])).finished_mm[0])
            short = GAP_WEIGHT * max(0.0, self.wanted_mm - gap)
            cost = max(cost, _cost(one) + short)
            if cost >= self.least and one is not self.best:
                return cost
        if cost < self.least:
            self.least, self.best = cost, one
        return cost


def _compass(
    start: HingeTry,
    around: Callable[[HingeTry, float], list[HingeTry]],
    cost: Callable[[HingeTry], float],
    steps_mm: tuple[float, float],
) -> HingeTry:
    """Go downhill in eight directions, with steps halved from the first to the last."""
    best, least, (step, finest) = start, cost(start), steps_mm
    while step > finest:
        costs = [(cost(one), k, one) for k, one in enumerate(around(best, step))]
        found = min(costs, default=(np.inf, 0, best))
        if found[0] < least:
            least, _, best = found
        else:
            step /= 2
    return best


def _compass_places(
    hung: HungJaw, region: HingeRegion, one: HingeTry, step: float
) -> list[tuple[float, float]]:
    """Places of the region one step off in each direction, where a bolt holds."""
    places = [(one.front_mm + step * f, one.up_mm + step * u) for _, f, u in COMPASS]
    places = [place for place in places if _within(region, *place)]
    if not places:
        return []
    held = bolts_hold(hung, np.array(places))
    return [place for place, holds in zip(places, held, strict=True) if holds]


def _within(region: HingeRegion, front: float, up: float) -> bool:
    (back, ahead), (below, above) = region.front_mm, region.up_mm
    return back <= front <= ahead and below <= up <= above


def _least_gap(hung: HungJaw, front: float, up: float, *, count: int = _JAW_TURNS) -> float:
    """Least finished gap to the shell over the travel, closed stop aside. [mm]."""
    moved = move_hinge(hung, front_mm=front, up_mm=up)
    turns = np.linspace(hung.close_stop_deg, hung.open_stop_deg, count)[1:]
    return float(shell_gaps(moved, turns).finished_mm.min())


def _open_stop(motion: ChinMotion, moved: HungJaw, contacts: Sequence[Contact]) -> float:
    """Turn of the jaw at the wearer's largest opening, short of any contact. [deg]."""
    full = np.array([0.0, motion.full_deg])
    wanted = float(turned_by_chin(motion.swing, moved.swing, contacts[0], full)[1])
    if not np.isfinite(wanted):
        return moved.open_stop_deg
    turns = np.linspace(0.0, wanted, _JAW_TURNS)[1:]
    hit = np.nonzero(shell_gaps(moved, turns).drawn_mm <= 0)[0]
    if not len(hit):
        return round(wanted + 1.0, 1)
    return max(0.0, round(float(turns[hit[0]] - turns[0]), 1))


def _from(a: FloatArray, b: FloatArray) -> float:
    return float(np.hypot(*(a - b)[1:]))


def _cautions(
    best: HingeTry,
    gaps: tuple[float, float],
    region: HingeRegion,
    off: Sequence[tuple[str, HingeTry]],
    off_mm: float,
) -> tuple[str, ...]:
    said = []
    bounds = (
        (best.front_mm, region.front_mm, ("farther back", "farther forward")),
        (best.up_mm, region.up_mm, ("lower", "higher")),
    )
    for value, (low, high), words in bounds:
        for edge, word in zip((low, high), words, strict=True):
            if abs(value - edge) < 2 * FINEST_MM:
                at_edge = "The best hinge lies at the edge of the region"
                said.append(f"{at_edge}: {word} is better.")
    gap, wanted = gaps
    if gap < wanted - FINEST_MM:
        said.append(
            f"Even there the opening jaw comes within {gap:.1f} mm of the shell, finished; "
            f"{wanted:.1f} mm are wanted."
        )
    name, worst = max(off, key=lambda one: one[1].misfit_mm)
    said.append(
        f"The wearer's own axis is only known to about {AXIS_DOUBT_MM:g} mm: {off_mm:g} mm "
        f"off ({name}) makes the misfit {worst.misfit_mm:.1f} mm instead of "
        f"{best.misfit_mm:.1f} mm. Drill slots, or try before drilling."
    )
    return tuple(said)
