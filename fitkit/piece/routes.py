"""Routes: how a piece is made, step by step, and where its surfaces end up."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

from fitkit.errors import DesignError
from fitkit.piece.buildup import BuildUp, Layer
from fitkit.piece.laminate import within
from fitkit.piece.notes import nearest_name
from fitkit.piece.route_steps import CopyStep, Kept, LayerStep, RemoveStep, Side, Step

#: Farthest that finished surfaces may lie from the drawn one. [mm]
FARTHEST_MM = 150.0
#: Most steps of a route.
MOST_STEPS = 40


@dataclass(frozen=True, kw_only=True)
class Coat:
    """A layer as it is found in the finished wall."""

    name: str
    #: Distances from the drawn surface at the finished size: outward positive. [mm]
    from_mm: float
    to_mm: float
    density_g_cm3: float

    @property
    def thickness_mm(self) -> float:
        """What is left of it in mm."""
        return self.to_mm - self.from_mm


@dataclass(frozen=True, kw_only=True)
class Stage:
    """Where the surfaces are after a step; lengths are those of that moment."""

    #: Name of the step, or "master as drawn".
    name: str
    #: Size of the drawn shape over that of the master as drawn.
    scale: float
    #: Distances of both surfaces from the drawn one, outward positive. [mm]
    outer_mm: float
    inner_mm: float
    coats: tuple[Coat, ...]


@dataclass(frozen=True, kw_only=True)
class Route:
    """
    How a piece is made.

    Raises
    ------
    DesignError
        If there is no step, two have one name, sanding goes through the wall, the
        surfaces end up more than 150 mm from the drawn one, or a drawn wall is copied
        by one of its surfaces only.
    """

    name: str
    #: Steps in order.
    steps: tuple[Step, ...]
    #: Whether the master is drawn with its wall: distances then count from its own
    #: outer and inner side. False for a form or a bare skin.
    drawn_wall: bool = False
    #: What it is for, in words.
    about: str = ""

    def __post_init__(self) -> None:
        within(f"steps of {self.name}", len(self.steps), low=1, high=MOST_STEPS, unit="")
        names = [step.name for step in self.steps]
        for name in names:
            if names.count(name) > 1:
                msg = f"{self.name}: two steps are named '{name}'; number them."
                raise DesignError(msg)
        for copy in self.copies:
            if self.drawn_wall and copy.keeps != "both":
                msg = (
                    f"{self.name}: '{copy.name}' keeps the {copy.keeps} surface, so the "
                    "drawn wall is lost. Draw that surface alone and leave drawn_wall "
                    'out, or copy both ("keeps": "both").'
                )
                raise DesignError(msg)
        for stage in stages(self):
            for label, at in (("outer", stage.outer_mm), ("inner", stage.inner_mm)):
                what = f"{self.name}: {label} surface after '{stage.name}'"
                within(what, at, low=-FARTHEST_MM, high=FARTHEST_MM, unit="mm")

    @property
    def finished(self) -> Stage:
        """The last stage."""
        return stages(self)[-1]

    @property
    def wall_mm(self) -> float:
        """Thickness of all that is in the finished wall in mm, without a drawn wall."""
        return self.finished.outer_mm - self.finished.inner_mm

    @property
    def growth_mm(self) -> float:
        """From the drawn surface to the finished outside in mm; negative if inside it."""
        return self.finished.outer_mm

    @property
    def lining_mm(self) -> float:
        """From the drawn surface to the finished inner wall, towards the head, in mm."""
        return -self.finished.inner_mm

    @property
    def copies(self) -> tuple[CopyStep, ...]:
        """The copy steps in order."""
        return tuple(step for step in self.steps if isinstance(step, CopyStep))

    @property
    def master_scale(self) -> float:
        """
        Size to make the master at, over the finished size: the product of 1 / (1 - s).

        Examples
        --------
        >>> moulds = (("mould", 0.1), ("casting", 0.4), ("second casting", 0.3))
        >>> copies = tuple(CopyStep(name=n, shrink_percent=s, keeps="both")
        ...                for n, s in moulds)
        >>> round(Route(name="three copies", steps=copies).master_scale, 6)
        1.008045
        """
        return 1 / math.prod(copy.factor for copy in self.copies)

    @property
    def master_scale_sd(self) -> float:
        """
        Standard deviation of the finished size over the size meant, as a share.

        Independent spreads of the copy steps, added in squares, to first order.
        """
        return math.hypot(*(c.spread_percent / 100 / c.factor for c in self.copies))

    @property
    def lining_sd_mm(self) -> float:
        """
        Standard deviation of the inner wall's place in mm, by the layers and sanding.

        Only what moves the inner wall counts: a spread that a later copy of the other
        surface leaves behind does not.
        """
        return _surface_sd_mm(self, "inner")

    @property
    def growth_sd_mm(self) -> float:
        """Standard deviation of the outside's place in mm, by the layers and sanding."""
        return _surface_sd_mm(self, "outer")

    def step(self, name: str) -> Step:
        """
        Find a step by name.

        Raises
        ------
        DesignError
            If there is none.
        """
        for step in self.steps:
            if step.name == name:
                return step
        msg = f"{self.name} has no step '{name}'. "
        raise DesignError(msg + nearest_name(name, [s.name for s in self.steps]))

    def without(self, name: str) -> Route:
        """Leave a step out; DesignError if there is none, or the rest is no route."""
        self.step(name)
        left = tuple(step for step in self.steps if step.name != name)
        return replace(self, name=f"{self.name}, without {name}", steps=left)

    def doubled(self, name: str) -> Route:
        """Do a step twice over; DesignError if there is none, or it goes too far."""
        self.step(name)
        steps = [s for step in self.steps for s in _twice(step, step.name == name)]
        return replace(self, name=f"{self.name}, {name} twice", steps=tuple(steps))

    def edited(self, name: str, **changes: object) -> Route:
        """
        Change fields of one step.

        Raises
        ------
        DesignError
            If there is no such step or field, or a value cannot be used.
        """
        old = self.step(name)
        for key in changes:
            if key not in old.__dataclass_fields__:
                msg = (
                    f"'{name}' has no {key}. {nearest_name(key, old.__dataclass_fields__)}"
                )
                raise DesignError(msg)
        new = replace(old, **changes)  # type: ignore[arg-type]
        return replace(self, steps=tuple(new if s is old else s for s in self.steps))


