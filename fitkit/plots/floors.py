"""Draw the floor ahead: sight lines from the side, and the stretches seen by each bow."""

from __future__ import annotations

from math import isnan

from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.ticker import MultipleLocator

from fitkit.plots.paper import AIR, FAINT, HALO, HEAD, INK, SOFT
from fitkit.views.floors import SHOWN_M, FloorSide, FloorStrip

#: Fill of the wedge of sight, and of floor that is seen.
WEDGE, SEEN = "#cfe0ee", "#2f628f"
#: Half the height of a strip, in rows.
HALF_STRIP = 0.22


def draw_floor_side(ax: Axes, side: FloorSide) -> None:
    """
    Draw a standing wearer from the side, head level, with the sight lines to the floor.

    Parameters
    ----------
    ax : Axes
        Gets equal scales and metres.
    side : FloorSide
        Its first strip is drawn.
    """
    height = side.eye_height_m
    for near, far in side.strips[0].seen_m:
        end = min(far, SHOWN_M)
        corners = [(0, height), (near, 0), (end, 0), (end, height * (1 - end / far))]
        ax.add_patch(Polygon(corners, facecolor=WEDGE, edgecolor="none"))
        ax.plot((0, near), (height, 0), color=AIR, linewidth=1.0)
        ax.plot((near, end), (0, 0), color=SEEN, linewidth=3.0, solid_capstyle="butt")
    bare = side.strips[0].bare_nearest_m
    ax.plot((0, bare), (side.eye_height_m, 0), color=SOFT, linewidth=0.8, dashes=(4, 3))
    ax.plot((-0.4, SHOWN_M), (0, 0), color=INK, linewidth=0.8)
    low = float(side.head_m[:, 1].min())
    middle = float(side.head_m[:, 0].mean())
    ax.plot(
        (middle, middle),
        (0, low),
        color=FAINT,
        linewidth=5.0,
        solid_capstyle="butt",
        zorder=1,
    )
    head = Polygon(side.head_m, facecolor=HEAD, edgecolor=INK, linewidth=0.7, zorder=3)
    ax.add_patch(head)
    for step, name in zip(side.steps_m, ("one step", "two steps"), strict=True):
        ax.plot((step, step), (-0.05, 0.05), color=INK, linewidth=0.8, zorder=4)
        ax.text(step, -0.1, name, ha="center", va="top", fontsize=6.2, color=SOFT)
    ax.set(xlim=(-0.45, SHOWN_M), ylim=(-0.32, side.eye_height_m + 0.2), aspect="equal")
    ax.set_title("Head level: sight lines to the floor (dashes: bare-headed)")
    ax.set_ylabel("m")
    ax.yaxis.set_major_locator(MultipleLocator(0.5))
    ax.spines[["top", "right", "bottom"]].set_visible(False)
    ax.tick_params(axis="x", length=0, labelbottom=False)


def draw_floor_strips(ax: Axes, side: FloorSide) -> None:
    """
    Draw the stretches of floor seen straight ahead, one strip for each bow.

    Parameters
    ----------
    ax : Axes
        Metres ahead run to the right, bows down.
    side : FloorSide
    """
    for row, strip in enumerate(side.strips):
        _draw_strip(ax, row, strip)
    for step in side.steps_m:
        ax.axvline(step, color=INK, linewidth=0.6, dashes=(2, 2))
    rows = range(len(side.strips))
    ax.set_yticks(rows, [_bow_words(strip.bow_deg) for strip in side.strips])
    ax.set(xlim=(-0.45, SHOWN_M), ylim=(len(side.strips) - 0.45, -0.6))
    ax.set_xlabel("metres ahead (bar: floor seen; upright stroke: bare-headed from here)")
    ax.spines[["top", "right", "left"]].set_visible(False)
    ax.tick_params(axis="y", length=0)


def _draw_strip(ax: Axes, row: int, strip: FloorStrip) -> None:
    ax.plot((0, SHOWN_M), (row, row), color=FAINT, linewidth=0.8, zorder=1)
    for near, far in strip.seen_m:
        ax.barh(
            row,
            min(far, SHOWN_M) - near,
            left=near,
            height=2 * HALF_STRIP,
            color=SEEN,
            zorder=2,
        )
        ax.text(
            near,
            row - HALF_STRIP - 0.04,
            f"{near:.1f} m",
            ha="center",
            va="bottom",
            fontsize=6.2,
            path_effects=HALO,
            zorder=4,
        )
    if not isnan(strip.beyond_m):
        words = f"from {strip.beyond_m:.0f} m on"
        ax.text(
            SHOWN_M, row - 0.06, words, ha="right", va="bottom", fontsize=6.2, color=INK
        )
    elif not strip.seen_m:
        ax.text(
            SHOWN_M / 2, row - 0.06, "no floor seen", ha="center", va="bottom", fontsize=6.5
        )
    bare = strip.bare_nearest_m
    ax.plot((bare, bare), (row - HALF_STRIP, row + HALF_STRIP), color=INK, linewidth=1.2)


def _bow_words(bow_deg: float) -> str:
    return "head level" if bow_deg == 0 else f"bowed {bow_deg:g}°"
