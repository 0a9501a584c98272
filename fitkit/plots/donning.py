"""Draw a way on: the piece at a few poses over the head, and the least gap along it."""

from __future__ import annotations

from matplotlib.axes import Axes

from fitkit.plots.paper import CLASH, FAINT, HALO, HEAD, INK, SOFT, WALL_EDGE
from fitkit.views.donnings import DonningView


def draw_way(ax: Axes, view: DonningView) -> None:
    """
    Draw the piece's midplane at a few poses; the tightest one is heavy.

    Parameters
    ----------
    ax : Axes
        Gets equal scales.
    view : DonningView
    """
    for line in view.head:
        ax.fill(*line.T, facecolor=HEAD, edgecolor=SOFT, linewidth=0.8, zorder=1)
    count = len(view.walls)
    for k, wall in enumerate(view.walls):
        heavy = k in (view.tight, count - 1)
        for line in wall:
            ax.plot(
                *line.T,
                color=WALL_EDGE if heavy else SOFT,
                zorder=2 + heavy,
                linewidth=1.3 if heavy else 0.6,
                dashes=() if heavy else (3, 2),
            )
    if view.tight >= 0 or not view.goes_on:
        ax.plot(
            *view.tight_at,
            color=CLASH,
            marker="o",
            markersize=7,
            fillstyle="none",
            zorder=5,
        )
        ax.annotate("tightest", tuple(view.tight_at), (9, 4), textcoords="offset points",
                    color=CLASH, fontsize=6.5, path_effects=HALO, zorder=6)  # fmt: skip
    ax.set_aspect("equal")
    ax.set_xlabel("front [mm]")
    ax.set_ylabel("up [mm]")
    ax.set_title("On and off" if view.goes_on else "It does not go on: where it stops")
    ax.spines[["top", "right"]].set_visible(False)


def draw_room(ax: Axes, view: DonningView) -> None:
    """Draw the least gap to the pressed head, and the nod, against the lift."""
    ax.axhline(0, color=CLASH, linewidth=0.8)
    if not view.goes_on:
        ax.annotate("no way was found", (0.5, 0.5), xycoords="axes fraction", ha="center",
                    color=CLASH)  # fmt: skip
        return
    row = int(view.gap_mm.argmin())
    ax.plot(view.lift_mm, view.gap_mm, color=INK, linewidth=1.5)
    ax.plot(view.lift_mm[row], view.gap_mm[row], color=INK, marker="o", markersize=4)
    ax.annotate(
        f"{view.gap_mm[row]:.1f} mm",
        (view.lift_mm[row], view.gap_mm[row]),
        (6, -9),
        textcoords="offset points",
        fontsize=6.5,
        path_effects=HALO,
    )
    ax.set_ylim(min(-1.0, view.gap_mm.min() - 1), max(12.0, min(40.0, view.gap_mm.max())))
    ax.set_xlabel("lifted by [mm]")
    ax.set_ylabel("least gap, head pressed [mm]")
    ax.set_title("Room along the way")
    ax.spines[["top", "right"]].set_visible(False)
    nod = ax.twinx()
    nod.plot(view.lift_mm, view.pitch_deg, color=SOFT, linewidth=0.9, dashes=(4, 2))
    nod.set_ylim(-30, 30)
    nod.set_ylabel("nodded by [deg], dashed", color=SOFT)
    nod.spines[["top"]].set_visible(False)
    nod.spines["right"].set_color(FAINT)
