"""The line to the kernel and the number boxes, alone in a page without a kernel."""

from __future__ import annotations

import base64
from dataclasses import asdict

import pytest

from fitkit.panels.boxes import BOXES
from fitkit.panels.front_end import joined_module

#: A line on a kernel that keeps what it is sent, or throws; time runs at once.
LINE = """
async ([module, throws, work]) => {
  const { Link } = await import(module);
  const heard = [], silences = [], later = globalThis.setTimeout;
  globalThis.setTimeout = (call) => later(call, 0);
  const send = (content) => {
    if (throws) throw new Error("no kernel");
    heard.push(structuredClone(content));
  };
  const link = new Link({ send }, (silent) => silences.push(silent));
  new Function("link", work)(link);
  await new Promise((done) => later(done, 50));
  globalThis.setTimeout = later;
  return { heard, silences, unanswered: link.unanswered() };
}
"""
#: One number box on a line that keeps what it is sent.
BOX = """
async ([module, box]) => {
  const { NumberBox } = await import(module);
  globalThis.sent = [];
  const link = { edit: (numbers) => sent.push(numbers), settle() {} };
  globalThis.shown = new NumberBox(box, link, () => {});
  document.body.replaceChildren(shown.element);
}
"""
SHOW = """
([name, text, value]) => shown.show(
  { typed: { [name]: text }, values: { [name]: value }, problems: {} }, {})
"""


def address(name: str) -> str:
    text = base64.b64encode(joined_module(name).encode()).decode()
    return f"data:text/javascript;base64,{text}"


@pytest.fixture(scope="module")
def page(browser):
    opened = browser.new_page()
    yield opened
    opened.close()


@pytest.fixture
def line(page):
    """Work on a line, as text with `link`; gives what was heard and told."""
    return lambda work, throws=False: page.evaluate(LINE, [address("link"), throws, work])


def test_a_line_that_throws_is_told_as_silence(line):
    got = line("link.edit({ up_mm: 3 });", throws=True)
    assert got["silences"] == [True]
    assert got["unanswered"] == {"up_mm": 3}


def test_leaving_a_page_without_a_kernel_throws_nothing(line):
    assert line("link.end();", throws=True)["heard"] == []


def test_one_message_is_on_its_way_and_the_newest_numbers_follow(line):
    got = line(
        """
        for (let step = 1; step <= 9; step++) link.edit({ up_mm: step });
        link.edit({ front_mm: 1 });
        link.answered(1);
        """
    )
    assert [one["numbers"] for one in got["heard"]] == [
        {"up_mm": 1},
        {"up_mm": 9, "front_mm": 1},
    ]


def test_nothing_is_lost_between_numbers(line):
    got = line(
        """
        link.edit({ up_mm: 1 });
        link.ask("start_solver");
        link.edit({ up_mm: 2 });
        for (const seq of [1, 2]) link.answered(seq);
        """
    )
    assert [one.get("command", "edit") for one in got["heard"]] == [
        "edit",
        "start_solver",
        "edit",
    ]


@pytest.fixture
def box(page):
    """The box of the shift to the front, holding -0.02 mm and showing 0.0."""
    page.evaluate(BOX, [address("controls"), asdict(BOXES["front_mm"])])
    page.evaluate(SHOW, ["front_mm", "0.0", -0.02])
    return page.get_by_label("Front", exact=True)


def sent(box) -> list[dict[str, object]]:
    return box.page.evaluate("() => sent")


@pytest.mark.parametrize("text", ["0", "0.0"])
def test_typing_what_is_shown_sets_it_exactly(box, text):
    box.focus()
    box.press("Control+a")
    box.press_sequentially(text)
    box.press("Enter")
    assert sent(box) == [{"front_mm": text}]
    box.blur()
    assert len(sent(box)) == 1


def test_enter_without_typing_changes_nothing(box):
    box.press("Enter")
    box.blur()
    assert sent(box) == []


def test_leaving_a_box_ends_typing(box):
    box.fill("3")
    box.blur()
    assert sent(box) == [{"front_mm": "3"}]


def test_a_state_that_comes_while_typing_leaves_the_typing_alone(box):
    box.focus()
    box.press("Control+a")
    box.press_sequentially("12")
    box.page.evaluate(SHOW, ["front_mm", "7.0", 7.0])
    assert box.input_value() == "12"
    box.press("Enter")
    assert sent(box) == [{"front_mm": "12"}]


def test_escape_gives_the_typing_up(box):
    box.fill("99")
    box.page.evaluate(SHOW, ["front_mm", "7.0", 7.0])
    box.press("Escape")
    assert box.input_value() == "7.0"
    box.blur()
    assert sent(box) == []