def route_of(build_up: BuildUp, *, drawn_wall: bool) -> Route:
    """
    Read layers and shrinkages as a route: the copies first, then what is laid.

    Parameters
    ----------
    build_up : BuildUp
    drawn_wall : bool
        Whether the design is drawn with its wall.

    Returns
    -------
    Route
        With the usual spreads, and densities of nothing in particular: for sizes, areas
        and volumes.

    Raises
    ------
    DesignError
        If the build-up has neither layers nor shrinkage.
    """
    kept: Kept = "both" if drawn_wall else "outer"
    copies = [
        CopyStep(name=f"copy {number}", shrink_percent=shrink, keeps=kept)
        for number, shrink in enumerate(build_up.shrink_percent, start=1)
    ]
    sides: tuple[tuple[Side, tuple[Layer, ...]], ...] = (
        ("outward", build_up.outward),
        ("inward", build_up.inward),
    )
    laid: list[Step] = []
    for side, layers in sides:
        for number, layer in enumerate(layers, start=1):
            taken = {step.name for step in laid}
            name = layer.name if layer.name not in taken else f"{layer.name}, {side}"
            name = name if name not in taken else f"{name} {number}"
            laid.append(LayerStep(name=name, side=side, thickness_mm=layer.thickness_mm))
    return Route(
        name="as noted", steps=(*copies, *laid), drawn_wall=drawn_wall,
        about="Layers and shrinkage from the notes of the piece.",
    )  # fmt: skip


