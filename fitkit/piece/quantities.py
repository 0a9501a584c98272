"""What to buy, weigh out and charge for: areas, masses, mixes, cost and bench time."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from fitkit.errors import DesignError
from fitkit.geometry.mesh import Mesh
from fitkit.piece._solid_moments import band_moments
from fitkit.piece.laminate import within
from fitkit.piece.notes import nearest_name
from fitkit.piece.route_steps import CopyStep, LayerStep
from fitkit.piece.routes import Route, Stage, stages


@dataclass(frozen=True, kw_only=True)
class Weight:
    """
    A weight for the bench: exact, with its waste, and as the scale can show it.

    Raises
    ------
    DesignError
        If the waste is not 0 to 200 %, or the step of the scale not above 0.

    Examples
    --------
    >>> Weight(net_g=103.2, waste_percent=15, scale_step_g=5).weigh_g
    120.0
    """

    #: What ends up in the piece. [g]
    net_g: float
    #: What stays in cups and on brushes, over what ends up in the piece. [percent]
    waste_percent: float
    #: Least difference that the scale shows. [g]
    scale_step_g: float

    def __post_init__(self) -> None:
        within("waste_percent", self.waste_percent, low=0, high=200, unit="%")
        within("scale_step_g", self.scale_step_g, low=0.001, high=1000, unit="g")

    @property
    def gross_g(self) -> float:
        """With its waste in g, before rounding."""
        return self.net_g * (1 + self.waste_percent / 100)

    @property
    def weigh_g(self) -> float:
        """What to weigh out in g: rounded up to a step of the scale."""
        steps = math.ceil(self.gross_g / self.scale_step_g - 1e-9)
        return float(steps * self.scale_step_g)


@dataclass(frozen=True, kw_only=True)
class Shop:
    """
    What the maker knows of the own bench: scale, waste, prices and rates.

    Raises
    ------
    DesignError
        If a number is out of range.
    """

    scale_step_g: float = 1.0
    #: Waste, unless a material has one of its own. [percent]
    waste_percent: float = 10.0
    #: Waste by step. [percent]
    waste_by_step: Mapping[str, float] = field(default_factory=dict)
    #: Price by step, in whatever money. [per kg]
    price_per_kg: Mapping[str, float] = field(default_factory=dict)
    #: Time at the bench by step: to set up, and by area. [min], [min/m²]
    setup_min: Mapping[str, float] = field(default_factory=dict)
    min_per_m2: Mapping[str, float] = field(default_factory=dict)
    #: Waiting by step until the next can begin: cure, drying. [h]
    wait_h: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        within("scale_step_g", self.scale_step_g, low=0.001, high=1000, unit="g")
        within("waste_percent", self.waste_percent, low=0, high=200, unit="%")
        for what in ("price_per_kg", "setup_min", "min_per_m2", "wait_h"):
            for name, value in getattr(self, what).items():
                within(f"{what} of {name}", value, low=0, high=1e5, unit="")

    def waste_of(self, step: str) -> float:
        """Waste of a step in percent."""
        return self.waste_by_step.get(step, self.waste_percent)


@dataclass(frozen=True, kw_only=True)
class StepQuantity:
    """What one step takes."""

    step: str
    #: Of the surface that is worked on, at the size of that moment. [m²]
    area_m2: float
    #: Of what is laid; 0 for a copy or a removal. [cm³]
    volume_cm3: float
    #: All of it; net 0 for a copy or a removal.
    weight: Weight
    #: Of a laminate: dry fibre and mixed resin; None for anything else.
    fibre: Weight | None
    resin: Weight | None
    #: None where the maker gave no price. [the maker's money]
    cost: float | None
    #: Hands-on, and waiting after it; 0 where the maker gave no rate. [min], [h]
    bench_min: float
    wait_h: float


@dataclass(frozen=True, kw_only=True)
class Quantities:
    """What a route takes, step by step."""

    route: Route
    steps: tuple[StepQuantity, ...]
    #: Of the known prices. [the maker's money]
    cost: float
    #: Steps that lay something and have no price.
    unpriced: tuple[str, ...]
    #: Hands-on, and with waiting, one step after another. [h]
    bench_h: float
    elapsed_h: float
    #: Mass of what is in the finished wall, without a wall that is drawn. [g]
    wall_g: float

    def step(self, name: str) -> StepQuantity:
        """
        Find a step by name.

        Raises
        ------
        DesignError
            If there is none.
        """
        for one in self.steps:
            if one.step == name:
                return one
        msg = f"There is no step '{name}'. "
        raise DesignError(msg + nearest_name(name, [s.step for s in self.steps]))


def quantities(
    *, outside: Mesh, inside: Mesh, route: Route, shop: Shop | None = None
) -> Quantities:
    """
    Work out areas, masses, cost and time of every step.

    Parameters
    ----------
    outside, inside : Mesh
        The drawn surfaces that grow outward and inward (of a bare skin, the same one
        twice), wound outward, at the finished size: `Piece.skin` and `Piece.facing`,
        scaled. [mm]
    route : Route
    shop : Shop, optional
        The maker's own prices and rates.

    Returns
    -------
    Quantities

    Raises
    ------
    DesignError
        If a name of the shop is no step of the route.

    Notes
    -----
    Volumes are those between two true distances, by Steiner's formula with area, mean
    and Gauss curvature of the mesh, at the size of that moment: what is laid before a
    copy shrinks with it. Exact for convex shapes; where folds of the outside close up,
    a little too high. Regions are weighed at the even thickness.
    """
    shop = Shop() if shop is None else shop
    _check_names(route, shop)
    at = stages(route)
    drawn = curved(outside), curved(inside)
    steps = tuple(
        _step_quantity(route, number, at, drawn, shop) for number in range(len(route.steps))
    )
    bench = math.fsum(step.bench_min for step in steps) / 60
    return Quantities(
        route=route,
        steps=steps,
        cost=math.fsum(step.cost or 0.0 for step in steps),
        unpriced=tuple(s.step for s in steps if s.weight.net_g and s.cost is None),
        bench_h=bench,
        elapsed_h=bench + math.fsum(step.wait_h for step in steps),
        wall_g=_wall_g(route, *drawn),
    )


def _step_quantity(
    route: Route,
    number: int,
    at: Sequence[Stage],
    drawn: tuple[Curved, Curved],
    shop: Shop,
) -> StepQuantity:
    step, before = route.steps[number], at[number]
    grown = before.scale / at[-1].scale  # the drawn surfaces are at the finished size
    outward = step.keeps != "inner" if isinstance(step, CopyStep) else _out(step.side)
    surface = drawn[0 if outward else 1]
    level = before.outer_mm if outward else before.inner_mm
    area = surface.area_at_mm2(level, scale=grown) / 1e6
    volume = 0.0
    if isinstance(step, LayerStep):
        ends = sorted((level, level + (1 if outward else -1) * step.even_mm))
        volume = surface.volume_mm3(*ends, scale=grown) / 1000
    net = volume * step.density if isinstance(step, LayerStep) else 0.0
    weight = _weight(net, step.name, shop)
    fibre = resin = None
    if isinstance(step, LayerStep) and step.laminate is not None:
        share = step.laminate.fibre_share
        fibre = _weight(net * share, step.name, shop)
        resin = _weight(net * (1 - share), step.name, shop)
    price = shop.price_per_kg.get(step.name)
    return StepQuantity(
        step=step.name,
        area_m2=area,
        volume_cm3=volume,
        weight=weight,
        fibre=fibre,
        resin=resin,
        cost=None if price is None else price * weight.weigh_g / 1000,
        bench_min=shop.setup_min.get(step.name, 0.0)
        + area * shop.min_per_m2.get(step.name, 0.0),
        wait_h=shop.wait_h.get(step.name, 0.0),
    )


@dataclass(frozen=True, kw_only=True)
class Curved:
    """
    A surface as Steiner's formula knows it, at any uniform scale.

    Notes
    -----
    At a distance h lies the area S + 2 M h + K h², and up to there the volume
    S h + M h² + K h³ / 3, with area S, integral mean curvature M and integral Gauss
    curvature K, 4π for a closed convex body: J. Steiner (1840). Scaled by f, S grows by
    f² and M by f. M and K follow from the volumes of a unit layer on either side.
    """

    #: S, M and K. [mm²], [mm], []
    area_mm2: float
    mean_mm: float
    gauss: float

    def area_at_mm2(self, at_mm: float, *, scale: float = 1.0) -> float:
        """Area at a true distance, outward positive, of the scaled surface, in mm²."""
        area, mean = scale**2 * self.area_mm2, scale * self.mean_mm
        return area + 2 * mean * at_mm + self.gauss * at_mm**2

    def volume_mm3(self, low_mm: float, high_mm: float, *, scale: float = 1.0) -> float:
        """Volume between two true distances of the scaled surface, in mm³."""
        area, mean = scale**2 * self.area_mm2, scale * self.mean_mm
        first, second, third = (high_mm**k - low_mm**k for k in (1, 2, 3))
        return area * first + mean * second + self.gauss * third / 3


def curved(mesh: Mesh) -> Curved:
    """Measure area and curvatures of a mesh, open or closed."""
    out = band_moments(mesh, 0.0, 1.0).volume
    back = band_moments(mesh, -1.0, 0.0).volume
    area = float(mesh.area_mm2)
    return Curved(
        area_mm2=area,
        mean_mm=float(out - back) / 2,
        gauss=3 * (float(out + back) / 2 - area),
    )


def _out(side: str) -> bool:
    return side == "outward"


def _weight(net_g: float, step: str, shop: Shop) -> Weight:
    return Weight(
        net_g=net_g,
        waste_percent=shop.waste_of(step),
        scale_step_g=shop.scale_step_g,
    )


def _wall_g(route: Route, outside: Curved, inside: Curved) -> float:
    """Weigh the coats of the finished wall, each on the side of the skin it lies on."""
    total = 0.0
    for coat in route.finished.coats:
        surface = outside if coat.from_mm + coat.to_mm > 0 else inside
        volume = surface.volume_mm3(coat.from_mm, coat.to_mm)
        total += volume / 1000 * coat.density_g_cm3
    return total


def _check_names(route: Route, shop: Shop) -> None:
    known = [step.name for step in route.steps]
    for what in (
        "waste_by_step", "price_per_kg", "setup_min", "min_per_m2", "wait_h",
    ):  # fmt: skip
        for name in getattr(shop, what):
            if name not in known:
                msg = f"{what}: '{route.name}' has no step '{name}'. "
                raise DesignError(msg + nearest_name(name, known))
