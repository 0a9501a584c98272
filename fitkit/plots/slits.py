"""Draw what each millimetre of a sight slit brings."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes

from fitkit.fit.slit import SlitSearch
from fitkit.plots.paper import FAINT, INK, SOFT

#: Marks and dashes of several searches: told apart without colour.
MARKS = ("o", "s", "^", "D", "v")
COLOURS = ("#1d4f7c", "#a63a00", "#5d656e", "#3a7d5c", "#7a4d9a")


def draw_slit_price(ax: Axes, searches: Sequence[SlitSearch]) -> None:
    """
    Draw the view that the best slit of each height gives, for one or more pieces.

    Parameters
    ----------
    ax : Axes
        Heights run right, percent up.
    searches : sequence of SlitSearch
        One line each, named by how far the wall stands from the eyes.
    """
    for number, search in enumerate(searches):
        heights = [slit.height_mm for slit in search.best]
        seen = [slit.seen_percent for slit in search.best]
        mark, colour = MARKS[number % len(MARKS)], COLOURS[number % len(COLOURS)]
        ax.plot(heights, seen, color=colour, linewidth=1.2, marker=mark, markersize=3.5)
        ax.annotate(
            f"wall {search.eye_to_wall_mm:.0f} mm from the eyes",
            (heights[-1], seen[-1]),
            xytext=(4, 0),
            textcoords="offset points",
            fontsize=6.5,
            color=colour,
            va="center",
        )
    widest = max(slit.height_mm for search in searches for slit in search.best)
    ax.set(xlim=(0, widest * 1.42), ylim=(0, None))
    ax.set_xticks(range(0, int(widest) + 1, 2))
    ax.set_xlabel("height of the slit along the outer surface, mm")
    ax.set_ylabel("seen by either eye, weighted,\n% of bare-headed")
    ax.grid(color=FAINT, linewidth=0.4)
    ax.set_axisbelow(True)
    ax.spines[["top", "right"]].set_visible(False)
    ax.set_title(f"Best slit of each height ({searches[0].weighting.name})", color=INK)
    ax.tick_params(length=2, color=SOFT)
