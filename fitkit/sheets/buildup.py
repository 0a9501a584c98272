"""Build-up for a report: the master, what is laid, and what a slip would do."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fitkit.assess import Assessment
from fitkit.fit.route_ease import SlipEase, ZoneSpread, route_spread, slip_ease
from fitkit.piece.buildup import BuildUp, sample_wall
from fitkit.piece.quantities import Quantities, Shop, quantities
from fitkit.piece.routes import Route, route_of
from fitkit.plots.buildup import draw_coats
from fitkit.plots.paper import new_figure, styled, svg_bytes
from fitkit.sheets.part import Part, Picture, answered
from fitkit.sheets.tables import Cell, Column, Table
from fitkit.views.buildups import coat_views
from fitkit.wearer.zones import zone_words

#: Heading of the part.
TITLE = "How it is built up"


def buildup_part(
    assessment: Assessment, *, route: Route | None = None, shop: Shop | None = None
) -> Part:
    """
    Say in a report what the master is made at, what is laid, and what slips do.

    Parameters
    ----------
    assessment : Assessment
    route : Route, optional
        The one that the piece was made by; the layers and shrinkage of its notes, with
        the usual spreads, if left out.
    shop : Shop, optional
        The maker's own waste, prices and rates; only with a route.
    """
    return answered("buildup", TITLE, lambda: _part(assessment, route, shop))


def _part(assessment: Assessment, route: Route | None, shop: Shop | None) -> Part:
    wearer, piece, placement = assessment.wearer, assessment.piece, assessment.placement
    if route is None and piece.build_up == BuildUp():
        said = "It is made as drawn: nothing is laid on and nothing shrinks."
        return Part(name="buildup", title=TITLE, sentences=(said,))
    drawn_wall = piece.design.surface == "solid"
    made = route or route_of(piece.build_up, drawn_wall=drawn_wall)
    brief = assessment.brief
    spread = route_spread(wearer, piece, placement, route=made, brief=brief)
    slips = slip_ease(wearer, piece, placement, route=made, brief=brief)
    outside, inside = (mesh.scaled(placement.size) for mesh in (piece.skin, piece.facing))
    needed = quantities(outside=outside, inside=inside, route=made, shop=shop)
    zone = min(spread.values(), key=lambda one: one.least_mm)
    return Part(
        name="buildup",
        title=TITLE,
        sentences=tuple(_sentences(assessment, made, zone, slips, known=route is not None)),
        pictures={"coats": _coats_picture(made, _drawn_wall_mm(assessment))},
        tables=(_steps_table(needed, weighed=route is not None), _slips_table(slips, zone)),
        cautions=(
            "Dust, fumes, resins and heat: local rules, data sheets and qualified advice "
            "come first.",
        ),
    )


def _sentences(
    assessment: Assessment,
    made: Route,
    zone: ZoneSpread,
    slips: tuple[SlipEase, ...],
    *,
    known: bool,
) -> Iterator[str]:
    size = 100 * assessment.placement.size * made.master_scale
    percents = sorted({f"{percent:.2f}" for percent in size})
    if len(percents) > 1:
        percents = [
            f"{percent:.2f} ({axis})"
            for percent, axis in zip(size, ("right", "front", "up"), strict=True)
        ]
    yield f"Make the master at {', '.join(percents)} % of the drawing."
    yield (
        f"The finished inner wall lies {made.lining_mm:.1f} mm inside what is drawn, the "
        f"outside {made.growth_mm:.1f} mm outside it."
    )
    source = "" if known else ", with the usual spread of layers"
    yield (
        f"Least ease is {zone.least_mm:.1f} mm ({zone_words(zone.zone)}); the "
        f"making alone moves it by {zone.sd_mm:.1f} mm, one standard deviation{source}."
    )
    spoilt = [slip for slip in slips if not slip.problem]
    if spoilt:
        worst = min(spoilt, key=lambda slip: slip.spare_mm)
        state = "is left to spare" if worst.spare_mm >= 0 else "is lacking"
        yield (
            f"The slip that costs most: {worst.step}, {worst.slip}; then "
            f"{abs(worst.spare_mm):.1f} mm {state} against the brief."
        )


def _drawn_wall_mm(assessment: Assessment) -> float:
    """Usual thickness of a drawn wall, without what is laid on it; 0 for a skin."""
    piece = assessment.piece
    if piece.design.surface != "solid":
        return 0.0
    wall = sample_wall(piece, size=assessment.placement.size)
    return max(0.0, wall.median_mm - piece.build_up.wall_mm)


def _coats_picture(made: Route, drawn_wall_mm: float) -> Picture:
    coats = coat_views(made, drawn_wall_mm=drawn_wall_mm)
    figure = new_figure(width_mm=140.0, height_mm=48.0 + 4.0 * len(coats))
    with styled():
        draw_coats(figure.add_axes((0.03, 0.2, 0.94, 0.78)), coats)
    return Picture(
        name="coats.svg",
        data=svg_bytes(figure),
        alternative="What lies in the finished wall, side by side, by thickness.",
        caption="The finished wall, from the head's side outward.",
    )


def _steps_table(needed: Quantities, *, weighed: bool) -> Table:
    columns = (
        Column(key="step", title="Step"),
        Column(key="area_m2", title="Area, m²", digits=2),
        Column(key="volume_cm3", title="Laid, cm³", digits=0),
        Column(key="weigh_g", title="Weigh out with waste, g", digits=0, on_page=weighed),
        Column(key="bench_min", title="At the bench, min", digits=0, on_page=weighed),
    )
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (
            step.step,
            step.area_m2,
            step.volume_cm3,
            step.weight.weigh_g if weighed else math.nan,
            step.bench_min,
        )
        for step in needed.steps
    )
    return Table(name="build_up", title="Step by step", columns=columns, rows=rows)


def _slips_table(slips: tuple[SlipEase, ...], zone: ZoneSpread) -> Table:
    where = zone_words(zone.zone)
    columns = (
        Column(key="step", title="Step"),
        Column(key="slip", title="Slip"),
        Column(key="change_mm", title=f"Ease, {where}, changes by, mm", digits=1),
        Column(key="spare_mm", title="Least to spare after it, mm", digits=1),
    )
    rows: tuple[tuple[Cell, ...], ...] = tuple(
        (slip.step, slip.slip, slip.change_mm.get(zone.zone, math.nan), slip.spare_mm)
        for slip in slips
    )
    return Table(
        name="slips", title="If a step is left out, or doubled", columns=columns, rows=rows
    )
