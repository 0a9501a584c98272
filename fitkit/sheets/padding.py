"""Padding and balance for a report: their pictures and their tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fitkit.assess import Assessment
from fitkit.fit.balance_report import BalanceReport
from fitkit.fit.pad_options import OptionRow
from fitkit.fit.padding_report import PaddingReport
from fitkit.plots.padding_pages import (
    neck_figure,
    options_figure,
    patterns_figure,
    pressure_figure,
)
from fitkit.plots.paper import png_bytes, svg_bytes
from fitkit.sheets.part import Part, Picture, answered
from fitkit.sheets.tables import Cell, Column, Table
from fitkit.views.pressures import pressure_views
from fitkit.wearer.wearer import Wearer

#: Headings of the parts.
PADDING_TITLE = "Which pads hold it still"
BALANCE_TITLE = "What it weighs on the neck"
#: Pad sets that the table shows.
SHOWN_OPTIONS = 10


def padding_part(assessment: Assessment) -> Part:
    """Say in a report which pads hold the placed piece, and how they press."""
    return answered("padding", PADDING_TITLE, lambda: _padding(assessment))


def balance_part(assessment: Assessment) -> Part:
    """Say in a report how the placed piece loads the neck."""
    return answered("balance", BALANCE_TITLE, lambda: _balance(assessment))


def _padding(assessment: Assessment) -> Part:
    report = assessment.padded
    return Part(
        name="padding",
        title=PADDING_TITLE,
        sentences=(*report.words[:1], *report.assumed, *report.words[1:]),
        pictures=padding_pictures(assessment.wearer, report),
        tables=padding_tables(report),
        cautions=report.cautions,
    )


def _balance(assessment: Assessment) -> Part:
    report = assessment.balanced
    return Part(
        name="balance",
        title=BALANCE_TITLE,
        sentences=(*report.words[:1], *report.assumed, *report.words[1:]),
        pictures=balance_pictures(report),
        tables=balance_tables(report),
        cautions=report.cautions,
    )


def padding_pictures(wearer: Wearer, report: PaddingReport) -> Mapping[str, Picture]:
    """Draw the pressure where it is worst, the pad sets side by side, the pads to cut."""
    hardest = max(report.padding.settled.values(), key=lambda one: one.peak_kpa)
    pictures = {
        "pressure": Picture(
            name="pressure_on_the_head.png",
            data=png_bytes(pressure_figure(pressure_views(wearer.head, hardest))),
            alternative="The head from four sides, banded by the pressure of its pads.",
            caption=(
                f"Pressure on the head, {hardest.case.name}: the case that presses "
                "hardest. Beyond the guide to comfort it is hatched."
            ),
        ),
        "patterns": Picture(
            name="pads_to_cut.svg",
            data=svg_bytes(patterns_figure(report.patterns)),
            alternative="Outlines of all pads, laid flat, with grain arrows.",
            caption=(
                "The pads laid flat, wall side up, all at one scale: to recognize them "
                "by, not to cut from. Stretch is what bending to the wall asks of the foam."
            ),
        ),
    }
    if report.rows:
        name = report.option.name if report.option is not None else ""
        pictures["options"] = Picture(
            name="pad_sets.svg",
            data=svg_bytes(options_figure(report.rows, chosen=name)),
            alternative="Pad sets by peak pressure and by friction left.",
            caption=(
                "Pad sets that were compared; the best lie low and to the right. Filled: "
                "no other is as good in pressure, hold, wobble, eye line, weight and sheet "
                "used and better in one of them. Worked out quickly; the one taken was "
                "then worked out exactly."
            ),
        )
    return pictures


def padding_tables(report: PaddingReport) -> tuple[Table, ...]:
    """Give the tables of padding: pads, cases, pads to cut, and pad sets compared."""
    tables = [_pads_table(report), _cases_table(report), _cutting_table(report)]
    if report.rows:
        tables.append(_options_table(report))
    return tuple(tables)


def _pads_table(report: PaddingReport) -> Table:
    columns = (
        Column(key="pad", title="Pad"),
        Column(key="foam", title="Foam"),
        Column(key="thickness_mm", title="Thickness, mm", digits=1),
        Column(key="area_cm2", title="Area, cm²", digits=0),
        Column(key="force_n", title="Push upright, N", digits=1),
        Column(key="share_percent", title="Share, %", digits=0),
        Column(key="mean_kpa", title="Mean, kPa", digits=1),
        Column(key="peak_kpa", title="Worst of all cases, kPa", digits=1),
        Column(key="lost_mm", title=f"Lost in {report.worn.hours:g} h, mm", digits=1),
    )
    settled = report.padding.settled
    upright = settled["upright"]
    rows = tuple(
        (
            pad.name,
            pad.foam.name,
            pad.thickness_mm,
            upright.pads[index].area_mm2 / 100,
            upright.pads[index].force_n,
            100 * upright.pads[index].share,
            upright.pads[index].mean_kpa,
            max(one.pads[index].peak_kpa for one in settled.values()),
            report.worn.lost_mm[pad.name],
        )
        for index, pad in enumerate(report.padding.pads)
    )
    return Table(name="pads", title="The pads", columns=columns, rows=rows)


def _cases_table(report: PaddingReport) -> Table:
    columns = (
        Column(key="case", title="Case"),
        Column(key="holds", title="Comes to rest"),
        Column(key="peak_kpa", title="Peak, kPa", digits=1),
        Column(key="friction_left_percent", title="Friction left, %", digits=0),
        Column(key="eye_line_up_mm", title="Eye line up, mm", digits=1),
        Column(key="pitch_deg_per_nm", title="Nods, deg per N m", digits=1),
        Column(key="yaw_deg_per_nm", title="turns", digits=1),
        Column(key="roll_deg_per_nm", title="tilts", digits=1),
    )
    rows = tuple(
        (
            name,
            "yes" if one.holds else "no",
            one.peak_kpa,
            100 * one.slip_margin,
            float(one.eye_line_shift_mm[2]),
            *(one.wobble_deg_per_nm[axis] for axis in ("pitch", "yaw", "roll")),
        )
        for name, one in report.padding.settled.items()
    )
    title = "How it sits, bowed, tilted and moved"
    return Table(name="padding_cases", title=title, columns=columns, rows=rows)


def _cutting_table(report: PaddingReport) -> Table:
    columns = (
        Column(key="piece", title="Piece"),
        Column(key="foam", title="Foam"),
        Column(key="thickness_mm", title="Thickness, mm", digits=1),
        Column(key="area_cm2", title="Area, cm²", digits=0),
        Column(key="mean_stretch_percent", title="Stretch, %", digits=1),
        Column(key="worst_stretch_percent", title="at worst, %", digits=1),
        Column(key="grain", title="Arrow points"),
    )
    rows = tuple(
        (
            one.name,
            one.foam,
            one.thickness_mm,
            one.area_mm2 / 100,
            one.mean_stretch_percent,
            one.worst_stretch_percent,
            one.grain,
        )
        for one in report.patterns
    )
    return Table(name="pads_to_cut", title="Pads to cut", columns=columns, rows=rows)


def _options_table(report: PaddingReport) -> Table:
    columns = (
        Column(key="pad_set", title="Pad set"),
        Column(key="peak_kpa", title="Peak, kPa", digits=1),
        Column(key="friction_left_percent", title="Friction left, %", digits=0),
        Column(key="wobble_deg_per_nm", title="Wobble, deg per N m", digits=1),
        Column(key="eye_line_mm", title="Eye line moves, mm", digits=1),
        Column(key="weight_g", title="Pads, g", digits=0),
        Column(key="sheet_cm2", title="Sheet, cm²", digits=0),
        Column(key="not_met", title="Misses, of what was asked"),
    )
    best = [row for row in report.rows if not row.problem and not row.dominated_by]
    best.sort(key=lambda row: (len(report.brief.missed(row)), row.peak_kpa))
    title = "Pad sets worth a look, worked out quickly"
    rows = tuple(_option_cells(report, row) for row in best[:SHOWN_OPTIONS])
    return Table(name="pad_sets", title=title, columns=columns, rows=rows)


def _option_cells(report: PaddingReport, row: OptionRow) -> tuple[Cell, ...]:
    missed = "; ".join(words for words, _ in report.brief.missed(row))
    return (
        row.option.name,
        row.peak_kpa,
        100 * row.slip_margin,
        row.wobble_deg_per_nm,
        row.eye_line_mm,
        row.weight_g,
        row.sheet_mm2 / 100,
        missed if row.holds else "it does not come to rest",
    )


def balance_pictures(report: BalanceReport) -> Mapping[str, Picture]:
    """Draw the moment on the neck, as made and with what would change it."""
    balances = [("as made", report.balance)]
    if report.counterweight is not None:
        balances.append(("with counterweight", report.counterweight.after))
    if report.without is not None:
        balances.append(
            (f"without {' and '.join(report.without.names)}", report.without.off)
        )
    return {
        "neck": Picture(
            name="weight_on_the_neck.svg",
            data=svg_bytes(neck_figure(balances)),
            alternative="Moment about the neck joint in four postures.",
            caption=(
                "Moment of the piece about the joint that the head nods on. The dashed "
                "figures are for trained adults with fastened helmets: to compare with, "
                "not to pass."
            ),
        )
    }


def balance_tables(report: BalanceReport) -> tuple[Table, ...]:
    """Give the tables of balance: what weighs how much, and the load in postures."""
    bodies = Table(
        name="weights",
        title="What weighs how much, in the piece's own axes",
        columns=(
            Column(key="what", title="What"),
            Column(key="kind", title="Kind"),
            Column(key="mass_g", title="Mass, g", digits=0),
            Column(key="right_mm", title="Centre right, mm", digits=0),
            Column(key="front_mm", title="front, mm", digits=0),
            Column(key="up_mm", title="up, mm", digits=0),
        ),
        rows=tuple(
            (body.name, body.kind, body.mass.mass_g, *body.mass.centre_mm.tolist())
            for body in report.weighing.bodies
        ),
    )
    loads = Table(
        name="neck_loads",
        title="Moment about the neck joint",
        columns=(
            Column(key="posture", title="Posture"),
            Column(key="forward_n_cm", title="Chin down, N cm", digits=0),
            Column(key="right_n_cm", title="To the right, N cm", digits=0),
            Column(key="total_n_cm", title="In all, N cm", digits=0),
            Column(key="evened_n_cm", title="With counterweight, N cm", digits=0),
        ),
        rows=tuple(_load_rows(report)),
    )
    return bodies, loads


def _load_rows(report: BalanceReport) -> Iterator[tuple[Cell, ...]]:
    after = report.counterweight.after if report.counterweight is not None else None
    for name, load in report.balance.loads.items():
        evened = after.loads[name].total_n_cm if after is not None else None
        yield name, load.forward_n_cm, load.right_n_cm, load.total_n_cm, evened
