"""Draw what the eyes see on an equal-area chart with rings of degrees."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Patch

from fitkit.fit.sight import Side
from fitkit.plots.paper import HALO, INK, SOFT
from fitkit.views.fields import EDGE_DEG, FieldChart, chart_radius

#: Rings that are drawn. [deg]
RINGS_DEG = (30, 60, 90)
#: Hidden by the piece, seen by one eye, seen by both: dark enough apart in grey.
HIDDEN, ONE_EYE, BOTH_EYES = "#e9e6e0", "#9cbfdc", "#2f628f"
#: Colours of light that gets through, darkest last. [share of all of it]
LIGHT_LEVELS = (0.02, 0.25, 0.5, 0.75, 0.98, 1.01)
LIGHT_COLOURS = ("#f4eee4", "#cbd8e6", "#a1bdd8", "#6591bd", "#2f628f")
LIGHT_WORDS = ("2 to 25 %", "25 to 50 %", "50 to 75 %", "75 to 98 %", "all of it")


def draw_both_eyes(ax: Axes, chart: FieldChart) -> None:
    """
    Draw what one eye and what both eyes see, on what is seen bare-headed.

    Parameters
    ----------
    ax : Axes
        Gets equal scales, rings of degrees and no frame.
    chart : FieldChart
        As the wearer sees it: the wearer's right is to the right.
    """
    seen = chart.worn["left"], chart.worn["right"]
    bare = np.maximum(chart.bare["left"], chart.bare["right"])
    layers = ((bare, HIDDEN), (np.maximum(*seen), ONE_EYE), (np.minimum(*seen), BOTH_EYES))
    for values, colour in layers:
        ax.contourf(chart.across, chart.upward, values, levels=(0.5, 2.0), colors=[colour])
    _outline(ax, chart, np.maximum(*seen), linewidth=0.9, linestyle="solid")
    _outline(ax, chart, bare, linewidth=0.9, linestyle="dashed")
    _draw_rings(ax)
    handles: list[Patch | Line2D] = [
        Patch(facecolor=BOTH_EYES, edgecolor=INK, linewidth=0.5, label="seen by both eyes"),
        Patch(facecolor=ONE_EYE, edgecolor=INK, linewidth=0.5, label="seen by one eye"),
        Patch(facecolor=HIDDEN, edgecolor=INK, linewidth=0.5, label="hidden by the piece"),
        _bare_key("seen bare-headed"),
    ]
    _draw_legend(ax, handles)


def draw_eye_light(ax: Axes, chart: FieldChart, side: Side) -> None:
    """
    Draw how much light gets to one eye from every direction, lenses included.

    Parameters
    ----------
    ax : Axes
        Gets equal scales, rings of degrees and no frame.
    chart : FieldChart
    side : {"left", "right"}
        The wearer's eye.
    """
    light = chart.light[side]
    ax.contourf(
        chart.across, chart.upward, light, levels=LIGHT_LEVELS, colors=LIGHT_COLOURS
    )
    _outline(ax, chart, chart.worn[side], linewidth=0.9, linestyle="solid")
    _outline(ax, chart, chart.bare[side], linewidth=0.9, linestyle="dashed")
    _draw_rings(ax)
    ax.set_title(f"{side} eye")


def draw_light_legend(ax: Axes) -> None:
    """Explain the colours of `draw_eye_light` on axes of its own."""
    handles: list[Patch | Line2D] = [
        Patch(facecolor=colour, edgecolor=INK, linewidth=0.5, label=words)
        for colour, words in zip(LIGHT_COLOURS[::-1], LIGHT_WORDS[::-1], strict=True)
    ]
    handles.append(Line2D([], [], color=INK, linewidth=0.9, label="seen by pupil's centre"))
    handles.append(_bare_key("seen bare-headed"))
    title = "light that gets to the pupil"
    ax.legend(
        handles=handles,
        title=title,
        loc="center",
        frameon=False,
        fontsize=6.5,
        title_fontsize=7,
        ncols=len(handles),
        columnspacing=1.2,
        handlelength=1.6,
    )
    ax.set_axis_off()


def _outline(
    ax: Axes, chart: FieldChart, values: object, *, linewidth: float, linestyle: str
) -> None:
    ax.contour(
        chart.across,
        chart.upward,
        np.asarray(values, dtype=float),
        levels=(0.5,),
        colors=[INK],
        linewidths=linewidth,
        linestyles=linestyle,
    )


def _draw_rings(ax: Axes) -> None:
    edge = chart_radius(EDGE_DEG)
    for ring in RINGS_DEG:
        radius = chart_radius(ring)
        ax.add_patch(
            Circle((0, 0), radius, fill=False, edgecolor=SOFT, linewidth=0.4, zorder=4)
        )
        ax.text(radius * 0.707, -radius * 0.707, f"{ring}°", fontsize=6, color=SOFT,
                ha="center", va="center", path_effects=HALO, zorder=5)  # fmt: skip
    for ends in (((-edge, edge), (0, 0)), ((0, 0), (-edge, edge))):
        ax.plot(*ends, color=SOFT, linewidth=0.4, zorder=4)
    words = (("up", 0, 1), ("down", 0, -1), ("left", -1, 0), ("right", 1, 0))
    for name, right, up in words:
        ax.text(right * edge * 1.02, up * edge * 1.02, name, fontsize=6.5, color=SOFT,
                ha={-1: "right", 0: "center", 1: "left"}[right],
                va={-1: "top", 0: "center", 1: "bottom"}[up])  # fmt: skip
    ax.set(
        aspect="equal", xlim=(-edge * 1.06, edge * 1.06), ylim=(-edge * 1.08, edge * 1.08)
    )
    ax.set_axis_off()


def _bare_key(words: str) -> Line2D:
    return Line2D([], [], color=INK, linewidth=0.9, linestyle="dashed", label=words)


def _draw_legend(ax: Axes, handles: Sequence[Patch | Line2D]) -> None:
    ax.legend(handles=handles, loc="upper center", bbox_to_anchor=(0.5, 0.0), ncols=2,
              frameon=False, fontsize=6.5, handlelength=1.6, columnspacing=1.4)  # fmt: skip
