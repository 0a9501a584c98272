"""Getting in and out for a report: one picture, the ease by zone, what to change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fitkit.assess import Assessment
from fitkit.errors import BriefError
from fitkit.fit.donning import DonningBrief, DonningReport, donning_report
from fitkit.plots.donning import way_figure
from fitkit.plots.paper import svg_bytes
from fitkit.sheets.part import Part, Picture, answered
from fitkit.sheets.tables import Column, Table
from fitkit.views.donnings import donning_view

#: Name and heading of the part.
NAME, TITLE = "donning", "On and off"


def donning_part(assessment: Assessment, *, brief: DonningBrief | None = None) -> Part:
    """
    Work out how the placed piece goes on and comes off, for a report.

    If the seat leaves no room for the wearer's glasses, that is said, and the way is
    told for a head without them.
    """
    return answered(NAME, TITLE, lambda: _part(assessment, brief))


def _part(assessment: Assessment, asked: DonningBrief | None) -> Part:
    at = assessment.wearer, assessment.piece, assessment.placement
    brief = DonningBrief() if asked is None else asked
    worn: tuple[str, ...] = ()
    try:
        report = assessment.donned if asked is None else donning_report(*at, brief=asked)
    except BriefError as problem:
        if assessment.wearer.record.glasses is None or not brief.glasses_on:
            raise
        brief = replace(brief, glasses_on=False)
        report = donning_report(*at, brief=brief)
        worn = (f"With glasses: {problem}", "What follows is for a head without them.")
    picture = Picture(
        name="on_and_off.svg",
        data=svg_bytes(way_figure(donning_view(*at, report, brief=brief))),
        alternative="The head from the side at a few poses on its way into the piece.",
        caption=(
            "The head on its way into the piece, cut through the middle; it is drawn as "
            "worn, the room is that to the head pressed as far as it gives way."
        ),
    )
    return Part(
        name=NAME,
        title=TITLE,
        sentences=(*worn, *donning_words(report)),
        pictures={"way": picture},
        tables=donning_tables(report),
        cautions=report.cautions,
    )


def donning_words(report: DonningReport) -> tuple[str, ...]:
    """Say whether it goes on, where it is tightest, what is pressed, how it comes off."""
    if not report.goes_on:
        scale = 100 * report.largest_head_scale
        return (
            "No way on was found.",
            report.tight.words,
            f"A head of {scale:.0f} % of this one's size would pass there.",
            *(way.words for way in report.ways if way.found),
            *report.pressed,
        )
    path = report.path
    between = max(0.0, -float(path.between_mm.min(initial=0.0)))
    touched = ""
    if between:
        touched = f" Between two of them the wall might press by up to {between:.1f} mm."
    return (
        f"It goes on: {len(path.moves)} poses from outside to the seat were measured, "
        f"and {path.least_mm:.1f} mm are left at the tightest.{touched}",
        report.tight.words,
        *report.pressed,
        *report.out,
    )


def donning_tables(report: DonningReport) -> tuple[Table, ...]:
    """Give the way by lift and the least ease of each zone, or what would let it on."""
    if report.goes_on:
        return _way_table(report), _zone_table(report)
    return (_change_table(report),)


def _way_table(report: DonningReport) -> Table:
    columns = (
        Column(key="lift_mm", title="To go, mm", digits=0),
        Column(key="front_mm", title="Piece forward, mm", digits=0),
        Column(key="pitch_deg", title="nodded, deg", digits=0),
        Column(key="gap_mm", title="Least gap, mm", digits=1),
    )
    moves, gap = report.path.moves, report.path.gap_mm
    lift = np.linspace(moves[:, 2].max(), 0.0, 8)
    even = [int(np.abs(moves[:, 2] - height).argmin()) for height in lift]
    rows = tuple(
        (float(moves[k, 2]), float(moves[k, 1]), float(moves[k, 3]), float(gap[k]))
        for k in sorted({*even, int(gap.argmin())})
    )
    return Table(name="way_on", title="The way on", columns=columns, rows=rows)


def _zone_table(report: DonningReport) -> Table:
    columns = (
        Column(key="zone", title="Zone"),
        Column(key="ease_mm", title="Least ease on the way, mm", digits=1),
    )
    ordered = sorted(report.path.zone_ease_mm.items(), key=lambda item: item[1])
    rows = tuple((zone.replace("_", " "), float(ease)) for zone, ease in ordered)
    title = "Least ease on the way, head as worn; below 0 it is pressed"
    return Table(name="ease_on_the_way", title=title, columns=columns, rows=rows)


def _change_table(report: DonningReport) -> Table:
    columns = (
        Column(key="change", title="Change"),
        Column(key="lets_it_on", title="Lets the head through"),
        Column(key="checked", title="Checked by a search"),
    )
    rows = tuple(
        (way.words, _yes(found=way.found), _yes(found=way.checked)) for way in report.ways
    )
    return Table(name="to_let_it_on", title="Changes", columns=columns, rows=rows)


def _yes(*, found: bool) -> str:
    return "yes" if found else "no"
