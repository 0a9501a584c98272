"""Figures of sight: what is drawn is what was given, with units and without colour."""

import numpy as np
import pytest
from matplotlib.figure import Figure

from fitkit.fit.sight import SIDES
from fitkit.fit.slit import Slit, SlitSearch, Weighting
from fitkit.geometry.mesh import Mesh
from fitkit.plots.cuts import draw_cut, draw_template
from fitkit.plots.fields import (
    BOTH_EYES,
    HIDDEN,
    LIGHT_COLOURS,
    LIGHT_LEVELS,
    ONE_EYE,
    RINGS_DEG,
    draw_both_eyes,
    draw_eye_light,
)
from fitkit.plots.floors import draw_floor_side, draw_floor_strips
from fitkit.plots.sight_pages import cut_figure, field_figure, floor_figure, slit_figure
from fitkit.plots.slits import draw_slit_price
from fitkit.views.cuts import CutView, TemplateView
from fitkit.views.fields import FieldChart
from fitkit.views.floors import FloorSide, FloorStrip


def brightness(colour):
    red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.fixture
def chart():
    line = np.linspace(-1.6, 1.6, 81)
    right, up = np.meshgrid(line, line)
    disc = lambda x, r: (np.hypot(right - x, up) < r).astype(float)  # noqa: E731
    worn = {"left": disc(-0.2, 0.4), "right": disc(0.2, 0.4)}
    bare = {side: disc(0, 1.2) for side in SIDES}
    return FieldChart(across=line, upward=line, worn=worn, bare=bare, light=worn,
                      either_percent=21.4, both_percent=7.6, reference="wide")  # fmt: skip


@pytest.fixture
def side():
    strips = (
        FloorStrip(
            bow_deg=0, seen_m=((3.5, 90.0),), beyond_m=float("nan"), bare_nearest_m=0.4
        ),
        FloorStrip(bow_deg=20, seen_m=(), beyond_m=float("nan"), bare_nearest_m=0.3),
        FloorStrip(bow_deg=30, seen_m=(), beyond_m=12.0, bare_nearest_m=0.3),
    )
    head = np.array([[0.1, 1.5], [0.1, 1.7], [-0.1, 1.7], [-0.1, 1.5]])
    return FloorSide(head_m=head, eye_height_m=1.6, strips=strips, steps_m=(0.7, 1.4))


def texts(ax):
    return [text.get_text() for text in ax.texts]


def test_rings_of_degrees_and_the_four_ways_are_named(chart):
    ax = Figure().add_subplot()
    draw_both_eyes(ax, chart)
    said = texts(ax)
    assert {f"{ring}°" for ring in RINGS_DEG} <= set(said)
    assert {"up", "down", "left", "right"} <= set(said)
    keys = [text.get_text() for text in ax.get_legend().get_texts()]
    assert "hidden by the piece" in keys
    assert "seen bare-headed" in keys


def test_what_is_seen_by_more_eyes_is_darker_in_grey_too():
    assert brightness(HIDDEN) > brightness(ONE_EYE) + 30
    assert brightness(ONE_EYE) > brightness(BOTH_EYES) + 30


def test_more_light_is_drawn_darker_step_by_step():
    steps = [brightness(colour) for colour in LIGHT_COLOURS]
    assert all(np.diff(steps) < -15)
    assert len(LIGHT_LEVELS) == len(LIGHT_COLOURS) + 1


def test_each_eye_is_titled(chart):
    for name in SIDES:
        ax = Figure().add_subplot()
        draw_eye_light(ax, chart, name)
        assert ax.get_title() == f"{name} eye"


def test_percents_stand_beside_the_chart(chart):
    said = [text.get_text() for text in field_figure(chart).texts]
    assert "21 %" in said
    assert "8 %" in said
    assert any("wide" in text for text in said)


