"""Pictures of a jaw: what is drawn is what was given, with units and without colour."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

sys.path.append(str(Path(__file__).parents[1] / "fit"))
from sample_jaw import otter_report, placed_otter

from fitkit.plots.jaw import (
    draw_chin_force,
    draw_closing,
    draw_gaps,
    draw_hinge_map,
    draw_jaw_midplane,
    draw_pads,
)
from fitkit.plots.jaw_pages import hinge_figure, jaw_side_figure, jaw_travel_figure
from fitkit.plots.paper import svg_bytes
from fitkit.views.jaws import hinge_map, jaw_view


@pytest.fixture(scope="module")
def report():
    return otter_report()


@pytest.fixture(scope="module")
def view(report):
    return jaw_view(placed_otter().wearer, report)


@pytest.fixture(scope="module")
def hinges(report):
    return hinge_map(report, report.hinge, count=7)


@pytest.fixture
def ax():
    return Figure().add_subplot()


def words(ax):
    return " | ".join([ax.get_title(loc="left") or ax.get_title(),
                       *(text.get_text() for text in ax.texts)])  # fmt: skip


def line_through(ax, values) -> bool:
    return any(
        len(line.get_ydata()) == len(values) and np.allclose(line.get_ydata(), values)
        for line in ax.lines
    )


def dashes(ax):
    return {str(line._dash_pattern) for line in ax.lines if len(line.get_ydata()) > 2}


def test_midplane_shows_the_ways_and_names_every_mark(ax, view):
    draw_jaw_midplane(ax, view)
    for path in view.paths.values():
        assert line_through(ax, path[:, 1])
    said = words(ax)
    for name in (*view.marks, *view.paths):
        assert name in said
    assert f"{view.opening_mm:.0f} mm between the teeth" in said
    assert f"{view.seen_mm:.0f} mm seen" in said
    assert ax.get_aspect() == 1.0
    assert "mm" in ax.get_xlabel()
    assert any(patch.get_hatch() for patch in ax.patches)  # open jaw, without colour


def test_pads_are_told_apart_by_dash_and_width(ax, report):
    draw_pads(ax, report.travel)
    for pad in report.travel.pads:
        assert line_through(ax, pad.slip_mm)
        assert pad.contact.name in words(ax)
    assert len(dashes(ax)) >= 2
    assert "open stop" in words(ax)


def test_gaps_are_those_of_the_report_and_the_least_are_named(ax, report):
    draw_gaps(ax, report.clash)
    assert line_through(ax, report.clash.shell.gap_mm)
    assert line_through(ax, report.clash.shell.drawn_mm)
    assert f"{report.clash.shell.least_mm:.1f} mm" in words(ax)
    assert f"{report.clash.head.least_mm:.1f} mm" in words(ax)
    assert len(dashes(ax)) >= 3


def test_moments_of_straps_and_of_gravity_in_every_posture(ax, report):
    draw_closing(ax, report.closing)
    assert line_through(ax, report.closing.strap_nmm)
    for name, moment in report.closing.gravity_nmm.items():
        assert line_through(ax, moment)
        assert f"gravity, {name}" in words(ax)
    assert f"{report.closing.margin:.2f}" in words(ax)


def test_force_of_the_chin_and_its_limit(ax, report):
    draw_chin_force(ax, report.travel)
    assert line_through(ax, report.travel.chin_force_n)
    assert "N" in ax.get_ylabel()


def test_without_straps_the_force_says_so(ax, report):
    nan = np.full(len(report.travel.chin_deg), np.nan)
    draw_chin_force(ax, replace(report.travel, chin_force_n=nan))
    assert "no strap" in words(ax)


def test_map_of_hinges_names_marks_and_misfits(ax, hinges):
    draw_hinge_map(ax, hinges)
    said = " | ".join(text.get_text() for text in ax.get_legend().get_texts())
    assert f"best, {hinges.best_mm:.1f} mm" in said
    assert f"as drawn, {hinges.drawn_mm:.1f} mm" in said
    assert "chin pole" in said
    assert f"{hinges.off_misfit_mm[0]:.1f}" in words(ax)
    assert ax.get_aspect() == 1.0


def test_places_without_a_bolt_are_crossed_out(ax, hinges):
    held = hinges.held.copy()
    held[0, :3] = False
    draw_hinge_map(ax, replace(hinges, held=held))
    crosses = next(line for line in ax.lines if line.get_marker() == "x")
    assert len(crosses.get_xdata()) == (~held).sum()
    said = [text.get_text() for text in ax.get_legend().get_texts()]
    assert "no bolt holds" in said


def test_whole_figures_are_the_same_bytes_each_time(report, view, hinges):
    for make in (
        lambda: jaw_side_figure(view),
        lambda: hinge_figure(hinges),
        lambda: jaw_travel_figure(report),
    ):
        assert svg_bytes(make()) == svg_bytes(make())
