"""Pages measured as a maker would, on the picture that another program makes of them."""

import numpy as np
import pypdfium2
import pytest
from scipy import ndimage

from fitkit.plots.lettering import text_width_mm
from fitkit.plots.pdf import pdf_bytes
from fitkit.plots.template_pages import LINES, page_figure
from fitkit.views.pages import PAPERS, lay_out
from fitkit.views.templates import Hole, Line, Template, closed_lines

DOTS_PER_INCH = 600
DOT_MM = 25.4 / DOTS_PER_INCH
#: The lines' own width, which adds to what is measured from edge to edge. [mm]
CUT_MM = LINES["cut"]["linewidth"] * 25.4 / 72


def drawn(pdf, page, *, dots_per_inch=DOTS_PER_INCH):
    """Give a page as darkness, (rows, columns), row 0 at the top."""
    document = pypdfium2.PdfDocument(pdf)
    bitmap = document[page].render(scale=dots_per_inch / 72, grayscale=True)
    return np.asarray(bitmap.to_numpy()).reshape(bitmap.height, bitmap.width) < 128


def bar_length_mm(dark, *, dot_mm=DOT_MM):
    """Longest level run of ink in the lowest 30 mm of a page."""
    longest = 0
    for row in dark[-round(30 / dot_mm) :]:
        edges = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(np.int8), [0]])))
        longest = max(longest, int((edges[1::2] - edges[::2]).max(initial=0)))
    return longest * dot_mm


def ell():
    points = np.array([[0, 0], [120, 0], [120, 35], [45, 35], [45, 80], [0, 80]], float)
    return Template(name="ell", kind="pads", lines=closed_lines("cut", [points]))


def egg():
    turn = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    points = np.column_stack([31.0 * np.cos(turn), 22.5 * np.sin(turn)])
    return Template(name="egg", kind="pads", lines=closed_lines("cut", [points]))


@pytest.fixture(scope="module", params=list(PAPERS))
def page(request):
    pages = lay_out(
        [ell(), egg()], paper=PAPERS[request.param], tile=False, measure=text_width_mm
    )
    figures = [page_figure(one, title="t", heading="Pads", number="1") for one in pages]
    return PAPERS[request.param], pages, drawn(pdf_bytes(figures, title="t"), 0)


def test_the_page_is_the_paper(page):
    paper, pages, dark = page
    assert len(pages) == 1
    assert dark.shape[1] * DOT_MM == pytest.approx(paper.width_mm, abs=0.1)
    assert dark.shape[0] * DOT_MM == pytest.approx(paper.height_mm, abs=0.1)


def test_the_check_bar_is_100_mm(page):
    assert bar_length_mm(page[2]) == pytest.approx(100.0, abs=0.2)


def test_two_templates_are_right_to_two_tenths(page):
    labels, _ = ndimage.label(page[2], structure=np.ones((3, 3)))
    found = [
        ((rows.stop - rows.start) * DOT_MM, (columns.stop - columns.start) * DOT_MM)
        for rows, columns in ndimage.find_objects(labels)
    ]
    for tall, wide in ((80.0, 120.0), (45.0, 62.0)):
        off = [max(abs(t - CUT_MM - tall), abs(w - CUT_MM - wide)) for t, w in found]
        assert min(off) < 0.2


def test_the_step_of_the_ell_is_where_it_was_drawn(page):
    _, (laid,), dark = page
    placed = laid.placed[0]
    left, low = (placed.template.bounds_mm + placed.shift_mm)[0]
    height = dark.shape[0]
    row = height - round((low + 60.0) / DOT_MM)  # above the step only the stem is met
    columns = np.flatnonzero(dark[row, : round((left + 118) / DOT_MM)]) * DOT_MM - left
    assert columns.min() == pytest.approx(-CUT_MM / 2, abs=0.2)
    assert columns.max() == pytest.approx(45.0 + CUT_MM / 2, abs=0.2)


def test_pages_to_join_meet_to_two_tenths():
    # One slanting line over two pages: its points lie on one line once they are joined.
    line = Line(job="cut", points_mm=np.array([[0.0, 0.0], [300.0, 60.0]]))
    one = Template(name="slant", kind="pads", lines=(line,))
    pages = lay_out([one], paper=PAPERS["A4"], tile=True, measure=text_width_mm)
    figures = [page_figure(p, title="t", heading="h", number="n") for p in pages]
    pdf = pdf_bytes(figures, title="t")
    heights = []
    for number, laid in enumerate(pages):
        dark, placed = drawn(pdf, number), laid.placed[0]
        column = round((150.0 + placed.shift_mm[0]) / DOT_MM)  # on both pages
        top = dark.shape[0] - round((placed.window_mm[1, 1] - 1.0) / DOT_MM)
        end = dark.shape[0] - round((placed.window_mm[0, 1] + 1.0) / DOT_MM)
        rows = np.flatnonzero(dark[top:end, column])
        up = (dark.shape[0] - top - rows.mean()) * DOT_MM
        heights.append(up - placed.shift_mm[1])
    assert len(heights) == 2
    assert heights == pytest.approx([30.0, 30.0], abs=0.2)


def test_lines_of_each_job_differ_in_black_and_white():
    widths = {job: style["linewidth"] for job, style in LINES.items()}
    assert widths["cut"] >= 3 * widths["mark"]
    assert LINES["score"]["linestyle"] != "-"
    assert widths["mark"] * 25.4 / 72 < 0.15  # a hairline, in mm


def test_a_drilled_hole_has_its_diameter():
    hole = Hole(centre_mm=np.array([30.0, 30.0]), diameter_mm=24.0)
    one = Template(name="boss", kind="hole templates", lines=(), holes=(hole,))
    pages = lay_out([one], paper=PAPERS["A4"], tile=False, measure=text_width_mm)
    figure = page_figure(pages[0], title="t", heading="h", number="n")
    dark = drawn(pdf_bytes([figure], title="t"), 0)
    placed = pages[0].placed[0]
    across, up = hole.centre_mm + placed.shift_mm
    row = dark.shape[0] - round((up + 6.0) / DOT_MM)  # clear of the cross
    columns = np.flatnonzero(dark[row]) * DOT_MM - across
    chord = 2 * np.sqrt(12.0**2 - 6.0**2)
    assert columns.max() - columns.min() == pytest.approx(chord + 0.25, abs=0.25)
