"""Descents from several starts on a sample, then on every vertex that matters."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fitkit.fit._demands import Demands, Learned, Rows
from fitkit.fit._descent import Descent, Objective, Outcome, Relief
from fitkit.fit._sample import farthest_points
from fitkit.fit.placement import FloatArray, Placement
from fitkit.fit.sight import SEEN
from fitkit.geometry.mesh import IntArray
from fitkit.wearer.zones import ZONES

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
#: Starts nearer than this in every unknown are one. [percent, mm, degrees]
SAME_START = 0.5
#: Pitches tried from the best start. [deg]
TRIED_PITCHES = (-8.0, 8.0)
#: A shake, and the moves it is given to: front, up and pitch. [mm, degrees]
SHAKE, SHAKEN_MOVES = 3.0, [4, 5, 6]
#: Room between the boxes of head and wall is shared by these zones' points.
FACE_ZONES = ("nose",)


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
    #: What the search made small, over the vertices it looked at.
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
    shake: bool = False,
) -> Found:
    """
    Minimise over size and pose, exactly over every head vertex.

    Starts are judged on a sample of the head; then all vertices are measured, those
    that are missed or nearly so are taken in, and the best descends again, until none
    is missed that was not looked at. Facets make shallow hollows in which a descent may
    rest: if asked, or if a demand is missed, it is shaken out of where it came to rest.

    Parameters
    ----------
    start : Found, optional
        To go on from, alone and unshaken.
    """
    descent = Descent(demands, objective, relief, weight)
    if start is not None:
        demands.learn(start.x)
        outcome = descent.run(start.x, demands.in_view(start.vertex))
        return _refined(demands, descent, relief, outcome)
    best = _refined(demands, descent, relief, _best_start(demands, descent))
    if not shake and best.miss_mm <= MET_MM:
        return best
    outcome = _shaken(demands, descent, best)
    shaken = _refined(demands, descent, relief, outcome)
    return shaken if shaken.merit < best.merit else best


def _refined(demands: Demands, descent: Descent, relief: Relief, outcome: Outcome) -> Found:
    """
    Descend until no vertex is missed that was not looked at.

    Each round trusts what it learned of medians and proportions less far away: from the
    second on it is pulled to where it learned it, more each time.
    """
    steps = outcome.steps
    demands.back_off_mm = 0.0
    for turn in range(MOST_ROUNDS):
        learned = demands.learn(outcome.state.x)
        missed, settled = _missed(demands, learned, relief, outcome)
        if settled:
            break
        vertex = demands.in_view(np.union1d(outcome.vertex, missed))
        start = outcome.state.x
        demands.back_off_mm = BACK_OFF_MM * max(0, turn - 1)
        held = descent.anchored(start, PULL * turn) if turn else descent
        outcome = held.run(start, vertex)
        steps += outcome.steps
    exact = demands.learn(outcome.state.x).rows
    return _found(exact, relief, descent, outcome, steps)


def _shaken(demands: Demands, descent: Descent, found: Found) -> Outcome:
    """Descend anew from a little beside where a descent rests, each free way."""
    kicks = demands.moves.spread[SHAKEN_MOVES]
    starts = [
        _allowed(demands, found.x + sign * kick)
        for kick in kicks[kicks.any(axis=1)]
        for sign in (-SHAKE, SHAKE)
    ]
    vertex = demands.in_view(found.vertex)
    tried = [descent.run(x, vertex, last_gain=START_GAIN) for x in [found.x, *starts]]
    best = min(tried, key=lambda outcome: outcome.state.merit)
    return replace(best, steps=found.steps + sum(outcome.steps for outcome in tried))


def _best_start(demands: Demands, descent: Descent) -> Outcome:
    starts = starting_unknowns(demands)
    demands.learn(starts[0])
    vertex = demands.in_view(demands.sample)
    tried = [descent.run(x, vertex, last_gain=START_GAIN) for x in starts]
    best = min(tried, key=lambda outcome: outcome.state.merit)
    for pitch in TRIED_PITCHES if "pitch" in demands.brief.free else ():
        x = _allowed(demands, best.state.x + demands.moves.spread[6] * pitch)
        tried.append(descent.run(x, vertex, last_gain=START_GAIN))
    best = min(tried, key=lambda outcome: outcome.state.merit)
    return replace(best, steps=sum(outcome.steps for outcome in tried))


def starting_unknowns(demands: Demands) -> list[FloatArray]:
    """Give unknowns to start from: as drawn, room shared, by the eyes, and far too big."""
    least, most = demands.brief.size_least, demands.brief.size_most
    drawn = Placement(size=np.clip(1.0, least, most))
    big = Placement(size=most)
    centred = _shared_room(demands, drawn)
    placements = [
        drawn,
        replace(drawn, shift_mm=centred),
        replace(drawn, shift_mm=_by_the_eyes(demands, drawn, centred)),
        replace(big, shift_mm=_shared_room(demands, big)),
    ]
    unknowns: list[FloatArray] = []
    for placement in placements:
        x = _allowed(demands, demands.moves.unknowns(placement))
        if not any(np.allclose(x, other, atol=SAME_START) for other in unknowns):
            unknowns.append(x)
    return unknowns


def _allowed(demands: Demands, x: FloatArray) -> FloatArray:
    """Bring the pose of some unknowns within the brief's limits."""
    most = np.repeat([demands.brief.shift_most_mm, demands.brief.turn_most_deg], 3)
    pose = demands.moves.spread[3:] @ x
    allowed: FloatArray = x + demands.moves.spread[3:].T @ (
        np.clip(pose, -most, most) - pose
    )
    return allowed


def _shared_room(demands: Demands, drawn: Placement) -> FloatArray:
    wearer = demands.wearer
    face = [ZONES.index(zone) for zone in FACE_ZONES]
    head = wearer.head.vertices[(wearer.zone >= 0) & ~np.isin(wearer.zone, face)]
    wall = drawn.to_head(demands.piece.facing.vertices)
    shift: FloatArray = _middle(head) - _middle(wall)
    return shift


def _middle(points: FloatArray) -> FloatArray:
    middle: FloatArray = (points.min(axis=0) + points.max(axis=0)) / 2
    return middle


def _by_the_eyes(demands: Demands, drawn: Placement, centred: FloatArray) -> FloatArray:
    shift = centred.copy()
    if demands.eyes:
        eyes = demands.eyes.values()
        off = [eye.pupil - drawn.to_head(eye.centre) for eye in eyes]
        shift[SEEN] = np.mean(off, axis=0)[SEEN]
    return shift


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
    return Found(
        x=outcome.state.x,
        rows=exact,
        amounts=amounts,
        miss_mm=descent.missed(exact, amounts),
        family_price=outcome.family_price,
        merit=outcome.state.merit,
        vertex=outcome.vertex,
        steps=steps,
    )
