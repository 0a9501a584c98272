"""Sequential quadratic programming on the demands and wishes of one brief."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from fitkit.fit._demands import FAMILIES, Demands, Rows, View
from fitkit.fit._program import least_square_program
from fitkit.fit._watch import Watch
from fitkit.fit.placement import FloatArray
from fitkit.geometry.mesh import IntArray

#: Price of one mm (or percent) by which a demand is missed, against wishes of order 1.
MISS_PRICE = 1000.0
#: First and largest step in every unknown: percent, mm, degrees.
FIRST_STEP, LARGEST_STEP = 8.0, 20.0
#: Steps shorter than this end the descent.
LAST_STEP = 2e-4
#: Gains smaller than this, over the merit, end it too.
LAST_GAIN = 1e-5
#: Least box for a fresh look without old planes.
FRESH_STEP = 0.1
#: Share of the promised gain that a step must bring to be taken.
GAIN_SHARE = 0.05
MOST_STEPS = 60
#: Linearisations kept beside the newest.
KEPT_PLANES = 4
#: Rows this far from being reached by a step are left out of its program. [mm]
MARGIN_MM = 1.0
#: Curvature that keeps each program strictly convex: of a step, of a change in the
#: amounts of relief, and of the slack.
CURVATURE, RELIEF_CURVATURE, SLACK_CURVATURE = 1e-5, 1e-2, 1.0


class Objective(Protocol):
    """Anything that gives residuals to be squared and summed, with their slopes."""

    def residuals(self, view: View, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give residuals, shape (w,), and slopes, shape (w, k)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Relief:
    """
    Ways in which demands may be eased: amounts that join the unknowns.

    Amount r eases every row of column r by ``rate * amount`` and costs
    ``price[r] * amount``. A row is in one column at most.
    """

    #: Column of each family of demand, shape (families,), -1 = not eased.
    column: IntArray
    #: Price of a unit of each amount, shape (r,).
    price: FloatArray
    #: Least value of each amount: 0, or minus infinity to ask for as much as can be.
    floor: FloatArray
    #: Rate of easing at each head vertex, shape (n,); None = 1 everywhere.
    vertex_rate: FloatArray | None = None

    def rates(self, rows: Rows) -> tuple[IntArray, FloatArray]:
        """Give the column of each row, -1 for none, and its rate, both shape (m,)."""
        column = self.column[rows.family]
        rate = np.ones(len(column))
        if self.vertex_rate is not None:
            seen = rows.vertex >= 0
            rate[seen] = self.vertex_rate[rows.vertex[seen]]
        column = np.where(rate > 0.0, column, -1)
        return column, rate

    def amounts(self, rows: Rows) -> FloatArray:
        """Give the least amounts that meet every row they ease, shape (r,)."""
        column, rate = self.rates(rows)
        amounts = self.floor.copy()
        eased = column >= 0
        np.maximum.at(amounts, column[eased], -rows.value[eased] / rate[eased])
        return amounts


NO_RELIEF = Relief(column=np.full(len(FAMILIES), -1), price=np.zeros(0), floor=np.zeros(0))


@dataclass(frozen=True, kw_only=True, eq=False)
class State:
    """All that was measured at one vector of unknowns."""

    x: FloatArray
    rows: Rows
    residual: FloatArray
    residual_slope: FloatArray
    #: Amounts of relief in use, shape (r,).
    amounts: FloatArray
    #: By how much the worst demand is still missed, after relief. [mm]
    miss_mm: float
    #: What the wishes come to.
    wish: float
    #: What the descent makes small: wishes, relief and miss.
    merit: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """Where a descent ended."""

    state: State
    #: Price of each family of demand in the last program.
    family_price: FloatArray
    #: Head vertices that were looked at.
    vertex: IntArray
    steps: int


class Descent:
    """
    Trust-region descent with exact slopes; each step is one convex program.

    Notes
    -----
    Demands are linearised, wishes are taken as a sum of squared linear residuals
    (Gauss and Newton), and a demand that cannot be met is missed by a slack that costs
    more than any wish: R. Fletcher, *Practical Methods of Optimization* (2nd ed. 1987),
    section 14.3. The step is kept inside a box that grows and shrinks with how well
    the last program foretold the gain. Distances inside a hollow bend downwards, so
    the last few linearisations stay in the program beside the newest, as cutting planes
    (J. E. Kelley, J. SIAM 8, 703-712 (1960)), each raised where it contradicts what was
    measured at the present point.
    """

    def __init__(
        self, demands: Demands, objective: Objective, relief: Relief, weight: float = 1.0
    ) -> None:
        self._demands, self._objective = demands, objective
        self._relief, self._weight = relief, weight

    def anchored(self, x: FloatArray, pull: float) -> Descent:
        """Give a descent that pays ``pull ** 2`` for each unit, squared, away from x."""
        objective = _Anchored(self._objective, x, pull / self._weight**0.5)
        return Descent(self._demands, objective, self._relief, self._weight)

    def run(
        self, x: FloatArray, vertex: IntArray, *, last_gain: float = LAST_GAIN
    ) -> Outcome:
        """Descend from x looking at the given head vertices, to gains that small."""
        watch = Watch(self._demands, vertex)
        state, box, fresh_merit = self.state(watch.view(x)), FIRST_STEP, np.inf
        past: deque[State] = deque(maxlen=KEPT_PLANES)
        steps = 0
        while steps < MOST_STEPS:
            model = _planes(state, past)
            step, price = self._program(state, model, box)
            reach = float(np.abs(step).max())
            promised = state.merit - self._foretold(state, model, step)
            least = last_gain * (1.0 + abs(state.merit))
            if reach < LAST_STEP or promised < least:
                if not past or state.merit > fresh_merit - least:
                    break
                past.clear()
                box, fresh_merit = max(box, FRESH_STEP), state.merit
                continue
            tried, steps = self.state(watch.view(state.x + step)), steps + 1
            share = (state.merit - tried.merit) / promised
            box = _next_box(box, reach, share)
            if share > GAIN_SHARE:
                state, tried = tried, state
            past.append(tried)
        return Outcome(state=state, family_price=price, vertex=vertex, steps=steps)

    def rest(self, x: FloatArray, vertex: IntArray) -> Outcome:
        """Measure everything at x and stay there."""
        state = self.state(self._demands.view(x, vertex))
        price = np.zeros(len(FAMILIES))
        return Outcome(state=state, family_price=price, vertex=vertex, steps=0)

    def state(self, view: View) -> State:
        """Measure everything from a view."""
        rows = self._demands.rows(view, view.x)
        residual, slope = self._objective.residuals(view, view.x)
        amounts = self._relief.amounts(rows)
        miss = self.missed(rows, amounts)
        wish = self._weight * float(residual @ residual)
        return State(
            x=view.x,
            rows=rows,
            residual=residual,
            residual_slope=slope,
            amounts=amounts,
            miss_mm=miss,
            wish=wish,
            merit=wish + self.price(amounts, miss),
        )

    def price(self, amounts: FloatArray, miss_mm: float) -> float:
        """Give the price of amounts of relief and of what is still missed."""
        return float(self._relief.price @ amounts) + MISS_PRICE * miss_mm

    def missed(self, rows: Rows, amounts: FloatArray) -> float:
        """Say by how much the worst demand is missed with those amounts of relief."""
        column, rate = self._relief.rates(rows)
        eased = np.append(amounts, 0.0)[column] * rate
        return max(0.0, -float((rows.value + eased).min()))

    def _program(
        self, state: State, model: Rows, box: float
    ) -> tuple[FloatArray, FloatArray]:
        """Solve for the step, shape (k,), and the price of each family of demand."""
        near = self._within_reach(model, box)
        k = len(state.x)
        slope, weight = state.residual_slope, 2.0 * self._weight
        counts = [k, len(state.amounts), 1]
        curvature = [CURVATURE, RELIEF_CURVATURE, SLACK_CURVATURE]
        hessian = np.diag(np.repeat(curvature, counts))
        hessian[:k, :k] += weight * slope.T @ slope
        gradient = np.concatenate(
            [weight * slope.T @ state.residual, self._relief.price, [MISS_PRICE]]
        )
        rows, least = self._program_rows(near, state, box)
        found = least_square_program(hessian, gradient, rows, least)
        price = found.price[: len(near.value)]
        by_family = np.bincount(near.family, price, minlength=len(FAMILIES))
        return found.x[:k], by_family.astype(float)

    def _program_rows(
        self, near: Rows, state: State, box: float
    ) -> tuple[FloatArray, FloatArray]:
        """Demands eased by relief or by the slack, the box, the floors of the amounts."""
        k, r = len(state.x), len(state.amounts)
        column, rate = self._relief.rates(near)
        eased = np.zeros((len(column), r + 1))
        taken = np.where(column < 0, r, column)
        eased[np.arange(len(column)), taken] = np.where(column < 0, 1.0, rate)
        demand = np.hstack([near.slope, eased])
        bounds = np.vstack([np.eye(k, k + r + 1), -np.eye(k, k + r + 1)])
        floor = np.append(self._relief.floor - state.amounts, 0.0)
        bound = np.isfinite(floor)
        floors = np.eye(r + 1, k + r + 1, k)[bound]
        had = near.value + eased[:, :r] @ state.amounts
        ends = [-had, np.full(2 * k, -box), floor[bound]]
        return np.vstack([demand, bounds, floors]), np.concatenate(ends)

    def _within_reach(self, model: Rows, box: float) -> Rows:
        """Keep the planes that a step inside the box could bring into play."""
        column, _ = self._relief.rates(model)
        sought = np.append(np.isinf(self._relief.floor), False)[column]
        reach = box * np.abs(model.slope).sum(axis=1) + MARGIN_MM
        return model.chosen(sought | (model.value < reach))

    def _foretold(self, state: State, model: Rows, step: FloatArray) -> float:
        ahead = replace(model, value=model.value + model.slope @ step)
        amounts = self._relief.amounts(ahead)
        residual = state.residual + state.residual_slope @ step
        wish = self._weight * float(residual @ residual)
        return wish + self.price(amounts, self.missed(ahead, amounts))


@dataclass(frozen=True, eq=False)
class _Anchored:
    """An objective that would also rather stay where it started."""

    objective: Objective
    x: FloatArray
    pull: float

    def residuals(self, view: View, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        value, slope = self.objective.residuals(view, x)
        away = self.pull * (x - self.x)
        return np.append(value, away), np.vstack([slope, self.pull * np.eye(len(x))])


def _planes(state: State, past: Iterable[State]) -> Rows:
    """Stack the demands at a state and the planes kept from other points."""
    rows, value, slope = state.rows, [state.rows.value], [state.rows.slope]
    for other in past:
        here = other.rows.value + other.rows.slope @ (state.x - other.x)
        value.append(np.maximum(here, rows.value))
        slope.append(other.rows.slope)
    return Rows(
        value=np.concatenate(value),
        slope=np.vstack(slope),
        family=np.tile(rows.family, len(value)),
        vertex=np.tile(rows.vertex, len(value)),
    )


def _next_box(box: float, reach: float, share: float) -> float:
    if share < 0.25:
        return 0.5 * min(box, reach) if share < 0 else 0.7 * min(box, reach)
    if share > 0.75 and reach > 0.9 * box:
        return min(2.0 * box, LARGEST_STEP)
    return box
