"""A trial fitting on paper: every reading where it was read, flagged ones unlike others."""

from __future__ import annotations

import pytest
from matplotlib.figure import Figure

from fitkit.plots.paper import png_bytes
from fitkit.plots.trial import draw_trial, trial_figure
from fitkit.views.trials import GapRow, TrialView


def row(key, gap_mm, look, note=""):
    return GapRow(
        key=key,
        label=f"Crown: {key}",
        foretold_mm=12.0,
        low_mm=8.0,
        high_mm=16.0,
        gap_mm=gap_mm,
        look=look,
        after_mm=13.0,
        after_low_mm=12.0,
        after_high_mm=14.0,
        note=note,
    )


VIEW = TrialView(
    title="Ada 水 in otter",
    rows=(
        row("a", 13.0, "within"),
        row("b", 20.0, "off", "+8.0 mm"),
        row("c", 1.2, "left out", "−10.8 mm: 12.0 mm?"),
    ),
)


@pytest.fixture(scope="module")
def ax():
    ax = Figure().add_subplot()
    draw_trial(ax, VIEW)
    return ax


def test_readings_bands_and_afterthoughts_stand_at_their_figures(ax):
    lines = {line.get_gid(): line for line in ax.lines}
    bands = {bar.get_gid(): bar for bar in ax.patches}
    for place, one in enumerate(VIEW.rows):
        gap = lines[f"gap {one.key}"]
        assert (gap.get_xdata()[0], gap.get_ydata()[0]) == (one.gap_mm, place)
        band = bands[f"foretold {one.key}"]
        assert (band.get_x(), band.get_x() + band.get_width()) == (8.0, 16.0)
        assert tuple(lines[f"after {one.key}"].get_xdata()) == (12.0, 14.0)


def test_flagged_readings_differ_in_shape_and_carry_their_note(ax):
    lines = {line.get_gid(): line for line in ax.lines}
    assert len({lines[f"gap {one.key}"].get_marker() for one in VIEW.rows}) == 3
    notes = [text.get_text() for text in ax.texts]
    assert notes == ["+8.0 mm", "−10.8 mm: 12.0 mm?"]


def test_the_page_has_units_a_legend_and_only_letters_of_its_font(ax):
    assert "mm" in ax.get_xlabel()
    keys = [text.get_text() for text in ax.get_legend().get_texts()]
    assert keys[0] == "foretold: 19 of 20 readings"
    figure = trial_figure(VIEW)
    assert figure.texts[0].get_text() == "Ada ? in otter"
    assert png_bytes(figure).startswith(b"\x89PNG")
