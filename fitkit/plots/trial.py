"""Draw a trial fitting: each gap foretold with its spread, read, and as now thought."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from fitkit.plots.paper import CLASH, FAINT, HALO, INK, SOFT, drawable, new_figure, styled
from fitkit.views.trials import GapRow, TrialView

#: Width of the figure; height of its margins and of a row. [mm]
WIDTH_MM, MARGIN_MM, ROW_MM = 180.0, 24.0, 5.2
#: Half heights of what was foretold and of what is now thought, in rows.
_HALF_BAND = 0.36
#: Band of what was foretold.
_BAND = "#d5e1ec"
#: Mark, its fill and its edge by how a reading looks.
_MARKS: Mapping[str, tuple[str, str, str]] = MappingProxyType(
    {
        "within": ("o", INK, INK),
        "off": ("D", "white", CLASH),
        "left out": ("X", CLASH, CLASH),
    }
)


def trial_figure(view: TrialView) -> Figure:
    """Draw a trial fitting on a page of its own."""
    height = MARGIN_MM + ROW_MM * len(view.rows)
    figure = new_figure(width_mm=WIDTH_MM, height_mm=height)
    with styled():
        bottom, top = 10.0 / height, 1.0 - 14.0 / height
        draw_trial(figure.add_axes((0.46, bottom, 0.48, top - bottom)), view)
        figure.text(
            0.01, 1.0 - 5.0 / height, drawable(view.title), fontsize=9, fontweight="bold"
        )
    return figure


def draw_trial(ax: Axes, view: TrialView) -> None:
    """
    Draw every gap of a trial fitting.

    Parameters
    ----------
    ax : Axes
        Places run down, millimetres across.
    view : TrialView
    """
    for place, row in enumerate(view.rows):
        _draw_row(ax, place, row)
    ax.axvline(0.0, color=INK, linewidth=0.8)
    ax.set_yticks(range(len(view.rows)), [drawable(row.label) for row in view.rows])
    ax.set(
        ylim=(len(view.rows) - 0.4, -0.6),
        xlabel="gap between hair and finished inner wall, mm (below 0: pressed in)",
    )
    ax.margins(x=0.12)
    ax.grid(axis="x", color=FAINT, linewidth=0.4)
    ax.set_axisbelow(True)
    ax.spines[["top", "right", "left"]].set_visible(False)
    ax.tick_params(axis="y", length=0)
    _draw_legend(ax)


def _draw_row(ax: Axes, place: int, row: GapRow) -> None:
    ax.barh(
        place,
        row.high_mm - row.low_mm,
        left=row.low_mm,
        height=2 * _HALF_BAND,
        facecolor=_BAND,
        edgecolor=SOFT,
        linewidth=0.4,
        gid=f"foretold {row.key}",
        zorder=2,
    )
    ax.plot(
        (row.foretold_mm,) * 2,
        (place - _HALF_BAND, place + _HALF_BAND),
        color=SOFT,
        linewidth=1.0,
        zorder=3,
    )
    ax.plot(
        (row.after_low_mm, row.after_high_mm),
        (place, place),
        color=INK,
        linewidth=1.6,
        gid=f"after {row.key}",
        zorder=4,
    )
    marker, fill, edge = _MARKS[row.look]
    ax.plot(
        row.gap_mm,
        place,
        marker=marker,
        markersize=4.5 if row.look == "within" else 5.5,
        markerfacecolor=fill,
        markeredgecolor=edge,
        markeredgewidth=0.9,
        linestyle="none",
        gid=f"gap {row.key}",
        zorder=5,
    )
    if row.note:
        ax.annotate(
            row.note,
            (max(row.gap_mm, row.high_mm, row.after_high_mm), place),
            xytext=(5, 0),
            textcoords="offset points",
            va="center",
            fontsize=6.2,
            color=CLASH,
            path_effects=HALO,
            zorder=6,
        )


def _draw_legend(ax: Axes) -> None:
    names = ("reading", "off by more than its spread", "left out")
    marks = [
        Line2D(
            [],
            [],
            marker=marker,
            markersize=5,
            markerfacecolor=fill,
            markeredgecolor=edge,
            linestyle="none",
            label=name,
        )
        for name, (marker, fill, edge) in zip(names, _MARKS.values(), strict=True)
    ]
    keys: list[Patch | Line2D] = [
        Patch(facecolor=_BAND, edgecolor=SOFT, label="foretold: 19 of 20 readings"),
        Line2D([], [], color=INK, linewidth=1.6, label="as now thought, 19 of 20"),
        *marks,
    ]
    ax.legend(
        handles=keys,
        loc="lower right",
        bbox_to_anchor=(1.0, 1.0),
        ncols=3,
        frameon=False,
        fontsize=6.5,
        labelcolor=SOFT,
    )
