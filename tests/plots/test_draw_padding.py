"""Plots of padding show the numbers they are given."""

from __future__ import annotations

import numpy as np
import pytest
from foam_beds import ring_of_pads, round_head, weight

from fitkit.fit.balance import balance
from fitkit.fit.foam import library
from fitkit.fit.pad_options import compare_options
from fitkit.fit.pad_patterns import pad_patterns
from fitkit.fit.pad_stock import PadOption
from fitkit.fit.padding import CASES, GUIDE_KPA, pad_out
from fitkit.fit.placement import Placement
from fitkit.plots.padding import (
    PRESSURE_BANDS,
    draw_foams,
    draw_neck_loads,
    draw_options,
    draw_pattern,
    draw_pressure,
    draw_pressure_legend,
    draw_pressure_views,
)
from fitkit.plots.paper import new_figure, svg_bytes
from fitkit.views.pressures import pressure_views

HOME = Placement()


@pytest.fixture(scope="module")
def head_and_piece():
    return round_head()


def axes(count=1):
    figure = new_figure(width_mm=170, height_mm=60)
    return figure, [figure.add_subplot(1, count, k + 1) for k in range(count)]


def words(ax):
    return " ".join(text.get_text() for text in ax.texts)


def test_pressure_marks_its_peak_on_a_view_that_sees_it(head_and_piece):
    wearer, piece = head_and_piece
    settled = pad_out(wearer, piece, HOME, pads=ring_of_pads(), weighing=weight(800.0),
                      cases=CASES[:1]).settled["upright"]  # fmt: skip
    views = pressure_views(wearer.head, settled, pixel_mm=3.0)
    figure, four = axes(4)
    draw_pressure_views(four, views)
    assert (four[0].get_title(loc="left") or four[0].get_title()) == "front"
    said = " ".join(words(ax) for ax in four)
    assert f"{settled.peak_kpa:.1f} kPa" in said
    assert svg_bytes(figure).startswith(b"<?xml")
    seen = [view for view in views if view.peak_at is not None]
    assert 0 < len(seen) < 4  # the pole of a ball is hidden from some sides
    _, again = axes(4)
    draw_pressure(again, wearer.head, settled)
    assert [ax.get_title() for ax in again] == [ax.get_title() for ax in four]


def test_the_legend_of_pressure_names_the_guide():
    _, (ax,) = axes()
    draw_pressure_legend(ax)
    said = words(ax)
    assert "4.3\nguide" in said
    assert "kPa" in said
    hatched = [patch for patch in ax.patches if patch.get_hatch()]
    assert len(hatched) == sum(edge > GUIDE_KPA for edge, _ in PRESSURE_BANDS)


def test_options_stand_at_their_margin_and_pressure(head_and_piece):
    pads = tuple(ring_of_pads())
    option = PadOption(name="ring", pads=pads, sheets_mm=((16.0,),) * len(pads))
    rows = compare_options(*head_and_piece, HOME, options=[option], weighing=weight(800.0))
    _, (ax,) = axes()
    draw_options(ax, rows, chosen="ring")
    assert "taken: ring" in words(ax)
    mark = next(line for line in ax.lines if line.get_gid() == "option ring")
    assert mark.get_xdata()[0] == pytest.approx(rows[0].slip_margin)
    assert mark.get_ydata()[0] == pytest.approx(rows[0].peak_kpa)


def test_neck_loads_are_bars_of_their_length():
    light, heavy = balance(weight(500.0, at_mm=(0, 30, 20))), balance(weight(900.0))
    _, (ax,) = axes()
    draw_neck_loads(ax, [("light", light), ("heavy", heavy)])
    widths = [bar.get_width() for bar in ax.patches]
    expected = [load.total_n_cm for one in (light, heavy) for load in one.loads.values()]
    assert widths == pytest.approx(expected)


def test_foams_are_named_and_their_readings_marked():
    _, (ax,) = axes()
    draw_foams(ax, list(library().values()))
    assert "pe 33" in words(ax)
    assert [f"{tick:g}" for tick in (1, 10)] == [
        ax.yaxis.get_major_formatter()(tick) for tick in (1, 10)
    ]
    marked = [line for line in ax.lines if line.get_marker() == "."]
    assert marked[0].get_ydata().tolist() == [40, 75, 115, 175]


def test_a_pattern_is_drawn_at_true_size(head_and_piece):
    pattern = pad_patterns(*head_and_piece, HOME, pads=ring_of_pads()[:1],
                           most_stretch_percent=40)[0]  # fmt: skip
    _, (ax,) = axes()
    draw_pattern(ax, pattern)
    drawn = np.column_stack(ax.lines[0].get_data())
    assert np.ptp(drawn, axis=0) == pytest.approx(np.ptp(pattern.outlines_mm[0], axis=0))
