"""The first notebook in a real JupyterLab: every control, and the library's figures."""

from __future__ import annotations

import re

import pytest

from fitkit.panels.boxes import BOXES, PLACING
from fitkit.panels.questions import QUESTIONS

CLASH = re.compile(r"−\d")


def test_all_panels_are_there_and_no_cell_failed(notebook):
    assert notebook.page.locator(".fk").count() == 6 + len(QUESTIONS)
    assert notebook.page.locator('.jp-OutputArea [data-mime-type*="stderr"]').count() == 0
    answer = notebook.page.locator(".jp-OutputArea-output pre").first.text_content()
    assert re.match(r"It (fits|does not fit): Tamsin, otter", answer)


@pytest.mark.parametrize("name", PLACING)
def test_a_slider_moves_the_figures_to_the_librarys(as_drawn, library, name, shown):
    box = BOXES[name]
    value = box.start + 0.2 * (box.slider_high - box.start)
    value = round(value / box.step) * box.step
    as_drawn.slide(name, value)
    state = library.edit(**{name: value})
    as_drawn.expect_figures(shown(state))
    assert as_drawn.number(name) == f"{value:.{box.decimals}f}"
    verdict = as_drawn.sections.locator(".fk-verdict").text_content()
    assert verdict == ("It fits" if state.answer.verdict == "fits" else "It does not fit")


def test_of_many_fast_moves_the_last_one_stands(as_drawn, library, shown):
    slider = as_drawn.box("size_percent").locator('input[type="range"]')
    slider.evaluate(
        """async (slider) => {
          for (let step = 0; step <= 60; step++) {
            slider.value = 85 + step / 4;
            slider.dispatchEvent(new Event('input', { bubbles: true }));
            if (step % 4 === 0) await new Promise((done) => setTimeout(done, 5));
          }
          slider.dispatchEvent(new Event('change', { bubbles: true }));
        }"""
    )
    as_drawn.expect_figures(shown(library.edit(size_percent=100.0)))
    assert as_drawn.number("size_percent") == "100.0"


def test_a_wrong_value_shows_its_message_and_no_old_answer(as_drawn, library):
    before = as_drawn.figures()
    as_drawn.type_number("front_mm", "12.x")
    problem = as_drawn.box("front_mm").get_by_role("alert")
    problem.get_by_text("12.x").wait_for()
    expected = library.edit(front_mm="12.x").problems["front_mm"]
    assert problem.text_content().endswith(expected)
    assert as_drawn.figures() == {}
    assert as_drawn.sections.locator(".fk-verdict").text_content() == "No answer"
    field = as_drawn.box("front_mm").locator('input[type="text"]')
    assert field.get_attribute("aria-invalid") == "true"
    as_drawn.type_number("front_mm", "0")
    as_drawn.expect_figures(before)
    library.edit(front_mm=0.0)


def test_a_cutting_plane_is_dragged_in_a_section(as_drawn):
    canvas = as_drawn.sections.locator('[data-view="side"] canvas')
    canvas.scroll_into_view_if_needed()
    front = as_drawn.sections.locator('[data-view="front"] canvas')
    before = front.evaluate("(canvas) => canvas.toDataURL()")
    as_drawn.type_number("front_cut_mm", "0")
    box = canvas.bounding_box()
    # The front cut runs upright through the side section; find it by its cursor.
    y = box["y"] + 0.7 * box["height"]
    for x in range(int(box["x"]) + 4, int(box["x"] + box["width"]) - 4, 4):
        as_drawn.page.mouse.move(x, y)
        if canvas.evaluate("(canvas) => canvas.style.cursor") == "ew-resize":
            break
    as_drawn.page.mouse.down()
    as_drawn.page.mouse.move(x + 40, y, steps=5)
    as_drawn.page.mouse.up()
    moved = float(as_drawn.number("front_cut_mm"))
    assert 15.0 < moved < 80.0
    as_drawn.page.wait_for_function(
        "([before]) => document.querySelector('[data-view=\"front\"] canvas').toDataURL()"
        " !== before",
        arg=[before],
    )
    as_drawn.type_number("front_cut_mm", "0")


