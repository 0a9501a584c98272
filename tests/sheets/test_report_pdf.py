import re
from datetime import date

import pypdfium2
import pytest

from fitkit.plots.flow import signed_pages
from fitkit.plots.paper import new_figure, svg_bytes
from fitkit.plots.pdf import pdf_bytes
from fitkit.sheets.part import Part, Picture
from fitkit.sheets.report import _pictures
from fitkit.sheets.report_pdf import own_width_mm, report_pdf
from fitkit.sheets.tables import Column, Table, report_tables
from fitkit.views.document import Bullets, Heading, Paragraph
from fitkit.views.pages import PAPERS
from fitkit.views.words import figure

DAY = date(2025, 2, 3)


@pytest.fixture(scope="module")
def given(tight):
    return {
        "pictures": _pictures(tight),
        "tables": {table.name: table for table in report_tables(tight)},
        "made_on": DAY,
    }


@pytest.fixture(scope="module")
def long_part():
    rows = tuple((f"place {k}", float(k)) for k in range(90))
    columns = (
        Column(key="place", title="Place"),
        Column(key="gap_mm", title="Gap, mm", digits=1),
        Column(key="hidden_mm", title="Hidden", digits=1, on_page=False),
    )
    table = Table(
        name="t", title="Many places", columns=columns, rows=tuple((*r, 7.7) for r in rows)
    )
    return Part(
        name="long",
        title="A long question",
        sentences=("It has a long answer & no picture.",),
        tables=(table,),
        cautions=("Mind the length.",),
    )


@pytest.fixture(scope="module")
def data(tight, given, long_part):
    return report_pdf(tight, parts=(long_part,), **given)


@pytest.fixture(scope="module")
def pages(data):
    return pypdfium2.PdfDocument(data)


@pytest.fixture(scope="module")
def text(pages):
    found = [page.get_textpage().get_text_bounded() for page in pages]
    whole = " ".join(" ".join(found).split())
    return re.sub(r"=shell on Ida [^·]{,40} · 3 February 2025 · page \d+ ", "", whole)


def test_every_page_is_a4_and_numbered(pages):
    for number, page in enumerate(pages, start=1):
        assert page.get_size() == pytest.approx((595.276, 841.890), abs=0.01)
        assert f"page {number}" in page.get_textpage().get_text_bounded()


def test_its_text_can_be_searched_and_says_what_the_page_says(text, tight):
    for said in (*tight.reasons, *tight.changes, *tight.cautions):
        assert said in text
    assert "Does not fit" in text
    assert "3 February 2025" in text
    worst = tight.ease.tightest
    assert f"{figure(worst.least_mm)} mm" in text


def test_a_part_brings_its_sentences_tables_and_cautions(text):
    for said in ("A long question", "a long answer & no picture", "Mind the length."):
        assert said in text
    for said in ("place 0 0.0", "place 89 89.0"):
        assert said in text
    assert "7.7" not in text.split("Many places")[1].split("Measures")[0]


def test_a_table_over_pages_repeats_its_heading(text):
    assert text.count("Place Gap, mm") >= 2


def test_its_pictures_are_in_it(pages, given):
    kinds = [found.type for page in pages for found in page.get_objects()]
    shown = len(given["pictures"]) - 1  # all but the verdict, which is set in words
    assert kinds.count(pypdfium2.raw.FPDF_PAGEOBJ_IMAGE) == shown


def test_a_small_picture_is_not_blown_up():
    for width_mm in (90.0, 140.5):
        data = svg_bytes(new_figure(width_mm=width_mm, height_mm=50.0))
        small = Picture(name="a.svg", data=data, alternative="", caption="")
        assert own_width_mm(small) == pytest.approx(width_mm, abs=0.01)
    assert own_width_mm(Picture(name="a.png", data=b"", alternative="", caption="")) > 1e6


def test_nothing_is_set_outside_the_margins(pages):
    for page in pages:
        wide, tall = page.get_size()
        for found in page.get_objects():
            left, low, right, high = found.get_bounds()
            if found.type == pypdfium2.raw.FPDF_PAGEOBJ_TEXT:
                assert left > 25
                assert right < wide - 25
                assert low > 15
                assert high < tall - 25


def test_the_same_document_gives_the_same_bytes():
    blocks = (Heading(text="One"), Bullets(lines=("two", "three")), Paragraph(text="4"))
    first, second = (
        pdf_bytes(signed_pages(blocks, paper=PAPERS["A4"], sign="s"), title="t")
        for _ in range(2)
    )
    assert first == second
    assert b"/Type3" not in first  # letters of TrueType fonts, embedded
    assert b"/FontFile2" in first
