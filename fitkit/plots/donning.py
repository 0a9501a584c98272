"""Draw a way on: the head at a few poses in the piece, and the least gap along it."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from fitkit.plots.paper import (
    CLASH,
    FAINT,
    HALO,
    HEAD,
    INK,
    SOFT,
    WALL_EDGE,
    new_figure,
    styled,
)
from fitkit.views.donnings import DonningView
from fitkit.views.jaws import Lines

#: Least gap below which a way is called tight, and drawn so. [mm]
TIGHT_MM = 1.0
#: Gaps are drawn up to this. [mm]
GAP_DRAWN_MM = 25.0


def way_figure(view: DonningView) -> Figure:
    """Draw a way from the side, and the room along it; or where the head stops."""
    figure = new_figure(width_mm=180.0, height_mm=118.0)
    with styled():
        if not view.goes_on:
            draw_way(figure.add_axes((0.09, 0.1, 0.88, 0.82)), view)
            return figure
        draw_way(figure.add_axes((0.07, 0.1, 0.42, 0.83)), view)
        draw_room(figure.add_axes((0.60, 0.53, 0.38, 0.40)), view)
        draw_nod(figure.add_axes((0.60, 0.10, 0.38, 0.26)), view)
    return figure


def draw_way(ax: Axes, view: DonningView) -> None:
    """
    Draw the piece's midplane, and the head on its way in; at its seat it is filled.

    Parameters
    ----------
    ax : Axes
        Gets equal scales.
    view : DonningView
    """
    last = len(view.heads) - 1
    for k, (head, lift) in enumerate(zip(view.heads, view.lifts_mm, strict=True)):
        _draw_head(ax, head, seat=k == last, tight=k == view.tight)
        words = "seat" if k == last else f"{lift:.0f} mm to go"
        words += ", tightest" if k == view.tight and view.goes_on else ""
        words = f"stops with {words}" if k == view.tight and not view.goes_on else words
        _name(ax, head, words)
    for line in view.wall:
        ax.plot(*line.T, color=WALL_EDGE, linewidth=1.5, zorder=4)
    _draw_tight(ax, view)
    ax.set_aspect("equal")
    ax.margins(x=0.24, y=0.05)
    ax.set_xlabel("front [mm]")
    ax.set_ylabel("up [mm]")
    ax.set_title("The way in, from the side" if view.goes_on else "Where the head stops")
    ax.spines[["top", "right"]].set_visible(False)


def draw_room(ax: Axes, view: DonningView) -> None:
    """Draw the least gap to the pressed head against what is still to go."""
    row = int(view.gap_mm.argmin())
    ax.axhspan(min(-1.0, view.gap_mm[row]), 0.0, color=FAINT, hatch="xxxx", alpha=0.4)
    ax.axhline(TIGHT_MM, color=CLASH, linewidth=0.8, dashes=(4, 2))
    ax.annotate("ask for 1 mm or more", (0.02, TIGHT_MM), (0, 2), ha="left",
                xycoords=("axes fraction", "data"), textcoords="offset points",
                fontsize=6.5, color=CLASH, path_effects=HALO)  # fmt: skip
    ax.plot(view.lift_mm, view.gap_mm, color=INK, linewidth=1.5)
    ax.plot(view.lift_mm[row], view.gap_mm[row], color=CLASH, marker="o", markersize=6,
            fillstyle="none")  # fmt: skip
    ax.annotate(f"{view.gap_mm[row]:.1f} mm", (view.lift_mm[row], view.gap_mm[row]),
                (0, -12), textcoords="offset points", ha="center", fontsize=7.5,
                path_effects=HALO)  # fmt: skip
    ax.set_ylim(min(-1.0, view.gap_mm[row] - 1.0), GAP_DRAWN_MM)
    ax.set_ylabel("least gap, head pressed [mm]")
    ax.set_title("Room along the way")
    _toward_the_seat(ax, view)


def draw_nod(ax: Axes, view: DonningView) -> None:
    """Draw how far the piece is nodded against what is still to go."""
    ax.axhline(0.0, color=FAINT, linewidth=0.8)
    ax.plot(view.lift_mm, view.pitch_deg, color=INK, linewidth=1.5)
    most = max(10.0, 1.15 * float(abs(view.pitch_deg).max()))
    ax.set_ylim(-most, most)
    ax.set_ylabel("piece nodded [deg]")
    ax.set_title("How it is tilted (its front down: above 0)")
    ax.set_xlabel("to go until it sits [mm]")
    _toward_the_seat(ax, view)


def _toward_the_seat(ax: Axes, view: DonningView) -> None:
    ax.set_xlim(float(view.lift_mm.max()), 0.0)
    ax.spines[["top", "right"]].set_visible(False)


def _draw_head(ax: Axes, head: Lines, *, seat: bool, tight: bool) -> None:
    for line in head:
        if seat:
            ax.fill(*line.T, facecolor=HEAD, edgecolor=SOFT, linewidth=0.9, zorder=1)
            continue
        ax.plot(
            *line.T,
            color=INK if tight else SOFT,
            linewidth=1.1 if tight else 0.8,
            dashes=() if tight else (4, 2),
            zorder=3,
        )


def _name(ax: Axes, head: Lines, words: str) -> None:
    """Write under the chin of a head."""
    low = min((line[line[:, 1].argmin()] for line in head), key=lambda point: point[1])
    ax.annotate(words, tuple(low), (0, -3), textcoords="offset points", ha="center",
                va="top", fontsize=6.5, path_effects=HALO, zorder=6)  # fmt: skip


def _draw_tight(ax: Axes, view: DonningView) -> None:
    ax.plot(*view.tight_at, color=CLASH, marker="o", markersize=8, fillstyle="none",
            zorder=7)  # fmt: skip
    words = f"{view.room_mm:.1f} mm left"
    if view.room_mm < 0:
        words = f"{-view.room_mm:.1f} mm missing"
    ax.annotate(words, tuple(view.tight_at), (-7, 0), textcoords="offset points",
                ha="right", va="center", color=CLASH, fontsize=7.0,
                path_effects=HALO, zorder=8)  # fmt: skip
