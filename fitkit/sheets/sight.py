"""Sight for a report: its pictures and its tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fitkit.assess import Assessment
from fitkit.fit.cut import Cut
from fitkit.fit.sight import SIDES
from fitkit.fit.sight_report import SightReport
from fitkit.fit.sight_words import sight_words
from fitkit.fit.slit import SlitSearch
from fitkit.plots.paper import png_bytes, svg_bytes
from fitkit.plots.sight_pages import cut_figure, field_figure, floor_figure, light_figure
from fitkit.sheets.part import Part, Picture, answered
from fitkit.sheets.tables import Cell, Column, Table
from fitkit.views.cuts import cut_view
from fitkit.views.fields import field_chart
from fitkit.views.floors import floor_side
from fitkit.wearer.wearer import Wearer

#: Heading of the part.
TITLE = "What the wearer sees"
#: Limits in the order of the table's rows.
WAYS = ("up", "down", "nasal", "temporal")


def sight_part(assessment: Assessment) -> Part:
    """Say in a report what the wearer sees in the placed piece."""
    return answered("sight", TITLE, lambda: _part(assessment))


def _part(assessment: Assessment) -> Part:
    report = assessment.seen
    said = tuple(line for line in sight_words(report) if line not in report.cautions)
    return Part(
        name="sight",
        title=TITLE,
        sentences=said,
        pictures=sight_pictures(assessment.wearer, report),
        tables=sight_tables(report),
        cautions=report.cautions,
    )


def sight_pictures(wearer: Wearer, report: SightReport) -> Mapping[str, Picture]:
    """Draw the field of both eyes, the light to each, and the floor ahead."""
    chart = field_chart(report.field)
    return {
        "field": Picture(
            name="field_of_view.svg",
            data=svg_bytes(field_figure(chart)),
            alternative="What one eye and both eyes see, on an equal-area chart.",
            caption=(
                "What is left of the view, as the wearer sees it: eyes still, straight "
                "ahead. Rings are degrees from straight ahead; equal areas of paper are "
                "equal solid angles."
            ),
        ),
        "light": Picture(
            name="light_to_each_eye.svg",
            data=svg_bytes(light_figure(chart)),
            alternative="Light that gets to each eye's pupil, from every direction.",
            caption=(
                "Light that gets to each pupil, lenses and mesh included. At the edge of "
                "an opening part of the pupil is in shade: things dim before they vanish."
            ),
        ),
        "floor": Picture(
            name="floor_ahead.svg",
            data=svg_bytes(floor_figure(floor_side(wearer, report.floor))),
            alternative="Sight lines from the eyes to the floor, and floor seen by bow.",
            caption=(
                "The floor straight ahead. Chest, feet and costume are not drawn and hide "
                "more of it."
            ),
        ),
    }


def cut_picture(cut: Cut) -> Picture:
    """Draw a cut on the shell with its templates."""
    return Picture(
        name="cut.png",
        data=png_bytes(cut_figure(cut_view(cut))),
        alternative="The shell from the front with what is to be cut away, and templates.",
        caption=(
            "The smallest cut for the wanted fields. A saw that leans outward makes the "
            "hole wider outside than inside."
        ),
    )


def sight_tables(report: SightReport) -> tuple[Table, ...]:
    """Give the tables of sight: fields, floor, lines of gaze."""
    return _field_table(report), _floor_table(report), _line_table(report)


def slit_table(search: SlitSearch) -> Table:
    """What each height of slit brings."""
    columns = (
        Column(key="height_mm", title="Height, mm", digits=1),
        Column(key="width_mm", title="Width, mm", digits=0),
        Column(key="above_pupils_mm", title="Above the pupils, mm", digits=1),
        Column(key="tilt_deg", title="Saw down to the front, deg", digits=0),
        Column(key="seen_percent", title="Seen, %", digits=1),
        Column(key="light_percent", title="Light, %", digits=1),
    )
    rows = tuple(
        tuple(float(getattr(slit, column.key)) for column in columns)
        for slit in search.best
    )
    title = f"Best slit of each height: {search.weighting.name}"
    return Table(name="slits", title=title, columns=columns, rows=rows)


def _field_table(report: SightReport) -> Table:
    columns = (
        Column(key="figure", title="Figure"),
        *(
            Column(key=f"{side}_{what}", title=f"{side.capitalize()}, {what}", digits=1)
            for side in SIDES
            for what in ("worn", "bare")
        ),
    )
    return Table(
        name="field_of_view",
        title="Field of view, eyes straight ahead",
        columns=columns,
        rows=tuple(_field_rows(report)),
    )


def _field_rows(report: SightReport) -> Iterator[tuple[Cell, ...]]:
    eyes = [
        whole.eye(side)
        for side in SIDES
        for whole in (report.field.worn, report.field.bare)
    ]
    levels = (("centre", ""), ("clear", ", fully clear"), ("some", ", last light"))
    for level, words in levels:
        for way in WAYS:
            cells = [float(getattr(eye.limits[level], f"{way}_deg")) for eye in eyes]
            yield (f"{way}{words}, deg", *cells)
    for level, words in levels:
        yield (
            f"solid angle{words}, sr",
            *(float(eye.solid_angle_sr[level]) for eye in eyes),
        )


def _floor_table(report: SightReport) -> Table:
    columns = (
        Column(key="bow_deg", title="Head bowed, deg", digits=0),
        Column(key="nearest_mm", title="Nearest floor, mm", digits=0),
        Column(key="bare_nearest_mm", title="bare-headed, mm", digits=0),
        Column(key="one_step_width_mm", title="Width at one step, mm", digits=0),
        Column(key="two_steps_width_mm", title="at two steps, mm", digits=0),
    )
    rows = tuple(
        tuple(float(getattr(bow, column.key)) for column in columns)
        for bow in report.floor.bows
    )
    return Table(name="floor_ahead", title="Floor ahead", columns=columns, rows=rows)


def _line_table(report: SightReport) -> Table:
    columns = (
        Column(key="eye", title="Eye"),
        Column(key="up_deg", title="Gaze up, deg", digits=0),
        Column(key="right_deg", title="right, deg", digits=0),
        Column(key="margin_mm", title="Inside the edge, mm", digits=1),
        Column(key="free_cone_deg", title="Free cone, deg", digits=1),
        Column(key="correct_right_mm", title="Opening should move right, mm", digits=1),
        Column(key="correct_up_mm", title="up, mm", digits=1),
    )
    rows = tuple(
        (line.side, *(float(getattr(line, column.key)) for column in columns[1:]))
        for line in report.lines
    )
    return Table(name="lines_of_gaze", title="Lines of gaze", columns=columns, rows=rows)
