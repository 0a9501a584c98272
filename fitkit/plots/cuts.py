"""Draw a cut on the shell, and its flat templates."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from fitkit.plots.paper import CLASH, INK, SOFT
from fitkit.views.cuts import CutView, TemplateView

#: Brightness of the darkest and the lightest part of the shell.
DARKEST, LIGHTEST = 0.45, 0.97
#: Brightness of openings and of what is beside the shell.
OPENING = 0.28
#: Length of the bar beside a template. [mm]
BAR_MM = 50.0


def draw_cut(ax: Axes, view: CutView) -> None:
    """
    Draw what is to be cut away on the front of the shell.

    Parameters
    ----------
    ax : Axes
        Gets equal scales and millimetres.
    view : CutView
        As seen by who stands before the piece: the wearer's left is to the right.
    """
    half = (view.across[1] - view.across[0]) / 2
    extent = (
        float(view.across[0] - half),
        float(view.across[-1] + half),
        float(view.upward[0] - half),
        float(view.upward[-1] + half),
    )
    shade = DARKEST + (LIGHTEST - DARKEST) * view.shade
    pixels = np.repeat(np.nan_to_num(shade, nan=OPENING)[..., None], 3, axis=2)
    ax.imshow(pixels, origin="lower", extent=extent, interpolation="bilinear")
    for outline in view.outlines:
        ax.add_patch(
            Polygon(
                outline, closed=True, facecolor="none", edgecolor="white", linewidth=2.6
            )
        )
        patch = Polygon(
            outline, closed=True, facecolor="none", edgecolor=CLASH, linewidth=1.3
        )
        patch.set_hatch("////")
        ax.add_patch(patch)
    ax.set(xlim=extent[:2], ylim=extent[2:], aspect="equal")
    ax.set_title("From the front: what is hatched goes; dark is open already")
    ax.set(xlabel="to the wearer's left, mm", ylabel="up, mm")
    ax.tick_params(length=2, color=SOFT)


def draw_template(ax: Axes, view: TemplateView) -> None:
    """
    Draw one flat template with a bar of 50 mm.

    Parameters
    ----------
    ax : Axes
        Gets equal scales and no frame.
    view : TemplateView
    """
    for outline in view.outlines:
        ax.add_patch(
            Polygon(outline, closed=True, facecolor="none", edgecolor=INK, linewidth=1.0)
        )
    words = f"{view.title}\n{_words(view)}"
    ax.set_title(words, fontsize=7)
    ax.set_axis_off()
    if not view.outlines:
        ax.set(xlim=(0, 1), ylim=(0, 1))
        return
    points = np.concatenate(view.outlines)
    low, high = points.min(axis=0), points.max(axis=0)
    start, below = float(low[0]), float(low[1]) - 8.0
    ax.plot((start, start + BAR_MM), (below, below), color=INK, linewidth=1.5)
    ax.text(start + BAR_MM / 2, below - 2, "50 mm", ha="center", va="top", fontsize=6.2)
    right = max(float(high[0]), start + BAR_MM)
    ax.set(
        xlim=(start - 5, right + 5), ylim=(below - 14, float(high[1]) + 5), aspect="equal"
    )


def _words(view: TemplateView) -> str:
    least, most = view.bevel_deg
    lean = "no saw needed" if np.isnan(least) else f"saw leans {least:.0f}° to {most:.0f}°"
    if not view.outlines:
        return f"folds: no flat template; {lean}"
    return f"stretch up to {view.stretch_percent:.1f} %; {lean}"
