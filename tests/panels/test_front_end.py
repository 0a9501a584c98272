"""Browser modules joined into one, each keeping to itself what it does not export."""

from __future__ import annotations

import re
import shutil
import subprocess

import pytest

from fitkit.panels.front_end import joined_module, style_sheet

ENTRIES = ("sections", "solid", "record_form", "desk", "compare", "question", "pads")


@pytest.mark.parametrize("entry", ENTRIES)
def test_a_joined_module_imports_nothing_and_gives_one_widget(entry):
    text = joined_module(entry)
    assert not re.search(r"^import ", text, re.MULTILINE)
    assert len(re.findall(r"^export default \{", text, re.MULTILINE)) == 1


@pytest.mark.parametrize("entry", ENTRIES)
def test_each_module_stands_once_before_those_that_use_it(entry):
    text = joined_module(entry)
    given = re.findall(r"^const \{ (.+) \} = \(\(\) => \{$", text, re.MULTILINE)
    names = [name for group in given for name in group.split(", ")]
    assert len(names) == len(set(names))
    for name in names:
        given_at = re.search(rf"^const \{{ [^}}]*\b{name}\b", text, re.MULTILINE).start()
        used = re.search(rf"\b{name}\(", text)
        assert used is None or given_at < used.start()


@pytest.mark.skipif(shutil.which("node") is None, reason="no Node.js to check syntax with")
@pytest.mark.parametrize("entry", ENTRIES)
def test_a_joined_module_is_valid(entry, tmp_path):
    file = tmp_path / f"{entry}.mjs"
    file.write_text(joined_module(entry), encoding="utf-8")
    ran = subprocess.run(["node", "--check", str(file)], capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr


def test_every_colour_a_module_asks_for_is_set_for_light_and_dark():
    style = style_sheet()
    light, dark, plain_dark = re.findall(r"--fk-ink:[^}]*\}", style)
    names = set(re.findall(r"--fk-([a-zA-Z]+):", light))
    for theme in (dark, plain_dark):
        assert set(re.findall(r"--fk-([a-zA-Z]+):", theme)) == names
    used = set(re.findall(r"var\(--fk-([a-zA-Z]+)\)", style))
    drawn = re.search(r"const names = \[([^\]]+)\]", joined_module("sections"))
    assert used | set(re.findall(r'"(\w+)"', drawn[1])) <= names


def _luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb": WCAG 2.1, section 1.4.3, its definition."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    red, green, blue = (
        p / 12.92 if p <= 0.03928 else ((p + 0.055) / 1.055) ** 2.4 for p in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize("theme", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(
    ("name", "least"),
    [
        ("ink", 7.0),
        ("soft", 4.5),
        ("clash", 4.5),
        ("met", 3.0),
        ("short", 3.0),
        ("press", 4.5),
    ],
)
def test_text_and_lines_stand_out_from_the_paper(theme, name, least):
    # Least contrast: WCAG 2.1, criteria 1.4.3 (text 4.5) and 1.4.11 (graphics 3).
    block = re.findall(r"--fk-ink:[^}]*\}", style_sheet())[theme]
    colours = dict(re.findall(r"--fk-(\w+): (#\w{6})", block))
    a, b = sorted(_luminance(colours[key]) for key in (name, "paper"))
    assert (b + 0.05) / (a + 0.05) >= least
