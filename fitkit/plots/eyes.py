"""Draw the opening before each eye, about the line of sight."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon

from fitkit.plots.paper import AIR, CLASH, INK, SOFT, WALL, WALL_EDGE
from fitkit.views.eyes import EyeView

#: Least distance shown on each side of the straight-ahead line. [mm]
SHOWN_MM = 25.0


def draw_eye(ax: Axes, view: EyeView) -> None:
    """
    Draw one eye's opening as the wearer sees it, the line of sight at the cross.

    Parameters
    ----------
    ax : Axes
        Gets equal scales and millimetre labels.
    view : EyeView
        Outline in mm right and up of the line.
    """
    inside = view.margin_mm >= 0
    reach = SHOWN_MM
    ax.set_facecolor(WALL)
    if len(view.outline):
        reach = max(reach, float(np.abs(view.outline).max()) + 5.0)
        hole = Polygon(view.outline, facecolor="white", edgecolor=WALL_EDGE, linewidth=0.9)
        ax.add_patch(hole)
    ax.plot(
        0,
        0,
        marker="+",
        markersize=11,
        markeredgewidth=1.4,
        color=AIR if inside else CLASH,
        zorder=3,
    )
    ax.set(xlim=(-reach, reach), ylim=(-reach, reach), aspect="equal")
    ax.set(xlabel="right, mm", ylabel="up, mm")
    ax.set_title(f"{view.side} eye: {eye_words(view)}", color=INK if inside else CLASH)
    ax.tick_params(length=2, color=SOFT)


def eye_words(view: EyeView) -> str:
    """Say how the straight-ahead line passes: inside, outside, or no opening."""
    if view.opening is None:
        return "no opening"
    if view.margin_mm < 0:
        return f"{-view.margin_mm:.1f} mm outside"
    return f"{view.margin_mm:.1f} mm inside the edge"
