"""Tables of a report: one content, written as CSV and shown on the page."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

from fitkit.assess import Assessment
from fitkit.fit.sight import SIDES
from fitkit.views.words import figure
from fitkit.wearer.measures import CATALOGUE
from fitkit.wearer.zones import zone_words

Cell = str | float | None
#: Standard deviations to the ends of a 90 % interval of a normal.
NINETY = 1.6449
#: What a spreadsheet would take for a formula at the head of a text.
FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a table."""

    #: Name in the CSV file, with the unit at its end.
    key: str
    #: Heading for people.
    title: str
    #: Decimals shown on the page; None for text.
    digits: int | None = None
    #: Whether the page shows it; the CSV file always has it.
    on_page: bool = True


@dataclass(frozen=True, kw_only=True)
class Table:
    """A table as figures and texts, not yet as characters."""

    #: Name of its file.
    name: str
    title: str
    columns: tuple[Column, ...]
    #: One cell a column; a number is nan, or a cell None, where there is none.
    rows: tuple[tuple[Cell, ...], ...]


def report_tables(assessment: Assessment) -> tuple[Table, ...]:
    """Give the tables of a report: changes, ease, sight, measures, doubt."""
    return (
        changes_table(assessment),
        ease_table(assessment),
        sight_table(assessment),
        measures_table(assessment),
        doubt_table(assessment),
    )


def table_csv(table: Table) -> str:
    """
    Write a table as CSV: a line of keys, then the rows, numbers to 0.001.

    Text that a spreadsheet would take for a formula is led by an apostrophe.

    Examples
    --------
    >>> column = Column(key="change", title="Change")
    >>> table = Table(name="a", title="A", columns=(column,), rows=(("=1+1",),))
    >>> print(table_csv(table))
    change
    '=1+1
    <BLANKLINE>
    """
    page = io.StringIO()
    writer = csv.writer(page, lineterminator="\n")
    writer.writerow([column.key for column in table.columns])
    writer.writerows([_csv_cell(cell) for cell in row] for row in table.rows)
    return page.getvalue()


def page_cell(cell: Cell, column: Column) -> str:
    """Write one cell for people; not escaped."""
    if cell is None:
        return "\N{EN DASH}"
    if isinstance(cell, str):
        return cell
    return figure(cell, digits=column.digits or 0)


def _csv_cell(cell: Cell) -> str:
    if cell is None or cell != cell:
        return ""
    if isinstance(cell, str):
        return f"'{cell}" if cell.startswith(FORMULA_SIGNS) else cell
    return f"{round(cell, 3) + 0.0:g}" if abs(cell) < 1000 else f"{cell:.3f}"


# -- the tables -----------------------------------------------------------------------


def changes_table(assessment: Assessment) -> Table:
    """What to do, in order."""
    rows = tuple(
        (float(number), words) for number, words in enumerate(assessment.changes, start=1)
    )
    columns = (
        Column(key="step", title="Step", digits=0),
        Column(key="change", title="Change"),
    )
    return Table(name="changes", title="What to change", columns=columns, rows=rows)


def ease_table(assessment: Assessment) -> Table:
    """Ease by zone, with what was asked and how sure it is."""
    columns = (
        Column(key="zone", title="Zone"),
        Column(key="least_mm", title="Least, mm", digits=1),
        Column(key="least_low_mm", title="90 % from, mm", digits=1),
        Column(key="least_high_mm", title="to, mm", digits=1),
        Column(key="asked_mm", title="Asked, mm", digits=0),
        Column(key="short_mm", title="Short by, mm", digits=1),
        Column(key="median_mm", title="Median, mm", digits=1),
        Column(key="most_mm", title="Most asked, mm", digits=0),
        Column(key="loose_mm", title="Loose by, mm", digits=1),
        Column(key="at_right_mm", title="", digits=0, on_page=False),
        Column(key="at_front_mm", title="", digits=0, on_page=False),
        Column(key="at_up_mm", title="", digits=0, on_page=False),
    )
    rows = []
    for zone in assessment.ease.by_zone.values():
        sure = assessment.uncertainty.by_zone[zone.zone]
        gaps = (zone.least_mm, sure.low_mm, sure.high_mm, zone.wanted_mm, zone.short_mm)
        loose = (zone.median_mm, zone.most_mm, zone.loose_mm)
        rows.append((zone_words(zone.zone), *gaps, *loose, *map(float, zone.at)))
    return Table(
        name="ease_by_zone", title="Ease by zone", columns=columns, rows=tuple(rows)
    )


def sight_table(assessment: Assessment) -> Table:
    """First checks of sight and jaw, one figure a row."""
    columns = (
        Column(key="check", title="Check"),
        Column(key="left_mm", title="Left, mm", digits=1),
        Column(key="right_mm", title="Right, mm", digits=1),
    )
    eyes = [assessment.sight[side] for side in SIDES]
    checks = (
        ("straight-ahead line inside the opening's edge", "margin_mm"),
        ("opening above the line", "above_mm"),
        ("opening below the line", "below_mm"),
        ("opening towards the nose", "nasal_mm"),
        ("opening towards the temple", "temporal_mm"),
        ("pupil to the rim, in space", "pupil_to_rim_mm"),
        ("front of the eye to the wall", "cornea_to_wall_mm"),
    )
    rows: list[tuple[Cell, ...]] = [
        (words, *(float(getattr(eye, name)) for eye in eyes)) for words, name in checks
    ]
    return Table(
        name="sight", title="Sight, straight ahead", columns=columns, rows=tuple(rows)
    )


def measures_table(assessment: Assessment) -> Table:
    """Every measure of the wearer: as read, or as completed from the survey."""
    columns = (
        Column(key="measure", title="Measure"),
        Column(key="key", title="Key", on_page=False),
        Column(key="origin", title="Origin"),
        Column(key="readings", title="Readings", digits=0),
        Column(key="value_mm", title="Value, mm", digits=1),
        Column(key="low_mm", title="90 % from, mm", digits=1),
        Column(key="high_mm", title="to, mm", digits=1),
        Column(key="head_mm", title="On this head, mm", digits=1),
    )
    rows = tuple(_measure_rows(assessment))
    return Table(name="measures", title="Measures", columns=columns, rows=rows)


def _measure_rows(assessment: Assessment) -> Iterator[tuple[Cell, ...]]:
    wearer = assessment.wearer
    for key, measure in CATALOGUE.items():
        head = wearer.measures_mm.get(key)
        if key in wearer.record.readings:
            reading = wearer.record.readings[key]
            count = len(reading.values_mm)
            off = NINETY * measure.repeat_sd / count**0.5
            value = (reading.mean_mm, reading.mean_mm - off, reading.mean_mm + off)
            yield measure.title, key, "read", float(count), *value, head
        elif key in wearer.completion.keys:
            known = wearer.completion
            value = (known.value_mm(key), *known.interval_mm(key))
            yield measure.title, key, "from the survey", 0.0, *value, head


def doubt_table(assessment: Assessment) -> Table:
    """Where the doubt about the tightest ease comes from."""
    columns = (
        Column(key="cause", title="Cause"),
        Column(key="share_percent", title="Share of the variance, %", digits=0),
        Column(key="sd_mm", title="Alone it would give an SD of, mm", digits=1),
    )
    rows = tuple(
        (share.title, 100.0 * share.share, share.sd_mm)
        for share in assessment.uncertainty.shares
    )
    title = "Where the doubt comes from"
    return Table(name="doubt", title=title, columns=columns, rows=rows)
