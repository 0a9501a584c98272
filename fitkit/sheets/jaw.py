"""The jaw for a report: its pictures and its tables."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fitkit.assess import Assessment
from fitkit.fit.jaw_hinge import HingeAnswer
from fitkit.fit.jaw_report import JawReport
from fitkit.fit.jaw_words import jaw_words
from fitkit.plots.jaw_pages import hinge_figure, jaw_side_figure, jaw_travel_figure
from fitkit.plots.paper import svg_bytes
from fitkit.sheets.part import Part, Picture, answered
from fitkit.sheets.tables import Column, Table
from fitkit.views.jaws import hinge_map, jaw_view
from fitkit.wearer.wearer import Wearer

#: Heading of the part.
TITLE = "Whether the jaw follows the chin"
#: About every so many millimetres of mouth opening the table has a row.
ROW_MM = 5.0


def jaw_part(assessment: Assessment) -> Part:
    """Say in a report how the jaw of the placed piece moves with the wearer's."""
    return answered("jaw", TITLE, lambda: _part(assessment))


def _part(assessment: Assessment) -> Part:
    report = assessment.jaw_moved
    return Part(
        name="jaw",
        title=TITLE,
        sentences=jaw_words(report),
        pictures=jaw_pictures(assessment.wearer, report),
        tables=jaw_tables(report),
        cautions=report.cautions,
    )


def jaw_pictures(wearer: Wearer, report: JawReport) -> Mapping[str, Picture]:
    """Draw the jaw from the side, what happens over its travel, and hinges beside it."""
    pictures = {
        "side": Picture(
            name="jaw_from_the_side.svg",
            data=svg_bytes(jaw_side_figure(jaw_view(wearer, report))),
            alternative="Head and piece cut through the middle, jaw shut and open.",
            caption=(
                "Cut through the middle. The open mouth is dashed, the open jaw hatched; "
                "arrows are the ways of the teeth, the chin and the jaw's lip."
            ),
        ),
        "travel": Picture(
            name="jaw_travel.svg",
            data=svg_bytes(jaw_travel_figure(report)),
            alternative="Slip and squeeze at the pads, gaps, moments and the chin's force.",
            caption=(
                "Over the travel: what the chin feels at the pads, what the jaw comes "
                "near, what shuts it, and what the chin gives to open it, standing."
            ),
        ),
    }
    if report.hinge is not None:
        pictures["hinge"] = Picture(
            name="jaw_hinge.svg",
            data=svg_bytes(hinge_figure(hinge_map(report, report.hinge))),
            alternative="How far chin and pads part, by the place of the hinge.",
            caption=(
                "How far chin and pads part at most with the hinge at each place, seen "
                "from the right. The wearer's own axis is not known better than the "
                "length of the rays."
            ),
        )
    return pictures


def jaw_tables(report: JawReport) -> tuple[Table, ...]:
    """Give the tables of the jaw: its travel, and hinges."""
    travel = _travel_table(report)
    return (travel,) if report.hinge is None else (travel, _hinge_table(report.hinge))


def _travel_table(report: JawReport) -> Table:
    travel, head = report.travel, report.clash.head
    columns = (
        Column(key="opening_mm", title="Between the teeth, mm", digits=0),
        Column(key="jaw_deg", title="Turn of the jaw, deg", digits=0),
        Column(key="seen_mm", title="Open outside, mm", digits=0),
        Column(key="slip_mm", title="Slip, mm", digits=1),
        Column(key="squeeze_mm", title="Squeeze, mm", digits=1),
        Column(key="head_gap_mm", title="Gap to the wearer, mm", digits=1),
        Column(key="chin_force_n", title="Force of the chin, N", digits=1),
    )
    slip = np.max([np.abs(pad.slip_mm) for pad in travel.pads], axis=0)
    squeeze = np.max([pad.squeeze_mm for pad in travel.pads], axis=0)
    values = (
        travel.opening_mm,
        travel.jaw_deg,
        travel.seen_mm,
        slip,
        squeeze,
        head.gap_mm,
        travel.chin_force_n,
    )
    steps = np.arange(0.0, travel.opening_mm[-1], ROW_MM)
    rows = [int(np.abs(travel.opening_mm - step).argmin()) for step in steps]
    rows = sorted({*rows, len(travel.opening_mm) - 1})
    return Table(
        name="jaw_travel",
        title="The jaw over the opening of the mouth",
        columns=columns,
        rows=tuple(tuple(float(each[row]) for each in values) for row in rows),
    )


def _hinge_table(hinge: HingeAnswer) -> Table:
    columns = (
        Column(key="hinge", title="Hinge"),
        Column(key="front_mm", title="To the front, mm", digits=1),
        Column(key="up_mm", title="up, mm", digits=1),
        Column(key="misfit_mm", title="Chin and pads part by, mm", digits=1),
        Column(key="slip_mm", title="of it slip, mm", digits=1),
    )
    tries = [("as drawn", hinge.drawn), ("best", hinge.best)]
    name, worst = hinge.worst_off
    tries.append((f"best, {hinge.off_mm:g} mm off ({name})", worst))
    rows = tuple(
        (words, one.front_mm, one.up_mm, one.misfit_mm, one.slip_mm) for words, one in tries
    )
    return Table(
        name="jaw_hinge",
        title="The hinge, moved from where it is drawn",
        columns=columns,
        rows=rows,
    )