def stages(route: Route) -> tuple[Stage, ...]:
    """
    Follow both surfaces of a route, step by step.

    Returns
    -------
    tuple of Stage
        The master as drawn first, then one a step.

    Raises
    ------
    DesignError
        If a removal goes through what is there.

    Notes
    -----
    A surface at a true distance d from a shape, copied at a factor f, is the surface at
    the true distance f d from the shape at the factor f. So a route is exactly known by
    one scale and two distances, whatever the shape.
    """
    stage = Stage(name="master as drawn", scale=1.0, outer_mm=0.0, inner_mm=0.0, coats=())
    found = [stage]
    for step in route.steps:
        stage = _after(stage, step, route)
        found.append(stage)
    return tuple(found)


def _after(stage: Stage, step: Step, route: Route) -> Stage:
    if isinstance(step, LayerStep):
        return _layered(stage, step)
    if isinstance(step, CopyStep):
        return _copied(stage, step)
    return _sanded(stage, step, route)


def _layered(stage: Stage, step: LayerStep) -> Stage:
    if step.side == "outward":
        low, high = stage.outer_mm, stage.outer_mm + step.even_mm
        outer, inner = high, stage.inner_mm
    else:
        low, high = stage.inner_mm - step.even_mm, stage.inner_mm
        outer, inner = stage.outer_mm, low
    coat = Coat(name=step.name, from_mm=low, to_mm=high, density_g_cm3=step.density)
    return Stage(
        name=step.name,
        scale=stage.scale,
        outer_mm=outer,
        inner_mm=inner,
        coats=(*stage.coats, coat),
    )


def _copied(stage: Stage, step: CopyStep) -> Stage:
    f = step.factor
    outer, inner = f * stage.outer_mm, f * stage.inner_mm
    coats = tuple(
        replace(coat, from_mm=f * coat.from_mm, to_mm=f * coat.to_mm)
        for coat in stage.coats
    )
    if step.keeps != "both":  # of the copy itself there is nothing yet but a surface
        outer = inner = outer if step.keeps == "outer" else inner
        coats = ()
    return Stage(
        name=step.name,
        scale=f * stage.scale,
        outer_mm=outer,
        inner_mm=inner,
        coats=coats,
    )


def _sanded(stage: Stage, step: RemoveStep, route: Route) -> Stage:
    there = stage.outer_mm - stage.inner_mm
    if not route.drawn_wall and step.depth_mm >= there > 0:
        msg = (
            f"{route.name}: '{step.name}' takes {step.depth_mm:g} mm off a wall of "
            f"{there:.2f} mm: it goes through, and the wall would be negative. Sand less, "
            "or lay more before it."
        )
        raise DesignError(msg)
    outer, inner = stage.outer_mm, stage.inner_mm
    if step.side == "outward":
        outer -= step.depth_mm
    else:
        inner += step.depth_mm
    if not route.drawn_wall and there == 0:  # the form itself is sanded
        outer = inner = outer if step.side == "outward" else inner
    return Stage(
        name=step.name,
        scale=stage.scale,
        outer_mm=outer,
        inner_mm=inner,
        coats=tuple(_clipped(stage.coats, inner, outer)),
    )


def _clipped(coats: tuple[Coat, ...], low: float, high: float) -> Iterator[Coat]:
    for coat in coats:
        start, end = max(coat.from_mm, low), min(coat.to_mm, high)
        if end - start > 1e-9:
            yield replace(coat, from_mm=start, to_mm=end)


def _surface_sd_mm(route: Route, which: Literal["outer", "inner"]) -> float:
    """Follow the variances of both surfaces; a copy hands on that of the kept one."""
    outer: dict[str, float] = {}
    inner: dict[str, float] = {}
    for step in route.steps:
        if isinstance(step, CopyStep):
            outer = {name: step.factor * sd for name, sd in outer.items()}
            inner = {name: step.factor * sd for name, sd in inner.items()}
            if step.keeps == "outer":
                inner = dict(outer)
            elif step.keeps == "inner":
                outer = dict(inner)
            continue
        size = step.even_mm if isinstance(step, LayerStep) else step.depth_mm
        moved = outer if step.side == "outward" else inner
        moved[step.name] = size * step.spread_percent / 100
    return math.hypot(*(outer if which == "outer" else inner).values())


def _twice(step: Step, double: bool) -> Iterator[Step]:
    yield step
    if double:
        yield replace(step, name=f"{step.name}, again")
