"""Draw a jaw: midplane shut and open, hinges, what the pads feel, gaps, what closes it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from fitkit.fit.jaw_clash import WANTED_GAP_MM, JawClash
from fitkit.fit.jaw_return import CHIN_FORCE_LIMIT_N, JawReturn
from fitkit.fit.jaw_travel import BORNE_SQUEEZE_MM, JawTravel
from fitkit.plots.paper import AIR, CLASH, FAINT, HALO, HEAD, INK, SOFT, WALL, WALL_EDGE
from fitkit.views.jaws import FloatArray, HingeMap, JawView

#: Dashes that tell lines apart without colour, in the order they are used.
DASHES: tuple[tuple[float, ...], ...] = ((), (5, 2), (1.5, 1.5), (6, 2, 1.5, 2))
#: Symbols of the marks in the midplane.
SYMBOLS = {"chin pole": "+", "hinge as drawn": "o", "best hinge": "D"}
#: Lines of equal misfit. [mm]
LEVELS_MM = (1, 2, 4, 6, 8, 10, 15, 20, 30)


def draw_jaw_midplane(ax: Axes, view: JawView) -> None:
    """
    Draw the midplane: head and jaw shut in full line, open in dashes.

    Parameters
    ----------
    ax : Axes
        Gets equal scales.
    view : JawView
    """
    for line in view.head_shut:
        ax.fill(*line.T, facecolor=HEAD, edgecolor=SOFT, linewidth=0.8, zorder=1)
    for line in view.head_open:
        ax.plot(*line.T, color=INK, linewidth=0.8, dashes=(4, 2), zorder=3)
    for line in view.shell:
        ax.fill(*line.T, facecolor=WALL, edgecolor=WALL_EDGE, linewidth=0.6, zorder=2)
    for line in view.jaw_shut:
        ax.fill(*line.T, facecolor="none", edgecolor=WALL_EDGE, linewidth=0.7, zorder=4)
    for line in view.jaw_open:
        ax.fill(
            *line.T,
            facecolor=WALL,
            edgecolor=WALL_EDGE,
            linewidth=0.8,
            hatch="////",
            zorder=2,
        )
    for name, path in view.paths.items():
        ax.plot(*path.T, color=AIR, linewidth=1.1, zorder=5)
        ax.plot(*path[-1], color=AIR, marker="v", markersize=3.5, zorder=5)
        _say(ax, name, path[len(path) // 2], (6, -1))
    for name, at in view.marks.items():
        ax.plot(*at, color=INK, marker=SYMBOLS[name], markersize=5, fillstyle="none",
                linestyle="none", zorder=6)  # fmt: skip
    _say_marks(ax, view)
    ax.set_aspect("equal")
    ax.set_xlabel("front [mm]")
    ax.set_ylabel("up [mm]")
    ax.set_title(
        f"Shut, and {view.opening_mm:.0f} mm between the teeth (dashed, hatched):\n"
        f"jaw at {view.jaw_deg:.0f}°, {view.seen_mm:.0f} mm seen from outside"
    )


def draw_pads(ax: Axes, travel: JawTravel) -> None:
    """Draw slip and squeeze at each pad against the opening of the mouth."""
    most = travel.opening_mm[-1]
    low = min(-1.0, *(float(min(p.squeeze_mm.min(), p.slip_mm.min())) for p in travel.pads))
    high = max(1.0, *(float(max(p.squeeze_mm.max(), p.slip_mm.max())) for p in travel.pads))
    ax.axhline(0, color=FAINT, linewidth=0.8)
    if high > 0.8 * BORNE_SQUEEZE_MM:
        ax.axhline(BORNE_SQUEEZE_MM, color=CLASH, linewidth=0.7, dashes=(2, 2))
        ax.annotate(
            "more squeeze than is borne",
            (0, BORNE_SQUEEZE_MM),
            (2, 2),
            textcoords="offset points",
            color=CLASH,
            fontsize=6,
            path_effects=HALO,
        )
    ends = []
    for k, pad in enumerate(travel.pads):
        for name, values, width in (
            ("slip", pad.slip_mm, 0.9),
            ("squeeze", pad.squeeze_mm, 1.7),
        ):
            if np.abs(values).max() < 0.05:
                continue
            ax.plot(
                travel.opening_mm, values, color=INK, linewidth=width, dashes=DASHES[k % 4]
            )
            ends.append((float(values[-1]), f"{name}, {pad.contact.name}"))
    _say_ends(ax, most, ends, span=1.15 * (high - low))
    _mark_stop(ax, travel)
    pad_y = 0.08 * (high - low)
    ax.set_ylim(low - pad_y, high + pad_y)
    ax.set_xlim(0, most)
    ax.set_xlabel("opening between the teeth [mm]")
    ax.set_ylabel("at the pad [mm]")
    ax.set_title("Slip along the pads (thin), squeeze (thick)")
    _plain(ax)


def draw_gaps(ax: Axes, clash: JawClash) -> None:
    """Draw the least gaps over the travel: to the shell and to the head."""
    shell, head = clash.shell, clash.head
    top = 1.1 * max(12.0, min(30.0, float(max(shell.drawn_mm.max(), head.gap_mm.max()))))
    low = min(-2.0, 1.2 * min(shell.least_mm, head.least_mm))
    ax.axhspan(
        low, 0, facecolor="none", edgecolor=CLASH, hatch="xx", linewidth=0, alpha=0.35
    )
    ax.axhline(0, color=CLASH, linewidth=0.8)
    ax.axhline(WANTED_GAP_MM, color=SOFT, linewidth=0.6, dashes=(2, 2))
    opens = np.concatenate([[True], np.diff(head.jaw_deg) > 0])
    rows: tuple[tuple[str, FloatArray, FloatArray, float, tuple[float, ...]], ...] = (
        ("shell, as drawn", shell.jaw_deg, shell.drawn_mm, 0.8, (5, 2)),
        ("shell, finished", shell.jaw_deg, shell.gap_mm, 1.7, ()),
        ("head, finished", head.jaw_deg[opens], head.gap_mm[opens], 1.3, (1.5, 1.5)),
    )
    ends = []
    for name, turns, gap, width, dashes in rows:
        ax.plot(turns, gap, color=INK, linewidth=width, dashes=dashes)
        ends.append((min(float(gap[-1]), top), name))
    right = float(max(shell.jaw_deg.max(), head.jaw_deg.max()))
    _say_ends(ax, right, ends, span=top - low)
    for one in (shell, head):
        at = (one.least_deg, one.least_mm)
        ax.plot(*at, color=INK, marker="o", markersize=3.5, clip_on=False, zorder=5)
        ax.annotate(f"{one.least_mm:.1f} mm", at, (5, 5), textcoords="offset points",
                    fontsize=6.5, path_effects=HALO)  # fmt: skip
    ax.annotate("wanted between parts", (right, WANTED_GAP_MM), (-2, 2), ha="right",
                textcoords="offset points", fontsize=6, color=SOFT,
                path_effects=HALO)  # fmt: skip
    ax.set_ylim(low, top)
    ax.set_xlim(float(shell.jaw_deg.min()), right)
    ax.set_xlabel("turn of the jaw [deg]")
    ax.set_ylabel("least gap [mm]")
    ax.set_title("What the jaw comes near (hatched: clash)")
    _plain(ax)


def draw_hinge_map(ax: Axes, view: HingeMap) -> None:
    """
    Draw how far chin and pads part with the hinge at each place.

    Lines join places of equal misfit; crosses mark places where no bolt holds. Figures
    around the best hinge say what it does when it is off by that much.

    Parameters
    ----------
    ax : Axes
        Gets equal scales.
    view : HingeMap
    """
    lines = ax.contour(
        view.front_mm, view.up_mm, view.misfit_mm, levels=LEVELS_MM, colors=AIR,
        linewidths=0.7,
    )  # fmt: skip
    ax.clabel(lines, fmt="%g mm", fontsize=5.5)
    front, up = np.meshgrid(view.front_mm, view.up_mm)
    ax.plot(front[~view.held], up[~view.held], color=FAINT, marker="x", markersize=3.5,
            linestyle="none", zorder=1)  # fmt: skip
    best = view.marks["best hinge"]
    for at, misfit in zip(view.off_at, view.off_misfit_mm, strict=True):
        ax.plot(*np.stack([best, at]).T, color=SOFT, linewidth=0.5, zorder=3)
        ax.annotate(f"{misfit:.1f}", tuple(best + 1.25 * (at - best)), color=INK,
                    fontsize=5.5, ha="center", va="center", path_effects=HALO,
                    zorder=4)  # fmt: skip
    words = {
        "chin pole": "chin pole",
        "hinge as drawn": f"as drawn, {view.drawn_mm:.1f} mm",
        "best hinge": f"best, {view.best_mm:.1f} mm",
    }
    for name, at in view.marks.items():
        ax.plot(*at, color=INK, marker=SYMBOLS[name], markersize=5, fillstyle="none",
                linestyle="none", zorder=5, label=words[name])  # fmt: skip
    if not view.held.all():
        ax.plot([], [], color=FAINT, marker="x", markersize=3.5, linestyle="none",
                label="no bolt holds")  # fmt: skip
    ax.legend(loc="upper center", bbox_to_anchor=(0.5, -0.16), ncols=2, fontsize=6,
              frameon=False, handletextpad=0.4, columnspacing=1.2)  # fmt: skip
    ax.set_xlim(view.front_mm[0], view.front_mm[-1])
    ax.set_ylim(view.up_mm[0], view.up_mm[-1])
    ax.set_aspect("equal")
    ax.set_xlabel("front [mm]")
    ax.set_ylabel("up [mm]")
    ax.set_title(
        f"Misfit of chin and pads by hinge;\nfigures: best one {view.off_mm:g} mm off"
    )
    _plain(ax)


def draw_chin_force(ax: Axes, travel: JawTravel) -> None:
    """Draw the force that the chin gives against the opening of the mouth."""
    force = travel.chin_force_n
    known = np.isfinite(force)
    top = 1.15 * max(CHIN_FORCE_LIMIT_N, float(force[known].max(initial=0.0)))
    ax.axhline(CHIN_FORCE_LIMIT_N, color=CLASH, linewidth=0.7, dashes=(2, 2))
    ax.annotate("tires in long wear", (0, CHIN_FORCE_LIMIT_N), (2, 2), color=CLASH,
                textcoords="offset points", fontsize=6, path_effects=HALO)  # fmt: skip
    if known.any():
        ax.plot(travel.opening_mm, force, color=INK, linewidth=1.6)
    else:
        ax.annotate("no strap: the chin lifts the jaw", (0.5, 0.4), ha="center",
                    xycoords="axes fraction", fontsize=6.5, color=SOFT)  # fmt: skip
    _mark_stop(ax, travel)
    ax.set_xlim(0, travel.opening_mm[-1])
    ax.set_ylim(0, top)
    ax.set_xlabel("opening between the teeth [mm]")
    ax.set_ylabel("force of the chin [N]")
    ax.set_title("What the chin gives to open the jaw")
    _plain(ax)


def draw_closing(ax: Axes, closing: JawReturn) -> None:
    """Draw what straps give against what gravity takes, over the travel."""
    turns = closing.jaw_deg
    ax.axhline(0, color=FAINT, linewidth=0.8)
    ax.plot(turns, closing.strap_nmm, color=INK, linewidth=1.8)
    ends = [(float(closing.strap_nmm[-1]), "straps, closing")]
    for k, (name, opening) in enumerate(closing.gravity_nmm.items()):
        ax.plot(turns, opening, color=AIR, linewidth=1.0, dashes=DASHES[k % 4])
        ends.append((float(opening[-1]), f"gravity, {name}"))
    every = [closing.strap_nmm, *closing.gravity_nmm.values()]
    low, high = min(0.0, *(v.min() for v in every)), max(v.max() for v in every)
    pad = 0.1 * (high - low)
    ax.set_ylim(low - pad, high + pad)
    _say_ends(ax, float(turns[-1]), ends, span=high - low + 2 * pad)
    ax.set_xlim(float(turns[0]), float(turns[-1]))
    ax.set_xlabel("turn of the jaw [deg]")
    ax.set_ylabel("moment about the hinge [N mm]")
    ratio = (
        "nothing opens it" if np.isinf(closing.margin) else f"margin {closing.margin:.2f}"
    )
    ax.set_title(f"What closes the jaw: {ratio}")
    _plain(ax)


def _mark_stop(ax: Axes, travel: JawTravel) -> None:
    """Mark the opening at which the jaw meets its open stop, if it does."""
    if not np.isfinite(travel.stopped_deg):
        return
    at = float(np.interp(travel.stopped_deg, travel.chin_deg, travel.opening_mm))
    ax.axvline(at, color=SOFT, linewidth=0.7, dashes=(4, 2))
    ax.annotate("open stop", (at, 0.04), (-3, 0), xycoords=("data", "axes fraction"),
                textcoords="offset points", ha="right", color=SOFT, fontsize=6,
                path_effects=HALO)  # fmt: skip


def _say(ax: Axes, words: str, at: FloatArray, off: tuple[float, float]) -> None:
    ax.annotate(
        words,
        (float(at[0]), float(at[1])),
        off,
        textcoords="offset points",
        fontsize=6.5,
        color=INK,
        path_effects=HALO,
        zorder=7,
    )


def _say_marks(ax: Axes, view: JawView) -> None:
    """Name the marks one below the other, left of everything, with lines to them."""
    lines = (*view.shell, *view.head_shut, *view.jaw_open)
    left = min(float(line[:, 0].min()) for line in lines)
    right = max(float(line[:, 0].max()) for line in lines)
    ordered = sorted(view.marks.items(), key=lambda item: -item[1][1])
    for k, (name, at) in enumerate(ordered):
        ax.annotate(
            name,
            (float(at[0]), float(at[1])),
            (left - 8, 14.0 - 18.0 * k),
            fontsize=6.5,
            ha="right",
            va="center",
            zorder=7,
            path_effects=HALO,
            arrowprops={"arrowstyle": "-", "color": SOFT, "linewidth": 0.5},
        )
    ax.set_xlim(left - 80, right + 12)


def _say_ends(
    ax: Axes, at: float, ends: Sequence[tuple[float, str]], *, span: float
) -> None:
    """Name lines at their right ends, kept apart by a line of letters."""
    gap = 0.085 * span
    placed: list[float] = []
    for value, words in sorted(ends):
        height = value if not placed else max(value, placed[-1] + gap)
        placed.append(height)
        ax.annotate(
            words,
            (at, value),
            xytext=(at + 0.03 * abs(at), height),
            fontsize=6.5,
            va="center",
            annotation_clip=False,
            color=INK,
            arrowprops={"arrowstyle": "-", "color": FAINT, "linewidth": 0.5},
        )


def _plain(ax: Axes) -> None:
    ax.spines[["top", "right"]].set_visible(False)