def test_floor_bars_begin_where_the_floor_is_seen_and_say_so(side):
    ax = Figure().add_subplot()
    draw_floor_strips(ax, side)
    (bar,) = ax.patches
    assert bar.get_x() == 3.5
    assert bar.get_x() + bar.get_width() == 7.0  # cut off at the end of the picture
    assert "3.5 m" in texts(ax)
    assert texts(ax).count("no floor seen") == 1
    assert "from 12 m on" in texts(ax)
    rows = [label.get_text() for label in ax.get_yticklabels()]
    assert rows == ["head level", "bowed 20°", "bowed 30°"]
    assert "metres" in ax.get_xlabel()


def test_sight_lines_run_from_the_eye_to_the_floor(side):
    ax = Figure().add_subplot()
    draw_floor_side(ax, side)
    ends = [
        tuple(np.round(np.column_stack(line.get_data()).ravel(), 3)) for line in ax.lines
    ]
    assert (0, 1.6, 3.5, 0) in ends
    assert (0, 1.6, 0.4, 0) in ends
    assert {"one step", "two steps"} <= set(texts(ax))


def view(**how):
    outline = np.array([[0, 0], [20, 0], [20, 10], [0, 0.0]])
    template = TemplateView(title="left eye, marked from outside", outlines=(outline,),
                            stretch_percent=1.26, bevel_deg=(4.0, 31.0))  # fmt: skip
    settings = {
        "across": np.arange(-30.0, 30),
        "upward": np.arange(-20.0, 20),
        "shade": np.full((40, 60), 0.5),
        "outlines": (outline,),
        "templates": (template,),
    }
    return CutView(**{**settings, **how})


def test_cut_is_hatched_on_the_shell_with_millimetres():
    ax = Figure().add_subplot()
    draw_cut(ax, view())
    assert [patch.get_hatch() for patch in ax.patches if patch.get_hatch()] == ["////"]
    assert "mm" in ax.get_xlabel()
    assert "mm" in ax.get_ylabel()
    assert "wearer's left" in ax.get_xlabel()


def test_template_has_its_bar_its_stretch_and_the_lean_of_the_saw():
    ax = Figure().add_subplot()
    draw_template(ax, view().templates[0])
    assert "50 mm" in texts(ax)
    assert "1.3 %" in ax.get_title()
    assert "4° to 31°" in ax.get_title()
    bar = ax.lines[0].get_xdata()
    assert bar[1] - bar[0] == 50


def test_missing_template_says_why():
    empty = TemplateView(title="left eye", outlines=(), stretch_percent=float("nan"),
                         bevel_deg=(float("nan"),) * 2)  # fmt: skip
    ax = Figure().add_subplot()
    draw_template(ax, empty)
    assert "no flat template" in ax.get_title()
    assert "no saw needed" in ax.get_title()


def slits(wall_mm, seen):
    mesh = Mesh(np.zeros((3, 3)), np.array([[0, 1, 2]]))
    best = tuple(
        Slit(height_mm=h, gauge_mm=h, width_mm=130, tilt_deg=0, front_mm=100, up_mm=10,
             above_pupils_mm=-2, seen_percent=s, light_percent=s, either_sr=0.1, tool=mesh)
        for h, s in seen
    )  # fmt: skip
    return SlitSearch(best=best, weighting=Weighting(), eye_to_wall_mm=wall_mm)


def test_price_of_a_slit_is_drawn_as_found_one_line_a_wall():
    ax = Figure().add_subplot()
    draw_slit_price(ax, [slits(20, [(2, 3), (10, 18)]), slits(40, [(2, 1), (10, 8)])])
    near, far = ax.lines
    assert near.get_xydata().tolist() == [[2, 3], [10, 18]]
    assert far.get_xydata().tolist() == [[2, 1], [10, 8]]
    assert near.get_marker() != far.get_marker()
    assert "wall 20 mm from the eyes" in texts(ax)
    assert "mm" in ax.get_xlabel()
    assert "%" in ax.get_ylabel()


def test_whole_figures_are_set_out_on_paper(chart, side):
    assert len(field_figure(chart).axes) == 1
    assert len(floor_figure(side).axes) == 2
    assert len(cut_figure(view()).axes) == 2
    assert len(slit_figure([slits(20, [(2, 3)])]).axes) == 1
