"""What goes wrong around the panels: no WebGL, a dead kernel, a closed tab, a fault."""

from __future__ import annotations

import nbformat
import pytest

from fitkit.panels.controller import SessionController
from tests.benchmarks.large_piece import write_large_piece

CONTEXT = "window.jupyterapp.shell.currentWidget.sessionContext"
CELLS = {
    "setup": """
from fitkit.panels.controller import SessionController
from fitkit.panels.sections_view import sections_panel
from fitkit.panels.solid_view import solid_panel
session = SessionController(
    record="../sample_heads/wearers/joren.json", piece="../sample_heads/pieces/heron.stl"
)
""",
    "large": """
from fitkit.panels.controller import SessionController
from fitkit.panels.sections_view import sections_panel
from fitkit.panels.solid_view import solid_panel
session = SessionController(
    record="../sample_heads/wearers/joren.json", piece="large/heron.stl"
)
""",
    "sections": "sections_panel(session)",
    "again": "sections_panel(session)",
    "solid": "solid_panel(session)",
}


def write_notebook(path, *names: str) -> None:
    kernel = {"name": "python3", "display_name": "Python 3"}
    notebook = nbformat.v4.new_notebook(metadata={"kernelspec": kernel})
    notebook.cells = [nbformat.v4.new_code_cell(CELLS[name].strip()) for name in names]
    nbformat.write(notebook, path)


@pytest.fixture
def open_notebook(open_in, folder, tmp_path):
    """Open a notebook of some of the cells in a browser, and run it."""
    pages = []

    def opened(browser, *names: str):
        file = folder / f"robust-{len(list(folder.glob('robust-*')))}.ipynb"
        write_notebook(file, *names)
        notebook = open_in(browser, file.name, len(names) - 1)
        pages.append(notebook.page)
        return notebook

    yield opened
    for count, page in enumerate(pages):
        page.screenshot(path=tmp_path / f"page-{count}.png")
        page.close()


@pytest.fixture(scope="module")
def library(samples):
    """The same session in this process, without a browser."""
    return SessionController(
        record=samples / "wearers" / "joren.json", piece=samples / "pieces" / "heron.stl"
    )


def test_without_webgl_the_sections_work_and_the_round_says_why_not(
    flat_browser, open_notebook, library, shown
):
    notebook = open_notebook(flat_browser, "setup", "sections", "solid")
    notebook.page.get_by_text("This browser draws no WebGL").wait_for()
    assert notebook.page.locator("canvas.fk-solid").is_hidden()
    notebook.slide("size_percent", 104.0)
    notebook.expect_figures(shown(library.edit(size_percent=104.0)))
    assert notebook.faults == []


def test_a_piece_of_400_000_faces_is_cut_drawn_and_answered(
    browser, open_notebook, folder, library, shown
):
    (folder / "large").mkdir()
    write_large_piece(folder / "large")
    notebook = open_notebook(browser, "large", "sections", "solid")
    canvas = notebook.sections.locator('[data-view="side"] canvas')
    before = canvas.evaluate("(canvas) => canvas.toDataURL()")
    notebook.slide("size_percent", 104.0)
    # the very same surface in smaller faces: the very same figures
    notebook.expect_figures(shown(library.edit(size_percent=104.0)))
    assert canvas.evaluate("(canvas) => canvas.toDataURL()") != before
    solid = notebook.panel("solid").locator("canvas")
    solid.scroll_into_view_if_needed()
    before = solid.screenshot()
    solid.press("ArrowLeft")
    notebook.page.wait_for_timeout(500)
    assert solid.screenshot() != before
    assert notebook.faults == []


def test_two_panels_on_one_session_go_together(browser, open_notebook, library, shown):
    notebook = open_notebook(browser, "setup", "sections", "again")
    first, second = (notebook.page.locator(".fk:has(.fk-views)").nth(k) for k in (0, 1))
    box = '[data-box="size_percent"] input[type="text"]'
    first.locator(box).fill("97")
    first.locator(box).press("Enter")
    wanted = shown(library.edit(size_percent=97.0))["crown"]
    for panel in (first, second):
        cell = panel.locator('tr[data-zone="crown"] [data-figure]')
        cell.get_by_text(wanted, exact=True).wait_for()
    second.locator('[data-box="up_mm"] input[type="text"]').fill("3")
    second.locator('[data-box="up_mm"] input[type="text"]').press("Enter")
    wanted = shown(library.edit(up_mm=3.0))["crown"]
    for panel in (first, second):
        cell = panel.locator('tr[data-zone="crown"] [data-figure]')
        cell.get_by_text(wanted, exact=True).wait_for()
        assert panel.locator(box).input_value() == "97.0"
    library.edit(up_mm=0.0)
    assert notebook.faults == []


def test_a_dead_kernel_leaves_no_old_answer(browser, open_notebook):
    notebook = open_notebook(browser, "setup", "sections")
    notebook.page.wait_for_selector("tr[data-zone]")
    notebook.page.evaluate(f"() => {CONTEXT}.shutdown()")
    notebook.slide("size_percent", 104.0)
    notebook.page.get_by_text("The kernel has not answered yet").wait_for()
    assert notebook.figures() == {}
    assert notebook.sections.locator(".fk-verdict").text_content() == "No answer"


def test_a_restarted_kernel_needs_only_its_cells_run_again(
    browser, open_notebook, library, shown
):
    notebook = open_notebook(browser, "setup", "sections")
    notebook.page.evaluate(f"() => {CONTEXT}.session.kernel.restart()")
    old = notebook.page.locator(".fk").element_handle()
    notebook.run_all(1)
    notebook.page.wait_for_function("(old) => !old.isConnected", arg=old)
    notebook.page.wait_for_selector("tr[data-zone]")
    notebook.type_number("size_percent", "103")
    notebook.expect_figures(shown(library.edit(size_percent=103.0)))


def test_a_page_that_was_closed_shows_the_session_when_opened_again(
    browser, open_notebook, library, shown
):
    notebook = open_notebook(browser, "setup", "sections")
    notebook.type_number("size_percent", "106")
    wanted = shown(library.edit(size_percent=106.0))
    notebook.expect_figures(wanted)
    notebook.page.evaluate("() => window.jupyterapp.commands.execute('docmanager:save')")
    notebook.page.wait_for_function(
        "() => !window.jupyterapp.shell.currentWidget.model.dirty"
    )
    notebook.page.reload()
    notebook.page.wait_for_selector(".fk-views")
    notebook.expect_figures(wanted)
    notebook.slide("size_percent", 105.0)
    notebook.expect_figures(shown(library.edit(size_percent=105.0)))


def test_a_fault_of_ours_shows_under_the_panel_and_clears_nothing_else(
    browser, open_notebook, library, shown
):
    notebook = open_notebook(browser, "setup", "sections")
    code = "session.edit = None"
    notebook.page.evaluate(
        f"(code) => {CONTEXT}.session.kernel.requestExecute({{ code }}).done", code
    )
    notebook.slide("size_percent", 103.0)
    notebook.page.get_by_text("TypeError").first.wait_for()
    notebook.expect_number("size_percent", "100.0")
    notebook.expect_figures(shown(library.edit(size_percent=100.0)))
