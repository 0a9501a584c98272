"""The report as PDF: the same answers as the page, set on A4, without a browser."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

import resvg_py

from fitkit.assess import Assessment
from fitkit.plots.flow import signed_pages
from fitkit.plots.lettering import INCH_PT
from fitkit.plots.paper import INCH_MM
from fitkit.plots.pdf import pdf_bytes
from fitkit.sheets.page import SOURCES, WORTH_A_ROW
from fitkit.sheets.part import Part, Picture
from fitkit.sheets.tables import Table, page_cell
from fitkit.views.document import Block, Bullets, Grid, Heading, Image, Paragraph
from fitkit.views.headline import Headline, headline
from fitkit.views.pages import PAPERS
from fitkit.wearer.slips import check_record

#: Width at which pictures are printed at most, and their dots in an inch. [mm, 1/inch]
PICTURE_MM, DOTS_PER_INCH = 178.0, 200.0
#: Pictures of the report in their order, with their headings.
SHOWN: tuple[tuple[str, str], ...] = (
    ("ease_map", "Ease over the head"),
    ("sections", "Sections"),
    ("zones", "Ease by zone"),
    ("eyes", "Eye line and jaw"),
)
#: Tables that follow a picture.
BESIDE: Mapping[str, str] = {"zones": "ease_by_zone", "eyes": "sight"}


def report_pdf(
    assessment: Assessment,
    *,
    pictures: Mapping[str, Picture],
    tables: Mapping[str, Table],
    parts: Sequence[Part],
    made_on: date,
) -> bytes:
    """
    Set a report on A4.

    Parameters
    ----------
    assessment : Assessment
    pictures : mapping of name to Picture
        "sections", "ease_map", "zones" and "eyes"; PNG, or SVG without text
        that needs a font.
    tables : mapping of name to Table
    parts : sequence of Part
        What follows, question by question.
    made_on : date

    Returns
    -------
    bytes
        A PDF whose text can be searched and copied; the same input gives the same bytes.
    """
    top = headline(assessment)
    day = f"{made_on.day} {made_on:%B %Y}"
    blocks = tuple(_blocks(assessment, top, day, pictures, tables, parts))
    figures = signed_pages(blocks, paper=PAPERS["A4"], sign=f"{top.title} · {day}")
    return pdf_bytes(figures, title=f"Fit report: {top.title}")


def _blocks(
    assessment: Assessment,
    top: Headline,
    day: str,
    pictures: Mapping[str, Picture],
    tables: Mapping[str, Table],
    parts: Sequence[Part],
) -> Iterator[Block]:
    yield Heading(text=top.title, level=1)
    note = f"Fit report, {day}. Lengths in mm; positive ease is air."
    yield Paragraph(text=note, soft=True)
    yield Heading(text=top.verdict)
    if assessment.reasons:
        yield Bullets(lines=assessment.reasons)
    else:
        yield Paragraph(text=top.sentence)
    yield Grid(
        title="",
        columns=("In short", "", ""),
        is_text=(True, True, True),
        rows=tuple((one.title, one.figure, one.note) for one in top.answers),
    )
    yield Heading(text="What to make" if top.fits else "What to change")
    yield Bullets(lines=assessment.changes, numbered=True)
    for name, title in SHOWN:
        yield Heading(text=title)
        yield _image(pictures[name])
        if name in BESIDE:
            yield replace(grid(tables[BESIDE[name]]), title="")
    for part in parts:
        yield from _part(part)
    yield Heading(text="Measures")
    doubts = tuple(slip.message for slip in check_record(assessment.wearer.record))
    if doubts:
        yield Paragraph(text="Look at these readings again:", bold=True)
        yield Bullets(lines=doubts)
    yield replace(grid(tables["measures"]), title="")
    yield from _doubt(assessment, tables)
    yield Heading(text="Cautions")
    said = [line for part in parts for line in part.cautions]
    yield Bullets(lines=tuple(dict.fromkeys([*said, *assessment.cautions])))
    yield Heading(text="Sources and method")
    yield Bullets(lines=SOURCES)


def _doubt(assessment: Assessment, tables: Mapping[str, Table]) -> Iterator[Block]:
    """What one more reading would bring, and where the doubt comes from."""
    sure = assessment.uncertainty
    yield Heading(text="How sure this is")
    if sure.narrowings:
        yield Bullets(lines=tuple(one.words for one in sure.narrowings[:3]))
    worth = [k for k, share in enumerate(sure.shares) if share.share >= WORTH_A_ROW]
    whole = grid(tables["doubt"])
    if worth:
        yield replace(whole, rows=tuple(whole.rows[k] for k in worth))


def _part(part: Part) -> Iterator[Block]:
    yield Heading(text=part.title)
    yield Bullets(lines=part.sentences)
    for picture in part.pictures.values():
        yield _image(picture)
    for table in part.tables:
        yield grid(table)


def _image(picture: Picture) -> Image:
    width_mm = min(own_width_mm(picture), PICTURE_MM)
    return Image(data=as_png(picture), width_mm=width_mm, caption=picture.caption)


def own_width_mm(picture: Picture) -> float:
    """Give the width at which a picture was drawn, in mm; inf if it does not say."""
    if not picture.name.endswith(".svg"):
        return math.inf
    said = re.search(rb'<svg[^>]*\bwidth="([0-9.]+)pt"', picture.data[:2000])
    return math.inf if said is None else float(said[1]) * INCH_MM / INCH_PT


def as_png(picture: Picture) -> bytes:
    """Give a picture as PNG, drawn anew if it is SVG."""
    if not picture.name.endswith(".svg"):
        return picture.data
    drawn = resvg_py.svg_to_bytes(
        svg_string=picture.data.decode("utf-8"),
        dpi=DOTS_PER_INCH,
        background="white",
        skip_system_fonts=True,
    )
    return bytes(drawn)


def grid(table: Table) -> Grid:
    """Give a table as texts, the columns of the page only."""
    shown = [k for k, column in enumerate(table.columns) if column.on_page]
    columns = [table.columns[k] for k in shown]
    return Grid(
        title=table.title,
        columns=tuple(column.title for column in columns),
        is_text=tuple(column.digits is None for column in columns),
        rows=tuple(
            tuple(page_cell(row[k], table.columns[k]) for k in shown) for row in table.rows
        ),
    )
