import io

import numpy as np
import pypdfium2
import pytest
from matplotlib.image import imsave

from fitkit.plots.flow import (
    COLUMN_MM,
    SIDE_MM,
    TOP_MM,
    column_widths_mm,
    cover_pages,
    signed_pages,
)
from fitkit.plots.lettering import size_for_capital_pt, text_width_mm
from fitkit.plots.pdf import pdf_bytes
from fitkit.views.document import Bullets, Grid, Heading, Image, PageBreak, Paragraph
from fitkit.views.pages import PAPERS

A4 = PAPERS["A4"]
WIDE_MM = A4.width_mm - 2 * SIDE_MM


def image(width_mm, aspect):
    """Give a grey picture, twice as fine across as it is wide in mm."""
    page = io.BytesIO()
    across = round(2 * width_mm)
    imsave(page, np.full((round(across * aspect), across, 3), 0.5), format="png")
    return Image(data=page.getvalue(), width_mm=width_mm, caption="A grey picture.")


def read(blocks, paper=A4):
    figures = signed_pages(blocks, paper=paper, sign="s")
    return pypdfium2.PdfDocument(pdf_bytes(figures, title="t"))


def texts(document):
    return [page.get_textpage().get_text_bounded() for page in document]


def test_a_heading_is_never_parted_from_the_picture_below_it():
    filler = [Paragraph(text="words " * 60) for _ in range(11)]
    pages = texts(read([*filler, Heading(text="Ease over the head"), image(150, 0.9)]))
    (with_heading,) = [page for page in pages if "Ease over the head" in page]
    assert "A grey picture." in with_heading
    assert with_heading is pages[-1]


def test_a_picture_taller_than_a_page_is_made_smaller_and_keeps_its_proportions():
    document = read([image(170, 2.2)])
    assert len(document) == 1
    (found,) = [
        each
        for each in document[0].get_objects()
        if each.type == pypdfium2.raw.FPDF_PAGEOBJ_IMAGE
    ]
    left, low, right, high = (value * 25.4 / 72 for value in found.get_bounds())
    assert (high - low) / (right - left) == pytest.approx(2.2, rel=0.01)
    assert low > 15.0
    assert high <= A4.height_mm - TOP_MM + 0.1
    assert left + right == pytest.approx(A4.width_mm, abs=0.5)  # in the middle


def test_nothing_is_lost_over_many_pages_and_a_break_begins_a_new_one():
    blocks = [
        Heading(text="Title", level=1),
        Bullets(lines=tuple(f"item {k} " + "and more " * 30 for k in range(40))),
        PageBreak(),
        Paragraph(text="Afterwards."),
    ]
    pages = texts(read(blocks))
    assert len(pages) >= 3
    whole = " ".join(" ".join(pages).split())
    for k in range(40):
        assert f"item {k} " in whole
    assert whole.count("and more") == 40 * 30
    assert pages[-1].replace(f"s · page {len(pages)}", "").split() == ["Afterwards."]


def table(*rows):
    return Grid(
        title="", columns=("Place", "Gap, mm"), is_text=(True, False), rows=tuple(rows)
    )


def test_columns_share_the_page_and_hold_their_longest_word():
    sentence = "a sentence that is so long that it has to be broken " * 4
    for rows in ([("brow", "3.1")], [(sentence, "3.1")], [(sentence, sentence)]):
        widths = column_widths_mm(table(*rows), WIDE_MM)
        assert sum(widths) + COLUMN_MM == pytest.approx(WIDE_MM)
        assert widths[0] >= text_width_mm("sentence", 7.5) * (len(rows[0][0]) > 9)


def test_a_cover_has_the_check_bar_and_counts_its_pages():
    blocks = [Paragraph(text="word " * 4000)]
    count = len(cover_pages(blocks, paper=A4, of=0))
    figures = cover_pages(blocks, paper=A4, of=count)
    pages = texts(pypdfium2.PdfDocument(pdf_bytes(figures, title="t")))
    assert len(pages) == count > 1
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {count}" in page
        assert "100 mm from end to end" in page


def test_widths_are_those_of_the_page():
    # The same words set by the PDF and measured by its reader.
    words = "Print unscaled at 100 %"
    document = read([Paragraph(text=words)])
    boxes = [
        each.get_bounds()
        for each in document[0].get_objects()
        if each.type == pypdfium2.raw.FPDF_PAGEOBJ_TEXT
    ]
    left, _, right, _ = max(boxes, key=lambda box: box[3])
    assert (right - left) * 25.4 / 72 == pytest.approx(text_width_mm(words, 9.0), abs=0.5)


def test_capitals_are_as_high_as_asked():
    document = read([Paragraph(text="HHHH")])
    (found,) = [
        each
        for each in document[0].get_objects()
        if each.type == pypdfium2.raw.FPDF_PAGEOBJ_TEXT and each.get_bounds()[3] > 700
    ]
    _, low, _, high = found.get_bounds()
    size = size_for_capital_pt(height_mm=(high - low) * 25.4 / 72)
    assert size == pytest.approx(9.0, abs=0.15)


def test_what_is_clear_in_a_picture_is_white_on_paper():
    page = io.BytesIO()
    shown = np.zeros((40, 40, 4))
    shown[10:30, 10:30] = [0.0, 0.0, 0.0, 1.0]
    imsave(page, shown, format="png")
    document = read([Image(data=page.getvalue(), width_mm=80, caption="")])
    bitmap = document[0].render(scale=1.0, grayscale=True)
    dark = np.asarray(bitmap.to_numpy()).reshape(bitmap.height, bitmap.width) < 128
    rows, columns = np.nonzero(dark[: bitmap.height * 9 // 10])
    for seen in (rows, columns):
        assert np.ptp(seen) * 25.4 / 72 == pytest.approx(40.0, abs=1.0)
