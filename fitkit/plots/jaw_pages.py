"""Whole figures of a jaw, set out on paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

from matplotlib.figure import Figure

from fitkit.plots.jaw import (
    draw_chin_force,
    draw_closing,
    draw_gaps,
    draw_hinge_map,
    draw_jaw_midplane,
    draw_pads,
)
from fitkit.plots.paper import new_figure, styled
from fitkit.plots.sight_pages import WIDTH_MM
from fitkit.views.jaws import HingeMap, JawView

if TYPE_CHECKING:
    from fitkit.fit.jaw_report import JawReport


def jaw_side_figure(view: JawView) -> Figure:
    """Draw the midplane with the jaw shut and open."""
    figure = new_figure(width_mm=WIDTH_MM, height_mm=132.0)
    with styled():
        draw_jaw_midplane(figure.add_subplot(), view)
        figure.tight_layout(pad=0.4)
    return figure


def hinge_figure(view: HingeMap) -> Figure:
    """Draw what hinges at each place do."""
    figure = new_figure(width_mm=0.58 * WIDTH_MM, height_mm=120.0)
    with styled():
        draw_hinge_map(figure.add_axes((0.12, 0.19, 0.85, 0.71)), view)
    return figure


def jaw_travel_figure(report: JawReport) -> Figure:
    """Draw pads, gaps, moments and the chin's force over the travel."""
    figure = new_figure(width_mm=WIDTH_MM, height_mm=128.0)
    with styled():
        axes = figure.subplots(2, 2)
        draw_pads(axes[0, 0], report.travel)
        draw_gaps(axes[0, 1], report.clash)
        draw_closing(axes[1, 0], report.closing)
        draw_chin_force(axes[1, 1], report.travel)
        figure.tight_layout(pad=0.4, w_pad=1.5, h_pad=1.5)
    return figure
