"""Questions and pad sets of the first notebook in a real JupyterLab."""

from __future__ import annotations

from fitkit.panels.pads import pad_card, pad_choice
from fitkit.panels.questions import QUESTIONS
from fitkit.sheets.padding import balance_part
from fitkit.sheets.sight import sight_part


def test_what_is_seen_is_asked_answered_and_gone_when_the_fit_is_another(as_drawn, library):
    panel = as_drawn.panel("sight")
    as_drawn.press("Answer it", "sight")
    panel.get_by_text("Answered in").wait_for()
    part = sight_part(library.look_closer().closer)
    said = panel.locator(".fk-part > ul li").all_text_contents()
    assert said == list(part.sentences)
    pictures = panel.locator("img")
    assert pictures.count() == len(part.pictures)
    for picture in pictures.all():
        picture.scroll_into_view_if_needed()
        assert picture.evaluate("(one) => one.decode().then(() => one.naturalWidth)") > 300
    assert panel.locator("table").count() == len(part.tables)
    as_drawn.slide("size_percent", 103.0)
    panel.locator(".fk-part > ul").wait_for(state="detached")
    assert panel.get_attribute("data-stage") == "idle"


def test_a_question_that_follows_the_fit_is_asked_again(as_drawn):
    panel = as_drawn.panel("sight")
    follow = panel.get_by_label("again whenever the fit is another")
    follow.check()
    panel.get_by_text("Answered in").wait_for()
    as_drawn.slide("size_percent", 104.0)
    panel.get_by_text("Answered in").wait_for(state="detached")
    panel.get_by_text("Answered in").wait_for()
    follow.uncheck()


def test_every_question_has_its_own_panel_and_all_are_answered_in_turn(
    as_drawn, library, pictures
):
    for name in QUESTIONS:
        as_drawn.press("Answer it", name)
    for name in QUESTIONS:
        panel = as_drawn.panel(name)
        panel.get_by_text("Answered in").wait_for()
        assert panel.locator(".fk-part > ul li").count() >= 1
        assert panel.locator("img").count() >= 1
    as_drawn.page.set_viewport_size({"width": 1400, "height": 2900})
    for name in QUESTIONS:
        as_drawn.panel(name).screenshot(path=pictures / f"{name}-answered.png")
    as_drawn.page.set_viewport_size({"width": 1400, "height": 1500})
    part = balance_part(library.look_closer().closer)
    said = as_drawn.panel("balance").locator(".fk-part > ul li").all_text_contents()
    assert said == list(part.sentences)


def test_pad_sets_are_compared_side_by_side_with_a_picture_each(as_drawn, library, shown):
    as_drawn.type_number("size_percent", "106")
    state = library.edit(size_percent=106.0)
    as_drawn.expect_figures(shown(state))
    panel = as_drawn.panel("pads")
    panel.get_by_label("Foam").select_option("hr 40")
    panel.get_by_label("Wall, g/cm³").fill("400")
    as_drawn.press("Put this set aside", "pads")
    panel.get_by_text("did you mean 0.4 g/cm³?").wait_for()
    panel.get_by_label("Wall, g/cm³").fill("0.4")
    for layout in ("ring", "ring and crown"):
        panel.get_by_label("Layout").select_option(layout)
        as_drawn.press("Put this set aside", "pads")
        panel.get_by_text(f"hr 40, {layout}, 20 %", exact=True).wait_for()
    as_drawn.press("Compare", "pads")
    for layout in ("ring", "ring and crown"):
        card = panel.locator(f'[data-pads="hr 40, {layout}, 20 %"]')
        image = card.locator("img")
        image.wait_for()
        assert image.evaluate("(one) => one.decode().then(() => one.naturalWidth)") > 300
    choice = pad_choice(
        name="", foam="hr 40", layout="ring and crown", squeeze_percent="20",
        sheets_mm="6 10 15", wall_g_cm3="0.4",
    )  # fmt: skip
    expected = pad_card(state.wearer, state.piece, state.placement, choice)
    assert card.locator("td").all_text_contents() == [text for _, text in expected.figures]
    for _ in range(2):
        panel.get_by_role("button", name="Drop it").first.click()
    panel.get_by_role("button", name="Drop it").first.wait_for(state="detached")
