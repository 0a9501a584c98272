"""How the panels look: light and dark, wide and narrow; pictures are kept of all."""

from __future__ import annotations

import re

import pytest

#: Controls and words that lie on one another, as pairs of words, one panel.
OVERLAPS = """
(panel) => {
  const seen = (one) => one.checkVisibility({ visibilityProperty: true });
  const own = (one) => [...one.childNodes].some((node) =>
    node.nodeType === Node.TEXT_NODE && node.textContent.trim());
  const kinds = "input, select, button, canvas, img";
  const all = [...panel.querySelectorAll("*")].filter((one) =>
    !(one instanceof SVGElement) && seen(one) && (one.matches(kinds) || own(one)));
  const found = [];
  for (const [place, a] of all.entries()) {
    for (const b of all.slice(place + 1)) {
      if (a.contains(b) || b.contains(a)) continue;
      const [p, q] = [a, b].map((one) => one.getBoundingClientRect());
      const wide = Math.min(p.right, q.right) - Math.max(p.left, q.left);
      const high = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
      if (wide > 2 && high > 2) found.push([a, b].map((one) =>
        `${one.tagName} ${one.textContent.trim().slice(0, 40)}`));
    }
  }
  return found;
}
"""
#: What sticks out of a panel or a card to the right, beyond what scrolls on its own.
STICKS_OUT = """
(panel) => [...panel.querySelectorAll("*")].filter((one) =>
  one.checkVisibility() && !one.closest(".fk-scroll, svg") &&
  one.getBoundingClientRect().right > 1 +
    (one.parentElement.closest(".fk-card") ?? panel).getBoundingClientRect().right)
  .map((one) => one.outerHTML.slice(0, 80))
"""
#: Controls that no key reaches or that have no name for those who do not see them.
UNNAMED = """
(panel) => [...panel.querySelectorAll("input, select, button, canvas, summary")]
  .filter((one) => one.checkVisibility() && (one.tabIndex < 0 ||
    !(one.labels?.length || one.getAttribute("aria-label") || one.textContent.trim())))
  .map((one) => one.outerHTML.slice(0, 120))
"""
LAYOUTS = ("ring", "ring and crown")
#: High enough to show any panel whole. [px]
HIGH = 2900


@pytest.fixture
def filled(as_drawn, library, shown):
    """The page with a placement kept, what is seen answered, and two pad sets compared."""
    as_drawn.type_number("size_percent", "104")
    as_drawn.expect_figures(shown(library.edit(size_percent=104.0)))
    as_drawn.press("Keep the present placement", "compare")
    as_drawn.press("Answer it", "sight")
    pads = as_drawn.panel("pads")
    for layout in LAYOUTS:
        pads.get_by_label("Layout").select_option(layout)
        as_drawn.press("Put this set aside", "pads")
    as_drawn.press("Compare", "pads")
    as_drawn.panel("sight").get_by_text("Answered in").wait_for()
    pads.locator("img").nth(1).wait_for()
    yield as_drawn
    pads.get_by_role("button", name="Drop it").first.click()
    pads.get_by_role("button", name="Drop it").first.click()
    kept = as_drawn.panel("compare").get_by_role("button", name="Drop it")
    kept.last.click()
    pads.get_by_role("button", name="Drop it").first.wait_for(state="detached")


def test_panels_are_tidy_light_and_dark_wide_and_narrow(filled, pictures):
    page = filled.page
    names = [one.get_attribute("data-panel") for one in page.locator(".fk").all()]
    for theme, wide in (("Dark", 1400), ("Light", 1400), ("Light", 820)):
        page.set_viewport_size({"width": wide, "height": HIGH})
        filled.execute("apputils:change-theme", theme=f"JupyterLab {theme}")
        page.wait_for_function(
            "(light) => document.body.dataset.jpThemeLight === light",
            arg=str(theme == "Light").lower(),
        )
        for name in names:
            panel = filled.panel(name)
            paper = panel.evaluate("(root) => getComputedStyle(root).backgroundColor")
            brightness = sum(int(part) for part in re.findall(r"\d+", paper)[:3]) / 3
            assert (brightness < 60) if theme == "Dark" else (brightness > 200)
            panel.screenshot(path=pictures / f"{name}-{theme.lower()}-{wide}.png")
            assert panel.evaluate(OVERLAPS) == [], name
            assert panel.evaluate(STICKS_OUT) == [], name
            assert panel.evaluate(UNNAMED) == [], name
    page.set_viewport_size({"width": 1400, "height": 1500})
