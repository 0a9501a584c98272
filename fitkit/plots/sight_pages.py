"""Whole figures of sight, set out on paper."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure

from fitkit.fit.sight import SIDES
from fitkit.fit.slit import SlitSearch
from fitkit.plots.cuts import draw_cut, draw_template
from fitkit.plots.fields import draw_both_eyes, draw_eye_light, draw_light_legend
from fitkit.plots.floors import draw_floor_side, draw_floor_strips
from fitkit.plots.paper import SOFT, new_figure, styled
from fitkit.plots.slits import draw_slit_price
from fitkit.views.cuts import CutView
from fitkit.views.fields import FieldChart
from fitkit.views.floors import FloorSide

#: Width of a figure: A4 less its margins. [mm]
WIDTH_MM = 180.0


def field_figure(chart: FieldChart) -> Figure:
    """Draw what both eyes see, large, with its figures beside it."""
    figure = new_figure(width_mm=WIDTH_MM, height_mm=112.0)
    with styled():
        draw_both_eyes(figure.add_axes((0.02, 0.1, 0.62, 0.88)), chart)
        words = (
            f"{chart.either_percent:.0f} %",
            "of the view without the piece\nis left to one eye or the other",
            f"{chart.both_percent:.0f} %",
            "of what both eyes see at once\nis left to both",
        )
        for place, (text, size, weight) in enumerate(
            zip(words, (20, 7.5, 20, 7.5), ("bold", "normal") * 2, strict=True)
        ):
            up = (0.80, 0.73, 0.54, 0.47)[place]
            figure.text(0.69, up, text, fontsize=size, fontweight=weight, va="top")
        note = (
            "As the wearer sees it, eyes straight ahead.\nEqual areas of paper are equal "
            f"solid angles.\nReference field: {chart.reference}."
        )
        figure.text(0.69, 0.12, note, fontsize=6.2, color=SOFT, va="bottom")
    return figure


def light_figure(chart: FieldChart) -> Figure:
    """Draw the light that gets to each eye, side by side."""
    figure = new_figure(width_mm=WIDTH_MM, height_mm=104.0)
    with styled():
        for place, side in enumerate(SIDES):
            axes = figure.add_axes((0.03 + 0.50 * place, 0.13, 0.44, 0.80))
            draw_eye_light(axes, chart, side)
        draw_light_legend(figure.add_axes((0.0, 0.0, 1.0, 0.12)))
    return figure


def floor_figure(side: FloorSide) -> Figure:
    """Draw the sight lines from the side over the stretches seen by each bow."""
    figure = new_figure(width_mm=WIDTH_MM, height_mm=68.0 + 9.0 * len(side.strips))
    with styled():
        upper, lower = figure.subplots(
            2, 1, height_ratios=(48.0, 9.0 * len(side.strips)), sharex=True
        )
        draw_floor_side(upper, side)
        draw_floor_strips(lower, side)
        figure.tight_layout(pad=0.4, h_pad=0.6)
    return figure


def cut_figure(view: CutView) -> Figure:
    """Draw a cut on the shell, with its templates below."""
    count = max(1, len(view.templates))
    figure = new_figure(width_mm=WIDTH_MM, height_mm=150.0)
    with styled():
        parts = figure.add_gridspec(2, count, height_ratios=(1.35, 1.0))
        draw_cut(figure.add_subplot(parts[0, :]), view)
        for column, template in enumerate(view.templates):
            draw_template(figure.add_subplot(parts[1, column]), template)
        figure.tight_layout(pad=0.4, h_pad=1.2)
    return figure


def slit_figure(searches: Sequence[SlitSearch]) -> Figure:
    """Draw what each millimetre of slit brings, for walls near and far."""
    figure = new_figure(width_mm=WIDTH_MM * 0.72, height_mm=72.0)
    with styled():
        draw_slit_price(figure.add_subplot(), searches)
        figure.tight_layout(pad=0.4)
    return figure
