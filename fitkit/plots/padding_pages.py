"""Whole figures of padding and balance, set out on paper."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

import numpy as np
from matplotlib.figure import Figure

from fitkit.fit.balance import Balance
from fitkit.fit.pad_options import OptionRow
from fitkit.fit.pad_patterns import PadPattern
from fitkit.plots.padding import (
    draw_neck_loads,
    draw_options,
    draw_pattern,
    draw_pressure_legend,
    draw_pressure_views,
)
from fitkit.plots.paper import new_figure, styled
from fitkit.views.pressures import PressureView

#: Width of a figure: A4 less its margins. [mm]
WIDTH_MM = 180.0
#: Pads in a row, and room for what is said above each. [mm]
ACROSS, TITLE_MM = 3, 11.0


def pressure_figure(views: Sequence[PressureView]) -> Figure:
    """Set out views of the pressed head in a row, with the legend below."""
    figure = new_figure(width_mm=WIDTH_MM, height_mm=82.0)
    with styled():
        wide = [float(view.across[-1] - view.across[0]) for view in views]
        row = figure.add_gridspec(
            1, len(views), left=0.01, right=0.99, bottom=0.2, top=0.94, wspace=0.03,
            width_ratios=wide,
        )  # fmt: skip
        axes = [figure.add_subplot(row[0, place]) for place in range(len(views))]
        draw_pressure_views(axes, views)
        draw_pressure_legend(figure.add_axes((0.15, 0.0, 0.7, 0.17)))
    return figure


def options_figure(rows: Sequence[OptionRow], *, chosen: str = "") -> Figure:
    """Draw pad sets by pressure and hold; the chosen one, by name, is pointed out."""
    figure = new_figure(width_mm=WIDTH_MM, height_mm=92.0)
    with styled():
        draw_options(figure.add_subplot(), rows, chosen=chosen)
        figure.tight_layout(pad=0.5)
    return figure


def neck_figure(balances: Sequence[tuple[str, Balance]]) -> Figure:
    """Draw the moment on the neck in every posture."""
    figure = new_figure(width_mm=WIDTH_MM, height_mm=50.0 + 12.0 * len(balances))
    with styled():
        draw_neck_loads(figure.add_subplot(), balances)
        figure.tight_layout(pad=0.5)
    return figure


def patterns_figure(patterns: Sequence[PadPattern]) -> Figure:
    """Draw the pads to cut, three in a row, all at one scale; too small to cut by."""
    rows = ceil(len(patterns) / ACROSS)
    corners = [np.vstack(one.outlines_mm) for one in patterns]
    wide = max(float(np.ptp(each[:, 0])) for each in corners) + 6.0
    high = max(float(np.ptp(each[:, 1])) for each in corners) + 6.0
    cell_mm = WIDTH_MM / ACROSS
    figure = new_figure(
        width_mm=WIDTH_MM, height_mm=rows * (cell_mm * high / wide + TITLE_MM)
    )
    with styled():
        for place, (pattern, each) in enumerate(zip(patterns, corners, strict=True)):
            ax = figure.add_subplot(rows, ACROSS, place + 1)
            draw_pattern(ax, pattern)
            right, up = (each.min(axis=0) + each.max(axis=0)) / 2
            ax.set_xlim(right - wide / 2, right + wide / 2)
            ax.set_ylim(up - high / 2, up + high / 2)
        figure.tight_layout(pad=0.4)
    return figure
