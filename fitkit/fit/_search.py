"""Descents from several starts on a sample, then on every vertex that matters."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitkit.fit._demands import Demands, Learned, Rows
from fitkit.fit._descent import Descent, Objective, Outcome, Relief
from fitkit.fit._sample import farthest_points
from fitkit.fit._starts import kicked, starting_unknowns
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import IntArray

#: Gains smaller than this, over the merit, end the descent from each start.
START_GAIN = 1e-3
#: Demands missed by less than this are met. [mm]
MET_MM = 0.005
#: Vertices taken in at once: those missed most, spread over the head.
TAKEN_AT_ONCE = 60
#: Vertices within this of being missed are taken in too. [mm]
NEAR_MM = 0.5
MOST_ROUNDS = 10
#: Pull back to the start of each round after the first, per round: squared, the price
#: of one percent, mm or degree away.
PULL = 0.5
#: Foretold medians may be off by this on the safe side. [mm]
MEDIAN_MM = 0.05
#: Medians are foretold this much larger in each round after the second. [mm]
BACK_OFF_MM = 0.01
#: A shake, and the moves it is given to: front, up and pitch. [mm, degrees]
SHAKE, SHAKEN_MOVES = 3.0, (4, 5, 6)
#: Pitches tried from every start of a thorough search. [deg]
PITCH, PITCH_KICK = 6, 10.0
#: Descents that end nearer than this in every unknown lie in one hollow.
SAME_HOLLOW = 1.5
#: Hollows that are refined besides the best.
MOST_HOLLOWS = 2


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """Best unknowns found, and how it went."""

    x: FloatArray
    #: Every demand at x, over all head vertices.
    rows: Rows
    #: Amounts of relief in use, exact over all head vertices, shape (r,).
    amounts: FloatArray
    #: By how much the worst demand is missed after relief, over all vertices. [mm]
    miss_mm: float
    #: Price of each family of demand at x.
    family_price: FloatArray
    #: What the search made small, over all head vertices.
    merit: float
    #: Head vertices that the last program looked at.
    vertex: IntArray
    steps: int


def search(
    demands: Demands,
    objective: Objective,
    relief: Relief,
    *,
    weight: float = 1.0,
    start: Found | None = None,
    thorough: bool = False,
) -> Found:
    """
    Minimise over size and pose, exactly over every head vertex.

    Starts are judged on a sample of the head; then all vertices are measured, those
    that are missed or nearly so are taken in, and the best descends again, until none
    is missed that was not looked at.

    Turning is not convex, and facets make shallow hollows in which a descent may rest.
    So if asked, or if a demand is missed, more pitches are tried, the best of each
    hollow is refined, and the best of these is shaken out of where it rests.

    Parameters
    ----------
    start : Found, optional
        To go on from, and from nowhere else.
    """
    descent = Descent(demands, objective, relief, weight)
    if start is not None:
        outcome = descent.rest(start.x, start.vertex)
        return _refined(demands, descent, relief, outcome)
    starts = starting_unknowns(demands)
    tried = _try(demands, descent, starts)
    found = _refined(demands, descent, relief, tried[0])
    if not thorough and found.miss_mm <= MET_MM:
        return found
    pitched = [x for s in starts for x in kicked(demands, s, [PITCH], PITCH_KICK)]
    done = [tried[0].state.x, found.x]
    tried = sorted([*tried, *_try(demands, descent, pitched)], key=_merit)
    hollows = _hollows(tried, done)
    refined = [found, *(_refined(demands, descent, relief, one) for one in hollows)]
    best = min(refined, key=_merit)
    shaken = _refined(demands, descent, relief, _shaken(demands, descent, best))
    best = min(best, shaken, key=_merit)
    return replace(best, steps=sum(one.steps for one in [*refined, shaken]))


def _try(demands: Demands, descent: Descent, starts: list[FloatArray]) -> list[Outcome]:
    """Descend from each start on the sample of the head; the best comes first."""
    tried = []
    for x in starts:
        demands.glance(x)
        first = descent.run(x, demands.sample, last_gain=START_GAIN)
        demands.glance(first.state.x)
        second = descent.run(first.state.x, demands.sample, last_gain=START_GAIN)
        tried.append(replace(second, steps=first.steps + second.steps))
    return sorted(tried, key=_merit)


def _merit(one: Outcome | Found) -> float:
    return one.state.merit if isinstance(one, Outcome) else one.merit


def _hollows(tried: list[Outcome], done: list[FloatArray]) -> list[Outcome]:
    """Keep the best of each hollow but those done, at most `MOST_HOLLOWS`."""
    seen: list[FloatArray] = list(done)
    kept: list[Outcome] = []
    for one in tried:
        if all(np.abs(one.state.x - x).max() > SAME_HOLLOW for x in seen):
            seen.append(one.state.x)
            kept.append(one)
    return kept[:MOST_HOLLOWS]


def _refined(demands: Demands, descent: Descent, relief: Relief, outcome: Outcome) -> Found:
    """
    Descend until no vertex is missed that was not looked at.

    Each round trusts what it learned of medians and proportions less far away: from the
    second on it is pulled to where it learned it, more each time.
    """
    steps = outcome.steps
    demands.back_off_mm = 0.0
    for turn in range(MOST_ROUNDS):
        learned = demands.learn(outcome.state.x, afresh=turn == 0)
        missed, settled = _missed(demands, learned, relief, outcome)
        if turn and settled:
            break
        vertex = np.union1d(outcome.vertex, missed)
        start = outcome.state.x
        demands.back_off_mm = BACK_OFF_MM * max(0, turn - 1)
        held = descent.anchored(start, PULL * turn) if turn else descent
        outcome = held.run(start, vertex)
        steps += outcome.steps
    exact = demands.learn(outcome.state.x).rows
    return _found(exact, relief, descent, outcome, steps)


def _shaken(demands: Demands, descent: Descent, found: Found) -> Outcome:
    """Descend anew from a little beside where a descent rests, each free way."""
    starts = [found.x, *kicked(demands, found.x, SHAKEN_MOVES, SHAKE)]
    tried = [descent.run(x, found.vertex, last_gain=START_GAIN) for x in starts]
    return min(tried, key=_merit)


def _missed(
    demands: Demands, learned: Learned, relief: Relief, outcome: Outcome
) -> tuple[IntArray, bool]:
    """Find vertices not looked at that are missed, and whether all came as foretold."""
    exact = learned.rows
    column, rate = relief.rates(exact)
    eased = np.append(outcome.state.amounts, 0.0)[column] * rate
    left = exact.value + eased + outcome.state.miss_mm * (column < 0)
    fresh = (exact.vertex >= 0) & ~np.isin(exact.vertex, outcome.vertex)
    if not (fresh & (left < -MET_MM)).any():
        others = bool(np.all(left[exact.vertex < 0] >= -MET_MM))
        right = learned.mismatch_mm < MET_MM and learned.median_off_mm < MEDIAN_MM
        return np.zeros(0, dtype=np.int64), others and right
    rows = np.nonzero(fresh & (left < NEAR_MM))[0]
    worst = rows[np.argsort(left[rows], kind="stable")[:TAKEN_AT_ONCE]]
    points = demands.wearer.head.vertices[exact.vertex[rows]]
    spread = rows[farthest_points(points, min(TAKEN_AT_ONCE, len(rows)))]
    return np.union1d(exact.vertex[worst], exact.vertex[spread]), False


def _found(
    exact: Rows, relief: Relief, descent: Descent, outcome: Outcome, steps: int
) -> Found:
    amounts = relief.amounts(exact)
    miss = descent.missed(exact, amounts)
    return Found(
        x=outcome.state.x,
        rows=exact,
        amounts=amounts,
        miss_mm=miss,
        family_price=outcome.family_price,
        merit=outcome.state.wish + descent.price(amounts, miss),
        vertex=outcome.vertex,
        steps=steps,
    )
