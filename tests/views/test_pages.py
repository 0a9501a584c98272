from itertools import combinations

import numpy as np
import pytest

from fitkit.errors import SheetError
from fitkit.views.pages import (
    CAPTION_LINE_MM,
    EDGE_MM,
    MARGIN_MM,
    PAPERS,
    join_marks_mm,
    lay_out,
    paper_named,
    wrapped,
)
from fitkit.views.templates import Template, closed_lines

A4 = PAPERS["A4"]


def measure(text, size_pt):
    return 0.6 * len(text) * size_pt * 25.4 / 72


def card(name, wide, tall, kind="pads", notes=("Cut once.",)):
    points = np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]], float)
    lines = closed_lines("cut", [points + np.array([7.0, -3.0])])
    return Template(name=name, kind=kind, lines=lines, notes=notes)


def laid(*templates, paper="A4", tile=True):
    return lay_out(templates, paper=PAPERS[paper], tile=tile, measure=measure)


def boxes(page):
    for placed in page.placed:
        low, high = placed.template.bounds_mm + placed.shift_mm
        left, top = placed.caption_at_mm
        wide = max(measure(line, 7.0) for line in placed.caption)
        tall = CAPTION_LINE_MM * len(placed.caption)
        yield np.array([low, high])
        yield np.array([[left, top - tall], [left + wide, top]])


def test_papers_have_the_sizes_of_their_standards():
    # ISO 216: A4 210 x 297, A3 297 x 420; ANSI/ASME Y14.1 A: 8.5 x 11 inches.
    sizes = {"A4": (210, 297), "A3": (297, 420), "Letter": (8.5 * 25.4, 11 * 25.4)}
    assert set(sizes) == set(PAPERS)
    for name, paper in PAPERS.items():
        assert (paper.width_mm, paper.height_mm) == pytest.approx(sizes[name])
    assert paper_named("letter").name == "Letter"
    with pytest.raises(SheetError, match="paper must be one of A4, A3, Letter; got 'B5'"):
        paper_named("B5")


@pytest.mark.parametrize("paper", list(PAPERS))
def test_nothing_overlaps_and_nothing_leaves_the_page(paper):
    sizes = [(60, 40), (30, 90), (85, 55), (150, 120), (20, 20), (90, 90), (40, 200)]
    templates = [card(f"pad {k}", *size) for k, size in enumerate(sizes)]
    pages = laid(*templates, paper=paper)
    page_size = [PAPERS[paper].width_mm, PAPERS[paper].height_mm]
    for page in pages:
        for box in boxes(page):
            assert box.min() >= MARGIN_MM - 1e-6
            assert np.all(box[1] <= np.array(page_size) - MARGIN_MM + 1e-6)
        for one, other in combinations(boxes(page), 2):
            assert np.any(one[1] <= other[0] + 1e-6) or np.any(other[1] <= one[0] + 1e-6)
    shown = [placed.template.name for page in pages for placed in page.placed]
    assert shown == [template.name for template in templates]


def test_kinds_do_not_share_a_page():
    pages = laid(card("a", 30, 30), card("b", 30, 30), card("c", 30, 30, kind="straps"))
    assert [[p.template.name for p in page.placed] for page in pages] == [["a", "b"], ["c"]]


def test_what_fits_only_turned_is_turned():
    (page,) = laid(card("long", 215, 60))
    assert page.placed[0].template.size_mm.tolist() == [60.0, 215.0]
    assert page.placed[0].tile is None


def test_what_leaves_no_room_below_has_its_caption_beside():
    (page,) = laid(card("tall", 100, 240, notes=("Two words.", "More words.")))
    placed = page.placed[0]
    assert placed.caption_at_mm[0] > placed.template.bounds_mm[1, 0] + placed.shift_mm[0]


@pytest.mark.parametrize("size", [(300, 200), (260, 380), (500, 90)])
def test_pages_to_join_show_every_point_and_share_their_crosses(size):
    pages = laid(card("large", *size))
    assert len(pages) > 1
    grid = np.stack(
        np.meshgrid(
            np.linspace(0, size[0], 61) + 7.0,
            np.linspace(0, size[1], 61) - 3.0,
        ),
        axis=-1,
    ).reshape(-1, 2)
    placed = [page.placed[0] for page in pages]
    if placed[0].template.size_mm[0] != size[0]:
        grid = np.column_stack([-grid[:, 1], grid[:, 0]])
    shown = np.zeros(len(grid), dtype=bool)
    crosses = []
    for one in placed:
        at = grid + one.shift_mm
        low, high = one.window_mm
        shown |= np.all((at >= low) & (at <= high), axis=1)
        assert np.all(low >= MARGIN_MM)
        crosses.append(join_marks_mm(one) - one.shift_mm)
    assert shown.all()
    found = np.round(np.concatenate(crosses), 6)
    _, counts = np.unique(found, axis=0, return_counts=True)
    assert counts.min() == 2  # every cross is on both pages that it joins
    assert [one.tile.name for one in placed][-1].endswith("1")


def test_a_spread_template_keeps_clear_of_the_edge_of_its_pages():
    pages = laid(card("large", 300, 200))
    first = pages[0].placed[0]
    low, _ = first.template.bounds_mm + first.shift_mm
    assert low[0] == pytest.approx(first.window_mm[0, 0] + EDGE_MM)


def test_a_page_too_small_is_refused_with_the_cure():
    with pytest.raises(SheetError) as caught:
        laid(card("crown", 250, 260), tile=False)
    said = str(caught.value)
    assert said.startswith("crown is 250 x 260 mm, but A4 leaves 190 x 2")
    assert "Choose paper='A3'" in said
    assert "spread over 4 pages to be joined (tile=True)" in said


def test_what_would_take_too_many_pages_is_refused():
    with pytest.raises(SheetError, match=r"^roof would take \d+ pages of A4, more than 16"):
        laid(card("roof", 1500, 1400))


def test_lines_break_between_words_and_keep_them_all():
    text = "Bent into place it stretches by more than anybody would have thought"
    lines = wrapped(text, wide_mm=40.0, size_pt=7.0, measure=measure)
    assert " ".join(lines) == text
    assert max(measure(line, 7.0) for line in lines) <= 40.0