def test_a_section_is_reached_and_moved_by_keys(as_drawn):
    as_drawn.type_number("side_cut_mm", "0")
    canvas = as_drawn.sections.locator('[data-view="side"] canvas')
    canvas.focus()
    canvas.press("ArrowRight")
    canvas.press("Shift+ArrowRight")
    label = "Side section at 11.0 mm"
    as_drawn.page.wait_for_function(
        "(label) => document.querySelector('[data-view=\"side\"] canvas')"
        ".getAttribute('aria-label').toLowerCase().startsWith(label.toLowerCase())",
        arg=label,
    )
    assert as_drawn.number("side_cut_mm") == "11.0"
    as_drawn.type_number("side_cut_mm", "0")


def test_keys_in_a_panel_do_nothing_to_the_notebook(as_drawn):
    cells = as_drawn.page.locator(".jp-Notebook .jp-Cell")
    before = cells.count()
    desk = as_drawn.panel("desk")
    controls = [
        desk.get_by_label("Saved sessions"),
        desk.get_by_role("button", name="Save"),
        as_drawn.box("up_mm").locator('input[type="range"]'),
        as_drawn.sections.locator("canvas").first,
        as_drawn.box("up_mm").locator('input[type="text"]'),
    ]
    for control in controls:
        control.focus()
        for key in ("x", "d", "d", "a", "b"):  # cut, delete, insert above and below
            control.press(key)
    controls[-1].press("Escape")  # what was typed there is given up
    assert cells.count() == before
    assert as_drawn.number("up_mm") == "0.0"


def test_the_jaw_opens_in_the_pictures(as_drawn):
    side = as_drawn.sections.locator('[data-view="side"] canvas')
    before = side.evaluate("(canvas) => canvas.toDataURL()")
    figures = as_drawn.figures()
    as_drawn.slide("jaw_open_deg", 20.0)
    as_drawn.page.wait_for_function(
        "([before]) => document.querySelector('[data-view=\"side\"] canvas').toDataURL()"
        " !== before",
        arg=[before],
    )
    assert as_drawn.figures() == figures
    as_drawn.type_number("jaw_open_deg", "0")


def test_a_clash_is_told_by_sign_and_line_not_by_colour_alone(as_drawn, library, shown):
    as_drawn.type_number("size_percent", "85")
    state = library.edit(size_percent=85.0)
    as_drawn.expect_figures(shown(state))
    for zone, text in as_drawn.figures().items():
        row = as_drawn.sections.locator(f'tr[data-zone="{zone}"]')
        sign = row.locator(".fk-sign").get_attribute("aria-label")
        assert (sign == "touches") == bool(CLASH.match(text))
    canvas = as_drawn.sections.locator('[data-view="side"] canvas')
    assert "least ease on it −" in canvas.get_attribute("aria-label")


def test_the_solver_is_asked_and_its_answer_taken_and_undone(as_drawn, library, shown):
    before = as_drawn.figures()
    as_drawn.press("Ask the solver")
    as_drawn.sections.get_by_role("button", name="Take it").wait_for()
    offered = as_drawn.sections.locator(".fk-offer").text_content()
    library.start_solver()
    offer = library.wait_for_solver().solving.offer
    assert f"Size {100 * offer.placement.mean_size:.1f} %" in offered
    assert as_drawn.figures() == before
    as_drawn.press("Take it")
    as_drawn.expect_figures(shown(library.take()))
    as_drawn.press("Undo")
    as_drawn.expect_figures(before)
    library.undo()


def test_the_solver_can_be_stopped_and_left(as_drawn):
    before = as_drawn.figures()
    as_drawn.press("Ask the solver")
    as_drawn.press("Stop")
    as_drawn.sections.locator(".fk-solving", has_text="Stopped after").wait_for()
    assert as_drawn.figures() == before
    as_drawn.press("Ask the solver")
    as_drawn.sections.get_by_role("button", name="Leave it").click()
    as_drawn.sections.get_by_role("button", name="Leave it").wait_for(state="hidden")
    assert as_drawn.figures() == before


def test_how_sure_the_answer_is_comes_once_nothing_moves(as_drawn, library):
    closer = library.edit(size_percent=100.0) and library.look_closer().closer
    said = as_drawn.sections.locator(".fk-closer")
    low = f"{closer.uncertainty.interval.low_mm:.1f}"
    said.get_by_text(f"90 % between {low}").first.wait_for()


