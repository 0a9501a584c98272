import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure

from fitkit.plots import draw_eye, draw_verdict, svg_bytes
from fitkit.plots.pages import eyes_figure, sections_figure, verdict_figure, zones_figure
from fitkit.views.eyes import EyeView, eye_views
from fitkit.views.headline import headline
from fitkit.views.sections import section_views


def eye(margin_mm=3.0, opening="eye_left", outline=None):
    ring = np.array([[-8, -5], [9, -5], [9, 6], [-8, 6], [-8, -5.0]])
    shape = ring if outline is None else outline
    return EyeView(side="left", opening=opening, outline=shape, margin_mm=margin_mm)


def test_the_front_door_loads_no_matplotlib():
    code = "import sys, fitkit, fitkit.cli; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_an_eye_is_drawn_as_its_outline_about_the_cross():
    ax = Figure().add_subplot()
    view = eye()
    draw_eye(ax, view)
    assert np.array_equal(ax.patches[0].get_xy(), view.outline)
    assert ax.lines[0].get_xydata().tolist() == [[0.0, 0.0]]
    assert "3.0 mm inside" in ax.get_title(loc="center")


@pytest.mark.parametrize(
    ("view", "words"),
    [
        (eye(margin_mm=-2.0), "2.0 mm outside"),
        (eye(margin_mm=np.nan, opening=None, outline=np.zeros((0, 2))), "no opening"),
    ],
)
def test_a_line_that_meets_the_wall_is_told_in_words(view, words):
    ax = Figure().add_subplot()
    draw_eye(ax, view)
    assert words in ax.get_title(loc="center")


def test_the_strip_shows_every_figure_as_it_is(tight):
    ax = Figure().add_subplot()
    top = headline(tight)
    draw_verdict(ax, top)
    written = [text.get_text() for text in ax.texts]
    assert f"\N{BALLOT X} {top.verdict}" in written
    for answer in top.answers:
        assert {answer.title, answer.figure} <= set(written)


@pytest.mark.parametrize("name", [r"$\frac{$ on x", "水獭 on \N{OTTER}", "a\nb" * 200])
def test_no_name_of_a_wearer_upsets_the_strip(tight, name):
    assert svg_bytes(verdict_figure(replace(headline(tight), title=name)))


def test_sections_stand_at_the_scale_that_is_stated(tight):
    views = section_views(tight.wearer, tight.piece, tight.placement, tight.ease)
    figure = sections_figure(views)
    scale = int(figure.texts[0].get_text().split("Scale 1:")[1].split()[0])
    width_mm, height_mm = 25.4 * figure.get_size_inches()
    assert width_mm == pytest.approx(180.0)
    for ax, view in zip(figure.axes, views, strict=True):
        left, right, low, high = view.frame_mm
        box = ax.get_position()
        assert box.width * width_mm * scale == pytest.approx(right - left)
        assert box.height * height_mm * scale == pytest.approx(high - low)
        assert box.x0 > 0
        assert box.x1 < 1


def test_figures_are_the_same_bytes_for_the_same_results(tight):
    def drawn():
        eyes = eye_views(tight.wearer, tight.piece, tight.placement, tight.sight)
        zones = zones_figure(tight.ease, tight.uncertainty.by_zone)
        return svg_bytes(eyes_figure(eyes)), svg_bytes(zones)

    first = drawn()
    assert first == drawn()
    assert b"<text" not in first[0]  # letters are shapes: no font is needed to read them
