"""What a slip on the bench does: a step left out, or done twice."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from fitkit.errors import DesignError
from fitkit.piece.laminate import within
from fitkit.piece.routes import Route

Slip = Literal["left out", "doubled"]
#: Change of a convex girth for a unit of offset.
TURN = 2 * math.pi


@dataclass(frozen=True, kw_only=True)
class StepEffect:
    """What becomes of the finished piece if one step goes wrong and no one notices."""

    step: str
    slip: Slip
    #: The route with the slip; None if no piece comes of it.
    route: Route | None
    #: Why no piece comes of it; empty if one does.
    problem: str
    #: How far the inner wall moves away from the head, apart from the size; negative is
    #: towards it; nan if no piece comes of it. [mm]
    inner_away_mm: float
    #: Change of the wall's thickness. [mm]
    wall_mm: float
    #: Change of size, of the master as it was made. [percent]
    size_percent: float
    #: Change of an inside girth by both. [mm]
    girth_mm: float


def step_effects(route: Route, *, girth_mm: float = 590.0) -> tuple[StepEffect, ...]:
    """
    Leave out and double every step of a route in turn.

    Parameters
    ----------
    route : Route
    girth_mm : float
        Inside girth that the finished piece should have. [mm]

    Returns
    -------
    tuple of StepEffect
        Two a step, in order. The master keeps the size it was made at.

    Raises
    ------
    DesignError
        If the girth is not 200 to 3000 mm.

    Notes
    -----
    A convex girth grows by 2π for each millimetre of offset (Steiner's formula).
    """
    within("girth_mm", girth_mm, low=200, high=3000, unit="mm")
    return tuple(_effects(route, girth_mm))


def _effects(route: Route, girth_mm: float) -> Iterator[StepEffect]:
    for step in route.steps:
        for slip in ("left out", "doubled"):
            yield _effect(route, step.name, slip, girth_mm)


def _effect(route: Route, name: str, slip: Slip, girth_mm: float) -> StepEffect:
    nan = float("nan")
    try:
        other = route.without(name) if slip == "left out" else route.doubled(name)
        if not route.drawn_wall and other.wall_mm <= 0:
            msg = "No wall is left."
            raise DesignError(msg)
    except DesignError as error:
        return StepEffect(
            step=name, slip=slip, route=None, problem=str(error),
            inner_away_mm=nan, wall_mm=nan, size_percent=nan, girth_mm=nan,
        )  # fmt: skip
    away = route.lining_mm - other.lining_mm
    size = route.master_scale / other.master_scale
    drawn = girth_mm + TURN * route.lining_mm
    return StepEffect(
        step=name,
        slip=slip,
        route=other,
        problem="",
        inner_away_mm=away,
        wall_mm=other.wall_mm - route.wall_mm,
        size_percent=100 * (size - 1),
        girth_mm=drawn * (size - 1) + TURN * away,
    )