def test_a_slip_in_the_form_is_told_as_typed_and_mended(as_drawn, library, shown):
    before = as_drawn.figures()
    row = as_drawn.panel("record").locator('[data-box="head_length_mm"]')
    field = row.locator("input")
    right = field.input_value()
    field.fill("")
    field.press_sequentially("18.8")
    row.get_by_text("did you mean 188 mm?").wait_for()
    as_drawn.page.wait_for_function("() => !document.querySelector('tr[data-zone]')")
    row.get_by_role("button", name="Use 188").click()
    library.type_in("head_length_mm", "188")
    as_drawn.expect_figures(shown(library.state))
    field.fill(right)
    library.type_in("head_length_mm", right)
    as_drawn.expect_figures(before)


def test_the_form_shows_where_the_tape_goes(as_drawn):
    form = as_drawn.panel("record")
    form.locator('[data-box="head_circumference_mm"] input').focus()
    guide = form.locator(".fk-guide")
    guide.get_by_text("brow ridges").wait_for()
    assert guide.locator("svg .fk-tape").get_attribute("d").startswith("M")


def test_a_session_is_saved_and_opened_with_the_same_figures(
    as_drawn, library, folder, shown
):
    as_drawn.type_number("size_percent", "104,5")
    wanted = shown(library.edit(size_percent=104.5))
    as_drawn.expect_figures(wanted)
    as_drawn.press("Save", "desk")
    as_drawn.panel("desk").get_by_text("Saved the session as").wait_for()
    assert (folder / "tamsin-otter.session.json").is_file()
    as_drawn.type_number("size_percent", "95")
    as_drawn.expect_figures(shown(library.edit(size_percent=95.0)))
    as_drawn.panel("desk").get_by_label("Saved sessions").select_option(
        "tamsin-otter.session.json"
    )
    as_drawn.press("Open", "desk")
    as_drawn.expect_figures(wanted)
    as_drawn.panel("desk").get_by_text("the same as when it was saved").wait_for()


def test_an_opening_is_named_and_sight_follows(as_drawn):
    desk = as_drawn.panel("desk")
    checks = as_drawn.sections.locator(".fk-checks")
    desk.get_by_label("What eye_left is").select_option("other")
    checks.get_by_text("(eye_right)").first.wait_for()
    as_drawn.page.wait_for_function(
        "() => !document.querySelector('.fk-columns .fk-checks dd').textContent"
        ".includes('(eye_left)')"
    )
    as_drawn.press("Undo")
    desk.get_by_label("What eye_left is").wait_for()


def test_placements_are_kept_side_by_side(as_drawn, library, shown):
    as_drawn.type_number("size_percent", "90")
    as_drawn.expect_figures(shown(library.edit(size_percent=90.0)))
    panel = as_drawn.panel("compare")
    panel.get_by_label("Name to keep it by").fill("ninety")
    as_drawn.press("Keep the present placement", "compare")
    card = panel.locator('[data-kept="ninety"]')
    card.get_by_text("Size 90.0 %").wait_for()
    assert card.locator(".fk-kept-wall").get_attribute("d").startswith("M")
    as_drawn.type_number("size_percent", "100")
    card.get_by_role("button", name="Go back to it").click()
    as_drawn.expect_figures(shown(library.edit(size_percent=90.0)))
    card.get_by_role("button", name="Drop it").click()
    card.wait_for(state="detached")


def test_the_view_in_the_round_draws_and_turns(as_drawn):
    canvas = as_drawn.panel("solid").locator("canvas")
    canvas.scroll_into_view_if_needed()
    before = canvas.screenshot()
    canvas.focus()
    for _ in range(4):
        canvas.press("ArrowLeft")
    as_drawn.page.wait_for_timeout(300)
    assert canvas.screenshot() != before


def test_the_report_is_written_from_the_desk(as_drawn, folder):
    as_drawn.press("Write the report", "desk")
    as_drawn.panel("desk").get_by_text("Wrote the report").wait_for()
    assert (folder / "tamsin-otter-report" / "report.html").is_file()
